"""Places left over as areas, passes for them and the ball that fits, through the plan, on parts drawn by numbers."""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians, sin, sqrt, tan

import numpy as np
import pytest
import solids
from asked_for import more
from test_reach import part_of

import advisor
from advisor.advice.facet_parts import with_parts
from advisor.advice.leftover_length import length_along_mm
from advisor.intake.saved import read_plan_folder
from advisor.model import FacetArrays
from advisor.pack.folder import write_plan_folder
from advisor.part.mesh import Mesh


@pytest.fixture(scope="module")
def filleted() -> advisor.Plan:
    """Round pocket of radius 20, 15 deep, with a foot of 3 mm, under a 10 mm ball."""
    return advisor.plan(
        part_of(*solids.round_pocket(20, 3.0, 15, chord_error_mm=0.005)), ball="10 mm", lays_passes=False
    )


def area_of(facets: FacetArrays, place: int) -> float:
    fine = with_parts(facets)
    assert fine.leftover_place is not None
    return float(Mesh(fine.vertices, fine.faces).area_mm2[fine.leftover_place == place].sum())


def square_pocket(width: float, depth: float, around: float = 20.0) -> tuple[np.ndarray, np.ndarray]:
    """A block with a pocket of sharp corners, in as few facets as it takes."""
    half, outer = width / 2, width / 2 + around
    ring = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], float)
    vertices = np.concatenate(
        [
            np.column_stack([size * ring, np.full(4, z)])
            for size, z in ((outer, -10.0), (outer, depth), (half, depth), (half, 0.0))
        ]
    )
    faces = [(0, 2, 1), (0, 3, 2), (12, 13, 14), (12, 14, 15)]
    for low, high in ((0, 4), (4, 8), (8, 12)):
        for k in range(4):
            n = (k + 1) % 4
            faces += [(low + k, low + n, high + n), (low + k, high + n, high + k)]
    return vertices, np.array(faces)


def v_groove(half_angle_deg: float, depth: float, length: float) -> tuple[np.ndarray, np.ndarray]:
    """A sharp groove along x, in a block."""
    half = depth * tan(radians(half_angle_deg))
    section = [(-40, -10), (40, -10), (40, depth), (half, depth), (0, 0), (-half, depth), (-40, depth)]
    return solids.extruded(np.array(section, float), length, "x")


def test_a_fillet_is_one_area_with_the_length_of_its_rim(filleted: advisor.Plan) -> None:
    (left,) = filleted.record.leftovers
    assert (left.id, left.kind, left.pass_kind) == (1, "corner", "corner pass")
    # the fillet, and floor and wall as far as where the ball rests, less the trace it leaves there for its tolerance
    whole = 2 * pi * (17 * 3 * pi / 2 + 9) + pi * (17**2 - 15**2) + 2 * pi * 20 * 2
    assert filleted.record.part.chord_error_um is not None
    trace = sqrt(2 * 5 * 2 * filleted.record.part.chord_error_um / 1000)
    assert left.area_mm2 == pytest.approx(whole - 2 * pi * (15 + 20) * trace, rel=0.03)
    assert area_of(filleted.facets, 1) == pytest.approx(left.area_mm2, rel=1e-5)
    assert left.max_um == pytest.approx(1000 * (sqrt(2) - 1) * (5 - 3), rel=0.03)
    assert left.length_mm == pytest.approx(2 * pi * (17 + 3 * sin(pi / 4)), rel=0.02)
    assert left.fit_diameter_mm == pytest.approx(6.0, rel=0.02)
    assert left.depth_mm == pytest.approx(15.0, abs=0.01)


