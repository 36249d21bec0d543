"""The report's zone table, reasons, and what zones have to do with one another: copies, and borders that blend."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from advisor.advice.choose import in_words
from advisor.model import Joint, Plan, PlanRecord, Zone
from advisor.pack.card import zone_card
from advisor.pack.copy_words import copies_lines, copies_of, mirror_words, move_words, program_words
from advisor.pack.lengths import in_unit
from advisor.pack.page import plain_words
from advisor.pack.picture_key import DASH
from advisor.pack.report_blocks import Block, Cards, Column, Row, Section, Sentences, Table, ZoneCard
from advisor.pack.report_numbers import Numbers, minute_span, minutes, numbers_of, runs

_JOINTS: Final = {
    "tangent": "smooth: blend",
    "inside corner": "inside corner",
    "outside corner": "outside corner",
}
# Borders that are told of: smooth ones first, then the longest.
_MOST_BORDERS: Final = 120
# Cusps on both sides of a border that differ by more than this share are seen as a step in the finish
# (our own choice, no source).
_CUSPS_DIFFER: Final = 0.25


def zone_section(plan: Plan, thumbnails: Mapping[int, str]) -> Section:
    """The zones with what is advised for each; ``thumbnails`` are names of pictures by zone."""
    record, numbers = plan.record, numbers_of(plan.record)
    columns = (
        Column("zone", kind="number", share=0.5),
        *((Column("where", kind="picture", share=1.6),) if thumbnails else ()),
        Column("name", share=2.2),
        Column("class", share=1.1),
        Column("area", numbers.area_sign, "number"),
        Column("strategy", share=1.8),
        Column("stepover", numbers.length_sign, "number"),
        Column("Z or XY", numbers.length_sign, "number", 1.1),
        Column("cusp", numbers.height_sign, "number", 0.8),
        Column("time", "min", "number", 0.9),
    )
    rows = [_zone_row(zone, numbers, thumbnails) for zone in record.zones]
    total = record.totals
    where = ("",) if thumbnails else ()
    sums = ("", *where, "all zones", "", numbers.area(total.area_mm2), "", "", "", "", minutes(total.total_min))
    rows.append(Row(sums, is_sum=True))
    words = [
        "Stepover is measured along the surface; Z is the step along the tool axis, XY the spacing of lines in plan. "
        "The cusp is the greatest of the last stage, a lower bound of what is measured. Minutes are of all stages."
    ]
    if total.total_min_range is not None:
        words.append(
            f"All stages together: {minute_span(total.total_min_range)} minutes, part handling not counted. The range "
            "is that of corners and of how machines reach their feed."
        )
    return Section("zones", "Zones", (Table(columns, tuple(rows)), Sentences(tuple(words))))


def _zone_row(zone: Zone, numbers: Numbers, thumbnails: Mapping[int, str]) -> Row:
    advice = zone.advice if zone.advice is not None and zone.advice.usable else None
    known = [step.total_min for step in zone.steps if step.usable and step.total_min is not None]
    return Row(
        (
            str(zone.id),
            *((thumbnails.get(zone.id, ""),) if thumbnails else ()),
            numbers.unit.height_words(zone),
            zone.slope_class,
            numbers.area(zone.area_mm2),
            in_words(zone),
            DASH if advice is None else numbers.length(advice.stepover_mm),
            DASH if advice is None else numbers.apart(advice),
            DASH if advice is None else numbers.height(advice.cusp_um.max),
            minutes(sum(known)) if known else DASH,
        ),
        zone.id,
    )


def card_section(record: PlanRecord) -> Section:
    """A card a zone: what is known of it, and why it is cut so."""
    return Section("cards", "Zone cards and reasons", (Cards(tuple(_card(record, zone) for zone in record.zones)),))


def _card(record: PlanRecord, zone: Zone) -> ZoneCard:
    numbers, card = numbers_of(record), zone_card(record, zone)
    told = [*card.reasons]
    for more in (zone.trade, zone.tilt):
        told += [] if more is None else [why for why in more.why if why not in told]
    places = [place.id for place in record.leftovers if zone.id in place.zones]
    if places:
        told.append(f"Places left over in it: {runs(places)}.")
    repeats = zone.repeats
    is_copy = repeats is not None and not repeats.is_mirrored and repeats.model not in (0, zone.id)
    return ZoneCard(
        zone.id,
        f"{card.title}: {numbers.unit.height_words(zone)}",
        card.facts,
        tuple(in_unit(plain_words(line), numbers.unit) for line in told),
        _sentence(move_words(zone, numbers.unit)) if is_copy else "",
    )


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def copy_section(record: PlanRecord) -> Section | None:
    """Which zones to program once and copy; None where there are no copies."""
    numbers, copies = numbers_of(record), copies_of(record)
    rows = []
    for zone in record.zones:
        if zone.repeats is None:
            continue
        if zone.repeats.is_mirrored:
            words = mirror_words(zone).removeprefix("; ")
        elif zone.id in copies:
            words = program_words(zone, copies[zone.id])
        else:
            words = move_words(zone, numbers.unit)
        if words:
            pattern = zone.repeats.pattern
            rows.append(Row((str(zone.id), numbers.unit.height_words(zone), words, pattern), zone.id))
    if not rows:
        return None
    columns = (
        Column("zone", kind="number", share=0.4), Column("name", share=1.4), Column("what to do", share=3.0),
        Column("pattern", share=0.6),
    )  # fmt: skip
    lines = Sentences(tuple(in_unit(line, numbers.unit) for line in copies_lines(record, copies)))
    told: tuple[Block, ...] = (lines,) if lines.lines else ()
    return Section("repeats", "Repeats: program once, copy", (*told, Table(columns, tuple(rows))))


def blend_section(record: PlanRecord) -> Section | None:
    """Borders of zones that are cut on both sides; None where there are none."""
    numbers = numbers_of(record)
    by_id = {zone.id: zone for zone in record.zones}
    rows = []
    for zone in record.zones:
        for near in zone.neighbours:
            other = by_id.get(near.zone)
            if other is not None and zone.id < other.id and _is_cut(zone) and _is_cut(other):
                length = numbers.length(near.length_mm)
                cells = (f"{zone.id} and {other.id}", _names(zone, other, numbers), _JOINTS[near.joint], length)
                rows.append(
                    (
                        near.joint != "tangent",
                        -near.length_mm,
                        (*cells, *_blend_cells(zone, other, near.joint, numbers)),
                    )
                )
    if not rows:
        return None
    columns = (
        Column("zones", share=0.7), Column("names", share=2.6), Column("joint", share=1.1),
        Column("length", numbers.length_sign, "number", 0.7), Column("overlap", numbers.length_sign, "number", 0.9),
        Column("cusps", numbers.height_sign, "number", 1.0), Column("what to watch", share=1.8),
    )  # fmt: skip
    told = (
        "Where a border is smooth, passes of both zones run out over it by the overlap; finish both with the same "
        "cutter, one straight after the other. At corners passes end on the corner itself.",
    )
    table = Table(columns, tuple(Row(cells) for _, _, cells in sorted(rows)[:_MOST_BORDERS]))
    more = len(rows) - _MOST_BORDERS
    rest = (Sentences((f"{more} shorter borders stand in plan.json.",)),) if more > 0 else ()
    return Section("blends", "Borders and blends", (Sentences(told), table, *rest))


def _is_cut(zone: Zone) -> bool:
    return zone.advice is not None and zone.advice.usable


def _names(one: Zone, other: Zone, numbers: Numbers) -> str:
    return f"{numbers.unit.height_words(one)}; {numbers.unit.height_words(other)}"


def _blend_cells(one: Zone, other: Zone, joint: Joint, numbers: Numbers) -> tuple[str, str, str]:
    assert one.advice is not None and other.advice is not None
    overlaps, watch = [DASH], []
    if one.setup != other.setup:
        watch.append("another set-up")
    if one.advice.tool != other.advice.tool:
        watch.append("another cutter")
    cusps = [advice.cusp_um.p95 for advice in (one.advice, other.advice)]
    if joint == "tangent":
        overlaps = [DASH if zone.outline is None else numbers.length(zone.outline.overlap_mm) for zone in (one, other)]
        known = [cusp for cusp in cusps if cusp is not None]
        if len(known) == 2 and max(known) - min(known) > _CUSPS_DIFFER * max(known):
            watch.append("cusps differ")
    return (
        ", ".join(dict.fromkeys(overlaps)),
        ", ".join(numbers.height(cusp) for cusp in cusps),
        "; ".join(watch) or DASH,
    )
