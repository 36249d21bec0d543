"""The one door: two plans become what changed between them."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from advisor.model import Plan, PlanRecord
from advisor.revision.motion import STILL, Motion
from advisor.revision.places import Gathered, gather
from advisor.revision.plan_change import are_like_totals, setting_changes, totals_change
from advisor.revision.records import (
    SCHEMA,
    Cause,
    Comparison,
    Registration,
    SurfaceChange,
    ToleranceUsed,
    TotalsChange,
    ZoneChange,
)
from advisor.revision.registration import ALL_SHARE, Found, mirror_share, register, unchanged_share
from advisor.revision.side import CompareSide, side_of
from advisor.revision.surface_change import PieceChange, piece_change
from advisor.revision.zone_change import Told, angle_between_deg, zone_changes
from advisor.revision.zone_match import match_zones
from advisor.units import UM_PER_MM
from advisor.words import counted

# Below this share of the size nothing is told apart: single precision of a file that was moved, and its corners' welds.
_ROUNDING_SHARE = 1e-5
# A move that carries nothing further than the tolerance is none; nor is a turn of the tool axis below this.
_NO_TURN_DEG = 0.02
# Less of the surface in common than this is worth a word.
_WORTH_TELLING = 0.5
_TOLERANCE = re.compile(r"([0-9.eE+-]+) mm")


@dataclass(frozen=True)
class Compared:
    """The answer, and what pictures of it need: both surfaces as they lie on each other, and what of them changed."""

    record: Comparison
    motion: Motion
    side_a: CompareSide
    side_b: CompareSide
    change_a: PieceChange
    change_b: PieceChange


def compare_plans(plan_a: Plan, plan_b: Plan, *, tolerance_mm: float | None = None, registers: bool = True) -> Compared:
    """What changed from plan A to plan B.

    Parameters
    ----------
    plan_a, plan_b : Plan
    tolerance_mm : float, optional
        Within which surfaces count as the same. Left out, the tolerance of the job (the smaller one) and the
        estimated chord errors of both parts.
    registers : bool
        Look for how B lies against A; otherwise they are compared as they lie.
    """
    lying_a, side_b = side_of(plan_a), side_of(plan_b)
    used = tolerance_used(plan_a.record, plan_b.record, side_b, tolerance_mm)
    found, still_share, mirrored = _found(lying_a, side_b, used.tolerance_mm, registers=registers)
    side_a = lying_a if found.motion is STILL else lying_a.moved(found.motion)
    change_a = piece_change(side_a, side_b, used.tolerance_mm)
    change_b = piece_change(side_b, side_a, used.tolerance_mm)
    matches = match_zones(side_a, side_b, change_a, change_b)
    gathered = gather(side_a, side_b, change_a, change_b, used.tolerance_mm)
    registration = _registration(plan_a, plan_b, side_b, gathered, found, still_share, mirrored, registers)
    settings = setting_changes(plan_a.record, plan_b.record)
    is_same_model = plan_a.record.part.sha256 == plan_b.record.part.sha256 and found.motion is STILL
    elsewhere: Cause = "settings"
    if not settings and registration.tool_axis_deg == 0.0 and not is_same_model:
        elsewhere = "around" if gathered.places else "facets"
    told = Told(plan_a, plan_b, side_a, side_b, found.motion, gathered, used.tolerance_mm, elsewhere)
    zones = zone_changes(told, matches)
    totals = totals_change(plan_a, plan_b)
    is_changed = bool(
        gathered.places or settings or registration.tool_axis_deg > 0.0 or not are_like_totals(totals)
        or any(zone.cause not in (None, "facets") for zone in zones)
    )  # fmt: skip
    record = Comparison(
        SCHEMA,
        plan_a.record.part.name,
        plan_b.record.part.name,
        is_changed,
        is_same_model,
        used,
        registration,
        _surface(told),
        zones,
        settings,
        totals,
        _notes(told, registration, zones, totals),
    )
    return Compared(record, found.motion, side_a, side_b, gathered.change_a, gathered.change_b)


def tolerance_used(a: PlanRecord, b: PlanRecord, side: CompareSide, given_mm: float | None = None) -> ToleranceUsed:
    """The tolerance given, or the sum of the job's and of what facets leave; never less than rounding."""
    least = _ROUNDING_SHARE * side.mesh.reach_mm
    if given_mm is not None:
        return ToleranceUsed(max(given_mm, least), None, None, None)
    jobs = [told for told in (_job_tolerance_mm(a), _job_tolerance_mm(b)) if told is not None]
    job = min(jobs, default=0.0)
    chord_a, chord_b = ((record.part.chord_error_um or 0.0) / UM_PER_MM for record in (a, b))
    return ToleranceUsed(max(job + chord_a + chord_b, least), job, chord_a, chord_b)


