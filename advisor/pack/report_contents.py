"""The contents of a report, from a plan: the same for the page and for the PDF."""

from __future__ import annotations

from typing import Final

from advisor.advice.cautions import GENERAL
from advisor.model import Plan, PlanRecord
from advisor.pack.lengths import in_unit
from advisor.pack.maps import can_colour
from advisor.pack.page import plain_words
from advisor.pack.report_blocks import (
    Block,
    Facts,
    Figure,
    Figures,
    Picture,
    Report,
    Section,
    Sentences,
    Viewer,
)
from advisor.pack.report_numbers import minute_span, numbers_of
from advisor.pack.report_pictures import (
    SetupViews,
    draw_thumbnails,
    map_figures,
    png_of,
    setup_views,
    zone_map_figures,
)
from advisor.pack.report_proof import caution_section, cusp_section, error_section, input_section, leftover_section
from advisor.pack.report_work import order_section, speed_section, tool_section
from advisor.pack.report_zones import blend_section, card_section, copy_section, zone_section
from advisor.words import counted

# Lines of the title block in their order: those that a job may fill in, and those that are always signed by hand.
_LINES: Final = ("revision", "drawing", "machine", "by")
_SIGNED: Final = ("checked", "approved", "date")
# Cautions that stand at the head of the report.
_MOST_AT_HEAD: Final = 4


def report_of(plan: Plan, setups: list[SetupViews] | None = None) -> Report:
    """All of the report; pictures are drawn here."""
    setups = setup_views(plan) if setups is None else setups
    record, pictures = plan.record, dict[str, Picture]()
    maps = zone_map_figures(setups, pictures)
    sections = (
        _head_section(record),
        Section("maps", "Zone maps", tuple(maps)),
        Section("view", "The part in 3D", (Viewer(),)),
        zone_section(plan, draw_thumbnails(setups, pictures)),
        tool_section(record),
        speed_section(record),
        order_section(record),
        copy_section(record),
        blend_section(record),
        leftover_section(record, _figures(plan, setups, "leftover", pictures)),
        error_section(record),
        cusp_section(record, _figures(plan, setups, "cusp", pictures)),
        _candidate_section(record, pictures),
        card_section(record),
        caution_section(record),
        input_section(record),
    )
    return Report(
        _part_name(record) or plain_words(record.part.file) or "part",
        _told(record),
        tuple(name for name in _LINES if not _filled(record, name)) + _SIGNED,
        plain_words(record.title.note or ""),
        tuple(section for section in sections if section is not None and section.blocks),
        pictures,
        f"advisor {record.version}, {record.created[:10]}",
    )


def _figures(plan: Plan, setups: list[SetupViews], mode: str, pictures: dict[str, Picture]) -> Figures | None:
    if mode == "leftover" and plan.record.leftovers and can_colour(plan.facets, "leftover"):
        return map_figures(setups, "leftover", pictures)
    if mode == "cusp" and can_colour(plan.facets, "cusp"):
        return map_figures(setups, "cusp", pictures)
    return None


def _part_name(record: PlanRecord) -> str:
    return plain_words(record.title.part or "") or plain_words(record.part.name)


def _filled(record: PlanRecord, name: str) -> str:
    """What the job says for a line of the title block; empty where it says nothing."""
    return plain_words(getattr(record.title, name) or "")


def _told(record: PlanRecord) -> tuple[tuple[str, str], ...]:
    """The title block, as far as the plan knows it."""
    part, numbers = record.part, numbers_of(record)
    size = " \N{MULTIPLICATION SIGN} ".join(numbers.unit.words(side) for side in part.size_mm)
    told = [
        ("part", _part_name(record)),
        ("model", plain_words(part.file)),
        ("size", f"{size} {numbers.length_sign}{' (unit assumed)' if part.unit_assumed else ''}"),
        ("material", plain_words(_setting(record, "material") or "not given")),
        ("planned", record.created[:10]),
    ]
    axes = _setting(record, "axes")
    if axes:
        told.append(("machine axes", axes))
    told += [(name, words) for name in _LINES if (words := _filled(record, name))]
    return tuple(told)


def _setting(record: PlanRecord, name: str) -> str | None:
    return next((setting.value for setting in record.settings if setting.name == name), None)


def _head_section(record: PlanRecord) -> Section:
    """The answer in a few lines, and what to be careful of."""
    numbers, totals = numbers_of(record), record.totals
    finish = record.stages[-1]
    tool = record.tools[finish.tool]
    facts = [
        ("zones", _zones_in_words(record)),
        ("area", f"{numbers.area(totals.area_mm2)} {numbers.area_sign}"),
        (
            "finish cutter",
            f"{plain_words(tool.name)}, {tool.kind} Ø {numbers.length(tool.diameter_mm)} {numbers.length_sign}",
        ),
        ("finish", numbers.target(finish.cusp_target_um, finish.stepover_mm)),
        ("time, all stages", _time(record)),
    ]
    if record.leftovers:
        facts.append(("left over", f"{counted(len(record.leftovers), 'place')} for other cutters"))
    own = [plain_words(caution) for caution in record.cautions if caution not in GENERAL]
    lines = (
        "Starting values only. A qualified person reviews this plan and proves the program out; read the cautions.",
        *(in_unit(line, numbers.unit) for line in own[:_MOST_AT_HEAD]),
    )
    blocks: tuple[Block, ...] = (Facts(tuple(facts)), Sentences(lines, is_list=True))
    return Section("summary", "In short", blocks)


def _time(record: PlanRecord) -> str:
    span = record.totals.total_min_range
    return "not known: the job names no material" if span is None else f"{minute_span(span)} min"


def _zones_in_words(record: PlanRecord) -> str:
    cut = sum(zone.advice is not None and zone.advice.usable for zone in record.zones)
    words = f"{len(record.zones)}, {cut} of them cut"
    if len(record.setups) > 1:
        words += f" in {len(record.setups)} set-ups"
    return words


def _candidate_section(record: PlanRecord, pictures: dict[str, Picture]) -> Section | None:
    """Cusp against minutes of all strategies; None where the plan stops after the zones."""
    if not any(zone.candidates for zone in record.zones):
        return None
    from advisor.pack.candidates_plot import candidates_page

    pictures["candidates"] = png_of(candidates_page(record).image)
    figure = Figure("candidates", "Cusp against minutes, by strategy and stepover, for the zones that take longest")
    words = "What other strategies and stepovers would take and leave; candidates.csv has all numbers."
    return Section("candidates", "Other ways to cut", (Sentences((words,)), Figures((figure,))))
