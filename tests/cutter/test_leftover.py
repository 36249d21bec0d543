"""What a ball leaves in hollows it does not get into: closed forms, and a slow twin that tries a fine grid."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from asked_for import few_of
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import ball_pieces, bull_pieces, dropped
from advisor.cutter.leftover import leftover_mm
from advisor.part.plan_tree import PlanTree, plan_tree

UP = np.array([0.0, 0.0, 1.0])
R = 5.0
WALL = 40.0


def left(tree: PlanTree, points: object, normals: object, radius: float = R, tolerance: float = 1e-4) -> np.ndarray:
    points = np.atleast_2d(np.array(points, float))
    normals = np.broadcast_to(np.array(normals, float), points.shape)
    return leftover_mm(ball_pieces(2 * radius), Cutter(2 * radius, radius), tree, points, normals, tolerance)


def groove(angle_deg: float, r: float, tilt_deg: float = 0.0, turn_deg: float = 0.0, steps: int = 60) -> PlanTree:
    """A groove between two walls with a fillet whose middle line runs through the origin, lands beside the walls."""
    half, tilt, turn = np.radians([angle_deg / 2, tilt_deg, turn_deg])
    angles = np.linspace(half - np.pi / 2, np.pi / 2 - half, steps + 1) if r > 0 else np.zeros(1)
    arc = r * np.column_stack([np.sin(angles), 1 - np.cos(angles)]) if r > 0 else np.zeros((1, 2))
    up_left, up_right = WALL * np.array([[-np.sin(half), np.cos(half)], [np.sin(half), np.cos(half)]])
    profile = np.vstack([arc[0] + up_left, arc, arc[-1] + up_right])
    profile = profile @ np.array([[np.cos(tilt), np.sin(tilt)], [-np.sin(tilt), np.cos(tilt)]])
    profile = np.vstack([profile[0] - [80, 0], profile, profile[-1] + [80, 0]])
    count = len(profile)
    vertices = np.concatenate(
        [np.column_stack([profile[:, 0], np.full(count, y), profile[:, 1]]) for y in (-90.0, 90.0)]
    )
    i = np.arange(count - 1)
    faces = np.concatenate([np.stack([i, i + 1, i + 1 + count], 1), np.stack([i, i + 1 + count, i + count], 1)])
    return plan_tree(vertices @ about_z(turn).T, faces, UP)


def about_z(turn: float) -> np.ndarray:
    return np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])


@pytest.mark.parametrize("angle_deg", [60.0, 90.0, 120.0])
@pytest.mark.parametrize("r", [0.0, 1.0, 3.0])
@pytest.mark.parametrize("tilt_share", [0.0, 0.4, 1.0])
def test_in_the_middle_of_a_fillet(angle_deg: float, r: float, tilt_share: float) -> None:
    # by geometry: the middles of fillet and ball both lie on the bisector, radius / sin(half) from the corner
    tilt = tilt_share * angle_deg / 2  # at 1 one wall stands upright
    normal = np.array([-np.sin(np.radians(tilt)), 0, np.cos(np.radians(tilt))])
    expected = (1 / np.sin(np.radians(angle_deg / 2)) - 1) * (R - r)
    for turn_deg in (0.0, 33.0):
        tree = groove(angle_deg, r, tilt, turn_deg)
        turn = about_z(np.radians(turn_deg))
        points = np.column_stack([np.zeros(3), [-2.0, 0.0, 7.3], np.zeros(3)]) @ turn.T
        np.testing.assert_allclose(left(tree, points, turn @ normal), expected, rtol=0.005)


def test_fillets_as_wide_as_the_ball_are_reached() -> None:
    for radius in (5.0, 7.0):
        tree = groove(90.0, radius)
        angles = np.radians(np.linspace(-44, 44, 50))
        normals = np.column_stack([-np.sin(angles), 0 * angles, np.cos(angles)])
        points = np.column_stack([radius * np.sin(angles), 3 + angles, radius - radius * np.cos(angles)])
        chord_error = radius * (1 - np.cos(np.radians(90 / 60 / 2)))
        assert (left(tree, points, normals, tolerance=2 * chord_error) == 0).all()


def corner_of_three_walls(r_floor: float = 0.0) -> PlanTree:
    """A square pocket, 60 wide and 30 deep, its corner at the origin."""
    a, d = 60.0, 30.0
    ring = np.array([(0, 0), (a, 0), (a, a), (0, a)], float)
    outer = np.array([(-50, -50), (a + 50, -50), (a + 50, a + 50), (-50, a + 50)], float)
    vertices = np.vstack([np.c_[ring, np.zeros(4)], np.c_[ring, np.full(4, d)], np.c_[outer, np.full(4, d)]])
    faces = [(0, 1, 2), (0, 2, 3)]
    for k in range(4):
        n = (k + 1) % 4
        faces += [(k, k + 4, n + 4), (k, n + 4, n), (k + 4, k + 8, n + 8), (k + 4, n + 8, n + 4)]
    return plan_tree(vertices, np.array(faces), UP)


def test_in_a_corner_of_three_walls() -> None:
    tree = corner_of_three_walls()
    t = 0.7
    points = [(0, 0, 0), (0, 0, 20), (t, 0, 0), (0, 30, 0), (t, 30, 0), (30, 30, 0), (0, 30, 20)]
    normals = [(1, 1, 1), (1, 1, 0), (0, 0, 1), (1, 0, 0), (0, 0, 1), (0, 0, 1), (1, 0, 0)]
    normals = np.array(normals) / np.linalg.norm(normals, axis=1)[:, None]
    q = R - t
    expected = [
        R * (np.sqrt(3) - 1), R * (np.sqrt(2) - 1), np.sqrt(q * q + 2 * R * R) - R, R * (np.sqrt(2) - 1),
        np.sqrt(q * q + R * R) - R, 0, 0,
    ]  # fmt: skip
    np.testing.assert_allclose(left(tree, points, normals), expected, rtol=1e-3, atol=1e-4)


@pytest.mark.parametrize("hole_radius", [1.0, 3.0, 4.9])
def test_a_blind_hole_too_narrow_for_the_ball(hole_radius: float) -> None:
    # the ball sits on the rim, its middle sqrt(R^2 - a^2) above it
    vertices, faces = solids.round_pocket(hole_radius, hole_radius / 4, chord_error_mm=hole_radius / 2000)
    tree = plan_tree(vertices, faces, UP)
    floor, rim = 10.0, 25.0
    above = rim + np.sqrt(R * R - hole_radius**2)
    got = left(tree, [(0, 0, floor), (0.3, 0.6, floor)], UP)
    np.testing.assert_allclose(got, np.hypot([0, np.hypot(0.3, 0.6)], above - floor) - R, rtol=1e-3)


def test_under_a_wide_roof_the_way_goes_round_it() -> None:
    # a floor, and a plate 20 above it that reaches from far left to x = 8: the ball passes beside it at x = 8 + R
    floor = [(-90, -90, 0), (90, -90, 0), (90, 90, 0), (-90, 90, 0)]
    plate = [(-70, -80, 20), (8, -80, 20), (8, 80, 20), (-70, 80, 20)]
    faces = np.array([(0, 1, 2), (0, 2, 3), (4, 5, 6), (4, 6, 7)])
    tree = plan_tree(np.array(floor + plate, float), faces, UP)
    got = left(tree, [(0, 0, 0), (7, 5, 0), (20, 0, 0)], UP)
    np.testing.assert_allclose(got, [np.hypot(8 + R, R) - R, np.hypot(1 + R, R) - R, 0], rtol=2e-3)


def test_all_is_reached_on_a_part_of_wide_hollows() -> None:
    vertices, faces = solids.wave()
    tree = plan_tree(vertices, faces, UP)
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    up = normal[:, 2] > 1e-3
    assert (left(tree, corners.mean(axis=1)[up], normal[up], radius=2.0, tolerance=0.02) == 0).all()


def test_a_bull_nose_in_a_corner() -> None:
    tree = corner_of_three_walls()
    pieces, cutter = bull_pieces(12.0, 2.0), Cutter(12.0, 2.0)
    points = np.array([(0.0, 30, 0), (30, 30, 0), (0, 0, 20)])
    normals = np.array([(1.0, 0, 0), (0, 0, 1), (np.sqrt(0.5), np.sqrt(0.5), 0)])
    got = leftover_mm(pieces, cutter, tree, points, normals, 1e-4)
    np.testing.assert_allclose(got, [2 * (np.sqrt(2) - 1), 0, 6 * (np.sqrt(2) - 1)], rtol=0.02, atol=1e-4)


@settings(max_examples=few_of(10, 30))
@given(st.integers(0, 100_000))
def test_no_place_on_a_fine_grid_is_nearer_and_nothing_better_is_promised(number: int) -> None:
    rng = np.random.default_rng(number)
    n = 13
    x, y = np.meshgrid(np.linspace(-12, 12, n), np.linspace(-12, 12, n), indexing="ij")
    z = rng.uniform(0.3, 1.8) * rng.normal(size=x.shape)
    vertices = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    i = np.arange(n * n).reshape(n, n)
    a, b, c, d = (block.ravel() for block in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    tree = plan_tree(vertices, faces, UP)
    inside = np.abs(vertices[faces].mean(axis=1)[:, :2]).max(axis=1) < 8
    chosen = rng.choice(np.flatnonzero(inside), 12)
    points = np.einsum("kc,kcx->kx", rng.dirichlet((1, 1, 1), 12), vertices[faces[chosen]])
    normals = np.cross(vertices[b] - vertices[a], vertices[d] - vertices[a])[chosen % len(a)]
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    radius, step = 2.0, 0.05
    got = left(tree, points, normals, radius, tolerance=0.0)
    side = np.arange(-14, 14, step)
    places = np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1).reshape(-1, 2)
    middle = dropped(ball_pieces(2 * radius), tree, places).height_mm + radius
    for point, height in zip(points, got, strict=True):
        away = np.hypot(*(places - point[:2]).T)
        on_grid = np.hypot(away, np.maximum(middle - point[2], 0)).min() - radius
        assert height <= on_grid + 0.005 * (on_grid + radius)
        assert height >= on_grid - 3 * step
