"""Facets are cut along the lines where the smooth surface's slope crosses a threshold.

So a zone border is a clean curve where the surface is smooth, and a crease where it is not; no saw-teeth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.refine import FROZEN_EDGE, split_edges
from advisor.kernels.slope_lines import (
    corner_sides,
    crossed_facets,
    crossing_places,
    facets_on,
    halving_places,
    mean_normals,
)
from advisor.kernels.topology import match_half_edges
from advisor.part.facet_stock import FacetStock, facet_stock
from advisor.part.mesh import Flags, Floats, Ints, Mesh, take_measures

# A cut on one side of a crease splits the other side too, which then is cut in its own place; this ends it.
_MOST_CUTS = 8
# Rings of facets kept around those a line crosses, so that halving never meets the frozen outer edge.
_RINGS = 2


@dataclass(frozen=True)
class CutSurface:
    """A mesh cut along slope lines.

    Attributes
    ----------
    mesh : Mesh
    corner_normal : (m, 3, 3) float64 array
        Normals of the smooth surface at the corners; unit length is not kept.
    parent : (m,) int32 array
        The facet of the mesh before cutting that each facet is part of.
    whole : tuple of Mesh and (w, 3, 3) float64 array, optional
        That mesh and its corner normals: cuts lie on its flat facets, not on the surface these stand for. ``None``
        where nothing was cut.
    """

    mesh: Mesh
    corner_normal: Floats
    parent: Ints
    whole: tuple[Mesh, Floats] | None = None

    @cached_property
    def normal(self) -> Floats:
        """(m, 3) unit normal of the smooth surface at the middle of each facet."""
        normal: Floats = mean_normals(self.corner_normal)
        normal.setflags(write=False)
        return normal

    def part_of(self, coarser: CutSurface) -> CutSurface:
        """The same surface, with the parents of the mesh that it was cut from, itself a cut one."""
        if coarser.whole is None:
            return self
        return replace(self, parent=coarser.parent[self.parent], whole=coarser.whole)

    def stock_at(self, facet: NDArray[np.integer], points_mm: Floats) -> FacetStock:
        """Material that facets leave in hollows at points of them."""
        if self.whole is None:
            return facet_stock(self.mesh, self.corner_normal, facet, points_mm)
        return facet_stock(*self.whole, self.parent[facet], points_mm)


@dataclass
class _Patch:
    vertices: Floats
    faces: Ints
    corner_normal: Floats
    parent: Ints
    is_frozen_vertex: Flags

    def twins(self) -> Ints:
        twins: Ints = match_half_edges(self.faces, len(self.vertices))
        frozen = self.is_frozen_vertex[self.faces]
        both = frozen & np.roll(frozen, -1, axis=1)
        twins[(twins < 0) & both.ravel()] = FROZEN_EDGE
        return twins

    def split(self, at: Floats) -> None:
        before = len(self.vertices)
        self.vertices, self.faces, self.corner_normal, parent = split_edges(
            self.vertices, self.faces, self.corner_normal, self.twins(), at
        )
        self.parent = self.parent[parent]
        added = len(self.vertices) - before
        self.is_frozen_vertex = np.concatenate([self.is_frozen_vertex, np.zeros(added, bool)])


def cut_at_slopes(
    mesh: Mesh, corner_normal: Floats, axis: Floats, thresholds_deg: Sequence[float], shortest_mm: float
) -> CutSurface:
    """Cut facets along iso-slope lines of the smooth surface.

    Parameters
    ----------
    mesh : Mesh
    corner_normal : (m, 3, 3) float64 array
    axis : (3,) unit vector, the tool axis
    thresholds_deg : slopes to cut at, each in 0..180
    shortest_mm : segments of a line below this are not refined any more

    Returns
    -------
    CutSurface
    """
    angles = np.radians(np.asarray(thresholds_deg, dtype=np.float64))
    cosines = np.cos(angles)
    slacks = np.sin(angles) * np.radians(tolerances.ON_THRESHOLD_DEG)
    crossed = crossed_facets(corner_normal, axis, cosines, slacks)
    if not crossed.any():
        return CutSurface(mesh, corner_normal, np.arange(len(mesh.faces), dtype=np.int32))
    chosen = _with_rings(crossed, mesh)
    patch, vertex_ids = _take_patch(mesh, corner_normal, chosen)
    shortest = max(shortest_mm, tolerances.SHORTEST_LINE_SHARE_OF_SIZE * mesh.reach_mm)
    for cosine, slack in zip(cosines, slacks, strict=True):
        on = np.zeros(len(mesh.faces), bool)
        on[chosen] = facets_on(corner_normal[chosen], axis, cosine, slack)
        _cut_patch(patch, on, axis, cosine, slack, shortest)
    return _put_back(mesh, corner_normal, chosen, patch, vertex_ids)


def _cut_patch(patch: _Patch, on: Flags, axis: Floats, cosine: float, slack: float, shortest: float) -> None:
    """Cut along one threshold; `on` tells facets before cutting that lie on it all over."""
    for _ in range(tolerances.LINE_REFINEMENTS):
        sides = corner_sides(patch.corner_normal, on[patch.parent], axis, cosine, slack)
        at = halving_places(
            patch.vertices, patch.faces, patch.corner_normal, sides, axis, cosine, slack,
            tolerances.LINE_SAG_SHARE, shortest,
        )  # fmt: skip
        if np.isnan(at).all():
            break
        patch.split(at)
    for _ in range(_MOST_CUTS):
        sides = corner_sides(patch.corner_normal, on[patch.parent], axis, cosine, slack)
        at = crossing_places(patch.corner_normal, sides, axis, cosine)
        if np.isnan(at).all():
            break
        patch.split(at)


def _with_rings(chosen: Flags, mesh: Mesh) -> Flags:
    for _ in range(_RINGS):
        touched = np.zeros(len(mesh.vertices), bool)
        touched[mesh.faces[chosen]] = True
        a, b, c = mesh.faces.T
        chosen = touched[a] | touched[b] | touched[c]
    return chosen


def _take_patch(mesh: Mesh, corner_normal: Floats, chosen: Flags) -> tuple[_Patch, Ints]:
    parent = np.flatnonzero(chosen).astype(np.int32)
    vertex_ids, faces = np.unique(mesh.faces[parent], return_inverse=True)
    outside = np.zeros(len(mesh.vertices), bool)
    outside[mesh.faces[~chosen]] = True
    patch = _Patch(
        mesh.vertices[vertex_ids],
        faces.reshape(-1, 3).astype(np.int32),
        corner_normal[parent],
        parent,
        outside[vertex_ids],
    )
    return patch, vertex_ids.astype(np.int32)


def _put_back(mesh: Mesh, corner_normal: Floats, chosen: Flags, patch: _Patch, vertex_ids: Ints) -> CutSurface:
    """The patch in place of its facets, all in the order of their parents."""
    old, whole = len(vertex_ids), np.flatnonzero(~chosen).astype(np.int32)
    added = np.arange(len(mesh.vertices), len(mesh.vertices) + len(patch.vertices) - old, dtype=np.int32)
    renumber = np.concatenate([vertex_ids, added])
    parent = np.concatenate([whole, patch.parent])
    order = np.argsort(parent, kind="stable")
    parent = parent[order]
    rows = np.flatnonzero(order >= len(whole))
    own = order[rows] - len(whole)
    faces, normals = mesh.faces[parent], corner_normal[parent]
    faces[rows], normals[rows] = renumber[patch.faces[own]], patch.corner_normal[own]
    cut = Mesh(np.concatenate([mesh.vertices, patch.vertices[old:]]), faces)
    take_measures(cut, mesh, parent, rows)
    return CutSurface(cut, normals, parent, (mesh, corner_normal))
