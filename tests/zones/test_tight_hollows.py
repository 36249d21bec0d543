"""Where hollows tighter than the cutter begin, on meshes that know nothing of it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from advisor import tolerances
from advisor.part.curvature import curvature
from advisor.part.heal import heal
from advisor.part.smooth import smooth_surface
from advisor.zones.outline import zone_outlines
from advisor.zones.outline_turning import saw_teeth
from advisor.zones.tight_hollows import cut_at_tight_hollows

UP = np.array([0.0, 0.0, 1.0])
DEPTH_MM, SPREAD_MM, EDGE_MM, HALF_MM = 1.0, 3.0, 0.5, 12.0
# The groove is as tight as one over this at its bottom.
BOTTOM_PER_MM = DEPTH_MM / SPREAD_MM**2


def groove_curvature_per_mm(x_mm: float) -> float:
    """Of z = -DEPTH exp(-x^2 / 2 SPREAD^2), positive where it is hollow; z'' / (1 + z'^2)^1.5."""
    bell = DEPTH_MM * np.exp(-(x_mm**2) / (2 * SPREAD_MM**2))
    rise = bell * x_mm / SPREAD_MM**2
    bend = bell * (1 - x_mm**2 / SPREAD_MM**2) / SPREAD_MM**2
    return float(bend / (1 + rise**2) ** 1.5)


def groove(turn_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """A groove along Y, meshed by a square grid that is turned against it."""
    count = round(2 * HALF_MM / EDGE_MM)
    x, y = np.meshgrid(*[np.linspace(-HALF_MM, HALF_MM, count + 1)] * 2, indexing="ij")
    turn = np.radians(turn_deg)
    across = x * np.cos(turn) - y * np.sin(turn)
    along = x * np.sin(turn) + y * np.cos(turn)
    vertices = np.stack([across, along, -DEPTH_MM * np.exp(-(across**2) / (2 * SPREAD_MM**2))], axis=-1).reshape(-1, 3)
    corner = (np.arange(count)[:, None] * (count + 1) + np.arange(count)).ravel()
    one = np.stack([corner, corner + count + 1, corner + count + 2], axis=1)
    other = np.stack([corner, corner + count + 2, corner + 1], axis=1)
    return vertices, np.concatenate([one, other])


def along(ring: np.ndarray) -> np.ndarray:
    """Places all along a closed loop."""
    share = np.linspace(0.0, 1.0, 20)[:, None, None]
    return (ring * (1 - share) + np.roll(ring, -1, axis=0) * share).reshape(-1, 3)


@pytest.mark.parametrize("turn_deg", [0.0, 9.0, 27.0, 45.0])
def test_a_tight_hollow_ends_in_a_line_where_its_curvature_says(turn_deg: float) -> None:
    mesh = heal(*groove(turn_deg), "groove").mesh
    smooth = smooth_surface(mesh)
    tight_mm = 1.3 / BOTTOM_PER_MM
    bar_per_mm = (1.0 - tolerances.TIGHT_SHARE) / tight_mm
    wanted_mm = brentq(lambda x: groove_curvature_per_mm(x) - bar_per_mm, 0.0, SPREAD_MM)
    surface, tight = cut_at_tight_hollows(mesh, smooth, curvature(mesh, smooth), UP, tight_mm, 45.0)
    assert surface.mesh.area_mm2.sum() == pytest.approx(mesh.area_mm2.sum(), rel=1e-12)
    outlines = zone_outlines(surface, tight.astype(np.int32), UP, tolerances.OUTLINE_DEVIATION_MM)[1]
    assert saw_teeth(outlines, EDGE_MM).lost_deg_per_step < 3.0
    points = np.concatenate([along(outline.points) for outline in outlines])
    inner = points[np.abs(points[:, 1]) < HALF_MM / 2]
    assert len(inner) > 0
    assert np.abs(np.abs(inner[:, 0]) - wanted_mm).max() < 0.6 * EDGE_MM
    assert np.abs(np.abs(inner[:, 0]) - wanted_mm).mean() < 0.35 * EDGE_MM