def test_passes_follow_the_corner_as_far_apart_as_the_cusp_allows(filleted: advisor.Plan) -> None:
    (left,) = filleted.record.leftovers
    # cusp h of a ball of radius r on a flat: step 2 sqrt(2 r h - h^2), textbook
    assert left.stepover_mm == pytest.approx(2 * sqrt(2 * 3 * 0.005 - 0.005**2))
    assert left.length_mm is not None and left.passes is not None and left.pass_path_mm is not None
    wide = left.area_mm2 / left.length_mm
    assert wide / left.stepover_mm - 1e-9 <= left.passes + 0.02 <= wide / left.stepover_mm + 1.02
    assert left.pass_path_mm == pytest.approx(left.passes * left.length_mm)
    assert left.tool == "ball 6 mm" and left.cutting_min is None and left.needs_longer_stick_out is None
    assert left.why[0].startswith("Corner pass: the 10 mm ball leaves") and "with the 6 mm ball" in left.why[1]


def test_minutes_and_stick_out_are_those_of_the_job() -> None:
    part = part_of(*solids.round_pocket(20, 3.0, 15, chord_error_mm=0.005))
    large = {"name": "b10", "diameter": 10, "flutes": 2, "holder": [{"diameter": 50, "length": 40}], "stick_out": 30}
    small = {**large, "name": "b6", "diameter": 6, "stick_out": 12}
    stage = {"name": "finish", "cusp": 0.005, "tool": "b10", "feed_per_tooth": 0.05, "surface_speed": 100}
    plan = advisor.plan(part, job={"tool": [large, small], "stage": [stage]}, lays_passes=False)
    (left,) = plan.record.leftovers
    assert left.tool == "b6" and left.cutting_min is not None and left.pass_path_mm is not None
    assert plan.record.sequence is not None
    step = plan.record.sequence.steps[-1]
    if step.tool == "b6" and step.cutting_min is not None:
        assert left.pass_path_mm / left.cutting_min == pytest.approx(step.path_mm / step.cutting_min)
    # a holder wider than the pocket stands on its rim
    assert left.stick_out_mm == pytest.approx(15.0, abs=0.05)
    assert left.needs_longer_stick_out is True
    assert left.why[-1].endswith("longer than in the job.")


def test_a_sharp_pocket_is_left_along_floor_and_upright_corners() -> None:
    width, depth, radius = 40.0, 20.0, 5.0
    plan = advisor.plan(part_of(*square_pocket(width, depth)), ball="10 mm", lays_passes=False)
    (left,) = plan.record.leftovers
    free = width - 2 * radius
    expected = width**2 - free**2 + 4 * (width * depth - free * (depth - radius))
    trace = 0.0 if plan.record.part.chord_error_um is None else sqrt(2 * radius * 0.02)
    assert left.area_mm2 == pytest.approx(expected, rel=0.05 + 8 * (free + depth) * trace / expected)
    assert area_of(plan.facets, 1) == pytest.approx(left.area_mm2, rel=1e-5)
    assert left.length_mm == pytest.approx(4 * width + 4 * depth, rel=0.1)
    # walls and floor are two facets each: the place lies on parts of them
    assert plan.facets.part_leftover_place is not None and (plan.facets.part_leftover_place == 1).any()


@pytest.mark.parametrize(("half_angle_deg", "kind"), [(45.0, "corner"), (30.0, "groove")])
def test_a_v_groove_is_left_to_where_the_ball_rests(half_angle_deg: float, kind: str) -> None:
    plan = advisor.plan(part_of(*v_groove(half_angle_deg, 20.0, 80.0)), ball="10 mm", lays_passes=False)
    (left,) = plan.record.leftovers
    half = radians(half_angle_deg)
    assert left.kind == kind and left.pass_kind == f"{kind} pass"
    assert left.area_mm2 == pytest.approx(2 * 5 / tan(half) * 80, rel=0.05)
    assert left.max_um == pytest.approx(1000 * 5 * (1 / sin(half) - 1), rel=0.05)
    assert left.length_mm == pytest.approx(80, rel=0.05)


