"""Path lengths, spacings and choices against exact benchmarks; values computed independently from closed forms.

Benchmarks: S, a convex spherical cap of radius 50, slopes 0 to 60 deg; P, a plane patch 100 x 100; C, a cone
frustum of slope 60 deg, radii 40 to 10. Ball radius 5 and cusp 0.010 mm, or the steps stated.
"""

from __future__ import annotations

import numpy as np
import pytest
import solids
from zone_makers import patch_zones, surfaces_of

from advisor.advice import candidates
from advisor.advice.candidates import constant_cusp, constant_z
from advisor.advice.lines import best_direction_deg, lines_at
from advisor.advice.target import StageTarget
from advisor.advice.zone_surface import ZoneSurface
from advisor.cutter.cutter import Cutter, cusp_for_ra_mm
from advisor.model import Advice
from advisor.part.heal import heal
from advisor.part.smooth import smooth_surface
from advisor.zones.classes import Thresholds
from advisor.zones.patches import ZoneRule

UP = np.array([0.0, 0.0, 1.0])
TARGET = StageTarget("finish", Cutter(10.0, 5.0), 0, cusp_mm=0.010, step_mm=None)


def parallel_line(surface: ZoneSurface, target: StageTarget, at_deg: float | None = None) -> Advice:
    direction = best_direction_deg(surface, target) if at_deg is None else at_deg
    return candidates.parallel_line(surface, target, lines_at(surface, target.cutter, direction))


def surfaces(mesh: solids.Mesh, flat_below: float, steep_from: float) -> dict[int, ZoneSurface]:
    """Zones by class number (the largest of each)."""
    part = heal(*mesh, "part").mesh
    smooth = smooth_surface(part)
    zoning = patch_zones(part, smooth, UP, ZoneRule(Thresholds(flat_below, steep_from, 0.5), 0.01, 0.1, 0.1))
    found: dict[int, ZoneSurface] = {}
    for number, surface in enumerate(surfaces_of(part, smooth, zoning, UP)):
        found.setdefault(int(zoning.zone_class[number]), surface)
    return found


CAP = solids.spherical_cap(50.0, 60.0, 10.0)


def test_benchmark_s_constant_cusp_is_area_over_step() -> None:
    cap = surfaces(CAP, 0.01, 62.0)[1]
    assert constant_cusp(cap, TARGET).path_mm == pytest.approx(13032.16, rel=0.02)
    assert constant_cusp(cap, TARGET).stepover_mm == pytest.approx(0.6026618, rel=2e-3)


def test_benchmark_s_parallel_lines_are_ruled_by_the_steepest_part() -> None:
    cap = surfaces(CAP, 0.01, 62.0)[1]
    lines = parallel_line(cap, TARGET)
    assert lines.path_mm == pytest.approx(22974.58, rel=0.02)
    assert lines.line_spacing_mm == pytest.approx(0.3013309, rel=0.02)


def test_benchmark_s_constant_z_is_ruled_by_the_flattest_part() -> None:
    ring = surfaces(CAP, 10.0, 62.0)[1]
    levels = constant_z(ring, TARGET)
    assert levels.path_mm == pytest.approx(45829.69, rel=0.02)
    assert levels.z_step_mm == pytest.approx(0.1046511, rel=0.02)


@pytest.mark.parametrize(
    ("split_deg", "length_mm"), [(30, 17545.94), (35, 16249.12), (40, 15785.84), (45, 16087.00), (50, 17215.23)]
)
def test_benchmark_s_split_in_two(split_deg: float, length_mm: float) -> None:
    mesh = heal(*CAP, "part").mesh
    smooth = smooth_surface(mesh)
    zoning = patch_zones(mesh, smooth, UP, ZoneRule(Thresholds(0.01, split_deg, 0.5), 0.01, 0.1, 0.1))
    zones = list(zip(zoning.zone_class, surfaces_of(mesh, smooth, zoning, UP), strict=True))
    (top,) = (surface for number, surface in zones if number == 1)
    (ring,) = (surface for number, surface in zones if number == 2 and surface.slope_deg.max() < 75.0)  # not the skirt
    total = parallel_line(top, TARGET).path_mm + constant_z(ring, TARGET).path_mm
    assert total == pytest.approx(length_mm, rel=0.02)


def test_benchmark_p_all_three_need_area_over_step_on_a_plane() -> None:
    floor = surfaces(solids.stepped_block((10,), 100, 100), 5.0, 45.0)[0]
    assert parallel_line(floor, TARGET).path_mm == pytest.approx(15819.30, rel=1e-6)
    assert constant_cusp(floor, TARGET).path_mm == pytest.approx(15819.30, rel=1e-6)
    assert not constant_z(floor, TARGET).usable


def test_benchmark_c_constant_z_on_a_cone() -> None:
    steep = surfaces(solids.cone(40, 10, 60), 5.0, 45.0)[2]
    step = 0.5 / np.sin(np.radians(60))
    levels = constant_z(steep, StageTarget("finish", Cutter(10.0, 5.0), 0, None, step_mm=step))
    assert levels.z_step_mm == pytest.approx(0.5, rel=1e-3)
    assert levels.path_mm == pytest.approx(16324.19, rel=2e-3)
    assert levels.cusp_um.p95 == pytest.approx(8.34029, rel=2e-3)


