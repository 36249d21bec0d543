"""Zones of a part for a job: patches, the price of joining them, and the map that costs least."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from advisor.advice.choose import HABIT_SHARE
from advisor.advice.overrides import merged_regions
from advisor.advice.pass_sums import pass_sums
from advisor.advice.settings import Settings
from advisor.advice.split import best_split
from advisor.advice.zone_surface import zone_surfaces
from advisor.part.curvature import Curvature
from advisor.part.mesh import Flags, Mesh
from advisor.part.smooth import SmoothSurface
from advisor.zones.classes import FLAT, SHALLOW, STEEP, Thresholds
from advisor.zones.merging import Prices, Regions, merge_patches
from advisor.zones.minor_regions import note_together
from advisor.zones.patch_graph import PatchGraph, patch_graph
from advisor.zones.patches import Patches, ZoneRule, find_patches
from advisor.zones.shape import ZoneShape, zone_shapes
from advisor.zones.zoning import Zoning, zones_of

# A line nearer than this to the best is left where the job's default puts it: nothing is gained by odd numbers.
_NEAR_ENOUGH_DEG = 1.0
# Nor where the whole map gains less than this share.
_WORTH_MOVING_SHARE = 0.005


@dataclass(frozen=True)
class Drawn:
    """Zones, what they are made of, and their shapes."""

    zoning: Zoning
    patches: Patches
    graph: PatchGraph
    regions: Regions
    shapes: list[ZoneShape]
    prices: Prices
    steep_from_deg: float


def draw_zones(mesh: Mesh, smooth: SmoothSurface, bends: Curvature, settings: Settings) -> Drawn:
    """Zones of a mesh as the job asks for them."""
    rules = settings.job.zones
    drawn = _drawn(mesh, smooth, bends, settings, rules.steep_from)
    if "steep_from" in rules.model_fields_set:
        return drawn
    better = _best_split_deg(mesh, smooth, drawn, settings)
    if better is None or abs(better - rules.steep_from) < _NEAR_ENOUGH_DEG:
        return drawn
    moved = _drawn(mesh, smooth, bends, settings, better)
    worth_it = moved.regions.price_mm < (1.0 - _WORTH_MOVING_SHARE) * drawn.regions.price_mm
    return moved if worth_it else drawn


def _drawn(mesh: Mesh, smooth: SmoothSurface, bends: Curvature, settings: Settings, steep_from_deg: float) -> Drawn:
    axis, rules = np.asarray(settings.axis), settings.job.zones
    patches = find_patches(mesh, smooth, bends, axis, _zone_rule(settings, steep_from_deg))
    graph = patch_graph(patches, axis)
    sums = pass_sums(patches, bends, settings.stages[-1].target, axis)
    # both sides of a blend run over it by the overlap
    prices = Prices(rules.blend_price + 2 * rules.overlap, rules.zone_price, HABIT_SHARE)
    regions = merge_patches(patches, graph, sums, prices, keep_together=rules.keep_together)
    patches, region = note_together(patches, regions.region, settings.stages[-1].tool.diameter)
    zoning = zones_of(patches, region, axis)
    shapes = zone_shapes(patches, graph, zoning, bends, axis)
    joined = merged_regions(zoning, [told.shape for told in shapes], settings.job.zone, settings.subject)
    if joined is not None:
        zoning = zones_of(patches, joined, axis)
        shapes = zone_shapes(patches, graph, zoning, bends, axis)
    return Drawn(zoning, patches, graph, regions, shapes, prices, steep_from_deg)


def _best_split_deg(mesh: Mesh, smooth: SmoothSurface, drawn: Drawn, settings: Settings) -> float | None:
    """Slope of least path at which to split what is split by slope, all such zones together; None where none is."""
    zoning, axis = drawn.zoning, np.asarray(settings.axis)
    split = _zones_split_by_slope(drawn)
    if not split.any():
        return None
    as_one = replace(zoning, zone=np.where(split[zoning.zone], 0, 1).astype(np.int32), zone_class=np.zeros(2, np.int8))
    surface = zone_surfaces(mesh, smooth, as_one, axis)[0]
    rules, price = settings.job.zones, drawn.prices.blend_mm_per_mm
    best = best_split(surface, settings.stages[-1].target, rules.flat_below, price)
    return None if best is None else round(best.slope_deg, 1)


def _zones_split_by_slope(drawn: Drawn) -> Flags:
    """(z,) zones that a line at the steep threshold parts from a tangent neighbour of the other side."""
    patches, graph, zone_of = drawn.patches, drawn.graph, drawn.zoning.zone_of_patch
    kind = patches.kind
    one, other = graph.pairs.T
    gentle = np.isin(kind, (FLAT, SHALLOW))
    parted = (gentle[one] & (kind[other] == STEEP)) | (gentle[other] & (kind[one] == STEEP))
    parted &= (zone_of[one] != zone_of[other]) & (graph.tangent_mm > 0)
    split = np.zeros(len(drawn.zoning.zone_class), bool)
    split[zone_of[one[parted]]] = True
    split[zone_of[other[parted]]] = True
    return split


def _zone_rule(settings: Settings, steep_from_deg: float) -> ZoneRule:
    rules = settings.job.zones
    ball = max(stage.tool.diameter for stage in settings.stages)
    tight = settings.stages[-1].target.cutter.corner_radius_mm
    thresholds = Thresholds(rules.flat_below, steep_from_deg, rules.wall_tolerance)
    return ZoneRule(thresholds, rules.smallest, ball, tight)
