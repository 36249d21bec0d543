"""Passes laid on whole plans: their sums against closed forms, and the ball against the mesh by another library."""

from __future__ import annotations

from math import pi, radians

import numpy as np
import pytest
import solids
import trimesh

import advisor
from advisor import tolerances
from advisor.model import Plan, Zone
from advisor.part.heal import heal
from advisor.part.measured import measure_part

JOB = {"material": "Ti-6Al-4V", "stage": [{"name": "finish", "cusp": "0.01 mm"}], "tool": [
    {"name": "ball 6", "kind": "ball", "diameter": "6 mm", "flutes": 2},
]}  # fmt: skip


def laid(mesh: tuple[np.ndarray, np.ndarray], **more: object) -> Plan:
    healed = heal(*mesh, "part")
    part = measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)
    return advisor.plan(part, {**JOB, **more}, lays_passes=True)


@pytest.fixture(scope="module")
def pocket() -> Plan:
    """Round pocket of radius 20, 15 deep, with a foot of 4 mm, for a ball of 3 mm radius."""
    return laid(solids.round_pocket(20, 4.0, 15, chord_error_mm=0.003))


@pytest.fixture(scope="module")
def cap() -> Plan:
    """A cap of radius 50 from 0 to 60 deg on a skirt."""
    return laid(solids.spherical_cap(chord_error_mm=0.003))


def largest_cut(plan: Plan) -> Zone:
    return next(zone for zone in plan.zones if zone.advice is not None and zone.advice.is_laid)


@pytest.mark.parametrize("name", ["pocket", "cap"])
def test_no_ball_goes_into_the_part(name: str, request: pytest.FixtureRequest) -> None:
    """Distances of trimesh: the centre of a ball keeps its radius from every facet, but for twice the chord error."""
    plan = request.getfixturevalue(name)
    passes, facets = plan.passes, plan.facets
    assert passes is not None
    target = trimesh.Trimesh(facets.vertices, facets.faces, process=False)
    some = passes.points[np.random.default_rng(1).choice(len(passes.points), 2_000)]
    distance = trimesh.proximity.closest_point(target, some)[1]
    tolerance = 0.02  # path tolerance of the job's defaults
    assert distance.min() >= 3.0 - tolerance - 1e-9
    assert np.quantile(distance, 0.99) <= 3.0 + tolerance


def two_posts_and_a_wall() -> tuple[np.ndarray, np.ndarray]:
    """Two round posts alike; beside the second a wall so near that a ball of 6 mm does not go between."""
    posts = [trimesh.creation.cylinder(8.0, 20.0, sections=96).apply_translation([x, 0, 10]) for x in (0, 40)]
    wall = trimesh.creation.box([2.0, 30.0, 16.0]).apply_translation([40 + 8 + 3 + 1, 0, 8])
    whole = trimesh.util.concatenate([*posts, wall])
    return np.asarray(whole.vertices), np.asarray(whole.faces)