def _job_tolerance_mm(record: PlanRecord) -> float | None:
    for setting in record.settings:
        match = _TOLERANCE.fullmatch(setting.value) if setting.name == "tolerance" else None
        if match is not None:
            return float(match[1])
    return None


def _found(
    a: CompareSide, b: CompareSide, tolerance_mm: float, *, registers: bool
) -> tuple[Found, float, float | None]:
    """The move, the share that lies on the other without it, and that of the mirror image where it is better."""
    still = unchanged_share(a, b, STILL, tolerance_mm)
    if not registers:
        return Found(STILL, still), still, None
    found = register(a, b, tolerance_mm)
    mirrored = None
    if found.unchanged_share < ALL_SHARE:
        mirrored = mirror_share(a, b, tolerance_mm, found.unchanged_share)
    if found.motion.farthest_mm(a.mesh.vertices) <= tolerance_mm:
        found = Found(STILL, still)
    return found, still, mirrored


def _registration(
    plan_a: Plan, plan_b: Plan, side_b: CompareSide, gathered: Gathered, found: Found, still_share: float,
    mirrored: float | None, registers: bool,
) -> Registration:  # fmt: skip
    motion, lying = found.motion, gathered.change_b
    turn_deg = motion.turn_deg if motion is not STILL else 0.0
    same = ~lying.is_changed & np.isfinite(lying.distance_mm)
    weight = side_b.pieces.area_mm2[same]
    residual = None
    if weight.sum() > 0.0:
        residual = UM_PER_MM * math.sqrt(float(np.average(lying.distance_mm[same] ** 2, weights=weight)))
    axis_a = motion.matrix @ np.asarray(plan_a.record.setups[0].tool_axis)
    leaning = angle_between_deg(axis_a, np.asarray(plan_b.record.setups[0].tool_axis))
    x, y, z = (float(value) for value in motion.axis)
    right, ahead, up = (float(value) + 0.0 for value in motion.shift_mm)
    return Registration(
        registers, motion is not STILL, turn_deg, (x, y, z), (right, ahead, up), found.unchanged_share, still_share,
        residual, mirrored is not None, mirrored, leaning if leaning > _NO_TURN_DEG else 0.0,
    )  # fmt: skip


def _surface(told: Told) -> SurfaceChange:
    gathered: Gathered = told.gathered
    gone = math.fsum(place.gone_mm2 for place in gathered.places)
    new = math.fsum(place.new_mm2 for place in gathered.places)
    area_a, area_b = float(told.side_a.mesh.area_mm2.sum()), float(told.side_b.mesh.area_mm2.sum())
    volume_a, volume_b = told.plan_a.record.part.volume_mm3, told.plan_b.record.part.volume_mm3
    return SurfaceChange(
        area_a, area_b, gone, gone / area_a, new, new / area_b,
        max((place.added_mm for place in gathered.places), default=0.0),
        max((place.taken_mm for place in gathered.places), default=0.0),
        None if volume_a is None or volume_b is None else volume_b - volume_a,
        gathered.places,
    )  # fmt: skip


def _notes(
    told: Told, registration: Registration, zones: tuple[ZoneChange, ...], totals: TotalsChange
) -> tuple[str, ...]:
    """What a reader must know before using the numbers, in plain sentences."""
    notes = []
    if registration.is_mirror_image and registration.mirror_share is not None:
        notes.append(
            f"B is a mirror image of A on {registration.mirror_share:.1%} of its surface: no turn or shift lays one on "
            "the other, and passes of A cannot be copied so."
        )
    if registration.unchanged_share < _WORTH_TELLING and not registration.is_mirror_image:
        notes.append(
            f"Only {registration.unchanged_share:.0%} of the surfaces lie on each other: these may be different parts."
        )
    if registration.tool_axis_deg > 0.0:
        notes.append(
            f"The tool axis of B is turned by {registration.tool_axis_deg:.3g} deg on the part: zones and passes are "
            "those of another set-up."
        )
    if not totals.is_like_counted:
        notes.append(
            "Minutes of one plan are those of laid passes, of the other estimated: their difference is not that of the "
            "work."
        )
    by_facets = [zone for zone in zones if zone.cause == "facets"]
    if by_facets:
        notes.append(
            f"{counted(len(by_facets), 'zone')} of the same surface {'is' if len(by_facets) == 1 else 'are'} told "
            "otherwise because the facets of the two models differ: no change of the part."
        )
    if told.plan_a.record.version != told.plan_b.record.version:
        notes.append(
            f"The plans were made by versions {told.plan_a.record.version} and {told.plan_b.record.version} of the "
            "program: advice may differ for that."
        )
    return tuple(notes)
