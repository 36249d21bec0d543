"""A what-if in words: its table, and which row is the quickest within the target and what the next step costs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TypeVar

from advisor.advice.choose import IN_WORDS
from advisor.advice.what_if_records import WhatIf, WhatIfRow
from advisor.units import MM_PER_UNIT, UM_PER_MM
from advisor.words import plain_number

_Value = TypeVar("_Value", int, float)

# Below this share of the zone in its counterpart, or of their areas, a reader must know that they differ.
_SAME_SHARE = 0.98
# Less of a difference is none.
_AS_LONG_SHARE = 0.002
_MM_PER_M = 1000.0
_NOT_KNOWN = "-"
# Marks in the last column.
_QUICKEST, _WITHIN, _OUTSIDE = "quickest", "within", "over"
_TEXT_COLUMNS = ("strategy", "target")


@dataclass(frozen=True)
class UnitWords:
    """Lengths, areas and cusps in the unit of a job: mm and um, or inches."""

    sign: str
    mm: float

    @classmethod
    def of(cls, what_if: WhatIf) -> UnitWords:
        """The unit of the job; a model in metres is told in mm."""
        return cls("in", MM_PER_UNIT["inch"]) if what_if.unit == "inch" else cls("mm", 1.0)

    @property
    def cusp_sign(self) -> str:
        """Unit of cusps."""
        return "um" if self.sign == "mm" else self.sign

    def length(self, length_mm: float) -> str:
        """Number of a length."""
        return plain_number(length_mm / self.mm)

    def area(self, area_mm2: float) -> str:
        """Number of an area."""
        return plain_number(area_mm2 / self.mm**2)

    def cusp(self, cusp_um: float) -> str:
        """Number of a cusp."""
        return plain_number(cusp_um if self.sign == "mm" else cusp_um / UM_PER_MM / self.mm)

    def asked(self, row: WhatIfRow) -> str:
        """What a row asks for, with its unit."""
        if row.cusp_asked_um is not None:
            return f"{self.cusp(row.cusp_asked_um)} {self.cusp_sign}"
        return f"{self.length(row.stepover_asked_mm or 0.0)} {self.sign}"

    def ball(self, row: WhatIfRow) -> str:
        """The cutter of a row."""
        return f"{self.length(row.ball_mm)} {self.sign} ball"


def title(what_if: WhatIf) -> str:
    """What is asked, on one line."""
    unit = UnitWords.of(what_if)
    where = "all zones" if what_if.zone is None else f"zone {what_if.zone} ({what_if.zone_name})"
    how = "passes laid" if what_if.is_laid else "estimated"
    target = f"{unit.cusp(what_if.target_cusp_um)} {unit.cusp_sign}"
    return f"{what_if.part}, {where}, {what_if.stage} stage, {how}; target: a cusp of {target}"


def table_lines(what_if: WhatIf) -> list[str]:
    """Rows under their headings, columns aligned, in the job's unit; what no row knows has no column.

    ``done`` is the area that is reached, ``left`` what the cutter is too large for; minutes are with links.
    """
    unit = UnitWords.of(what_if)
    columns = {
        heading: [_NOT_KNOWN if cell is None else cell for cell in cells]
        for heading, cells in _columns(what_if, unit).items()
        if any(cell is not None for cell in cells)
    }
    widths = {heading: max(map(len, (heading, *cells))) for heading, cells in columns.items()}
    rows = [{heading: cells[n] for heading, cells in columns.items()} for n in range(len(what_if.rows))]
    return [_line(cells, widths) for cells in ({heading: heading for heading in columns}, *rows)]


def _columns(what_if: WhatIf, unit: UnitWords) -> dict[str, list[str | None]]:
    rows, sign, cusp_sign = what_if.rows, unit.sign, unit.cusp_sign
    asked, asked_sign = (what_if.asked, cusp_sign if what_if.asked == "cusp" else sign)
    return {
        f"ball {sign}": [unit.length(row.ball_mm) for row in rows],
        f"{asked} {asked_sign}": [unit.asked(row).split()[0] for row in rows],
        "strategy": [_strategy(row) if what_if.zone is not None else None for row in rows],
        f"apart {sign}": [_or_none(_apart_mm(what_if, row), unit.length) for row in rows],
        "path m": [_or_none(row.path_mm, lambda path: plain_number(path / _MM_PER_M)) for row in rows],
        "passes": [_or_none(row.passes, str) for row in rows],
        "lifts": [_or_none(row.lifts, str) for row in rows],
        "min": [_or_none(row.total_min, minute_words) for row in rows],
        f"p95 {cusp_sign}": [_or_none(row.cusp_p95_um, unit.cusp) for row in rows],
        f"max {cusp_sign}": [_or_none(row.cusp_max_um, unit.cusp) for row in rows],
        f"done {sign}2": [unit.area(row.reached_mm2) for row in rows],
        f"left {sign}2": [unit.area(row.leftover_mm2) for row in rows],
        "target": [_mark(what_if, number) for number in range(len(rows))],
    }


def _or_none(value: _Value | None, told: Callable[[_Value], str]) -> str | None:
    return None if value is None else told(value)


def _strategy(row: WhatIfRow) -> str:
    return "not cut" if row.strategy is None else IN_WORDS[row.strategy]


def _apart_mm(what_if: WhatIf, row: WhatIfRow) -> float | None:
    """Along the surface: of the passes of one zone; of all zones the step on a flat."""
    if what_if.zone is None:
        return row.stepover_flat_mm
    chosen = row.zones[0].chosen
    return None if chosen is None else chosen.stepover_mm


def _mark(what_if: WhatIf, number: int) -> str:
    if number == what_if.quickest:
        return _QUICKEST
    return _WITHIN if what_if.rows[number].within_target else _OUTSIDE


def _line(cells: dict[str, str], widths: dict[str, int]) -> str:
    told = [
        words.ljust(widths[heading]) if heading in _TEXT_COLUMNS else words.rjust(widths[heading])
        for heading, words in cells.items()
    ]
    return " ".join(told).rstrip()


def minute_words(minutes: float) -> str:
    """Minutes in as many digits as they are known to."""
    return f"{minutes:,.0f}" if minutes >= 10 else f"{minutes:.1f}"


def answer_lines(what_if: WhatIf) -> list[str]:
    """Which row is the quickest within the target, what the next step and other balls cost, and what to know of it."""
    lines = list(_answers(what_if, UnitWords.of(what_if)))
    if not what_if.is_timed:
        lines.append("No minutes: say the material (--material, or in the job file). Rows are compared by their path.")
    return [*lines, *_of_other_zones(what_if)]


def _answers(what_if: WhatIf, unit: UnitWords) -> Iterator[str]:
    rows = what_if.rows
    target = f"{unit.cusp(what_if.target_cusp_um)} {unit.cusp_sign}"
    if what_if.quickest is None:
        yield from _none_within(rows, target, unit)
        return
    best = rows[what_if.quickest]
    area = f"{unit.area(best.reached_mm2)} {unit.sign}2"
    cost = _cost_words(what_if, what_if.cost(best) or 0.0)
    yield f"Quickest within {target} for {area}: the {unit.ball(best)} at {unit.asked(best)}, {cost}."
    same = [row for row in rows if (row.ball_mm, row.tool) == (best.ball_mm, best.tool)]
    place = same.index(best)
    for row in same[max(place - 1, 0) : place + 2]:
        if row is not best and what_if.cost(row) is not None:
            beyond = "" if row.within_target else ", out of the target"
            number = unit.asked(best).split(maxsplit=1)[0]
            yield f"{unit.asked(row)} instead of {number}: {_difference(what_if, row, best, unit)}{beyond}."
    for _, group in groupby(rows, key=lambda row: (row.ball_mm, row.tool)):
        others = [(what_if.cost(row) or 0.0, n, row) for n, row in enumerate(group) if row.within_target]
        if others and best not in [row for *_, row in others]:
            yield _of_other_ball(what_if, min(others)[2], best, unit)


def _none_within(rows: Sequence[WhatIfRow], target: str, unit: UnitWords) -> Iterator[str]:
    known = [row for row in rows if row.cusp_p95_um is not None]
    if not known:
        yield "No row finishes anything: the cutters do not get there, or the job keeps passes off."
        return
    finest = min(known, key=lambda row: row.cusp_p95_um or 0.0)
    yield (
        f"No row is within {target}: the finest, the {unit.ball(finest)} at {unit.asked(finest)}, leaves "
        f"{unit.cusp(finest.cusp_p95_um or 0.0)} {unit.cusp_sign}. Ask for finer ones."
    )


def _of_other_ball(what_if: WhatIf, row: WhatIfRow, best: WhatIfRow, unit: UnitWords) -> str:
    at = "" if unit.asked(row) == unit.asked(best) else f" at {unit.asked(row)}"
    words = f"The {unit.ball(row)}{at} instead: {_difference(what_if, row, best, unit)}"
    more = best.reached_mm2 - row.reached_mm2
    if row.finishes(best.reached_mm2):
        return f"{words}."
    return f"{words}, but {unit.area(more)} {unit.sign}2 more are left to another cutter."


def _difference(what_if: WhatIf, row: WhatIfRow, best: WhatIfRow, unit: UnitWords) -> str:
    """What a row takes beside the best; where steps are asked, also the cusp that it leaves."""
    cost, least = what_if.cost(row) or 0.0, what_if.cost(best) or 0.0
    if abs(cost - least) < _AS_LONG_SHARE * least:
        words = "as long"
    else:
        words = f"{_cost_words(what_if, abs(cost - least))} {'more' if cost > least else 'less'}"
    if row.stepover_asked_mm is None or row.cusp_p95_um is None:
        return words
    return f"{words}, a cusp of {unit.cusp(row.cusp_p95_um)} {unit.cusp_sign}"


def _cost_words(what_if: WhatIf, cost: float) -> str:
    if what_if.is_timed:
        return f"{minute_words(cost)} min"
    return f"{plain_number(cost / _MM_PER_M)} m of path"


def _of_other_zones(what_if: WhatIf) -> Iterator[str]:
    """Where a ball's map has the zone otherwise."""
    if what_if.zone is None:
        return
    unit = UnitWords.of(what_if)
    told = {(row.ball_mm, row.tool): row for row in what_if.rows}
    for row in told.values():
        zone = row.zones[0]
        if zone.same_share is not None and zone.same_share < _SAME_SHARE:
            yield (
                f"The {unit.ball(row)} draws other zones: {zone.same_share:.0%} of the zone lie in its zone {zone.id} "
                f"({zone.name}, {unit.area(zone.area_mm2)} {unit.sign}2), which is told of."
            )
