"""Parallel lines over a zone: the direction that loses least, and what lines in a direction meet on each facet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.advice.target import StageTarget
from advisor.advice.zone_surface import ZoneSurface, low_quantile
from advisor.cutter.cutter import Cutter
from advisor.kernels.line_direction import length_by_direction, lines_over_facets, widths_across
from advisor.part.frame import plan_axes
from advisor.part.mesh import Floats

# Directions tried: every 5 degrees finds the best within 1 - cos(2.5 deg) = 0.1 % of spacing.
_DIRECTION_STEP_DEG = 5
# Directions are compared, not measured: of a large zone every n-th facet is asked.
_FACETS_ASKED = 50_000
# Directions whose length is within this share of the least are alike; fewest turns decides between them.
_ALIKE_LENGTH_SHARE = 0.01
# Directions are compared by what all but this share of the area allows: a rim must not turn the lines of a face.
_TAIL_OF_DIRECTION = 0.01
# Steeper than this along the line a ball plunges and climbs instead of sweeping. (common practice, no source)
STEEPEST_RUN_DEG = 75.0
STEEPER_SHARE = 0.01


@dataclass(frozen=True)
class Lines:
    """Lines in one direction over the facets of a zone.

    Attributes
    ----------
    direction_deg : float
        From +X of the set-up about the tool axis.
    share : (m,) plan spacing that a unit of surface spacing takes, at the middle of the facet
    least_share : (m,) the least of its corners
    tool_per_mm, surface_per_mm : (m,) curvature of cutter and surface across the lines
    climb_gently : bool
        Whether the lines stay below the steepest run on all but a tail of the zone.
    """

    direction_deg: float
    share: Floats
    least_share: Floats
    tool_per_mm: Floats
    surface_per_mm: Floats
    climb_gently: bool


def best_direction_deg(surface: ZoneSurface, target: StageTarget) -> float:
    """Direction of parallel lines, from +X of the set-up about the tool axis, that needs least path.

    Of directions that need alike, the one across which the zone is narrowest: it has the fewest turns.
    """
    angles = np.arange(0, 180, _DIRECTION_STEP_DEG, dtype=np.float64)
    feeds = _plan_directions(angles)
    some = slice(None, None, 1 + len(surface.area_mm2) // _FACETS_ASKED)
    tensor = np.where(target.edges(surface)[some, None], 0.0, surface.tensor[some])
    length = length_by_direction(
        surface.normal[some], surface.area_mm2[some], surface.axis, feeds @ plan_axes(surface.axis), tensor,
        target.cutter.corner_per_mm, target.cutter.ring_radius_mm, target.cusp_mm or 0.0, target.step_mm or 0.0,
        _TAIL_OF_DIRECTION,
    )  # fmt: skip
    width = np.round(widths_across(surface.plan_corners[some], feeds), 6)
    alike = length <= (1 + _ALIKE_LENGTH_SHARE) * length.min()
    if not np.isfinite(length.min()):
        alike[:] = True
    return float(angles[alike][width[alike].argmin()])


def lines_at(surface: ZoneSurface, cutter: Cutter, direction_deg: float) -> Lines:
    """Lines in a direction over a zone."""
    feed = (_plan_directions(np.array([direction_deg])) @ plan_axes(surface.axis))[0]
    rows = lines_over_facets(
        surface.normal, surface.corner_normal, surface.axis, feed, surface.tensor,
        cutter.corner_per_mm, cutter.ring_radius_mm,
    )  # fmt: skip
    return Lines(direction_deg, rows[:, 0], rows[:, 3], rows[:, 1], rows[:, 2], _climb_gently(surface, feed))


def _plan_directions(angles_deg: Floats) -> Floats:
    turned = np.radians(angles_deg)
    return np.stack([np.cos(turned), np.sin(turned)], axis=1)


def _climb_gently(surface: ZoneSurface, feed: Floats) -> bool:
    run = np.degrees(np.arctan2(np.abs(surface.normal @ feed), np.abs(surface.normal @ surface.axis)))
    return -low_quantile(-run, surface.area_mm2, STEEPER_SHARE) <= STEEPEST_RUN_DEG
