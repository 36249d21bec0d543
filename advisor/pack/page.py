"""A sheet to draw on: text in the shipped fonts, and smooth lines, boxes, swatches and badges."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from advisor.pack.palette import INK, PAPER, Colour, Paint, hatch_row

# Shapes are drawn this many times larger and averaged down.
SMOOTHNESS: Final = 4
ELLIPSIS: Final = "\N{HORIZONTAL ELLIPSIS}"
# Proportions of a badge, pixels on a page 1200 high.
BADGE_HEIGHT: Final = 21
BADGE_TEXT: Final = 13
BADGE_CELL: Final = 19
BADGE_PADDING: Final = 5
# Narrowest colour in a mark of several.
LEAST_STRIP: Final = 2.5

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Page:
    """A picture and the size of its text and lines: ``scale`` is 1 for a page 1200 pixels high.

    ``cover``, where it is kept, has how much of each pixel is drawn on, 0 to 255: the rest is bare paper.
    """

    image: Image.Image
    scale: float
    cover: Image.Image | None = None

    def px(self, length: float) -> float:
        """A length given for a page 1200 high, in pixels of this one."""
        return length * self.scale


@dataclass(frozen=True)
class Mark:
    """A sign in a small field: its paint, and a stroke that leans ``lean_deg`` up from level, or colours side by side.

    Attributes
    ----------
    strip : tuple of (Colour, float)
        Colours from left to right, and their share of the field.
    """

    paint: Paint
    lean_deg: float | None
    ink: Colour
    strip: tuple[tuple[Colour, float], ...] = ()


def blank_page(width: int, height: int, scale: float) -> Page:
    """A white page."""
    return Page(Image.new("RGB", (width, height), PAPER), scale)


def clear_page(width: int, height: int, scale: float) -> Page:
    """A page that knows where it is bare: ``without_paper`` makes a picture on nothing of it."""
    return replace(blank_page(width, height, scale), cover=Image.new("L", (width, height), 0))


def without_paper(page: Page) -> Image.Image:
    """The picture with an alpha channel: laid on white it is the page, pixel by pixel."""
    assert page.cover is not None, "made by clear_page"
    cover = np.asarray(page.cover, np.float32)[:, :, None] / 255.0
    told = np.asarray(page.image, np.float32)
    # what was drawn, freed of the paper that shines through it
    drawn = np.divide(told - 255.0 * (1.0 - cover), cover, out=np.zeros_like(told), where=cover > 0.0)
    return Image.fromarray(np.dstack([np.clip(drawn + 0.5, 0, 255).astype(np.uint8), np.asarray(page.cover)]), "RGBA")


def paste(page: Page, picture: Image.Image, at: tuple[int, int], cover: Image.Image | None = None) -> None:
    """Lay a picture on the page, its upper left corner at a pixel; ``cover`` is what of it is not paper."""
    page.image.paste(picture, at)
    if page.cover is not None:
        page.cover.paste(cover or 255, (*at, at[0] + picture.width, at[1] + picture.height))


@cache
def _font(size: int, bold: bool) -> ImageFont.FreeTypeFont:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    # the plain layout engine: the other one is not on every machine and would move letters
    return ImageFont.truetype(str(Path(__file__).parent / "fonts" / name), size, layout_engine=ImageFont.Layout.BASIC)


def _font_of(page: Page, size: float, bold: bool) -> ImageFont.FreeTypeFont:
    return _font(max(6, round(page.px(size))), bold)


def plain_words(words: str) -> str:
    """Text on one line, without control and direction characters, in composed form."""
    composed = unicodedata.normalize("NFC", words)
    kept = "".join(" " if unicodedata.category(letter)[0] in "CZ" else letter for letter in composed)
    return " ".join(kept.split())


def text_width(page: Page, words: str, size: float, bold: bool = False) -> float:
    """Width of a line of text, pixels."""
    return float(_font_of(page, size, bold).getlength(words))


def shortened(page: Page, words: str, size: float, width: float, bold: bool = False) -> str:
    """The words, or as many of their first letters and an ellipsis as fit in ``width`` pixels."""
    if text_width(page, words, size, bold) <= width:
        return words
    shortest, longest = 0, len(words)
    while shortest < longest:
        middle = (shortest + longest + 1) // 2
        if text_width(page, words[:middle].rstrip() + ELLIPSIS, size, bold) <= width:
            shortest = middle
        else:
            longest = middle - 1
    return words[:shortest].rstrip() + ELLIPSIS


def write(
    page: Page,
    at: tuple[float, float],
    words: str,
    size: float = 14,
    colour: Colour = INK,
    *,
    bold: bool = False,
    anchor: str = "ls",
) -> None:
    """Write a line of text; ``anchor`` as in Pillow: l, m, r across and s (baseline), m, a down."""
    place, font = (round(at[0]), round(at[1])), _font_of(page, size, bold)
    ImageDraw.Draw(page.image).text(place, words, fill=colour, font=font, anchor=anchor)
    if page.cover is not None:
        ImageDraw.Draw(page.cover).text(place, words, fill=255, font=font, anchor=anchor)


def _smooth(page: Page, box: Box, colour: Colour, shape: Callable[[ImageDraw.ImageDraw, int, int], None]) -> None:
    # `shape` draws in white on a mask whose corner lies at the whole pixels given to it, in page pixels
    left, top = math.floor(box[0]) - 1, math.floor(box[1]) - 1
    width, height = math.ceil(box[2]) + 1 - left, math.ceil(box[3]) + 1 - top
    mask = Image.new("L", (width * SMOOTHNESS, height * SMOOTHNESS), 0)
    shape(ImageDraw.Draw(mask), left, top)
    mask = mask.reduce(SMOOTHNESS)
    page.image.paste(colour, (left, top), mask)
    if page.cover is not None:
        page.cover.paste(255, (left, top), mask)


def fill_box(page: Page, box: Box, colour: Colour, radius: float = 0.0) -> None:
    """Fill a box with rounded corners; all in pixels."""

    def shape(pen: ImageDraw.ImageDraw, left: int, top: int) -> None:
        corners = [(value - (left, top)[i % 2]) * SMOOTHNESS - (i > 1) for i, value in enumerate(box)]
        x0, y0, x1, y1 = corners
        pen.rounded_rectangle((x0, y0, max(x0, x1), max(y0, y1)), radius * SMOOTHNESS, fill=255)

    if box[2] > box[0] and box[3] > box[1]:
        _smooth(page, box, colour, shape)


def fill_pattern(page: Page, box: Box, paint: Paint) -> None:
    """Fill a box, to whole pixels, with a paint in full light and its hatching."""
    left, top, right, bottom = (round(length) for length in box)
    if right <= left or bottom <= top:
        return
    y, x = np.mgrid[top * SMOOTHNESS : bottom * SMOOTHNESS, left * SMOOTHNESS : right * SMOOTHNESS] + 0.5
    is_line = np.zeros(x.shape, np.bool_)
    if paint.hatch is not None:
        *first, share, across, down = hatch_row(paint.pattern, page.scale * SMOOTHNESS)
        is_line |= (first[0] * x + first[1] * y) % 1.0 < share
        if paint.pattern.is_crossed:
            is_line |= (across * x + down * y) % 1.0 < share
    picture = Image.new("RGB", (right - left, bottom - top), paint.lit)
    mask = Image.fromarray(is_line.astype(np.uint8) * 255).reduce(SMOOTHNESS)
    picture.paste(paint.hatch or paint.lit, (0, 0), mask)
    paste(page, picture, (left, top))


def draw_line(page: Page, ends: Box, colour: Colour, width: float) -> None:
    """A straight line with round ends from (x, y) to (x, y), pixels."""
    fill_polygon(page, _band(ends, width), colour)
    for x, y in (ends[:2], ends[2:]):
        fill_dot(page, x, y, width / 2, colour)


def fill_dot(page: Page, x: float, y: float, radius: float, colour: Colour) -> None:
    """A round dot, pixels."""
    fill_box(page, (x - radius, y - radius, x + radius, y + radius), colour, radius)


def fill_polygon(page: Page, points: list[tuple[float, float]], colour: Colour) -> None:
    """A filled polygon, pixels."""
    xs, ys = [x for x, _ in points], [y for _, y in points]

    def shape(pen: ImageDraw.ImageDraw, left: int, top: int) -> None:
        pen.polygon([((x - left) * SMOOTHNESS - 0.5, (y - top) * SMOOTHNESS - 0.5) for x, y in points], fill=255)

    _smooth(page, (min(xs), min(ys), max(xs), max(ys)), colour, shape)


def _band(ends: Box, width: float) -> list[tuple[float, float]]:
    x0, y0, x1, y1 = ends
    length = math.hypot(x1 - x0, y1 - y0) or 1.0
    aside_x, aside_y = -(y1 - y0) / length * width / 2, (x1 - x0) / length * width / 2
    return [
        (x0 + aside_x, y0 + aside_y),
        (x1 + aside_x, y1 + aside_y),
        (x1 - aside_x, y1 - aside_y),
        (x0 - aside_x, y0 - aside_y),
    ]


def draw_arrow(page: Page, ends: Box, colour: Colour, width: float, head: float) -> None:
    """A line that ends in an arrow head ``head`` pixels long at its second point."""
    x0, y0, x1, y1 = ends
    length = math.hypot(x1 - x0, y1 - y0)
    if length < 1e-9:
        return
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    head = min(head, length)
    neck_x, neck_y = x1 - head * ux, y1 - head * uy
    draw_line(page, (x0, y0, neck_x, neck_y), colour, width)
    half = 0.38 * head
    wings = [(neck_x - half * uy, neck_y + half * ux), (neck_x + half * uy, neck_y - half * ux)]
    fill_polygon(page, [(x1, y1), *wings], colour)


def draw_swatch(page: Page, box: Box, mark: Mark, edge: float = 1.2, radius: float = 3.0) -> None:
    """A small field with a mark."""
    edge, radius = page.px(edge), page.px(radius)
    fill_box(page, box, INK, radius)
    inner = (box[0] + edge, box[1] + edge, box[2] - edge, box[3] - edge)
    fill_box(page, inner, mark.paint.lit, max(0.0, radius - edge))
    _draw_mark(page, inner, mark)


def draw_sample(page: Page, box: Box, mark: Mark) -> None:
    """A wide field: a mark on the left, and its paint as it looks on the part on the right."""
    left, top, right, bottom = box
    middle = left + (bottom - top) * 1.1
    draw_swatch(page, box, Mark(mark.paint, None, mark.ink))
    edge = page.px(1.2)
    if mark.paint.hatch is not None:
        fill_pattern(page, (middle, top + edge, right - edge, bottom - edge), mark.paint)
    fill_box(page, (middle, top, middle + page.px(1), bottom), INK)
    _draw_mark(page, (left + edge, top + edge, middle, bottom - edge), mark)


def _draw_mark(page: Page, box: Box, mark: Mark) -> None:
    _draw_strip(page, box, mark.strip)
    if mark.lean_deg is None:
        return
    middle_x, middle_y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    half = 0.36 * min(box[2] - box[0], box[3] - box[1])
    lean = math.radians(mark.lean_deg)
    dx, dy = half * math.cos(lean), -half * math.sin(lean)
    draw_line(page, (middle_x - dx, middle_y - dy, middle_x + dx, middle_y + dy), mark.ink, page.px(2.4))


def _draw_strip(page: Page, box: Box, strip: tuple[tuple[Colour, float], ...]) -> None:
    # what is there at all is seen: no narrower than a line
    left, top, right, bottom = box
    widths = [max(share * (right - left), page.px(LEAST_STRIP)) for _, share in strip]
    shrink = (right - left) / sum(widths) if widths else 1.0
    at = left
    for (colour, _), width in zip(strip, widths, strict=True):
        fill_box(page, (at, top, at + width * shrink, bottom), colour)
        at += width * shrink


def badge_size(page: Page, words: str, share: float = 1.0) -> tuple[int, int]:
    """Width and height of a badge, pixels; ``share`` of the usual size."""
    words_width = text_width(page, words, BADGE_TEXT * share, bold=True)
    width = page.px((BADGE_CELL + 2 * BADGE_PADDING) * share) + words_width
    return math.ceil(width), math.ceil(page.px(BADGE_HEIGHT * share))


def draw_badge(page: Page, box: Box, mark: Mark, words: str, share: float = 1.0) -> None:
    """A badge: a mark, and a number beside it."""
    left, top, right, bottom = box
    edge, radius = page.px(1.3), page.px(4 * share)
    fill_box(page, box, INK, radius)
    fill_box(page, (left + edge, top + edge, right - edge, bottom - edge), PAPER, radius - edge)
    cell = left + page.px(BADGE_CELL * share)
    fill_box(page, (left + edge, top + edge, cell, bottom - edge), mark.paint.lit, radius - edge)
    fill_box(page, (cell - radius, top + edge, cell, bottom - edge), mark.paint.lit)
    fill_box(page, (cell, top, cell + page.px(1), bottom), INK)
    _draw_mark(page, (left + edge, top + edge, cell, bottom - edge), mark)
    middle = (cell + page.px(1) + right - edge) / 2
    write(page, (middle, (top + bottom) / 2), words, BADGE_TEXT * share, bold=True, anchor="mm")
