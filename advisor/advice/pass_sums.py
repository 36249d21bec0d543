"""The sums from which the price of joining patches follows, for the finishing stage."""

from __future__ import annotations

import numpy as np

from advisor.advice.candidates import CLOSEST_LINES_SHARE, FLATTEST_FOR_CONSTANT_Z_DEG
from advisor.advice.lines import STEEPER_SHARE, STEEPEST_RUN_DEG
from advisor.advice.target import StageTarget
from advisor.kernels.patch_sums import add_level_passes, add_lines
from advisor.kernels.slope_lines import corner_slopes
from advisor.part.curvature import Curvature
from advisor.part.frame import plan_axes
from advisor.part.mesh import Floats
from advisor.zones.patches import Patches
from advisor.zones.region_cost import PassSums

# Directions in which lines are tried: every 22.5 degrees finds the best within 2 % of spacing.
_DIRECTIONS = 8
_BINS = 100


def pass_sums(patches: Patches, bends: Curvature, target: StageTarget, axis: Floats) -> PassSums:
    """Sums of passes over every patch, by its own facets.

    The step of every facet is that of its mean curvature, for all three families: they are compared here, and
    measured later.
    """
    rows = np.flatnonzero(patches.own)
    surface, count = patches.surface, patches.count
    label = patches.patch[rows]
    area = surface.mesh.area_mm2[rows]
    mean = bends.mean_per_mm[surface.parent[rows]]
    step = _steps_mm(mean, target)
    offset = np.asarray(np.bincount(label, area / step, minlength=count), dtype=np.float64)
    sine = np.sin(np.radians(patches.smooth_slope_deg[rows]))
    least = np.sin(np.radians(corner_slopes(surface.corner_normal[rows], axis))).min(axis=1)
    level, level_area = np.zeros(count), np.zeros((count, _BINS))
    flat = target.flat_step_mm
    add_level_passes(label, area, sine, least, step, flat, level, level_area)
    angles = np.pi / _DIRECTIONS * np.arange(_DIRECTIONS)
    across = np.stack([-np.sin(angles), np.cos(angles)], axis=1) @ plan_axes(axis)
    line, line_area = np.zeros((count, _DIRECTIONS)), np.zeros((count, _DIRECTIONS, _BINS))
    plunge, run = np.zeros(line.shape), np.tan(np.radians(STEEPEST_RUN_DEG))
    add_lines(label, area, surface.normal[rows], axis, across, step, flat, run, line, plunge, line_area)
    return PassSums(
        flat, float(np.sin(np.radians(FLATTEST_FOR_CONSTANT_Z_DEG))), CLOSEST_LINES_SHARE, offset, level, level_area,
        line, line_area, plunge, STEEPER_SHARE,
    )  # fmt: skip


def _steps_mm(bend_per_mm: Floats, target: StageTarget) -> Floats:
    """Steps by curvature, looked up: the exact ones at a thousand curvatures, linear between."""
    low, high = np.clip(np.quantile(bend_per_mm, [0.0, 1.0]), -target.cutter.corner_per_mm, None)
    table = np.linspace(low, min(high, 4 * target.cutter.corner_per_mm), 1001)
    exact = target.steps_mm(np.full(len(table), target.cutter.corner_per_mm), table)
    return np.asarray(np.interp(bend_per_mm, table, exact))
