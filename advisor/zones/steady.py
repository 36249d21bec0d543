"""What of a mesh is level whatever the thresholds: exact planes, and planes on the whole where there are none."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.quantiles import weighted_quantiles
from advisor.kernels.slope_lines import corner_slopes
from advisor.part.curvature import Curvature
from advisor.part.mesh import Flags, Floats, Ints, Mesh, rim_lengths_mm
from advisor.part.smooth import SmoothSurface
from advisor.zones.areas import connected_areas
from advisor.zones.classes import slope_deg
from advisor.zones.height_map import HeightMap, height_map_of


@dataclass(frozen=True)
class SteadyFacets:
    """What maps of one mesh have in common.

    Attributes
    ----------
    plane : (m,) bool array
        Facets of exact planes, without strays.
    level : (m,) bool array
        Facets of areas that are planes on the whole where no exact planes are.
    """

    mesh: Mesh
    smooth: SmoothSurface
    axis: Floats
    plane: Flags
    level: Flags

    @cached_property
    def corner_slope_deg(self) -> Floats:
        """(m, 2) least and greatest slope of the smooth surface at the corners."""
        return np.asarray(corner_slopes(self.smooth.corner_normal, self.axis))

    @cached_property
    def heights(self) -> HeightMap:
        """Of the mesh, along the axis."""
        return height_map_of(self.mesh, self.axis)

    @cached_property
    def slope_deg(self) -> Floats:
        """(m,) slope of the smooth surface on the whole facet."""
        return slope_deg(self.smooth.corner_normal.sum(axis=1), self.axis)


def steady_facets(
    mesh: Mesh, smooth: SmoothSurface, bends: Curvature, axis: Floats, smallest_mm2: float
) -> SteadyFacets:
    """Planes of a mesh; areas below `smallest_mm2` are none on the whole."""
    plane, is_clean = smooth.is_plane, smooth.noise_share_of_edge == 0
    if is_clean:
        plane = plane & ~_stray_facets(mesh, plane, axis)
    level = _level_on_the_whole(mesh, smooth, bends, plane & is_clean, axis, smallest_mm2)
    return SteadyFacets(mesh, smooth, axis, plane, level)


def _stray_facets(mesh: Mesh, plane: Flags, axis: Floats) -> Flags:
    """(m,) planes of a single facet that leans: uneven meshes of bent surfaces have such among smaller ones."""
    beside = np.where(mesh.twins >= 0, mesh.twins, 0).reshape(-1, 3) // 3
    cosine = np.einsum("mkc,mc->mk", mesh.normal[beside], mesh.normal)
    is_one = (mesh.twins.reshape(-1, 3) >= 0) & plane[beside] & (cosine > np.cos(np.radians(tolerances.COPLANAR_DEG)))
    leans = slope_deg(mesh.normal, axis) > tolerances.NO_BEND_DEG
    stray: Flags = plane & leans & ~is_one.any(axis=1)
    return stray


def square_over_rim_mm(label: Ints, area_mm2: NDArray[Any], facets: int) -> Floats:
    """(k,) area over rim of a square of so many facets of each area's usual size: narrower areas are strips."""
    usual = area_mm2 / np.bincount(label, minlength=len(area_mm2))
    return np.asarray(np.sqrt(facets * usual) / 4.0)


def _level_on_the_whole(
    mesh: Mesh, smooth: SmoothSurface, bends: Curvature, plane: Flags, axis: Floats, smallest_mm2: float
) -> Flags:
    """(m,) facets of areas that are planes on the whole where no exact planes are: a scan has none.

    Of the top of a dome a quarter leans less than half as much as its rim, of the bottom of a trough one half; and they
    bend one way, where noise bends both ways.
    """
    chosen = np.zeros(len(mesh.faces), bool)
    lean = smooth.corner_normal.sum(axis=1)
    slope, bend = slope_deg(lean, axis), bends.mean_per_mm
    for most_deg in tolerances.LEVEL_ON_THE_WHOLE_DEG:
        level = (slope < most_deg) & ~chosen
        label = connected_areas(mesh, level)
        count = int(label.max()) + 1
        area = np.bincount(label, mesh.area_mm2, minlength=count)
        rough = np.bincount(label, mesh.area_mm2 * plane, minlength=count) < tolerances.EXACT_SHARE * area
        mean = np.zeros((count, 3))
        for k in range(3):
            mean[:, k] = np.bincount(label, mesh.area_mm2 * lean[:, k], minlength=count)
        nearer = _angle_deg(lean, mean[label]) < most_deg / 2
        is_plane = np.bincount(label, mesh.area_mm2 * nearer, minlength=count) > tolerances.LEVEL_HALF_SHARE * area
        rim_mm = rim_lengths_mm(mesh, label, count)
        wide = area >= square_over_rim_mm(label, area, tolerances.LEVEL_FEWEST_FACETS) * rim_mm
        wanted = rough & wide & is_plane & (area >= smallest_mm2)
        for number in np.unique(label[level & wanted[label]]):
            wanted[number] = _bends_both_ways(mesh, bend, label == number, area[number] / rim_mm[number])
        chosen |= level & wanted[label]
    return chosen


def _angle_deg(one: Floats, other: Floats) -> Floats:
    lengths = np.linalg.norm(one, axis=1) * np.linalg.norm(other, axis=1)
    cosine = np.einsum("kc,kc->k", one, other) / np.maximum(lengths, 1e-300)
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def _bends_both_ways(mesh: Mesh, mean_per_mm: Floats, rows: Flags, area_over_rim_mm: float) -> bool:
    """Whether an area bends to both sides by chance, and hardly turns on the whole."""
    low, bend, high = weighted_quantiles(mean_per_mm[rows], mesh.area_mm2[rows], np.array([0.1, 0.5, 0.9]))
    return bool(low < 0.0 < high and abs(bend) * 2 * area_over_rim_mm < tolerances.LEVEL_TURN_RAD)
