"""Cutters dropped on facets: closed forms, and a slow twin that asks every facet by sampling and by search."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from asked_for import few_of
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from advisor.cutter.drop import Piece, ball_pieces, bull_pieces, dropped
from advisor.part.plan_tree import PlanTree, plan_tree

UP = np.array([0.0, 0.0, 1.0])
CUTTERS = {
    "ball": ball_pieces(12.0), "bull": bull_pieces(12.0, 2.0), "flat": (Piece(6.0, 0.0, 0.0, 6.0, 0.0),),
    "cone": (Piece(flat_mm=2.0, corner_mm=0.0, rise=1.5, outer_mm=6.0, base_mm=1.0),),
    "stack": (*ball_pieces(6.0), Piece(2.0, 0.0, 3.0, 5.0, 9.0), Piece(8.0, 0.0, 0.0, 8.0, 20.0)),
}  # fmt: skip


def tree_of(*triangles: object, axis: np.ndarray = UP) -> PlanTree:
    corners = np.array(triangles, float).reshape(-1, 3)
    return plan_tree(corners, np.arange(len(corners)).reshape(-1, 3), axis)


def height(pieces: tuple[Piece, ...], tree: PlanTree, x: float, y: float) -> float:
    return float(dropped(pieces, tree, np.array([[x, y]])).height_mm[0])


def profile(piece: Piece, d: np.ndarray) -> np.ndarray:
    beyond = np.maximum(d - piece.flat_mm, 0.0)
    if piece.corner_mm > 0:
        return piece.base_mm + piece.corner_mm - np.sqrt(np.maximum(piece.corner_mm**2 - beyond**2, 0.0))
    return piece.base_mm + piece.rise * beyond


@pytest.mark.parametrize("slope_deg", [0.0, 5.0, 30.0, 60.0, 85.0])
def test_on_a_wide_plane(slope_deg: float) -> None:
    slope = np.radians(slope_deg)
    k = np.tan(slope)
    tree = tree_of([(-500, -500, -500 * k), (500, -500, 500 * k), (0, 900, 0.0)])
    r = 6.0
    assert height(CUTTERS["ball"], tree, 3, 1) == pytest.approx(3 * k + r / np.cos(slope) - r, abs=1e-9)
    bull = 3 * k + 4 * k + 2 / np.cos(slope) - 2
    assert height(CUTTERS["bull"], tree, 3, 1) == pytest.approx(bull, abs=1e-9)
    assert height(CUTTERS["flat"], tree, 3, 1) == pytest.approx(3 * k + 6 * k, abs=1e-9)
    cone = 3 * k + max(2 * k, 6 * k - 1.5 * 4) - 1.0
    assert height(CUTTERS["cone"], tree, 3, 1) == pytest.approx(cone, abs=1e-9)


@pytest.mark.parametrize("d", [0.0, 1.0, 3.9, 4.5, 5.999])
def test_on_a_point_and_on_an_upright_edge(d: float) -> None:
    tree = tree_of([(0, 0, 5), (1e-9, 0, -50), (0, 1e-9, -50)])
    for name, pieces in CUTTERS.items():
        expected = max((5 - float(profile(p, np.array(d))) for p in pieces if d <= p.outer_mm), default=-np.inf)
        assert height(pieces, tree, d, 0) == pytest.approx(expected, abs=1e-7), name


@pytest.mark.parametrize("c", [0.0, 2.0, 5.0])
@pytest.mark.parametrize("k", [0.0, 0.5, -2.0])
def test_a_ball_on_a_long_edge(c: float, k: float) -> None:
    # a thin roof along x: the ball rolls over its ridge, c to the side
    one, other = (-300, 0, -300 * k), (300, 0, 300 * k)
    tree = tree_of([one, other, (300, 1e-7, 300 * k - 900)], [one, other, (-300, -1e-7, -300 * k - 900)])
    rho = np.sqrt(36 - c * c)
    assert height(CUTTERS["ball"], tree, 1.0, c) == pytest.approx(k + rho * np.sqrt(1 + k * k) - 6, abs=1e-6)


def test_in_a_v_groove_a_ball_rests_on_both_flanks() -> None:
    k = 1.2
    tree = tree_of(
        [(0, -400, 0), (0, 400, 0), (300, 0, 300 * k)], [(0, -400, 0), (0, 400, 0), (-300, 0, 300 * k)]
    )  # fmt: skip
    assert height(CUTTERS["ball"], tree, 0, 0) == pytest.approx(6 * np.sqrt(1 + k * k) - 6, abs=1e-9)
    assert height(CUTTERS["flat"], tree, 0, 0) == pytest.approx(6 * k, abs=1e-9)


@pytest.mark.parametrize("axis", [UP, np.array([0.6, 0.0, 0.8]), np.array([-0.48, 0.6, -0.64])])
def test_on_a_fine_sphere_seen_from_anywhere(axis: np.ndarray) -> None:
    chord_error = 0.002
    vertices, faces = solids.sphere(20.0, chord_error_mm=chord_error)
    tree = plan_tree(vertices - vertices.mean(axis=0), faces, axis)
    rng = np.random.default_rng(5)
    places = rng.uniform(-12, 12, (500, 2))
    d = np.hypot(*places.T)
    on_ball = np.sqrt(26.0**2 - d**2) - 6.0
    # a bull-nose: the ring's nearest point lies on the near side, and over the top the flat rests on the crown
    on_bull = np.where(d > 4, np.sqrt(22.0**2 - np.maximum(d - 4, 0) ** 2) - 2.0, 20.0)
    for name, expected in (("ball", on_ball), ("bull", on_bull)):
        found = dropped(CUTTERS[name], tree, places).height_mm
        assert (found <= expected + 1e-9).all()
        assert (found >= expected - 3 * chord_error).all()


@pytest.mark.parametrize("larger", [1.0, 20.0])
def test_a_ball_far_larger_than_the_part_rests_on_its_side(larger: float) -> None:
    chord_error, r = 0.002, 20.0
    vertices, faces = solids.sphere(r, chord_error_mm=chord_error)
    tree = plan_tree(vertices - vertices.mean(axis=0), faces, UP)
    big = larger * 2 * r
    lean = np.radians(np.linspace(0, 85, 60))
    turn = np.linspace(0, 40, 60)
    places = ((r + big) * np.sin(lean))[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    found = dropped(ball_pieces(2 * big), tree, places).height_mm
    expected = (r + big) * np.cos(lean) - big
    assert (found <= expected + 1e-9 * big).all()
    # what facets lack along the normal they lack more of along the axis
    assert ((expected - found) * np.cos(lean) <= 3 * chord_error).all()
    ring, corner = 0.9 * big, 0.1 * big
    places = (ring + (r + corner) * np.sin(lean))[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    found = dropped(bull_pieces(2 * big, corner), tree, places).height_mm
    expected = (r + corner) * np.cos(lean) - corner
    assert (found <= expected + 1e-9 * big).all()
    assert ((expected - found) * np.cos(lean) <= 3 * chord_error).all()


def test_a_bull_nose_beside_an_edge_that_its_rim_just_meets() -> None:
    # at the very rim the corner is upright and its bend without bound: no number may overflow there
    tree = tree_of([(-300, 5.999999999999999, -9e3), (300, 5.999999999999999, 9e3), (300, 60, -9e6)])
    assert np.isfinite(height(CUTTERS["bull"], tree, 0.0, 0.0))


def test_in_a_round_pocket_with_a_fillet() -> None:
    vertices, faces = solids.round_pocket(20.0, 3.0, 15.0, chord_error_mm=0.001)
    turn = Rotation.from_euler("zyx", [20, 50, -130], degrees=True).as_matrix()
    for tree, axes in (
        (plan_tree(vertices, faces, UP), np.eye(3)),
        (plan_tree(vertices @ turn.T, faces, turn @ UP), turn),
    ):
        away = np.array([0.0, 9.0, 13.9, 16.0, 17.5, 17.9])
        along = np.array([np.cos(0.7), np.sin(0.7), 0.0])
        places = (away[:, None] * along) @ axes.T @ tree.frame[:2].T
        # a ball of 2 rolls in the fillet, its middle 1 about the fillet's; one of 6 stands on the floor to the wall
        small = np.where(away > 17, 13 - np.sqrt(np.maximum(1 - (away - 17) ** 2, 0)) - 2, 10)
        np.testing.assert_allclose(dropped(ball_pieces(4.0), tree, places).height_mm, small, atol=0.004)
        np.testing.assert_allclose(dropped(ball_pieces(12.0), tree, places[:3]).height_mm, 10, atol=1e-9)
        # between wall and rim: on the rim, the middle sqrt(36 - (20 - 16)^2) above it
        on_rim = 25 + np.sqrt(36 - 16) - 6
        assert dropped(ball_pieces(12.0), tree, places[3:4]).height_mm[0] == pytest.approx(on_rim, abs=0.004)


def test_a_stepped_holder_beside_a_block() -> None:
    block = [(0, -200, 50), (300, 0, 50), (0, 200, 50)]
    tree = tree_of(block)
    holder = (Piece(10.0, 0.0, 0.0, 10.0, 0.0), Piece(10.0, 0.0, 1.5, 20.0, 12.0), Piece(25.0, 0.0, 0.0, 25.0, 27.0))
    for beside, expected in ((0.0, 50.0), (9.99, 50.0), (15.0, 50 - 12 - 7.5), (22.0, 50 - 27), (25.5, -np.inf)):
        assert height(holder, tree, -beside, 0) == pytest.approx(expected, abs=1e-9)


@settings(max_examples=few_of(10, 20))
@given(st.integers(0, 100_000))
def test_neither_order_of_facets_nor_of_places_shows(number: int) -> None:
    rng = np.random.default_rng(number)
    corners = rng.uniform(-12, 12, (200, 1, 3)) + rng.uniform(0.1, 8) * rng.normal(size=(200, 3, 3))
    places, floor = rng.uniform(-15, 15, (300, 2)), rng.uniform(-20, 30, 300)
    facets, queries = rng.permutation(200), rng.permutation(300)
    for pieces in CUTTERS.values():
        one = dropped(pieces, tree_of(*corners), places, floor)
        other = dropped(pieces, tree_of(*corners[facets]), places[queries], floor[queries])
        np.testing.assert_allclose(other.height_mm, one.height_mm[queries], rtol=0, atol=1e-11)
        np.testing.assert_array_equal(other.facet < 0, one.facet[queries] < 0)
        assert (one.height_mm[one.facet < 0] == floor[one.facet < 0]).all()


def test_out_of_reach_is_nothing() -> None:
    tree = tree_of([(0, 0, 0), (1, 0, 0), (0, 1, 0)])
    found = dropped(CUTTERS["ball"], tree, np.array([[50.0, 0.0], [0.2, 0.2]]))
    assert found.height_mm[0] == -np.inf
    assert found.facet.tolist() == [-1, 0]
    none = plan_tree(np.zeros((0, 3)), np.zeros((0, 3), np.int64), UP)
    assert (dropped(CUTTERS["ball"], none, np.zeros((3, 2))).height_mm == -np.inf).all()


@settings(max_examples=few_of(25, 50), deadline=None)
@given(st.integers(0, 100_000), st.sampled_from(sorted(CUTTERS)))
def test_no_sample_of_any_facet_pokes_into_the_cutter_and_some_touch_it(seed: int, name: str) -> None:
    rng = np.random.default_rng(seed)
    axis = rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    corners = rng.uniform(-12, 12, (40, 1, 3)) + rng.uniform(0.1, 8) * rng.normal(size=(40, 3, 3))
    tree = tree_of(*corners, axis=axis)
    places = rng.uniform(-8, 8, (6, 2))
    found = dropped(CUTTERS[name], tree, places)
    weights = rng.dirichlet((0.5, 0.5, 0.5), 3000)
    points = np.einsum("wc,fcx->fwx", weights, corners @ tree.frame.T).reshape(-1, 3)
    for (x, y), z in zip(places, found.height_mm, strict=True):
        highest = highest_of_samples(CUTTERS[name], points, x, y)
        assert z >= highest - 1e-9
        assert z - highest < 0.6 or z == highest


def highest_of_samples(pieces: tuple[Piece, ...], points: np.ndarray, x: float, y: float) -> float:
    d = np.hypot(points[:, 0] - x, points[:, 1] - y)
    best = -np.inf
    for piece in pieces:
        near = d <= piece.outer_mm
        if near.any():
            best = max(best, float((points[near, 2] - profile(piece, d[near])).max()))
    return best


@settings(max_examples=few_of(15, 40), deadline=None)
@given(st.integers(0, 100_000), st.sampled_from(sorted(CUTTERS)))
@example(155, "bull")  # touched where the flat ends on the side that the slope leans away from
def test_the_tree_leaves_nothing_out(seed: int, name: str) -> None:
    rng = np.random.default_rng(seed)
    n = 18
    x, y = np.meshgrid(np.linspace(0, 24, n), np.linspace(0, 24, n), indexing="ij")
    bumps = rng.normal(size=4)
    z = 6 * np.sin(x / 5 * bumps[0] + bumps[1]) * np.cos(y / 6 * bumps[2]) + rng.uniform(0, 2) * rng.normal(
        size=x.shape
    )
    z[rng.random(x.shape) < 0.05] += 10  # pillars: steep walls
    vertices = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    i = np.arange(n * n).reshape(n, n)
    a, b, c, d = (block.ravel() for block in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    tree = plan_tree(vertices, faces, UP)
    places = rng.uniform(-3, 27, (60, 2))
    found = dropped(CUTTERS[name], tree, places)
    every = np.full(len(places), -np.inf)
    for facet in tree.corners:  # a tree of one facet has nothing to leave out
        alone = PlanTree(
            tree.frame,
            facet[None],
            np.zeros(1, np.int64),
            np.full((1, 9), [-1e9, -1e9, 1e9, 1e9, 1e9, 0, 0, 1e9, 1]),
            0,
        )
        every = np.maximum(every, dropped(CUTTERS[name], alone, places).height_mm)
    np.testing.assert_allclose(found.height_mm, every, rtol=0, atol=1e-9)
    assert (found.facet >= 0).all() == np.isfinite(found.height_mm).all()
