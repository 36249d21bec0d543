"""What differs between a zone before and after: its surface, and what the plans say of it, field by field."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.advice.totals import sum_or_none
from advisor.model import Advice, Plan, Zone
from advisor.part.frame import plan_axes
from advisor.revision.motion import Motion
from advisor.revision.places import Gathered
from advisor.revision.records import Cause, FieldChange, Value, ZoneChange, ZoneKind
from advisor.revision.side import CompareSide
from advisor.revision.zone_match import ZoneMatch, shift_of
from advisor.words import plain_number

# Numbers of two plans that differ by less than this are one number: another export of a part differs by as much.
LIKE_NUMBERS = 0.02
# But for the tightest hollow, which is told by the bends of a few facets.
_LIKE_RADII = 0.1
# Shares differ by more than this of the whole, angles by more than so many degrees.
_LIKE_SHARES = 0.05
_LIKE_DEG = 1.0
# Directions of lines are one where they differ by a half turn.
_HALF_TURN_DEG = 180.0

_OF_SURFACE = ("shape", "area_mm2", "concave_radius_mm")
_OF_ZONES = ("slope_class", "reachable_share")
_OF_ADVICE = (
    "usable", "strategy", "stepover_mm", "line_spacing_mm", "z_step_mm", "spindle_rpm", "feed_mm_per_min", "ra_um",
    "path_mm", "cutting_min", "total_min",
)  # fmt: skip


@dataclass(frozen=True)
class Told:
    """Both plans as they are compared: A lies on B by the motion.

    ``elsewhere`` is where a difference comes from that is not in a zone's own surface.
    """

    plan_a: Plan
    plan_b: Plan
    side_a: CompareSide
    side_b: CompareSide
    motion: Motion
    gathered: Gathered
    tolerance_mm: float
    elsewhere: Cause


def zone_changes(told: Told, matches: list[ZoneMatch]) -> tuple[ZoneChange, ...]:
    """What became of every zone, in the order of the matches."""
    gone = _changed_mm2(told.side_a, told.gathered.change_a.is_changed)
    new = _changed_mm2(told.side_b, told.gathered.change_b.is_changed)
    in_places_a = {zone for place in told.gathered.places for zone in place.zones_a}
    in_places_b = {zone for place in told.gathered.places for zone in place.zones_b}
    return tuple(_change(told, match, gone, new, in_places_a, in_places_b) for match in matches)


def _changed_mm2(side: CompareSide, is_changed: NDArray[np.bool_]) -> NDArray[np.float64]:
    area = np.where(is_changed, side.pieces.area_mm2, 0.0)
    told = np.bincount(np.maximum(side.piece_zone, 0), area, minlength=side.last_zone + 1)
    return told.astype(np.float64)


def _change(
    told: Told,
    match: ZoneMatch,
    gone: NDArray[np.float64],
    new: NDArray[np.float64],
    in_places_a: set[int],
    in_places_b: set[int],
) -> ZoneChange:
    before, after = _zones(told.plan_a, match.zones_a), _zones(told.plan_b, match.zones_b)
    on_surface = bool(in_places_a & set(match.zones_a) or in_places_b & set(match.zones_b))
    fields: tuple[FieldChange, ...] = ()
    shift = None
    if len(before) == len(after) == 1:
        fields = field_changes(told, before[0], after[0], on_surface=on_surface)
        shift = shift_of(told.side_a, told.side_b, match, told.tolerance_mm) if on_surface else None
    differs = on_surface or bool(fields) or len(before) != 1 or len(after) != 1
    cause: Cause | None = "surface" if on_surface else told.elsewhere if differs else None
    if cause == "around" and {field.name for field in fields} == {"direction_deg"}:
        cause = "facets"  # of directions that are as good as each other rounding picks one
    minutes_a, minutes_b = _minutes(before), _minutes(after)
    return ZoneChange(
        _kind(match, cause),
        match.zones_a,
        match.zones_b,
        (after or before)[0].name,
        cause,
        math.fsum(zone.area_mm2 for zone in before) if before else None,
        math.fsum(zone.area_mm2 for zone in after) if after else None,
        float(gone[list(match.zones_a)].sum()),
        float(new[list(match.zones_b)].sum()),
        None if shift is None else (float(shift[0]), float(shift[1]), float(shift[2])),
        minutes_a,
        minutes_b,
        None if minutes_a is None or minutes_b is None else minutes_b - minutes_a,
        fields,
    )


def _kind(match: ZoneMatch, cause: Cause | None) -> ZoneKind:
    if not match.zones_a:
        return "added"
    if not match.zones_b:
        return "removed"
    if len(match.zones_a) > 1 and len(match.zones_b) > 1:
        return "redrawn"
    if len(match.zones_a) > 1:
        return "merged"
    if len(match.zones_b) > 1:
        return "split"
    return "same" if cause in (None, "facets") else "changed"


def _zones(plan: Plan, numbers: tuple[int, ...]) -> list[Zone]:
    by_number = {zone.id: zone for zone in plan.zones}
    return [by_number[number] for number in numbers]


def _minutes(zones: list[Zone]) -> float | None:
    """Minutes of all stages; None where there are none, or those of one are not known."""
    return sum_or_none(step.total_min for zone in zones for step in zone.steps if step.usable)


def field_changes(told: Told, before: Zone, after: Zone, *, on_surface: bool) -> tuple[FieldChange, ...]:
    """What the plans say otherwise of one zone; of its shape only where its surface changed."""
    names = (*_OF_SURFACE, *_OF_ZONES) if on_surface else _OF_ZONES
    changes = [_field(name, getattr(before, name), getattr(after, name)) for name in names]
    changes.append(_tool_axis(told, before, after))
    if before.advice is not None and after.advice is not None:
        changes += _tool_fields(told, before.advice, after.advice)
        changes += [_field(name, getattr(before.advice, name), getattr(after.advice, name)) for name in _OF_ADVICE]
        changes += [_direction(told, before, after)]
    return tuple(change for change in changes if change is not None)


def _tool_fields(told: Told, before: Advice, after: Advice) -> list[FieldChange | None]:
    one, other = told.plan_a.record.tools[before.tool], told.plan_b.record.tools[after.tool]
    return [
        _field("tool_kind", one.kind, other.kind),
        _field("tool_diameter_mm", one.diameter_mm, other.diameter_mm),
        _field("cusp_target_um", before.cusp_um.target, after.cusp_um.target),
    ]


def _field(name: str, one: Value, other: Value) -> FieldChange | None:
    return None if _is_one(name, one, other) else FieldChange(name, one, other)


def _is_one(name: str, one: Value, other: Value) -> bool:
    if isinstance(one, float | int) and isinstance(other, float | int) and not isinstance(one, bool):
        if name.endswith("_share"):
            return abs(one - other) <= _LIKE_SHARES
        share = _LIKE_RADII if name.endswith("_radius_mm") else LIKE_NUMBERS
        return one == other or abs(one - other) <= share * max(abs(one), abs(other))
    return one == other


def _tool_axis(told: Told, before: Zone, after: Zone) -> FieldChange | None:
    """The tool axis of the zone's set-up, that of A as it lies on B, in words."""
    one = told.motion.matrix @ np.asarray(told.plan_a.record.setups[before.setup].tool_axis)
    other = np.asarray(told.plan_b.record.setups[after.setup].tool_axis)
    if angle_between_deg(one, other) <= _LIKE_DEG:
        return None
    return FieldChange("tool_axis", axis_words(one), axis_words(other))


