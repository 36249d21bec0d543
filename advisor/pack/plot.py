"""Curves on a page: axes with round ticks, lines told apart by dashes and markers, labels that keep clear."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from advisor.pack.page import Box, Page, draw_line, fill_box, fill_dot, fill_polygon, text_width, write
from advisor.pack.palette import FAINT_INK, INK, PAPER, QUIET_INK, Colour
from advisor.pack.scales import round_edges
from advisor.words import plain_number

# Values that span more than this ratio are shown by their logarithm.
LOG_FROM_RATIO: Final = 4.0
# Room beyond the first and last value, a share of the axis.
_ROOM: Final = 0.08
# The least room by logarithm: a factor. One value alone stands in the middle of such an axis.
_LEAST_LOG_ROOM: Final = 1.05
_MOST_TICKS: Final = 6
# Round digits of a decade, more of them where a decade is not filled.
_DECADES: Final = ((1.0,), (1.0, 3.0), (1.0, 2.0, 5.0), (1.0, 1.5, 2.0, 3.0, 5.0, 7.0))
_FEWEST_TICKS: Final = 3
# Dash patterns, pixels drawn and left out on a page 1200 high; the first is a whole line.
DASHES: Final = ((), (14.0, 6.0), (3.0, 5.0), (14.0, 5.0, 3.0, 5.0), (7.0, 4.0), (20.0, 5.0, 3.0, 5.0, 3.0, 5.0))
_LABEL: Final = 12.0
# Where labels are tried: directions from their point, right and above first, and how far from it, pixels.
_ANGLES_DEG: Final = (40, 220, 15, 195, 0, 180, 65, 245, 90, 270, 335, 155, 310, 130)
_AWAY: Final = (9.0, 13.0, 18.0)
_MARKER: Final = 6.5
# Corners of markers about their middle, each of about one area; the first is a disc.
_SHAPES: Final[tuple[tuple[tuple[float, float], ...], ...]] = (
    (),
    ((-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)),
    ((0.0, -1.2), (1.15, 0.8), (-1.15, 0.8)),
    ((0.0, -1.3), (1.3, 0.0), (0.0, 1.3), (-1.3, 0.0)),
    ((0.0, 1.2), (1.15, -0.8), (-1.15, -0.8)),
    ((-0.4, -1.2), (0.4, -1.2), (0.4, -0.4), (1.2, -0.4), (1.2, 0.4), (0.4, 0.4), (0.4, 1.2), (-0.4, 1.2),
     (-0.4, 0.4), (-1.2, 0.4), (-1.2, -0.4), (-0.4, -0.4)),
)  # fmt: skip


@dataclass(frozen=True)
class Axis:
    """A range of values along a side of a panel, straight or by logarithm, and its ticks."""

    low: float
    high: float
    is_log: bool
    ticks: tuple[float, ...]

    def share(self, value: float) -> float:
        """Place of a value along the axis, 0 to 1."""
        if self.is_log:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True)
class Dot:
    """A point of a curve; one that is not full has a hollow marker, and one that is ringed a ring about it."""

    x: float
    y: float
    label: str
    is_full: bool = True
    is_ringed: bool = False


@dataclass(frozen=True)
class Curve:
    """Points joined by a line, in a style by its number: dashes and marker; and a colour."""

    name: str
    dots: tuple[Dot, ...]
    style: int
    colour: Colour


@dataclass(frozen=True)
class Level:
    """A height marked right across a panel."""

    y: float
    words: str


def axis_of(values: Sequence[float]) -> Axis:
    """The axis that holds positive values with room at both ends.

    >>> axis_of([10.0, 20.0]).is_log, axis_of([1.0, 50.0]).is_log
    (False, True)
    """
    low, high = min(values), max(values)
    if high / low >= LOG_FROM_RATIO:
        return log_axis_of(values)
    spare = _ROOM * max(high - low, 0.1 * high)
    low, high = max(low - spare, 0.0), high + spare
    ticks = tuple(edge for edge in round_edges(low, high, _MOST_TICKS) if low <= edge <= high)
    return Axis(low, high, False, ticks)


def log_axis_of(values: Sequence[float]) -> Axis:
    """The axis by logarithm, however near its positive values lie: for panels that are to be alike.

    >>> log_axis_of([10.0, 20.0]).is_log
    True
    """
    low, high = min(values), max(values)
    ratio = max((high / low) ** _ROOM, _LEAST_LOG_ROOM)
    low, high = low / ratio, high * ratio
    return Axis(low, high, True, _log_ticks(low, high))


def _log_ticks(low: float, high: float) -> tuple[float, ...]:
    """Round values of as few digits a decade as give ticks enough."""
    told: tuple[float, ...] = ()
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    for digits in _DECADES:
        values = [float(f"{digit}e{power}") for power in range(first, last + 1) for digit in digits]
        told = tuple(value for value in values if low <= value <= high)
        if len(told) >= _FEWEST_TICKS:
            break
    return told


def draw_panel(
    page: Page,
    box: Box,
    across: Axis,
    up: Axis,
    curves: Sequence[Curve],
    level: Level | None,
    *,
    numbers_up: bool = True,
) -> None:
    """Axes with their ticks in a box, a level, and the curves with labels at the points that have one.

    Parameters
    ----------
    numbers_up : bool
        Whether to write numbers beside the upright axis: panels of a row share them.
    """
    _draw_grid(page, box, across, up, numbers_up)
    taken: list[Box] = []
    on_level = None if level is None else _draw_level(page, box, up, level, taken)
    lines = []
    for curve in curves:
        points = [_place(box, across, up, dot.x, dot.y) for dot in curve.dots]
        lines.append(points)
        _dashed(page, points, curve.colour, page.px(2.4), DASHES[curve.style % len(DASHES)])
    for curve, points in zip(curves, lines, strict=True):
        for dot, at in zip(curve.dots, points, strict=True):
            draw_marker(page, at, curve.style, curve.colour, is_full=dot.is_full, is_ringed=dot.is_ringed)
            reach = page.px(_MARKER * (2.0 if dot.is_ringed else 1.3))
            taken.append((at[0] - reach, at[1] - reach, at[0] + reach, at[1] + reach))
    taken += [_about(point, page.px(2)) for points in lines for pair in pairwise(points) for point in _along(*pair)]
    for curve, points in zip(curves, lines, strict=True):
        for dot, at in zip(curve.dots, points, strict=True):
            if dot.label:
                _write_label(page, box, at, dot.label, taken, on_level)


def draw_marker(
    page: Page, at: tuple[float, float], style: int, colour: Colour, *, is_full: bool = True, is_ringed: bool = False
) -> None:
    """A marker with a dark edge, full or hollow; a ring about it makes it stand out."""
    if is_ringed:
        fill_dot(page, *at, page.px(_MARKER * 2.0), INK)
        fill_dot(page, *at, page.px(_MARKER * 2.0 - 1.8), PAPER)
    _shape(page, at, style, page.px(_MARKER), INK)
    _shape(page, at, style, page.px(_MARKER - 1.8), colour if is_full else PAPER)


def draw_key(page: Page, at: tuple[float, float], curves: Sequence[Curve]) -> None:
    """Names of curves, each beside a piece of its line with its marker, one below the other."""
    left, y = at
    for curve in curves:
        right = left + page.px(56)
        _dashed(page, [(left, y), (right, y)], curve.colour, page.px(2.4), DASHES[curve.style % len(DASHES)])
        draw_marker(page, ((left + right) / 2, y), curve.style, curve.colour)
        write(page, (right + page.px(10), y + page.px(5)), curve.name, 14)
        y += page.px(26)


def _draw_grid(page: Page, box: Box, across: Axis, up: Axis, numbers_up: bool) -> None:
    left, top, right, bottom = box
    for value in across.ticks:
        x = _place(box, across, up, value, up.low)[0]
        draw_line(page, (x, top, x, bottom), FAINT_INK, page.px(0.8))
        write(page, (x, bottom + page.px(19)), plain_number(value), 13, anchor="ms")
    for value in up.ticks:
        y = _place(box, across, up, across.low, value)[1]
        draw_line(page, (left, y, right, y), FAINT_INK, page.px(0.8))
        if numbers_up:
            write(page, (left - page.px(8), y + page.px(5)), plain_number(value), 13, anchor="rs")
    draw_line(page, (left, top, left, bottom), INK, page.px(1.4))
    draw_line(page, (left, bottom, right, bottom), INK, page.px(1.4))


def _draw_level(page: Page, box: Box, up: Axis, level: Level, taken: list[Box]) -> Box:
    """Draws a level and its words, for which room is taken; the room of the line."""
    left, top, right, bottom = box
    height = bottom - (bottom - top) * up.share(level.y)
    _dashed(page, [(left, height), (right, height)], QUIET_INK, page.px(1.6), (9.0, 4.0))
    taken.append(_level_words(page, box, height, level.words))
    return (left, height - 1.0, right, height + 1.0)


def _level_words(page: Page, box: Box, height: float, words: str) -> Box:
    """Writes the words of the level above its right end; the room they take."""
    right, width = box[2] - page.px(4), text_width(page, words, _LABEL, bold=True)
    room = (right - width, height - page.px(18), right, height)
    write(page, (right, height - page.px(5)), words, _LABEL, INK, bold=True, anchor="rs")
    return room


def _place(box: Box, across: Axis, up: Axis, x: float, y: float) -> tuple[float, float]:
    left, top, right, bottom = box
    return left + (right - left) * across.share(x), bottom - (bottom - top) * up.share(y)


def _shape(page: Page, at: tuple[float, float], style: int, size: float, colour: Colour) -> None:
    corners = _SHAPES[style % len(_SHAPES)]
    if corners:
        fill_polygon(page, [(at[0] + x * size, at[1] + y * size) for x, y in corners], colour)
    else:
        fill_dot(page, *at, size, colour)


def _dashed(
    page: Page, points: Sequence[tuple[float, float]], colour: Colour, width: float, dashes: Sequence[float]
) -> None:
    """A line through points, in dashes that run on round its corners."""
    pattern = [page.px(length) for length in dashes] or [math.inf]
    place, spent = 0, 0.0
    for (x0, y0), (x1, y1) in pairwise(points):
        length, gone = math.hypot(x1 - x0, y1 - y0), 0.0
        while gone < length:
            step = min(pattern[place] - spent, length - gone)
            if place % 2 == 0:
                shares = (gone / length, (gone + step) / length)
                ends = [(x0 + (x1 - x0) * share, y0 + (y1 - y0) * share) for share in shares]
                draw_line(page, (*ends[0], *ends[1]), colour, width)
            gone, spent = gone + step, spent + step
            if spent >= pattern[place]:
                place, spent = (place + 1) % len(pattern), 0.0


def _along(start: tuple[float, float], end: tuple[float, float]) -> list[tuple[float, float]]:
    count = max(2, int(math.dist(start, end) / 6))
    return [
        (start[0] + (end[0] - start[0]) * n / count, start[1] + (end[1] - start[1]) * n / count) for n in range(count)
    ]


def _about(point: tuple[float, float], reach: float) -> Box:
    return (point[0] - reach, point[1] - reach, point[0] + reach, point[1] + reach)


def _write_label(
    page: Page, box: Box, at: tuple[float, float], words: str, taken: list[Box], avoided: Box | None
) -> None:
    """The label of a point beside it where it is free, off the box avoided if it can be; left out where nothing is."""
    width, height = text_width(page, words, _LABEL), page.px(10)
    spots = [(away, angle) for away in _AWAY for angle in _ANGLES_DEG]
    rooms = [_room(page, at, width, height, *spot) for spot in spots]
    free = [room for room in rooms if _is_in(room, box) and not any(_meet(room, other) for other in taken)]
    if free:
        room = next((one for one in free if avoided is None or not _meet(one, avoided)), free[0])
        fill_box(page, room, PAPER)
        write(page, (room[0] + 2, room[3] - 2), words, _LABEL, INK)
        taken.append(room)


def _room(page: Page, at: tuple[float, float], width: float, height: float, away: float, angle_deg: float) -> Box:
    """Room of words about a point: their middle lies so far out that they keep clear of the marker."""
    right, down = math.cos(math.radians(angle_deg)), -math.sin(math.radians(angle_deg))
    x = at[0] + right * page.px(away) + (_side(right) - 1.0) * width / 2
    y = at[1] + down * page.px(away) + (_side(down) - 1.0) * height / 2
    return (x - 2, y - 2, x + width + 2, y + height + 2)


def _side(component: float) -> float:
    return max(-1.0, min(1.0, 1.6 * component))


def _is_in(one: Box, other: Box) -> bool:
    return one[0] >= other[0] and one[1] >= other[1] and one[2] <= other[2] and one[3] <= other[3]


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
