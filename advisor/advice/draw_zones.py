"""Zones of a part for a job: patches, the price of joining them, and the map that costs least."""

from __future__ import annotations

from collections.abc import Collection, Hashable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from advisor.advice.choose import HABIT_SHARE
from advisor.advice.kept import NOT_KEPT, Kept
from advisor.advice.overrides import Joined, merged_regions, split_regions
from advisor.advice.pass_sums import pass_sums
from advisor.advice.settings import Settings
from advisor.advice.split import best_split, joined
from advisor.advice.zone_records import ZoneMeasures, measure_zones
from advisor.advice.zone_surface import ZoneSurface, zone_surfaces
from advisor.kernels.slope_lines import corner_slopes
from advisor.part.curvature import Curvature
from advisor.part.mesh import Flags, Floats, Mesh
from advisor.part.smooth import SmoothSurface
from advisor.zones.classes import FLAT, SHALLOW, STEEP, Thresholds
from advisor.zones.merging import Prices, Regions, merge_patches, price_of_map_mm
from advisor.zones.minor_regions import note_together
from advisor.zones.patch_graph import PatchGraph, patch_graph
from advisor.zones.patches import Patches, ZoneRule, find_patches, steady_of
from advisor.zones.region_cost import PassSums
from advisor.zones.shape import ZoneShape, zone_shapes
from advisor.zones.steady import SteadyFacets
from advisor.zones.zoning import Zoning, zones_of

# A line nearer than this to the best is left where the job's default puts it: nothing is gained by odd numbers.
_NEAR_ENOUGH_DEG = 1.0
# Nor is a line moved out of the slopes that people call neither floor nor wall (common practice, no source).
_SPLITS_DEG = (30.0, 60.0)
# Nor where the whole map gains less than this share.
_WORTH_MOVING_SHARE = 0.005
# Facets of a zone that are asked for all of them: sums over so many are within some 0.01 % of those over all, and where
# estimates are enough within 0.1 % (measured).
_MOST_FACETS, _FACETS_IN_SHORT = 250_000, 20_000


@dataclass(frozen=True)
class Drawn:
    """Zones of a mesh, what they are made of, their shapes, and what is in doubt about the job's wishes for them."""

    mesh: Mesh
    smooth: SmoothSurface
    axis: Floats
    zoning: Zoning
    patches: Patches
    graph: PatchGraph
    sums: PassSums
    regions: Regions
    shapes: list[ZoneShape]
    prices: Prices
    steep_from_deg: float
    steady: SteadyFacets
    warnings: tuple[str, ...] = ()

    def price_mm(self, not_cut: Collection[int]) -> tuple[float, float]:
        """Price of the map as it is drawn and the least, mm of path; zones that the job leaves out cost nothing."""
        zone_of = self.zoning.zone_of_patch
        return price_of_map_mm(self.patches, self.graph, self.sums, zone_of, self.prices, not_cut)

    @cached_property
    def corner_slope_deg(self) -> Floats:
        """(m, 2) least and greatest slope of the smooth surface at the corners of every facet."""
        return np.asarray(corner_slopes(self.zoning.surface.corner_normal, self.axis))

    @cached_property
    def surfaces(self) -> list[ZoneSurface]:
        """Surface of every zone, in the order of their numbers; worked out at first use."""
        return self._surfaces(_MOST_FACETS)

    @cached_property
    def surfaces_in_short(self) -> list[ZoneSurface]:
        """Some facets of every zone that stand for all of them: minutes then move by about a thousandth."""
        return self._surfaces(_FACETS_IN_SHORT)

    def _surfaces(self, most: int) -> list[ZoneSurface]:
        return zone_surfaces(self.mesh, self.smooth, self.zoning, self.axis, self.corner_slope_deg, most)

    @cached_property
    def measures(self) -> list[ZoneMeasures]:
        """Of every zone, in the order of their numbers."""
        return measure_zones(self.zoning, self.axis, self.corner_slope_deg, self.shapes, self.patches.sharp)


