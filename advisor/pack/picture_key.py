"""What stands beside the part in a zone map: length scale and axis mark; and the marks of classes."""

from __future__ import annotations

import math
import re
from typing import Final

from advisor.model import SLOPE_CLASSES, SMALL_FEATURES_SHAPE, PlanRecord, SlopeClass, Zone
from advisor.pack.camera import Fit, View
from advisor.pack.lengths import MM_PER_INCH
from advisor.pack.page import (
    Mark,
    Page,
    draw_arrow,
    draw_line,
    fill_dot,
    write,
)
from advisor.pack.palette import CLASS_STYLES, INK, PAPER, QUIET_INK, TOOL_AXIS, UNZONED

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
        "undercut": f"over {wall:g}°, or hidden",
    }


def _angle(record: PlanRecord, name: str) -> float | None:
    for setting in record.settings:
        if setting.name.rpartition(".")[2] == name:
            number = re.match(r"\s*([0-9]+(?:\.[0-9]+)?)", setting.value)
            return float(number[1]) if number else None
    return None


def draw_heading(page: Page, x: float, y: float, words: str, anchor: str = "ls") -> None:
    """A heading of the column."""
    write(page, (x, y), words, 11, QUIET_INK, bold=True, anchor=anchor)


def draw_scale(page: Page, at: tuple[float, float], where: Fit, longest: float, *, inches: bool) -> None:
    """A length scale no longer than ``longest`` pixels, in mm, or in inches with mm below."""
    mm = _round_length(longest / where.pixels_per_mm)
    width = mm * where.pixels_per_mm
    _ruler(page, at, width, f"{mm:g} mm", above=not inches)
    if inches:
        inch = _round_length(longest / where.pixels_per_mm / MM_PER_INCH)
        _ruler(page, at, inch * MM_PER_INCH * where.pixels_per_mm, f"{inch:g} in", above=True)


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
