"""The zone table of a zone map: a row a zone, sums below it, and the cautions that matter most."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from advisor.advice.cautions import GENERAL
from advisor.advice.choose import in_words
from advisor.model import Advice, PlanRecord, Zone
from advisor.pack.lengths import LengthUnit, decimals_of, fixed, length_unit
from advisor.pack.page import Box, Mark, Page, draw_line, draw_swatch, plain_words, shortened, text_width, write
from advisor.pack.palette import INK, QUIET_INK
from advisor.pack.picture_key import DASH, draw_heading

# Heights on a page 1200 high, pixels.
ROW: Final = 23
HEADING: Final = 26
TEXT: Final = 12
CAUTION_LINE: Final = 16
# Columns, shares of the width: with the time a zone takes (inches have a decimal more), and where none is known.
TIMED_COLUMNS: Final = {
    "mm": {"zone": 0.0, "name": 0.108, "area": 0.425, "strategy": 0.44, "along": 0.785, "step": 0.925, "time": 1.0},
    "in": {"zone": 0.0, "name": 0.108, "area": 0.42, "strategy": 0.432, "along": 0.778, "step": 0.915, "time": 1.0},
}
COLUMNS: Final = {"zone": 0.0, "name": 0.108, "area": 0.475, "strategy": 0.495, "along": 0.85, "step": 1.0}
# Digits of a number of the column that is the smallest, and the most that the largest may have.
AREA_DIGITS: Final = 2
MOST_AREA_DIGITS: Final = 7
STEP_DECIMALS: Final = {"mm": 3, "in": 4}
MOST_STEP_DECIMALS: Final = 6
MOST_CAUTIONS: Final = 2


@dataclass(frozen=True)
class _Sheet:
    """What the rows share: the page, where columns stand, and how numbers are told."""

    page: Page
    columns: dict[str, float]
    unit: LengthUnit
    area_decimals: int
    step_decimals: int

    def area(self, area_mm2: float) -> str:
        return fixed(area_mm2 / self.unit.mm**2, self.area_decimals)

    def length(self, length_mm: float | None) -> str:
        return DASH if length_mm is None else fixed(length_mm / self.unit.mm, self.step_decimals)


def table_height(record: PlanRecord) -> int:
    """Height of the whole table with its sums, pixels on a page 1200 high."""
    return HEADING + ROW * (len(record.zones) + 1)


def draw_table(page: Page, box: Box, record: PlanRecord, marks: Mapping[int, Mark]) -> None:
    """The zones, largest first, as many as there is room for, a note on the rest, sums, and cautions.

    Parameters
    ----------
    marks : mapping of zone id to Mark
    """
    if not record.zones:
        return
    left, top, right, bottom = box
    sheet = _sheet(page, box, record)
    y = _draw_headings(sheet, left, top, right)
    row = page.px(ROW)
    room = max(2, int((bottom - y) / row))
    zones = record.zones
    shown = zones if len(zones) < room else zones[: room - 2]
    for zone in shown:
        _draw_row(sheet, y, zone, marks[zone.id])
        y += row
    if len(shown) < len(zones):
        words = f"+ {len(zones) - len(shown)} more, see zones.csv"
        write(page, (sheet.columns["name"], y + page.px(16)), words, TEXT, QUIET_INK)
        y += row
    _draw_sums(sheet, (left, y, right, y + row), record)
    _draw_cautions(page, (left, y + row + page.px(20), right, bottom), record.cautions)


def _sheet(page: Page, box: Box, record: PlanRecord) -> _Sheet:
    timed = any(zone.advice is not None and zone.advice.total_min is not None for zone in record.zones)
    left, _, right, _ = box
    unit = length_unit(record)
    shares = TIMED_COLUMNS[unit.sign] if timed else COLUMNS
    columns = {key: left + (right - left) * share for key, share in shares.items()}
    areas = [zone.area_mm2 / unit.mm**2 for zone in record.zones]
    told = [zone.advice for zone in record.zones if zone.advice is not None and zone.advice.usable]
    steps = [advice.stepover_mm / unit.mm for advice in told if advice.stepover_mm is not None]
    most = MOST_AREA_DIGITS - 1 - math.floor(math.log10(max(*areas, 1e-6))) if len(areas) > 1 else 3
    fewest = STEP_DECIMALS[unit.sign]
    return _Sheet(
        page, columns, unit,
        decimals_of(min(areas), AREA_DIGITS, min(max(most, 0), 6)),
        max(fewest, decimals_of(min(steps, default=1.0), 2, MOST_STEP_DECIMALS)),
    )  # fmt: skip


def _draw_headings(sheet: _Sheet, left: float, top: float, right: float) -> float:
    page, sign = sheet.page, sheet.unit.sign
    headings = {
        "zone": ("", "ZONE", "ls"),
        "name": ("", "NAME", "ls"),
        "area": ("AREA", f"{sign}²", "rs"),
        "strategy": ("", "STRATEGY", "ls"),
        "along": ("ALONG", f"SURFACE {sign}", "rs"),
        "step": ("Z / XY", sign, "rs"),
        "time": ("", "MIN", "rs"),
    }
    for key, x in sheet.columns.items():
        above, below, anchor = headings[key]
        draw_heading(page, x, top, above, anchor)
        draw_heading(page, x, top + page.px(14), below, anchor)
    y = top + page.px(22)
    draw_line(page, (left, y, right, y), INK, page.px(1.2))
    return y + page.px(4)


def _draw_row(sheet: _Sheet, top: float, zone: Zone, mark: Mark) -> None:
    page, columns = sheet.page, sheet.columns
    middle = top + page.px(ROW) / 2
    baseline = middle + page.px(4.5)
    left, half = columns["zone"], page.px(8.5)
    draw_swatch(page, (left, middle - half, left + page.px(20), middle + half), mark, 1.0, 2.5)
    write(page, (left + page.px(27), baseline), str(zone.id), 13, bold=True)
    area = sheet.area(zone.area_mm2)
    room = columns["area"] - text_width(page, area, TEXT) - page.px(8) - columns["name"]
    write(page, (columns["name"], baseline), shortened(page, sheet.unit.height_words(zone), TEXT, room), TEXT)
    write(page, (columns["area"], baseline), area, TEXT, anchor="rs")
    if zone.advice is not None:
        write(page, (columns["strategy"], baseline), in_words(zone), TEXT)
        if zone.advice.usable:
            _draw_steps(sheet, baseline, zone.advice)


def _draw_steps(sheet: _Sheet, baseline: float, advice: Advice) -> None:
    for key, words in (
        ("along", sheet.length(advice.stepover_mm)),
        ("step", _step_words(sheet, advice)),
        ("time", _minutes(advice.total_min)),
    ):
        if key in sheet.columns:
            write(sheet.page, (sheet.columns[key], baseline), words, TEXT, anchor="rs")


def _step_words(sheet: _Sheet, advice: Advice) -> str:
    if advice.z_step_mm is not None:
        return f"Z {sheet.length(advice.z_step_mm)}"
    if advice.line_spacing_mm is not None:
        return f"XY {sheet.length(advice.line_spacing_mm)}"
    return DASH


def _minutes(minutes: float | None) -> str:
    if minutes is None:
        return DASH
    # four digits do not run into the column before
    return "< 0.1" if minutes < 0.05 else fixed(minutes, 1 if minutes < 99.95 else 0)


def _draw_sums(sheet: _Sheet, row: Box, record: PlanRecord) -> None:
    page, columns = sheet.page, sheet.columns
    left, top, right, _ = row
    baseline = top + page.px(ROW) / 2 + page.px(6)
    draw_line(page, (left, top + page.px(2), right, top + page.px(2)), QUIET_INK, page.px(1.0))
    write(page, (columns["name"], baseline), "all zones", TEXT, bold=True)
    write(page, (columns["area"], baseline), sheet.area(record.totals.area_mm2), TEXT, bold=True, anchor="rs")
    span = record.totals.total_min_range
    if span is not None:
        words = f"{fixed(span[0], 0)} to {fixed(span[1], 0)} min, all stages"
        write(page, (right, baseline), words, TEXT, bold=True, anchor="rs")


def _draw_cautions(page: Page, box: Box, cautions: Sequence[str]) -> None:
    # what is said of this part comes before what is said of all; whole cautions or none
    left, y, right, bottom = box
    own = [caution for caution in cautions if caution not in GENERAL]
    general = [caution for caution in cautions if caution in GENERAL]
    for caution in [*own[:1], *reversed(general)][:MOST_CAUTIONS]:
        lines = _wrapped(page, plain_words(caution), right - left - page.px(14))
        if y + len(lines) * page.px(CAUTION_LINE) > bottom:
            return
        write(page, (left, y + page.px(11)), "!", TEXT, bold=True)
        for line in lines:
            write(page, (left + page.px(14), y + page.px(11)), line, TEXT, QUIET_INK)
            y += page.px(CAUTION_LINE)
        y += page.px(6)


def _wrapped(page: Page, words: str, width: float) -> list[str]:
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width(page, longer, TEXT) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines
