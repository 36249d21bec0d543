"""Kernels against their slow twins, and the laws that hold between their inputs and outputs."""

from __future__ import annotations

import naive
import numpy as np
import solids
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from advisor.kernels.label_bounds import bounds_by_label
from advisor.kernels.line_direction import length_by_direction, lines_over_facets, widths_across
from advisor.kernels.quantiles import weighted_quantiles
from advisor.kernels.refine import split_edges
from advisor.kernels.shape_tensor import shape_tensors
from advisor.kernels.topology import connected_facets, match_half_edges, wind_alike
from advisor.kernels.weld import weld_exact

soups = hnp.arrays(np.int32, st.tuples(st.integers(1, 40), st.just(3)), elements=st.integers(0, 11))


@given(soups)
def test_half_edges_match_as_a_dictionary_matches_them(faces: np.ndarray) -> None:
    assert np.array_equal(match_half_edges(faces, 12), naive.naive_twins(faces))


@given(soups, st.integers(0, 2**31))
def test_groups_are_those_of_a_flood(faces: np.ndarray, seed: int) -> None:
    twins = match_half_edges(faces, 12)
    linked = np.random.default_rng(seed).random(len(twins)) < 0.5
    label, count = connected_facets(twins, linked)
    assert np.array_equal(label, naive.naive_groups(faces, linked, twins))
    assert count == label.max() + 1


@given(hnp.arrays(np.int64, st.tuples(st.integers(0, 60), st.just(3)), elements=st.integers(-2, 2)))
def test_weld_numbers_rows_as_a_dictionary_does(rows: np.ndarray) -> None:
    index, first = weld_exact(rows)
    assert (index.tolist(), first.tolist()) == naive.naive_weld(rows)


@given(
    hnp.arrays(np.float64, st.integers(1, 300), elements=st.one_of(st.floats(-5, 5), st.sampled_from([0.0, 1.0]))),
    st.integers(0, 2**31),
    st.lists(st.floats(0.001, 1.0), min_size=1, max_size=4),
)
def test_weighted_quantiles_are_those_of_a_sort(values: np.ndarray, seed: int, shares: list[float]) -> None:
    weights = np.random.default_rng(seed).integers(1, 9, len(values)).astype(float)
    found = weighted_quantiles(values, weights, np.array(shares))
    for got, share in zip(found, shares, strict=True):
        order = np.sort(values)
        low = naive.naive_quantile(values, weights, share * (1 - 1e-9))
        high = naive.naive_quantile(values, weights, min(1.0, share * (1 + 1e-9)))
        assert low <= got <= high
        assert got in order


def test_quantiles_of_values_too_near_for_a_reciprocal() -> None:
    """Found by hypothesis on 2026-11-25: the reciprocal of the span of 0 and 2e-306 is infinite."""
    values, weights = np.array([0.0, 2.2e-306]), np.array([1.0, 1.0])
    assert weighted_quantiles(values, weights, np.array([0.4, 1.0])).tolist() == [0.0, 2.2e-306]
    values = np.array([0.0, 2e-249, 2e-187, 2e-130, 1e-23, 1.0])
    shares = np.array([1, 2, 3, 4, 5, 6]) / 6
    assert weighted_quantiles(values, np.ones(6), shares).tolist() == values.tolist()


def test_quantile_of_infinite_values_is_infinite() -> None:
    values, weights = np.array([1.0, 2.0, np.inf]), np.ones(3)
    assert weighted_quantiles(values, weights, np.array([0.3, 0.6, 0.9])).tolist() == [1.0, 2.0, np.inf]


@given(st.integers(0, 2**31), st.floats(0.1, 0.9))
def test_splitting_edges_keeps_area_closure_and_volume(seed: int, share: float) -> None:
    vertices, faces = solids.sphere(10.0, 0.5, pattern="ico")
    faces = faces.astype(np.int32)
    rng = np.random.default_rng(seed)
    at = np.where(rng.random(3 * len(faces)) < share, rng.uniform(0.05, 0.95, 3 * len(faces)), np.nan)
    normals = rng.normal(size=(len(faces), 3, 3))
    twins = match_half_edges(faces, len(vertices))
    new_vertices, new_faces, new_normals, parent = split_edges(vertices, faces, normals, twins, at)
    assert (match_half_edges(new_faces, len(new_vertices)) >= 0).all()
    cross = np.cross(
        new_vertices[new_faces[:, 1]] - new_vertices[new_faces[:, 0]],
        new_vertices[new_faces[:, 2]] - new_vertices[new_faces[:, 0]],
    )
    before = np.cross(vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]])
    by_parent = np.stack([np.bincount(parent, cross[:, k]) for k in range(3)], axis=1)
    np.testing.assert_allclose(by_parent, before, atol=1e-12)
    # the field of normals is the parent's: the same linear function of place
    for f in rng.integers(0, len(new_faces), 20):
        p = parent[f]
        weights = np.linalg.solve(vertices[faces[p]].T, new_vertices[new_faces[f]].T)
        np.testing.assert_allclose(new_normals[f], weights.T @ normals[p], atol=1e-9)


