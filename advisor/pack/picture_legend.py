"""The legend of a map: a row for each named paint with its share of the area, and a bar for paints that are numbers."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
from PIL import Image

from advisor.pack.colour_map import ColourMap, LegendRow
from advisor.pack.page import (
    Box,
    Page,
    draw_line,
    draw_sample,
    fill_box,
    fill_pattern,
    fill_polygon,
    paste,
    shortened,
    text_width,
    write,
)
from advisor.pack.palette import FAINT_INK, INK, PAPER, QUIET_INK, Colour
from advisor.pack.picture_key import DASH, draw_heading
from advisor.pack.scales import Scale

# Heights on a page 1200 high, pixels: a row, what stands above the rows, a bar with its numbers, a note.
LEGEND_ROW: Final = 30
LEGEND_HEADING: Final = 12
SCALE_BLOCK: Final = 66
NOTE: Final = 24
# Of the bar: its height, the pointed end where values lie beyond, and free pixels between two numbers.
BAR: Final = 26
POINT: Final = 12
TICK_GAP: Final = 9
# Letters on a paler colour than this are ink, on a darker one paper: halfway of sRGB luma.
_PALE: Final = 140.0


def legend_height(colours: ColourMap) -> int:
    """Height of the legend, pixels on a page 1200 high."""
    bar = 0 if colours.scale is None else SCALE_BLOCK
    return LEGEND_HEADING + bar + LEGEND_ROW * len(colours.rows) + (NOTE if colours.note else 0)


def draw_legend(page: Page, box: Box, colours: ColourMap) -> float:
    """Bar, rows with marks, meanings and shares of area, and a note; returns where the legend ends."""
    left, y, right = box[0], box[1], box[2]
    unit = "" if colours.scale is None else f", {colours.scale.sign}"
    draw_heading(page, left, y, f"{colours.heading.upper()}{unit}")
    if colours.rows:
        draw_heading(page, right, y, "SHARE OF AREA", anchor="rs")
    y += page.px(LEGEND_HEADING)
    if colours.scale is not None:
        draw_bar(page, (left, y + page.px(4), right, y + page.px(4 + BAR)), colours.scale)
        y += page.px(SCALE_BLOCK)
    for row in colours.rows:
        _legend_row(page, (left, y, right, y + page.px(LEGEND_ROW)), row)
        y += page.px(LEGEND_ROW)
    if colours.note:
        y += page.px(NOTE)
        write(page, (left, y - page.px(6)), shortened(page, colours.note, 13, right - left), 13, QUIET_INK)
    return y


def draw_bar(page: Page, box: Box, scale: Scale) -> None:
    """The colours of a scale side by side, the share of area in each, and numbers at round places below."""
    left, top, right, bottom = (round(length) for length in box)
    point, edge = round(page.px(POINT)), max(1, round(page.px(1.2)))
    first = left + (point if scale.open_low else 0)
    last = right - (point if scale.open_high else 0)
    for is_open, base, tip, colour in (
        (scale.open_low, first, left, scale.colours[0]),
        (scale.open_high, last, right, scale.colours[-1]),
    ):
        if is_open:
            _draw_point(page, (base, top, tip, bottom), colour, edge)
    fill_box(page, (first, top, last, bottom), INK)
    band = np.array(scale.colours, np.uint8)[np.arange(last - first - 2 * edge) * len(scale.colours) // (last - first)]
    inner = np.broadcast_to(band, (bottom - top - 2 * edge, *band.shape))
    paste(page, Image.fromarray(np.ascontiguousarray(inner)), (first + edge, top + edge))
    for k, paint in enumerate(scale.paints):
        ends = (first + (last - first) * at / len(scale.paints) for at in (k, k + 1))
        start, end = (min(max(round(at), first + edge), last - edge) for at in ends)
        fill_pattern(page, (start, top + edge, end, bottom - edge), paint)
    _draw_shares(page, (first, top, last, bottom), scale, edge)
    for place, words, anchor in spaced_ticks(page, scale, last - first):
        at = first + (last - first) * place
        if 0.0 < place < 1.0:
            draw_line(page, (at, bottom, at, bottom + page.px(4)), INK, page.px(1.2))
        write(page, (at, bottom + page.px(19)), words, 13, anchor=anchor)


def spaced_ticks(page: Page, scale: Scale, width: float) -> list[tuple[float, str, str]]:
    """Place, words and anchor of as many ticks, evenly taken, as do not touch each other along ``width`` pixels."""
    ticks = scale.ticks
    for stride in range(1, len(ticks) + 1):
        kept = ticks[::stride]
        spans = [_span(page, place, words, width) for place, words in kept]
        if all(one[1] + page.px(TICK_GAP) <= other[0] for one, other in pairwise(spans)):
            return [(place, words, _anchor(place)) for place, words in kept]
    return []


def _anchor(place: float) -> str:
    return "ls" if place <= 0.0 else "rs" if place >= 1.0 else "ms"


def _span(page: Page, place: float, words: str, width: float) -> tuple[float, float]:
    wide, at = text_width(page, words, 13), place * width
    start = {"l": at, "m": at - wide / 2, "r": at - wide}[_anchor(place)[0]]
    return start, start + wide


def _draw_point(page: Page, ends: tuple[int, int, int, int], colour: Colour, edge: float) -> None:
    base, top, tip, bottom = ends
    fill_polygon(page, [(base, top), (tip, (top + bottom) / 2), (base, bottom)], INK)
    inward = edge if tip > base else -edge
    inner = [(base, top + 2 * edge), (tip - 1.6 * inward, (top + bottom) / 2), (base, bottom - 2 * edge)]
    fill_polygon(page, inner, colour)


def _draw_shares(page: Page, box: Box, scale: Scale, edge: float) -> None:
    left, top, right, bottom = box
    wide = (right - left) / len(scale.colours)
    for k, share in enumerate(scale.shares):
        red, green, blue = scale.colours[k]
        if k:
            at = round(left + k * wide)
            fill_box(page, (at - edge / 2, top, at + edge / 2, bottom), INK)
        words = percent(share)
        if text_width(page, words, 12) <= wide - page.px(4):
            if scale.paints:  # no letters on lines
                half = text_width(page, words, 12) / 2 + page.px(3)
                middle = left + (k + 0.5) * wide
                fill_box(page, (middle - half, top + page.px(5), middle + half, bottom - page.px(5)), PAPER)
                red = green = blue = 255
            ink = INK if 0.299 * red + 0.587 * green + 0.114 * blue > _PALE else PAPER
            write(page, (left + (k + 0.5) * wide, (top + bottom) / 2), words, 12, ink, anchor="mm")


def _legend_row(page: Page, row: Box, entry: LegendRow) -> None:
    left, top, right, bottom = row
    baseline = (top + bottom) / 2 + page.px(5)
    draw_sample(page, (left, top + page.px(4), left + page.px(58), bottom - page.px(4)), entry.mark)
    at = left + page.px(70)
    write(page, (at, baseline), entry.name, 14, bold=True)
    at += text_width(page, entry.name, 14, bold=True) + page.px(10)
    bar_left, bar_right = right - page.px(158), right - page.px(48)
    write(page, (at, baseline), shortened(page, entry.words, 13, bar_left - page.px(8) - at), 13, QUIET_INK)
    middle = (top + bottom) / 2
    draw_line(page, (bar_left, middle, bar_right, middle), FAINT_INK, page.px(1))
    length = (bar_right - bar_left) * entry.share
    if entry.share > 0.0:
        ends = (bar_left, middle - page.px(5), bar_left + max(length, page.px(2)), middle + page.px(5))
        if entry.mark.paint.lit == PAPER:
            fill_box(page, ends, INK)
            fill_pattern(page, (ends[0] + 1, ends[1] + 1, ends[2] - 1, ends[3] - 1), entry.mark.paint)
        else:
            fill_box(page, ends, entry.mark.paint.lit)
    write(page, (right, baseline), percent(entry.share), 13, anchor="rs")


def percent(share: float) -> str:
    """A share in whole percent.

    >>> percent(0.0), percent(0.001), percent(0.256)
    ('–', '< 1 %', '26 %')
    """
    if share <= 0.0:
        return DASH
    return "< 1 %" if share < 0.005 else f"{100.0 * share:.0f} %"
