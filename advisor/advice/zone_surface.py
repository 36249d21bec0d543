"""A zone's surface as the sums of passes see it: one row a facet, zone after zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.quantiles import weighted_quantiles
from advisor.kernels.shape_tensor import bend_along, shape_tensors, sharpest_bends
from advisor.part.frame import plan_axes
from advisor.part.mesh import Floats, Mesh
from advisor.part.smooth import SmoothSurface
from advisor.zones.zoning import Zoning

# Below this slope (radians, as a sine) uphill has no direction worth the name.
_LEVEL_SINE = 1e-6


@dataclass(frozen=True)
class ZoneSurface:
    """Facets of one zone.

    Attributes
    ----------
    axis : (3,) tool axis
    area_mm2 : (m,)
    slope_deg : (m,) of the smooth surface, at the middle of the facet
    corner_slope_deg : (m, 2) least and greatest at its corners
    normal : (m, 3) unit normals of the smooth surface
    corner_normal : (m, 3, 3) normals at the corners, of any length
    tensor : (m, 6) shape tensors, 1/mm
    bend_uphill_per_mm, mean_bend_per_mm : (m,) curvature, convex positive
    sharpest_bend_per_mm : (m,) larger principal curvature by size
    plan_corners : (k, 2) corners of the facets in plan (of the set-up), mm
    """

    axis: Floats
    area_mm2: Floats
    slope_deg: Floats
    corner_slope_deg: Floats
    normal: Floats
    corner_normal: Floats
    tensor: Floats
    bend_uphill_per_mm: Floats
    mean_bend_per_mm: Floats
    sharpest_bend_per_mm: Floats
    plan_corners: Floats

    @property
    def total_mm2(self) -> float:
        """Area of the zone's own facets, mm2."""
        return float(self.area_mm2.sum())


def rows_of_zones(zoning: Zoning) -> list[NDArray[np.int64]]:
    """Facets of every zone, in the order of the zones' numbers; specks that a zone took in are left out."""
    order = np.argsort(zoning.zone, kind="stable")
    ends = np.searchsorted(zoning.zone[order], np.arange(len(zoning.zone_class) + 1))
    every = (order[start:stop] for start, stop in pairwise(ends))
    return [rows[zoning.own[rows]] if zoning.own[rows].any() else rows for rows in every]


def zone_surfaces(
    mesh: Mesh, smooth: SmoothSurface, zoning: Zoning, axis: Floats, corner_slope_deg: Floats, most: int
) -> list[ZoneSurface]:
    """The surface of every zone, in the order of their numbers.

    Parameters
    ----------
    mesh, smooth : the facets before cutting, and the smooth surface behind them
    zoning : Zoning
    axis : (3,) tool axis
    corner_slope_deg : (m, 2) least and greatest slope at the corners of every facet
    most : int
        So many facets of a zone at most, spread over it, that stand for all of its area: sums over them are near those
        of the zone, not the same, and cost no more however large it is.
    """
    cut, axes = zoning.surface, plan_axes(axis)
    surfaces = []
    for every in rows_of_zones(zoning):
        rows, area = _spread_over(every, cut.mesh.area_mm2[every], most)
        parent, normal = cut.parent[rows], cut.normal[rows]
        tensor = shape_tensors(mesh.vertices, mesh.faces[parent], smooth.corner_normal[parent], mesh.normal[parent])
        surfaces.append(
            ZoneSurface(
                axis,
                area,
                zoning.smooth_slope_deg[rows],
                corner_slope_deg[rows],
                normal,
                cut.corner_normal[rows],
                tensor,
                bend_along(tensor, _uphill(normal, axis)),
                (tensor[:, 0] + tensor[:, 1] + tensor[:, 2]) / 2,
                sharpest_bends(tensor),
                cut.mesh.vertices[cut.mesh.faces[rows].ravel()] @ axes.T,
            )  # fmt: skip
        )
    return surfaces


def _spread_over(rows: NDArray[np.int64], area_mm2: Floats, most: int) -> tuple[NDArray[np.int64], Floats]:
    """Every so-manieth facet where there are more than `most`, and areas that come to the same in all."""
    if len(rows) <= most:
        return rows, area_mm2
    # an odd step: pairs of facets take turns in meshes on a grid, and both kinds are to be asked
    step = -(-len(rows) // most) | 1
    some = area_mm2[::step]
    return rows[::step], some * (area_mm2.sum() / some.sum())


def _uphill(normal: Floats, axis: Floats) -> Floats:
    """(m, 3) unit tangent that climbs fastest; on a level facet any tangent, for it climbs nowhere."""
    uphill = axis - (normal @ axis)[:, None] * normal
    length = np.linalg.norm(uphill, axis=1)
    level = length < _LEVEL_SINE
    uphill[level] = np.cross(normal[level], plan_axes(axis)[1])
    length[level] = np.linalg.norm(uphill[level], axis=1)
    unit: Floats = uphill / np.maximum(length, _LEVEL_SINE)[:, None]
    return unit


def low_quantile(values: Floats, weights: Floats, share: float = tolerances.TAIL_SHARE_OF_AREA) -> float:
    """The value that all but a `share` of the weight reaches."""
    return float(weighted_quantiles(values, weights, np.array([share]))[0])


def quantile(values: Floats, weights: Floats, shares: Sequence[float]) -> Floats:
    """Weighted quantiles; infinite values count as the largest."""
    found: Floats = weighted_quantiles(values, weights, np.asarray(shares, dtype=np.float64))
    return found
