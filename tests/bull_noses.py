"""Bull-nose contact as plans work it out, asked by slope and feed angle.

Tool radius Rt, corner radius r; slope 0 floor to below 90; the feed angle is that between feed and contour, on the
surface: 0 constant-Z, 90 up the slope.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from advisor.advice.conditions import effective_diameters_mm
from advisor.cutter.cutter import Cutter
from advisor.kernels.line_direction import lines_over_facets

AXIS = np.array([0.0, 0.0, 1.0])


def cutter_of(tool_radius_mm: float, corner_radius_mm: float) -> Cutter:
    return Cutter(2.0 * tool_radius_mm, corner_radius_mm)


def cross_feed_curvature_per_mm(
    slope_deg: ArrayLike, feed_angle_deg: ArrayLike, tool_radius_mm: float, corner_radius_mm: float
) -> np.ndarray:
    """Curvature across the feed of the groove that the moving cutter leaves, from lines over one facet each."""
    cutter = cutter_of(tool_radius_mm, corner_radius_mm)
    slopes, feeds = np.broadcast_arrays(np.deg2rad(slope_deg), np.deg2rad(feed_angle_deg))
    found = [
        _over_facet(float(slope), float(feed), cutter)
        for slope, feed in zip(slopes.ravel(), feeds.ravel(), strict=True)
    ]
    return np.reshape(found, slopes.shape)[()]


def _over_facet(slope: float, feed: float, cutter: Cutter) -> float:
    normal = np.array([-np.sin(slope), 0.0, np.cos(slope)])
    # in plan: the feed runs level along +Y, uphill along +X
    plan = np.array([np.sin(feed) * np.cos(slope), np.cos(feed), 0.0])
    plan /= np.linalg.norm(plan)
    told = lines_over_facets(
        normal[None], np.tile(normal, (1, 3, 1)), AXIS, plan, np.zeros((1, 6)), cutter.corner_per_mm,
        cutter.ring_radius_mm,
    )  # fmt: skip
    return float(told[0, 1])


def _across_feed(
    slope_deg: ArrayLike,
    feed_angle_deg: ArrayLike,
    tool_radius_mm: float,
    corner_radius_mm: float,
    surface_per_mm: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Curvatures across the feed of the groove and of the surface."""
    tool = cross_feed_curvature_per_mm(slope_deg, feed_angle_deg, tool_radius_mm, corner_radius_mm)
    return np.asarray(tool), np.asarray(surface_per_mm)


def bull_nose_cusp_mm(
    stepover_mm: ArrayLike,
    slope_deg: ArrayLike,
    feed_angle_deg: ArrayLike,
    tool_radius_mm: float,
    corner_radius_mm: float,
    *,
    surface_curvature_per_mm: float = 0.0,
) -> np.ndarray:
    """Cusp between neighbouring passes on a surface."""
    across = _across_feed(slope_deg, feed_angle_deg, tool_radius_mm, corner_radius_mm, surface_curvature_per_mm)
    return cutter_of(tool_radius_mm, corner_radius_mm).cusp_mm(np.asarray(stepover_mm, float), *across)[()]


def bull_nose_stepover_mm(
    cusp_mm: float,
    slope_deg: ArrayLike,
    feed_angle_deg: ArrayLike,
    tool_radius_mm: float,
    corner_radius_mm: float,
    *,
    surface_curvature_per_mm: float = 0.0,
) -> np.ndarray:
    """Step along the surface that leaves a cusp."""
    across = _across_feed(slope_deg, feed_angle_deg, tool_radius_mm, corner_radius_mm, surface_curvature_per_mm)
    return cutter_of(tool_radius_mm, corner_radius_mm).step_mm(cusp_mm, *across)[()]


def bull_nose_floor_cusp_mm(stepover_mm: ArrayLike, tool_radius_mm: float, corner_radius_mm: float) -> np.ndarray:
    """Cusp on a level floor."""
    return bull_nose_cusp_mm(stepover_mm, 0.0, 0.0, tool_radius_mm, corner_radius_mm)


def bull_nose_floor_stepover_mm(cusp_mm: float, tool_radius_mm: float, corner_radius_mm: float) -> np.ndarray:
    """Step on a level floor."""
    return bull_nose_stepover_mm(cusp_mm, 0.0, 0.0, tool_radius_mm, corner_radius_mm)


def bull_nose_effective_diameter_mm(depth_mm: float, tool_radius_mm: float, corner_radius_mm: float) -> float:
    """Largest diameter that cuts on a level floor, for a cut of some depth."""
    return float(effective_diameters_mm(cutter_of(tool_radius_mm, corner_radius_mm), np.zeros(1), depth_mm)[0])
