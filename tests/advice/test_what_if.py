"""The what-if: its rows are plans, its laws are those of passes, and one zone is followed from map to map."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
import solids
import trimesh
from asked_for import few_of
from hypothesis import given, settings
from hypothesis import strategies as st

import advisor
from advisor.advice.what_if_records import WhatIf, WhatIfRow
from advisor.advice.what_if_words import answer_lines, table_lines
from advisor.errors import InputError
from advisor.intake.read import read_part
from advisor.model import Plan
from advisor.part.heal import heal
from advisor.part.measured import MeasuredPart, measure_part

METAL = "Ti-6Al-4V"
LISTED = {
    "material": METAL,
    "tool": [
        {"name": "long", "diameter": "10 mm", "flutes": 4},
        {"name": "short", "diameter": "6 mm", "flutes": 3, "stick_out": "25 mm"},
    ],
    "stage": [
        {"name": "pre-finish", "cusp": "25 um", "stock_left": "0.1 mm"},
        {"name": "finish", "cusp": "5 um", "tool": "long"},
    ],
}


@cache
def part(name: str) -> MeasuredPart:
    mesh = {
        "wedge": lambda: solids.wedge(20.0),
        "pocket": lambda: solids.round_pocket(20.0, 8.0, 15.0),
        "bowl": lambda: solids.bowl(40.0, 60.0),
    }[name]()
    healed = heal(np.asarray(mesh[0], float), np.asarray(mesh[1]), name)
    return measure_part(healed, name=name, file=name, sha256="", unit="mm", unit_assumed=False)


def check_row_is_plan(row: WhatIfRow, plan: Plan) -> None:
    """Every number of a row is that of a plan on the same map."""
    assert [zone.id for zone in row.zones] == [zone.id for zone in plan.zones]
    for told, zone in zip(row.zones, plan.zones, strict=True):
        advice = zone.advice
        assert advice is not None
        assert (told.name, told.area_mm2, told.reachable_share) == (zone.name, zone.area_mm2, zone.reachable_share)
        left = 0.0 if zone.reach is None or zone.reach.leftover is None else zone.reach.leftover.area_mm2
        assert told.leftover_mm2 == left
        assert (told.chosen is not None) == advice.usable
        for way, one in zip(told.ways, zone.candidates, strict=True):
            assert (way.strategy, way.usable, way.stepover_mm) == (one.strategy, one.usable, one.stepover_mm)
            assert (way.path_mm, way.passes, way.lifts) == (one.path_mm, one.passes, one.lifts)
            assert (way.cutting_min, way.total_min) == (one.cutting_min, one.total_min)
            assert (way.cusp_p95_um, way.cusp_max_um) == (one.cusp_um.p95, one.cusp_um.max)
        if told.chosen is not None:
            assert (told.chosen.strategy, told.chosen.path_mm) == (advice.strategy, advice.path_mm)
    cut = [zone.advice for zone in plan.zones if zone.advice is not None and zone.advice.usable]
    assert row.path_mm == pytest.approx(math.fsum(advice.path_mm or 0.0 for advice in cut))
    assert row.total_min == pytest.approx(math.fsum(advice.total_min or 0.0 for advice in cut))
    assert row.cusp_p95_um == max(advice.cusp_um.p95 or math.inf for advice in cut)


@pytest.mark.parametrize("name", ["wedge", "pocket"])
def test_rows_are_the_plans_of_their_settings(name: str) -> None:
    asked = advisor.what_if(part(name), balls="6, 10 mm", cusps="3, 5, 8 um", material=METAL)
    assert [(row.ball_mm, row.cusp_asked_um) for row in asked.rows] == [(b, c) for b in (6, 10) for c in (3, 5, 8)]
    for row in asked.rows:
        plan = advisor.plan(
            part(name), ball=f"{row.ball_mm} mm", cusp=f"{row.cusp_asked_um} um", material=METAL, lays_passes=False
        )
        check_row_is_plan(row, plan)


def test_rows_by_laid_passes_are_plans_with_laid_passes() -> None:
    asked = advisor.what_if(part("pocket"), ball="6 mm", stepovers="0.6 mm", material=METAL, lays_passes=True)
    plan = advisor.plan(part("pocket"), ball="6 mm", stepover="0.6 mm", material=METAL, lays_passes=True)
    check_row_is_plan(asked.rows[0], plan)
    assert asked.is_laid and asked.rows[0].passes is not None and asked.rows[0].lifts is not None


def test_a_ball_that_the_job_lists_keeps_its_flutes_and_its_holder() -> None:
    asked = advisor.what_if(part("pocket"), LISTED, balls="6, 8, 10 mm", cusps="5 um")
    short, bare, long = asked.rows
    assert (short.tool, long.tool) == ("short", "long")
    finish = {**LISTED["stage"][1], "tool": "short"}
    check_row_is_plan(
        short, advisor.plan(part("pocket"), {**LISTED, "stage": [LISTED["stage"][0], finish]}, lays_passes=False)
    )
    check_row_is_plan(bare, advisor.plan(part("pocket"), LISTED, ball="8 mm", lays_passes=False))
    check_row_is_plan(long, advisor.plan(part("pocket"), LISTED, lays_passes=False))


@settings(max_examples=few_of(8, 15))
@given(st.lists(st.floats(0.05, 3.0), min_size=2, max_size=5, unique_by=lambda step: round(step, 3)))
def test_on_planes_path_falls_with_the_step_and_the_cusp_rises_with_its_square(steps: list[float]) -> None:
    asked = advisor.what_if(part("wedge"), ball="10 mm", stepovers=steps, material=METAL)
    for row, step in zip(asked.rows, sorted(steps), strict=True):
        # cusp between passes on a plane: R - sqrt(R^2 - s^2 / 4), exact geometry
        assert row.cusp_p95_um == pytest.approx(1000 * (5 - math.sqrt(25 - step**2 / 4)), rel=1e-9)
        assert row.cusp_p95_um == pytest.approx(1000 * step**2 / 40, rel=0.03)
        first = asked.rows[0]
        assert (row.path_mm or 0) * step == pytest.approx((first.path_mm or 0) * min(steps), rel=1e-9)
    for finer, coarser in zip(asked.rows, asked.rows[1:], strict=False):
        assert (finer.total_min or 0) > (coarser.total_min or 0)


def test_a_larger_ball_is_quicker_for_a_cusp_and_minutes_fall_on_curved_parts_too() -> None:
    rows = advisor.what_if(part("bowl"), balls="6, 8, 10, 12 mm", cusps="2, 5, 10 um", material=METAL).rows
    minutes = np.array([row.total_min for row in rows]).reshape(4, 3)
    assert (np.diff(minutes, axis=0) < 0).all() and (np.diff(minutes, axis=1) < 0).all()
    # nothing asked: a range about the target, which is in it
    usual = advisor.what_if(part("bowl"), ball="6 mm", cusp="10 um")
    assert [row.cusp_asked_um for row in usual.rows] == pytest.approx([4, 6, 10, 16, 24])


def test_the_quickest_row_within_the_target_is_told_with_its_neighbours() -> None:
    asked = advisor.what_if(part("bowl"), ball="10 mm", cusp="5 um", cusps="2, 3, 5, 8 um", material=METAL)
    assert asked.quickest is not None and asked.rows[asked.quickest].cusp_asked_um == pytest.approx(5)
    finer, best, coarser = (row.total_min or 0 for row in asked.rows[1:])
    lines = answer_lines(asked)
    assert lines[0].startswith("Quickest within 5 um for ")
    assert f"3 um instead of 5: {finer - best:,.0f} min more." in lines
    assert f"8 um instead of 5: {best - coarser:,.0f} min less, out of the target." in lines
    # a target below all that is asked
    none = advisor.what_if(part("bowl"), ball="10 mm", cusp="1 um", cusps="2, 3 um")
    assert none.quickest is None and answer_lines(none)[0].startswith("No row is within 1 um: the finest,")
    assert "say the material" in answer_lines(none)[-1]


def test_a_job_that_asks_for_a_step_has_the_cusp_of_that_step_as_its_target() -> None:
    asked = advisor.what_if(part("wedge"), ball="10 mm", stepover="0.5 mm")
    assert asked.asked == "stepover" and asked.target_cusp_um == pytest.approx(6.254, abs=5e-4)
    assert asked.quickest is not None and asked.rows[asked.quickest].stepover_asked_mm == pytest.approx(0.5)


def test_a_quicker_ball_that_leaves_more_over_is_told_but_not_taken() -> None:
    asked = advisor.what_if(part("pocket"), balls="6, 24 mm", cusps="5 um", cusp="5 um", material=METAL)
    small, large = asked.rows
    assert large.reached_mm2 < 0.97 * small.reached_mm2
    assert asked.quickest == 0
    assert any(line.startswith("The 24 mm ball instead:") and "left to another cutter" in line
               for line in answer_lines(asked))  # fmt: skip


def sampled_share(zone_plan: Plan, zone: int, other: Plan, found: int) -> float:
    """Share of a zone's area that lies in a zone of another plan: slow, by points on it and the nearest facet."""
    facets = zone_plan.facets
    rows = np.flatnonzero(facets.zone == zone)
    rng = np.random.default_rng(4)
    corners = facets.vertices[facets.faces[rows]]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    picked = corners[rng.choice(len(rows), 4000, p=area / area.sum())]
    weight = rng.dirichlet((1, 1, 1), 4000)
    points = np.einsum("kc,kcx->kx", weight, picked)
    solid = trimesh.Trimesh(other.facets.vertices, other.facets.faces, process=False)
    _, _, nearest = trimesh.proximity.closest_point(solid, points)
    return float((other.facets.zone[nearest] == found).mean())


