"""What a machinist calls a zone: floor, land, wall, pocket, bowl, boss, dome, groove, round, fillet, slope, undercut.

Told from the mesh alone: what rises or falls around a flat area, whether the rim of a hollow lies above its bottom all
round, how steep the surface is and which way it bends.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from advisor import tolerances
from advisor.kernels.label_bounds import bounds_by_label
from advisor.kernels.quantiles import weighted_quantiles
from advisor.model import SMALL_FEATURES_SHAPE
from advisor.part.curvature import Curvature
from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Ints, Mesh, edge_lengths_mm, half_edge_ends, rim_half_edges
from advisor.zones.classes import FLAT, UNDERCUT
from advisor.zones.patch_graph import PatchGraph
from advisor.zones.patches import LEVEL, SMALL, TIGHT, Patches
from advisor.zones.zoning import Zoning

# A level plane with less of its rim rising from it is a flat top.
_FLOOR_RISING_SHARE = 0.2
# The rest of a wall is its fillet and its round.
_WALL_SHARE = 0.45
# Bends over less than this are no fillet or round.
_FILLET_FROM_DEG = 25.0
# Where so much of the area is within so little of one slope it is a flank with a fillet or round beside it.
_SLOPE_SHARE = 0.5
_ONE_SLOPE_DEG = 2.0
# Hollows whose rim comes down nearer than this share of their depth to the bottom are open.
_OPEN_SHARE = 0.1
# A zone is a hollow where less than this share of its rim lies near its bottom: a fillet has half of it there, an open
# trough only its ends.
_LOW_RIM_SHARE = 0.15
# Hollows and hills this many times longer than wide are grooves and rounds.
_LONG = 2.2
# A bend of one sense over so much of the area makes a fillet or a round.
_BENT_SHARE = 0.6
# Of a groove or a long round so much bends: flanks may be planes.
_BENT_SHARE_OF_LONG = 0.25
# Turns of less than a hundredth of the radius the part's size stands for are no bend.
_NO_BEND_OF_SIZE = 0.5
# Zones with less of their area off the corners of the part are judged with them.
_CLEAR_SHARE = 0.5
# Share of a zone that may be tighter than the radius told.
TIGHTEST_SHARE = 0.01


@dataclass(frozen=True)
class ZoneShape:
    """Shape of a zone; ``is_closed`` says of hollows and hills whether they are so all round, else None."""

    shape: str
    is_closed: bool | None
    concave_radius_mm: float | None


@dataclass(frozen=True)
class _Measures:
    """What shapes are told from, a row a zone."""

    wall_share: Floats
    slope_spread_deg: Floats
    one_slope_share: Floats
    concave_share: Floats
    convex_share: Floats
    bottom_mm: Floats
    top_mm: Floats
    lowest_rim_mm: Floats
    highest_rim_mm: Floats
    low_rim_share: Floats
    high_rim_share: Floats
    length_over_width: Floats
    tightest_per_mm: Floats


def zone_shapes(patches: Patches, graph: PatchGraph, zoning: Zoning, bends: Curvature, axis: Floats) -> list[ZoneShape]:
    """Shape of every zone, in the order of their numbers."""
    measures = _measures(patches, zoning, bends, axis)
    reach = patches.surface.mesh.reach_mm
    shapes = []
    for number in range(len(zoning.zone_class)):
        members = np.flatnonzero(zoning.zone_of_patch == number).astype(np.int32)
        shape, is_closed = _shape(members, patches, graph, int(zoning.zone_class[number]), measures, number)
        bend = float(measures.tightest_per_mm[number])
        plane = set(patches.kind[members].tolist()) == {LEVEL}
        radius = -1.0 / bend if bend < -_NO_BEND_OF_SIZE / reach and not plane else None
        shapes.append(ZoneShape(shape, is_closed, radius))
    return shapes


def _shape(
    members: Ints, patches: Patches, graph: PatchGraph, zone_class: int, measures: _Measures, number: int
) -> tuple[str, bool | None]:
    kinds = set(patches.kind[members].tolist())
    if kinds == {SMALL}:
        return SMALL_FEATURES_SHAPE, None
    if zone_class == UNDERCUT:
        return "undercut", None
    if kinds == {TIGHT}:
        return "fillet", None
    if kinds <= {LEVEL, FLAT} and len(members) == 1:
        return ("floor" if graph.rising_share[members[0]] >= _FLOOR_RISING_SHARE else "land"), None
    flats = members[np.isin(patches.kind[members], (LEVEL, FLAT))]
    bottom, top = graph.is_bottom()[flats].any(), graph.is_top()[flats].any()
    depth = measures.top_mm[number] - measures.bottom_mm[number]
    if not bottom and not top and measures.slope_spread_deg[number] >= _FILLET_FROM_DEG:
        # a tip or bottom too small to be a patch shows in the rim
        bottom = depth > 0 and measures.low_rim_share[number] < _LOW_RIM_SHARE
        top = depth > 0 and measures.high_rim_share[number] < _LOW_RIM_SHARE
    if bottom and not top:
        return _hollow(measures, number, has_floor=LEVEL in kinds)
    if top and not bottom:
        return _hill(measures, number, has_top=LEVEL in kinds)
    return _side(measures, number), None


def _side(measures: _Measures, number: int) -> str:
    """What has neither bottom nor top: a wall, a fillet, a round or a slope."""
    if measures.wall_share[number] >= _WALL_SHARE:
        return "wall"
    if measures.slope_spread_deg[number] < _FILLET_FROM_DEG or measures.one_slope_share[number] > _SLOPE_SHARE:
        return "slope"
    if measures.concave_share[number] > _BENT_SHARE:
        return "fillet"
    return "round" if measures.convex_share[number] > _BENT_SHARE else "slope"


def _hollow(measures: _Measures, number: int, *, has_floor: bool) -> tuple[str, bool]:
    depth = measures.top_mm[number] - measures.bottom_mm[number]
    is_closed = bool(measures.lowest_rim_mm[number] - measures.bottom_mm[number] > _OPEN_SHARE * depth)
    if is_closed and has_floor:
        return "pocket", True
    if is_closed and measures.length_over_width[number] < _LONG:
        return "bowl", True
    is_groove = measures.concave_share[number] > _BENT_SHARE_OF_LONG or has_floor
    return ("groove" if is_groove else _side(measures, number)), is_closed


def _hill(measures: _Measures, number: int, *, has_top: bool) -> tuple[str, bool]:
    height = measures.top_mm[number] - measures.bottom_mm[number]
    is_closed = bool(measures.top_mm[number] - measures.highest_rim_mm[number] > _OPEN_SHARE * height)
    if is_closed and has_top:
        return "boss", True
    if is_closed and measures.length_over_width[number] < _LONG:
        return "dome", True
    is_round = measures.convex_share[number] > _BENT_SHARE_OF_LONG
    return ("round" if is_round else _side(measures, number)), is_closed


def _measures(patches: Patches, zoning: Zoning, bends: Curvature, axis: Floats) -> _Measures:
    surface, zone, count = zoning.surface, zoning.zone, len(zoning.zone_class)
    mesh = surface.mesh
    area = np.bincount(zone, mesh.area_mm2, minlength=count)
    slope = zoning.smooth_slope_deg
    gentlest, usual, steepest = _by_zone(slope, mesh.area_mm2, zone, count, [0.05, 0.5, 0.95]).T
    of_one = np.bincount(zone, mesh.area_mm2 * (np.abs(slope - usual[zone]) < _ONE_SLOPE_DEG), minlength=count) / area
    walls = np.bincount(zone, mesh.area_mm2 * (slope >= tolerances.WALL_FROM_DEG), minlength=count) / area
    low, high = bends.k_min_per_mm[surface.parent], bends.k_max_per_mm[surface.parent]
    least = _NO_BEND_OF_SIZE / mesh.reach_mm
    concave = np.bincount(zone, mesh.area_mm2 * ((low < -least) & (-low > high)), minlength=count) / area
    convex = np.bincount(zone, mesh.area_mm2 * ((high > least) & (high > -low)), minlength=count) / area
    heights = bounds_by_label(mesh.vertices @ axis, mesh.faces, zone, count)
    small = patches.kind[patches.patch] == SMALL
    rims = _rims(mesh, zone, small, heights, axis)
    return _Measures(
        walls, steepest - gentlest, of_one,
        concave, convex, heights[:, 0], heights[:, 1], *rims,
        _by_zone(low, _area_off_corners(patches, zone, count), zone, count, [TIGHTEST_SHARE])[:, 0],
    )  # fmt: skip


def _area_off_corners(patches: Patches, zone: Ints, count: int) -> Floats:
    """(m,) area of the facets two rings off the corners of the part, where normals are least certain; else 0.

    Zones that are mostly such facets keep them.
    """
    mesh = patches.surface.mesh
    near = np.zeros(len(mesh.vertices), bool)
    near[half_edge_ends(mesh.faces, np.flatnonzero(patches.sharp))] = True
    near[mesh.faces[near[mesh.faces].any(axis=1)]] = True
    clear = ~near[mesh.faces].any(axis=1)
    area = np.bincount(zone, mesh.area_mm2, minlength=count)
    share = np.bincount(zone, mesh.area_mm2 * clear, minlength=count) / area
    return np.where(clear | (share < _CLEAR_SHARE)[zone], mesh.area_mm2, 0.0)


def _by_zone(values: Floats, area: Floats, zone: Ints, count: int, shares: list[float]) -> Floats:
    """(z, k) quantiles of a facet quantity over the area of each zone."""
    order = np.argsort(zone, kind="stable")
    ends = np.searchsorted(zone[order], np.arange(count + 1))
    rows = [weighted_quantiles(values[order[a:b]], area[order[a:b]], np.array(shares)) for a, b in pairwise(ends)]
    return np.array(rows)


def _rims(
    mesh: Mesh, zone: Ints, small: Flags, heights: Floats, axis: Floats
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Of every zone: lowest and highest point of the rim, shares of it near bottom and top, length over width in plan.

    A drilled hole in a floor is no rim of the pocket.
    """
    count = len(heights)
    rim = rim_half_edges(mesh, zone)
    rim = rim[(mesh.twins[rim] < 0) | ~small[np.maximum(mesh.twins[rim], 0) // 3]]
    of_zone = zone[rim // 3]
    a, b = half_edge_ends(mesh.faces, rim).T
    height = mesh.vertices @ axis
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, of_zone, np.minimum(height[a], height[b]))
    np.maximum.at(high, of_zone, np.maximum(height[a], height[b]))
    middle, depth = (height[a] + height[b]) / 2, heights[:, 1] - heights[:, 0]
    length = edge_lengths_mm(mesh, rim)
    total = np.maximum(np.bincount(of_zone, length, minlength=count), 1e-12)
    is_low = middle - heights[of_zone, 0] < _OPEN_SHARE * depth[of_zone]
    is_high = heights[of_zone, 1] - middle < _OPEN_SHARE * depth[of_zone]
    low_share = np.bincount(of_zone, length * is_low, minlength=count) / total
    high_share = np.bincount(of_zone, length * is_high, minlength=count) / total
    plan = mesh.vertices @ plan_axes(axis).T
    plan_length = np.bincount(of_zone, np.linalg.norm(plan[b] - plan[a], axis=1), minlength=count)
    flattened = np.bincount(zone, mesh.area_mm2 * np.abs(mesh.normal @ axis), minlength=count)
    size = np.max(
        [np.ptp(bounds_by_label(np.ascontiguousarray(plan[:, k]), mesh.faces, zone, count), axis=1) for k in range(2)],
        axis=0,
    )
    width = 2 * flattened / np.maximum(plan_length, 1e-12)
    return low, high, low_share, high_share, size / np.maximum(width, 1e-12) / 2