@pytest.mark.parametrize(("stated", "most_mm"), [({}, tolerances.PASS_DEEPEST_MM), ({"tolerance": "0.01 mm"}, 0.01)])
def test_passes_go_into_a_coarse_file_no_deeper_than_the_tolerance(stated: dict[str, str], most_mm: float) -> None:
    """Facets 0.12 mm off the round pocket: the surface behind them is not to be had. Distances are trimesh's."""
    vertices, faces = solids.round_pocket(20, 4.0, 15, chord_error_mm=0.12)
    passes = laid((vertices, faces), **stated).passes
    assert passes is not None
    some = passes.points[:: max(1, len(passes.points) // 3_000)]
    distance = trimesh.proximity.closest_point(trimesh.Trimesh(vertices, faces, process=False), some)[1]
    into = 3.0 - distance.min()
    assert into <= most_mm + 0.002 + tolerances.PASS_FACET_SAG_MM + 1e-6
    assert into >= 0.5 * most_mm  # as deep as they may


@pytest.fixture(scope="module")
def posts() -> Plan:
    stages = [{"name": "pre-finish", "cusp": "0.03 mm", "stock_left": "0.3 mm"}, *JOB["stage"]]
    return laid(two_posts_and_a_wall(), stage=stages)


@pytest.mark.parametrize(("stage", "stock_mm"), [("pre-finish", 0.3), ("finish", 0.0)])
def test_stock_is_left_on_neighbours_too(posts: Plan, stage: str, stock_mm: float) -> None:
    """Also where the neighbour is not that of the zone that it was copied from. Distances are trimesh's."""
    passes = posts.passes
    assert passes is not None
    kept = np.repeat(np.asarray(passes.stage) == stage, np.diff(passes.starts))
    target = trimesh.Trimesh(posts.facets.vertices, posts.facets.faces, process=False)
    distance = trimesh.proximity.closest_point(target, passes.points[kept])[1]
    chord = posts.record.part.chord_error_um / 1000
    assert distance.min() >= 3.0 + stock_mm - max(0.01, 2 * chord) - 1e-9


def test_a_copy_with_another_neighbour_is_not_copied(posts: Plan) -> None:
    copies = [zone for zone in posts.zones if zone.repeats is not None and zone.shape in ("wall", "boss", "round")]
    told = [zone for zone in copies if any("Do not copy" in words for words in zone.advice.why)]
    assert len(copies) == 2 and len(told) == 1
    other = next(zone for zone in copies if zone is not told[0])
    assert told[0].advice.path_mm < 0.95 * other.advice.path_mm


def test_passes_hang_together_with_the_record(pocket: Plan) -> None:
    passes = pocket.passes
    assert passes is not None
    assert passes.starts[0] == 0 and passes.starts[-1] == len(passes.points) and (np.diff(passes.starts) >= 2).all()
    for zone in pocket.zones:
        rows = np.flatnonzero(passes.zone == zone.id)
        if zone.advice is None or not zone.advice.is_laid:
            assert len(rows) == 0
            continue
        assert set(passes.strategy[rows]) == {zone.advice.strategy} and len(rows) == zone.advice.passes
        length = sum(
            np.linalg.norm(np.diff(passes.points[passes.starts[r] : passes.starts[r + 1]], axis=0), axis=1).sum()
            for r in rows
        )
        assert length == pytest.approx(zone.advice.centre_path_mm, rel=1e-9)
    for row in np.flatnonzero(passes.closed):
        assert np.array_equal(passes.points[passes.starts[row]], passes.points[passes.starts[row + 1] - 1])


def test_a_cap_cut_whole_needs_what_the_closed_form_says(cap: Plan) -> None:
    """Area over step, with R 3, rho 50, cusp 0.01: the exact arcs give a step of 0.475387 mm."""
    zone = largest_cut(cap)
    whole = next(c for c in zone.candidates if c.strategy == "constant_cusp")
    area = 2 * pi * 50**2 * (1 - np.cos(radians(60)))
    assert whole.is_laid
    assert whole.path_mm == pytest.approx(area / 0.475387, rel=0.02)
    # of a parabola 95 % stay below 0.95 squared; closing passes on the ridge take 4.7 %, ramps of the spiral 0.6 %
    assert whole.cusp_um.p95 == pytest.approx(0.9025 * 10, rel=0.06)
    assert whole.cusp_uniformity is not None and whole.cusp_uniformity < 0.10
    assert whole.gouge_um is not None and whole.gouge_um < 20
    # the ball's centre runs on a sphere of 53
    assert whole.centre_path_mm == pytest.approx(whole.path_mm * 53 / 50, rel=0.01)
    lines = next(c for c in zone.candidates if c.strategy == "parallel_line")
    if lines.usable:
        assert lines.path_mm > whole.path_mm * 1.3


def test_every_point_is_within_the_cusp_or_told(pocket: Plan) -> None:
    for zone in pocket.zones:
        advice = zone.advice
        if advice is None or not advice.is_laid:
            continue
        assert advice.uncut_share is not None and advice.above_target_share is not None
        assert advice.uncut_share < 0.001
        assert advice.above_target_share < 0.02
        assert advice.cusp_um.p95 is not None and advice.cusp_um.p95 <= 10.5


def test_a_bull_nose_leaves_its_cusp_on_a_slope() -> None:
    """D 8, corner 1.5, on 30 degrees: the rounded corner leaves the target between passes, and nothing is bare."""
    bull = {"name": "bull", "kind": "bull", "diameter": "8 mm", "corner_radius": "1.5 mm", "flutes": 3}
    plan = laid(solids.wedge(30.0), tool=[bull])
    slope = next(zone for zone in plan.zones if zone.shape == "slope")
    told = [c for c in slope.candidates if c.usable]
    assert {c.strategy for c in told} >= {"constant_z", "constant_cusp"}
    for candidate in told:
        assert candidate.is_laid and candidate.gouge_um == pytest.approx(0.0, abs=0.1)
        assert candidate.uncut_share == 0.0
        assert candidate.cusp_um.max == pytest.approx(10.0, rel=0.03)


def test_without_laying_nothing_is_told_of_passes() -> None:
    healed = heal(*solids.round_pocket(20, 4.0, 15, chord_error_mm=0.02), "part")
    part = measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)
    plan = advisor.plan(part, JOB, lays_passes=False)
    assert plan.passes is None
    assert all(not c.is_laid and c.link_mm is None for zone in plan.zones for c in zone.candidates)