def test_a_zone_is_followed_to_the_map_of_another_ball(demo_parts) -> None:
    cup = read_part(demo_parts / "fruit_cup_tool.stl")
    own, other = (advisor.plan(cup, ball=ball, only_zones=True) for ball in ("10 mm", "12 mm"))
    for zone in few_of((2, 11), (2, 4, 11)):
        row = advisor.what_if(cup, ball="10 mm", balls="12 mm", cusps="5 um", zone=zone).rows[0]
        (told,) = row.zones
        assert told.same_share == pytest.approx(sampled_share(own, zone, other, told.id), abs=0.02)
        # the numbers of the map of the other ball
        assert told.area_mm2 == other.zones[told.id - 1].area_mm2
    shared = advisor.what_if(cup, ball="10 mm", balls="10, 12 mm", cusps="5 um", zone=2)
    assert shared.rows[0].zones[0].same_share == pytest.approx(1.0)
    assert "of the zone lie in its zone 2" in answer_lines(shared)[-1]


def test_one_zone_has_the_numbers_it_has_among_all() -> None:
    every = advisor.what_if(part("pocket"), ball="6 mm", cusps="3, 5 um", material=METAL)
    for zone in (1, 3, 4):
        one = advisor.what_if(part("pocket"), ball="6 mm", cusps="3, 5 um", material=METAL, zone=zone)
        for row, whole in zip(one.rows, every.rows, strict=True):
            told = next(each for each in whole.zones if each.id == zone)
            assert (row.zones[0].ways, row.zones[0].chosen) == (told.ways, told.chosen)


