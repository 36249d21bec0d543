"""Candidates at other stepovers: through their own numbers, by the laws of cusps, and as laid passes turn out."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
import solids
from hypothesis import given, settings
from hypothesis import strategies as st
from zone_makers import patch_zones, surfaces_of

import advisor
from advisor.advice.candidates import Cover, candidate, covers
from advisor.advice.complete import Accuracy, ZoneExtent, completed
from advisor.advice.conditions import StageConditions, zone_conditions
from advisor.advice.lines import best_direction_deg, lines_at
from advisor.advice.step_curve import STEP_SHARES, step_curve
from advisor.advice.target import StageTarget
from advisor.advice.zone_surface import ZoneSurface
from advisor.cutter.cutter import Cutter
from advisor.cutter.materials import material_named
from advisor.job import Machine, Stage, Tool
from advisor.model import Advice, StepPoint
from advisor.part.heal import heal
from advisor.part.measured import MeasuredPart, measure_part
from advisor.part.smooth import smooth_surface
from advisor.zones.classes import Thresholds
from advisor.zones.patches import ZoneRule

UP = np.array([0.0, 0.0, 1.0])
EXTENT = ZoneExtent(height_mm=30.0, rim_mm=200.0)
SHAPES = ("cap", "cone", "bowl", "block")


@cache
def zones(shape: str) -> tuple[ZoneSurface, ...]:
    """Surfaces of more than 100 mm2 of a part."""
    mesh = {
        "cap": solids.spherical_cap(50.0, 60.0, 10.0, chord_error_mm=0.05),
        "cone": solids.cone(40, 10, 60, chord_error_mm=0.05),
        "bowl": solids.bowl(chord_error_mm=0.05),
        "block": solids.stepped_block((10,), 100, 100),
    }[shape]
    part = heal(*mesh, "part").mesh
    smooth = smooth_surface(part)
    zoning = patch_zones(part, smooth, UP, ZoneRule(Thresholds(5.0, 45.0, 0.5), 0.01, 0.1, 0.1))
    found = surfaces_of(part, smooth, zoning, UP)
    return tuple(zone for zone in found if zone.total_mm2 > 100 and zone.slope_deg.max() < 91)


def stage_of(target: StageTarget, material: str | None) -> StageConditions:
    known = None if material is None else material_named(material)
    tool = Tool(name="ball", diameter=target.cutter.diameter_mm, flutes=2)
    return StageConditions(target, tool, Stage(name="finish", cusp=0.005), known, Machine(), depth_mm=0.1)


def told(surface: ZoneSurface, stage: StageConditions) -> list[tuple[Advice, Cover]]:
    """Usable candidates of a zone and the families they come from."""
    lines = lines_at(surface, stage.target.cutter, best_direction_deg(surface, stage.target))
    families = covers(surface, stage.target, lines)
    pairs = [(candidate(surface, stage.target, family), family) for family in families]
    conditions = zone_conditions(surface, stage, 0.0, has_inside_corner=False)
    accuracy = Accuracy(None, 10.0, None)
    made = [(completed(c, surface, EXTENT, stage, conditions, accuracy), family) for c, family in pairs]
    return [(advice, family) for advice, family in made if advice.usable]


def curve(advice: Advice, family: Cover, surface: ZoneSurface, stage: StageConditions) -> tuple[StepPoint, ...]:
    conditions = zone_conditions(surface, stage, 0.0, has_inside_corner=False)
    return step_curve(advice, family, surface, EXTENT, stage, conditions)


@settings(max_examples=40)
@given(
    st.sampled_from(SHAPES), st.floats(0.0005, 0.05), st.floats(4.0, 16.0), st.sampled_from((None, "Ti-6Al-4V")),
    st.floats(0.3, 3.0),
)  # fmt: skip
def test_closer_passes_leave_less_and_take_longer_and_one_point_is_the_candidate(
    shape: str, cusp_mm: float, ball_mm: float, material: str | None, measured: float
) -> None:
    stage = stage_of(StageTarget("finish", Cutter(ball_mm, ball_mm / 2), 0, cusp_mm, None), material)
    for surface in zones(shape):
        for advice, family in told(surface, stage):
            # as if passes had been laid that need and leave otherwise than the sums say
            cusp = replace(advice.cusp_um, p95=(advice.cusp_um.p95 or 1.0) / measured)
            minutes = None if advice.total_min is None else advice.total_min * measured
            laid = replace(advice, cusp_um=cusp, path_mm=advice.path_mm * measured, total_min=minutes, is_laid=True)
            points = curve(laid, family, surface, stage)
            assert [point for point in points if point.is_laid] == [
                StepPoint(laid.stepover_mm, cusp.p95, laid.path_mm, laid.feed_mm_per_min, minutes, True)
            ]
            for close, wide in pairwise(points):
                assert close.stepover_mm < wide.stepover_mm
                assert close.cusp_p95_um < wide.cusp_p95_um and close.path_mm > wide.path_mm
                if material is not None:
                    assert close.total_min > wide.total_min and close.feed_mm_per_min >= wide.feed_mm_per_min
            # what was measured moves the whole curve, and does not bend it
            for one, other in zip(points, curve(advice, family, surface, stage), strict=True):
                assert one.cusp_p95_um == pytest.approx(other.cusp_p95_um / measured)
                assert one.path_mm == pytest.approx(other.path_mm * measured)


def test_on_a_plane_a_curve_is_that_of_a_ball_on_a_flat() -> None:
    """Height R - sqrt(R^2 - s^2 / 4) and path A / s at every step: closed forms."""
    stage = stage_of(StageTarget("finish", Cutter(10.0, 5.0), 0, 0.01, None), None)
    (floor,) = (zone for zone in zones("block") if zone.slope_deg.max() < 1)
    for advice, family in told(floor, stage):
        points = curve(advice, family, floor, stage)
        assert len(points) == len(STEP_SHARES)
        for point in points:
            step = point.stepover_mm
            assert point.cusp_p95_um == pytest.approx(1000 * (5 - np.sqrt(25 - step**2 / 4)), rel=1e-6)
            assert point.path_mm == pytest.approx(floor.total_mm2 / step, rel=1e-9)
            assert point.total_min is None and point.feed_mm_per_min is None and not point.is_laid


def test_steps_at_which_passes_no_longer_meet_are_left_out() -> None:
    """A step of 6 mm with a ball of 10: twice as much is more than the ball is wide."""
    stage = stage_of(StageTarget("finish", Cutter(10.0, 5.0), 0, None, 6.0), None)
    (floor,) = (zone for zone in zones("block") if zone.slope_deg.max() < 1)
    for advice, family in told(floor, stage):
        steps = [point.stepover_mm for point in curve(advice, family, floor, stage)]
        assert steps == pytest.approx([3.0, 4.2, 6.0, 8.4])


@cache
def pocket() -> MeasuredPart:
    healed = heal(*solids.round_pocket(20, 4.0, 15, chord_error_mm=0.01), "part")
    return measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)


@cache
def laid_at(cusp_um: float) -> advisor.Plan:
    job = {"material": "Ti-6Al-4V", "tool": [{"name": "ball 6", "diameter": "6 mm", "flutes": 2}]}
    return advisor.plan(pocket(), job, cusp=f"{cusp_um} um", lays_passes=True)


def test_a_curve_foretells_what_passes_laid_further_apart_need_and_leave() -> None:
    """Four times the cusp is twice the step on a flat, but for its square in the cusp."""
    own, wide = laid_at(10.0), laid_at(40.0)
    assert [zone.name for zone in own.zones] == [zone.name for zone in wide.zones]
    asked = 0
    for zone, other in zip(own.zones, wide.zones, strict=True):
        for advice, really in zip(zone.candidates, other.candidates, strict=True):
            if not (advice.is_laid and really.is_laid):
                continue
            foretold = advice.step_curve[-1]
            assert foretold.stepover_mm == pytest.approx(really.stepover_mm, rel=0.01)
            assert foretold.feed_mm_per_min == pytest.approx(really.feed_mm_per_min, rel=0.01)
            assert foretold.path_mm == pytest.approx(really.path_mm, rel=0.03)
            assert foretold.total_min == pytest.approx(really.total_min, rel=0.04)
            assert foretold.cusp_p95_um == pytest.approx(really.cusp_um.p95, rel=0.06)
            asked += 1
    assert asked >= 4


def test_curves_are_told_with_the_candidates_alone() -> None:
    plan = laid_at(10.0)
    for zone in plan.zones:
        assert all(not step.step_curve for step in (zone.advice, *zone.steps))
        for advice in zone.candidates:
            assert bool(advice.step_curve) == advice.usable
            if advice.usable:
                (own,) = (point for point in advice.step_curve if point.is_laid)
                assert (own.cusp_p95_um, own.path_mm, own.total_min, own.stepover_mm) == (
                    advice.cusp_um.p95, advice.path_mm, advice.total_min, advice.stepover_mm,
                )  # fmt: skip
