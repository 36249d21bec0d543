"""Zones of a part: patches joined, numbered and ready to be measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.zones.cut_lines import CutSurface
from advisor.zones.patches import Patches, most_of


@dataclass(frozen=True)
class Zoning:
    """Zones of a part.

    Attributes
    ----------
    surface : CutSurface
        The mesh cut along zone lines.
    zone : (m,) int32 array
        Zone number of every facet, 0-based, largest area first.
    zone_class : (z,) int8 array
        Slope class that covers most of each zone.
    facet_class : (m,) int8 array
        Slope class of the area that each facet lies in: a zone kept together has several.
    own : (m,) bool array
        Facets of their patch's kind; the others are specks it took in, which have no say in its spacing.
    features : (z,) int32 array
        Places a zone consists of: 1, or more where small features are noted together.
    slope_deg, smooth_slope_deg : (m,) float64 array
        Of the facets, and of the smooth surface they stand for.
    zone_of_patch : (p,) int32 array
        Zone of each patch.
    line_deviation_mm : float
        How far outlines may leave lines over the smooth surface.
    """

    surface: CutSurface
    zone: Ints
    zone_class: NDArray[np.int8]
    facet_class: NDArray[np.int8]
    own: Flags
    features: Ints
    slope_deg: Floats
    smooth_slope_deg: Floats
    zone_of_patch: Ints
    line_deviation_mm: float


def zones_of(patches: Patches, region: NDArray[np.int64], axis: Floats) -> Zoning:
    """Zones of patches joined into regions.

    Parameters
    ----------
    patches : Patches
    region : (p,) int array
        Region of every patch, numbered from 0.
    axis : (3,) unit vector from the part to the spindle
    """
    mesh = patches.surface.mesh
    label = region[patches.patch].astype(np.int32)
    rank = _rank_by_area(mesh, label, axis)
    zone, zone_of_patch, count = rank[label], rank[region], len(rank)
    features = np.ones(count, np.int32)
    np.maximum.at(features, zone_of_patch, patches.features)
    zone_class = most_of(patches.facet_class, zone, mesh.area_mm2, count)
    return Zoning(
        patches.surface, zone, zone_class, patches.facet_class, patches.own, features, patches.slope_deg,
        patches.smooth_slope_deg, zone_of_patch, patches.line_deviation_mm,
    )  # fmt: skip


def _rank_by_area(mesh: Mesh, label: Ints, axis: Floats) -> Ints:
    """(k,) new number of each label, largest first; equal areas by height, then by place: no chance in it."""
    area = np.bincount(label, weights=mesh.area_mm2)
    middle = mesh.middle
    place = np.stack(
        [np.bincount(label, weights=mesh.area_mm2 * (middle @ d)) / area for d in (*plan_axes(axis), axis)]
    )
    step = 1e-6 * mesh.reach_mm
    rounded_area = np.round(area / (1e-6 * area.max()))
    x, y, z = np.round(place / step)
    order = np.lexsort((y, x, -z, -rounded_area))
    rank = np.empty(len(order), np.int32)
    rank[order] = np.arange(len(order), dtype=np.int32)
    return rank
