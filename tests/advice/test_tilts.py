"""Tilts, orientations and turns of a rotary table in the plan, on parts whose answers follow from their drawing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import solids
from manifold3d import Manifold

import advisor
from advisor.advice.settings import resolve
from advisor.advice.tilts import table_turn_deg
from advisor.cli.explain import explain_lines
from advisor.errors import InputError
from advisor.model import Plan, Zone, plan_from_json
from advisor.part.heal import heal
from advisor.part.measured import MeasuredPart, measure_part

HOLDER = [{"diameter": 40, "length": 40}]
STAGES = [{"name": "finish", "cusp": 0.01}]


def part_of(vertices: np.ndarray, faces: np.ndarray) -> MeasuredPart:
    healed = heal(vertices, faces, "part")
    return measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)


def planned(part: MeasuredPart, axes: str, tool: dict[str, Any] | None = None, **machine: Any) -> Plan:
    tools = [{"name": "ball", "diameter": 10, **(tool or {})}]
    job = {"machine": {"axes": axes, **machine}, "tool": tools, "stage": STAGES, "stock": 0.1}
    return advisor.plan(part, job, lays_passes=False)


def level_at(plan: Plan, height: float) -> Zone:
    (zone,) = [z for z in plan.zones if z.slope_class == "flat" and abs(z.z_mm.max - height) < 0.01]
    return zone


@pytest.fixture(scope="module")
def step() -> MeasuredPart:
    """Floors at 10 and 40 beside each other: the lower has a wall of 30 at its +X side."""
    return part_of(*solids.stepped_block((10.0, 40.0), 60, 80))


@pytest.fixture(scope="module")
def dome() -> MeasuredPart:
    return part_of(*solids.spherical_cap(chord_error_mm=0.05))


def test_three_axes_are_asked_nothing(step: MeasuredPart) -> None:
    plan = planned(step, "3")
    assert plan.record.orientations == ()
    assert all(zone.tilt is None for zone in plan.zones)
    assert plan.record.setups[0].index_deg is None


def test_a_floor_beside_a_wall_leans_away_from_it(step: MeasuredPart) -> None:
    plan = planned(step, "3+2", {"stick_out": 50, "holder": HOLDER})
    floor, land = level_at(plan, 10), level_at(plan, 40)
    assert floor.tilt is not None and land.tilt is not None
    for zone in (floor, land):
        assert zone.tilt is not None
        # the tip is clear at 11.5 deg, people set 15
        assert (zone.tilt.tilt_deg, zone.tilt.upright_off_tip_share) == (15.0, 0.0)
        assert zone.tilt.off_tip_share == zone.tilt.reached_share == zone.tilt.upright_reached_share
        assert zone.tilt.held_back_by is None
    # a ball does not get into a sharp corner: a strip as wide as its radius
    assert floor.tilt.reached_share == pytest.approx(1 - 5 / 60, abs=0.02)
    assert land.tilt.reached_share == 1.0
    assert floor.tilt.azimuth_deg == 180.0
    assert floor.tilt.tool_axis == pytest.approx((-np.sin(np.radians(15)), 0, np.cos(np.radians(15))), abs=1e-8)
    # whatever leans into the wall is refused: the cutter, beside it, has no room at all
    assert set(floor.tilt.clear_azimuths_deg) == set(np.arange(90.0, 271.0, 10.0))
    assert len(land.tilt.clear_azimuths_deg) == 36
    groups = plan.record.orientations
    assert len(groups) <= 2
    tilted = groups[-1]
    assert {floor.id, land.id} <= set(tilted.zones)
    assert sorted(zone for one in groups for zone in one.zones) == sorted(z.id for z in plan.zones if z.tilt)
    assert tilted.tool_axis == floor.tilt.tool_axis
    assert floor.advice is not None
    told = " ".join(floor.advice.why)
    assert "Tilt the tool 15 deg" in told and "Tilted 15 deg towards -X" in told
    assert plan_from_json(plan.to_json()) == plan.record


def test_what_is_thin_between_two_azimuths_is_found() -> None:
    # A pad of 5 mm, and 30 mm from its middle, towards 15 deg, a pin of 2 mm that is 120 mm higher: the axis of a tool
    # that leans by 15 deg is 112 mm up there. The body of the 4 mm ball, as thick as itself, touches the pin where that
    # lies within 3 mm of the way it leans: from most of the pad at 5 deg off, from nowhere on it at 15 deg.
    at = 30.0 * np.array([np.cos(np.radians(15)), np.sin(np.radians(15))])
    body = Manifold.cube((90.0, 90.0, 10.0)).translate((-45.0, -45.0, 0.0))
    body += Manifold.cube((5.0, 5.0, 20.0)).translate((-2.5, -2.5, 0.0))
    body += Manifold.cylinder(140.0, 1.0, 1.0, 48).translate((*at, 0.0))
    mesh = body.to_mesh()
    part = part_of(np.asarray(mesh.vert_properties[:, :3], float), np.asarray(mesh.tri_verts))
    pad = level_at(planned(part, "5", {"diameter": 4}), 20)
    assert pad.tilt is not None and pad.tilt.tilt_deg > 0.0
    clear = set(pad.tilt.clear_azimuths_deg)
    lean = np.radians(pad.tilt.tilt_deg)
    assert 30.0 / np.tan(lean) < 120.0  # the pin is as high as the tool's axis above it
    assert not {10.0, 20.0} & clear
    assert clear == set(np.arange(0.0, 360.0, 10.0)) - {10.0, 20.0}


def test_the_lines_of_a_floor_lean_only_where_both_ways_are_clear(step: MeasuredPart) -> None:
    floor = level_at(planned(step, "5"), 10)
    assert floor.tilt is not None and floor.advice is not None
    lead, lean = floor.tilt.lead, floor.tilt.lean
    assert lead is not None and lean is not None
    assert floor.advice.direction_deg is not None
    along = abs(np.cos(np.radians(floor.advice.direction_deg)))
    assert along < 1e-6 or along > 1 - 1e-6
    beside_wall, square_to_it = (lead, lean) if along < 0.5 else (lean, lead)
    assert (beside_wall.tilt_deg, beside_wall.held_back_by) == (15.0, None)
    assert beside_wall.off_tip_share == pytest.approx(1 - 5 / 60, abs=0.02)
    assert (square_to_it.tilt_deg, square_to_it.held_back_by) == (0.0, "cutter")
    # upright it reaches the floor up to a radius from the wall, the same strip is lost where it leans into it: a ball
    # `d` from the wall has room where d cos t > R + (h - R) sin t
    t = np.radians(15)
    lost = (5 + (30 - 5) * np.sin(t)) / np.cos(t) - 5
    assert square_to_it.held_back_share == pytest.approx(lost / 60, abs=0.03)


def test_a_pocket_too_narrow_for_any_tilt_says_so() -> None:
    pocket = part_of(*solids.round_pocket(7.0, 5.0, 30, block_height_mm=40, chord_error_mm=0.01))
    plan = planned(pocket, "3+2")
    (inside,) = [z for z in plan.zones if z.tilt is not None and z.z_mm.min < 20 and z.slope_deg.min < 5]
    assert inside.tilt is not None and inside.advice is not None
    assert inside.tilt.tilt_deg == 0.0 and inside.tilt.azimuth_deg is None
    assert inside.tilt.clear_azimuths_deg == ()
    assert not any(words.startswith("Tilt the tool") for words in inside.advice.why)


def test_a_fixed_tilt_does_not_help_a_dome_and_one_that_turns_does(dome: MeasuredPart) -> None:
    plan = planned(dome, "5")
    (cap,) = [z for z in plan.zones if z.shape == "dome"]
    assert cap.tilt is not None and cap.tilt.lean is not None
    assert (cap.tilt.tilt_deg, cap.tilt.held_back_by) == (0.0, None)
    limit = np.degrees(np.arcsin(0.2))
    at_tip = (1 - np.cos(np.radians(limit))) / (1 - np.cos(np.radians(60)))
    assert cap.tilt.upright_off_tip_share == pytest.approx(1 - at_tip, abs=0.02)


def test_a_shallow_dome_leans_uphill_with_five_axes_and_keeps_its_far_side_with_three_and_two() -> None:
    part = part_of(*solids.spherical_cap(100.0, 20.0, chord_error_mm=0.05))
    (cap,) = [z for z in planned(part, "3+2").zones if z.z_mm.max > 15]
    assert cap.tilt is not None
    # at 20 deg a circle of 11.5 deg still covers a sixth of the cap, at 30 deg no more than a rim of the side leant to
    slope, limit, tilt = np.radians(np.linspace(1e-3, 20, 4000)), np.arcsin(0.2), np.radians(30)
    reach = (np.cos(limit) - np.cos(slope) * np.cos(tilt)) / (np.sin(slope) * np.sin(tilt))
    at_tip = (np.arccos(np.clip(reach, -1, 1)) / np.pi * np.sin(slope)).sum() / np.sin(slope).sum()
    assert cap.tilt.tilt_deg == 30.0
    assert cap.tilt.off_tip_share == pytest.approx(1 - at_tip, abs=0.02)
    (cap,) = [z for z in planned(part, "5").zones if z.z_mm.max > 15]
    assert cap.tilt is not None and cap.tilt.lean is not None
    if cap.advice is not None and cap.advice.direction_deg is None:
        assert cap.tilt.lean.side == "uphill" and cap.tilt.lean.tilt_deg <= 15
        assert cap.tilt.lean.off_tip_share > 0.95


def lost_beside_pin(tilt_deg: float, high: float, radius: float, pin: float) -> float:
    """Area of a floor that a ball of a radius touches upright and, tilted towards +X, not: a square pin of side `pin`.

    The cutter is as thick as itself however long: a round bar that leans. Its axis keeps a radius from every edge of
    the pin, by points of these; counted on a grid of places of contact.
    """
    # a bar that leans by the tilt is beside the pin no further off than this
    far = np.ceil(radius + pin / 2 + high * np.tan(np.radians(tilt_deg)) + radius)
    away = np.arange(-far, far, 0.25) + 0.125
    x, y = (each.ravel() for each in np.meshgrid(away, away))
    edges = np.linspace(-pin / 2, pin / 2, 9)
    rim = np.array([(u, v) for u in edges for v in edges if max(abs(u), abs(v)) == pin / 2])
    columns = np.concatenate([np.c_[rim, np.full(len(rim), z)] for z in np.linspace(0, high, 41)])

    def is_clear(tilt: float) -> np.ndarray:
        axis = np.array([np.sin(np.radians(tilt)), 0.0, np.cos(np.radians(tilt))])
        middle = np.c_[x, y, np.full(len(x), radius)]
        nearest = np.full(len(x), np.inf)
        for point in columns:
            from_middle = point - middle
            along = np.maximum(from_middle @ axis, 0.0)
            nearest = np.minimum(nearest, np.linalg.norm(from_middle - along[:, None] * axis, axis=1))
        inside = np.maximum(np.abs(x), np.abs(y)) < pin / 2
        return (nearest >= radius) & ~inside

    return float((is_clear(0.0) & ~is_clear(tilt_deg)).sum()) * 0.25**2


def test_a_pin_that_few_points_of_a_floor_would_miss_is_told_of() -> None:
    high, side = 30.0, 240.0
    floor = Manifold.cube([side, side, 20], True).translate([0, 0, -10])
    mesh = (floor + Manifold.cube([4, 4, 2 * high], True)).to_mesh()
    part = part_of(np.asarray(mesh.vert_properties[:, :3], float), np.asarray(mesh.tri_verts))
    tilt = level_at(planned(part, "3+2"), 0.0).tilt
    assert tilt is not None and tilt.tilt_deg == 15.0
    # along X or Y it is the same pin
    assert tilt.azimuth_deg in (0.0, 90.0, 180.0, 270.0)
    expected = lost_beside_pin(15.0, high, 5.0, 4.0) / side**2
    assert 0.001 < expected < 0.005  # let go as little, and told
    assert tilt.places == pytest.approx(12_000, rel=0.05)
    assert tilt.lost_share == pytest.approx(expected, rel=0.4)
    assert tilt.lost_by == "cutter"
    assert f"upright but for {tilt.lost_share:.1%} of the zone, asked at {tilt.places:,} places" in tilt.why[0]


def test_a_part_turned_by_a_quarter_leans_a_quarter_further(step: MeasuredPart) -> None:
    turn = np.array([(0.0, -1, 0), (1, 0, 0), (0, 0, 1)])
    vertices, faces = solids.stepped_block((10.0, 40.0), 60, 80)
    turned = part_of(solids.turned(vertices, turn), faces)
    one, other = (level_at(planned(part, "3+2"), 10).tilt for part in (step, turned))
    assert one is not None and other is not None
    assert one.azimuth_deg == 180.0 and other.azimuth_deg == 270.0
    assert other.tool_axis == pytest.approx(turn @ one.tool_axis, abs=1e-9)


def test_a_machine_that_tilts_too_little_leaves_the_tip_in_the_cut(step: MeasuredPart) -> None:
    floor = level_at(planned(step, "3+2", max_tilt="8 deg"), 10)
    assert floor.tilt is not None
    assert (floor.tilt.tilt_deg, floor.tilt.off_tip_share) == (0.0, 0.0)


def test_what_is_explained(step: MeasuredPart) -> None:
    lines = list(explain_lines(planned(step, "3+2", {"stick_out": 50, "holder": HOLDER}, rotary_axis="+X")))
    assert any(line.startswith("Set-up 1: rotary table at 0 deg about (1, 0, 0)") for line in lines)
    assert any("of the tool do" in line for line in lines)
    assert any(line.startswith("     Tilted 15 deg towards -X, tool axis (-0.259, 0, 0.966)") for line in lines)


@pytest.mark.parametrize(
    ("rotary", "axis", "expected"),
    [("+X", (0, 0, 1), 0.0), ("X", (0, 1, 0), 90.0), ("-X", (0, 1, 0), -90.0), ("+X", (0, 0, -1), 180.0),
     ("+X", (1, 0, 0), None), ("+Z", (0, 1, 0), None), ("0,1,0", (-1, 0, 0), 90.0), (None, (0, 0, 1), None)],
)  # fmt: skip
def test_the_table_turns_a_set_up_to_the_spindle(
    step: MeasuredPart, rotary: str | None, axis: tuple[float, float, float], expected: float | None
) -> None:
    keys = {} if rotary is None else {"machine": {"rotary_axis": rotary}}
    settings = replace(resolve(step.mesh, keys, part=step), axis=axis)
    assert table_turn_deg(settings) == (None if expected is None else pytest.approx(expected))
    if expected is not None:
        # turning the part by the right hand about the table's axis brings the tool axis up
        about = np.array({"X": (1, 0, 0), "+X": (1, 0, 0), "-X": (-1, 0, 0), "0,1,0": (0, 1, 0)}[str(rotary)], float)
        a = np.radians(expected)
        v = np.array(axis, float)
        turned = v * np.cos(a) + np.cross(about, v) * np.sin(a) + about * (about @ v) * (1 - np.cos(a))
        np.testing.assert_allclose(turned, (0, 0, 1), atol=1e-9)


def test_a_table_about_no_direction_is_told(step: MeasuredPart) -> None:
    with pytest.raises(InputError, match="rotary_axis = 'A' is not a direction"):
        planned(step, "3", rotary_axis="A")


def test_orientations_and_turns_of_several_set_ups() -> None:
    block = part_of(*solids.stepped_block((10.0, 40.0), 60, 80))
    tools = [{"name": "ball", "diameter": 10}]
    machine = {"axes": "3+2", "rotary_axis": "+Y"}
    job = {"machine": machine, "tool": tools, "stage": STAGES, "stock": 0.1, "setups": ["+Z", "-Z"]}
    plan = advisor.plan(block, job, lays_passes=False)
    assert [setup.index_deg for setup in plan.record.setups] == [0.0, 180.0]
    told = [zone for one in plan.record.orientations for zone in one.zones]
    assert sorted(told) == sorted(zone.id for zone in plan.zones if zone.tilt)
    by_id = {zone.id: zone for zone in plan.zones}
    assert all(by_id[zone].setup == one.setup for one in plan.record.orientations for zone in one.zones)
    lines = list(explain_lines(plan))
    assert any(line.startswith("Set-up 2: rotary table at 180 deg about (0, 1, 0)") for line in lines)
    # a table that leans brings nothing up that does not lean as much against it
    leaning = advisor.plan(block, {**job, "machine": {"rotary_axis": "0,0.6,0.8"}}, only_zones=True)
    assert [setup.index_deg for setup in leaning.record.setups] == [0.0, None]
    lines = list(explain_lines(leaning))
    assert any(line.startswith("Set-up 2: no turn of the rotary table about (0, 0.6, 0.8)") for line in lines)
