"""What a plan says of the reach of a zone: how much, what holds the tool back, what fits, what is left over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.advice.reach import CUTTER_TOO_LARGE, GREATEST_BALL_MM, REACHED, SHANK_OR_HOLDER, TOP_SHARE, PartReach
from advisor.advice.reach_words import reach_words
from advisor.advice.zone_surface import quantile
from advisor.job import Tool
from advisor.model import TiltHold, ZoneLeftover, ZoneReach
from advisor.part.mesh import Flags, Floats
from advisor.units import UM_PER_MM

# The ball that is told of a zone fits on this share of what any fits on: the very corner takes none.
_FIT_SHARE = 0.99


def zone_reach(
    reach: PartReach, zone: int, tools: Sequence[Tool], corner_share: float, radius_mm: float | None
) -> ZoneReach | None:
    """What the plan says of a zone's reach; None where nothing of it was asked.

    Parameters
    ----------
    corner_share : float
        Largest share of an inside radius that a ball's radius should be.
    radius_mm : float or None
        Tightest inside radius of the zone.
    """
    rows = np.flatnonzero(reach.zone == zone)
    if len(rows) == 0:
        return None
    area = reach.samples.area_mm2[rows]
    total = float(area.sum())
    own = reach.by_tool[0]
    state, short = own.state[rows], own.shank_short_mm[rows]
    by_shank = (state == SHANK_OR_HOLDER) & (short > 0.0)
    by_holder = (state == SHANK_OR_HOLDER) & ~by_shank
    in_way: dict[TiltHold, Flags] = {"cutter": state == CUTTER_TOO_LARGE, "shank": by_shank, "holder": by_holder}
    lost = {name: float(area[flags].sum()) / total for name, flags in in_way.items()}
    most = max(in_way, key=lambda name: lost[name])
    stick_out = own.stick_out_mm[rows]
    known = stick_out[~np.isnan(stick_out)]
    fit, fit_share = fit_over(reach.fit_mm[rows], area, _FIT_SHARE)
    fitting = _largest_that_fits(reach, rows, tools, corner_share, radius_mm)
    told = ZoneReach(
        share=float(area[state == REACHED].sum()) / total,
        cutter_share=lost["cutter"],
        shank_or_holder_share=float(area[state == SHANK_OR_HOLDER].sum()) / total,
        depth_mm=reach.top_mm - float(reach.height_mm[rows].min()),
        stick_out_mm=float(np.quantile(known, TOP_SHARE)) if len(known) else None,
        largest_diameter_mm=None if fitting is None else tools[fitting].diameter,
        leftover=_leftover_record(reach.leftover_mm[rows], area, state, reach.corners.most_mm(zone)),
        fit_diameter_mm=fit,
        fit_share=fit_share,
        shank_share=lost["shank"],
        holder_share=lost["holder"],
        shank_short_mm=float(np.quantile(short[by_shank], TOP_SHARE)) if by_shank.any() else None,
        held_back_by=most if sum(lost.values()) >= tolerances.MISSED_SHARE else None,
    )
    return replace(told, why=reach_words(told, tools[0], None if fitting is None else tools[fitting]))


def fit_over(fit_mm: Floats, area_mm2: Floats, most: float) -> tuple[float | None, float | None]:
    """Diameter of the largest ball that fits on a share `most` of what any fits on, and on what share of it all.

    None where none fits.
    """
    any_fits = fit_mm > 0.0
    if not any_fits.any():
        return None, None
    fit = min(float(quantile(fit_mm[any_fits], area_mm2[any_fits], [1.0 - most])[0]), GREATEST_BALL_MM)
    return fit, float(area_mm2[fit_mm >= fit].sum() / area_mm2.sum())


def _largest_that_fits(
    reach: PartReach, rows: NDArray[np.int64], tools: Sequence[Tool], corner_share: float, radius_mm: float | None
) -> int | None:
    """The largest tool that gets to as much of a zone as any, and need not dwell in its corners."""
    enough = tools_that_reach(reach, rows, tolerances.REACH_SLACK_SHARE)
    if not enough:
        return None
    easy = [n for n in enough if radius_mm is None or tools[n].corner_radius_mm <= corner_share * radius_mm]
    return largest_of(easy or enough, tools)


def tools_that_reach(reach: PartReach, rows: NDArray[np.int64], slack: float) -> list[int]:
    """Tools that get to all of some samples that any gets to, but for a share; none where none gets to any."""
    area = reach.samples.area_mm2[rows]
    reached = [float(area[tool.state[rows] == REACHED].sum()) for tool in reach.by_tool]
    most = max(reached, default=0.0)
    return [number for number, found in enumerate(reached) if most > 0.0 and found >= (1.0 - slack) * most]


def largest_of(numbers: Sequence[int], tools: Sequence[Tool]) -> int:
    """The tool of largest diameter, of these that of the largest corner radius, the first of like ones."""
    return max(numbers, key=lambda number: (tools[number].diameter, tools[number].corner_radius_mm, -number))


def _leftover_record(
    left_mm: Floats, area_mm2: Floats, state: NDArray[np.int8], in_corners_mm: float
) -> ZoneLeftover | None:
    over = left_mm > 0.0
    if not over.any():
        return None
    return ZoneLeftover(
        area_mm2=float(area_mm2[state == CUTTER_TOO_LARGE].sum()),
        p95_um=float(np.quantile(left_mm[over], 0.95)) * UM_PER_MM,
        max_um=max(float(left_mm[over].max()), in_corners_mm) * UM_PER_MM,
    )
