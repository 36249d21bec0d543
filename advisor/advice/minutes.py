"""Minutes of a candidate before any pass is laid: its path at its feed, cut into as many passes as the zone takes."""

from __future__ import annotations

import math

import numpy as np

from advisor.advice.zone_surface import ZoneSurface
from advisor.cutter.path_time import family_minutes, minutes_range
from advisor.job import Machine
from advisor.kernels.line_direction import widths_across
from advisor.model import Advice


def pass_count(advice: Advice, surface: ZoneSurface, height_mm: float, rim_mm: float) -> int:
    """About how many passes a candidate takes."""
    return max(1, math.ceil(steps_across(advice, surface, height_mm, rim_mm)))


def steps_across(advice: Advice, surface: ZoneSurface, height_mm: float, rim_mm: float) -> float:
    """How many steps of a candidate a zone is wide.

    Lines: the width across them over their spacing. Levels: the height over the Z-step. Offsets: the distance
    from the rim to the middle (about twice the area over the rim) over the step.
    """
    if advice.line_spacing_mm is not None and advice.direction_deg is not None:
        turned = math.radians(advice.direction_deg)
        feed = np.array([[math.cos(turned), math.sin(turned)]])
        return float(widths_across(surface.plan_corners, feed)[0]) / advice.line_spacing_mm
    if advice.z_step_mm is not None:
        return height_mm / advice.z_step_mm
    return 2 * surface.total_mm2 / max(rim_mm, 1e-9) / (advice.stepover_mm or math.inf)


def stage_minutes(
    path_mm: float, link_mm: float, passes: int, feed_mm_per_min: float, machine: Machine
) -> tuple[float, float, tuple[float, float]]:
    """Cutting minutes, minutes with starts, stops and links, and the range these may fall in."""
    cutting = path_mm / feed_mm_per_min
    total = float(family_minutes(path_mm, passes, link_mm, feed_mm_per_min, machine.acceleration))
    return cutting, total, minutes_range(total)
