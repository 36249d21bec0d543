"""What passes leave, place by place and close up, against the arc of a ball and a slow twin."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

import advisor
from advisor.advice.close_up import side_of, worst_place
from advisor.advice.cusp_field import POINTS_OF_A_PLACE, zone_places
from advisor.passes.laid import ProofPoints


def laid_of(points, heights, normal=(0, 0, 1.0), out=None):
    count = len(points)
    told = ProofPoints(
        points, np.broadcast_to(np.asarray(normal, float), (count, 3)), np.full(count, 0.25), np.zeros(count, np.int64),
        np.zeros(count), np.zeros(count, bool) if out is None else out,
    )  # fmt: skip
    return SimpleNamespace(points=told, proof=SimpleNamespace(height_mm=heights, depth_mm=np.maximum(-heights, 0.0)))


def scattered(count=2000, seed=1):
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(0, 20, count), rng.uniform(0, 25, count), np.zeros(count)])


def test_a_place_is_told_as_a_slow_twin_tells_it():
    points = scattered(400)
    rng = np.random.default_rng(2)
    heights, out = rng.uniform(-0.0005, 0.005, 400), rng.uniform(size=400) < 0.05
    heights[rng.uniform(size=400) < 0.1] = np.inf
    heights[7] = -0.02
    got = zone_places(1, laid_of(points, heights, out=out), 0.001).place_mm
    for i in range(400):
        near = np.argsort(np.linalg.norm(points - points[i], axis=1), kind="stable")[:POINTS_OF_A_PLACE]
        known = np.sort([heights[j] for j in near if np.isfinite(heights[j]) and not out[j]])
        expected = max(known[int(np.ceil(0.95 * len(known))) - 1], 0.0)
        if not np.isfinite(heights[i]) or out[i]:
            expected = np.inf
        elif heights[i] < -0.001:
            expected = heights[i]
        assert got[i] == expected


def test_one_cusp_all_over_is_told_as_one():
    """Heights of even cusps at chance places: 95 % lie within 0.95 squared of the top."""
    points = scattered()
    phase = (points[:, 0] / 0.45) % 1.0
    heights = 0.005 * (2 * phase - 1) ** 2
    got = zone_places(1, laid_of(points, heights), 0.001).place_mm
    assert np.median(got) == pytest.approx(0.005 * 0.95**2, rel=0.05)
    assert got.min() > 0.0025 and got.max() <= 0.005


def test_two_sides_of_a_rib_are_two_places():
    """Points on both sides of a rib thinner than their spacing: each side is told by its own."""
    points = scattered(1000)
    other = points + [0, 0, -0.1]
    laid = laid_of(np.concatenate([points, other]), np.repeat([0.001, 0.004], 1000))
    normal = np.repeat([[0, 0, 1.0], [0, 0, -1.0]], 1000, axis=0)
    laid = SimpleNamespace(
        points=replace(laid.points, normal=normal),
        proof=laid.proof,
    )
    np.testing.assert_array_equal(zone_places(1, laid, 0.01).place_mm, np.repeat([0.001, 0.004], 1000))


def test_the_worst_place_lies_well_within_what_is_cut():
    points = scattered()
    heights = 0.003 + 0.0001 * points[:, 0]
    heights[np.linalg.norm(points[:, :2] - [18, 12], axis=1) < 1.0] = np.inf
    place = zone_places(1, laid_of(points, heights), 0.01)
    found, point, side = worst_place([place], [3.0])
    assert found is place and side == 3.0
    at = points[point, :2]
    assert np.linalg.norm(at - [18, 12]) > 2.0
    assert at[0] > 17.0 and at[0] < 20.0 - 0.5 and 0.5 < at[1] < 24.5
    assert side_of(0.45) == 3.0 and side_of(100.0) == 20.0


@pytest.fixture(scope="module")
def block(tmp_path_factory):
    path = tmp_path_factory.mktemp("part") / "block.stl"
    trimesh.creation.box((30, 24, 10)).export(path)
    return advisor.plan(path, ball="10 mm", cusp="5 um", lays_passes=True)


def test_the_close_up_of_a_plane_is_the_arc_of_the_ball(block):
    """Between straight passes d away: R - sqrt(R^2 - d^2), the shape of a ball."""
    passes, radius = block.passes, 5.0
    (heights,), (frame,), (side,) = passes.close_up_um, passes.close_up_frame, passes.close_up_mm
    zone = int(passes.zone[passes.close_up_pass[0]])
    middle, right, up, out = frame
    np.testing.assert_allclose(np.stack([right, up, out]) @ np.stack([right, up, out]).T, np.eye(3), atol=1e-12)
    np.testing.assert_allclose(np.cross(right, up), out, atol=1e-12)
    mine = (passes.zone == zone) & (passes.stage == passes.stage[passes.close_up_pass[0]])
    off = (passes.contacts[passes.starts[:-1][mine]] - middle) @ right
    n = len(heights)
    x = ((np.arange(n) + 0.5) / n - 0.5) * side
    away = np.abs(x[:, None] - off).min(axis=1)
    expected = (radius - np.sqrt(radius**2 - away**2)) * 1000
    assert np.isfinite(heights).all()
    np.testing.assert_allclose(heights, np.broadcast_to(expected, (n, n)), atol=0.02)


def test_the_field_is_that_of_the_plan(block):
    facets = block.facets
    for zone in block.zones:
        told = facets.cusp_um[facets.zone == zone.id]
        if zone.advice is None or not zone.advice.is_laid:
            assert np.isnan(told).all()
            continue
        cusp = zone.advice.cusp_um
        assert np.nanmedian(told[np.isfinite(told)]) == pytest.approx(cusp.p95, rel=0.12)
    assert facets.cusp_um.dtype == np.float32 and not facets.cusp_um.flags.writeable
    passes = block.passes
    counts = np.diff(passes.starts)
    gap = np.linalg.norm(passes.points - passes.contacts, axis=1)
    assert len(passes.level) == len(counts)
    np.testing.assert_allclose(gap[passes.stage[np.repeat(np.arange(len(counts)), counts)] == "finish"], 5.0, atol=1e-4)
