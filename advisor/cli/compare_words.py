"""What the screen says of two plans beside each other. Lengths are in the unit of B's job."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import zip_longest

from advisor.advice.choose import IN_WORDS
from advisor.model import Plan
from advisor.pack.lengths import LengthUnit, length_unit
from advisor.revision.records import ChangedPlace, Comparison, FieldChange, Registration, Value, ZoneChange
from advisor.units import UM_PER_MM
from advisor.words import counted, plain_number

_MOST_PLACES, _MOST_ZONES = 10, 20
# Distances below this are rounding, and not told.
_ROUNDING_UM = 0.01
_ARROW = "->"
# Fields in the words of the trade; what is not here is its own name without the unit.
_FIELD_WORDS = {
    "slope_class": "class", "z_step_mm": "Z-step", "line_spacing_mm": "line spacing", "direction_deg": "direction",
    "tool_kind": "cutter", "tool_diameter_mm": "cutter diameter", "cusp_target_um": "cusp asked", "ra_um": "Ra",
    "spindle_rpm": "spindle", "feed_mm_per_min": "feed", "reachable_share": "reached",
    "concave_radius_mm": "tightest hollow", "area_mm2": "area",
    "usable": "can be cut", "tool_axis": "tool axis",
}  # fmt: skip

# What the columns of minutes tell already.
_TOLD_BY_MINUTES = ("path_mm", "cutting_min", "total_min")


def comparison_lines(told: Comparison, plan_a: Plan, plan_b: Plan, names: tuple[str, str]) -> Iterator[str]:
    """The whole answer, a line at a time."""
    unit = length_unit(plan_b.record)
    yield f"A: {names[0]}"
    yield f"B: {names[1]}"
    yield _registration_line(told, unit)
    yield from _surface_lines(told, unit)
    yield from _zone_lines(told, plan_a, plan_b, unit)
    yield from _setting_lines(told)
    yield from _total_lines(told)
    for note in told.notes:
        yield f"Note: {note}"
    yield _verdict(told)


def move_words(registration: Registration, unit: LengthUnit) -> str:
    """How A must be moved to lie on B, such as ``turn 90 deg about Z, shift X 10, Y -2.5 mm``."""
    words = []
    if registration.turn_deg >= 5e-4:
        words.append(f"turn {_number(registration.turn_deg, 3)} deg about {_axis_words(registration.axis)}")
    decimals = 4 if unit.is_inch else 3
    shift = [
        f"{axis} {_number(value / unit.mm, decimals)}"
        for axis, value in zip("XYZ", registration.shift_mm, strict=True)
        if round(value / unit.mm, decimals)
    ]
    if shift:
        words.append(f"shift {', '.join(shift)} {unit.sign}")
    return ", ".join(words) or f"shift of less than {_number(10.0**-decimals, decimals)} {unit.sign}"


def _registration_line(told: Comparison, unit: LengthUnit) -> str:
    lying = told.registration
    if not lying.is_searched:
        words = "compared as they lie"
    elif lying.is_mirror_image and not lying.is_moved:
        words = "B is a mirror image of A; compared as they lie"
    elif lying.is_moved:
        words = f"A lies on B after: {move_words(lying, unit)}"
    else:
        words = "A lies on B as it is"
    residual = ""
    if lying.residual_um is not None and lying.residual_um > _ROUNDING_UM:
        residual = f"; what is unchanged lies within {_length(lying.residual_um / UM_PER_MM, unit)} rms"
    return f"Lie: {words}{residual}."


def _axis_words(axis: Sequence[float]) -> str:
    for name, value in zip("XYZ", axis, strict=True):
        if abs(value) > 1.0 - 1e-8:
            return name if value > 0 else f"-{name}"
    return f"({', '.join(_number(value, 4) for value in axis)})"


def _surface_lines(told: Comparison, unit: LengthUnit) -> Iterator[str]:
    surface, within = told.surface, _length(told.tolerance.tolerance_mm, unit)
    if not surface.places:
        yield f"Surface: the same within {within}{_tolerance_words(told, unit)}."
        return
    depths = []
    if surface.taken_mm:
        depths.append(f"up to {_length(surface.taken_mm, unit)} taken away")
    if surface.added_mm:
        depths.append(f"up to {_length(surface.added_mm, unit)} added")
    volume = ""
    if surface.volume_mm3 is not None:
        sign = "+" if surface.volume_mm3 > 0 else ""
        volume = f", volume {sign}{plain_number(surface.volume_mm3 / unit.mm**3)} {unit.sign}3"
    places = counted(len(surface.places), "place")
    yield f"Surface: changed at {places} by more than {within}{_tolerance_words(told, unit)}:"
    yield (
        f"  {surface.gone_share:.2%} of A is gone, {surface.new_share:.2%} of B is new, {', '.join(depths)}{volume}."
    )
    rows: list[tuple[str, ...]] = [
        ("place", f"gone {unit.sign}2", f"new {unit.sign}2", "taken", "added", "middle", "size", "zones A", "B")
    ]
    rows += [_place_cells(place, unit) for place in surface.places[:_MOST_PLACES]]
    yield from _table(rows, {5, 6, 7, 8})
    if len(surface.places) > _MOST_PLACES:
        yield f"  + {len(surface.places) - _MOST_PLACES} smaller ones, all in --json"


def _tolerance_words(told: Comparison, unit: LengthUnit) -> str:
    parts = told.tolerance
    if parts.chord_a_mm is None or parts.chord_b_mm is None or parts.job_mm is None:
        return ""
    job = f"the job's {_length(parts.job_mm, unit)} and " if parts.job_mm else ""
    chords = (_length(parts.chord_a_mm, unit), _length(parts.chord_b_mm, unit))
    return f" ({job}the facets' {chords[0]} and {chords[1]})"


def _place_cells(place: ChangedPlace, unit: LengthUnit) -> tuple[str, ...]:
    decimals = 3 if unit.is_inch else 1
    return (
        str(place.id),
        plain_number(place.gone_mm2 / unit.mm**2),
        plain_number(place.new_mm2 / unit.mm**2),
        plain_number(place.taken_mm / unit.mm),
        plain_number(place.added_mm / unit.mm),
        " ".join(_number(value / unit.mm, decimals) for value in place.centre_mm),
        " x ".join(_number(value / unit.mm, decimals) for value in place.size_mm),
        _numbers(place.zones_a),
        _numbers(place.zones_b),
    )


def _zone_lines(told: Comparison, plan_a: Plan, plan_b: Plan, unit: LengthUnit) -> Iterator[str]:
    kinds = [zone.kind for zone in told.zones]
    counts = [f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(sorted(kinds, key=_KINDS.index))]
    yield f"Zones: {', '.join(counts)}."
    shown = [zone for zone in told.zones if zone.kind != "same"]
    if not shown:
        return
    rows: list[tuple[str, ...]] = [("zone A", "B", "what", "cause", "name", f"area {unit.sign}2", "min", "by")]
    details: list[str] = [""]
    # where the axis of all is turned a note says so
    untold = {*_TOLD_BY_MINUTES, *(("tool_axis",) if told.registration.tool_axis_deg > 0.0 else ())}
    for zone in shown[:_MOST_ZONES]:
        rows.append(_zone_cells(zone, plan_a, plan_b, unit))
        details.append(_zone_details(zone, unit, untold))
    for line, detail in zip(_table(rows, {0, 1, 2, 3, 4}), details, strict=True):
        yield line
        if detail:
            yield f"      {detail}"
    if len(shown) > _MOST_ZONES:
        yield f"  + {len(shown) - _MOST_ZONES} more, all in --json"


_KINDS = ("same", "changed", "added", "removed", "split", "merged", "redrawn")


def _zone_cells(zone: ZoneChange, plan_a: Plan, plan_b: Plan, unit: LengthUnit) -> tuple[str, ...]:
    plan, number = (plan_b, zone.zones_b[0]) if zone.zones_b else (plan_a, zone.zones_a[0])
    named = next(one for one in plan.zones if one.id == number)
    area = zone.area_b_mm2 if zone.area_b_mm2 is not None else zone.area_a_mm2
    minutes = zone.total_min_b if zone.zones_b else zone.total_min_a
    return (
        _numbers(zone.zones_a),
        _numbers(zone.zones_b),
        zone.kind,
        zone.cause or "",
        unit.height_words(named),
        "-" if area is None else plain_number(area / unit.mm**2),
        "-" if minutes is None else _minutes(minutes),
        "" if zone.total_min_difference is None else _signed_minutes(zone.total_min_difference),
    )


def _zone_details(zone: ZoneChange, unit: LengthUnit, untold: set[str]) -> str:
    words = []
    if zone.shift_mm is not None:
        shift = [
            f"{axis} {plain_number(value / unit.mm)}"
            for axis, value in zip("XYZ", zone.shift_mm, strict=True)
            if abs(value) > 1e-3
        ]
        words.append(f"moved {', '.join(shift)} {unit.sign}")
    words += [_field_words(field, unit) for field in zone.fields if field.name not in untold]
    return "; ".join(words)


def _field_words(field: FieldChange, unit: LengthUnit) -> str:
    name, sign, per = field.name, "", 1.0
    for ending, its_sign, its_per in (
        ("_mm_per_min", f"{unit.sign}/min", 1 / unit.mm), ("_mm2", f"{unit.sign}2", 1 / unit.mm**2),
        ("_mm", unit.sign, 1 / unit.mm), ("_min", "min", 1.0), ("_deg", "deg", 1.0), ("_rpm", "rpm", 1.0),
    ):  # fmt: skip
        if name.endswith(ending):
            name, sign, per = name.removesuffix(ending), its_sign, its_per
            break
    if field.name.endswith("_um"):
        name, sign, per = name.removesuffix("_um"), *(("in", 1 / unit.mm / UM_PER_MM) if unit.is_inch else ("um", 1.0))
    if field.name.endswith("_share"):
        name, sign, per = name.removesuffix("_share"), "%", 100.0
    called = _FIELD_WORDS.get(field.name, name.replace("_", " "))
    told = [_value_words(value, per) for value in (field.a, field.b)]
    return f"{called} {told[0]} {_ARROW} {told[1]}{f' {sign}' if sign else ''}"


def _value_words(value: Value, per: float) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return IN_WORDS.get(value, value)  # type: ignore[call-overload,no-any-return]
    return plain_number(value * per)


def _setting_lines(told: Comparison) -> Iterator[str]:
    if not told.settings:
        yield "Settings: the same."
        return
    yield "Settings:"
    for setting in told.settings:
        yield f"  {setting.name}: {setting.a or 'none'} {_ARROW} {setting.b or 'none'}"


def _total_lines(told: Comparison) -> Iterator[str]:
    totals = told.totals
    total = totals.total_min
    if total.a is None and total.b is None:
        yield "Minutes: not known (no material)."
        return
    if total.a is None or total.b is None or total.difference is None:
        known = "B" if total.a is None else "A"
        yield f"Minutes: known of {known} alone, {_minutes(total.a or total.b or 0.0)} in all stages."
        return
    stages = [
        f"{name} {_signed_minutes(stage.difference)}"
        for name, stage in totals.total_min_by_stage.items()
        if stage.difference is not None
    ]
    shown = f" ({', '.join(stages)})" if len(stages) > 1 else ""
    yield (
        f"Minutes: {_minutes(total.a)} {_ARROW} {_minutes(total.b)} in all stages, "
        f"{_signed_minutes(total.difference)}{shown}."
    )


def _verdict(told: Comparison) -> str:
    if not told.is_changed:
        moved = ", but it lies elsewhere" if told.registration.is_moved else ""
        return f"Nothing changed{moved}."
    again = [number for zone in told.zones if zone.cause == "surface" for number in zone.zones_b]
    if not again:
        return "Changed: no surface, but settings or advice."
    if len(again) == 1:
        return f"Changed: zone {again[0]} of B has another surface, its program is to be looked at."
    listed = ", ".join(map(str, sorted(again)))
    return f"Changed: zones {listed} of B have another surface, their programs are to be looked at."


def _table(rows: list[tuple[str, ...]], left: set[int]) -> Iterator[str]:
    """Lines of a table: columns of words from the left, of numbers from the right."""
    widths = [max(map(len, column)) for column in zip_longest(*rows, fillvalue="")]
    for row in rows:
        cells = [
            cell.ljust(width) if place in left else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield ("  " + "  ".join(cells)).rstrip()


def _numbers(numbers: Sequence[int]) -> str:
    return ",".join(map(str, numbers)) or "-"


def _length(length_mm: float, unit: LengthUnit) -> str:
    return f"{plain_number(length_mm / unit.mm)} {unit.sign}"


def _number(value: float, decimals: int) -> str:
    return f"{round(value, decimals) + 0.0:.{decimals}f}".rstrip("0").rstrip(".") if decimals else f"{value:.0f}"


def _minutes(minutes: float) -> str:
    return f"{minutes:,.0f}" if minutes >= 100 else f"{minutes:.1f}"


def _signed_minutes(minutes: float | None) -> str:
    told = round(minutes or 0.0, 1) + 0.0
    return f"{told:+,.1f}" if told else "0"