def test_the_table_is_aligned_and_in_the_unit_of_the_job() -> None:
    asked = advisor.what_if(part("pocket"), balls="6, 10 mm", cusps="0.00001 in, 0.0002 in", unit="inch", zone=1)
    lines = table_lines(asked)
    assert lines[0].startswith("ball in cusp in strategy")
    assert "0.0002" in lines[2] and " min " not in lines[0], "no column for what nobody knows"
    at = lines[0].index("target")
    assert {line[at - 1] for line in lines} == {" "}
    assert all(line[at:] in ("target", "quickest", "within", "over") for line in lines)


@pytest.mark.parametrize(
    ("asked", "line"),
    [
        ({"stepovers": "0.2 mm", "cusps": "3 um"}, "--stepovers and --cusps: both are given"),
        ({"stepovers": "-0.2 mm"}, "--stepovers: '-0.2 mm' is not above zero"),
        ({"stepovers": "0.2, , 0.3"}, "--stepovers: '' is not a length"),
        ({"cusps": "much"}, "--cusps: 'much' is not a length"),
        ({"cusps": []}, "--cusps: holds no length"),
        ({"cusps": "5"}, "--cusps: a cusp of 5 mm is more than the 6 mm ball can leave"),
        ({"balls": "2, 10 mm", "stepovers": "3 mm"}, "--stepovers: a stepover of 3 mm is more than the 2 mm ball"),
        ({"balls": "0 mm"}, "--balls: '0 mm' is not above zero"),
        ({"balls": "0.001 mm"}, "--balls: stage 'pre-finish' asks for a cusp of 0.025 mm"),
        ({"zone": 0}, "--zone: there is no zone 0; the plan has 4 zones"),
        ({"zone": 9}, "--zone: there is no zone 9"),
        ({"zone": 2}, "--zone: zone 2 is not finished by a ball"),
        ({"cusps": [n / 1e6 for n in range(1, 500)]}, "--balls and --cusps: ask for 499 rows"),
    ],
)
def test_what_cannot_be_asked_is_told_in_one_line(asked: dict[str, object], line: str) -> None:
    with pytest.raises(InputError) as fault:
        advisor.what_if(part("pocket"), ball="6 mm", **asked)  # type: ignore[arg-type]
    assert str(fault.value).startswith(line) and "\n" not in str(fault.value)


def test_several_set_ups_are_refused() -> None:
    with pytest.raises(InputError, match="one set-up"):
        advisor.what_if(part("pocket"), {"setups": "fewest"})


def test_what_if_is_a_public_record() -> None:
    assert advisor.WhatIf is WhatIf