@pytest.mark.parametrize(("ball", "radius"), [
    ("4 mm", 1.0), more("16 mm", 3.0), ("4 mm", 5.0), more("16 mm", 1.0), more("4 mm", 3.0), more("16 mm", 5.0),
])  # fmt: skip
def test_the_ball_that_fits_a_fillet_is_measured(ball: str, radius: float) -> None:
    part = part_of(*solids.round_pocket(20, radius, 15, chord_error_mm=0.002))
    plan = advisor.plan(part, ball=ball, lays_passes=False)
    (fillet,) = [z for z in plan.zones if z.shape == "fillet"] or [z for z in plan.zones if z.concave_radius_mm]
    assert fillet.reach is not None and fillet.reach.fit_diameter_mm == pytest.approx(2 * radius, rel=0.02)
    assert fillet.reach.fit_share is not None and fillet.reach.fit_share > 0.98
    lands = [z for z in plan.zones if z.reach is not None and z.shape == "land"]
    assert lands and all(z.reach is not None and z.reach.fit_diameter_mm == 50.0 for z in lands)


def test_balls_are_measured_on_facets_of_floor_and_wall(filleted: advisor.Plan) -> None:
    fine = with_parts(filleted.facets)
    assert fine.needed_ball_mm is not None
    middle = fine.vertices[fine.faces].mean(axis=1)
    away, ball = np.hypot(middle[:, 0], middle[:, 1]), fine.needed_ball_mm
    floor = (np.abs(middle[:, 2] - 10) < 1e-6) & (away < 15.5)
    # a ball that touches the floor at a distance from the middle of the pocket touches its wall as well
    off = ball[floor] - 2 * (20 - away[floor])
    assert abs(np.median(off)) < 0.05
    # between points that are asked, 1 mm apart, balls are means of the nearest
    assert np.median(np.abs(off)) < 0.32 and np.quantile(np.abs(off), 0.99) < 2.0
    assert np.isinf(ball[np.abs(middle[:, 2] - 25) < 1e-6]).all()


def test_parts_cover_their_facets_and_come_back_from_disk(filleted: advisor.Plan, tmp_path: object) -> None:
    facets = filleted.facets
    fine = with_parts(facets)
    assert facets.parts is not None and len(fine.faces) == len(facets.faces) + (facets.parts - (facets.parts > 0)).sum()
    whole, parts = Mesh(facets.vertices, facets.faces), Mesh(fine.vertices, fine.faces)
    assert parts.area_mm2.sum() == pytest.approx(whole.area_mm2.sum(), rel=1e-6)
    by_zone = [np.bincount(f.zone, m.area_mm2) for f, m in ((facets, whole), (fine, parts))]
    np.testing.assert_allclose(by_zone[1], by_zone[0], rtol=1e-4)
    assert (parts.twins >= 0).mean() > 0.999  # neighbours' parts meet corner to corner
    back = read_plan_folder(write_plan_folder(filleted, f"{tmp_path}/plan", pictures=False))
    again = with_parts(back.facets)
    np.testing.assert_array_equal(again.vertices, fine.vertices)
    assert again.leftover_place is not None and (again.leftover_place == fine.leftover_place).all()
    bare = replace(facets, parts=None, part_corner=None)
    assert with_parts(bare) is bare


def test_numbers_do_not_hang_on_the_order_of_facets() -> None:
    vertices, faces = solids.stepped_block((10.0, 20.0, 30.0), 60, 60)
    one = advisor.plan(part_of(vertices, faces), ball="10 mm", lays_passes=False)
    other = advisor.plan(part_of(*solids.permuted(vertices, faces, 5)), ball="10 mm", lays_passes=False)
    assert len(one.record.leftovers) == 2
    assert one.record.leftovers == other.record.leftovers
    assert [left.id for left in one.record.leftovers] == [1, 2]
    np.testing.assert_array_equal(one.facets.part_leftover_place, other.facets.part_leftover_place)


@pytest.mark.parametrize("count", [1, 2, 3, 10, 400])
def test_bands_of_few_points_have_a_length(count: int) -> None:
    rng = np.random.default_rng(count)
    points = np.column_stack([np.linspace(0, 30, count), rng.uniform(-1, 1, count), np.zeros(count)])
    length = length_along_mm(points, np.full(count, 60 / count), 1.0 - 0.5 * np.abs(points[:, 1]))
    assert 5 < length < 45
    if count == 400:
        assert length == pytest.approx(30, rel=0.1)
