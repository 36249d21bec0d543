"""The zone map of a plan as one page: the part in its zones with numbers, legend, table, scale, further views."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from PIL import Image

from advisor.model import Plan, PlanRecord, StageRecord
from advisor.pack.camera import Fit, View, ViewName, fit
from advisor.pack.colour_map import ColourMap, ColourMode, LegendRow
from advisor.pack.cut_close_up import close_up_height, draw_close_up
from advisor.pack.hatched import in_hatching
from advisor.pack.labelled_view import MAIN_STYLE, SMALL_STYLE, Scene, draw_labelled_view, fit_in
from advisor.pack.labels import Label
from advisor.pack.lengths import length_unit
from advisor.pack.maps import colour_map
from advisor.pack.page import (
    Box,
    Mark,
    Page,
    blank_page,
    clear_page,
    draw_line,
    plain_words,
    shortened,
    text_width,
    without_paper,
    write,
)
from advisor.pack.palette import FAINT_INK, INK, PAPER, QUIET_INK, Paint
from advisor.pack.pass_pictures import DrawnPasses, drawn_passes, stride_words
from advisor.pack.picture_key import draw_axes, draw_scale, is_small
from advisor.pack.picture_legend import draw_legend, legend_height
from advisor.pack.picture_table import draw_table, table_height
from advisor.pack.reach_maps import drawn_plan
from advisor.pack.shade import draw, make_solid, painted
from advisor.pack.viewpoints import Views, choose_main_view, choose_views
from advisor.units import UM_PER_MM

# Sizes on a page of 1600 by 1200 pixels.
PAGE_WIDTH: Final = 1600
PAGE_HEIGHT: Final = 1200
MARGIN: Final = 48
HEADER: Final = 92
FOOTER: Final = 26
COLUMN: Final = 496
GUTTER: Final = 32
GAP: Final = 14
# Band of small views, below the main one or beside it, and the field of scale and axes within.
STRIP: Final = 232
KEY_WIDTH: Final = 236
KEY_HEIGHT: Final = 206
# A wide field holds the scale beside the axes.
WIDE_KEY_HEIGHT: Final = 136
TALLEST_SMALL_VIEW: Final = 300
# Between legend and table, and between table and views below it.
TABLE_GAP: Final = 32
# Stages named at the head of the page.
MOST_STAGES: Final = 3
# Free pixels around the part for labels outside it.
LABEL_ROOM: Final = 26
_THUMBNAIL_LINES: Final = 0.7


@dataclass(frozen=True)
class _Sheet:
    """What the page is drawn from; ``close_up`` is the height of that block on a page 1200 high."""

    scene: Scene
    record: PlanRecord
    close_up: int


@dataclass(frozen=True)
class _Layout:
    """Where the parts of the page lie: boxes in pixels."""

    main: Box
    key: Box
    small: tuple[Box, ...]
    column: Box


def draw_zone_map(
    plan: Plan,
    *,
    width: int = PAGE_WIDTH,
    height: int = PAGE_HEIGHT,
    view: ViewName = "iso",
    colour: ColourMode = "class",
    passes: bool = False,
    hatch: bool = False,
    transparent: bool = False,
) -> Image.Image:
    """The zone map of a plan: the same plan gives the same pixels.

    Parameters
    ----------
    plan : Plan
    width, height : int
        Pixels; text and lines keep their share of the page.
    view : ViewName
        The main view; ``iso`` looks from the azimuth that shows most of the zones.
    colour : ColourMode
        What the part is coloured by.
    passes : bool
        Draw the passes of the last stage over it, as many as can be told apart.
    hatch : bool
        Patterns in black on white in place of colours.
    transparent : bool
        Nothing in place of white paper.

    Raises
    ------
    InputError
        Where the plan does not know what it shall be coloured by, or has no passes to draw.
    """
    plan = drawn_plan(plan, colour)
    colours = plain = in_hatching(colour_map(plan, colour)) if hatch else colour_map(plan, colour)
    laid = drawn_passes(plan) if passes else None
    if laid is not None:
        colours = _with_row(colours, {}, laid)
    page = (clear_page if transparent else blank_page)(width, height, min(width / PAGE_WIDTH, height / PAGE_HEIGHT))
    scene = Scene(page, painted(make_solid(plan), colours), plan.zones, colours, laid)
    sheet = _Sheet(scene, plan.record, close_up_height(plan, colours))
    views = choose_views(scene.solid, plan.record.setups[0].tool_axis, view)
    layout = _layout(sheet, views)
    _draw_header(page, plan.record, colours.title)
    _draw_footer(page, colours.caption)
    where = fit_in(views.main, scene.solid, layout.main, page.px(LABEL_ROOM))
    labels, strides = draw_labelled_view(scene, where, layout.main, frozenset(), MAIN_STYLE)
    if laid is not None:
        colours = _with_row(plain, strides, laid)
    for small, box in zip(views.small, layout.small, strict=True):
        named = frozenset(label.wish.zone for label in labels)
        labels = [*labels, *_draw_small_view(scene, small, box, named)]
    _draw_key(sheet, layout, where, frozenset(label.wish.zone for label in labels))
    legend_end = draw_legend(page, layout.column, colours)
    left, _, right, bottom = layout.column
    legend_end = draw_close_up(page, (left, legend_end, right, bottom), plan, colours)
    draw_table(page, (left, legend_end + page.px(TABLE_GAP), right, bottom), plan.record, colours.marks)
    if hatch:  # what else is coloured, such as the tool axis, in its grey
        page = replace(page, image=page.image.convert("L").convert("RGB"))
    return without_paper(page) if transparent else page.image


def save_zone_map(
    plan: Plan,
    path: str | Path,
    *,
    width: int = PAGE_WIDTH,
    height: int = PAGE_HEIGHT,
    view: ViewName = "iso",
    colour: ColourMode = "class",
    passes: bool = False,
    hatch: bool = False,
    transparent: bool = False,
) -> None:
    """Draw the zone map and write it as a PNG without a time stamp."""
    drawn = draw_zone_map(
        plan, width=width, height=height, view=view, colour=colour, passes=passes, hatch=hatch, transparent=transparent
    )
    save_picture(drawn, path)


def save_picture(picture: Image.Image, path: str | Path) -> None:
    """Write a picture as PNG: pixels only, no dates or comments."""
    picture.save(path, format="PNG", compress_level=6)


def draw_thumbnail(plan: Plan, size: tuple[int, int] = (320, 240)) -> Image.Image:
    """The part in its zones alone, without words, in the middle of a white picture."""
    width, height = size
    solid = make_solid(plan)
    view = choose_main_view(solid, plan.record.setups[0].tool_axis)
    drawing = draw(solid, fit(view, solid.vertices, width, height, 4.0), _THUMBNAIL_LINES)
    picture = Image.new("RGB", size, PAPER)
    corner = ((width - drawing.fit.width) // 2, (height - drawing.fit.height) // 2)
    picture.paste(Image.fromarray(drawing.pixels), corner)
    return picture


def _layout(sheet: _Sheet, views: Views) -> _Layout:
    """Small views below the main one, beside it, or below a short table, whichever leaves the part larger."""
    scene, page = sheet.scene, sheet.scene.page
    width, height = page.image.size
    margin = page.px(MARGIN)
    top, bottom = margin + page.px(HEADER), height - margin - page.px(FOOTER)
    column = (width - margin - page.px(COLUMN), top + page.px(10), width - margin, bottom)
    field = (margin, top, column[0] - page.px(GUTTER), bottom)
    layouts = [arrange(page, field, column, len(views.small)) for arrange in (_views_below, _views_beside)]
    table_end = column[1] + page.px(
        legend_height(scene.colours) + sheet.close_up + TABLE_GAP + table_height(sheet.record) + GAP
    )
    if bottom - table_end >= page.px(STRIP + WIDE_KEY_HEIGHT + GAP):
        layouts.append(_views_in_column(page, field, column, len(views.small)))
    room = page.px(LABEL_ROOM)
    return max(layouts, key=lambda layout: fit_in(views.main, scene.solid, layout.main, room).pixels_per_mm)


def _views_below(page: Page, field: Box, column: Box, count: int) -> _Layout:
    left, top, right, bottom = field
    gap = page.px(GAP)
    strip_top, first = bottom - page.px(STRIP), left + page.px(KEY_WIDTH)
    wide = (right - first) / max(1, count)
    small = tuple((first + k * wide + gap, strip_top, first + (k + 1) * wide, bottom) for k in range(count))
    return _Layout((left, top, right, strip_top - gap), (left, strip_top, first, bottom), small, column)


def _views_beside(page: Page, field: Box, column: Box, count: int) -> _Layout:
    left, top, right, bottom = field
    gap = page.px(GAP)
    strip_left, key_top = right - page.px(STRIP), bottom - page.px(KEY_HEIGHT)
    high = min((key_top - top) / max(1, count), page.px(TALLEST_SMALL_VIEW) + gap)
    small = tuple((strip_left, top + k * high, right, top + (k + 1) * high - gap) for k in range(count))
    return _Layout((left, top, strip_left - gap, bottom), (strip_left, key_top, right, bottom), small, column)


def _views_in_column(page: Page, field: Box, column: Box, count: int) -> _Layout:
    left, top, right, bottom = column
    gap = page.px(GAP)
    key_top = bottom - page.px(WIDE_KEY_HEIGHT)
    strip_bottom = key_top - gap
    strip_top = strip_bottom - page.px(STRIP)
    wide = (right - left + gap) / max(1, count)
    small = tuple((left + k * wide, strip_top, left + (k + 1) * wide - gap, strip_bottom) for k in range(count))
    return _Layout(field, (left, key_top, right, bottom), small, (left, top, right, strip_top - gap))


def _with_row(colours: ColourMap, strides: dict[int, int], laid: DrawnPasses) -> ColourMap:
    """The map with a row that tells which passes are drawn."""
    row = LegendRow(Mark(Paint(PAPER, PAPER), 0.0, INK), f"passes, {laid.stage}", stride_words(strides), 0.0)
    return replace(colours, title=f"{colours.title} with passes", rows=(*colours.rows, row))


def _draw_small_view(scene: Scene, view: View, box: Box, named: frozenset[int]) -> list[Label]:
    page = scene.page
    left, top, right, bottom = box
    at = ((left + right) / 2, top + page.px(10))
    write(page, at, view.title, 11, QUIET_INK, bold=True, anchor="ms")
    inner = (left, top + page.px(20), right, bottom)
    where = fit_in(view, scene.solid, inner, page.px(12))
    return draw_labelled_view(scene, where, inner, named, SMALL_STYLE)[0]


def _draw_key(sheet: _Sheet, layout: _Layout, where: Fit, named: frozenset[int]) -> None:
    page, record = sheet.scene.page, sheet.record
    left, top, right, bottom = layout.key
    inches = length_unit(record).is_inch
    baseline = bottom - page.px(26 if inches else 8)
    beside = bottom - top < page.px(KEY_HEIGHT)
    scale_left = right - page.px(KEY_WIDTH) if beside else left + page.px(6)
    axes_y = baseline - page.px(42 if beside else 103)
    draw_scale(page, (scale_left, baseline), where, page.px(190), inches=inches)
    draw_axes(page, (left + page.px(86), axes_y), where.view, record.setups[0].tool_axis)
    unnamed = sum(1 for zone in record.zones if zone.id not in named and not is_small(zone))
    if unnamed:
        words = f"+ {unnamed} {'zone' if unnamed == 1 else 'zones'} without a number here, see zones.csv"
        x0, _, x1, y1 = layout.main
        words = shortened(page, words, 12, x1 - x0)
        write(page, (x1, y1 - page.px(6)), words, 12, QUIET_INK, anchor="rs")


def _draw_header(page: Page, record: PlanRecord, title: str) -> None:
    margin = page.px(MARGIN)
    right = page.image.size[0] - margin
    facts = [shortened(page, line, 14, page.px(520)) for line in _cutter_words(record)]
    facts_width = max((text_width(page, line, 14) for line in facts), default=0.0)
    room = right - facts_width - page.px(40) - margin
    name = plain_words(record.part.name) or plain_words(record.part.file) or "part"
    name = shortened(page, name, 30, room, bold=True)
    write(page, (margin, margin + page.px(26)), name, 30, bold=True)
    words = shortened(page, _part_words(record, title), 14, room)
    write(page, (margin, margin + page.px(56)), words, 14, QUIET_INK)
    for k, line in enumerate(reversed(facts)):
        write(page, (right, margin + page.px(56 - 22 * k)), line, 14, QUIET_INK, anchor="rs")
    y = margin + page.px(74)
    draw_line(page, (margin, y, right, y), INK, page.px(1.6))


def _part_words(record: PlanRecord, title: str) -> str:
    part = record.part
    unit = length_unit(record)
    size = " \N{MULTIPLICATION SIGN} ".join(unit.words(side) for side in part.size_mm)
    words = [title, f"{size} {unit.sign}"]
    if part.unit_assumed:
        words.append(f"unit assumed: {part.unit}")
    words.append(f"{len(record.zones)} zones")
    material = next((s.value for s in record.settings if s.name == "material" and s.source != "default"), None)
    if material is not None:
        words.append(material)
    if record.totals.total_min_range is not None:
        words.append("{:.0f} to {:.0f} min, all stages".format(*record.totals.total_min_range))
    words.append(record.created[:10])
    return "   ·   ".join(plain_words(word) for word in words)


def _cutter_words(record: PlanRecord) -> list[str]:
    """A line a stage, the last ones if there are many: its cutter and what it was asked for."""
    count = len(record.stages)
    first = 0 if count <= MOST_STAGES else count - (MOST_STAGES - 1)
    lines = [f"+ {first} stages before"] if first else []
    unit = length_unit(record)
    for k, stage in enumerate(record.stages[first:], start=first):
        tool = record.tools[stage.tool]
        cutter = f"{stage.name}: {tool.kind} Ø {unit.words(tool.diameter_mm)} {unit.sign}"
        lines.append(plain_words(", ".join([cutter, *_target_words(record, k, stage)])))
    return lines


def _target_words(record: PlanRecord, number: int, stage: StageRecord) -> list[str]:
    # a roughness is kept as the cusp that leaves it; what the job said is among the settings
    unit = length_unit(record)
    asked = next((setting.value for setting in record.settings if setting.name == f"stage {number}"), "")
    ra = re.match(r"\s*Ra ([0-9.eE+-]+) um", asked.removeprefix(f"{stage.name}:"))
    for name, um in (("Ra", float(ra[1]) if ra else None), ("cusp", stage.cusp_target_um)):
        if um is not None:
            size = um / unit.mm * UM_PER_MM if unit.is_inch else um
            return [f"{name} {float(f'{size:.3g}'):g} {'µin' if unit.is_inch else 'µm'}"]
    return [] if stage.stepover_mm is None else [f"stepover {stage.stepover_mm / unit.mm:.3g} {unit.sign}"]


def _draw_footer(page: Page, caption: str) -> None:
    width, height = page.image.size
    margin = page.px(MARGIN)
    y = height - margin - page.px(4)
    draw_line(page, (margin, y, width - margin, y), FAINT_INK, page.px(1))
    words = f"Parallel projection: the length scale holds in the plane of the main view.  {caption}"
    words = shortened(page, words, 11, width - 2 * margin)
    write(page, (margin, y + page.px(20)), words, 11, QUIET_INK)
