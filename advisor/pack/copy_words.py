"""Copies of zones in words: which one to program, how often to copy it, and by what turn and shift."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from advisor.model import PlanRecord, Zone
from advisor.pack.lengths import LengthUnit
from advisor.words import counted


@dataclass(frozen=True)
class Copies:
    """Zones that are copied with a model zone, which are in its group, and how many copies there are beside it."""

    together: tuple[int, ...]
    more: int


def copies_of(record: PlanRecord) -> dict[int, Copies]:
    """By zone number, for zones that others of the plan are copies of."""
    models: dict[int, list[int]] = {}
    more: dict[int, int] = {}
    for zone in record.zones:
        if zone.repeats is None or zone.repeats.is_mirrored:
            continue
        if zone.repeats.model == zone.id:
            models.setdefault(zone.repeats.group, []).append(zone.id)
        else:
            more[zone.repeats.model] = more.get(zone.repeats.model, 0) + 1
    return {zone: Copies(tuple(group), more[zone]) for group in models.values() for zone in group if zone in more}


def copies_lines(record: PlanRecord, copies: dict[int, Copies]) -> Iterator[str]:
    """How many zones are copies, and how a copy is moved."""
    count = sum(one.more for one in copies.values())
    if count == 0:
        return
    are = "is a copy" if count == 1 else "are copies"
    yield (
        f"{count} of the {counted(len(record.zones), 'zone')} {are} of others: {len(record.zones) - count} are left to "
        "look at. Path and minutes of the plan count every copy."
    )
    if any(zone.repeats and zone.repeats.turn_deg for zone in record.zones):
        yield (
            "Copies are turned about the tool axis through the part's zero, anticlockwise as seen from the spindle, "
            "and then shifted."
        )


def program_words(zone: Zone, copies: Copies) -> str:
    """What to do with a zone that has copies, once for all of them."""
    others = [str(other) for other in copies.together if other != zone.id]
    times = "once" if copies.more == 1 else f"{copies.more} times"
    if not others:
        return f"program this one, copy it {times}"
    words = others[0] if len(others) == 1 else f"{', '.join(others[:-1])} and {others[-1]}"
    return f"program it with zone{'s' if len(others) > 1 else ''} {words}, copy them {times}"


def move_words(zone: Zone, unit: LengthUnit) -> str:
    """What a zone is a copy of, and the move that brings its model there."""
    assert zone.repeats is not None
    turn = _rounded(zone.repeats.turn_deg, 3)
    shift = [_rounded(value / unit.mm, 4 if unit.is_inch else 3) for value in zone.repeats.shift_mm]
    moves = [] if float(turn) == 0 else [f"turn {turn} deg"]
    axes = [f"{axis} {value}" for axis, value in zip("XYZ", shift, strict=True) if float(value)]
    if axes:
        moves.append(f"shift {', '.join(axes)} {unit.sign}")
    return f"copy of zone {zone.repeats.model}: {', '.join(moves)}"


def mirror_words(zone: Zone) -> str:
    """That a zone is a mirror image; nothing where it is not."""
    if zone.repeats is None or not zone.repeats.is_mirrored or zone.repeats.model < 1:
        return ""
    return f"; mirror image of zone {zone.repeats.model}: no turn makes a copy of it"


def _rounded(value: float, decimals: int) -> str:
    # no -0.000, and no commas within numbers of a list
    return f"{round(value, decimals) + 0.0:.{decimals}f}"
