"""What stands beside the part in a zone map: legend, zone table, length scale and axis mark."""

from __future__ import annotations

import math
import re
from typing import Final

from advisor.advice.choose import in_words
from advisor.model import SLOPE_CLASSES, SMALL_FEATURES_SHAPE, Advice, PlanRecord, SlopeClass, Zone
from advisor.pack.camera import Fit, View
from advisor.pack.page import (
    Box,
    Mark,
    Page,
    draw_arrow,
    draw_line,
    draw_sample,
    draw_swatch,
    fill_box,
    fill_dot,
    plain_words,
    shortened,
    text_width,
    write,
)
from advisor.pack.palette import CLASS_STYLES, FAINT_INK, INK, PAPER, QUIET_INK, TOOL_AXIS, UNZONED

MM_PER_INCH: Final = 25.4
# Rows of the column, pixels on a page 1200 high.
LEGEND_ROW: Final = 30
TABLE_ROW: Final = 23
TABLE_TEXT: Final = 12
# Columns of the zone table, shares of its width: with the time a zone takes, and where none is known.
TIMED_COLUMNS: Final = {
    "zone": 0.0, "name": 0.108, "area": 0.42, "strategy": 0.44, "stepover": 0.785, "step": 0.915, "time": 1.0,
}  # fmt: skip
COLUMNS: Final = {"zone": 0.0, "name": 0.108, "area": 0.49, "strategy": 0.515, "stepover": 0.87, "step": 1.0}
HEADINGS: Final = (
    ("zone", "ZONE", "ls"),
    ("name", "NAME", "ls"),
    ("area", "mm²", "rs"),
    ("strategy", "STRATEGY", "ls"),
    ("stepover", "STEPOVER", "rs"),
    ("step", "STEP mm", "rs"),
    ("time", "MIN", "rs"),
)
DASH: Final = "\N{EN DASH}"

UNZONED_MARK: Final = Mark(UNZONED, None, INK)


def mark_of(zone: Zone) -> Mark:
    """Mark of the class of a zone; the plain one for small features."""
    return UNZONED_MARK if is_small(zone) else class_mark(zone.slope_class)


def class_mark(name: SlopeClass) -> Mark:
    """Mark of a slope class."""
    style = CLASS_STYLES[name]
    return Mark(style.paint, style.mark_deg, style.mark_ink)


def is_small(zone: Zone) -> bool:
    """Whether the zone gathers small features."""
    return zone.shape == SMALL_FEATURES_SHAPE


def class_ranges(record: PlanRecord) -> dict[SlopeClass, str]:
    """Slopes of each class in words, from the settings in force; empty words where they are not recorded."""
    flat, steep = _angle(record, "flat_below"), _angle(record, "steep_from")
    if flat is None or steep is None:
        return dict.fromkeys(SLOPE_CLASSES, "")
    wall = 90.0 + (_angle(record, "wall_tolerance") or 0.0)
    return {
        "flat": f"below {flat:g}°",
        "shallow": f"{flat:g}° to {steep:g}°",
        "steep": f"{steep:g}° to {wall:g}°",
        "undercut": f"over {wall:g}°",
    }


def _angle(record: PlanRecord, name: str) -> float | None:
    for setting in record.settings:
        if setting.name.rpartition(".")[2] == name:
            number = re.match(r"\s*([0-9]+(?:\.[0-9]+)?)", setting.value)
            return float(number[1]) if number else None
    return None


def draw_legend(page: Page, box: Box, record: PlanRecord) -> float:
    """Slope classes with marks, ranges and shares of area; returns where the legend ends."""
    left, y, right = box[0], box[1], box[2]
    _heading(page, left, y, "SLOPE CLASS")
    _heading(page, right, y, "SHARE OF AREA", anchor="rs")
    total = sum(zone.area_mm2 for zone in record.zones) or 1.0
    ranges = class_ranges(record)
    y += page.px(12)
    for name in SLOPE_CLASSES:
        share = sum(z.area_mm2 for z in record.zones if z.slope_class == name and not is_small(z)) / total
        _legend_row(page, (left, y, right, y + page.px(LEGEND_ROW)), class_mark(name), (name, ranges[name]), share)
        y += page.px(LEGEND_ROW)
    small = [zone for zone in record.zones if is_small(zone)]
    if small:
        row = (left, y, right, y + page.px(LEGEND_ROW))
        words = f"{sum(zone.features for zone in small)}, noted together"
        share = sum(zone.area_mm2 for zone in small) / total
        _legend_row(page, row, UNZONED_MARK, ("small features", words), share)
        y += page.px(LEGEND_ROW)
    return y


