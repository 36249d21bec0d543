"""Keep a zone together or split it by slope: what both cost.

Split at a slope, lines cover what is flatter and level passes what is steeper. Both spread as the split moves towards
them, so there is a slope of least path; on a dome it lies near 40 degrees, not at the 45 where both spread alike.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from advisor import tolerances
from advisor.advice.candidates import CLOSEST_LINES_SHARE
from advisor.advice.lines import best_direction_deg, lines_at
from advisor.advice.target import StageTarget
from advisor.advice.zone_surface import ZoneSurface, low_quantile
from advisor.part.mesh import Flags, Floats

# Splits tried, degrees: whole degrees first, then tenths about the best of them.
_LEAST_DEG, _MOST_DEG = 10.0, 80.0
# Facets asked: of a larger zone every n-th.
_FACETS_ASKED = 40_000


@dataclass(frozen=True)
class Split:
    """The split of least path.

    Attributes
    ----------
    slope_deg : float
    line_mm, level_mm : float
        Path of the lines below that slope and of the level passes above it.
    blend_mm : float
        Length of the lines between them, estimated from how fast the slope changes across it.
    has_own_floor : bool
        Whether what is flat has lines of its own, for which one more blend line is paid.
    """

    slope_deg: float
    line_mm: float
    level_mm: float
    blend_mm: float
    has_own_floor: bool = False

    @property
    def path_mm(self) -> float:
        """Path of both, mm."""
        return self.line_mm + self.level_mm


def best_split(surface: ZoneSurface, target: StageTarget, flat_below_deg: float, blend_price: float) -> Split | None:
    """The split of least path, or None where no slope splits the zone in two that hold the target.

    Parameters
    ----------
    surface : ZoneSurface
        A zone with gentle and steep parts.
    target : StageTarget
        Of the stage that counts.
    flat_below_deg : float
        What is flatter may have lines of its own, where that saves more path than its blend line is worth.
    blend_price : float
        Path that a mm of blend line is worth, mm per mm.
    """
    gentle = surface.slope_deg < np.clip(np.median(surface.slope_deg), _LEAST_DEG, 45.0)
    if not gentle.any() or gentle.all():
        return None
    direction = best_direction_deg(part_of(surface, gentle), target)
    every = slice(None, None, 1 + len(surface.area_mm2) // _FACETS_ASKED)
    some = np.zeros(len(surface.area_mm2), bool)
    some[every] = True
    asked = part_of(surface, some)
    scale = float(surface.area_mm2.sum() / asked.area_mm2.sum())
    sums = _Sums(asked, target, direction, scale)
    coarse = [sums.at(slope) for slope in np.arange(_LEAST_DEG, _MOST_DEG + 0.5, 1.0)]
    best = _shortest(coarse)
    if best is None:
        return None
    fine = [sums.at(slope) for slope in best.slope_deg + np.arange(-0.9, 0.95, 0.1)]
    best = _shortest([best, *fine])
    return None if best is None else _cheaper(best, sums.with_own_floor(best, flat_below_deg), blend_price)


def _cheaper(one: Split, other: Split, blend_price: float) -> Split:
    def price(split: Split) -> float:
        return split.path_mm + blend_price * split.blend_mm

    return other if price(other) < price(one) else one


def _shortest(splits: list[Split]) -> Split | None:
    usable = [split for split in splits if np.isfinite(split.path_mm) and split.line_mm > 0 and split.level_mm > 0]
    return min(usable, key=lambda split: split.path_mm, default=None)


class _Sums:
    """What does not change as the split moves."""

    def __init__(self, surface: ZoneSurface, target: StageTarget, direction_deg: float, scale: float) -> None:
        lines = lines_at(surface, target.cutter, direction_deg)
        edge = target.edges(surface)
        corner = np.full(len(edge), target.cutter.corner_per_mm)
        self.area, self.scale = surface.area_mm2 * scale, scale
        self.low, self.high = surface.corner_slope_deg.T
        self.flat_step = target.flat_step_mm
        self.line_step = target.steps_mm(lines.tool_per_mm, np.where(edge, 0.0, lines.surface_per_mm))
        self.level_step = target.steps_mm(corner, np.where(edge, 0.0, surface.bend_uphill_per_mm))
        self.share, self.least_share = lines.share, lines.least_share
        self.sine = np.sin(np.radians(surface.slope_deg))
        self.least_sine = np.sin(np.radians(np.minimum(self.low, 180.0 - self.high)))
        self.bend_uphill = np.abs(surface.bend_uphill_per_mm)

    def at(self, slope_deg: float) -> Split:
        """The split at one slope; infinite paths where a side cannot hold the target."""
        span = np.maximum(self.high - self.low, 1e-9)
        below = np.clip((slope_deg - self.low) / span, 0.0, 1.0)
        under, over = self.area * below, self.area * (1.0 - below)
        # a facet that the split cuts reaches up or down to the split only
        share = np.maximum(self.least_share, np.cos(np.radians(slope_deg)))
        sine = np.maximum(self.least_sine, np.sin(np.radians(slope_deg)))
        line = self._path(under, self.line_step * share, self.share, CLOSEST_LINES_SHARE, tolerances.TAIL_OF_LINES)
        level = self._path(over, self.level_step * sine, self.sine, 0.0, tolerances.TAIL_SHARE_OF_AREA)
        return Split(float(slope_deg), line, level, self._blend_mm(slope_deg))

    def with_own_floor(self, split: Split, flat_below_deg: float) -> Split:
        """The same split with lines of their own for what is flat."""
        floor = self.area * (self.high <= flat_below_deg)
        between = self.area * ((self.high > flat_below_deg) & (self.low < split.slope_deg))
        share = np.maximum(self.least_share, np.cos(np.radians(split.slope_deg)))
        own = self._path(floor, self.line_step * self.least_share, self.share, 0.0, tolerances.TAIL_OF_LINES)
        rest = self._path(between, self.line_step * share, self.share, 0.0, tolerances.TAIL_OF_LINES)
        blend = split.blend_mm + self._blend_mm(flat_below_deg)
        return Split(split.slope_deg, own + rest, split.level_mm, blend, has_own_floor=True)

    def _blend_mm(self, slope_deg: float) -> float:
        """Length of the line of one slope: over each facet it crosses, the area over the way uphill."""
        cut = (self.low < slope_deg) & (self.high > slope_deg)
        span = np.radians(np.maximum(self.high - self.low, 1e-9))
        return float((self.area * self.bend_uphill / span)[cut].sum())

    def _path(self, area: Floats, spacing: Floats, share: Floats, least: float, tail: float) -> float:
        if area.sum() <= 0:
            return 0.0
        tightest = low_quantile(spacing[area > 0], area[area > 0], tail)
        if tightest < least * self.flat_step:
            return float("inf")
        return float((area * share).sum() / tightest)


def part_of(surface: ZoneSurface, chosen: Flags) -> ZoneSurface:
    """Some of a zone's facets as a zone."""
    rows = {
        field.name: getattr(surface, field.name)[chosen]
        for field in fields(surface)
        if field.name not in ("axis", "plan_corners")
    }
    return replace(surface, plan_corners=surface.plan_corners[np.repeat(chosen, 3)], **rows)
