"""Loops wound into spirals: they stay on the surface, whole at both ends, and no further apart than the loops."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from family_makers import BALL, UP, cap_rings, one_pass, piece, ring, signed_plan_area, zigzag
from scipy.spatial import cKDTree

from advisor.cutter.contact import cusp_height_mm
from advisor.passes.lines import PassLines
from advisor.passes.order import OrderedPasses, ordered
from advisor.passes.pieces import together
from advisor.passes.spiral import spiral
from advisor.passes.virtual_cut import swept_passes, virtual_cut


def as_it_is(lines: PassLines) -> PassLines:
    return lines


def wound(
    lines: PassLines, step: float, finished: Callable[[PassLines], PassLines] = as_it_is
) -> tuple[OrderedPasses, OrderedPasses]:
    passes = ordered(lines, BALL, UP, step, 3 * step, levels="downward")
    return passes, spiral(passes, BALL, UP, step, 3 * step, finished)


def along(points: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])


def ways_between(lines: PassLines) -> np.ndarray:
    inner = lines.starts[1:-1]
    return np.linalg.norm(lines.contact_mm[inner] - lines.contact_mm[inner - 1], axis=1)


def widest_gap(loops: PassLines, turns: np.ndarray) -> float:
    """Furthest that a point of the loops lies from the spiral."""
    return float(cKDTree(turns).query(loops.contact_mm)[0].max())


def cone_rings(slope_deg: float, count: int, step: float, foot: float = 40.0, points: int = 360) -> PassLines:
    """Level rings of a cone, `step` apart along it."""
    rise, run = step * np.sin(np.radians(slope_deg)), step * np.cos(np.radians(slope_deg))
    out, up = np.sin(np.radians(slope_deg)), np.cos(np.radians(slope_deg))
    return together([ring(foot - run * i, rise * i, out, up, i, count=points) for i in range(count)])


@pytest.mark.parametrize(("slope", "foot"), [(60.0, 40.0), (88.0, 4.0)])
def test_a_cone(slope: float, foot: float) -> None:
    """Wide, with ramps of a part of a turn, and a tower with ramps of nearly half of every turn."""
    lines = cone_rings(slope, 50, 0.5, foot)
    loops, passes = wound(lines, 0.5)
    assert passes.lines.count == 1
    assert not passes.lines.is_closed.any()
    assert len(passes.is_near) == 0
    path = passes.lines.contact_mm
    radius = np.hypot(path[:, 0], path[:, 1])
    sine, cosine = np.sin(np.radians(slope)), np.cos(np.radians(slope))
    off = (radius - foot) * sine + path[:, 2] * cosine
    assert np.abs(off).max() < foot * (1 - np.cos(np.pi / 360)) + 1e-6
    normal = np.column_stack([path[:, :2] / radius[:, None] * sine, np.full(len(path), cosine)])
    assert np.abs(passes.lines.normal - normal).max() < 0.01
    # no longer than the loops and the ways between; first and last loop whole
    run = along(path)
    assert run[-1] <= loops.lines.lengths_mm.sum() + ways_between(loops.lines).sum()
    first, last = piece(loops.lines, 0), piece(loops.lines, 49)
    assert cKDTree(path[run <= loops.lines.lengths_mm[0] + 0.01]).query(first)[0].max() < 1e-12
    assert cKDTree(path[run >= run[-1] - loops.lines.lengths_mm[49] - 0.15]).query(last)[0].max() < 0.1
    turns = np.unwrap(np.arctan2(path[:, 1], path[:, 0])) / (2 * np.pi)
    more = abs(turns[-1] - turns[0]) - 50
    assert 0.3 < more < 0.6 if foot < 10 else 0.05 < more < 0.15
    assert len(passes.turns) == 49
    # at every place the turn before lies no further off than the loops do, but for a hundredth and what chords add
    turns = np.abs(turns - turns[0])
    after = turns >= 1
    before = np.stack([np.interp(turns[after] - 1, turns, place) for place in path.T], axis=1)
    assert np.linalg.norm(path[after] - before, axis=1).max() < 0.5 * 1.02


@pytest.mark.parametrize("hollow", [False, True])
def test_a_spiral_leaves_no_more_than_the_rings_do(hollow: bool) -> None:
    """Ball of 5 on a sphere of 50, rings 0.6 apart: cusps within those of rings, nothing cut below the surface."""
    step = 0.6
    slope = np.degrees(step / 50) * 40
    loops, passes = wound(cap_rings(50.0, 20.0, 20.0 + slope, 41, hollow), step)
    assert passes.lines.count == 1
    off = np.abs(np.linalg.norm(passes.lines.contact_mm, axis=1) - 50.0)
    assert off.max() < 50 * (1 - np.cos(np.pi / 180)) + 1e-5  # the sagitta of the loops' own chords
    rng = np.random.default_rng(3)
    angle, turn = np.radians(rng.uniform(20, 20 + slope, 4000)), rng.uniform(0, 2 * np.pi, 4000)
    up = -1.0 if hollow else 1.0
    at = np.stack([np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn), up * np.cos(angle)], 1)
    height = {}
    for name, given in (("rings", loops.lines), ("spiral", passes.lines)):
        swept = swept_passes(given.centres_mm(5.0, 0.0, UP), given.starts, 5.0)
        height[name] = virtual_cut(swept, 50 * at, up * at, 0.1).height_mm
    most = float(cusp_height_mm(step, 5.0, up * 50.0))
    chord = 55 * (1 - np.cos(np.pi / 180))
    assert height["spiral"].max() < height["rings"].max() + 1e-4
    assert height["spiral"].max() < most + chord
    assert height["spiral"].min() > -chord - 1e-4


def rectangles(count: int, step: float, corners_only: bool) -> PassLines:
    """Offsets of a rectangle 90 by 50 on a floor, from outside in."""
    loops = []
    for i in range(count):
        a, b = 45 - step * i, 25 - step * i
        loop = np.array([(a, b, 0), (-a, b, 0), (-a, -b, 0), (a, -b, 0), (a, b, 0)], float)
        if not corners_only:
            share = np.linspace(0, 1, 40)[:, None]
            loop = np.concatenate([p + share * (q - p) for p, q in pairwise(loop)])
        loops.append(one_pass(loop, UP, i, True))
    return together(loops)


@pytest.mark.parametrize("corners_only", [True, False])
def test_long_straight_sides_and_corners_stay_matched(corners_only: bool) -> None:
    lines = rectangles(40, 0.5, corners_only)
    loops, passes = wound(lines, 0.5)
    assert passes.lines.count == 1
    assert signed_plan_area(passes.lines.contact_mm[: passes.turns[0]]) < 0
    assert passes.lines.lengths_mm.sum() <= loops.lines.lengths_mm.sum() + ways_between(loops.lines).sum()
    turns = passes.lines.contact_mm
    assert np.abs(turns[:, 2]).max() < 1e-12
    dense = np.concatenate([(1 - s) * turns[:-1] + s * turns[1:] for s in np.linspace(0, 1, 20)])
    corners = together([one_pass(rectangles(40, 0.5, False).contact_mm, UP, 0)])
    # no place of a loop further from a turn than a step along the diagonal of a corner, half of it elsewhere
    assert widest_gap(corners, dense) < 0.5 * np.sqrt(2) + 0.03


def test_what_is_no_run_of_single_loops_stays() -> None:
    lines = zigzag(5, 30.0, 0.5)
    passes = ordered(lines, BALL, UP, 0.5, 1.5, levels="rising")
    assert spiral(passes, BALL, UP, 0.5, 1.5, as_it_is) is passes
    # two loops make none, and neither do loops of which every other one is missing
    _, two = wound(together([ring(10.0 - 0.5 * i, 0, 0, 1, i) for i in range(2)]), 0.5)
    assert two.lines.count == 2
    _, far = wound(together([ring(20.0 - 1.0 * i, 0, 0, 1, i) for i in range(8)]), 0.5)
    assert far.lines.count == 8
    # two pockets: two spirals and the lift between them
    rings = [ring(15 - 0.3 * i, -0.4 * i, -0.8, 0.6, i, centre=at) for i in range(20) for at in ((0, 0), (60, 10))]
    _, pockets = wound(together(rings), 0.5)
    assert pockets.lines.count == 2
    assert pockets.is_near.tolist() == [False]
    assert len(pockets.source) == len(pockets.start) == len(pockets.follows) == 2


def test_a_spiral_ends_before_what_it_cannot_follow_and_loops_go_on_where_it_ends() -> None:
    lines = cone_rings(60.0, 50, 0.5)
    lowest = float(lines.contact_mm[lines.starts[20], 2]) - 0.1

    def broken(given: PassLines) -> PassLines:
        low = np.flatnonzero(given.contact_mm[:, 2] < lowest)
        cut = np.array([0, low[0], len(given.contact_mm)]) if len(low) else np.array(given.starts)
        level, closed = np.repeat(given.level, len(cut) - 1), np.zeros(len(cut) - 1, bool)
        return PassLines(given.contact_mm, given.normal, cut, level, closed)

    loops, passes = wound(lines, 0.5, broken)
    assert not passes.lines.is_closed[0]
    assert piece(passes.lines, 0)[:, 2].min() > lowest
    assert 26 <= len(passes.turns) + 1 <= 30
    rest = np.flatnonzero(passes.lines.is_closed)
    assert rest.tolist() == list(range(1, passes.lines.count))
    assert len(passes.turns) + passes.lines.count == 50
    assert passes.is_near.all()
    assert ways_between(passes.lines).max() < 0.51
    for row in rest:
        points = piece(passes.lines, row)
        np.testing.assert_array_equal(points[0], points[-1])
        # the same loop, entered elsewhere
        given = loops.source.tolist().index(passes.source[row])
        assert passes.lines.lengths_mm[row] == pytest.approx(loops.lines.lengths_mm[given], rel=1e-4)