def map_key(settings: Settings) -> Hashable:
    """All of the settings that the map of a part hangs on."""
    rules, last = settings.job.zones, settings.stages[-1]
    by_hand = tuple(
        (place, override.at, override.shape, override.merge, override.split)
        for place, override in enumerate(settings.job.zone)
        if override.merge or override.split
    )
    return (
        settings.axis, rules, "steep_from" in rules.model_fields_set, by_hand, settings.subject,
        max(stage.tool.diameter for stage in settings.stages), last.tool.diameter, last.target,
    )  # fmt: skip


def draw_zones(
    mesh: Mesh,
    smooth: SmoothSurface,
    bends: Curvature,
    settings: Settings,
    in_the_way: Mesh | None = None,
    kept: Kept = NOT_KEPT,
) -> Drawn:
    """Zones of a mesh as the job asks for them; what is in the way, where it is more than the mesh, may hide some."""
    return kept.once(
        "map", map_key(settings), lambda: _best_drawn(mesh, smooth, bends, settings, in_the_way, kept)
    )  # fmt: skip


def _best_drawn(
    mesh: Mesh, smooth: SmoothSurface, bends: Curvature, settings: Settings, in_the_way: Mesh | None, kept: Kept
) -> Drawn:
    rules, axis = settings.job.zones, np.asarray(settings.axis)
    steady = kept.once(
        "steady", (settings.axis, rules.smallest), lambda: steady_of(mesh, smooth, bends, axis, rules.smallest)
    )
    drawn = _drawn(mesh, smooth, bends, settings, rules.steep_from, in_the_way, steady)
    if "steep_from" in rules.model_fields_set:
        return drawn
    better = _best_split_deg(drawn, settings)
    if better is None or abs(better - rules.steep_from) < _NEAR_ENOUGH_DEG:
        return drawn
    moved = _drawn(mesh, smooth, bends, settings, better, in_the_way, steady)
    worth_it = moved.regions.price_mm < (1.0 - _WORTH_MOVING_SHARE) * drawn.regions.price_mm
    return moved if worth_it else drawn


def _drawn(
    mesh: Mesh,
    smooth: SmoothSurface,
    bends: Curvature,
    settings: Settings,
    steep_from_deg: float,
    in_the_way: Mesh | None,
    steady: SteadyFacets,
) -> Drawn:
    axis, rules = np.asarray(settings.axis), settings.job.zones
    patches = find_patches(mesh, smooth, bends, axis, _zone_rule(settings, steep_from_deg), in_the_way, steady)
    # neither waits for the other, and both are kernels in the main
    with ThreadPoolExecutor(1) as beside:
        later = beside.submit(pass_sums, patches, bends, settings.stages[-1].target, axis)
        graph = patch_graph(patches, axis, lambda: steady.heights)
        sums = later.result()
    # both sides of a blend run over it by the overlap
    prices = Prices(rules.blend_price + 2 * rules.overlap, rules.zone_price, HABIT_SHARE)
    regions = merge_patches(patches, graph, sums, prices, keep_together=rules.keep_together)
    patches, region = note_together(patches, regions.region, settings.stages[-1].tool.diameter)
    zoning = zones_of(patches, region, axis)
    shapes = zone_shapes(patches, graph, zoning, bends, axis)
    warnings: tuple[str, ...] = ()
    # what is split first, for zones that are joined then may be parts of it
    for by_hand in (split_regions, merged_regions):
        told: Joined | None = by_hand(zoning, [one.shape for one in shapes], settings.job.zone, settings.subject)
        if told is not None:
            zoning = zones_of(patches, told.region, axis)
            shapes = zone_shapes(patches, graph, zoning, bends, axis)
            warnings += told.warnings
    return Drawn(
        mesh, smooth, axis, zoning, patches, graph, sums, regions, shapes, prices, steep_from_deg, steady,
        warnings,
    )  # fmt: skip


def _best_split_deg(drawn: Drawn, settings: Settings) -> float | None:
    """Slope of least path at which to split what is split by slope, all such zones together; None where none is."""
    split = _zones_split_by_slope(drawn)
    if not split.any():
        return None
    surface = joined([drawn.surfaces[zone] for zone in np.flatnonzero(split)])
    rules, price = settings.job.zones, drawn.prices.blend_mm_per_mm
    best = best_split(surface, settings.stages[-1].target, rules.flat_below, price)
    return None if best is None else round(float(np.clip(best.slope_deg, *_SPLITS_DEG)), 1)


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
