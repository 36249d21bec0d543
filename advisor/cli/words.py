"""What the screen says of a plan: a table of zones and the lines around it."""

from __future__ import annotations

import math
from itertools import zip_longest

from advisor.advice.choose import in_words
from advisor.before_model import PlannedBefore
from advisor.model import Part, Plan, Zone
from advisor.units import MM_PER_UNIT
from advisor.words import counted, plain_number

_MOST_ROWS = 20
_MOST_ALIKE_ZONES = 8
# A narrow screen may shorten names to this many letters, nothing else.
_SHORTEST_NAME = 6
# Digits a person reads behind the point of a size; small parts get more, to show three digits that count.
_SIZE_DECIMALS = {"mm": 1, "in": 2}
_HEADINGS = ("zone", "class", "name", "area {unit}2", "strategy", "apart {unit}", "min")
_NAME_COLUMN = _HEADINGS.index("name")
_TEXT_COLUMNS = frozenset(_HEADINGS.index(heading) for heading in ("class", "name", "strategy"))


def part_line(plan: Plan) -> str:
    """Size in the job's unit, and facets."""
    part, (unit, per_mm) = plan.record.part, _screen_unit(plan)
    sizes = [size * per_mm for size in part.size_mm]
    decimals = max(_SIZE_DECIMALS[unit], 2 - math.floor(math.log10(max(sizes))))
    told = " x ".join(_short(size, decimals) for size in sizes)
    return f"{told} {unit}, {counted(part.facets, 'facet')}"


def mend_lines(part: Part) -> list[str]:
    """Repairs and warnings, a line each."""
    mended = [f"mended: {repair.what}: {repair.count}" for repair in part.repairs]
    return mended + [f"note: {warning}" for warning in part.warnings]


def zone_lines(plan: Plan, width: int) -> list[str]:
    """Zones with their advice under their headings, largest first, in the job's unit.

    Names are shortened where lines would be wider than `width` columns; numbers never are.
    """
    from rich.cells import cell_len

    unit, per_mm = _screen_unit(plan)
    shown = plan.zones[:_MOST_ROWS]
    rows = [tuple(heading.format(unit=unit) for heading in _HEADINGS), *(_cells(zone, per_mm) for zone in shown)]
    if len(plan.zones) > _MOST_ROWS:
        rows.append(("", "", f"+ {len(plan.zones) - _MOST_ROWS} in zones.csv"))
    widths = [max(map(cell_len, column)) for column in zip_longest(*rows, fillvalue="")]
    others = sum(widths) - widths[_NAME_COLUMN] + len(widths) - 1
    widths[_NAME_COLUMN] = min(widths[_NAME_COLUMN], max(width - others, _SHORTEST_NAME))
    return [_line(row, widths) for row in rows]


def before_lines(before: PlannedBefore | None) -> list[str]:
    """What a library has that is alike."""
    if before is None:
        return []
    if not before.parts and not before.zones:
        return [f"Nothing in {before.library} is alike."]
    lines = [
        f"Planned before: {part.file} is alike within {_percent(part.difference_share)}: {before.library}/{part.folder}"
        for part in before.parts
    ]
    own = {part.file for part in before.parts[:1]}  # its zones are those of the part most alike: told once
    others = [zone for zone in before.zones if zone.file not in own]
    inside = len(before.zones) - len(others)
    if inside:
        lines.append(f"  {inside} of its zones are alike here; the pairs are in plan.json.")
    lines += [
        f"  zone {zone.zone} is like zone {zone.like_zone} ({zone.like_zone_name}) of {zone.file}, "
        f"within {_percent(zone.difference_share)}"
        for zone in others[:_MOST_ALIKE_ZONES]
    ]
    if len(others) > _MOST_ALIKE_ZONES:
        lines.append(f"  + {len(others) - _MOST_ALIKE_ZONES} zones in plan.json")
    lines.append("  Alike by size and shape, or mirror images: a hint to look, no proof.")
    return lines


def _percent(share: float) -> str:
    return f"{max(100.0 * share, 0.1):.1f} %"


