"""The report's working sheet: set-ups, stages and tools, speeds and feeds, order of work."""

from __future__ import annotations

from typing import Final

from advisor.advice.choose import IN_WORDS
from advisor.advice.tilt_words import azimuth_words
from advisor.model import Advice, Orientation, PlanRecord, Setup, ToolRecord, Zone
from advisor.pack.lengths import in_unit
from advisor.pack.page import plain_words
from advisor.pack.picture_key import DASH
from advisor.pack.report_blocks import Block, Column, Row, Section, Sentences, Table
from advisor.pack.report_numbers import Numbers, grouped, minutes, numbers_of, runs, share, whole
from advisor.pack.work_order import WorkStep, stage_sums, steps_of, work_order
from advisor.part.frame import LEANING, height_word
from advisor.words import plain_number

_ORDER_RULE: Final = (
    "The rule (common practice, no source): stage after stage; in a stage larger tools before smaller and higher zones "
    "before lower, so that chips fall on what is still to be finished, and of zones with one top the less deep first; "
    "corners and grooves left over last, when the small tool meets nothing but the rest. Where clamping or stiffness "
    "asks for another order, that goes first."
)
_ORDER_COPIES: Final = (
    "Cut zones that blend straight after one another. Of copies, the first is programmed and the others are moved (see "
    "repeats)."
)


def tool_section(record: PlanRecord) -> Section:
    """Set-ups with their tool axes, stages with what they are asked for, and the tools."""
    numbers = numbers_of(record)
    blocks: list[Block] = [_setup_table(record), _stage_table(record, numbers), _tool_table(record, numbers)]
    if record.orientations:
        blocks.insert(1, _orientation_table(record, numbers))
    return Section("tools", "Set-ups, stages and tools", tuple(blocks))


def _setup_table(record: PlanRecord) -> Table:
    columns = (
        Column("set-up"), Column("tool axis, part to spindle", share=1.6), Column("rotary table", share=1.2),
        Column("reaches", "of all the surface", "number"), Column("zones", share=2.0),
    )  # fmt: skip
    rows = [
        Row((
            plain_words(setup.name), _axis(setup.tool_axis), _table_turn(setup, record), share(setup.reached_share),
            runs([zone.id for zone in record.zones if zone.setup == number]),
        ))
        for number, setup in enumerate(record.setups)
    ]  # fmt: skip
    return Table(columns, tuple(rows))


def _table_turn(setup: Setup, record: PlanRecord) -> str:
    if record.rotary_axis is None:
        return DASH
    return "clamp anew" if setup.index_deg is None else f"{round(setup.index_deg, 3) + 0.0:g}°"


def _orientation_table(record: PlanRecord, numbers: Numbers) -> Table:
    columns = (
        Column("tool tilted", share=2.0), Column("set-up"), Column("tool axis", share=1.6), Column("zones", share=1.6),
        Column("beside the tip", "of their area", "number"), Column("sticks out", numbers.length_sign, "number"),
    )  # fmt: skip
    rows = [
        Row((
            _tilt_words(one),
            plain_words(record.setups[one.setup].name), _axis(one.tool_axis), runs(list(one.zones)),
            share(one.off_tip_share), numbers.length(one.stick_out_mm),
        ))
        for one in record.orientations
    ]  # fmt: skip
    return Table(columns, tuple(rows))


def _tilt_words(orientation: Orientation | None) -> str:
    if orientation is None:
        return DASH
    if orientation.azimuth_deg is None:
        return "upright"
    return f"{orientation.tilt_deg:g}° {azimuth_words(orientation.azimuth_deg)}"


def _stage_table(record: PlanRecord, numbers: Numbers) -> Table:
    columns = (
        Column("stage"), Column("tool", share=1.4), Column("asked for", share=1.4),
        Column("leaves", f"{numbers.length_sign} of stock", "number"), Column("zones", kind="number", share=0.6),
        Column("path", numbers.path_sign, "number"), Column("time", "min", "number"),
    )  # fmt: skip
    rows = []
    for number, stage in enumerate(record.stages):
        sums = stage_sums(record, number)
        rows.append(Row((
            plain_words(stage.name), plain_words(record.tools[stage.tool].name),
            numbers.target(stage.cusp_target_um, stage.stepover_mm), numbers.length(stage.stock_left_mm),
            str(sums.zones), numbers.path(sums.path_mm), minutes(sums.total_min),
        )))  # fmt: skip
    return Table(columns, tuple(rows))


def _tool_table(record: PlanRecord, numbers: Numbers) -> Table:
    columns = (
        Column("tool", share=1.6), Column("kind", share=0.7), Column("diameter", numbers.length_sign, "number"),
        Column("corner radius", numbers.length_sign, "number"), Column("flutes", "at the centre", "number"),
        Column("sticks out", numbers.length_sign, "number"),
        Column("bends", f"{numbers.height_sign} per N", "number"),
    )  # fmt: skip
    return Table(columns, tuple(_tool_row(tool, numbers) for tool in record.tools))


