"""What swept balls leave: closed forms of cusps, and a slow twin that searches along the line for every segment."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from math import nan

import numpy as np
import pytest
from asked_for import few_of
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from advisor.cutter.contact import cusp_height_mm
from advisor.cutter.cutter import Cutter
from advisor.passes.virtual_cut import cut_summary, swept_by, swept_passes, virtual_cut

UP = np.array([0.0, 0.0, 1.0])


def distances(places: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Of (q, s, 3) places from s segments."""
    u = b - a
    share = np.einsum("qsk,sk->qs", places - a, u) / np.maximum(np.einsum("sk,sk->s", u, u), 1e-300)
    return np.linalg.norm(a + np.clip(share, 0, 1)[..., None] * u - places, axis=2)


def distances_from_discs(places: np.ndarray, a: np.ndarray, b: np.ndarray, ring: float, axis: np.ndarray) -> np.ndarray:
    """Of (q, s, 3) places from discs square to an axis swept along s segments: the nearest disc is found by thirds."""

    def from_disc(share: np.ndarray) -> np.ndarray:
        way = places - (a + share[..., None] * (b - a))
        up = way @ axis
        out = np.linalg.norm(way - up[..., None] * axis, axis=-1)
        return np.hypot(up, np.maximum(out - ring, 0.0))

    low, high = np.zeros(places.shape[:2]), np.ones(places.shape[:2])
    for _ in range(60):
        one, two = low + (high - low) / 3, high - (high - low) / 3
        falls = from_disc(one) > from_disc(two)
        low, high = np.where(falls, one, low), np.where(falls, high, two)
    return from_disc((low + high) / 2)


def naive_spans(
    points: np.ndarray,
    normals: np.ndarray,
    a: np.ndarray,
    b: np.ndarray,
    radius: float,
    apart: Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray] = distances,
) -> tuple[np.ndarray, np.ndarray]:
    """Two (q, s) arrays: where lines enter and leave capsules, by search; both infinite where they pass by.

    The distance from a convex body is convex along a line: its least place is found by thirds, then the ends by halves.
    """

    def distance(t: np.ndarray) -> np.ndarray:
        return apart(points[:, None] + t[..., None] * normals[:, None], a, b)

    low, high = np.full((len(points), len(a)), -1e3), np.full((len(points), len(a)), 1e3)
    for _ in range(120):
        one, two = low + (high - low) / 3, high - (high - low) / 3
        falls = distance(one) > distance(two)
        low, high = np.where(falls, one, low), np.where(falls, high, two)
    lowest = (low + high) / 2
    ends = []
    for beyond in (-1e3, 1e3):
        outer, inner = np.full_like(lowest, beyond), lowest
        for _ in range(60):
            middle = (outer + inner) / 2
            outside = distance(middle) > radius
            outer, inner = np.where(outside, middle, outer), np.where(outside, inner, middle)
        ends.append(np.where(distance(lowest) <= radius, inner, np.inf))
    return ends[0], ends[1]


def naive_heights(enter: np.ndarray, leave: np.ndarray) -> np.ndarray:
    """Where the cut that a point lies in begins, or else the first entry above it."""
    heights = []
    for one, two in zip(enter, leave, strict=True):
        deep = 0.0
        while (covers := (one <= deep) & (two >= deep - 1e-12) & (one < deep)).any():
            deep = one[covers].min()
        above = one[two >= 0.0].min(initial=np.inf)
        heights.append(deep if deep < 0.0 else above)
    return np.array(heights)


