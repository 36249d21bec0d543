"""Measures and names of zones: what the plan says of them before any cutter is chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor import tolerances
from advisor.advice.zone_surface import ZoneSurface, quantile
from advisor.kernels.label_bounds import bounds_by_label
from advisor.model import SLOPE_CLASSES, SMALL_FEATURES_SHAPE, Joint, Neighbour, Range, SlopeClass, Spread
from advisor.part.mesh import Floats
from advisor.zones.areas import borders
from advisor.zones.zoning import Zoning

# An undercut zone that mostly faces down is the underside; one that leans is an overhang.
_UNDERSIDE_FROM_DEG = 135.0
# A steep zone that nowhere leans more than this from vertical is called a wall.
_WALL_FROM_DEG = 75.0
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
    slope_deg: Spread
    z_mm: Range
    neighbours: tuple[Neighbour, ...]


def measure_zones(zoning: Zoning, surfaces: list[ZoneSurface]) -> list[ZoneMeasures]:
    """Measures of every zone, in the order of their numbers."""
    neighbours = _neighbours(zoning)
    mesh = zoning.surface.mesh
    heights = bounds_by_label(mesh.vertices @ surfaces[0].axis, mesh.faces, zoning.zone, len(surfaces))
    measures = []
    for number, surface in enumerate(surfaces):
        slope_class = SLOPE_CLASSES[zoning.zone_class[number]]
        features = int(zoning.features[number])
        slope, z = _spread(surface), Range(float(heights[number, 0]), float(heights[number, 1]))
        measures.append(
            ZoneMeasures(
                name=_name(slope_class, slope, z, features),
                slope_class=slope_class,
                shape=SMALL_FEATURES_SHAPE if features > 1 else None,
                features=features,
                facets=len(surface.area_mm2),
                area_mm2=surface.total_mm2,
                plan_area_mm2=float((surface.area_mm2 * np.abs(np.cos(np.radians(surface.slope_deg)))).sum()),
                slope_deg=slope,
                z_mm=z,
                neighbours=neighbours.get(number, ()),
            )
        )
    return measures


def _spread(surface: ZoneSurface) -> Spread:
    slope, area = surface.slope_deg, surface.area_mm2
    p05, p95 = quantile(slope, area, _SPREAD_SHARES)
    corners = surface.corner_slope_deg
    mean = float(np.average(slope, weights=area))
    return Spread(float(corners[:, 0].min()), float(p05), mean, float(p95), float(corners[:, 1].max()))


def _name(slope_class: SlopeClass, slope: Spread, z: Range, features: int) -> str:
    if features > 1:
        return f"{features} small {slope_class} features"
    if slope_class == "flat":
        return f"Floor Z {z.max:.1f}"
    if slope_class == "undercut":
        return f"Underside Z {z.min:.1f}" if slope.mean > _UNDERSIDE_FROM_DEG else f"Overhang {slope.mean:.0f}°"
    if slope_class == "steep" and slope.p05 > _WALL_FROM_DEG:
        return f"Wall Z {z.min:.1f} to {z.max:.1f}"
    return f"Slope {slope.p05:.0f}° to {slope.p95:.0f}°"


def _neighbours(zoning: Zoning) -> dict[int, tuple[Neighbour, ...]]:
    """For every zone, who shares its border, over what length, and how the two meet."""
    edge = borders(zoning.surface.mesh, zoning.zone)
    if len(edge.half_edge) == 0:
        return {}
    bend = _bend_deg(zoning, edge.half_edge)
    found: dict[int, list[Neighbour]] = {}
    count = len(zoning.zone_class)
    key = np.minimum(edge.one, edge.other).astype(np.int64) * count + np.maximum(edge.one, edge.other)
    keys, pair = np.unique(key, return_inverse=True)
    length = np.bincount(pair, weights=edge.length_mm)
    mean_bend = np.bincount(pair, weights=edge.length_mm * bend) / length
    for one, other, total, turn in zip(*np.divmod(keys, count), length, mean_bend, strict=True):
        joint = _joint(float(turn))
        found.setdefault(int(one), []).append(Neighbour(int(other), float(total), joint))
        found.setdefault(int(other), []).append(Neighbour(int(one), float(total), joint))
    return {zone: tuple(sorted(near, key=lambda n: (-n.length_mm, n.zone))) for zone, near in found.items()}


def _joint(bend_deg: float) -> Joint:
    if abs(bend_deg) < tolerances.TANGENT_JOINT_DEG:
        return "tangent"
    return "outside corner" if bend_deg > 0 else "inside corner"


def _bend_deg(zoning: Zoning, half_edge: np.ndarray) -> Floats:
    """Angle between the smooth surfaces on both sides of border edges, positive convex."""
    mesh, normal = zoning.surface.mesh, zoning.surface.corner_normal
    f, k = np.divmod(half_edge, 3)
    g, j = np.divmod(mesh.twins[half_edge], 3)
    here = normal[f, k] + normal[f, (k + 1) % 3]
    there = normal[g, j] + normal[g, (j + 1) % 3]
    here /= np.linalg.norm(here, axis=1)[:, None]
    there /= np.linalg.norm(there, axis=1)[:, None]
    along = mesh.vertices[mesh.faces[f, (k + 1) % 3]] - mesh.vertices[mesh.faces[f, k]]
    cross = np.cross(here, there)
    size = np.degrees(np.arctan2(np.linalg.norm(cross, axis=1), np.einsum("ij,ij->i", here, there)))
    bend: Floats = np.where(np.einsum("ij,ij->i", cross, along) < 0, -size, size)
    return bend
