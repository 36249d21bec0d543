"""Cutters dropped on third-party parts, against a twin written from the geometry; what is covered, against rays."""

from __future__ import annotations

import numpy as np
import pytest
import real_parts
import trimesh
from asked_for import more

from advisor.cutter.drop import Piece, ball_pieces, bull_pieces, dropped
from advisor.part.plan_tree import plan_tree

NAMES = (
    "three_lobe_knob.stl", "stepped_cylinder_block_ascii.stl", more("bell_housing.stl"), more("extruder_body.stl"),
    more("gears.stl"),
)  # fmt: skip
BALLS, OTHERS = 1200, 400
RAYS = 400
ROUNDS = 64


@pytest.fixture(params=NAMES)
def part(request: pytest.FixtureRequest) -> trimesh.Trimesh:
    path = real_parts.REAL_PARTS / request.param
    if not path.is_file():
        pytest.skip(f"no third-party part {path}")
    return trimesh.load(path, process=False)


def some_axis(rng: np.random.Generator) -> np.ndarray:
    axis = rng.normal(size=3)
    return axis / np.linalg.norm(axis)


def test_every_drop_is_what_all_facets_asked_one_by_one_say(part: trimesh.Trimesh) -> None:
    rng = np.random.default_rng(7)
    size = float(np.sqrt((part.extents[:2] ** 2).sum()))
    r = size / 30
    cutters = {
        "ball": (BALLS, ball_pieces(2 * r)),
        "bull": (OTHERS, bull_pieces(2 * r, 0.3 * r)),
        "stack": (
            OTHERS,
            (*ball_pieces(r), Piece(0.4 * r, 0.0, 2.5, 0.9 * r, 1.5 * r), Piece(1.4 * r, 0.0, 0.0, 1.4 * r, 4.0 * r)),
        ),
    }
    for axis in (np.array([0.0, 0.0, 1.0]), some_axis(rng)):
        tree = plan_tree(part.vertices, part.faces, axis)
        corners = (part.vertices @ tree.frame.T)[part.faces]
        low, high = corners[..., :2].min(axis=(0, 1)), corners[..., :2].max(axis=(0, 1))
        for name, (count, pieces) in cutters.items():
            places = rng.uniform(low - 0.5 * r, high + 0.5 * r, (count // 2, 2))
            found = dropped(pieces, tree, places).height_mm
            expected = twin(pieces, corners, places)
            np.testing.assert_array_equal(np.isfinite(found), np.isfinite(expected), err_msg=name)
            both = np.isfinite(found)
            np.testing.assert_allclose(found[both], expected[both], rtol=0, atol=1e-9, err_msg=name)


def test_what_is_covered_is_what_a_ray_up_hits(part: trimesh.Trimesh) -> None:
    rng = np.random.default_rng(8)
    axis = some_axis(rng)
    points = rng.uniform(*part.bounds, (RAYS, 3))
    hit = trimesh.ray.ray_triangle.RayMeshIntersector(part).intersects_any(points, np.tile(axis, (RAYS, 1)))
    covered = plan_tree(part.vertices, part.faces, axis).is_covered(points)
    np.testing.assert_array_equal(covered, hit)
    assert 0 < covered.sum() < RAYS


# ------------------------------------------------------------------------------------------------------------- the twin


def profile(piece: Piece, d: np.ndarray) -> np.ndarray:
    """Height of a piece over its tip at a distance from its axis; nothing (inf) beyond its rim."""
    beyond = np.maximum(d - piece.flat_mm, 0.0)
    round_or_cone = (
        piece.corner_mm - np.sqrt(np.maximum(piece.corner_mm**2 - beyond**2, 0.0))
        if piece.corner_mm > 0
        else piece.rise * beyond
    )
    return np.where(d <= piece.outer_mm, piece.base_mm + round_or_cone, np.inf)


def twin(pieces: tuple[Piece, ...], corners: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Every facet within reach: each point of it that may touch first is held against the profile."""
    low, high = corners[..., :2].min(axis=1), corners[..., :2].max(axis=1)
    heights = np.full(len(places), -np.inf)
    for number, place in enumerate(places):
        for piece in pieces:
            away = np.maximum(np.maximum(low - place, place - high), 0.0)
            near = corners[(away <= piece.outer_mm).all(axis=1)] - [*place, 0.0]
            if len(near):
                heights[number] = max(heights[number], over_facets(piece, near))
    return heights


def over_facets(piece: Piece, corners: np.ndarray) -> float:
    """Height of the tip of a piece on the origin's axis over facets."""

    def highest(points: np.ndarray) -> float:
        values = points[:, 2] - profile(piece, np.hypot(points[:, 0], points[:, 1]))
        return float(values.max(initial=-np.inf))

    best = highest(corners.reshape(-1, 3))
    best = max(best, highest(touched_inside(piece, corners)))
    ends = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2).reshape(-1, 2, 3)
    ends = ends[ends[:, :, 2].max(axis=1) - piece.base_mm > best]  # the others lie too low altogether
    if len(ends) == 0:
        return best
    is_ball = piece.corner_mm > 0 and piece.flat_mm == 0
    return max(best, highest(ball_on_lines(piece, ends) if is_ball else searched(piece, ends)))


def touched_inside(piece: Piece, corners: np.ndarray) -> np.ndarray:
    """Points of facets uphill from the axis, at the distances at which a plane of their slope may touch a piece."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)
    level = np.hypot(normal[:, 0], normal[:, 1])
    usable = (np.abs(normal[:, 2]) > 1e-9 * size) & (size > 0)
    corners, normal, size, level = corners[usable], normal[usable], size[usable], level[usable]
    uphill = -normal[:, :2] * (np.sign(normal[:, 2]) / np.maximum(level, 1e-300))[:, None]
    found = []
    for distance in (0.0 * level, piece.flat_mm + 0 * level, piece.flat_mm + piece.corner_mm * level / size):
        found.append(on_planes(corners, normal, uphill * distance[:, None]))
    found.append(on_planes(corners, normal, uphill * piece.outer_mm * (1 - 1e-15)))
    return np.concatenate(found)


def on_planes(corners: np.ndarray, normal: np.ndarray, plan: np.ndarray) -> np.ndarray:
    """Points of facets at places in plan, of those facets that have one there."""
    z = corners[:, 0, 2] - ((plan - corners[:, 0, :2]) * normal[:, :2]).sum(axis=1) / normal[:, 2]
    sides = []
    for k in range(3):
        a, b = corners[:, k, :2], corners[:, (k + 1) % 3, :2]
        sides.append((b - a)[:, 0] * (plan - a)[:, 1] - (b - a)[:, 1] * (plan - a)[:, 0])
    turn = np.array(sides) * np.sign(normal[:, 2])
    inside = (turn >= 0).all(axis=0)
    return np.column_stack([plan, z])[inside]


def ball_on_lines(piece: Piece, ends: np.ndarray) -> np.ndarray:
    """Points of edges that a ball lowered along the origin's axis touches: its middle is r away from their lines.

    With the middle at (0, 0, z) and the line a + t u: |w|^2 - (w u)^2 = r^2, w = (0, 0, z) - a; the upper root.
    """
    r = piece.corner_mm
    run = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(run, axis=1)
    ends, run, length = ends[length > 0], run[length > 0], length[length > 0]
    u = run / length[:, None]
    square = u[:, 0] ** 2 + u[:, 1] ** 2  # 1 - uz^2, without losing digits
    ends, u, length, square = ends[square > 1e-14], u[square > 1e-14], length[square > 1e-14], square[square > 1e-14]
    a = ends[:, 0]
    au = a[:, 0] * u[:, 0] + a[:, 1] * u[:, 1]
    # h = z - a_z:  h^2 (1 - uz^2) + 2 h uz (a u in plan) + (|a|^2 - (a u)^2 in plan) - r^2 = 0
    half = u[:, 2] * au
    rest = a[:, 0] ** 2 + a[:, 1] ** 2 - au**2 - r * r
    inner = half**2 - square * rest
    meets = inner >= 0
    h = (-half + np.sqrt(np.maximum(inner, 0.0))) / square
    t = h * u[:, 2] - au
    meets &= (t > 0) & (t < length)
    return (a + t[:, None] * u)[meets]


def searched(piece: Piece, ends: np.ndarray) -> np.ndarray:
    """Points of edges that touch a piece first, by halving: what it takes to lower the piece on them is concave."""
    a, run = ends[:, 0], ends[:, 1] - ends[:, 0]
    # only what lies within the rim can touch: t with |a + t run| = outer in plan
    square = (run[:, :2] ** 2).sum(axis=1)
    a, run, square = a[square > 0], run[square > 0], square[square > 0]
    half = (a[:, :2] * run[:, :2]).sum(axis=1) / square
    inner = half**2 - ((a[:, :2] ** 2).sum(axis=1) - piece.outer_mm**2) / square
    root = np.sqrt(np.maximum(inner, 0.0)) * (1 - 1e-15)
    low, high = np.maximum(-half - root, 0.0), np.minimum(-half + root, 1.0)
    within = (inner > 0) & (low < high)
    a, run, low, high = a[within], run[within], low[within], high[within]

    def value(t: np.ndarray) -> np.ndarray:
        points = a + t[:, None] * run
        d = np.minimum(np.hypot(points[:, 0], points[:, 1]), piece.outer_mm)
        return points[:, 2] - profile(piece, d)

    golden = (np.sqrt(5) - 1) / 2
    one, other = high - golden * (high - low), low + golden * (high - low)
    at_one, at_other = value(one), value(other)
    for _ in range(ROUNDS):
        left = at_one >= at_other
        low, high = np.where(left, low, one), np.where(left, other, high)
        new = np.where(left, high - golden * (high - low), low + golden * (high - low))
        at_new = value(new)
        one, other = np.where(left, new, other), np.where(left, one, new)
        at_one, at_other = np.where(left, at_new, at_other), np.where(left, at_one, at_new)
    return np.concatenate([a + t[:, None] * run for t in (low, high, (low + high) / 2)])
