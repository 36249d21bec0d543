"""The report's proof: what is left over, how far errors may add up, what passes leave, cautions, and its own inputs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from advisor.advice.cautions import GENERAL
from advisor.model import Advice, ErrorBudget, Leftover, PlanRecord, Zone
from advisor.pack.lengths import in_unit
from advisor.pack.page import plain_words
from advisor.pack.picture_key import DASH
from advisor.pack.report_blocks import Block, Column, Facts, Figures, Row, Section, Sentences, Table
from advisor.pack.report_numbers import Numbers, grouped, minutes, numbers_of, share
from advisor.units import UM_PER_MM

# Places left over that get sentences of their own; all stand in the table.
_MOST_TOLD: Final = 12
MOST_PLACES: Final = 40
_IN_BUDGET: Final = {"cusp": "cusp", "facets": "facets of the model", "path": "path tolerance", "bending": "bending"}


def leftover_section(record: PlanRecord, figures: Figures | None) -> Section | None:
    """Places that the finishing cutter is too large for; None where reach was not worked out."""
    if all(zone.reach is None for zone in record.zones):
        return None
    numbers = numbers_of(record)
    blocks: list[Block] = [figures] if figures else []
    if not record.leftovers:
        words = "The finishing cutter leaves nothing over in the zones that it cuts."
        return Section("leftovers", "Left over for other cutters", (Sentences((words,)), *blocks))
    columns = (
        Column("place", kind="number", share=0.6), Column("zones", share=0.9), Column("pass", share=1.2),
        Column("area", numbers.area_sign, "number"), Column("high", f"{numbers.length_sign} at most", "number"),
        Column("tool", share=1.2), Column("largest ball", numbers.length_sign, "number"),
        Column("lines", kind="number", share=0.6), Column("length", numbers.length_sign, "number"),
        Column("sticks out", numbers.length_sign, "number"), Column("time", "min", "number", 0.8),
    )  # fmt: skip
    rows = [_leftover_row(place, numbers) for place in record.leftovers[:MOST_PLACES]]
    told = [
        f"Place {place.id}: " + in_unit(" ".join(plain_words(why) for why in place.why), numbers.unit)
        for place in record.leftovers[:_MOST_TOLD]
        if place.why
    ]
    if len(record.leftovers) > MOST_PLACES:
        told.append(f"{len(record.leftovers) - MOST_PLACES} smaller places stand in plan.json.")
    blocks += [Table(columns, tuple(rows)), Sentences(tuple(told), is_list=True)]
    return Section("leftovers", "Left over for other cutters", tuple(blocks))


def _leftover_row(place: Leftover, numbers: Numbers) -> Row:
    longer = " (longer)" if place.needs_longer_stick_out else ""
    return Row((
        str(place.id), ", ".join(map(str, place.zones)), place.pass_kind or place.kind, numbers.area(place.area_mm2),
        numbers.length(place.max_um / UM_PER_MM), DASH if place.tool is None else plain_words(place.tool),
        numbers.length(place.fit_diameter_mm), DASH if place.passes is None else str(place.passes),
        numbers.length(place.length_mm), numbers.length(place.stick_out_mm) + longer, minutes(place.cutting_min),
    ))  # fmt: skip


def error_section(record: PlanRecord) -> Section | None:
    """How far each finished zone may lie from the model; None where nothing is cut."""
    numbers = numbers_of(record)
    told = [(zone, zone.advice.error_budget) for zone in record.zones if zone.advice and zone.advice.error_budget]
    if not told:
        return None
    columns = (
        Column("zones", share=1.1),
        *(Column(words, numbers.height_sign, "number") for words in _IN_BUDGET.values()),
        Column("sum", numbers.height_sign, "number"), Column("tolerance", numbers.height_sign, "number"),
        Column("kept", share=0.8), Column("largest part", share=1.4),
    )  # fmt: skip
    words = (
        "The worst case of the last stage: all parts add up. Parts that are not known (a dash) are not in the sum: "
        "bending needs the stick-out and the material, a tolerance stands in the job."
    )
    rows = grouped([_budget_row(zone, budget, numbers) for zone, budget in told])
    return Section("errors", "Error budget", (Sentences((words,)), Table(columns, rows)))


def _budget_row(zone: Zone, budget: ErrorBudget, numbers: Numbers) -> Row:
    parts = (budget.cusp_um, budget.facets_um, budget.path_um, budget.bending_um, budget.total_um, budget.tolerance_um)
    kept = {None: DASH, True: "yes", False: "NO"}[budget.within]
    return Row((str(zone.id), *(numbers.height(um) for um in parts), kept, _IN_BUDGET[budget.largest]), zone.id)


def cusp_section(record: PlanRecord, figures: Figures | None) -> Section | None:
    """What laid passes leave; None where none were laid."""
    numbers = numbers_of(record)
    laid = [(zone, zone.advice) for zone in record.zones if zone.advice and zone.advice.usable and zone.advice.is_laid]
    if not laid or figures is None:
        return None
    columns = (
        Column("zones", share=1.1), Column("passes", kind="number"), Column("lifts", kind="number"),
        Column("path", numbers.path_sign, "number"), Column("asked", numbers.height_sign, "number"),
        Column("95 % within", numbers.height_sign, "number"), Column("greatest", numbers.height_sign, "number"),
        Column("over the target", "of the area", "number"), Column("not cut", "of the zone", "number"),
        Column("deepest", f"{numbers.height_sign} below", "number"),
    )  # fmt: skip
    rows = [
        Row((
            str(zone.id), DASH if advice.passes is None else f"{advice.passes:,}",
            DASH if advice.lifts is None else f"{advice.lifts:,}", numbers.path(advice.path_mm),
            numbers.height(advice.cusp_um.target), numbers.height(advice.cusp_um.p95),
            numbers.height(advice.cusp_um.max), share(advice.above_target_share), share(_not_cut(advice)),
            numbers.height(advice.gouge_um),
        ), zone.id)
        for zone, advice in laid
    ]  # fmt: skip
    words = "Passes of the last stage were laid on the model and cut virtually; these heights are measured on them."
    blocks = (Sentences((words,)), figures, Table(columns, grouped(rows)), *_bare_blocks(record, numbers))
    return Section("cusps", "What the passes leave", blocks)


def _not_cut(advice: Advice) -> float | None:
    """Share of a zone that no pass comes near: what the tool does not get to, and of the rest what passes leave out."""
    if advice.uncut_share is None:
        return None
    return 1.0 - (1.0 - (advice.out_of_reach_share or 0.0)) * (1.0 - advice.uncut_share)


def _bare_blocks(record: PlanRecord, numbers: Numbers) -> tuple[Block, ...]:
    """Places that the cutter gets to and that its passes leave over the cusp asked for."""
    if not record.bare_places:
        return ()
    words = "Places that the cutter gets to, but where its passes leave more than the cusp asked for:"
    columns = (
        Column("zone", kind="number", share=0.6), Column("area", numbers.area_sign, "number"),
        *(Column(axis, numbers.length_sign, "number") for axis in "XYZ"),
        Column("left", f"{numbers.height_sign} at most", "number"),
    )  # fmt: skip
    rows = tuple(
        Row((
            str(place.zone), numbers.area(place.area_mm2), *map(numbers.length, place.middle_mm),
            "not cut" if place.max_um is None else numbers.height(place.max_um),
        ))
        for place in record.bare_places[:MOST_PLACES]
    )  # fmt: skip
    more = len(record.bare_places) - MOST_PLACES
    return (
        Sentences((words,)),
        Table(columns, rows),
        *((Sentences((f"{more} smaller ones stand in plan.json.",)),) * (more > 0)),
    )


def caution_section(record: PlanRecord) -> Section:
    """What this part asks for first, then what holds for every plan."""
    numbers = numbers_of(record)
    own = [plain_words(caution) for caution in record.cautions if caution not in GENERAL]
    general = [plain_words(caution) for caution in record.cautions if caution in GENERAL]
    lines = (*_part_notes(record), *own, *general)
    return Section(
        "cautions", "Cautions", (Sentences(tuple(in_unit(line, numbers.unit) for line in lines), is_list=True),)
    )


def _part_notes(record: PlanRecord) -> Sequence[str]:
    mended = [f"The model was mended: {repair.what}: {repair.count}." for repair in record.part.repairs]
    return [plain_words(words) for words in (*record.part.warnings, *mended)]


def input_section(record: PlanRecord) -> Section:
    """What the plan was made from: the model, and every setting in force with where it came from."""
    part, numbers = record.part, numbers_of(record)
    facts = (
        ("model file", plain_words(part.file)),
        ("SHA-256", part.sha256),
        ("unit of the model", f"{part.unit}{' (assumed)' if part.unit_assumed else ''}"),
        ("mesh", f"{part.facets:,} facets, {part.vertices:,} corners, {_bodies(part.bodies, part.watertight)}"),
        ("facets are off by about", f"{numbers.height(part.chord_error_um)} {numbers.height_sign}"),
        ("made by", f"advisor {record.version}, {record.schema}"),
        ("made on", record.created),
    )
    columns = (Column("setting"), Column("value", share=2.4), Column("from", share=0.7))
    rows = tuple(Row((plain_words(s.name), plain_words(s.value), s.source)) for s in record.settings)
    words = "Every formula stands with its source in docs/sums.md; every number of this report is in plan.json."
    return Section("inputs", "What it was made from", (Facts(facts), Table(columns, rows), Sentences((words,))))


def _bodies(bodies: int, watertight: bool) -> str:
    return f"{bodies} {'body' if bodies == 1 else 'bodies'}, {'closed' if watertight else 'open'}"