def _legend_row(page: Page, row: Box, mark: Mark, words: tuple[str, str], share: float) -> None:
    left, top, right, bottom = row
    name, range_words = words
    baseline = (top + bottom) / 2 + page.px(5)
    draw_sample(page, (left, top + page.px(4), left + page.px(58), bottom - page.px(4)), mark)
    at = left + page.px(70)
    write(page, (at, baseline), name, 14, bold=True)
    at += text_width(page, name, 14, bold=True) + page.px(10)
    write(page, (at, baseline), range_words, 13, QUIET_INK)
    bar_left, bar_right = right - page.px(158), right - page.px(48)
    middle = (top + bottom) / 2
    draw_line(page, (bar_left, middle, bar_right, middle), FAINT_INK, page.px(1))
    length = (bar_right - bar_left) * share
    if share > 0.0:
        ends = (bar_left, middle - page.px(5), bar_left + max(length, page.px(2)), middle + page.px(5))
        fill_box(page, ends, mark.paint.lit)
    write(page, (right, baseline), _percent(share), 13, anchor="rs")


def _percent(share: float) -> str:
    if share <= 0.0:
        return DASH
    return "< 1 %" if share < 0.005 else f"{100.0 * share:.0f} %"


def _heading(page: Page, x: float, y: float, words: str, anchor: str = "ls") -> None:
    write(page, (x, y), words, 11, QUIET_INK, bold=True, anchor=anchor)


def draw_table(page: Page, box: Box, record: PlanRecord) -> None:
    """The zones, largest first, as many as there is room for, and a note on the rest."""
    left, top, right, bottom = box
    timed = any(zone.advice is not None and zone.advice.total_min is not None for zone in record.zones)
    shares = TIMED_COLUMNS if timed else COLUMNS
    columns = {key: left + (right - left) * share for key, share in shares.items()}
    for key, words, anchor in HEADINGS:
        if key in columns:
            _heading(page, columns[key], top, words, anchor)
    y = top + page.px(8)
    draw_line(page, (left, y, right, y), INK, page.px(1.2))
    y += page.px(4)
    zones = [zone for zone in record.zones if not is_small(zone)]
    room = max(1, int((bottom - y) / page.px(TABLE_ROW)))
    shown = zones if len(zones) <= room else zones[: room - 1]
    for k, zone in enumerate(shown):
        _table_row(page, columns, y + k * page.px(TABLE_ROW), zone)
    if len(shown) < len(zones):
        baseline = y + len(shown) * page.px(TABLE_ROW) + page.px(16)
        write(page, (left, baseline), f"+ {len(zones) - len(shown)} more, see zones.csv", 13, QUIET_INK)


def _table_row(page: Page, columns: dict[str, float], top: float, zone: Zone) -> None:
    middle = top + page.px(TABLE_ROW) / 2
    baseline = middle + page.px(4.5)
    left, half = columns["zone"], page.px(8.5)
    draw_swatch(page, (left, middle - half, left + page.px(20), middle + half), mark_of(zone), 1.0, 2.5)
    write(page, (left + page.px(27), baseline), str(zone.id), 13, bold=True)
    area = _three_digits(zone.area_mm2)
    room = columns["area"] - text_width(page, area, TABLE_TEXT) - page.px(8) - columns["name"]
    write(page, (columns["name"], baseline), shortened(page, plain_words(zone.name), TABLE_TEXT, room), TABLE_TEXT)
    write(page, (columns["area"], baseline), area, TABLE_TEXT, anchor="rs")
    if zone.advice is not None:
        _advice_cells(page, columns, baseline, zone, zone.advice)


def _advice_cells(page: Page, columns: dict[str, float], baseline: float, zone: Zone, advice: Advice) -> None:
    write(page, (columns["strategy"], baseline), in_words(zone), TABLE_TEXT)
    if not advice.usable:
        return
    for key, words in (
        ("stepover", f"{advice.stepover_mm:.3f}"),
        ("step", _step_words(advice)),
        ("time", _minutes(advice.total_min)),
    ):
        if key in columns:
            write(page, (columns[key], baseline), words, TABLE_TEXT, anchor="rs")


def _step_words(advice: Advice) -> str:
    if advice.z_step_mm is not None:
        return f"Z {advice.z_step_mm:.3f}"
    if advice.line_spacing_mm is not None:
        return f"XY {advice.line_spacing_mm:.3f}"
    return DASH


