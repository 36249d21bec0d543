"""Picture of the candidates: cusp against minutes, a panel for each of the zones that matter most."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from advisor.advice.choose import IN_WORDS
from advisor.advice.what_if_words import minute_words
from advisor.model import STRATEGIES, Advice, PlanRecord, StepPoint, Zone
from advisor.pack.candidates_csv import is_advised
from advisor.pack.lengths import LengthUnit, length_unit
from advisor.pack.page import Box, Page, blank_page, plain_words, shortened, text_width, write
from advisor.pack.palette import INK, QUIET_INK, STRATEGY_COLOURS
from advisor.pack.plot import Axis, Curve, Dot, Level, draw_key, draw_marker, draw_panel, log_axis_of
from advisor.units import UM_PER_MM
from advisor.words import counted, plain_number

WIDTH: Final = 1500
# Pixels of this page to one of a page 1200 high: text as large as on a zone map.
_SCALE: Final = 1.25
MOST_ZONES: Final = 9
# A zone that takes less of the time than this is not worth a panel.
_LEAST_SHARE: Final = 0.005
_LEFT: Final = 110.0
_RIGHT: Final = 1460.0
_TOP: Final = 325.0
_PANEL: Final = 290.0
# From panel to panel: across, and from the foot of one to the top of the next below it.
_GAP: Final = 50.0
_BETWEEN: Final = 200.0
_FOOT: Final = 110.0
# Panels in a row by their number; more than these are three in a row.
_IN_A_ROW: Final = {1: 1, 2: 2, 4: 2}
_WIDEST: Final = 900.0
_MM_PER_M: Final = 1000.0


def save_candidates_plot(record: PlanRecord, path: Path) -> None:
    """Draw to a PNG file."""
    candidates_page(record).image.save(path, format="PNG")


def candidates_page(record: PlanRecord) -> Page:
    """The picture as a page: every panel has its own scale of minutes, and the one scale of cusps."""
    ranked, unit = ranked_zones(record), length_unit(record)
    shown = ranked[: _count_to_show(ranked)]
    boxes = _boxes(len(shown))
    page = blank_page(WIDTH, round((boxes[-1][3] if boxes else _TOP) + _FOOT), _SCALE)
    stage = record.stages[-1].name
    cost = "time" if _is_timed(record) else "path"
    title = f"{plain_words(record.part.name)}: cusp against {cost} by strategy and stepover, {stage} stage"
    write(page, (40, 52), shortened(page, title, 17, WIDTH - 80, bold=True), 17, bold=True)
    if not shown:
        write(page, (40, 120), "No zone is finished by a ball in this plan.", 15)
        return page
    up = log_axis_of([_cusp(unit, um) for um in _cusps_um(record, shown)])
    _draw_keys(page, record, shown, unit)
    for place, (zone, box) in enumerate(zip(shown, boxes, strict=True)):
        _draw_zone(page, box, record, zone, up, numbers_up=place % _columns(len(shown)) == 0)
    if len(ranked) > len(shown):
        words = f"{counted(len(ranked) - len(shown), 'more zone')} with less to cut: see candidates.csv"
        write(page, (40, page.image.height - 24), words, 13, QUIET_INK)
    return page


def ranked_zones(record: PlanRecord) -> list[Zone]:
    """Zones that are cut, those that take longest first; of copies the model stands for all."""
    models = [zone for zone in record.zones if zone.repeats is None or zone.repeats.model == zone.id]
    return sorted((zone for zone in models if _curves_of(zone)), key=lambda zone: -_cost(zone))


def _count_to_show(ranked: Sequence[Zone]) -> int:
    """How many zones, of those that take longest, are worth a panel."""
    costs = [_cost(zone) for zone in ranked]
    return sum(cost >= _LEAST_SHARE * math.fsum(costs) for cost in costs[:MOST_ZONES])


def _cost(zone: Zone) -> float:
    """Minutes of a zone and its copies; their path where no feed is known, which is so for all zones or for none."""
    assert zone.advice is not None
    return _copies(zone) * (zone.advice.total_min or zone.advice.path_mm or 0.0)


def _copies(zone: Zone) -> int:
    return 1 if zone.repeats is None else zone.repeats.of


def _curves_of(zone: Zone) -> list[Advice]:
    """Candidates with a curve, the advised one last: what is drawn last lies on top."""
    told = [candidate for candidate in zone.candidates if candidate.step_curve]
    is_cut = zone.advice is not None and zone.advice.usable
    return sorted(told, key=lambda candidate: is_advised(zone, candidate)) if is_cut else []


def _cusps_um(record: PlanRecord, shown: Sequence[Zone]) -> Iterator[float]:
    """Every cusp that is drawn."""
    target_um = record.stages[-1].cusp_target_um
    if target_um is not None:
        yield target_um
    yield from (point.cusp_p95_um for zone in shown for told in _curves_of(zone) for point in told.step_curve)


def _cusp(unit: LengthUnit, cusp_um: float) -> float:
    return cusp_um / UM_PER_MM / unit.mm if unit.is_inch else cusp_um


def _cusp_sign(unit: LengthUnit) -> str:
    return unit.sign if unit.is_inch else "um"


def _columns(count: int) -> int:
    return _IN_A_ROW.get(count, 3)


def _boxes(count: int) -> list[Box]:
    """Rectangles of the panels, row by row, pixels."""
    columns = _columns(count)
    width = min((_RIGHT - _LEFT - (columns - 1) * _GAP) / columns, _WIDEST)
    corners = [
        (_LEFT + (n % columns) * (width + _GAP), _TOP + (n // columns) * (_PANEL + _BETWEEN)) for n in range(count)
    ]
    return [(left, top, left + width, top + _PANEL) for left, top in corners]


def _draw_keys(page: Page, record: PlanRecord, shown: Sequence[Zone], unit: LengthUnit) -> None:
    """What lines and marks mean: strategies, then marks, then axes."""
    used = {told.strategy for zone in shown for told in _curves_of(zone)}
    x = 40.0
    for style, strategy in enumerate(STRATEGIES):
        if strategy in used:
            draw_key(page, (x, 92), [Curve(IN_WORDS[strategy], (), style, STRATEGY_COLOURS[strategy])])
            x += page.px(100) + text_width(page, IN_WORDS[strategy], 14)
    is_laid = any(point.is_laid for zone in shown for told in _curves_of(zone) for point in told.step_curve)
    own = "the plan's stepover, passes laid and measured" if is_laid else "the plan's stepover"
    x = 52.0
    for words, is_full, is_ringed in (
        (own, True, False), ("the same, advised", True, True), ("other stepovers, worked out from it", False, False),
    ):  # fmt: skip
        draw_marker(page, (x, 128), 0, QUIET_INK, is_full=is_full, is_ringed=is_ringed)
        write(page, (x + 20, 134), words, 13)
        x += page.px(64) + text_width(page, words, 13)
    across = "minutes, links counted in" if _is_timed(record) else "path, m"
    notes = (
        f"Up: cusp that 95 % of the zone stays within, {_cusp_sign(unit)}.  Across: {across}; each zone has its own "
        f"scale.  At points: stepover, {unit.sign}.  All scales logarithmic."
    )
    write(page, (40, 170), shortened(page, notes, 12, WIDTH - 80), 12, QUIET_INK)


def _is_timed(record: PlanRecord) -> bool:
    return all(point.total_min is not None for zone in record.zones for c in zone.candidates for point in c.step_curve)


def _draw_zone(page: Page, box: Box, record: PlanRecord, zone: Zone, up: Axis, *, numbers_up: bool) -> None:
    """A panel with its title, its candidates in words, and a curve for each."""
    unit, is_timed = length_unit(record), _is_timed(record)
    left, top, right, bottom = box
    title = f"{zone.id}  {unit.height_words(zone)}"
    if len(record.setups) > 1:
        title += f", {record.setups[zone.setup].name}"
    if _copies(zone) > 1:
        title += f"  (one of {_copies(zone)} alike)"
    write(page, (left, top - 104), shortened(page, title, 14, right - left, bold=True), 14, bold=True)
    in_order = sorted(zone.candidates, key=lambda told: (not is_advised(zone, told), not told.step_curve))
    for line, told in enumerate(in_order):
        _write_candidate(page, (left, top - 80 + 25.0 * line), told, unit, right - left)
    if numbers_up:
        write(page, (left - 10, top - 4), f"cusp, {_cusp_sign(unit)}", 12, QUIET_INK, anchor="rs")
    curves = [_curve(zone, told, unit, is_timed=is_timed) for told in _curves_of(zone)]
    across = log_axis_of([dot.x for curve in curves for dot in curve.dots])
    draw_panel(page, box, across, up, curves, _level(record, unit), numbers_up=numbers_up)
    write(page, (right, bottom + 52), "minutes" if is_timed else "path, m", 12, QUIET_INK, anchor="rs")


def _level(record: PlanRecord, unit: LengthUnit) -> Level | None:
    target_um = record.stages[-1].cusp_target_um
    if target_um is None:
        return None
    target = _cusp(unit, target_um)
    return Level(target, f"target {plain_number(target)} {_cusp_sign(unit)}")


def _write_candidate(page: Page, at: tuple[float, float], told: Advice, unit: LengthUnit, width: float) -> None:
    """A candidate on a line, with its marker: curves may lie on one another, or there may be none."""
    style, room = STRATEGIES.index(told.strategy), 24.0
    if told.step_curve:
        draw_marker(page, (at[0] + 9, at[1] - 5), style, STRATEGY_COLOURS[told.strategy])
    numbers = _numbers(told, unit)
    words = f"{IN_WORDS[told.strategy]} {numbers}"
    if told.step_curve and text_width(page, words, 12) > width - room:
        words = numbers  # the marker names it too
    ink = INK if told.step_curve else QUIET_INK
    write(page, (at[0] + room, at[1]), shortened(page, words, 12, width - room), 12, ink)


def _numbers(told: Advice, unit: LengthUnit) -> str:
    """Stepover, minutes or path, and cusp of a candidate."""
    if not told.usable:
        return "cannot hold the target"
    cost, p95 = None, told.cusp_um.p95
    if told.total_min is not None:
        cost = f"{minute_words(told.total_min)} min"
    elif told.path_mm is not None:
        cost = f"{plain_number(told.path_mm / _MM_PER_M)} m"
    apart = None if told.stepover_mm is None else f"{plain_number(told.stepover_mm / unit.mm)} {unit.sign}"
    cusp = "parts left uncut" if p95 is None else f"{plain_number(_cusp(unit, p95))} {_cusp_sign(unit)}"
    return ", ".join(words for words in (apart, cost, cusp) if words)


def _curve(zone: Zone, told: Advice, unit: LengthUnit, *, is_timed: bool) -> Curve:
    advised = is_advised(zone, told)
    dots = tuple(_dot(point, told, unit, is_advised=advised, is_timed=is_timed) for point in told.step_curve)
    return Curve(IN_WORDS[told.strategy], dots, STRATEGIES.index(told.strategy), STRATEGY_COLOURS[told.strategy])


def _dot(point: StepPoint, told: Advice, unit: LengthUnit, *, is_advised: bool, is_timed: bool) -> Dot:
    is_own = point.stepover_mm == told.stepover_mm
    x = point.total_min if is_timed else point.path_mm / _MM_PER_M
    assert x is not None
    # labels of every curve would cover the panel: those of the advised one tell the steps of all
    label = plain_number(point.stepover_mm / unit.mm) if is_advised else ""
    return Dot(x, _cusp(unit, point.cusp_p95_um), label, is_own, is_own and is_advised)
