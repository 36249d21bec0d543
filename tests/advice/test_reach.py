"""What the plan says of reach, leftover, stick-out and tools, on parts whose answers follow from their drawing."""

from __future__ import annotations

from math import cos, radians, sqrt, tan

import numpy as np
import pytest
import solids
from asked_for import few_of, more

import advisor
from advisor.advice.choose import in_words
from advisor.advice.settings import resolve, tools_asked
from advisor.cli.explain import explain_lines
from advisor.part.heal import heal
from advisor.part.measured import MeasuredPart, measure_part


def part_of(vertices: np.ndarray, faces: np.ndarray) -> MeasuredPart:
    healed = heal(vertices, faces, "part")
    return measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)


@pytest.fixture(scope="module")
def filleted() -> MeasuredPart:
    """Round pocket of radius 20, 15 deep, with a foot of 3 mm."""
    return part_of(*solids.round_pocket(20, 3.0, 15, chord_error_mm=0.005))


@pytest.fixture(scope="module")
def under_a_ball_of_10(filleted: MeasuredPart) -> advisor.Plan:
    return advisor.plan(filleted, ball="10 mm", lays_passes=False)


def inside(plan: advisor.Plan) -> list[advisor.model.Zone]:
    return [zone for zone in plan.zones if zone.reach is not None and 9.9 < zone.z_mm.min < 24]


def test_a_ball_larger_than_the_fillet_leaves_what_the_drawing_says(under_a_ball_of_10: advisor.Plan) -> None:
    plan = under_a_ball_of_10
    (left,) = plan.record.leftovers
    assert left.kind == "corner"
    # (sqrt(2) - 1) (R - r) between straight walls; the wall's own bend of 20 mm changes next to nothing
    assert left.max_um == pytest.approx(1000 * (sqrt(2) - 1) * (5 - 3), rel=0.05)
    assert left.diameter_mm == 6.0
    # all of the fillet, and the floor and wall beside it as far as where the ball rests on them, less where it is off
    # them by no more than the facets are: two chord errors, sqrt(2 R t) wide
    fillet = 2 * np.pi * (17 * 3 * np.pi / 2 + 9)
    beside = np.pi * (17**2 - 15**2) + 2 * np.pi * 20 * 2
    assert plan.record.part.chord_error_um is not None
    trace = sqrt(2 * 5 * 2 * plan.record.part.chord_error_um / 1000)
    assert left.area_mm2 == pytest.approx(fillet + beside - 2 * np.pi * (15 + 20) * trace, rel=0.04)
    (fillet,) = [zone for zone in inside(plan) if zone.shape == "fillet"]
    assert fillet.reach is not None and fillet.reach.share == 0.0
    assert fillet.reach.largest_diameter_mm == 4.0  # 0.8 of the radius at most: it need not dwell
    assert fillet.advice is not None and not fillet.advice.usable


def test_a_ball_that_fits_reaches_all_of_it(filleted: MeasuredPart) -> None:
    plan = advisor.plan(filleted, ball="6 mm", lays_passes=False)
    assert plan.record.leftovers == ()
    assert all(zone.reachable_share == pytest.approx(1.0, abs=1e-9) for zone in inside(plan))
    assert plan.facets.reach is not None
    up = plan.facets.slope_deg < 89
    assert (plan.facets.reach[up] == 0).all()


def test_tools_are_taken_large_first_and_small_only_where_needed(filleted: MeasuredPart) -> None:
    tools = [{"name": f"b{d}", "kind": "ball", "diameter": d} for d in (16, 10, 6, 2)]
    stages = [{"name": "finish", "cusp": 0.005, "tool": "b16"}]
    plan = advisor.plan(filleted, job={"tool": tools, "stage": stages}, lays_passes=False)
    sequence = plan.record.sequence
    assert sequence is not None
    # the 6 mm ball rolls into the fillet of 3 mm; the 2 mm one is never worth its change
    assert [step.tool for step in sequence.steps] == ["b16", "b6"]
    small = sequence.steps[1].area_mm2
    assert small < 0.2 * sequence.steps[0].area_mm2


def test_a_sharp_corner_leaves_the_most_and_no_ball_does_for_it() -> None:
    plan = advisor.plan(part_of(*solids.stepped_block((10.0, 30.0), 60, 60)), ball="10 mm", lays_passes=False)
    (left,) = plan.record.leftovers
    most = 1000 * (sqrt(2) - 1) * 5
    assert left.max_um == pytest.approx(most, rel=0.005)  # asked on the very edge
    for zone in plan.zones:
        if zone.reach is not None and zone.reach.leftover is not None:
            assert zone.reach.leftover.max_um == pytest.approx(most, rel=0.005)
    assert left.kind == "corner"
    # a strip as wide as the ball's radius on the floor and on the wall
    assert left.area_mm2 == pytest.approx(2 * 5 * 60, rel=0.1)