def segments(points: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """First point of every segment; of a lone point that point."""
    inner = [np.arange(i, max(j - 1, i + 1)) for i, j in pairwise(starts) if j > i]
    return np.concatenate(inner) if inner else np.zeros(0, int)


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.sampled_from([0.05, 0.4, 1.0]), st.floats(0.01, 3.0))
def test_heights_are_those_of_the_slow_twin(seed: int, step: float, limit: float) -> None:
    rng = np.random.default_rng(seed)
    counts = rng.integers(0, 12, 9)
    counts[0] = 1
    starts = np.concatenate([[0], np.cumsum(counts)])
    chains = [rng.normal(size=3) + np.cumsum(step * rng.normal(size=(n, 3)), axis=0) for n in counts]
    centres = np.concatenate(chains)
    points, normals = rng.normal(size=(40, 3)) * 1.5, rng.normal(size=(40, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    radius = rng.uniform(0.2, 1.0)
    got = virtual_cut(swept_passes(centres, starts, radius), points, normals, limit)
    first = segments(centres, starts)
    last = np.where(np.isin(first + 1, starts[1:]), first, first + 1)
    entries, leave = naive_spans(points, normals, centres[first], centres[last], radius)
    expected = naive_heights(entries, leave)
    expected[expected > limit] = np.inf
    np.testing.assert_allclose(got.height_mm, expected, rtol=0, atol=1e-9)
    np.testing.assert_array_equal(got.segment < 0, ~np.isfinite(expected))
    found = np.flatnonzero(got.segment >= 0)
    column = np.searchsorted(first, got.segment[found])
    np.testing.assert_array_equal(first[column], got.segment[found])
    np.testing.assert_allclose(entries[found, column], expected[found], rtol=0, atol=1e-9)


@settings(max_examples=few_of(3, 8))
@given(st.integers(0, 10**6), st.sampled_from([0.1, 0.6]))
def test_a_bull_nose_leaves_what_its_slow_twin_does(seed: int, step: float) -> None:
    rng = np.random.default_rng(seed)
    starts = np.array([0, 1, 5, 9])
    centres = 0.7 * rng.normal(size=(9, 3)) + np.cumsum(step * rng.normal(size=(9, 3)), axis=0)
    centres[6:9, 2] = centres[6, 2]
    points, normals = rng.normal(size=(25, 3)) * 1.5, rng.normal(size=(25, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    axis = rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    corner, ring = rng.uniform(0.2, 0.5), rng.uniform(0.1, 0.8)
    passes = swept_by(Cutter(2 * (corner + ring), corner), 0.0, centres, starts, axis)
    got = virtual_cut(passes, points, normals, 2.0).height_mm
    first = segments(centres, starts)
    last = np.where(np.isin(first + 1, starts[1:]), first, first + 1)

    def apart(places: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return distances_from_discs(places, a, b, ring, axis)

    expected = naive_heights(*naive_spans(points, normals, centres[first], centres[last], corner, apart))
    expected[expected > 2.0] = np.inf
    np.testing.assert_allclose(got, expected, rtol=0, atol=1e-6)


@pytest.mark.parametrize("gap", [5.0, 6.0, 7.0])
def test_a_bull_nose_on_a_floor_leaves_cusps_only_beyond_its_flat(gap: float) -> None:
    """D 8, corner 1: passes up to 6 apart leave nothing, then r - sqrt(r^2 - (gap - 6)^2 / 4); 0.2 of stock is kept."""
    x, y = np.repeat(np.arange(5) * gap, 2), np.tile([-30.0, 30.0], 5)
    centres = np.stack([x, y, np.full(10, 1.2)], axis=1)
    passes = swept_by(Cutter(8.0, 1.0), 0.2, centres, np.arange(0, 11, 2), UP)
    middle = np.array([[0.0, 5, 0], [0.5 * gap, 3, 0], [1.5 * gap, -3, 0]])
    got = virtual_cut(passes, middle, np.tile(UP, (3, 1)), 2.0).height_mm
    corner = 1.2
    cusp = corner - np.sqrt(corner**2 - max(gap - 6, 0.0) ** 2 / 4)
    np.testing.assert_allclose(got, [0.0, cusp, cusp], rtol=0, atol=1e-9)


def test_a_bull_nose_beside_a_wall_cuts_with_its_corner() -> None:
    """Levels 1 apart, corner 2: half way 2 - sqrt(4 - 1/4) is left, with the tool axis along x."""
    axis = np.array([1.0, 0, 0])
    centres = np.array([(x, y, 5.0) for x in range(4) for y in (-20.0, 20.0)])  # ring of 3 and corner of 2 from z = 0
    passes = swept_by(Cutter(10.0, 2.0), 0.0, centres, np.arange(0, 9, 2), axis)
    points = np.array([[1.5, 0, 0], [1.0, 2, 0]])
    got = virtual_cut(passes, points, np.tile(UP, (2, 1)), 1.0).height_mm
    np.testing.assert_allclose(got, [2 - np.sqrt(3.75), 0.0], rtol=0, atol=1e-9)


def wavy(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    z = 4 * np.sin(x / 9) * np.cos(y / 11)
    slopes = [-4 / 9 * np.cos(x / 9) * np.cos(y / 11), 4 / 11 * np.sin(x / 9) * np.sin(y / 11), np.ones_like(x)]
    normals = np.stack(slopes, axis=-1)
    return np.stack([x, y, z], axis=-1), normals / np.linalg.norm(normals, axis=-1, keepdims=True)


@pytest.mark.parametrize("along", [0.1, 1.7])
def test_on_a_bent_surface_nothing_is_passed_over_and_a_turn_changes_nothing(along: float) -> None:
    rng = np.random.default_rng(3)
    u, w = np.meshgrid(np.arange(-6, 6, 0.5), np.arange(-6, 6, along), indexing="ij")
    surface, normal = wavy(u, w)
    centres, starts = (surface + 3.0 * normal).reshape(-1, 3), np.arange(len(u) + 1) * u.shape[1]
    points, normals = wavy(*rng.uniform(-4, 4, (2, 200)))
    got = virtual_cut(swept_passes(centres, starts, 3.0), points, normals, 0.2)
    first = segments(centres, starts)
    expected = np.concatenate([
        naive_heights(*naive_spans(points[i : i + 20], normals[i : i + 20], centres[first], centres[first + 1], 3.0))
        for i in range(0, 200, 20)
    ]) if along > 1 else None  # fmt: skip
    if expected is not None:
        np.testing.assert_allclose(got.height_mm, expected, rtol=0, atol=1e-9)
    turn = Rotation.from_rotvec([0.7, -1.1, 0.4]).as_matrix()
    turned = virtual_cut(
        swept_passes(centres @ turn.T + 300, starts, 3.0), points @ turn.T + 300, normals @ turn.T, 0.2
    )
    np.testing.assert_allclose(got.height_mm, turned.height_mm, rtol=0, atol=1e-9)
    order = rng.permutation(200)
    other = virtual_cut(swept_passes(centres, starts, 3.0), points[order], normals[order], 0.2)
    np.testing.assert_array_equal(other.height_mm, got.height_mm[order])
    np.testing.assert_array_equal(other.segment, got.segment[order])


@pytest.mark.parametrize("step", [0.1, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("lower", [0.0, 0.05])
def test_parallel_passes_over_a_plane(step: float, lower: float) -> None:
    """R5: s 0.5 -> 0.00625391, s 1 -> 0.0250628, s 2 -> 0.1010205 (h = R - sqrt(R^2 - s^2/4), textbook geometry)."""
    x = np.repeat((np.arange(40) - 20) * step, 2)
    y = np.tile([-300.0, 300.0], 40)
    centres = np.stack([x, y, np.full(80, 5.0 - lower)], axis=1)
    turn = Rotation.from_rotvec([0.3, 0.8, -0.5]).as_matrix()
    passes = swept_passes(centres @ turn.T, np.arange(0, 81, 2), 5.0)
    rng = np.random.default_rng(0)
    k, share = rng.integers(-15, 15, 500), np.concatenate([[0.5, 0.0], rng.uniform(size=498)])
    points = np.stack([(k + share) * step, rng.uniform(-250, 250, 500), np.zeros(500)], axis=1)
    got = virtual_cut(passes, points @ turn.T, np.tile(UP @ turn.T, (500, 1)), 1.0)
    off = np.minimum(share, 1 - share) * step
    np.testing.assert_allclose(got.height_mm, 5 - lower - np.sqrt(25 - off**2), rtol=0, atol=1e-10)
    assert got.height_mm[0] == pytest.approx(cusp_height_mm(step, 5.0) - lower, abs=1e-10)
    assert got.height_mm[1] == pytest.approx(-lower, abs=1e-10)
    nearest = np.where(share <= 0.5, k, k + 1)[np.abs(share - 0.5) > 1e-6] + 20
    np.testing.assert_array_equal(got.segment[np.abs(share - 0.5) > 1e-6] // 2, nearest)


@pytest.mark.parametrize(
    ("rho", "step", "cusp"),
    [
        (25.0, 1.0, 0.03012591),  # exact cusp of convex circles, arc 1: independent calculation
        (-25.0, 1.0, 0.02002341),  # the same, concave
        (50.0, 0.6026618, 0.010),  # the step that leaves 0.01 on a sphere of 50: independent calculation
    ],
)
def test_rings_on_a_sphere(rho: float, step: float, cusp: float) -> None:
    around = np.linspace(0, 2 * np.pi, 20001)
    level = 0.5 + step / abs(rho) * np.arange(5)  # angle from the axis of each ring
    size, outward = abs(rho), np.sign(rho)

    def on_sphere(angle: np.ndarray, azimuth: np.ndarray) -> np.ndarray:
        return np.stack([np.sin(angle) * np.cos(azimuth), np.sin(angle) * np.sin(azimuth), np.cos(angle)], axis=-1)

    centres = (size + outward * 5) * on_sphere(*np.meshgrid(level, around, indexing="ij")).reshape(-1, 3)
    passes = swept_passes(centres, np.arange(6) * len(around), 5.0)
    between = on_sphere(np.repeat((level[:-1] + level[1:]) / 2, 50), np.tile(around[100:20000:400], 4))
    got = virtual_cut(passes, size * between, outward * between, 0.1)
    # rings are polygons here, off the circle by 1e-7 at most; the values are given to 1e-8
    np.testing.assert_allclose(got.height_mm, cusp, rtol=0, atol=2e-7)
    assert got.height_mm[0] == pytest.approx(cusp_height_mm(step, 5.0, rho), abs=2e-7)
    on_ring = virtual_cut(passes, size * on_sphere(level, 0 * level), outward * on_sphere(level, 0 * level), 0.1)
    np.testing.assert_allclose(on_ring.height_mm, 0.0, atol=2e-7)


def test_passes_on_the_far_side_of_a_thin_wall_do_not_count() -> None:
    x = np.arange(-5, 5, 0.5)
    lines = [[(at, -20.0, z), (at, 20.0, z)] for z in (5.0, -6.0) for at in x]  # a plate from z = 0 down to -1
    passes = swept_passes(np.reshape(lines, (-1, 3)), np.arange(0, 2 * len(lines) + 1, 2), 5.0)
    points = np.array([[0.0, 0, 0], [0.25, 0, 0]])
    top = virtual_cut(passes, points, np.tile(UP, (2, 1)), 1.0)
    np.testing.assert_allclose(top.height_mm, [0.0, cusp_height_mm(0.5, 5.0)], atol=1e-12)
    below = virtual_cut(passes, points - UP, np.tile(-UP, (2, 1)), 1.0)
    np.testing.assert_allclose(below.height_mm, [0.0, cusp_height_mm(0.5, 5.0)], atol=1e-12)
    assert (below.segment >= 2 * len(x)).all()


def test_first_of_equal_segments_and_the_limit() -> None:
    bend = np.array([[-1.0, 0, 3], [0, 0, 2], [1.0, 0, 3]])
    passes = swept_passes(bend, np.array([0, 3]), 2.0)
    assert virtual_cut(passes, np.zeros((1, 3)), UP[None], 1.0).segment.tolist() == [0]
    high = virtual_cut(passes, np.array([[0, 0, -0.5], [0, 0, -0.6], [9, 9, 9]]), np.tile(UP, (3, 1)), 0.5)
    assert high.height_mm.tolist() == [0.5, np.inf, np.inf]
    assert high.segment.tolist() == [0, -1, -1]


def test_nothing_to_cut_with_nothing_to_cut_and_faults() -> None:
    none = swept_passes(np.zeros((0, 3)), np.array([0]), 1.0)
    assert virtual_cut(none, np.zeros((2, 3)), np.tile(UP, (2, 1)), 1.0).height_mm.tolist() == [np.inf, np.inf]
    lone = swept_passes(np.array([[0.0, 0, 1]]), np.array([0, 0, 1, 1]), 1.0)
    assert virtual_cut(lone, np.zeros((1, 3)), UP[None], 1.0).height_mm.tolist() == [0.0]
    assert len(virtual_cut(lone, np.zeros((0, 3)), np.zeros((0, 3)), 1.0).height_mm) == 0
    with pytest.raises(ValueError, match="radius"):
        swept_passes(np.zeros((1, 3)), np.array([0, 1]), 0.0)
    with pytest.raises(ValueError, match="finite"):
        swept_passes(np.full((1, 3), nan), np.array([0, 1]), 1.0)
    with pytest.raises(ValueError, match="limit"):
        virtual_cut(lone, np.zeros((1, 3)), UP[None], -1.0)


def test_the_summary_weighs_by_area() -> None:
    height = np.array([0.01, 0.02, np.inf, -0.03, 9.0])
    area = np.array([6.0, 2.0, 1.0, 1.0, 50.0])
    out = np.array([False, False, False, False, True])
    got = cut_summary(height, area, 0.015, out)
    assert got.area_mm2 == 10.0
    assert (got.max_mm, got.p95_mm) == (0.02, 0.02)
    mean = (0.06 + 0.04 - 0.03) / 9
    assert got.mean_mm == pytest.approx(mean)
    spread = np.sqrt((6 * (0.01 - mean) ** 2 + 2 * (0.02 - mean) ** 2 + (-0.03 - mean) ** 2) / 9)
    assert got.uniformity == pytest.approx(spread / mean)
    assert got.above_target_share == pytest.approx(0.3)
    assert got.uncut_share == pytest.approx(0.1)
    assert got.max_gouge_mm == 0.03
    nothing = cut_summary(height, area, 0.015, np.ones(5, bool))
    assert nothing.area_mm2 == 0.0
    assert np.isnan(nothing.max_mm)
    uncut = cut_summary(height[2:3], area[2:3], 0.015)
    assert (uncut.uncut_share, uncut.above_target_share) == (1.0, 1.0)
    assert np.isnan([uncut.max_mm, uncut.mean_mm, uncut.uniformity, uncut.max_gouge_mm]).all()
