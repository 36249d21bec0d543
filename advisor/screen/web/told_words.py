"""What the page says of a plan: settings as they stand, zones, sums, what was decided by hand, and a zone's card."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from advisor.advice.choose import IN_WORDS, in_words
from advisor.advice.session import Session, state_key
from advisor.advice.settings import Settings
from advisor.cutter.materials import all_materials
from advisor.model import Advice, Plan, Zone
from advisor.pack.card import zone_card
from advisor.pack.lengths import LengthUnit, length_unit
from advisor.pack.maps import modes_of
from advisor.units import MM_PER_UNIT, UM_PER_MM
from advisor.words import counted, plain_number

_MODE_WORDS: Final = {
    "class": "slope class", "zone": "zone", "strategy": "strategy", "slope": "slope", "minutes": "minutes",
    "reach": "where the cutter gets", "ball": "largest ball that fits", "leftover": "material left over",
    "stick_out": "stick-out needed", "cusp": "cusp of the passes",
}  # fmt: skip
_MM_PER_M: Final = 1000.0


@dataclass(frozen=True)
class Sums:
    """What a plan comes to: its zones, all stages together. Minutes are None without a material."""

    zones: int
    path_m: float
    total_min: float | None
    low_min: float | None
    high_min: float | None


def sums_of(plan: Plan) -> Sums:
    """Sums of a plan."""
    totals = plan.record.totals
    path = math.fsum(step.path_mm or 0.0 for zone in plan.zones for step in zone.steps if step.usable)
    low, high = totals.total_min_range or (None, None)
    return Sums(len(plan.zones), path / _MM_PER_M, totals.total_min, low, high)


def plan_words(session: Session, plan: Plan, seen: Mapping[str, Sums]) -> dict[str, Any]:
    """All words of the page but the cards.

    Parameters
    ----------
    session : Session
    plan : Plan
        Of its state of now.
    seen : mapping
        Sums of the states that have been planned, by ``state_key``.
    """
    settings, record = session.settings(), plan.record
    unit = length_unit(record)
    zones = session.zones_of_entries()
    by_entry = _said_of_zones(session, zones)
    before = session.keys_before
    return {
        "part": {**part_words(plan, unit), "unit_open": record.part.unit_assumed or "unit" in session.keys},
        "notes": [*record.part.warnings, *record.cautions],
        "asked": asked(settings, plan),
        "zones": [_zone_row(zone, unit, by_entry.get(zone.id, {})) for zone in plan.zones],
        "sums": asdict(sums_of(plan)),
        "before": _sums(seen.get(state_key(before))) if before is not None else None,
        "first": _sums(seen.get(state_key(session.first_keys))) if session.can_undo else None,
        "entries": [_entry_words(*told) for told in zip(range(len(zones)), session.entries, zones, strict=True)],
        "undo": session.can_undo,
        "redo": session.can_redo,
        "proved": plan.passes is not None,
        "modes": [[mode, _MODE_WORDS[mode]] for mode in modes_of(plan)],
        "unit": {"sign": unit.sign, "mm": unit.mm},
    }


def _sums(sums: Sums | None) -> dict[str, Any] | None:
    return None if sums is None else asdict(sums)


def part_words(plan: Plan, unit: LengthUnit) -> dict[str, Any]:
    """Name and size of the part."""
    part = plan.record.part
    size = " x ".join(plain_number(size / unit.mm) for size in part.size_mm)
    closed = "closed" if part.watertight else "open"
    facets = counted(part.facets, "facet").replace(str(part.facets), f"{part.facets:,}")
    return {"name": part.name, "words": f"{size} {unit.sign}, {facets}, {closed}", "unit": part.unit,
            "assumed": part.unit_assumed}  # fmt: skip


def asked(settings: Settings, plan: Plan) -> dict[str, Any]:
    """Settings in force as the controls show them; lengths are mm, cusps um."""
    rules, machine, last = settings.job.zones, settings.job.machine, settings.stages[-1]
    steep = next(row for row in plan.record.settings if row.name == "steep_from")
    return {
        "flat_below": rules.flat_below,
        "steep_from": float(steep.value.removesuffix(" deg")),
        "steep_open": "steep_from" not in rules.model_fields_set,
        "wall": 90.0 + rules.wall_tolerance,
        "ball": last.tool.diameter,
        "kind": last.tool.kind,
        "cusp": None if last.target.cusp_mm is None else last.target.cusp_mm * UM_PER_MM,
        "stepover": last.target.step_mm,
        "flat_step": last.target.flat_step_mm,
        "material": None if last.material is None else last.material.name,
        "axes": machine.axes,
        "max_spindle": machine.max_spindle,
        "max_feed": machine.max_feed,
        "keep_together": rules.keep_together,
    }


def materials() -> list[str]:
    """Names of the shipped table."""
    return [material.name for material in all_materials()]


def _zone_row(zone: Zone, unit: LengthUnit, entry: Mapping[str, Any]) -> dict[str, Any]:
    steps = [step for step in zone.steps if step.usable]
    minutes = [step.total_min for step in steps]
    return {
        "id": zone.id,
        "name": unit.height_words(zone),
        "class": zone.slope_class,
        "setup": zone.setup,
        "area": f"{plain_number(zone.area_mm2 / unit.mm**2)} {unit.sign}²",
        "way": in_words(zone),
        "cut": bool(steps),
        "path_m": math.fsum(step.path_mm or 0.0 for step in steps) / _MM_PER_M,
        "min": math.fsum(minute or 0.0 for minute in minutes) if minutes and None not in minutes else None,
        "locked": entry.get("strategy"),
    }


def _said_of_zones(session: Session, zones: Sequence[int]) -> dict[int, dict[str, Any]]:
    """What the entries of the job say together, by zone of the plan."""
    told: dict[int, dict[str, Any]] = {}
    for entry, zone in zip(session.entries, zones, strict=True):
        told.setdefault(zone, {}).update({key: value for key, value in entry.items() if key != "at"})
    return told


def _entry_words(place: int, entry: Mapping[str, Any], zone: int) -> dict[str, Any]:
    said = []
    if entry.get("name"):
        said.append(f"called “{entry['name']}”")
    if entry.get("strategy"):
        said.append(f"held to {IN_WORDS[entry['strategy']]}")
    if entry.get("merge"):
        said.append(f"joined with {counted(len(entry['merge']), 'other')}")
    if entry.get("split"):
        said.append("taken apart by slope class")
    if entry.get("exclude"):
        said.append("left out")
    if entry.get("protect"):
        said.append("kept free of passes")
    who = f"Zone {zone}" if zone > 0 else f"The zone at {', '.join(_bare(value) for value in entry['at'])}"
    return {"place": place, "zone": zone, "words": f"{who}: {', '.join(said) or 'named'}."}


def _bare(value: Any) -> str:
    words = str(value).removesuffix(" mm")
    try:
        return plain_number(float(words))
    except ValueError:
        return words


def card_words(session: Session, plan: Plan, zone: Zone) -> dict[str, Any]:
    """The card of a zone, its candidates, and what was decided for it."""
    card, unit = zone_card(plan.record, zone), length_unit(plan.record)
    entry = _said_of_zones(session, session.zones_of_entries()).get(zone.id, {})
    return {
        "id": zone.id,
        "title": f"Zone {zone.id}",
        "name": unit.height_words(zone),
        "own_name": entry.get("name"),
        "facts": card.facts,
        "reasons": card.reasons,
        "locked": entry.get("strategy"),
        "protected": zone.is_protected,
        "candidates": [_candidate(told, zone, unit) for told in zone.candidates],
        "unit": unit.sign,
    }


def _candidate(told: Advice, zone: Zone, unit: LengthUnit) -> dict[str, Any]:
    chosen = zone.advice is not None and zone.advice.usable and zone.advice.strategy == told.strategy
    return {
        "strategy": told.strategy,
        "words": IN_WORDS[told.strategy],
        "usable": told.usable,
        "chosen": chosen,
        "stepover": None if told.stepover_mm is None else plain_number(told.stepover_mm / unit.mm),
        "passes": told.passes,
        "path_m": None if told.path_mm is None else told.path_mm / _MM_PER_M,
        "min": told.total_min,
        "cusp": None if told.cusp_um.max is None else plain_number(_height(told.cusp_um.max, unit)),
        "why": list(told.why[:1]),
    }


def _height(height_um: float, unit: LengthUnit) -> float:
    return height_um / UM_PER_MM / MM_PER_UNIT["inch"] if unit.is_inch else height_um
