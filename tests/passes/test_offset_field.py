"""Steps and arrival times of constant-cusp passes against closed forms, exact geodesics and stretched planes."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from bull_noses import bull_nose_floor_stepover_mm, cross_feed_curvature_per_mm
from hypothesis import given, settings
from hypothesis import strategies as st
from offset_zones import BALL, CUSP_MM, UP, grid, zone_of
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import Delaunay

from advisor.cutter.cutter import Cutter
from advisor.kernels.march import march, march_with_metric
from advisor.kernels.sectors import corners_by_sector
from advisor.kernels.slow_growth import slow_growth
from advisor.passes.offset_field import offset_from_line, offset_from_outline
from advisor.passes.offset_steps import OffsetSteps, cusp_steps, even_steps


def steps_at(
    k_max: float, k_min: float, cutter: Cutter = BALL, slope_deg: float = 0.0, turned_deg: float = 0.0
) -> OffsetSteps:
    """On one facet: k_max lies along the contour, turned about the normal."""
    slope, turned = np.radians([slope_deg, turned_deg])
    normal = np.array([[0.0, np.sin(slope), np.cos(slope)]])
    uphill = np.array([[0.0, -np.cos(slope), np.sin(slope)]])
    direction = np.cos(turned) * np.array([[1.0, 0, 0]]) + np.sin(turned) * uphill
    return cusp_steps(cutter, CUSP_MM, UP, normal, np.array([k_max]), np.array([k_min]), direction)


def across(steps: OffsetSteps, way: np.ndarray) -> float:
    cosine = steps.direction[0] @ way
    return float(np.sqrt((steps.least_mm[0] * cosine) ** 2 + steps.most_mm[0] ** 2 * (1 - cosine**2)))


def test_steps_of_a_ball_are_those_of_the_reference_benchmarks() -> None:
    # exact steps for R 5 and a cusp of 0.01: plane 0.6321392, convex sphere of 50 mm 0.6026618; to first order in the
    # cusp 0.6666667 in a hollow of 50 mm (independent computations)
    assert steps_at(0.0, 0.0).most_mm[0] == pytest.approx(0.6321392, abs=1e-7)
    assert steps_at(0.02, 0.02).least_mm[0] == pytest.approx(0.6026618, abs=1e-7)
    cylinder = steps_at(0.02, 0.0)
    assert across(cylinder, np.array([1.0, 0, 0])) == pytest.approx(0.6026618, abs=1e-7)
    assert across(cylinder, np.array([0.0, 1, 0])) == pytest.approx(0.6321392, abs=1e-7)
    assert steps_at(-0.02, -0.02).least_mm[0] == pytest.approx(0.6666667, rel=2e-3)


@given(st.floats(2.0, 88.0), st.floats(0.0, 90.0))
def test_askew_to_the_contour_the_radii_of_a_bull_nose_add_up(slope_deg: float, feed_deg: float) -> None:
    # two ways to one number: the form of the torus here, the rolled outline of the cutter there
    cutter = Cutter(10.0, 1.0)
    steps, slope = steps_at(0.0, 0.0, cutter, slope_deg), np.radians(slope_deg)
    uphill = np.array([0.0, -np.cos(slope), np.sin(slope)])
    feed = np.radians(feed_deg)
    way = -np.sin(feed) * np.array([1.0, 0, 0]) + np.cos(feed) * uphill
    groove = 1.0 / float(cross_feed_curvature_per_mm(slope_deg, feed_deg, 5.0, 1.0))
    # where the step is held by the flat and two corners the metric is no more that of the groove
    if steps.most_mm[0] < 8.0:
        assert across(steps, way) == pytest.approx(np.sqrt(8 * groove * CUSP_MM), rel=6e-3)


def test_a_bull_nose_on_its_flat_and_a_hollow_as_tight_as_the_ball() -> None:
    floor = steps_at(0.0, 0.0, Cutter(10.0, 1.0))
    assert floor.least_mm[0] == floor.most_mm[0] == pytest.approx(bull_nose_floor_stepover_mm(CUSP_MM, 5.0, 1.0))
    own = [steps_at(0.0, -1 / radius).most_mm[0] for radius in (5.3, 5.0, 4.9)]
    assert own[0] == own[1] == own[2] == pytest.approx(np.sqrt(10.0) * 0.632, rel=0.02)
    assert steps_at(0.0, -1 / 4.0).most_mm[0] == pytest.approx(0.6321392, abs=1e-6)


def plane_at_random(count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    side = np.linspace(0, 1, 30)
    rim = [
        np.c_[side, 0 * side],
        np.c_[side, 0 * side + 1],
        np.c_[0 * side, side][1:-1],
        np.c_[0 * side + 1, side][1:-1],
    ]
    points = np.concatenate([[[0.5, 0.5]], np.random.default_rng(seed).random((count, 2)), *rim])
    return np.c_[points, 0 * points[:, 0]], Delaunay(points).simplices.astype(np.int32)


@settings(max_examples=15)
@given(st.integers(0, 10**6), st.floats(0.0, np.pi), st.floats(1.0, 4.0))
def test_a_metric_is_a_stretched_plane(seed: int, angle: float, ratio: float) -> None:
    # with 1,200 points one mesh in fifty has its first facets so askew to the stretch that all is 1.1 % off
    points, faces = plane_at_random(4800, seed)
    start, corners = corners_by_sector(faces.ravel(), len(points))
    begins = np.full(len(points), np.nan)
    begins[0] = 0.0
    way = np.array([np.cos(angle), np.sin(angle), 0.0])
    pull = np.tile(way * np.sqrt(ratio**2 - 1.0), (len(faces), 1))
    found, gradient = march_with_metric(points, faces, start, corners, np.ones(len(faces)), pull, begins, np.inf)
    off = points - points[0]
    exact = np.hypot(np.linalg.norm(np.cross(off, way), axis=1), ratio * (off @ way))
    assert np.abs(found[1:] / exact[1:] - 1.0).mean() < 0.01
    # the gradient's length by the inverse of the metric is 1
    along = gradient[1:] @ way
    size = np.sqrt(np.einsum("ij,ij->i", gradient[1:], gradient[1:]) + along**2 * (1 / ratio**2 - 1))
    np.testing.assert_allclose(size, 1.0, rtol=1e-6)


def test_times_are_nearer_to_exact_geodesics_than_those_of_the_heat_method() -> None:
    geodesic = pytest.importorskip("pygeodesic.geodesic", reason="pygeodesic (exact geodesics) is not installed")
    heat = pytest.importorskip("potpourri3d", reason="potpourri3d (heat method) is not installed")
    torus = grid(
        lambda u, v: ((3 + np.cos(v)) * np.cos(u), (3 + np.cos(v)) * np.sin(u), np.sin(v)),
        np.linspace(0, 4.0, 90), np.linspace(0, 3.5, 60),
    )  # fmt: skip
    for mesh in (torus, plane_at_random(1500, 0), solids.sphere(10.0, 0.02, pattern="ico")):
        points, faces = np.ascontiguousarray(mesh[0], float), np.ascontiguousarray(mesh[1], np.int32)
        start, corners = corners_by_sector(faces.ravel(), len(points))
        begins = np.full(len(points), np.nan)
        begins[0] = 0.0
        found = march(points, faces, start, corners, np.ones(len(faces)), begins, np.inf)[0][1:]
        exact = geodesic.PyGeodesicAlgorithmExact(points, faces).geodesicDistances(np.array([0]), None)[0][1:]
        warm = heat.MeshHeatMethodDistanceSolver(points, faces).compute_distance(0)[1:]
        error = np.abs(found / exact - 1.0).mean()
        assert error < 0.01
        assert error < np.abs(warm / exact - 1.0).mean()


def test_a_front_that_enters_a_slower_medium_loses_no_time() -> None:
    points, faces = grid(lambda u, v: (u, v, 0 * u), np.linspace(0, 10, 11), np.linspace(0, 10, 11))
    faces = faces.astype(np.int32)
    slow = np.where(points[faces].mean(axis=1)[:, 0] > 5.0, 2.5, 1.0)
    start, corners = corners_by_sector(faces.ravel(), len(points))
    begins = np.where(points[:, 0] == 0.0, 0.0, np.nan)
    found = march(points, faces, start, corners, slow, begins, np.inf)[0]
    np.testing.assert_allclose(found, np.minimum(points[:, 0], 5) + 2.5 * np.maximum(points[:, 0] - 5, 0), atol=1e-9)


def test_growth_is_held_as_by_shortest_ways_along_edges() -> None:
    points, faces = plane_at_random(300, 3)
    value = np.random.default_rng(0).uniform(0.1, 3.0, len(faces))
    start, corners = corners_by_sector(faces.ravel(), len(points))
    held = slow_growth(points, faces, start, corners, value, 2.0)
    least = np.full(len(points), np.inf)
    np.minimum.at(least, faces.ravel(), np.repeat(value, 3))
    a, b = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    edges = np.unique(np.sort(np.stack([a, b]), axis=0), axis=1)
    length = 2.0 * np.linalg.norm(points[edges[0]] - points[edges[1]], axis=1)
    ways = dijkstra(coo_array((length, tuple(edges)), shape=(len(points),) * 2).tocsr(), directed=False)
    grown = (ways + least).min(axis=1)
    middle = points[faces].mean(axis=1)
    bound = value.copy()
    for k in range(3):
        one, two = faces[:, k], faces[:, (k + 1) % 3]
        edge = points[two] - points[one]
        foot = np.einsum("mx,mx->m", middle - points[one], edge) / np.einsum("mx,mx->m", edge, edge)
        off = np.linalg.norm(points[one] + foot[:, None] * edge - middle, axis=1)
        bound = np.minimum(bound, grown[one] + foot * (grown[two] - grown[one]) + 2.0 * off)
    np.testing.assert_allclose(held, bound, rtol=1e-3)


def test_times_on_a_cap_and_their_gradients() -> None:
    vertices, faces = solids.spherical_cap()
    top = vertices[:, 2].max()
    surface, steps = zone_of(vertices, faces, lambda m: (m.normal[:, 2] > 0.49) & (m.middle[:, 2] > top - 26))
    field = offset_from_outline(surface, steps, 0.0)
    finite = np.isfinite(field.time)
    assert finite.all()
    slope = np.arccos(np.clip(1.0 - (top - field.surface.mesh.vertices[:, 2]) / 50.0, -1, 1))
    exact = 50.0 * (np.pi / 3 - slope) / 0.6026618
    np.testing.assert_allclose(field.time, exact, atol=0.06)
    np.testing.assert_allclose(field.step_mm, 0.6026618, rtol=5e-3)
    # area over step of benchmark S
    assert field.path_mm == pytest.approx(13032.16, rel=5e-3)
    # from the top down the times add up to the same
    down = offset_from_line(surface, steps, 0.0, vertices[np.argmax(vertices[:, 2])][None])
    both = 50.0 * np.pi / 3 / 0.6026618 + 0.5
    # vertices at which ridges were split follow the others
    common = min(len(field.time), len(down.time))
    low = np.flatnonzero(field.surface.mesh.vertices[:common, 2] < top - 1)
    np.testing.assert_allclose(field.time[low] + down.time[low], both, atol=0.15)


def test_what_has_no_outline_says_so() -> None:
    surface, steps = zone_of(*solids.sphere(10.0, 0.1))
    with pytest.raises(ValueError, match="no outline"):
        offset_from_outline(surface, steps, 0.0)
    with pytest.raises(ValueError, match="above 0"):
        even_steps(surface.mesh.normal, 0.0)
