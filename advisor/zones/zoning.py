"""From a clean mesh to zones: the walk of this folder in one place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.part.smooth import SmoothSurface
from advisor.zones.areas import absorb_specks, connected_areas
from advisor.zones.classes import Thresholds, class_of_slope, slope_deg
from advisor.zones.cut_lines import CutSurface, cut_at_slopes
from advisor.zones.overhangs import without_idle_overhangs
from advisor.zones.small_features import collect_small_features


@dataclass(frozen=True)
class ZoneRule:
    """What decides the zones besides the part."""

    thresholds: Thresholds
    smallest_mm2: float
    ball_mm: float


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
        Slope class of each zone.
    own : (m,) bool array
        Facets of their zone's class; the others are specks it took in, which have no say in its spacing.
    features : (z,) int32 array
        Places a zone consists of: 1, or more where small features are noted together.
    slope_deg, smooth_slope_deg : (m,) float64 array
        Of the facets, and of the smooth surface they stand for.
    """

    surface: CutSurface
    zone: Ints
    zone_class: NDArray[np.int8]
    own: Flags
    features: Ints
    slope_deg: Floats
    smooth_slope_deg: Floats


def zone_part(mesh: Mesh, smooth: SmoothSurface, axis: Floats, rule: ZoneRule) -> Zoning:
    """Zones of a mesh seen along a tool axis.

    Parameters
    ----------
    mesh : Mesh
    smooth : SmoothSurface
        The smooth surface behind it.
    axis : (3,) unit vector from the part to the spindle
    rule : ZoneRule
    """
    thresholds = _loosened(rule.thresholds, smooth.noise_share_of_edge)
    smallest = _smallest_mm2(mesh, rule.smallest_mm2, smooth.noise_share_of_edge)
    shortest = tolerances.SHORTEST_LINE_SHARE_OF_SPECK * float(np.sqrt(smallest))
    surface = cut_at_slopes(mesh, smooth.corner_normal, axis, thresholds.between_classes_deg, shortest)
    smooth_slope = slope_deg(surface.normal, axis)
    facet_class = class_of_slope(smooth_slope, thresholds)
    facet_class = without_idle_overhangs(surface.mesh, facet_class, smooth_slope, axis)
    label = connected_areas(surface.mesh, facet_class)
    own_class = facet_class
    label, facet_class = absorb_specks(surface, label, facet_class, smallest, is_clean=smooth.noise_share_of_edge == 0)
    label, features = collect_small_features(surface.mesh, label, facet_class, axis, rule.ball_mm)
    zone, order = _largest_first(surface.mesh, label, axis)
    zone_class = np.zeros(len(order), np.int8)
    zone_class[zone] = facet_class
    own = own_class == zone_class[zone]
    slopes = slope_deg(surface.mesh.normal, axis)
    return Zoning(surface, zone, zone_class, own, features[order], slopes, smooth_slope)


def _loosened(thresholds: Thresholds, noise_share_of_edge: float) -> Thresholds:
    """A wall of a noisy mesh is a wall within the tilt that noise leaves after filtering."""
    slack = tolerances.WALL_SLACK_PER_NOISE_DEG * noise_share_of_edge
    return replace(thresholds, wall_tolerance_deg=thresholds.wall_tolerance_deg + slack)


def _smallest_mm2(mesh: Mesh, wanted_mm2: float, noise_share_of_edge: float) -> float:
    """Area below which an area is a speck: never much of a small part, never a few facets of a noisy one."""
    total = float(mesh.area_mm2.sum())
    smallest = min(wanted_mm2, tolerances.SPECK_SHARE_OF_AREA * total)
    if noise_share_of_edge > 0:
        smallest = max(smallest, tolerances.NOISE_BLOB_FACETS * total / len(mesh.faces))
    return smallest


def _largest_first(mesh: Mesh, label: Ints, axis: Floats) -> tuple[Ints, NDArray[np.int64]]:
    """Labels renumbered by area; equal areas by height, then by place, so that numbers do not depend on chance."""
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
    return rank[label], order