@pytest.mark.parametrize("slope_deg", [10.0, 30.0, 60.0])
def test_lines_on_a_slope_lie_along_the_contour_or_lose_nothing_up_it(slope_deg: float) -> None:
    """On a plane lines up the slope lose nothing (phi = 90), lines along it lose the cosine (phi = 0)."""
    plane = surfaces(solids.wedge(slope_deg), 5.0, 75.0)[1]
    step = 0.6321392
    up_slope, along = parallel_line(plane, TARGET, 0.0), parallel_line(plane, TARGET, 90.0)
    if plane.normal[:, 0].mean() ** 2 < plane.normal[:, 1].mean() ** 2:
        up_slope, along = along, up_slope
    assert up_slope.line_spacing_mm == pytest.approx(step, rel=1e-6)
    assert along.line_spacing_mm == pytest.approx(step * np.cos(np.radians(slope_deg)), rel=1e-6)
    assert parallel_line(plane, TARGET).path_mm == pytest.approx(plane.total_mm2 / step, rel=1e-3)


def test_contact_and_tip_share_of_a_dome() -> None:
    """Of a cap up to 60 deg the part below asin(0.2) is cut on less than a fifth of the diameter."""
    cap = surfaces(CAP, 0.01, 62.0)[1]
    advice = constant_cusp(cap, TARGET)
    near = (1 - np.cos(np.arcsin(0.2))) / (1 - np.cos(np.radians(60)))
    assert advice.tip_contact_share == pytest.approx(near, rel=0.03)
    assert advice.contact_diameter_mm.max == pytest.approx(10 * np.sin(np.radians(60)), rel=0.01)
    assert advice.contact_diameter_mm.min < 0.2


def test_a_bull_nose_on_a_floor_steps_by_its_flat_and_more() -> None:
    """Flat of 2 a = 8 mm and a cusp of 0.0202041 mm beyond it: 8.4 mm (closed form)."""
    floor = surfaces(solids.stepped_block((10,), 100, 100), 5.0, 45.0)[0]
    bull = StageTarget("finish", Cutter(10.0, 1.0), 0, cusp_mm=0.0202041, step_mm=None)
    assert parallel_line(floor, bull).line_spacing_mm == pytest.approx(8.4, rel=1e-5)
    by_step = StageTarget("finish", Cutter(10.0, 1.0), 0, cusp_mm=None, step_mm=8.4)
    for target in (bull, by_step):  # what is left is told as well
        cusp = parallel_line(floor, target).cusp_um
        assert cusp.p95 == pytest.approx(20.2041, rel=1e-5) and cusp.max == pytest.approx(20.2041, rel=1e-5)
    within = StageTarget("finish", Cutter(10.0, 1.0), 0, cusp_mm=None, step_mm=7.9)
    assert parallel_line(floor, within).cusp_um.max == pytest.approx(0.0, abs=1e-9)


def test_ra_target_is_the_cusp_whose_profile_has_it() -> None:
    """R 5, step 0.5: Ra 1.604553 um and cusp 6.253911 um (closed form and quadrature)."""
    assert cusp_for_ra_mm(1.604553e-3, Cutter(10.0, 5.0)) == pytest.approx(6.253911e-3, rel=1e-5)


def test_an_edge_narrower_than_a_step_does_not_rule_the_floor_beside_it() -> None:
    rounded = surfaces(solids.round_pocket(20, 6, 15), 5.0, 45.0)[0]
    lines = parallel_line(rounded, TARGET)
    assert lines.line_spacing_mm == pytest.approx(0.6321392, rel=0.01)


@pytest.mark.parametrize("most", [300, 1000])
def test_some_facets_of_a_zone_stand_for_all(most: int) -> None:
    """Area is kept to the last digit, path and spacing to a hundredth; zones of few facets are as they are."""
    part = heal(*solids.spherical_cap(chord_error_mm=0.002), "part").mesh
    smooth = smooth_surface(part)
    zoning = patch_zones(part, smooth, UP, ZoneRule(Thresholds(5.0, 40.0, 0.5), 0.01, 0.1, 0.1))
    every, some = (surfaces_of(part, smooth, zoning, UP, asked) for asked in (1_000_000, most))
    assert max(len(surface.area_mm2) for surface in every) > 2 * most
    for whole, few in zip(every, some, strict=True):
        assert len(few.area_mm2) <= max(most, 1)
        assert few.total_mm2 == pytest.approx(whole.total_mm2, rel=1e-12)
        if len(whole.area_mm2) <= most:
            np.testing.assert_array_equal(few.tensor, whole.tensor)
            continue
        for advise in (constant_cusp, constant_z):
            one, other = advise(whole, TARGET), advise(few, TARGET)
            assert one.usable == other.usable
            if one.usable:
                assert other.path_mm == pytest.approx(one.path_mm, rel=0.01)
                assert other.stepover_mm == pytest.approx(one.stepover_mm, rel=0.01)
