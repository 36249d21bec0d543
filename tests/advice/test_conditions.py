"""Speeds, feeds, tilt, bending and minutes of zones, against hand sums on parts with one contact angle."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import solids
from asked_for import more
from manifold3d import Manifold

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


# Many tests read the same plan: it is made once.
PLANS: dict[tuple[bytes, str], Plan] = {}


def plan_of(mesh: solids.Mesh, tmp_path: Path, **changes: Any) -> Plan:
    key = (solids.to_stl_bytes(*mesh), repr(changes))
    if key not in PLANS:
        path = tmp_path / "part.stl"
        path.write_bytes(key[0])
        PLANS[key] = advisor.plan(path, {**JOB, **changes}, lays_passes=False)
    return PLANS[key]


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
    assert advice.tilt.spindle_rpm is not None
    after = math.pi * advice.tilt.spindle_rpm * 10 * math.sin(math.radians(15)) / 1000
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


@pytest.mark.parametrize(("axes", "given"), [("5", {}), ("3+2", {}), ("5", {"surface_speed": "60 m/min"})])
def test_nothing_runs_above_the_highest_speed_with_a_tilt(axes: str, given: dict[str, Any], tmp_path: Path) -> None:
    """The largest diameter in a cut 0.1 deep on a floor tilted by t: D sin(t + arccos(1 - 0.1 / 5))."""
    tools = [{**JOB["tool"][0], **given}]
    plan = plan_of(BLOCK, tmp_path, machine={**JOB["machine"], "axes": axes}, tool=tools)
    highest, floor = (60.0 if given else 100.0), zone_of(plan, "flat")
    advice, tilt = floor.advice, floor.tilt
    assert advice is not None and advice.tilt is not None and advice.tilt.allowed and tilt is not None
    assert advice.spindle_rpm is not None and advice.feed_mm_per_min is not None
    told = {advice.tilt.tilt_deg: advice.tilt.spindle_rpm, tilt.tilt_deg: tilt.spindle_rpm}
    for degrees, rpm in told.items():
        assert rpm is not None
        largest_mm = 10.0 * math.sin(math.radians(degrees) + math.acos(1 - 0.1 / 5.0))
        # upright 100 m/min would be passed: 20,000 rev/min, the machine's limit, or those of a floor's small diameter
        assert math.pi * largest_mm * advice.spindle_rpm / 1000 > highest
        assert math.pi * largest_mm * rpm / 1000 == pytest.approx(highest, rel=1e-6)
    feed = advice.tilt.feed_mm_per_min
    assert feed == pytest.approx(advice.feed_mm_per_min * (advice.tilt.spindle_rpm or 0.0) / advice.spindle_rpm)
    assert any(f"no more than {advice.tilt.spindle_rpm:.0f} rev/min" in words for words in advice.why)


def test_corners_inside_a_zone_slow_the_feed(tmp_path: Path) -> None:
    """Upright walls round a square window are one zone; the same walls seen from outside have no inside corner."""
    walls = [zone for zone in plan_of(_square_frame(), tmp_path).zones if zone.slope_class == "steep"]
    slowed = {zone.area_mm2 for zone in walls if zone.advice and zone.advice.corner_feed_mm_per_min is not None}
    # 4 walls of 20 by 15 inside, 4 of 40 by 15 outside
    assert sorted(round(zone.area_mm2) for zone in walls) == [1200, 2400]
    assert [round(area) for area in slowed] == [1200]


def _square_frame() -> solids.Mesh:
    block = Manifold.cube([40.0, 40.0, 15.0], True).translate([0, 0, 7.5])
    mesh = (block - Manifold.cube([20.0, 20.0, 40.0], True)).to_mesh()
    return np.asarray(mesh.vert_properties[:, :3], float), np.asarray(mesh.tri_verts, np.int64)


def test_what_a_larger_ball_leaves_in_a_fillet_is_told(tmp_path: Path) -> None:
    """Fillet of 3: a ball of 12 with 0.1 left stands (sqrt 2 - 1) (6.1 - 3) = 1.28 mm off it between upright walls."""
    tools = [{"name": "large", "diameter": 12}, {"name": "small", "diameter": 5}]
    stages = [{"name": "pre-finish", "cusp": 0.025, "stock_left": 0.1, "tool": "large"},
              {"name": "finish", "cusp": 0.01, "tool": "small"}]  # fmt: skip
    pocket = solids.round_pocket(20.0, 3.0, 15.0)
    zone = zone_of(plan_of(pocket, tmp_path, tool=tools, stage=stages), "pocket")
    assert zone.advice is not None and zone.concave_radius_mm == pytest.approx(3.0, rel=0.05)
    (words,) = [words for words in zone.advice.why if "larger cutter" in words]
    assert "about 1.28 mm more" in words
    assert zone.advice.corner_feed_mm_per_min is not None
    same = [{**stage, "tool": "small"} for stage in stages]
    zone = zone_of(plan_of(pocket, tmp_path, tool=tools, stage=same), "pocket")
    assert zone.advice is not None and not any("larger cutter" in words for words in zone.advice.why)


def test_a_stage_whose_holder_is_in_the_way_says_so(tmp_path: Path) -> None:
    """Pocket 15 deep: the first stage's ball stands 8 out of a holder wider than the pocket, the last one's 40."""
    holder = [{"diameter": 60, "length": 30}]
    tools = [{"name": name, "diameter": 5, "stick_out": out, "holder": holder} for name, out in (("a", 8), ("b", 40))]
    stages = [{"name": "pre-finish", "cusp": 0.05, "stock_left": 0.1, "tool": "a"},
              {"name": "finish", "cusp": 0.05, "tool": "b"}]  # fmt: skip
    path = tmp_path / "pocket.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.round_pocket(20.0, 8.0, 15.0)))
    plan = advisor.plan(path, {**JOB, "tool": tools, "stage": stages})
    zone = zone_of(plan, "pocket")
    first, last = zone.steps
    assert first.out_of_reach_share is not None and first.out_of_reach_share > 0.3
    assert last.out_of_reach_share == 0.0
    assert any("a does not get to" in words for words in first.why)
    assert any("The tool of pre-finish does not get to all of zone" in words for words in plan.record.cautions)
    assert plan.passes is not None
    # tips of the first stage: the nose of the holder stays over the top of the part but for a clearance
    passes = np.flatnonzero((plan.passes.stage == "pre-finish") & (plan.passes.zone == zone.id))
    points = np.concatenate([plan.passes.points[plan.passes.starts[p] : plan.passes.starts[p + 1]] for p in passes])
    assert (points[:, 2] - 2.5 + 8.0).min() >= zone.z_mm.max - 0.05


def small_tool(**keys: Any) -> dict[str, Any]:
    tool = {"name": "small", "stick_out": 3, **keys}
    return {"tool": [tool], "tolerance": 0.05, "stock": 0.5, "stage": [
        {"name": "pre-finish", "cusp": 0.025, "stock_left": 0.1}, {"name": "finish", "cusp": 0.005},
    ]}  # fmt: skip


@pytest.mark.parametrize("tool", [{"diameter": 0.6}, more({"kind": "bull", "diameter": 3, "corner_radius": 0.3})])
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
