"""What a what-if answers: rows with the sums of a ball and a step, and their zones. Plain frozen records."""

from __future__ import annotations

from dataclasses import dataclass

from advisor import tolerances
from advisor.advice.what_if_asked import Asked
from advisor.model import Strategy


@dataclass(frozen=True)
class Way:
    """A zone finished by one strategy: what it takes and what it leaves; ``None`` where that is not known."""

    strategy: Strategy
    usable: bool
    stepover_mm: float | None
    path_mm: float | None
    passes: int | None
    lifts: int | None
    cutting_min: float | None
    total_min: float | None
    cusp_p95_um: float | None
    cusp_max_um: float | None


@dataclass(frozen=True)
class ZoneRow:
    """A zone in one row.

    ``id`` is its number in the map of this row's ball. ``chosen`` is None where no ball finishes it in this set-up;
    ``ways`` are all three strategies. ``same_share`` is what of the area of the zone that was asked for lies in this
    one; None where all zones are asked.
    """

    id: int
    name: str
    area_mm2: float
    reachable_share: float | None
    leftover_mm2: float
    chosen: Way | None
    ways: tuple[Way, ...]
    same_share: float | None


@dataclass(frozen=True)
class WhatIfRow:
    """One ball with one cusp or stepover: the sums over its zones; of the finish stage alone.

    One of ``cusp_asked_um`` and ``stepover_asked_mm`` is None; ``stepover_flat_mm`` is the step on a flat. ``strategy``
    is that of all zones; None where they differ or none is cut. Sums are None where a part is not known, minutes where
    no feed is. Cusps are those of the worst zone. ``cut_mm2`` is the area of the zones that are finished at all,
    ``reachable_share`` what the tool gets to of them and ``reached_mm2`` as an area; ``leftover_mm2`` is what it is too
    large for, of all zones.
    """

    tool: str
    ball_mm: float
    cusp_asked_um: float | None
    stepover_asked_mm: float | None
    stepover_flat_mm: float
    strategy: Strategy | None
    path_mm: float | None
    passes: int | None
    lifts: int | None
    cutting_min: float | None
    total_min: float | None
    cusp_p95_um: float | None
    cusp_max_um: float | None
    cut_mm2: float
    reachable_share: float | None
    reached_mm2: float
    leftover_mm2: float
    zones: tuple[ZoneRow, ...]
    within_target: bool = False

    def finishes(self, area_mm2: float) -> bool:
        """Whether the row finishes so much area, but for a share that counts as nothing."""
        return self.reached_mm2 >= (1.0 - tolerances.WHAT_IF_AREA_SHARE) * area_mm2


@dataclass(frozen=True)
class WhatIf:
    """Rows by ball and then by what is asked, smallest first.

    ``zone`` and ``zone_name`` are those of the zone asked for, in the job's own plan; None for all. A row is within the
    target where 95 % of each of its zones stays within ``target_cusp_um``: the job's cusp, or the one that its stepover
    leaves on a flat. ``quickest`` is the place, in ``rows``, of the quickest row within the target, of those that
    finish as much area as any; None where there is none. ``is_timed`` says whether minutes are known: where they are
    not, rows are compared by their path. ``stage`` is the finish stage's name, ``is_laid`` whether passes were laid,
    ``unit`` that of the job.
    """

    part: str
    unit: str
    stage: str
    asked: Asked
    zone: int | None
    zone_name: str | None
    target_cusp_um: float
    is_laid: bool
    is_timed: bool
    rows: tuple[WhatIfRow, ...]
    quickest: int | None

    def cost(self, row: WhatIfRow) -> float | None:
        """What rows are compared by: minutes where they are known, else path in mm; None where nothing is finished."""
        return cost_of(row, self.is_timed)


def cost_of(row: WhatIfRow, is_timed: bool) -> float | None:
    """Minutes where they are known, else path in mm; None where nothing is finished."""
    return row.total_min if is_timed else row.path_mm
