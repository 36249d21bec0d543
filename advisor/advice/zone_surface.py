"""A zone's surface as the sums of passes see it: one row a facet, zone after zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from advisor import tolerances
from advisor.kernels.quantiles import weighted_quantiles
from advisor.kernels.shape_tensor import bend_along, sharpest_bends
from advisor.kernels.slope_lines import corner_slopes
from advisor.part.frame import plan_axes
from advisor.part.mesh import Floats
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

    def sampled(self, most: int) -> ZoneSurface:
        """So many facets at most, spread over the zone, that stand for all of its area.

        Sums over them are near those of the zone, not the same: for estimates that may not take long.
        """
        count = len(self.area_mm2)
        if count <= most:
            return self
        # an odd step: pairs of facets take turns in meshes on a grid, and both kinds are to be asked
        some = slice(None, None, -(-count // most) | 1)
        area = self.area_mm2[some]
        return ZoneSurface(
            self.axis,
            area * (self.total_mm2 / area.sum()),
            self.slope_deg[some],
            self.corner_slope_deg[some],
            self.normal[some],
            self.corner_normal[some],
            self.tensor[some],
            self.bend_uphill_per_mm[some],
            self.mean_bend_per_mm[some],
            self.sharpest_bend_per_mm[some],
            self.plan_corners.reshape(-1, 3, 2)[some].reshape(-1, 2),
        )


def zone_surfaces(tensors: Floats, zoning: Zoning, axis: Floats) -> list[ZoneSurface]:
    """The surface of every zone, in the order of their numbers; specks that a zone took in are left out.

    `tensors` are (m, 6) shape tensors of the facets before cutting.
    """
    cut = zoning.surface
    tensor = tensors[cut.parent]
    normal = cut.normal
    corner_slope = corner_slopes(cut.corner_normal, axis)
    uphill = bend_along(tensor, _uphill(normal, axis))
    mean = (tensor[:, 0] + tensor[:, 1] + tensor[:, 2]) / 2
    sharpest = sharpest_bends(tensor)
    plan = cut.mesh.vertices @ plan_axes(axis).T
    order = np.argsort(zoning.zone, kind="stable")
    ends = np.searchsorted(zoning.zone[order], np.arange(len(zoning.zone_class) + 1))
    area = cut.mesh.area_mm2
    surfaces = []
    for start, stop in pairwise(ends):
        rows = order[start:stop]
        rows = rows[zoning.own[rows]] if zoning.own[rows].any() else rows
        corners = plan[cut.mesh.faces[rows].ravel()]
        surfaces.append(
            ZoneSurface(
                axis,
                area[rows],
                zoning.smooth_slope_deg[rows],
                corner_slope[rows],
                normal[rows],
                cut.corner_normal[rows],
                tensor[rows],
                uphill[rows],
                mean[rows],
                sharpest[rows],
                corners,
            )  # fmt: skip
        )
    return surfaces


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
