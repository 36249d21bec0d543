"""Tilted tools on a floor beside a wall, in a pocket and in a slot: closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import Piece, ball_pieces, dropped
from advisor.cutter.tilt_choice import smallest_tilt, tilt_counts, tilt_shares
from advisor.cutter.tilt_cone import seen_along, tilt_cone
from advisor.cutter.tilt_reach import BY_CUTTER, BY_HOLDER, REACHED, tilt_tool
from advisor.cutter.tool_body import ToolBody
from advisor.part.mesh import Mesh
from advisor.part.plan_tree import plan_tree

UP = np.array([0.0, 0.0, 1.0])
RADIUS, HIGH = 5.0, 30.0
BALL = Cutter(2 * RADIUS, RADIUS)
FAR = 300.0


def strip(profile: list[tuple[float, float]]) -> Mesh:
    """Facets of a line in XZ drawn out along Y, spindle side up."""
    line = np.array(profile)
    count = len(line)
    vertices = np.concatenate([np.c_[line[:, 0], np.full(count, y), line[:, 1]] for y in (-FAR, FAR)])
    i = np.arange(count - 1)
    faces = np.concatenate([np.stack([i, i + 1, i + 1 + count], 1), np.stack([i, i + 1 + count, i + count], 1)])
    return Mesh(vertices, faces.astype(np.int32))


BESIDE_WALL = strip([(-FAR, 0), (0, 0), (0, HIGH), (FAR, HIGH)])


def pocket(wide: float) -> Mesh:
    ring = wide / 2 * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    outer = ring * (FAR / wide)
    vertices = np.vstack([np.c_[ring, np.zeros(4)], np.c_[ring, np.full(4, HIGH)], np.c_[outer, np.full(4, HIGH)]])
    faces = [(0, 1, 2), (0, 2, 3)]
    for k in range(4):
        n = (k + 1) % 4
        faces += [(k, k + 4, n + 4), (k, n + 4, n), (k + 4, k + 8, n + 8), (k + 4, n + 8, n + 4)]
    return Mesh(vertices, np.array(faces, np.int32))


def asked(mesh: Mesh, points: np.ndarray, body: ToolBody, stick_out: float | None = None, most: float = 30.0):
    cone = tilt_cone(UP, most)
    normals = np.tile(UP, (len(points), 1))
    return cone, tilt_tool(mesh, cone, body, BALL, 1e-6, stick_out).reach(cone.axes, np.asarray(points, float), normals)


def room_beside_wall(away: np.ndarray, axes: np.ndarray) -> np.ndarray:
    """Distance from the axis of a ball on the floor, `away` from the wall, to the wall's upper edge: skew lines."""
    x, z = axes[:, None, 0], axes[:, None, 2]
    return (away * z - (HIGH - RADIUS) * x) / np.hypot(x, z)


def test_a_floor_beside_a_wall_refuses_what_leans_into_the_wall() -> None:
    away = np.array([5.2, 6.0, 8.0, 12.0, 18.0, 22.0, 40.0])
    points = np.c_[-away, 0 * away, 0 * away]
    cone, found = asked(BESIDE_WALL, points, ToolBody(ball_pieces(10), (), ()))
    room = room_beside_wall(away, cone.axes)
    assert np.abs(room - RADIUS).min() > 1e-3
    np.testing.assert_array_equal(found.state == REACHED, room > RADIUS)
    assert set(np.unique(found.state)) == {REACHED, BY_CUTTER}
    leans_away = cone.axes[:, 0] <= 1e-12
    assert (found.state[leans_away] == REACHED).all()


def test_the_shank_is_what_touches_where_it_is_thicker() -> None:
    away = np.array([7.0, 8.5, 10.0, 14.0, 20.0])
    points = np.c_[-away, 0 * away, 0 * away]
    body = ToolBody(ball_pieces(10), (Piece(8.0, 0.0, 0.0, 8.0, 6.0),), ())
    cone, found = asked(BESIDE_WALL, points, body)
    room = room_beside_wall(away, cone.axes)
    np.testing.assert_array_equal(found.state == BY_CUTTER, room < RADIUS)
    # leaning away, the shank meets the wall below its edge first: not asked here
    towards = cone.axes[:, 0] > -1e-9
    np.testing.assert_array_equal(found.state[towards] == REACHED, room[towards] > 8.0)


