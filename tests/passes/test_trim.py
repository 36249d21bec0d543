"""Trimmed passes: they end where the tool would cut in, go nowhere deeper, and meet in inside corners."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import solids
from laid import UP, Solid, box_pocket, heights, surface_of

from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import Piece
from advisor.cutter.tool_body import ToolBody, cutter_pieces
from advisor.part.plan_tree import PlanTree, plan_tree
from advisor.passes.families import centre_of, parallel_lines
from advisor.passes.level_family import level_passes
from advisor.passes.lines import PassLines, chain_lengths_mm
from advisor.passes.pieces import CONTACT
from advisor.passes.surface import PassSurface
from advisor.passes.thin import thinned
from advisor.passes.trim import goes_clear, trimmed

BALL = Cutter(10.0, 5.0)
BODY = ToolBody(cutter_pieces(BALL), (), ())
TOLERANCE = 0.01


def tree_of(solid: Solid) -> PlanTree:
    return plan_tree(solid[0], solid[1].astype(np.int32), UP)


def walls(solid: Solid, inside: float) -> PassSurface:
    return surface_of(solid, lambda m, a: (abs(a - 90) < 1) & (np.abs(m[:, :2]).max(axis=1) < inside))


def floor(solid: Solid, z: float) -> PassSurface:
    return surface_of(solid, lambda m, a: (a < 1) & (np.abs(m[:, 2] - z) < 0.1))


def on_lines(surface: PassSurface, direction: float, cutter: Cutter = BALL, spacing: float = 0.6) -> PassLines:
    lines = parallel_lines(surface, cutter, CONTACT, UP, direction, spacing, 0.0, TOLERANCE / 2)
    return thinned(lines, cutter, UP, TOLERANCE / 2)


def on_levels(surface: PassSurface, cutter: Cutter = BALL) -> PassLines:
    steps = np.full(len(surface.mesh.faces), 1e3)
    lines = level_passes(surface, cutter, centre_of(cutter), UP, 0.6, steps, 0.0, TOLERANCE / 2)
    return thinned(lines, cutter, UP, TOLERANCE / 2)


def middles(lines: PassLines, cutter: Cutter = BALL) -> np.ndarray:
    """Of the cutter, all along its way, every 0.02 mm."""
    way = lines.centres_mm(cutter.corner_radius_mm, cutter.ring_radius_mm, UP)
    chains = [way[i:j] for i, j in zip(lines.starts[:-1], lines.starts[1:], strict=True)]
    pieces = [
        a + np.linspace(0, 1, max(int(np.linalg.norm(b - a) / 0.02), 1) + 1)[:, None] * (b - a)
        for chain in chains for a, b in pairwise(chain)
    ]  # fmt: skip
    return np.concatenate(pieces)


def off_box(places: np.ndarray, half: np.ndarray, middle: np.ndarray) -> np.ndarray:
    """Distance from a box, negative in it."""
    beyond = np.abs(places - middle) - half
    return np.linalg.norm(np.maximum(beyond, 0), axis=1) + np.minimum(beyond.max(axis=1), 0)


@pytest.mark.parametrize("direction", [0.0, 30.0, 73.0])
def test_floor_passes_end_a_radius_from_the_walls(direction: float) -> None:
    pocket = box_pocket()
    got = trimmed(on_lines(floor(pocket, 10.0), direction), tree_of(pocket), BODY, BALL, TOLERANCE)
    assert len(got.contact_mm) == 2 * got.count
    ends = np.abs(got.contact_mm[:, :2]).max(axis=1)
    np.testing.assert_allclose(ends, 15.0, rtol=0, atol=TOLERANCE)
    assert (20 - np.abs(middles(got)[:, :2]).max(axis=1)).min() >= 5 - TOLERANCE
    np.testing.assert_allclose(got.contact_mm[:, 2], 10.0, rtol=0, atol=1e-12)


def test_wall_passes_stay_off_the_floor_and_meet_in_the_corners() -> None:
    pocket = box_pocket()
    laid = on_levels(walls(pocket, 25.0))
    assert laid.count == 4 * 34  # four walls, inside corners do not join by themselves
    got = trimmed(laid, tree_of(pocket), BODY, BALL, TOLERANCE)
    assert got.is_closed.all()
    assert got.count == 25
    assert 15 - TOLERANCE <= got.contact_mm[:, 2].min() < 15.6
    way = middles(got)
    np.testing.assert_allclose(np.abs(way[:, :2]).max(axis=1), 15.0, rtol=0, atol=1e-9)
    lengths = chain_lengths_mm(got.centres_mm(5.0, 0.0, UP), got.starts)
    np.testing.assert_allclose(lengths, 120.0, rtol=0, atol=1e-9)


def test_walls_that_meet_at_other_angles() -> None:
    """A three-cornered pocket: the middle runs round a smaller triangle, 5 mm inside."""
    turn = 2 * np.pi / 3 * np.arange(3) + 0.3
    plan = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    rings = [(60.0, 0.0), (60.0, 30.0), (40.0, 30.0), (40.0, 10.0)]
    vertices = np.array([(*(size * corner), z) for size, z in rings for corner in plan])
    sides = [(3 * r + i, 3 * r + (i + 1) % 3) for r in range(3) for i in range(3)]
    faces = [(2, 1, 0), (9, 10, 11)] + [t for a, b in sides for t in ((a, b, b + 3), (a, b + 3, a + 3))]
    pocket = vertices, np.array(faces)
    zone = surface_of(pocket, lambda m, a: (abs(a - 90) < 1) & (np.hypot(m[:, 0], m[:, 1]) < 25))
    got = trimmed(on_levels(zone), tree_of(pocket), BODY, BALL, TOLERANCE)
    assert got.is_closed.all()
    lengths = chain_lengths_mm(got.centres_mm(5.0, 0.0, UP), got.starts)
    np.testing.assert_allclose(lengths, 3 * (40 * np.sqrt(3) - 2 * 5 * np.sqrt(3)), rtol=0, atol=1e-6)


@pytest.mark.parametrize("direction", [0.0, 37.0])
def test_a_boss_beside_the_passes_is_not_cut_between_points(direction: float) -> None:
    boss = box_pocket(half=4.0, floor=25.0, top=10.0)
    got = trimmed(on_lines(floor(boss, 10.0), direction, spacing=0.13), tree_of(boss), BODY, BALL, TOLERANCE)
    off = off_box(middles(got), np.array([4.0, 4.0, 7.5]), np.array([0, 0, 17.5]))
    assert off.min() >= 5 - TOLERANCE
    assert off.min() <= 5
    sides = trimmed(on_levels(walls(boss, 10.0)), tree_of(boss), BODY, BALL, TOLERANCE)
    assert sides.is_closed.all()
    off = off_box(middles(sides), np.array([4.0, 4.0, 7.5]), np.array([0, 0, 17.5]))
    assert off.min() >= 5 - TOLERANCE
    assert middles(sides)[:, 2].min() >= 15 - TOLERANCE
    np.testing.assert_allclose(
        chain_lengths_mm(sides.centres_mm(5.0, 0.0, UP), sides.starts), 32 + 10 * np.pi, atol=0.03
    )


def test_where_the_surface_leans_over_the_middle_that_hangs_below_the_contact_counts() -> None:
    """A level pass runs up to a ramp of 45 deg; its normals lean down by 3 deg: the middle hangs 0.26 mm lower."""
    ramp = solids.extruded(np.array([[0.0, -30.0], [60.0, -30.0], [60.0, 30.0]]), 80.0, "x")  # z = y - 30
    lean = np.radians(3.0)
    contact = np.array([[-5.0, -20.0, 0.0], [-5.0, 60.0, 0.0]])
    normal = np.tile([np.cos(lean), 0.0, -np.sin(lean)], (2, 1))
    line = PassLines(contact, normal, np.array([0, 2]), np.zeros(1, np.int32), np.zeros(1, bool))
    tolerance = 0.02  # enough to lean so far
    got = trimmed(line, tree_of(ramp), BODY, BALL, tolerance)
    (x, y, z) = got.centres_mm(5.0, 0.0, UP)[got.starts[1] - 1]
    assert z == pytest.approx(-5.0 * np.sin(lean))
    off_ramp = (z - y + 30.0) / np.sqrt(2.0)
    assert 5.0 - tolerance <= off_ramp <= 5.0
    assert x == pytest.approx(-5.0 + 5.0 * np.cos(lean))


def test_a_bull_nose_ends_its_own_radius_from_the_wall() -> None:
    pocket, bull = box_pocket(), Cutter(12.0, 1.5)
    body = ToolBody(cutter_pieces(bull), (), ())
    got = trimmed(on_lines(floor(pocket, 10.0), 30.0, bull), tree_of(pocket), body, bull, TOLERANCE)
    # on a floor it touches anywhere on its flat bottom: the contact told is under its axis
    np.testing.assert_allclose(np.abs(got.contact_mm[:, :2]).max(axis=1), 14.0, rtol=0, atol=TOLERANCE)
    sides = trimmed(on_levels(walls(pocket, 25.0), bull), tree_of(pocket), body, bull, TOLERANCE)
    assert sides.is_closed.all()
    np.testing.assert_allclose(np.abs(middles(sides, bull)[:, :2]).max(axis=1), 14.0, rtol=0, atol=1e-9)


def test_the_shank_counts() -> None:
    pocket = box_pocket()
    thick = ToolBody(cutter_pieces(BALL), (Piece(8.0, 0.0, 0.0, 8.0, 10.0),), ())
    got = trimmed(on_lines(floor(pocket, 10.0), 0.0), tree_of(pocket), thick, BALL, TOLERANCE)
    np.testing.assert_allclose(np.abs(got.contact_mm[:, :2]).max(axis=1), 12.0, rtol=0, atol=2 * TOLERANCE)
    sides = trimmed(on_levels(walls(pocket, 25.0)), tree_of(pocket), thick, BALL, TOLERANCE)
    # its tip is 5 mm below the contact, its shank begins 10 above the tip: 5 above the contact, over the top at 30
    assert 25 - TOLERANCE <= sides.contact_mm[:, 2].min() < 25.6


def test_the_holder_counts_where_it_is_known_how_far_up_it_is() -> None:
    pocket, holder = box_pocket(), (Piece(9.0, 0.0, 0.0, 9.0, 0.0),)
    on_floor, tree = on_lines(floor(pocket, 10.0), 0.0), tree_of(pocket)
    as_far_as_the_ball = trimmed(on_floor, tree, BODY, BALL, TOLERANCE)
    way = as_far_as_the_ball.centres_mm(5.0, 0.0, UP)
    # the pocket is 20 deep: a holder 18 up is in it on the floor, and stays 9 off its walls; one 21 up is over the top
    for stick_out, ends in ((18.0, 11.0), (21.0, 15.0), (None, 15.0)):
        body = ToolBody(cutter_pieces(BALL), (), holder, stick_out)
        got = trimmed(on_floor, tree, body, BALL, TOLERANCE)
        np.testing.assert_allclose(np.abs(got.contact_mm[:, :2]).max(axis=1), ends, rtol=0, atol=2 * TOLERANCE)
        assert goes_clear(way, as_far_as_the_ball.starts, tree, body, BALL, TOLERANCE) == (ends == 15.0)


@pytest.mark.parametrize("fillet", [4.0, 8.0])
def test_nothing_is_cut_below_the_surface(fillet: float) -> None:
    """A ball of 6 in fillets too tight for it, and wide enough: what it leaves is nowhere below the surface."""
    part = solids.round_pocket(20.0, fillet, 15.0, chord_error_mm=0.002)
    ball, tree = Cutter(12.0, 6.0), tree_of(part)
    body = ToolBody(cutter_pieces(ball), (), ())
    zone = surface_of(part, lambda m, a: (np.hypot(m[:, 0], m[:, 1]) < 20.01) & (m[:, 2] < 24.9) & (a < 91))
    laid = [on_lines(zone, 20.0, ball), on_levels(zone, ball)]
    for lines in laid:
        got = trimmed(lines, tree, body, ball, TOLERANCE)
        left = heights(got, ball, zone.mesh.middle, zone.mesh.normal)
        assert left.min() >= -TOLERANCE
        if fillet > 6.0:
            assert got.lengths_mm.sum() == pytest.approx(lines.lengths_mm.sum(), rel=1e-4)
        else:
            untrimmed = heights(lines, ball, zone.mesh.middle, zone.mesh.normal)
            assert untrimmed.min() < -0.3


def test_nothing_to_trim() -> None:
    pocket = box_pocket()
    none = level_passes(floor(pocket, 10.0), BALL, CONTACT, UP, 1.0, np.full(2, 1.0), 0.0, 0.01)
    assert trimmed(none, tree_of(pocket), BODY, BALL, TOLERANCE).count == 0
    assert thinned(none, BALL, UP, TOLERANCE).count == 0
