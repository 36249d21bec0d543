"""What the plan says of reach, leftover, stick-out and tools, on parts whose answers follow from their drawing."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
import solids

import advisor
from advisor.part.heal import heal
from advisor.part.measured import MeasuredPart, measure_part


def part_of(vertices: np.ndarray, faces: np.ndarray) -> MeasuredPart:
    healed = heal(vertices, faces, "part")
    return measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)


@pytest.fixture(scope="module")
def filleted() -> MeasuredPart:
    """Round pocket of radius 20, 15 deep, with a foot of 3 mm."""
    return part_of(*solids.round_pocket(20, 3.0, 15, chord_error_mm=0.005))


def inside(plan: advisor.Plan) -> list[advisor.model.Zone]:
    return [zone for zone in plan.zones if zone.reach is not None and 9.9 < zone.z_mm.min < 24]


def test_a_ball_larger_than_the_fillet_leaves_what_the_drawing_says(filleted: MeasuredPart) -> None:
    plan = advisor.plan(filleted, ball="10 mm", lays_passes=False)
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