def _three_digits(number: float) -> str:
    return f"{number:,.0f}" if number >= 100 else f"{number:.3g}"


def _minutes(minutes: float | None) -> str:
    if minutes is None:
        return DASH
    if minutes < 0.1:
        return "< 0.1"
    return f"{minutes:.1f}" if minutes < 10 else f"{minutes:,.0f}"


def draw_scale(page: Page, at: tuple[float, float], where: Fit, longest: float, *, inches: bool) -> None:
    """A length scale no longer than ``longest`` pixels, in mm and, if asked for, in inches below."""
    mm = _round_length(longest / where.pixels_per_mm)
    width = mm * where.pixels_per_mm
    _ruler(page, at, width, f"{mm:g} mm", above=True)
    if inches:
        inch = _round_length(longest / where.pixels_per_mm / MM_PER_INCH)
        _ruler(page, at, inch * MM_PER_INCH * where.pixels_per_mm, f"{inch:g} in", above=False)


def _ruler(page: Page, start: tuple[float, float], width: float, words: str, *, above: bool) -> None:
    # ticks and words above or below one line
    x, y = start
    side = -1.0 if above else 1.0
    thick = page.px(1.6)
    draw_line(page, (x, y, x + width, y), INK, thick)
    for part, tick in ((0.0, 8), (0.5, 5), (1.0, 8)):
        at = x + width * part
        draw_line(page, (at, y, at, y + side * page.px(tick)), INK, thick)
    away = y - page.px(12) if above else y + page.px(22)
    write(page, (x, away), "0", 12, anchor="ms")
    write(page, (x + width, away), words, 12, anchor="ms")


def _round_length(longest: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above ``longest``."""
    if not longest > 0.0 or math.isinf(longest):
        return 1.0
    power = 10.0 ** math.floor(math.log10(longest))
    step: float = max((digit for digit in (1.0, 2.0, 5.0) if digit * power <= longest * (1 + 1e-9)), default=1.0)
    return float(f"{step * power:.6g}")


def draw_axes(page: Page, at: tuple[float, float], view: View, tool_axis: tuple[float, float, float]) -> None:
    """The part's axes as the view shows them, and the tool axis as a heavy arrow, about a point of the page."""
    x, y = at
    length = page.px(44)
    names = []
    for k, letter in enumerate("XYZ"):
        right, up = float(view.rows[0, k]), float(view.rows[1, k])
        if abs(abs(tool_axis[k]) - 1.0) < 1e-6:
            names.append(("+" if tool_axis[k] > 0 else "\N{MINUS SIGN}") + letter)
        elif math.hypot(right, up) > 0.05:
            _axis(page, at, (right * length, -up * length), letter)
    axis = [sum(float(view.rows[i, k]) * tool_axis[k] for k in range(3)) for i in range(2)]
    words = " ".join(["tool axis", *names])
    if math.hypot(axis[0], axis[1]) > 0.05:
        tip_x, tip_y = x + axis[0] * length * 1.35, y - axis[1] * length * 1.35
        draw_arrow(page, (x, y, tip_x, tip_y), TOOL_AXIS, page.px(3.6), page.px(15))
        lift = page.px(-8 if axis[1] > 0 else 18)
        write(page, (tip_x, tip_y + lift), words, 12, TOOL_AXIS, bold=True, anchor="ms")
    else:
        # towards the viewer: a ringed dot; its name on the side where no axis runs
        fill_dot(page, x, y, page.px(9), TOOL_AXIS)
        fill_dot(page, x, y, page.px(6.4), PAPER)
        axis_runs_down = any(float(view.rows[1, k]) < -0.5 for k in range(3))
        lift = page.px(-18 if axis_runs_down else 28)
        write(page, (x, y + lift), words, 12, TOOL_AXIS, bold=True, anchor="ms")
    fill_dot(page, x, y, page.px(4), INK)


def _axis(page: Page, start: tuple[float, float], way: tuple[float, float], letter: str) -> None:
    (x, y), (dx, dy) = start, way
    draw_arrow(page, (x, y, x + dx, y + dy), QUIET_INK, page.px(1.8), page.px(10))
    length = math.hypot(dx, dy) or 1.0
    away = page.px(10)
    at = (x + dx + away * dx / length, y + dy + away * dy / length)
    write(page, at, letter, 12, QUIET_INK, bold=True, anchor="mm")