def test_winding_is_found_again_after_any_turns() -> None:
    _, faces = solids.torus(20, 5, 0.5)
    turned = np.random.default_rng(3).random(len(faces)) < 0.3
    mixed = faces.astype(np.int32).copy()
    mixed[turned] = mixed[turned][:, ::-1]
    body, found, twisted = wind_alike(mixed, match_half_edges(mixed, int(mixed.max()) + 1))
    assert twisted == 0 and body.max() == 0
    assert np.array_equal(found, turned)


def test_moebius_band_is_told() -> None:
    n = 12
    around = np.arange(n)
    low, high = around, around + n
    next_low = np.where(around + 1 < n, around + 1, n)  # the band closes with a half twist
    next_high = np.where(around + 1 < n, around + 1 + n, 0)
    faces = np.concatenate([np.stack([low, next_low, next_high], 1), np.stack([low, next_high, high], 1)])
    faces = faces.astype(np.int32)
    assert wind_alike(faces, match_half_edges(faces, 2 * n))[2] > 0


@given(st.floats(0, 360), st.integers(0, 2**31))
def test_line_shares_are_those_of_the_formula(direction_deg: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    normals = rng.normal(size=(20, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    axis = np.array([0.0, 0.0, 1.0])
    feed = np.array([np.cos(np.radians(direction_deg)), np.sin(np.radians(direction_deg)), 0.0])
    rows = lines_over_facets(
        normals, np.repeat(normals, 3, axis=0).reshape(-1, 3, 3), axis, feed, np.zeros((20, 6)), 0.2, 0.0
    )
    np.testing.assert_allclose(rows[:, 0], naive.naive_line_shares(normals, axis, feed), atol=1e-9)
    np.testing.assert_allclose(rows[:, 3], rows[:, 0], atol=1e-12)


def test_lengths_by_direction_agree_with_the_exact_ones() -> None:
    rng = np.random.default_rng(5)
    normals = np.stack([rng.normal(0, 0.3, 500), rng.normal(0, 0.05, 500), np.ones(500)], axis=1)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    areas, axis, tensor = rng.uniform(0.5, 2, 500), np.array([0, 0, 1.0]), np.zeros((500, 6))
    feeds = np.array([[1.0, 0, 0], [0, 1.0, 0], [0.6, 0.8, 0]])
    step = 2 * np.sqrt(2 * 5.0 * 0.01)
    found = length_by_direction(normals, areas, axis, feeds, tensor, 0.2, 0.0, 0.01, 0.0, 1e-9)
    for length, feed in zip(found, feeds, strict=True):
        shares = naive.naive_line_shares(normals, axis, feed)
        assert length == np.float64(length)
        np.testing.assert_allclose(length, (areas * shares).sum() / (step * shares.min()), rtol=0.01)


def test_widths_and_bounds_are_plain_extents() -> None:
    points = np.array([[0.0, 0.0], [3.0, 1.0], [1.0, 4.0]])
    np.testing.assert_allclose(widths_across(points, np.array([[1.0, 0.0], [0.0, 1.0]])), [4.0, 3.0])
    faces = np.array([[0, 1, 2], [2, 3, 4]], np.int32)
    bounds = bounds_by_label(np.array([0.0, 5, 1, 7, -2]), faces, np.array([1, 0], np.int32), 2)
    assert bounds.tolist() == [[-2.0, 7.0], [0.0, 5.0]]


def test_shape_tensor_of_torus_is_that_of_the_closed_form() -> None:
    """k1 = 1/r, k2 = cos v / (R + r cos v): computed from closed form."""
    ring, tube = 20.0, 5.0
    vertices, faces = solids.torus(ring, tube)
    corners = vertices[faces]
    around = corners / np.linalg.norm(corners[..., :2], axis=2)[..., None]
    centre = around * [ring, ring, 0]
    normal = (corners - centre) / tube
    middle = normal.sum(axis=1)
    middle /= np.linalg.norm(middle, axis=1)[:, None]
    tensor = shape_tensors(vertices, faces.astype(np.int32), normal, middle)
    mean = tensor[:, :3].sum(axis=1) / 2
    cosine = np.linalg.norm(middle[:, :2], axis=1) * np.sign((middle[:, :2] * around.mean(axis=1)[:, :2]).sum(axis=1))
    expected = 0.5 * (1 / tube + cosine / (ring + tube * cosine))
    np.testing.assert_allclose(mean, expected, atol=2e-3)
