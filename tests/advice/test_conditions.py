"""Speeds, feeds, tilt, bending and minutes of zones, against hand sums on parts with one contact angle."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
import solids

import advisor
from advisor.errors import InputError
from advisor.model import Advice, Plan, Zone, plan_from_json

JOB: dict[str, Any] = {
    "material": {"test metal": {
        "group": "S", "surface_speed": ["60 m/min", "100 m/min"], "feed_per_tooth_of_diameter": [0.005, 0.01],
        "kc11": 1400, "mc": 0.25,
    }},
    "machine": {"max_spindle": 20_000, "max_feed": "6 m/min", "acceleration": "3 m/s2"},
    "tool": [{"name": "ball 10", "diameter": 10, "flutes": 4, "centre_flutes": 2}],
    "stage": [{"name": "finish", "cusp": 0.01}],
    "stock": 0.1,
}  # fmt: skip


def plan_of(mesh: solids.Mesh, tmp_path: Path, **changes: Any) -> Plan:
    path = tmp_path / "part.stl"
    path.write_bytes(solids.to_stl_bytes(*mesh))
    return advisor.plan(path, {**JOB, **changes}, lays_passes=False)


def zone_of(plan: Plan, kind: str) -> Zone:
    """The largest zone of a slope class or of a shape."""
    return next(zone for zone in plan.zones if kind in (zone.slope_class, zone.shape))


def advice_of(plan: Plan, kind: str) -> Advice:
    advice = zone_of(plan, kind).advice
    assert advice is not None
    return advice


BLOCK = solids.stepped_block((10.0, 40.0), 60, 80)


def test_a_wall_runs_on_the_whole_diameter(tmp_path: Path) -> None:
    """n = 1000 v / (pi D) with v the middle of 60 and 100 m/min: 2546.48 rev/min; contact everywhere on 10 mm."""
    advice = advice_of(plan_of(BLOCK, tmp_path), "steep")
    assert advice.spindle_rpm == pytest.approx(1000 * 80 / (math.pi * 10), rel=1e-6)
    assert advice.surface_speed_m_per_min is not None
    assert advice.surface_speed_m_per_min.min == pytest.approx(80.0)
    assert advice.surface_speed_m_per_min.max == pytest.approx(80.0)
    assert advice.tilt is None


def test_a_floor_runs_on_the_diameter_in_the_cut_and_not_at_its_contact(tmp_path: Path) -> None:
    """2 sqrt(ap (D - ap)) = 1.989975 mm for 0.1 mm of stock: 12796.6 rev/min; no speed at the tip itself."""
    advice = advice_of(plan_of(BLOCK, tmp_path), "flat")
    assert advice.spindle_rpm == pytest.approx(1000 * 80 / (math.pi * 1.989975), rel=1e-5)
    assert advice.mean_surface_speed_m_per_min == pytest.approx(0.0, abs=1e-6)
    assert advice.tip_contact_share == 1.0


def test_the_machine_limits_the_spindle_and_the_plan_says_so(tmp_path: Path) -> None:
    advice = advice_of(plan_of(BLOCK, tmp_path, machine={**JOB["machine"], "max_spindle": 8000}), "flat")
    assert advice.spindle_rpm == 8000
    assert any("limit of the machine" in sentence for sentence in advice.why)


def test_few_flutes_meet_near_the_tip(tmp_path: Path) -> None:
    """Common practice, no source: of four flutes two reach the centre; a floor is cut by those, a wall by all."""
    plan = plan_of(BLOCK, tmp_path)
    for slope_class, flutes in (("flat", 2), ("steep", 4)):
        advice = advice_of(plan, slope_class)
        assert advice.spindle_rpm and advice.feed_per_tooth_mm
        feed = min(advice.spindle_rpm * flutes * advice.feed_per_tooth_mm, 6000)
        assert advice.feed_mm_per_min == pytest.approx(feed)
        assert 0.05 <= advice.feed_per_tooth_mm <= 0.1


def test_the_tool_makers_data_win_over_the_table(tmp_path: Path) -> None:
    tool = {**JOB["tool"][0], "surface_speed": "150 m/min", "feed_per_tooth": "0.03 mm"}
    advice = advice_of(plan_of(BLOCK, tmp_path, tool=[tool]), "steep")
    assert advice.surface_speed_m_per_min is not None and advice.surface_speed_m_per_min.max == pytest.approx(150.0)
    assert advice.feed_per_tooth_mm == pytest.approx(0.03)
    # fz^2 / 8 R: closed form
    assert advice.cusp_along_feed_um == pytest.approx(1000 * 0.03**2 / 40, rel=1e-3)


def test_no_material_no_speeds(tmp_path: Path) -> None:
    job = {key: value for key, value in JOB.items() if key != "material"}
    path = tmp_path / "part.stl"
    path.write_bytes(solids.to_stl_bytes(*BLOCK))
    plan = advisor.plan(path, job, lays_passes=False)
    advice = advice_of(plan, "steep")
    for name in ("spindle_rpm", "surface_speed_m_per_min", "feed_mm_per_min", "cutting_min", "total_min"):
        assert getattr(advice, name) is None
    assert plan.record.totals.total_min is None


@pytest.mark.parametrize(("axes", "allowed"), [("3", False), ("3+2", True), ("5", True)])
def test_a_floor_wants_a_tilt(axes: str, allowed: bool, tmp_path: Path) -> None:
    """The tip leaves a cut 0.1 mm deep at arccos(1 - 2 ap / D) = 11.478 deg; the next common tilt is 15 deg."""
    machine = {**JOB["machine"], "axes": axes, "max_tilt": "20 deg"}
    advice = advice_of(plan_of(BLOCK, tmp_path, machine=machine), "flat")
    assert advice.tilt is not None and advice.spindle_rpm is not None
    assert advice.tilt.tilt_deg == 15.0 and advice.tilt.allowed == allowed
    assert advice.tilt.contact_diameter_before_mm == pytest.approx(0.0, abs=1e-9)
    assert advice.tilt.contact_diameter_after_mm == pytest.approx(10 * math.sin(math.radians(15)))
    after = math.pi * advice.spindle_rpm * 10 * math.sin(math.radians(15)) / 1000
    assert advice.tilt.surface_speed_after_m_per_min == pytest.approx(after)
    told = [sentence for sentence in advice.why if "15 deg" in sentence]
    assert told and ("cannot" in told[0]) != allowed


def test_bending_goes_with_the_cube_of_the_stick_out_and_the_square_of_the_sine(tmp_path: Path) -> None:
    def bending(slope_deg: float, stick_out: float) -> float:
        tool = {**JOB["tool"][0], "stick_out": stick_out, "flute_length": 0.001, "shank_diameter": 10}
        job = {"tool": [tool], "zones": {"steep_from": "80 deg"}}
        budget = advice_of(plan_of(solids.wedge(slope_deg), tmp_path, **job), "shallow").error_budget
        assert budget is not None and budget.bending_um is not None
        return budget.bending_um

    assert bending(30, 80) / bending(30, 40) == pytest.approx(8.0, rel=1e-2)
    assert bending(60, 40) / bending(30, 40) == pytest.approx(3.0, rel=1e-6)


def test_error_budget_adds_up_and_names_its_largest_part(tmp_path: Path) -> None:
    """Cusp 10 um, path 2 um, and the facets of a half cylinder made with a chord error of 0.05 mm."""
    plan = plan_of(solids.half_cylinder(30, 80, 0.05), tmp_path, tolerance="0.03 mm")
    assert plan.record.part.chord_error_um == pytest.approx(50, rel=0.25)
    budget = advice_of(plan, "round").error_budget
    assert budget is not None and budget.facets_um and budget.cusp_um
    assert budget.total_um == pytest.approx(budget.cusp_um + budget.facets_um + 2.0)
    assert budget.largest == "facets" and budget.within is False and budget.tolerance_um == pytest.approx(30.0)
    assert any("finer chord tolerance" in sentence for sentence in advice_of(plan, "round").why)
    assert any("coarse for a cusp of 10 um" in caution for caution in plan.record.cautions)
    fine = plan_of(solids.half_cylinder(30, 80, 0.001), tmp_path, tolerance="0.03 mm")
    budget = advice_of(fine, "round").error_budget
    assert budget is not None and budget.within is True and budget.largest == "cusp"
    assert not any("model is coarse" in caution for caution in fine.record.cautions)


def test_minutes_of_a_floor_are_those_of_its_passes(tmp_path: Path) -> None:
    """80 x 60 mm, step 0.6321392: 95 passes of 80 mm or so, each from rest to rest (t = L / v + v / a)."""
    advice = advice_of(plan_of(solids.stepped_block((10.0,), 80, 60), tmp_path), "flat")
    assert advice.feed_mm_per_min and advice.cutting_min and advice.total_min and advice.total_min_range
    speed = advice.feed_mm_per_min / 60
    passes = math.ceil(60 / 0.6321392)
    pass_s = advice.path_mm / passes / speed + speed / 3000
    assert advice.cutting_min == pytest.approx(advice.path_mm / advice.feed_mm_per_min)
    assert advice.total_min == pytest.approx(passes * pass_s / 60, rel=0.02)
    assert advice.total_min_range[0] < advice.total_min < advice.total_min_range[1]


def test_totals_are_the_sums_of_all_stages(tmp_path: Path) -> None:
    stages = [{"name": "pre-finish", "stepover": 0.8, "stock_left": 0.05}, {"name": "finish", "cusp": 0.01}]
    plan = plan_of(BLOCK, tmp_path, stage=stages)
    steps = [step for zone in plan.zones for step in zone.steps if step.usable]
    totals = plan.record.totals
    assert totals.total_min == pytest.approx(sum(step.total_min or 0 for step in steps))
    assert totals.total_min_range and totals.total_min
    assert totals.total_min_range[0] < totals.total_min < totals.total_min_range[1]
    by_class = [sums.total_min for sums in totals.by_class.values() if sums.total_min is not None]
    assert totals.total_min == pytest.approx(sum(by_class))


def test_corners_want_a_slower_feed(tmp_path: Path) -> None:
    """Common practice, no source: about half. The lower floor ends at a wall, the upper one at nothing."""
    plan = plan_of(BLOCK, tmp_path)
    low, high = sorted((z for z in plan.zones if z.slope_class == "flat"), key=lambda z: z.z_mm.max)
    assert low.advice and high.advice and low.advice.feed_mm_per_min
    assert low.advice.corner_feed_mm_per_min == pytest.approx(low.advice.feed_mm_per_min / 2)
    assert high.advice.corner_feed_mm_per_min is None


def test_metal_that_burns_is_told(tmp_path: Path) -> None:
    path = tmp_path / "part.stl"
    path.write_bytes(solids.to_stl_bytes(*BLOCK))
    titanium = advisor.plan(path, material="Ti-6Al-4V", lays_passes=False)
    assert any("metal fire" in caution for caution in titanium.record.cautions)
    assert not any(
        "metal fire" in caution for caution in advisor.plan(path, material="4140", lays_passes=False).record.cautions
    )
    assert any(
        "No metal is named" in c and "metal fire" in c for c in advisor.plan(path, lays_passes=False).record.cautions
    )
    with pytest.raises(InputError, match="magnesium"):
        advisor.plan(path, material="magnesium", lays_passes=False)
    with pytest.raises(InputError, match="Ti-6Al-4V"):
        advisor.plan(path, material="Ti-6Al-V4", lays_passes=False)


def small_tool(**keys: Any) -> dict[str, Any]:
    tool = {"name": "small", "stick_out": 3, **keys}
    return {"tool": [tool], "tolerance": 0.05, "stock": 0.5, "stage": [
        {"name": "pre-finish", "cusp": 0.025, "stock_left": 0.1}, {"name": "finish", "cusp": 0.005},
    ]}  # fmt: skip


@pytest.mark.parametrize("tool", [{"diameter": 0.6}, {"kind": "bull", "diameter": 3, "corner_radius": 0.3}])
def test_bending_in_a_layer_thicker_than_the_corner_radius_is_not_known(tool: dict[str, Any], tmp_path: Path) -> None:
    """0.4 mm of the pre-finish on a radius of 0.3 mm: the force holds for less only, the finish takes 0.1 mm."""
    plan = plan_of(solids.wave(), tmp_path, **small_tool(**tool))
    written = plan.to_json()
    assert plan_from_json(written) == plan.record
    assert "nan" not in written.lower()
    assert sum(step.usable for zone in plan.zones for step in zone.steps) >= 2
    for zone in plan.zones:
        for step in zone.steps:
            budget = step.error_budget
            if not step.usable:
                continue
            assert budget is not None and (budget.bending_um is None) == (step.stage == "pre-finish")
            known = (budget.cusp_um, budget.facets_um, budget.path_um, budget.bending_um)
            assert budget.total_um == pytest.approx(sum(part for part in known if part is not None))
    (caution,) = [text for text in plan.record.cautions if text.startswith("pre-finish: small is to take off 0.4 mm")]
    assert "how far the tool bends is not known there" in caution


def test_a_ball_that_takes_off_more_than_half_its_radius_is_told(tmp_path: Path) -> None:
    """0.4 mm are 0.4 of the radius of a 2 mm ball, 0.8 of that of a 1 mm ball."""
    for diameter, told in ((2.0, False), (1.0, True)):
        cautions = plan_of(BLOCK, tmp_path, **small_tool(diameter=diameter)).record.cautions
        about = [text for text in cautions if "is to take off" in text]
        assert bool(about) is told, about
        assert not any("not known" in text for text in about)
    assert "0.8 times its radius" in about[0]