def reach_lines(plan: Plan) -> list[str]:
    """What the finishing cutter leaves over, and which tools would finish it all."""
    unit, per_mm = _screen_unit(plan)
    record = plan.record
    lines = []
    if len(record.setups) > 1:
        for number, setup in enumerate(record.setups):
            ids = [zone.id for zone in record.zones if zone.setup == number]
            axis = ", ".join(plain_number(round(value, 3) + 0.0) for value in setup.tool_axis)
            share = "" if setup.reached_share is None else f", reaches {setup.reached_share:.0%} of the surface"
            lines.append(f"{setup.name.capitalize()}: tool axis ({axis}), zones {min(ids)} to {max(ids)}{share}.")
    if record.leftovers:
        area = sum(place.area_mm2 for place in record.leftovers) * per_mm**2
        highest = max(place.max_um for place in record.leftovers) / 1000 * per_mm
        count = len(record.leftovers)
        lines.append(
            f"Left over by the finishing cutter: {count} {'place' if count == 1 else 'places'}, "
            f"{plain_number(area)} {unit}2, {plain_number(highest)} {unit} high at most."
        )
    sequence = record.sequence
    if sequence is not None and len(sequence.steps) > 1:
        wide = [tool.diameter_mm for tool in record.tools]
        called = [
            step.tool if wide.count(step.diameter_mm) > 1 else f"{plain_number(step.diameter_mm * per_mm)} {unit}"
            for step in sequence.steps
        ]
        steps = ", then ".join(
            f"{tool} on {plain_number(step.area_mm2 * per_mm**2)} {unit}2"
            for tool, step in zip(called, sequence.steps, strict=True)
        )
        minutes = "" if sequence.minutes is None else f": {_minute_words(sequence.minutes)} min"
        lines.append(f"All that any cutter reaches is finished soonest with {steps}{minutes}.")
    return lines


def unit_note(plan: Plan) -> str | None:
    """What a reader in inches must know of the table."""
    return "Z in names of zones is in mm." if _screen_unit(plan)[0] == "in" else None


def total_line(plan: Plan) -> str | None:
    """Minutes of all stages, as a range; nothing where they are not known."""
    span = plan.record.totals.total_min_range
    if span is None:
        return None
    low, high = (_minute_words(minutes) for minutes in span)
    return f"About {low} to {high} minutes in all stages, part handling and tool changes not counted."


def _screen_unit(plan: Plan) -> tuple[str, float]:
    """Short name of the unit on the screen, and how many of it make a mm."""
    unit = next(setting.value for setting in plan.record.settings if setting.name == "unit")
    return ("in", 1 / MM_PER_UNIT["inch"]) if unit == "inch" else ("mm", 1.0)


def _cells(zone: Zone, per_mm: float) -> tuple[str, ...]:
    area = plain_number(zone.area_mm2 * per_mm**2)
    return str(zone.id), zone.slope_class, zone.name, area, in_words(zone), _apart(zone, per_mm), _minutes(zone)


def _line(row: tuple[str, ...], widths: list[int]) -> str:
    from rich.cells import cell_len, set_cell_size

    cells = []
    for place, (words, width) in enumerate(zip(row, widths, strict=False)):
        if cell_len(words) > width:
            cells.append(set_cell_size(words, width - 1) + "…")
        elif place in _TEXT_COLUMNS:
            cells.append(set_cell_size(words, width))
        else:
            cells.append(" " * (width - cell_len(words)) + words)
    return " ".join(cells).rstrip()


def _minutes(zone: Zone) -> str:
    known = [step.total_min for step in zone.steps if step.usable and step.total_min is not None]
    return _minute_words(sum(known)) if known else "-"


def _minute_words(minutes: float) -> str:
    return f"{minutes:,.0f}" if minutes >= 10 else f"{minutes:.1f}"


def _short(value: float, decimals: int) -> str:
    """A number without zeros at its end."""
    words = f"{value:.{decimals}f}"
    return words.rstrip("0").rstrip(".") if "." in words else words


def _apart(zone: Zone, per_mm: float) -> str:
    """How far passes are apart: Z along the tool axis, XY in plan, or along the surface."""
    advice = zone.advice
    if advice is None or not advice.usable:
        return "-"
    if advice.z_step_mm is not None:
        return f"Z {plain_number(advice.z_step_mm * per_mm)}"
    if advice.line_spacing_mm is not None:
        return f"XY {plain_number(advice.line_spacing_mm * per_mm)}"
    return "-" if advice.stepover_mm is None else plain_number(advice.stepover_mm * per_mm)
