"""Picture of a what-if: cusp against minutes, a line for every ball; for one zone also strategy by strategy."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby
from pathlib import Path
from typing import Final

from advisor.advice.choose import IN_WORDS
from advisor.advice.what_if_records import Way, WhatIf, WhatIfRow
from advisor.advice.what_if_words import UnitWords, answer_lines, title
from advisor.model import STRATEGIES, Strategy
from advisor.pack.page import Page, blank_page, plain_words, shortened, write
from advisor.pack.palette import QUIET_INK, Colour
from advisor.pack.plot import Axis, Curve, Dot, Level, axis_of, draw_key, draw_panel
from advisor.pack.scales import ramp
from advisor.units import UM_PER_MM

WIDTH: Final = 1500
HEIGHT: Final = 1000
HEIGHT_OF_A_ZONE: Final = 1420
# Pixels of this page to one of a page 1200 high: text as large as on a zone map.
_SCALE: Final = 1.25
# Rectangle of the main panel, pixels: left, top, right, bottom.
_MAIN: Final = (110.0, 150.0, 1180.0, 720.0)
_BELOW: Final = (1010.0, 1300.0)
_GAP: Final = 40.0
_MOST_ANSWERS: Final = 6
_MM_PER_M: Final = 1000.0
# The palest colours of the ramp are hardly seen as lines on paper.
_PALE: Final = 2


def save_what_if_plot(what_if: WhatIf, path: Path) -> None:
    """Draw to a PNG file. Cusps are those that 95 % of a zone stays within."""
    page = what_if_page(what_if)
    page.image.save(path, format="PNG")


def what_if_page(what_if: WhatIf) -> Page:
    """The picture as a page."""
    page = blank_page(WIDTH, HEIGHT if what_if.zone is None else HEIGHT_OF_A_ZONE, _SCALE)
    unit = UnitWords.of(what_if)
    write(page, (40, 52), shortened(page, plain_words(title(what_if)), 17, WIDTH - 80, bold=True), 17, bold=True)
    curves = _curves(what_if, unit, _summed)
    by_strategy = {strategy: _curves(what_if, unit, _by(strategy)) for strategy in STRATEGIES if what_if.zone}
    every = [dot for curve in (*curves, *(c for each in by_strategy.values() for c in each)) for dot in curve.dots]
    if not every:
        write(page, (40, 120), "No row finishes anything.", 15)
        return page
    target = _cusp(unit, what_if.target_cusp_um)
    across, up = axis_of([dot.x for dot in every]), axis_of([target, *(dot.y for dot in every)])
    level = Level(target, f"target {unit.cusp(what_if.target_cusp_um)} {unit.cusp_sign}")
    _write_axes(page, what_if, unit, _MAIN[:2], across, up)
    draw_panel(page, _MAIN, across, up, curves, level)
    write(page, (_MAIN[2], _MAIN[3] + 46), _across_words(what_if), 14, bold=True, anchor="rs")
    draw_key(page, (_MAIN[2] + 50, _MAIN[1] + 20), curves)
    _write_answers(page, what_if, _MAIN[3] + 90)
    if by_strategy:
        _draw_strategies(page, what_if, by_strategy, across, up, level)
    return page


def _curves(what_if: WhatIf, unit: UnitWords, pick: Callable[[WhatIfRow], Way | WhatIfRow | None]) -> list[Curve]:
    """A curve for every ball."""
    groups = [list(group) for _, group in groupby(what_if.rows, key=lambda row: (row.ball_mm, row.tool))]
    colours: Sequence[Colour] = ramp(len(groups) + _PALE)[_PALE:]
    best = None if what_if.quickest is None else what_if.rows[what_if.quickest]
    curves = []
    for number, (rows, colour) in enumerate(zip(groups, colours, strict=True)):
        dots = [_dot(what_if, unit, row, pick(row), best) for row in rows]
        curves.append(Curve(unit.ball(rows[0]), tuple(dot for dot in dots if dot is not None), number, colour))
    return curves


def _summed(row: WhatIfRow) -> WhatIfRow:
    return row


def _by(strategy: Strategy) -> Callable[[WhatIfRow], Way | None]:
    return lambda row: next((way for way in row.zones[0].ways if way.strategy == strategy and way.usable), None)


def _dot(
    what_if: WhatIf, unit: UnitWords, row: WhatIfRow, way: Way | WhatIfRow | None, best: WhatIfRow | None
) -> Dot | None:
    x = None if way is None else (way.total_min if what_if.is_timed else way.path_mm)
    if way is None or x is None or way.cusp_p95_um is None:
        return None
    chosen = row.zones[0].chosen if what_if.zone is not None else None
    apart = row.stepover_flat_mm
    if what_if.zone is not None:
        told = way if isinstance(way, Way) else chosen
        apart = apart if told is None or told.stepover_mm is None else told.stepover_mm
    is_full = isinstance(way, WhatIfRow) or way == chosen
    x = x if what_if.is_timed else x / _MM_PER_M
    return Dot(x, _cusp(unit, way.cusp_p95_um), unit.length(apart), is_full, is_full and row is best)


def _cusp(unit: UnitWords, cusp_um: float) -> float:
    return cusp_um if unit.sign == "mm" else cusp_um / UM_PER_MM / unit.mm


def _write_axes(
    page: Page, what_if: WhatIf, unit: UnitWords, corner: tuple[float, float], across: Axis, up: Axis
) -> None:
    left, top = corner
    where = "of the worst zone" if what_if.zone is None else "of the zone"
    scales = "both scales logarithmic" if across.is_log and up.is_log else ""
    if across.is_log != up.is_log:
        scales = f"{('minutes' if what_if.is_timed else 'path') if across.is_log else 'cusps'} on a logarithmic scale"
    apart = "step on a flat" if what_if.zone is None else "step along the surface"
    write(page, (left - 70, top - 40), f"cusp, {unit.cusp_sign} (95 % {where})", 14, bold=True)
    notes = "; ".join(note for note in (f"at points: {apart}, {unit.sign}", scales) if note)
    write(page, (left - 70, top - 16), notes, 12, QUIET_INK)


def _across_words(what_if: WhatIf) -> str:
    return f"minutes of the {what_if.stage} stage" if what_if.is_timed else f"path of the {what_if.stage} stage, m"


def _write_answers(page: Page, what_if: WhatIf, y: float) -> None:
    for number, line in enumerate(answer_lines(what_if)[:_MOST_ANSWERS]):
        write(page, (40, y + 27 * number), shortened(page, plain_words(line), 13, WIDTH - 80), 13, bold=number == 0)


def _draw_strategies(
    page: Page, what_if: WhatIf, by_strategy: dict[Strategy, list[Curve]], across: Axis, up: Axis, level: Level
) -> None:
    """Small panels of one scale side by side, one a strategy; hollow markers are ways that are not advised."""
    top, bottom = _BELOW
    left, right = _MAIN[0], WIDTH - 40.0
    width = (right - left - 2 * _GAP) / 3
    for number, (strategy, curves) in enumerate(by_strategy.items()):
        x = left + number * (width + _GAP)
        write(page, (x, top - 14), IN_WORDS[strategy], 14, bold=True)
        panel = (x, top, x + width, bottom)
        draw_panel(page, panel, across, up, curves, level, numbers_up=number == 0)
        if not any(curve.dots for curve in curves):
            write(page, (x + width / 2, top + 0.8 * (bottom - top)), "no pass holds it", 14, QUIET_INK, anchor="mm")
    words = f"{_across_words(what_if)}; full: advised, hollow: not"
    write(page, (right, bottom + 46), words, 13, bold=True, anchor="rs")