def test_the_holder_asks_for_the_depth_of_the_pocket(filleted: MeasuredPart) -> None:
    tool = {"name": "b", "kind": "ball", "diameter": 6, "holder": [{"diameter": 50, "length": 40}]}
    plan = advisor.plan(filleted, job={"tool": [tool]}, lays_passes=False)
    (floor,) = [zone for zone in inside(plan) if abs(zone.z_mm.min - 10) < 0.01]
    assert floor.reach is not None
    # a holder wider than the pocket stands on its rim: the tool must stand out by the depth
    assert floor.reach.stick_out_mm == pytest.approx(15.0, abs=0.02)
    short = advisor.plan(filleted, job={"tool": [{**tool, "stick_out": 10}]}, lays_passes=False)
    (floor,) = [zone for zone in inside(short) if abs(zone.z_mm.min - 10) < 0.01]
    assert floor.reach is not None and floor.reach.shank_or_holder_share > 0.5


def test_a_flat_plate_has_nothing_to_say() -> None:
    plan = advisor.plan(part_of(*solids.stepped_block((10.0,), 60, 60)), ball="10 mm", lays_passes=False)
    assert plan.record.leftovers == ()
    assert all(zone.reach.share == 1.0 for zone in plan.zones if zone.reach)
    assert plan.record.setups[0].reached_share == pytest.approx(
        sum(z.area_mm2 for z in plan.zones if z.slope_class != "undercut") / plan.record.totals.area_mm2
    )


def slot(width: float, depth: float) -> MeasuredPart:
    """A block of 80 mm with a round-bottomed slot along x."""
    half = width / 2
    bottom = solids.arc((0.0, half), half, 180, 360, 0.005)
    section = [
        (-40.0, -10.0),
        (40.0, -10.0),
        (40.0, depth),
        (half, depth),
        *bottom[::-1],
        (-half, depth),
        (-40.0, depth),
    ]
    return part_of(*solids.extruded(np.array(section), 80.0, "x"))


def bottom_of(plan: advisor.Plan) -> advisor.model.Zone:
    (zone,) = [z for z in plan.zones if z.reach is not None and abs(z.z_mm.min) < 0.01]
    return zone


BLOCKED = {
    # a ball that rolls in the slot, its holder wider than that: it must stand out by the depth
    "holder": {"diameter": 8, "stick_out": 20, "holder": [{"diameter": 40, "length": 40}]},
    # a shank wider than the slot begins 12 mm over the tip: 18 mm of flute or neck are missing
    "shank": {"diameter": 8, "flute_length": 12, "shank_diameter": 12},
    "cutter": {"diameter": 14},
}


@pytest.mark.parametrize("what", ["holder", "shank", "cutter"])
def test_what_keeps_the_tool_off_is_told_with_what_would_do(what: str) -> None:
    plan = advisor.plan(
        slot(10.0, 30.0), job={"tool": [{"name": "ball", **BLOCKED[what]}], "zones": {"keep_together": True}},
        lays_passes=False,
    )  # fmt: skip
    zone = bottom_of(plan)
    assert zone.reach is not None and zone.advice is not None
    reach = zone.reach
    shares = {"cutter": reach.cutter_share, "shank": reach.shank_share, "holder": reach.holder_share}
    assert reach.held_back_by == what == max(shares, key=lambda name: shares[name])
    assert sum(shares.values()) == pytest.approx(1 - reach.share)
    assert reach.shank_or_holder_share == pytest.approx(reach.shank_share + reach.holder_share)
    words = " ".join(zone.advice.why)
    assert " ".join(reach.why) in words
    assert "  ".join(reach.why) in "  ".join(line.strip() for line in explain_lines(plan))
    if what == "holder":
        assert reach.stick_out_mm == pytest.approx(30.0, abs=0.05) and reach.shank_short_mm is None
        assert "The holder would touch" in words and "of 20 mm: with 30 mm or more" in words
    elif what == "shank":
        # its clearance of 0.5 mm goes round the shank, not below it
        assert reach.shank_short_mm == pytest.approx(18.0, abs=0.05)
        assert "Neck or shank would touch" in words and "longer by 18 mm" in words
    else:
        assert reach.shank_short_mm is None
        assert "The 14 mm ball" in words and reach.fit_diameter_mm == pytest.approx(10.0, rel=0.02)
        assert not zone.advice.usable and in_words(zone) == "smaller cutter" and "one of 10 mm would" in words


def test_a_pocket_tighter_than_the_ball_names_the_cutter(under_a_ball_of_10: advisor.Plan) -> None:
    plan = under_a_ball_of_10
    (fillet,) = [zone for zone in inside(plan) if zone.shape == "fillet"]
    assert fillet.reach is not None and fillet.advice is not None
    assert (fillet.reach.held_back_by, fillet.reach.cutter_share) == ("cutter", 1.0)
    assert fillet.advice.why[0] == (
        "The 10 mm ball does not get in on 100.0% of it without cutting elsewhere: "
        "one of 6 mm would, on nearly all of it."
    )
    land = next(zone for zone in plan.zones if zone.shape == "land")
    assert land.reach is not None and land.reach.held_back_by is None


def test_a_sheet_that_faces_away_all_over_is_told_so() -> None:
    vertices, faces = solids.wave()
    run = np.roll(vertices[faces], -1, axis=1) - vertices[faces]
    top = faces[np.cross(run[:, 0], run[:, 1])[:, 2] > 1e-6]
    facing = advisor.plan(part_of(vertices, top), ball="6 mm", lays_passes=False)
    assert all(zone.reach is not None for zone in facing.zones)
    assert not any("wound the wrong way" in warning for warning in facing.record.part.warnings)
    for plan in (
        advisor.plan(part_of(vertices, top[:, ::-1]), ball="6 mm", lays_passes=True),
        advisor.plan(part_of(vertices, top[:1, ::-1]), ball="6 mm", lays_passes=False),  # one facet
        advisor.plan(part_of(vertices, top), up="-Z", ball="6 mm", lays_passes=False),
    ):
        assert any("wound the wrong way" in warning for warning in plan.record.part.warnings)
        assert {zone.slope_class for zone in plan.zones} == {"undercut"}
        assert plan.record.setups[0].reached_share in (None, 0.0)
        assert any(caution.startswith("100% of the surface faces away") for caution in plan.record.cautions)
        assert advisor.model.plan_from_json(plan.to_json()) == plan.record


def of_tools(part: MeasuredPart, *tools: dict[str, object]) -> advisor.Plan:
    """A plan that finishes with the first of the tools."""
    stages = [{"name": "finish", "cusp": 0.005, "tool": tools[0]["name"]}]
    return advisor.plan(part, job={"tool": list(tools), "stage": stages}, lays_passes=False)


def test_the_same_ball_with_a_longer_stick_out_is_a_tool_of_its_own(filleted: MeasuredPart) -> None:
    ball = {"diameter": 4, "holder": [{"diameter": 50, "length": 40}]}
    short, long = {**ball, "name": "short", "stick_out": 8}, {**ball, "name": "long", "stick_out": 30}
    plans = {first["name"]: of_tools(filleted, first, other) for first, other in ((short, long), (long, short))}
    for plan in plans.values():
        assert plan.record.sequence is not None
        # the long one reaches all, the wall's outside too: whichever of them finishes, no other is needed
        assert [step.tool for step in plan.record.sequence.steps] == ["long"]
        assert plan.record.sequence.steps[0].area_mm2 == pytest.approx(
            sum(z.area_mm2 for z in plan.zones if z.slope_class != "undercut"), rel=1e-3
        )
    (floor,) = [zone for zone in inside(plans["short"]) if abs(zone.z_mm.min - 10) < 0.01]
    assert floor.reach is not None and floor.reach.largest_diameter_mm == 4.0
    assert "long, as wide, gets to all of it that any gets to." in floor.reach.why
    assert plans["long"].zones[0].reach is not None
    assert not any("as wide" in text for zone in plans["long"].zones if zone.reach for text in zone.reach.why)


def test_tools_that_differ_in_nothing_but_their_names_are_asked_once(filleted: MeasuredPart) -> None:
    job = {"tool": [{"name": name, "diameter": d} for name, d in (("a", 6), ("b", 4), ("c", 6), ("d", 4))]}
    job["stage"] = [{"name": "finish", "cusp": 0.005, "tool": "c"}]
    settings = resolve(filleted.mesh, job, part=filleted)
    assert [tool.name for tool in tools_asked(settings)] == ["c", "b"]


