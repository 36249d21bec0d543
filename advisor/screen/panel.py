"""Panels over the part: zone card, legend and keys as small pictures, in the letters of the zone map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from PIL import Image

from advisor.model import Plan
from advisor.pack.card import Card
from advisor.pack.page import (
    Page,
    badge_size,
    blank_page,
    draw_badge,
    fill_box,
    plain_words,
    shortened,
    text_width,
    write,
)
from advisor.pack.palette import FAINT_INK, INK, QUIET_INK
from advisor.pack.picture_key import mark_of
from advisor.pack.picture_legend import BAR, draw_bar
from advisor.pack.scales import Scale
from advisor.screen.colours import Legend
from advisor.screen.look import KEYS, MOUSE_WORDS

# Sizes at a scale of 1, pixels.
CARD_WIDTH: Final = 372
_LEGEND_WIDTH: Final = 268
_PAD: Final = 16
_ROW: Final = 21
_TEXT: Final = 13
_LABEL_WIDTH: Final = 104
_KEY_WIDTH: Final = 82
_ROOM: Final = 3000


@dataclass
class _Sheet:
    """A panel in the making: a page that is cut to its length at the end, and how far it is written."""

    page: Page
    width: float
    y: float

    def text(self, x: float, words: str, *, quiet: bool = False, bold: bool = False, size: float = _TEXT) -> None:
        write(self.page, (x, self.y), words, size, QUIET_INK if quiet else INK, bold=bold)

    def down(self, rows: float = 1.0) -> None:
        self.y += self.page.px(_ROW) * rows


def draw_card(card: Card, scale: float = 1.0) -> Image.Image:
    """The card of a zone: badge and name, facts in two columns, reasons below."""
    sheet = _sheet(CARD_WIDTH, scale)
    px, left = sheet.page.px, sheet.page.px(_PAD)
    words = str(card.zone.id)
    wide, high = badge_size(sheet.page, words, 1.15)
    draw_badge(sheet.page, (left, left, left + wide, left + high), mark_of(card.zone), words, 1.15)
    name = plain_words(card.zone.name)
    sheet.y = left + px(18)
    at = left + wide + px(11)
    sheet.text(at, shortened(sheet.page, name, 16, sheet.width - px(_PAD) - at, bold=True), bold=True, size=16)
    sheet.y = left + high + px(24)
    for label, value in card.facts:
        _write_fact(sheet, label, value)
    if card.reasons:
        sheet.down(0.45)
        sheet.text(left, "why", quiet=True)
        for sentence in card.reasons:
            for line in _wrapped(sheet.page, sentence, sheet.width - px(2 * _PAD)):
                sheet.down(0.92)
                sheet.text(left, line)
            sheet.down(0.25)
        sheet.down()
    return _cut(sheet)


def draw_legend(plan: Plan, legend: Legend, scale: float = 1.0) -> Image.Image:
    """The part's name, and what the colours mean."""
    sheet = _sheet(_LEGEND_WIDTH, scale)
    px, left = sheet.page.px, sheet.page.px(_PAD)
    room = sheet.width - px(2 * _PAD)
    sheet.y = px(_PAD + 14)
    name = plain_words(plan.record.part.name) or "part"
    sheet.text(left, shortened(sheet.page, name, 16, room, bold=True), bold=True, size=16)
    sheet.down()
    unit = "" if legend.scale is None else f", {legend.scale.sign}"
    for line in _wrapped(sheet.page, f"colour: {legend.heading}{unit}", room):
        sheet.text(left, line, quiet=True)
        sheet.down()
    sheet.down(0.15)
    if legend.scale is not None:
        _draw_scale(sheet, legend.scale)
    for colour, words in legend.rows:
        fill_box(sheet.page, (left, sheet.y - px(12), left + px(22), sheet.y + px(3)), INK, px(3))
        inner = (left + px(1), sheet.y - px(11), left + px(21), sheet.y + px(2))
        fill_box(sheet.page, inner, colour, px(2))
        sheet.text(left + px(32), shortened(sheet.page, words, _TEXT, room - px(32)))
        sheet.down()
    for line in _wrapped(sheet.page, legend.note, room):
        sheet.text(left, line)
        sheet.down(0.92)
    return _cut(sheet)


def draw_help(scale: float = 1.0) -> Image.Image:
    """Mouse and keys, and what they do."""
    sheet = _sheet(CARD_WIDTH, scale)
    left = sheet.page.px(_PAD)
    sheet.y = sheet.page.px(_PAD + 14)
    rows = [*MOUSE_WORDS, *((name, words) for _, name, words in KEYS.values())]
    for k, (name, words) in enumerate(rows):
        if k == len(MOUSE_WORDS):
            sheet.down(0.4)
        sheet.text(left, name, bold=True)
        sheet.text(left + sheet.page.px(_KEY_WIDTH + 10), words)
        sheet.down()
    return _cut(sheet)


def draw_note(words: str, scale: float = 1.0) -> Image.Image:
    """One line of text."""
    page = blank_page(8, 8, scale)
    words = shortened(page, words, _TEXT, page.px(3 * CARD_WIDTH))
    sheet = _sheet(text_width(page, words, _TEXT) / scale + 2 * _PAD + 1, scale)
    sheet.y = page.px(_PAD + 4)
    sheet.text(page.px(_PAD), words)
    sheet.down(0.4)
    return _cut(sheet)


def _sheet(width: float, scale: float) -> _Sheet:
    page = blank_page(round(width * scale), round(_ROOM * scale), scale)
    return _Sheet(page, float(page.image.size[0]), page.px(_PAD))


def _cut(sheet: _Sheet) -> Image.Image:
    """The written part of a sheet within a thin frame."""
    height = min(sheet.page.image.size[1], round(sheet.y + sheet.page.px(_PAD) - sheet.page.px(_ROW - 8)))
    picture = Image.new("RGB", (sheet.page.image.size[0], height), FAINT_INK)
    edge = max(1, round(sheet.page.scale))
    inner = sheet.page.image.crop((edge, edge, sheet.page.image.size[0] - edge, height - edge))
    picture.paste(inner, (edge, edge))
    return picture


def _write_fact(sheet: _Sheet, label: str, value: str) -> None:
    px, left = sheet.page.px, sheet.page.px(_PAD)
    at = left + px(_LABEL_WIDTH)
    sheet.text(left, label, quiet=True)
    for line in _wrapped(sheet.page, value, sheet.width - px(_PAD) - at):
        sheet.text(at, line)
        sheet.down(0.92)
    sheet.down(0.08)


def _wrapped(page: Page, words: str, width: float) -> list[str]:
    """Words in lines that fit the width; a longer word is cut off."""
    lines: list[str] = []
    for word in plain_words(words).split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(page, longer, _TEXT) <= width:
            lines[-1] = longer
        else:
            lines.append(shortened(page, word, _TEXT, width))
    return lines


def _draw_scale(sheet: _Sheet, scale: Scale) -> None:
    """The bar of a scale, and the numbers below it."""
    px, left = sheet.page.px, sheet.page.px(_PAD)
    top = sheet.y - px(12)
    draw_bar(sheet.page, (left, top, sheet.width - left, top + px(BAR)), scale)
    sheet.y = top + px(BAR + 46)
