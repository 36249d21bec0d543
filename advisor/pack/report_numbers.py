"""Numbers of the report in the job's unit, as text for the cells of its tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from advisor.model import Advice, PlanRecord, Range
from advisor.pack.lengths import LengthUnit, length_unit
from advisor.pack.picture_key import DASH
from advisor.pack.report_blocks import Row
from advisor.units import UM_PER_MM
from advisor.words import plain_number

_M_PER_FOOT: Final = 0.3048
_UIN_PER_INCH: Final = 1e6
# What is nearer to zero than this, in mm or micrometres, is rounding.
_ROUNDING: Final = 1e-6


@dataclass(frozen=True)
class Numbers:
    """How numbers are told: in mm and micrometres, or in inches and microinches."""

    unit: LengthUnit

    @property
    def length_sign(self) -> str:
        """Unit of lengths."""
        return self.unit.sign

    @property
    def area_sign(self) -> str:
        """Unit of areas."""
        return f"{self.unit.sign}²"

    @property
    def height_sign(self) -> str:
        """Unit of cusps and errors."""
        return "µin" if self.unit.is_inch else "µm"

    @property
    def feed_sign(self) -> str:
        """Unit of feeds."""
        return f"{self.unit.sign}/min"

    @property
    def speed_sign(self) -> str:
        """Unit of cutting speeds."""
        return "ft/min" if self.unit.is_inch else "m/min"

    @property
    def path_sign(self) -> str:
        """Unit of path lengths."""
        return "ft" if self.unit.is_inch else "m"

    def length(self, length_mm: float | None) -> str:
        """A length in three digits."""
        return _told(length_mm, 1.0 / self.unit.mm)

    def area(self, area_mm2: float | None) -> str:
        """An area."""
        return _told(area_mm2, 1.0 / self.unit.mm**2)

    def height(self, height_um: float | None) -> str:
        """A cusp or an error."""
        return _told(height_um, _UIN_PER_INCH / UM_PER_MM / self.unit.mm if self.unit.is_inch else 1.0)

    def feed(self, feed_mm_per_min: float | None) -> str:
        """A feed."""
        return _told(feed_mm_per_min, 1.0 / self.unit.mm)

    def speed(self, speed_m_per_min: float | None) -> str:
        """A cutting speed."""
        return _told(speed_m_per_min, 1.0 / _M_PER_FOOT if self.unit.is_inch else 1.0)

    def path(self, path_mm: float | None) -> str:
        """A length of path."""
        return _told(path_mm, 1.0 / UM_PER_MM / (_M_PER_FOOT if self.unit.is_inch else 1.0))

    def lengths(self, span: Range | None) -> str:
        """From the smallest to the largest length."""
        return DASH if span is None else _span(self.length(span.min), self.length(span.max))

    def speeds(self, span: Range | None) -> str:
        """From the smallest to the largest cutting speed."""
        return DASH if span is None else _span(self.speed(span.min), self.speed(span.max))

    def apart(self, advice: Advice) -> str:
        """How far passes are apart where the machine is told it: Z along the tool axis, XY in plan."""
        if advice.z_step_mm is not None:
            return f"Z {self.length(advice.z_step_mm)}"
        if advice.line_spacing_mm is not None:
            return f"XY {self.length(advice.line_spacing_mm)}"
        return DASH

    def target(self, cusp_um: float | None, stepover_mm: float | None) -> str:
        """What a stage is asked for."""
        if cusp_um is not None:
            return f"cusp {self.height(cusp_um)} {self.height_sign}"
        return f"stepover {self.length(stepover_mm)} {self.length_sign}"


def numbers_of(record: PlanRecord) -> Numbers:
    """Numbers in the unit of a plan's job."""
    return Numbers(length_unit(record))


def share(value: float | None) -> str:
    """A share in percent.

    >>> share(0.0), share(0.001), share(0.256), share(None)
    ('0 %', '< 1 %', '26 %', '–')
    """
    if value is None:
        return DASH
    return "< 1 %" if 0.0 < value < 0.005 else f"{100.0 * value:.0f} %"


def minutes(value: float | None) -> str:
    """Minutes in three digits, and no more than a person reads.

    >>> minutes(0.01), minutes(12.34), minutes(1234.5), minutes(None)
    ('< 0.1', '12.3', '1,234', '–')
    """
    if value is None:
        return DASH
    return "< 0.1" if value < 0.05 else f"{value:,.1f}" if value < 99.95 else f"{value:,.0f}"


def minute_span(span: tuple[float, float] | None) -> str:
    """A range of minutes."""
    return DASH if span is None else _span(minutes(span[0]), minutes(span[1]))


def whole(value: float | None) -> str:
    """A whole number."""
    return DASH if value is None else f"{value:,.0f}"


def runs(ids: Sequence[int], *, in_order: bool = False) -> str:
    """Numbers, ascending or in the order given, with runs drawn together.

    >>> runs([1, 2, 3, 7, 9, 10])
    '1 to 3, 7, 9, 10'
    >>> runs([7, 1, 2, 3], in_order=True)
    '7, 1 to 3'
    """
    together: list[list[int]] = []
    for number in ids if in_order else sorted(ids):
        if together and number == together[-1][-1] + 1:
            together[-1].append(number)
        else:
            together.append([number])
    words = [f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in together]
    return ", ".join(words) or DASH


def grouped(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Rows of zones, those that say the same in all cells but the first drawn together: copies are told once."""
    ids: dict[tuple[str, ...], list[int]] = {}
    for row in rows:
        ids.setdefault(row.cells[1:], []).append(row.zone)
    return tuple(Row((runs(zones), *cells), zones[0] if len(zones) == 1 else 0) for cells, zones in ids.items())


def _told(value: float | None, per: float) -> str:
    return DASH if value is None else plain_number(value * per if abs(value) > _ROUNDING else 0.0)


def _span(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"
