"""Measures and names of zones: what the plan says of them before any cutter is chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.advice.zone_surface import quantile, rows_of_zones
from advisor.kernels.label_bounds import bounds_by_label
from advisor.model import SLOPE_CLASSES, ClassAreas, Joint, Neighbour, Range, SlopeClass, Spread
from advisor.part.frame import height_word
from advisor.part.mesh import Flags, Floats, edge_lengths_mm, rim_lengths_mm
from advisor.words import plain_number
from advisor.zones.areas import borders, numbered_pairs
from advisor.zones.joints import INSIDE_CORNER, bend_across_deg, joint_of_bend
from advisor.zones.patches import class_areas_mm2
from advisor.zones.shape import ZoneShape
from advisor.zones.zoning import Zoning

# An undercut zone that mostly faces down is the underside; one that leans is an overhang.
_LEANS_OVER_FROM_DEG = 89.0
_UNDERSIDE_FROM_DEG = 135.0
# A zone with more than this share both steep and gentler is one kept together.
_MIXED_SHARE = 0.02
_SPREAD_SHARES = [0.05, 0.95]


@dataclass(frozen=True)
class ZoneMeasures:
    """Geometry of one zone; its neighbours by number, 0-based."""

    name: str
    slope_class: SlopeClass
    shape: str | None
    features: int
    facets: int
    area_mm2: float
    plan_area_mm2: float
    class_area_mm2: ClassAreas
    is_mixed: bool
    is_closed: bool | None
    concave_radius_mm: float | None
    slope_deg: Spread
    z_mm: Range
    neighbours: tuple[Neighbour, ...]
    rim_mm: float
    has_inside_corner: bool


def measure_zones(
    zoning: Zoning, axis: Floats, corner_slope_deg: Floats, shapes: list[ZoneShape], sharp: Flags
) -> list[ZoneMeasures]:
    """Measures of every zone, in the order of their numbers.

    Parameters
    ----------
    zoning : Zoning
    axis : (3,) tool axis
    corner_slope_deg : (m, 2) least and greatest slope at the corners of every facet
    shapes : of every zone
    sharp : (3 m,) half-edges that turn a corner
    """
    count = len(zoning.zone_class)
    neighbours, cornered = _neighbours(zoning), _with_corners_within(zoning, sharp)
    mesh = zoning.surface.mesh
    rims = rim_lengths_mm(mesh, zoning.zone, count)
    facets = np.bincount(zoning.zone, minlength=count)
    area = np.bincount(zoning.zone, mesh.area_mm2, minlength=count)
    flattened = mesh.area_mm2 * np.abs(np.cos(np.radians(zoning.smooth_slope_deg)))
    plan_area = np.bincount(zoning.zone, flattened, minlength=count)
    heights = bounds_by_label(mesh.vertices @ axis, mesh.faces, zoning.zone, count)
    by_class = class_areas_mm2(zoning.facet_class, zoning.zone, mesh.area_mm2, count)
    measures = []
    for number, rows in enumerate(rows_of_zones(zoning)):
        slope_class = SLOPE_CLASSES[zoning.zone_class[number]]
        features = int(zoning.features[number])
        told = shapes[number]
        slope, z = _spread(zoning, corner_slope_deg, rows), Range(float(heights[number, 0]), float(heights[number, 1]))
        measures.append(
            ZoneMeasures(
                name=_name(told.shape, slope, _told_heights(z, axis), features),
                slope_class=slope_class,
                shape=told.shape,
                features=features,
                facets=int(facets[number]),
                area_mm2=float(area[number]),
                plan_area_mm2=float(plan_area[number]),
                class_area_mm2=ClassAreas(*(float(share) for share in by_class[number])),
                is_mixed=_is_mixed(by_class[number] / area[number]),
                is_closed=told.is_closed,
                concave_radius_mm=told.concave_radius_mm,
                slope_deg=slope,
                z_mm=z,
                neighbours=neighbours.get(number, ()),
                rim_mm=float(rims[number]),
                has_inside_corner=bool(cornered[number])
                or any(near.joint == "inside corner" for near in neighbours.get(number, ())),
            )
        )
    return measures


def _is_mixed(shares: Floats) -> bool:
    """Whether a zone has both steep and gentler parts worth the name."""
    flat, shallow, steep, _ = shares
    return bool(steep > _MIXED_SHARE and flat + shallow > _MIXED_SHARE)


def _spread(zoning: Zoning, corner_slope_deg: Floats, rows: NDArray[np.int64]) -> Spread:
    slope, area, corners = zoning.smooth_slope_deg[rows], zoning.surface.mesh.area_mm2[rows], corner_slope_deg[rows]
    p05, p95 = quantile(slope, area, _SPREAD_SHARES)
    mean = float(np.average(slope, weights=area))
    return Spread(float(corners[:, 0].min()), float(p05), mean, float(p95), float(corners[:, 1].max()))


# Heights in names are told to the nearest micrometre: a rounding error is 0.
_NAME_DECIMALS = 3


def _told_heights(z: Range, axis: Floats) -> tuple[str, str, str]:
    """The lowest and the highest place as seen from the spindle, and the way from one to the other, all in words."""
    word, times = height_word(axis)
    low, high = (plain_number(round(times * height, _NAME_DECIMALS) + 0.0) for height in (z.min, z.max))
    span = (low, high) if times > 0.0 else (high, low)
    return f"{word} {low}", f"{word} {high}", f"{word} {span[0]} to {span[1]}"


def _name(shape: str, slope: Spread, heights: tuple[str, str, str], features: int) -> str:
    """A name to find the zone by: what it is, and where or how steep."""
    _, high, span = heights
    if shape == "undercut":
        return _name_of_undercut(slope, heights, features)
    if features > 1:
        return f"{features} small features"
    word = shape.capitalize()
    if shape in ("floor", "land"):
        return f"{word} {high}"
    if shape == "slope":
        lean = f"{slope.p05:.0f}°", f"{slope.p95:.0f}°"
        return f"{word} {lean[0]}" if lean[0] == lean[1] else f"{word} {lean[0]} to {lean[1]}"
    return f"{word} {span}"


def _name_of_undercut(slope: Spread, heights: tuple[str, str, str], features: int) -> str:
    low, _, span = heights
    if features > 1:
        return f"{features} undercuts"
    if slope.mean > _UNDERSIDE_FROM_DEG:
        return f"Underside {low}"
    return f"Overhang {slope.mean:.0f}°" if slope.min > _LEANS_OVER_FROM_DEG else f"Hidden {span}"


def _neighbours(zoning: Zoning) -> dict[int, tuple[Neighbour, ...]]:
    """For every zone: who shares its border, over what length, and how the two meet there.

    Two zones that meet in several ways (a floor between a wall that rises and one that falls) are neighbours once
    a way.
    """
    edge = borders(zoning.surface.mesh, zoning.zone)
    if len(edge.half_edge) == 0:
        return {}
    joint = joint_of_bend(bend_across_deg(zoning.surface, edge.half_edge))
    pairs, number = numbered_pairs(edge.one, edge.other, len(zoning.zone_class))
    keys, inverse = np.unique(number * len(_JOINTS) + joint, return_inverse=True)
    length = np.bincount(inverse, weights=edge.length_mm)
    found: dict[int, list[Neighbour]] = {}
    for key, total in zip(keys.tolist(), length.tolist(), strict=True):
        pair, kind = divmod(key, len(_JOINTS))
        one, other = pairs[pair].tolist()
        found.setdefault(one, []).append(Neighbour(other, total, _JOINTS[kind]))
        found.setdefault(other, []).append(Neighbour(one, total, _JOINTS[kind]))
    return {zone: tuple(sorted(near, key=lambda n: (-n.length_mm, n.zone))) for zone, near in found.items()}


def _with_corners_within(zoning: Zoning, sharp_half_edges: Flags) -> Flags:
    """(z,) zones in which surfaces meet at an inside corner, as the walls of a pocket may: a pass walks into it."""
    mesh, zone = zoning.surface.mesh, zoning.zone
    sharp = np.flatnonzero(sharp_half_edges)
    sharp = sharp[mesh.twins[sharp] > sharp]
    sharp = sharp[zone[sharp // 3] == zone[mesh.twins[sharp] // 3]]
    inside = sharp[joint_of_bend(bend_across_deg(zoning.surface, sharp)) == INSIDE_CORNER]
    length = np.bincount(zone[inside // 3], edge_lengths_mm(mesh, inside), minlength=len(zoning.zone_class))
    return np.asarray(length > tolerances.CORNER_SHARE_OF_SIZE * mesh.reach_mm)


# In the order of the numbers in ``zones.joints``.
_JOINTS: tuple[Joint, ...] = ("tangent", "inside corner", "outside corner")