def angle_between_deg(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Angle between two directions, 0 to 180."""
    return math.degrees(math.atan2(float(np.linalg.norm(np.cross(one, other))), float(one @ other)))


def axis_words(axis: NDArray[np.float64]) -> str:
    """A direction as a job names it, such as ``0, 0, 1``."""
    return ", ".join(plain_number(round(float(value), 3)) for value in axis)


def _direction(told: Told, before: Zone, after: Zone) -> FieldChange | None:
    """The direction of parallel lines, that of A as it lies on B."""
    assert before.advice is not None and after.advice is not None
    one, other = before.advice.direction_deg, after.advice.direction_deg
    if one is None or other is None:
        return None
    x, y = plan_axes(np.asarray(told.plan_a.record.setups[before.setup].tool_axis))
    along = told.motion.matrix @ (math.cos(math.radians(one)) * x + math.sin(math.radians(one)) * y)
    x, y = plan_axes(np.asarray(told.plan_b.record.setups[after.setup].tool_axis))
    moved = math.degrees(math.atan2(float(along @ y), float(along @ x))) % _HALF_TURN_DEG
    gap = abs(moved - other) % _HALF_TURN_DEG
    if min(gap, _HALF_TURN_DEG - gap) <= _LIKE_DEG:
        return None
    return FieldChange("direction_deg", moved, other)