def _tool_row(tool: ToolRecord, numbers: Numbers) -> Row:
    flutes = DASH if tool.flutes is None else str(tool.flutes)
    centre = "" if tool.centre_flutes is None else f", {tool.centre_flutes}"
    return Row((
        plain_words(tool.name), tool.kind, numbers.length(tool.diameter_mm), numbers.length(tool.corner_radius_mm),
        flutes + centre, numbers.length(tool.stick_out_mm), numbers.height(tool.bending_um_per_n),
    ))  # fmt: skip


def speed_section(record: PlanRecord) -> Section | None:
    """Speeds and feeds zone by zone; None where nothing is cut."""
    numbers = numbers_of(record)
    cut = [(zone, step) for number in range(len(record.stages)) for zone, step in steps_of(record, number)]
    if not cut:
        return None
    if all(step.spindle_rpm is None for _, step in cut):
        told = "No speeds and feeds: the job names no material. Give it with --material, or in the job file."
        return Section("speeds", "Speeds and feeds", (Sentences((told,)), _contact_table(cut, numbers)))
    columns = (
        Column("zones", share=1.1), Column("stage", share=1.1), Column("spindle", "rev/min", "number"),
        Column("speed at the contact", numbers.speed_sign, "number", 1.3),
        Column("contact diameter", numbers.length_sign, "number", 1.4),
        Column("near the tip", "of the area", "number"), Column("per tooth", numbers.length_sign, "number"),
        Column("feed", numbers.feed_sign, "number"), Column("in corners", numbers.feed_sign, "number"),
        Column("tilt", "", "number", 0.6),
    )  # fmt: skip
    rows = [_speed_row(zone, step, numbers) for zone, step in cut]
    told = (
        "Starting values. A ball cuts at the diameter where it touches, which is less than its own: the spindle speed "
        "is that of the contact, as far as the machine goes. Near the tip the ball hardly moves and rubs; a tilt would "
        "help, (*) where it is more than the machine can."
    )
    return Section("speeds", "Speeds and feeds", (Sentences((told,)), Table(columns, grouped(rows))))


def _speed_row(zone: Zone, step: Advice, numbers: Numbers) -> Row:
    tilt = DASH if step.tilt is None else f"{step.tilt.tilt_deg:.0f}°{'' if step.tilt.allowed else ' (*)'}"
    cells = (
        str(zone.id), plain_words(step.stage), whole(step.spindle_rpm), numbers.speeds(step.surface_speed_m_per_min),
        numbers.lengths(step.contact_diameter_mm), share(step.tip_contact_share),
        numbers.length(step.feed_per_tooth_mm), numbers.feed(step.feed_mm_per_min),
        numbers.feed(step.corner_feed_mm_per_min), tilt,
    )  # fmt: skip
    return Row(cells, zone.id)


def _contact_table(cut: list[tuple[Zone, Advice]], numbers: Numbers) -> Table:
    columns = (
        Column("zones", share=1.1), Column("stage"),
        Column("contact diameter", numbers.length_sign, "number"), Column("near the tip", "of the area", "number"),
    )  # fmt: skip
    rows = []
    for zone, step in cut:
        contact, tip = numbers.lengths(step.contact_diameter_mm), share(step.tip_contact_share)
        rows.append(Row((str(zone.id), plain_words(step.stage), contact, tip), zone.id))
    return Table(columns, grouped(rows))


def order_section(record: PlanRecord) -> Section:
    """What is cut after what, with which tool; what is left over comes last in its set-up."""
    numbers = numbers_of(record)
    tilted = (Column("tilt", share=1.2),) if record.orientations else ()
    columns = (
        Column("step", kind="number", share=0.5), Column("set-up", share=0.9), Column("stage", share=1.1),
        Column("tool", share=1.2), *tilted, Column("strategy", share=1.5), Column("zones, in order", share=1.6),
        Column("path", numbers.path_sign, "number", 0.8), Column("time", "min", "number", 0.8),
    )  # fmt: skip
    rows = [Row(_order_cells(record, numbers, number, step)) for number, step in enumerate(work_order(record), 1)]
    told = [_ORDER_RULE, _ORDER_COPIES]
    if record.sequence is not None and len(record.sequence.steps) > 1:
        told.append(f"Which tools finish everything soonest: {in_unit(plain_words(record.sequence.why), numbers.unit)}")
    return Section("order", "Order of work", (Table(columns, tuple(rows)), Sentences(tuple(told))))


def _order_cells(record: PlanRecord, numbers: Numbers, number: int, step: WorkStep) -> tuple[str, ...]:
    if step.strategy is None:
        places = "places" if len(step.places) > 1 else "place"
        strategy, zones = f"{places} {runs(step.places)}", runs(step.zones)
    else:
        strategy, zones = IN_WORDS[step.strategy], runs(step.zones, in_order=True)
    tilted = (_tilt_words(step.orientation),) if record.orientations else ()
    return (
        str(number), plain_words(record.setups[step.setup].name), plain_words(step.stage), plain_words(step.tool),
        *tilted, strategy, zones, numbers.path(step.path_mm), minutes(step.total_min),
    )  # fmt: skip


def _axis(axis: tuple[float, float, float]) -> str:
    name, sign = height_word(axis)
    if name != LEANING:
        return ("+" if sign > 0 else "\N{MINUS SIGN}") + name
    return ", ".join(plain_number(round(value, 4)) for value in axis)
