"""The words of a zone card: what the plan says of one zone, in the job's own unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from advisor.advice.choose import in_words
from advisor.model import SLOPE_CLASSES, Advice, PlanRecord, Range, Zone
from advisor.pack.picture_key import class_ranges
from advisor.part.frame import height_word
from advisor.units import MM_PER_UNIT
from advisor.words import plain_number

# Neighbours that are named; the rest are counted.
_MOST_NEIGHBOURS: Final = 3
_UM_PER_INCH: Final = 1000.0 * MM_PER_UNIT["inch"]


@dataclass(frozen=True)
class Card:
    """A zone card: a heading, facts as label and value, and reasons as sentences."""

    zone: Zone
    title: str
    facts: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]


def zone_card(record: PlanRecord, zone: Zone) -> Card:
    """The card of a zone of a plan."""
    inches = _in_inches(record)
    facts = _surface_facts(record, zone, inches)
    reasons: tuple[str, ...] = ()
    if zone.advice is not None:
        facts += [("strategy", in_words(zone))]
        reasons = zone.advice.why
        if zone.advice.usable:
            facts += _advice_facts(record, zone.advice, inches)
    return Card(zone, f"Zone {zone.id}", tuple(facts), reasons)


def _in_inches(record: PlanRecord) -> bool:
    return any(setting.name == "unit" and setting.value == "inch" for setting in record.settings)


def _surface_facts(record: PlanRecord, zone: Zone, inches: bool) -> list[tuple[str, str]]:
    slope = zone.slope_deg
    total = sum(other.area_mm2 for other in record.zones) or 1.0
    facts = [
        ("class", _classes(record, zone)),
        ("area", f"{_area(zone.area_mm2, inches)}, {_share(zone.area_mm2 / total)} of the part"),
        ("slope", f"{_angles(slope.min, slope.max)}, mean {slope.mean:.0f}°"),
    ]
    if round(slope.p05) != round(slope.min) or round(slope.p95) != round(slope.max):
        facts.append(("mostly", f"{_angles(slope.p05, slope.p95)} (nine tenths of it)"))
    facts.append(_heights(zone.z_mm, record.setups[zone.setup].tool_axis, inches))
    if zone.neighbours:
        facts.append(("next to", _neighbours(zone)))
    return facts


def _heights(z_mm: Range, axis: tuple[float, float, float], inches: bool) -> tuple[str, str]:
    """Where the zone lies along its tool axis: in X, Y or Z of the part where that is one of them."""
    word, times = height_word(axis)
    ends = sorted((times * z_mm.min + 0.0, times * z_mm.max + 0.0))
    return word, _lengths(Range(*ends), inches)


def _advice_facts(record: PlanRecord, advice: Advice, inches: bool) -> list[tuple[str, str]]:
    tool = record.tools[advice.tool]
    facts = [("cutter", f"{tool.kind} Ø {_length(tool.diameter_mm, inches)}, {advice.stage}")]
    if advice.stepover_mm is not None:
        facts.append(("stepover", f"{_length(advice.stepover_mm, inches)} along the surface"))
    if advice.z_step_mm is not None:
        facts.append(("Z-step", _length(advice.z_step_mm, inches)))
    if advice.line_spacing_mm is not None:
        facts.append(("line spacing", f"{_length(advice.line_spacing_mm, inches)} in plan"))
    if advice.direction_deg is not None:
        facts.append(("direction", f"{advice.direction_deg:.0f}° from +X"))
    facts.append(("cusp", _cusp(advice, inches)))
    if advice.contact_diameter_mm is not None:
        facts.append(("contact", f"Ø {_lengths(advice.contact_diameter_mm, inches, 3)}"))
    if advice.tip_contact_share is not None:
        facts.append(("near the tip", f"{_share(advice.tip_contact_share)} of the zone"))
    return facts + _motion_facts(advice, inches)


def _motion_facts(advice: Advice, inches: bool) -> list[tuple[str, str]]:
    """Spindle, feed, tilt and minutes, as far as they are known."""
    facts: list[tuple[str, str]] = []
    if advice.spindle_rpm is not None and advice.surface_speed_m_per_min is not None:
        per_m, unit = (1 / 0.3048, "ft/min") if inches else (1.0, "m/min")
        low, high = advice.surface_speed_m_per_min.min * per_m, advice.surface_speed_m_per_min.max * per_m
        facts.append(("spindle", f"{advice.spindle_rpm:,.0f} rev/min; {low:.0f} to {high:.0f} {unit} at the contact"))
    if advice.feed_mm_per_min is not None:
        per_mm, unit = (1 / MM_PER_UNIT["inch"], "in/min") if inches else (1.0, "mm/min")
        slow = advice.corner_feed_mm_per_min
        corners = "" if slow is None else f", {plain_number(slow * per_mm)} in corners"
        facts.append(("feed", f"{plain_number(advice.feed_mm_per_min * per_mm)} {unit}{corners}"))
    if advice.tilt is not None:
        limit = "" if advice.tilt.allowed else ", more than the machine can"
        facts.append(("tilt", f"{advice.tilt.tilt_deg:.0f}°{limit}"))
    if advice.total_min is not None and advice.total_min_range is not None:
        low, high = advice.total_min_range
        facts.append(
            ("time", f"{plain_number(advice.total_min)} min ({plain_number(low)} to {plain_number(high)}), this stage")
        )
    return facts


def _cusp(advice: Advice, inches: bool) -> str:
    cusp = advice.cusp_um
    words = []
    if cusp.max is not None:
        words.append(f"{_height(cusp.max, inches)} at most")
    if cusp.target is not None:
        words.append(f"{_height(cusp.target, inches)} asked")
    return ", ".join(words) or "surface is left uncut"


def _neighbours(zone: Zone) -> str:
    named = [f"{near.zone} ({near.joint})" for near in zone.neighbours[:_MOST_NEIGHBOURS]]
    more = len(zone.neighbours) - len(named)
    return ", ".join(named) + (f" and {more} more" if more else "")


def _classes(record: PlanRecord, zone: Zone) -> str:
    """The class with its range; of a zone kept together over several, what each has of it."""
    areas = {name: getattr(zone.class_area_mm2, name) for name in SLOPE_CLASSES}
    several = [name for name in SLOPE_CLASSES if areas[name] > 0]
    if len(several) < 2:
        return _with(zone.slope_class, class_ranges(record)[zone.slope_class])
    return ", ".join(f"{name} {_share(areas[name] / zone.area_mm2)}" for name in several)


def _with(words: str, more: str) -> str:
    return f"{words}, {more}" if more else words


def _share(share: float) -> str:
    if 0.0 < share < 0.005:
        return "less than 1 %"
    return f"{100.0 * share:.0f} %"


def _angles(low: float, high: float) -> str:
    first, last = f"{low:.0f}°", f"{high:.0f}°"
    return first if first == last else f"{first} to {last}"


def _area(area_mm2: float, inches: bool) -> str:
    if inches:
        return f"{_digits(area_mm2 / MM_PER_UNIT['inch'] ** 2)} in²"
    return f"{_digits(area_mm2)} mm²"


def _length(length_mm: float, inches: bool) -> str:
    return f"{plain_number(length_mm / MM_PER_UNIT['inch'])} in" if inches else f"{plain_number(length_mm)} mm"


def _height(height_um: float, inches: bool) -> str:
    return f"{height_um / _UM_PER_INCH:.2g} in" if inches else f"{plain_number(height_um)} µm"


def _lengths(span: Range, inches: bool, digits: int = 4) -> str:
    low, high = (value / MM_PER_UNIT["inch"] if inches else value for value in (span.min, span.max))
    unit = "in" if inches else "mm"
    first, last = _digits(low, digits), _digits(high, digits)
    return f"{first} {unit}" if first == last else f"{first} to {last} {unit}"


def _digits(number: float, digits: int = 4) -> str:
    return f"{number:,.0f}" if abs(number) >= 1000 else f"{0.0 if abs(number) < 1e-6 else number:.{digits}g}"
