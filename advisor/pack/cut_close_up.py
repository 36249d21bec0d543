"""The close-up on a cusp map: a small square of what passes leave as a lit relief, and a section through it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from advisor.model import Plan, PlanRecord
from advisor.pack.colour_map import ColourMap
from advisor.pack.cusp_maps import GOUGE, cusp_sign, cusp_words
from advisor.pack.lengths import length_unit
from advisor.pack.page import Box, Page, draw_line, fill_box, fill_polygon, paste, write
from advisor.pack.palette import FAINT_INK, INK, QUIET_INK, UNKNOWN, UNZONED, Colour
from advisor.pack.picture_key import draw_heading
from advisor.pack.scales import ramp
from advisor.units import UM_PER_MM

# On a page 1200 high, pixels: side of the square, and all of the block, with room above.
SQUARE: Final = 210
BLOCK: Final = 268
_GAP: Final = 22
TIMES: Final = "\N{MULTIPLICATION SIGN}"
_SECTION: Final = 96
# Heights are drawn so many times that slopes come near this tangent, in round steps.
_STEEPNESS: Final = 0.9
_ROUND: Final = (1.0, 2.0, 5.0)
_LIGHT: Final = (-0.45, 0.45, 0.77)
_SHADES: Final = 64
# How dark a slope in full shade is.
_DARK: Final = 0.45
_SECTION_COLOUR: Final[Colour] = (201, 62, 116)


@dataclass(frozen=True)
class _Seen:
    """A close-up on the page: heights in um, side in mm, and how far cuts below the surface are no gouge."""

    zone: int
    height_um: NDArray[np.float64]
    side_mm: float
    gouge_um: float


def close_up_height(plan: Plan, colours: ColourMap) -> int:
    """Height of the block on a page 1200 high, pixels; 0 where there is none to draw."""
    return 0 if _seen(plan, colours) is None else BLOCK


def draw_close_up(page: Page, box: Box, plan: Plan, colours: ColourMap) -> float:
    """Draw it at the top of a box, where there is one; returns where it ends."""
    seen = _seen(plan, colours)
    if seen is None:
        return box[1]
    record = plan.record
    left, top = box[0], box[1] + page.px(BLOCK - SQUARE)
    side = page.px(SQUARE)
    unit = length_unit(record)
    length = unit.words(seen.side_mm)
    words = f"CLOSE-UP IN ZONE {seen.zone}, {length} {TIMES} {length} {unit.sign.upper()}"
    draw_heading(page, left, top - page.px(10), words)
    times = exaggeration(seen.height_um, seen.side_mm)
    relief = relief_of(seen.height_um, seen.side_mm, times, _top_um(record, colours), seen.gouge_um)
    square = Image.fromarray(relief).resize((round(side), round(side)), Image.Resampling.LANCZOS)
    edge = page.px(1.2)
    fill_box(page, (left - edge, top - edge, left + round(side) + edge, top + round(side) + edge), INK)
    paste(page, square, (round(left), round(top)))
    _draw_bar(page, (left + page.px(10), top + side - page.px(12)), seen.side_mm, side / seen.side_mm, record)
    right = (left + side + page.px(_GAP), top, box[2], top + side)
    _draw_words(page, right, seen, times, record)
    _draw_section(page, (right[0], right[3] - page.px(_SECTION), right[2], right[3] - page.px(16)), seen, record)
    return top + side


def _seen(plan: Plan, colours: ColourMap) -> _Seen | None:
    passes = plan.passes
    if colours.mode != "cusp" or colours.scale is None or passes is None or passes.close_up_um is None:
        return None
    assert passes.close_up_mm is not None and passes.close_up_pass is not None
    zones = {zone.id for zone in plan.zones}
    for heights, side, number in zip(passes.close_up_um, passes.close_up_mm, passes.close_up_pass, strict=True):
        if int(passes.zone[number]) in zones and np.isfinite(heights).any():
            target = plan.record.stages[-1].cusp_target_um
            return _Seen(int(passes.zone[number]), heights.astype(np.float64), float(side), target or 0.0)
    return None


def _top_um(record: PlanRecord, colours: ColourMap) -> float:
    """Height at the dark end of the scale."""
    assert colours.scale is not None
    top = float(colours.scale.ticks[-1][1])
    return top * length_unit(record).mm / UM_PER_MM if cusp_sign(record) != "µm" else top


def exaggeration(height_um: NDArray[np.float64], side_mm: float) -> float:
    """How many times heights are drawn, a round number: so that steep flanks of cusps come near 45 degrees."""
    cell_um = side_mm * UM_PER_MM / len(height_um)
    with np.errstate(invalid="ignore"):
        slopes = np.abs(np.diff(np.where(np.isfinite(height_um), height_um, np.nan), axis=1)) / cell_um
    slopes = slopes[np.isfinite(slopes)]
    steep = float(np.quantile(slopes, 0.9)) if len(slopes) else 0.0
    if not steep > 0.0:
        return 1.0
    wanted = max(_STEEPNESS / steep, 1.0)
    power = 10.0 ** math.floor(math.log10(wanted))
    return max(digit * power for digit in _ROUND if digit * power <= wanted * (1.0 + 1e-9))


def relief_of(
    height_um: NDArray[np.float64], side_mm: float, times: float, top_um: float, gouge_um: float
) -> NDArray[np.uint8]:
    """(n, n, 3) picture of heights in the colours of the scale, lit from the upper left."""
    known = np.isfinite(height_um)
    height = np.where(known, height_um, 0.0)
    cell_um = side_mm * UM_PER_MM / len(height)
    down, across = np.gradient(height * times / cell_um)
    length = np.sqrt(across**2 + down**2 + 1.0)
    facing = (-across * _LIGHT[0] + down * _LIGHT[1] + _LIGHT[2]) / length
    level = np.clip(height / max(top_um, 1e-9) * (_SHADES - 1), 0, _SHADES - 1).astype(np.int64)
    colour = np.array(ramp(_SHADES), np.float64)[level]
    colour[height < -gouge_um] = GOUGE.lit
    light = _DARK + (1.0 - _DARK) * np.clip(facing / _LIGHT[2], 0.0, 1.15)
    colour = np.clip(colour * light[..., None], 0.0, 255.0)
    colour[np.isinf(height_um)] = UNKNOWN.lit
    colour[np.isnan(height_um)] = UNZONED.lit
    pixels: NDArray[np.uint8] = np.rint(colour).astype(np.uint8)
    return pixels


def _draw_bar(page: Page, at: tuple[float, float], side_mm: float, pixels_per_mm: float, record: PlanRecord) -> None:
    """A length scale in the square, a third of its side at most."""
    unit = length_unit(record)
    third = side_mm / unit.mm / 3.0
    power = 10.0 ** math.floor(math.log10(third))
    size = max(digit * power for digit in _ROUND if digit * power <= third * (1.0 + 1e-9))
    x, y = at
    end = x + size * unit.mm * pixels_per_mm
    words = f"{size:g} {unit.sign}"
    fill_box(page, (x - page.px(5), y - page.px(22), max(end, x + page.px(44)) + page.px(5), y + page.px(6)),
             (255, 255, 255), page.px(3))  # fmt: skip
    draw_line(page, (x, y, end, y), INK, page.px(2))
    write(page, (x, y - page.px(6)), words, 12)


def _draw_words(page: Page, box: Box, seen: _Seen, times: float, record: PlanRecord) -> None:
    known = seen.height_um[np.isfinite(seen.height_um)]
    most, within = float(known.max()), max(float(np.quantile(known, 0.95)), 0.0)
    lines = [
        f"greatest {cusp_words(record, most)}, 95 % within {cusp_words(record, within)}",
        f"seen along its normal, heights {TIMES} {times:g}",
    ]
    for k, words in enumerate(lines):
        write(page, (box[0], box[1] + page.px(14 + 20 * k)), words, 13, INK if k == 0 else QUIET_INK)


def _draw_section(page: Page, box: Box, seen: _Seen, record: PlanRecord) -> None:
    """Height along the middle row, from 0 to its greatest, and the target as a line."""
    left, top, right, bottom = box
    row = seen.height_um[len(seen.height_um) // 2]
    row = np.where(np.isinf(row), np.nan, row)
    if not np.isfinite(row).any():
        return
    target = record.stages[-1].cusp_target_um
    high = max(float(np.nanmax(row)), target or 0.0, 1e-3) * 1.08
    low = min(float(np.nanmin(row)), 0.0)
    per_um = (bottom - top) / (high - low)
    write(page, (left, top - page.px(16)), "SECTION ACROSS THE MIDDLE", 11, QUIET_INK, bold=True)
    zero = bottom + low * per_um
    draw_line(page, (left, zero, right, zero), INK, page.px(1.2))
    if target is not None:
        level = zero - target * per_um
        for k in range(int((right - left) / page.px(8))):
            at = left + k * page.px(8)
            draw_line(page, (at, level, at + page.px(4), level), QUIET_INK, page.px(1))
    wide = (right - left) / len(row)
    for begin, end in _runs(np.isfinite(row)):
        if end - begin < 2:
            continue
        xs = left + (np.arange(begin, end) + 0.5) * wide
        ys = zero - row[begin:end] * per_um
        outline = [(float(x), float(y)) for x, y in zip(xs, ys, strict=True)]
        fill_polygon(page, [*outline, (float(xs[-1]), zero), (float(xs[0]), zero)], FAINT_INK)
        for one, other in pairwise(outline):
            draw_line(page, (*one, *other), _SECTION_COLOUR, page.px(1.6))
    draw_line(page, (left, zero, right, zero), INK, page.px(1.2))
    words = f"greatest here {cusp_words(record, float(np.nanmax(row)))}"
    words += "" if target is None else f", dashed: target {cusp_words(record, target)}"
    write(page, (left, bottom + page.px(15)), words, 11, QUIET_INK)


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