def test_bull_noses_with_other_corners_are_told_apart_and_called_so(filleted: MeasuredPart) -> None:
    sharp, round_, wide = (
        {"name": name, "kind": "bull", "diameter": d, "corner_radius": r}
        for name, d, r in (("sharp", 6, 0.5), ("round", 6, 2.0), ("wide", 8, 3.0))
    )
    for first, other in few_of([(round_, sharp)], [(sharp, round_), (round_, sharp)]):
        sequence = of_tools(filleted, first, other).record.sequence
        # both roll into the fillet of 3 mm; the step that leaves 5 um grows with the corner radius
        assert sequence is not None and sequence.steps[0].tool == "round"
        assert sequence.steps[0].area_mm2 > 0.98 * sum(step.area_mm2 for step in sequence.steps)
    told = [text for zone in of_tools(filleted, sharp, wide).zones if zone.reach for text in zone.reach.why]
    assert "A bull-nose of 8 mm would still fit." in told
    assert not any("A ball of" in text for text in told)


def test_the_largest_ball_outside_a_round_hangs_on_neither_tools_nor_facets() -> None:
    bulls = [{"name": f"d{d}", "kind": "bull", "diameter": d, "corner_radius": 0.5} for d in (6, 8)]
    for job in ({"tool": [{"diameter": 2}]}, {"tool": [{"diameter": 6}]}, {"tool": bulls}):
        plan = advisor.plan(part_of(*solids.cylinder(30.0, 20.0, 0.03)), job=job, lays_passes=False)
        wall = next(zone for zone in plan.zones if zone.slope_class == "steep")
        assert wall.reach is not None and (wall.reach.fit_diameter_mm, wall.reach.fit_share) == (50.0, 1.0)


@pytest.mark.parametrize(("lean_deg", "ball"), [
    (0.5, "6 mm"), (0.9, "0.2 mm"), more(0.5, "1 mm"), more(0.5, "0.2 mm"), more(0.9, "6 mm"), more(0.9, "1 mm"),
])  # fmt: skip
def test_walls_that_lean_over_by_a_hair_ask_for_another_set_up(lean_deg: float, ball: str) -> None:
    """A block of 40 mm, 20 high, narrower below: its walls are steep by class, and no ball gets down there."""
    low = 20 - 20 * tan(radians(lean_deg))
    plan = advisor.plan(frustum(low, 20.0, 20.0), ball=ball, cusp="0.005 mm", lays_passes=False)
    wall = next(zone for zone in plan.zones if zone.slope_class == "steep")
    assert wall.advice is not None and wall.reach is not None and not wall.advice.usable
    words = " ".join(wall.advice.why)
    assert in_words(wall) == "another set-up" and "another set-up" in words
    assert "smaller" not in words and "No ball gets to it along this axis" in words
    # three quarters of the block are walls and underside
    walls = 4 * (low + 20) * 20 / cos(radians(lean_deg))
    hidden = (walls + 4 * low**2) / (walls + 4 * low**2 + 1600)
    (caution,) = [text for text in plan.record.cautions if "needs another set-up" in text]
    assert int(caution.split("%")[0]) == pytest.approx(100 * hidden, abs=1.0)


def test_what_leans_over_of_a_zone_is_not_left_to_a_smaller_ball() -> None:
    """A block, its walls upright above and leaning over by half a degree below 10 mm."""
    low = 20 - 10 * tan(radians(0.5))
    profile = ((low, 0.0), (20.0, 10.0), (20.0, 20.0))
    plan = advisor.plan(frustums(*profile), ball="6 mm", cusp="0.005 mm", lays_passes=False)
    wall = next(zone for zone in plan.zones if zone.slope_class == "steep")
    assert wall.reach is not None and 0.4 < wall.reach.cutter_share < 0.55
    words = " ".join(wall.reach.why)
    assert "no ball, however small, gets to most of that along this axis" in words and "must follow" not in words


def frustum(low_mm: float, high_mm: float, height_mm: float) -> MeasuredPart:
    """A square block of half widths `low_mm` at the foot and `high_mm` at the top."""
    return frustums((low_mm, 0.0), (high_mm, height_mm))


def frustums(*profile: tuple[float, float]) -> MeasuredPart:
    """Square frustums on one another, from (half width, height) below to that above."""
    square = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])
    vertices = np.vstack([np.column_stack([half * square, np.full(4, height)]) for half, height in profile])
    top = 4 * (len(profile) - 1)
    faces = [(0, 2, 1), (0, 3, 2), (top, top + 1, top + 2), (top, top + 2, top + 3)]
    for base in range(0, top, 4):
        for k in range(4):
            a, b = base + k, base + (k + 1) % 4
            faces += [(a, b, b + 4), (a, b + 4, a + 4)]
    return part_of(vertices, np.array(faces))