@pytest.mark.parametrize("stick_out", [27.0, 29.0, 31.0, 33.0, 60.0])
def test_the_holder_asks_for_a_stick_out_that_its_tilt_changes(stick_out: float) -> None:
    wide = 15.0
    body = ToolBody(ball_pieces(10), (), (Piece(wide, 0.0, 0.0, wide, 0.0),))
    cone, found = asked(BESIDE_WALL, np.array([(-10.0, 0, 0)]), body, stick_out)

    def row(tilt: float, azimuth: float) -> int:
        return int(np.flatnonzero((cone.tilt_deg == tilt) & (cone.azimuth_deg == azimuth))[0])

    sine, cosine = np.sin(np.radians(5)), np.cos(np.radians(5))
    # towards the wall the rim of the nose stands on the land; away from it the wall's edge stands under the nose
    towards = (HIGH - RADIUS + wide * sine) / cosine + RADIUS
    sine, cosine = np.sin(np.radians(10)), np.cos(np.radians(10))
    away = -10 * sine + (HIGH - RADIUS) * cosine + RADIUS
    for place, needed in ((row(5, 0), towards), (row(10, 180), away), (0, HIGH)):
        assert found.stick_out_mm[place, 0] == pytest.approx(needed, abs=1e-4)
        assert found.state[place, 0] == (REACHED if needed <= stick_out else BY_HOLDER)


def test_no_tilt_is_clear_at_the_bottom_of_a_narrow_pocket() -> None:
    points = np.array([(x, y, 0.0) for x in (-0.9, 0, 0.9) for y in (-0.9, 0, 0.9)])
    cone, found = asked(pocket(12.0), points, ToolBody(ball_pieces(10), (), ()))
    off = np.repeat((cone.tilt_deg >= 12)[:, None], len(points), axis=1)
    shares = tilt_shares(tilt_counts(found.state, off, np.ones(len(points)), found.state[0]))
    assert shares.is_clear.tolist() == [True] + [False] * (len(cone.axes) - 1)
    assert smallest_tilt(cone, shares) == 0
    assert shares.held_back_by == BY_CUTTER


def test_along_a_slot_a_tilt_is_clear_and_across_it_none_is() -> None:
    slot = strip([(-FAR, HIGH), (-6, HIGH), (-6, 0), (6, 0), (6, HIGH), (FAR, HIGH)])
    cone, found = asked(slot, np.array([(x, 0.0, 0.0) for x in (-0.9, 0, 0.9)]), ToolBody(ball_pieces(10), (), ()))
    clear = (found.state == REACHED).all(axis=1)
    np.testing.assert_array_equal(clear, np.abs(cone.axes[:, 0]) < 1e-9)


def test_the_widest_room_is_taken_of_like_tilts() -> None:
    away = np.linspace(5.2, 60, 40)
    points = np.c_[-away, 0 * away, 0 * away]
    cone, found = asked(BESIDE_WALL, points, ToolBody(ball_pieces(10), (), ()))
    off = np.repeat((cone.tilt_deg >= 12)[:, None], len(points), axis=1)
    shares = tilt_shares(tilt_counts(found.state, off, np.ones(len(points)), found.state[0]))
    best = smallest_tilt(cone, shares)
    assert (cone.tilt_deg[best], cone.azimuth_deg[best]) == (15.0, 180.0)
    assert shares.held_back_by == 0


def test_a_tree_seen_along_another_axis_answers_as_one_of_its_own() -> None:
    rng = np.random.default_rng(5)
    vertices = rng.normal(size=(300, 3)) * 20
    faces = rng.permutation(300)[:, None] + np.zeros((1, 3), int)
    faces = np.concatenate([rng.permutation(300).reshape(-1, 3) for _ in range(4)])
    tree = plan_tree(vertices, faces, UP)
    for axis in tilt_cone(UP, 30.0).axes[::7]:
        seen, own = seen_along(tree, axis), plan_tree(vertices, faces, axis)
        places = rng.uniform(-40, 40, (200, 2))
        for pieces in (ball_pieces(10), (Piece(12.0, 0.0, 0.0, 12.0, 0.0),)):
            one, other = dropped(pieces, seen, places), dropped(pieces, own, places)
            np.testing.assert_allclose(one.height_mm, other.height_mm, atol=1e-9)


def test_a_machine_s_own_limit_is_asked_too() -> None:
    assert tilt_cone(UP, 12.0).tilts_deg == (5.0, 10.0, 12.0)
    assert tilt_cone(UP, 90.0).tilts_deg == (5.0, 10.0, 15.0, 20.0, 30.0)
    assert len(tilt_cone(UP, 0.0).axes) == 1
    cone = tilt_cone(np.array([0.48, -0.6, 0.64]), 20.0)
    np.testing.assert_allclose(np.degrees(np.arccos(cone.axes @ cone.frame[2])), cone.tilt_deg, atol=1e-6)
    np.testing.assert_allclose(cone.axes[cone.rows(1)[3]] @ cone.frame[1], np.sin(np.radians(10)))
