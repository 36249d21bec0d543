"""Keep a zone together or split it by slope: what both cost.

Split at a slope, lines cover what is flatter and level passes what is steeper. Both spread as the split moves towards
them, so there is a slope of least path; on a dome it lies near 40 degrees, not at the 45 where both spread alike.
"""

from __future__ import annotations

from collections.abc import Sequence
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
# Width of the band of slopes whose area tells the length of the line along its middle.
_BLEND_BAND_DEG = 2.0


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
    floor_below_deg : float or None
        Below this slope what is flat has lines of its own, for which one more blend line is paid; None where one
        spacing of lines serves all that is below the split.
    """

    slope_deg: float
    line_mm: float
    level_mm: float
    blend_mm: float
    floor_below_deg: float | None = None

    @property
    def path_mm(self) -> float:
        """Path of both, mm."""
        return self.line_mm + self.level_mm

    def price_mm(self, blend_price: float) -> float:
        """Path, and what the blend lines count for at a price in mm of path per mm."""
        return self.path_mm + blend_price * self.blend_mm

    @property
    def _is_usable(self) -> bool:
        return bool(np.isfinite(self.path_mm)) and self.line_mm > 0 and self.level_mm > 0


def best_split(
    surface: ZoneSurface,
    target: StageTarget,
    flat_below_deg: float,
    blend_price: float,
    steep_from_deg: float | None = None,
) -> Split | None:
    """The cheapest split, or None where no slope splits the zone in two that hold the target.

    Compared are the split of least path and, where it is given, that at the job's own threshold, either with one
    spacing of lines below it or with lines of their own for what is flat.

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
    steep_from_deg : float or None
        Slope from which the job calls a surface steep.
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
    best = _shortest([best, *(sums.at(slope) for slope in best.slope_deg + np.arange(-0.9, 0.95, 0.1))])
    at_threshold = [] if steep_from_deg is None else [sums.at(steep_from_deg)]
    in_two = [split for split in (best, *at_threshold) if split is not None and split._is_usable]
    in_three = [sums.with_own_floor(split, flat_below_deg) for split in in_two if split.slope_deg > flat_below_deg]
    # of equal ones the first
    return min([*in_two, *in_three], key=lambda split: split.price_mm(blend_price), default=None)


def _shortest(splits: list[Split]) -> Split | None:
    return min((split for split in splits if split._is_usable), key=lambda split: split.path_mm, default=None)


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
        under = self._below(slope_deg)
        # a facet that the split cuts reaches up or down to the split only
        sine = np.maximum(self.least_sine, np.sin(np.radians(slope_deg)))
        line = self._lines_mm(under, slope_deg, CLOSEST_LINES_SHARE)
        over, step = self.area * (1.0 - under), self.level_step * sine
        level = self._path(over, step, self.sine, 0.0, tolerances.TAIL_SHARE_OF_AREA)
        return Split(float(slope_deg), line, level, self._blend_mm(slope_deg))

    def with_own_floor(self, split: Split, flat_below_deg: float) -> Split:
        """The same split with lines of their own for what is flat."""
        flat = self._below(flat_below_deg)
        own = self._lines_mm(flat, flat_below_deg, 0.0)
        rest = self._lines_mm(self._below(split.slope_deg) - flat, split.slope_deg, 0.0)
        blend = split.blend_mm + self._blend_mm(flat_below_deg)
        return Split(split.slope_deg, own + rest, split.level_mm, blend, flat_below_deg)

    def _below(self, slope_deg: float) -> Floats:
        """Share of every facet that lies below a slope."""
        share: Floats = np.clip((slope_deg - self.low) / np.maximum(self.high - self.low, 1e-9), 0.0, 1.0)
        return share

    def _lines_mm(self, covered: Floats, up_to_deg: float, least: float) -> float:
        """Lines over a share of every facet that reaches up to a slope at most."""
        spacing = self.line_step * np.maximum(self.least_share, np.cos(np.radians(up_to_deg)))
        return self._path(self.area * covered, spacing, self.share, least, tolerances.TAIL_OF_LINES)

    def _blend_mm(self, slope_deg: float) -> float:
        """Length of the line of one slope: over a band about it, area times how fast the slope changes, over its width.

        (The coarea formula.) A band and not the facets that the line crosses: those at a threshold end on it.
        """
        low, high = slope_deg - _BLEND_BAND_DEG / 2, slope_deg + _BLEND_BAND_DEG / 2
        within = self._below(high) - self._below(low)
        return float((self.area * within * self.bend_uphill).sum() / np.radians(_BLEND_BAND_DEG))

    def _path(self, area: Floats, spacing: Floats, share: Floats, least: float, tail: float) -> float:
        if area.sum() <= 0:
            return 0.0
        tightest = low_quantile(spacing[area > 0], area[area > 0], tail)
        if tightest < least * self.flat_step:
            return float("inf")
        return float((area * share).sum() / tightest)


def joined(surfaces: Sequence[ZoneSurface]) -> ZoneSurface:
    """Several zones as one."""
    rows = {
        field.name: np.concatenate([getattr(surface, field.name) for surface in surfaces])
        for field in fields(ZoneSurface)
        if field.name != "axis"
    }
    return replace(surfaces[0], **rows)


def part_of(surface: ZoneSurface, chosen: Flags) -> ZoneSurface:
    """Some of a zone's facets as a zone."""
    rows = {
        field.name: getattr(surface, field.name)[chosen]
        for field in fields(surface)
        if field.name not in ("axis", "plan_corners")
    }
    return replace(surface, plan_corners=surface.plan_corners[np.repeat(chosen, 3)], **rows)
