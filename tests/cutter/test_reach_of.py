"""What a tool reaches in a square pocket and in a fillet of its own radius: closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import Piece, ball_pieces, bull_pieces
from advisor.cutter.reach import gets_to, reach_of, tip_places
from advisor.cutter.tool_body import ToolBody, tool_body
from advisor.job import Tool
from advisor.part.plan_tree import PlanTree, plan_tree

UP = np.array([0.0, 0.0, 1.0])
BALL = Cutter(10.0, 5.0)
WIDE, DEEP = 60.0, 30.0


@pytest.fixture(scope="module")
def pocket() -> PlanTree:
    """A square pocket from the origin, land round it."""
    ring = np.array([(0, 0), (WIDE, 0), (WIDE, WIDE), (0, WIDE)])
    outer = np.array([(-50, -50), (WIDE + 50, -50), (WIDE + 50, WIDE + 50), (-50, WIDE + 50)])
    vertices = np.vstack([np.c_[ring, np.zeros(4)], np.c_[ring, np.full(4, DEEP)], np.c_[outer, np.full(4, DEEP)]])
    faces = [(0, 1, 2), (0, 2, 3)]
    for k in range(4):
        n = (k + 1) % 4
        faces += [(k, k + 4, n + 4), (k, n + 4, n), (k + 4, k + 8, n + 8), (k + 4, n + 8, n + 4)]
    return plan_tree(vertices, np.array(faces), UP)


def test_a_ball_in_a_pocket(pocket: PlanTree) -> None:
    body = ToolBody(ball_pieces(10.0), (), ())
    points = np.array([(30, 30, 0), (5.01, 30, 0), (3, 30, 0), (0, 30, 20), (0, 2, 20), (0, 30, 2), (-20, 30, DEEP)])
    normals = np.array([UP, UP, UP, (1, 0, 0), (1, 0, 0), (1, 0, 0), UP])
    found = reach_of(body, BALL, pocket, points, normals, 1e-4)
    assert found.by_cutter.tolist() == [True, True, False, True, False, False, True]
    np.testing.assert_array_equal(found.by_shank, found.by_cutter)
    assert np.isnan(found.stick_out_mm).all()
    # 3 from the wall it stands on the rim; low on the wall, on the floor
    expected = [0, 0, DEEP + 4 - 5, 0, DEEP + np.sqrt(21) - 20, 3, 0]
    np.testing.assert_allclose(found.too_low_mm, expected, atol=1e-3)


def test_what_faces_down_is_not_reached(pocket: PlanTree) -> None:
    body = ToolBody(ball_pieces(10.0), (), ())
    found = reach_of(body, BALL, pocket, np.array([[30.0, 30, 10]]), -UP[None], 1e-4)
    assert not found.by_cutter[0]
    assert np.isnan(found.too_low_mm[0])


def test_shank_and_holder_in_a_pocket(pocket: PlanTree) -> None:
    shank = (Piece(8.0, 0.0, 0.0, 8.0, 12.0),)
    holder = (Piece(12.0, 0.0, 0.0, 12.0, 0.0), Piece(12.0, 0.0, 2.0, 20.0, 10.0))
    body = ToolBody(ball_pieces(10.0), shank, holder)
    points = np.array([(x, 30.0, 0.0) for x in (30.0, 16.0, 10.0, 7.0)])
    found = reach_of(body, BALL, pocket, points, np.tile(UP, (4, 1)), 1e-4)
    assert found.by_cutter.all()
    assert found.by_shank.tolist() == [True, True, True, False]
    # 16 from the wall the cone is 10 + 2 (16 - 12) over the nose where the rim is; nearer, the cylinder stands on it
    np.testing.assert_allclose(found.stick_out_mm, [0, DEEP - 18, DEEP, DEEP], atol=1e-3)


@pytest.mark.parametrize("axis", [UP, np.array([0.48, -0.6, 0.64])])
def test_a_tip_touches_its_point(axis: np.ndarray) -> None:
    rng = np.random.default_rng(2)
    normals = rng.normal(size=(50, 3))
    normals *= np.sign(normals @ axis)[:, None] / np.linalg.norm(normals, axis=1)[:, None]
    points = rng.normal(size=(50, 3))
    for cutter in (BALL, Cutter(12.0, 2.0)):
        tip = tip_places(cutter, points, normals, axis, 0.0)
        level = normals - (normals @ axis)[:, None] * axis
        outward = level / np.linalg.norm(level, axis=1)[:, None]
        middle = tip + cutter.corner_radius_mm * axis - cutter.ring_radius_mm * outward
        np.testing.assert_allclose(middle, points + cutter.corner_radius_mm * normals, atol=1e-9)


def test_a_fillet_of_the_cutter_s_own_radius_is_reached_whatever_its_chords() -> None:
    # a trough of radius 5 with walls at 45 degrees, its facets chords of 3 degrees
    angles = np.radians(np.linspace(-45, 45, 31))
    arc = 5 * np.column_stack([np.sin(angles), -np.cos(angles)])
    profile = np.vstack([arc[0] + [-30, 30], arc, arc[-1] + [30, 30]])
    count = len(profile)
    vertices = np.concatenate([np.column_stack([profile[:, 0], np.full(count, y), profile[:, 1]]) for y in (-60, 60)])
    i = np.arange(count - 1)
    faces = np.concatenate([np.stack([i, i + 1, i + 1 + count], 1), np.stack([i, i + 1 + count, i + count], 1)])
    tree = plan_tree(vertices, faces, UP)
    at = np.radians(np.linspace(-44, 44, 89))
    normals = np.column_stack([-np.sin(at), 0 * at, np.cos(at)])
    points = -5 * normals + [0, 3, 0]
    chord_error = 5 * (1 - np.cos(np.radians(1.5)))
    for kind, pieces, cutter in (
        ("own radius", ball_pieces(10.0), BALL), ("less", ball_pieces(8.0), Cutter(8.0, 4.0)),
    ):  # fmt: skip
        assert reach_of(ToolBody(pieces, (), ()), cutter, tree, points, normals, chord_error).by_cutter.all(), kind
    # neither a larger ball nor a bull-nose gets to the bottom
    for pieces, cutter in ((ball_pieces(11.0), Cutter(11.0, 5.5)), (bull_pieces(10.0, 2.0), Cutter(10.0, 2.0))):
        bottom = np.abs(np.degrees(at)) < 20
        found = reach_of(ToolBody(pieces, (), ()), cutter, tree, points[bottom], normals[bottom], chord_error)
        assert not found.by_cutter.any()


def test_what_a_tool_gets_to_is_what_it_reaches(pocket: PlanTree) -> None:
    body = ToolBody(ball_pieces(10.0), (Piece(8.0, 0.0, 0.0, 8.0, 12.0),), ())
    random = np.random.default_rng(7)
    points = random.uniform((-20.0, -20.0, -2.0), (WIDE + 20.0, WIDE + 20.0, DEEP + 8.0), (4000, 3))
    normals = random.normal(size=(4000, 3)) + 0.7 * UP
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    found = reach_of(body, BALL, pocket, points, normals, 0.01)
    gets = gets_to(body, BALL, pocket, points, normals, 0.01)
    np.testing.assert_array_equal(gets, found.by_cutter & found.by_shank)
    assert 500 < gets.sum() < found.by_cutter.sum() < 3500


def test_neck_and_shank_are_asked_where_they_are_thicker_than_the_cutter() -> None:
    """By however little; a thinner neck goes where the cutter went, and what follows stands above flutes and neck."""
    for neck_mm, shank_mm, widths_mm, bases_mm in (
        (10.1, 12.0, [5.05, 6.0], [8.0, 28.0]),
        (9.0, 10.1, [5.05], [28.0]),
        (10.0, 10.0, [], []),
    ):
        tool = Tool(
            diameter=10, flute_length=8, neck_length=20, neck_diameter=neck_mm, shank_diameter=shank_mm, stick_out=50
        )
        shank = tool_body(tool, 0.25).shank
        assert [piece.outer_mm for piece in shank] == pytest.approx([width + 0.25 for width in widths_mm])
        assert [piece.base_mm for piece in shank] == bases_mm
