"""Zones for tests: patches as they are, and patches joined within their slope classes."""

from __future__ import annotations

import numpy as np

from advisor.advice.pass_sums import pass_sums
from advisor.advice.target import StageTarget
from advisor.advice.zone_surface import ZoneSurface, zone_surfaces
from advisor.cutter.cutter import Cutter
from advisor.kernels.slope_lines import corner_slopes
from advisor.part.curvature import curvature
from advisor.part.mesh import Mesh
from advisor.part.smooth import SmoothSurface
from advisor.zones.merging import Prices, merge_patches
from advisor.zones.patch_graph import patch_graph
from advisor.zones.patches import ZoneRule, find_patches
from advisor.zones.zoning import Zoning, zones_of


def patch_zones(mesh: Mesh, smooth: SmoothSurface, axis: np.ndarray, rule: ZoneRule) -> Zoning:
    """Every patch a zone."""
    patches = find_patches(mesh, smooth, curvature(mesh, smooth), axis, rule)
    return zones_of(patches, np.arange(patches.count), axis)


def surfaces_of(
    mesh: Mesh, smooth: SmoothSurface, zoning: Zoning, axis: np.ndarray, most: int = 1_000_000
) -> list[ZoneSurface]:
    """The surface of every zone of a mesh."""
    return zone_surfaces(mesh, smooth, zoning, axis, corner_slopes(zoning.surface.corner_normal, axis), most)


def joined_zones(
    mesh: Mesh, smooth: SmoothSurface, axis: np.ndarray, rule: ZoneRule, *, keep_together: bool = False
) -> Zoning:
    """Patches joined for a 5 um cusp of the rule's ball."""
    bends = curvature(mesh, smooth)
    patches = find_patches(mesh, smooth, bends, axis, rule)
    target = StageTarget("finish", Cutter(rule.ball_mm, rule.ball_mm / 2), 0, 0.005, None)
    sums = pass_sums(patches, bends, target, axis)
    graph = patch_graph(patches, axis)
    regions = merge_patches(patches, graph, sums, Prices(14.0, 500.0), keep_together=keep_together)
    return zones_of(patches, regions.region, axis)
