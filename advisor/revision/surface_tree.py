"""A surface that can be asked for its nearest facet, of those that face as a point of another one does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.nearest import nearest_facing, solid_boxes
from advisor.kernels.plan_tree import halve
from advisor.kernels.threads import in_chunks
from advisor.part.mesh import Floats, Mesh

# Facets a leaf of the tree holds at most.
_LEAF = 4
# Points a thread is asked at once.
_CHUNK = 4096
ANY_DIRECTION = -2.0


@dataclass(frozen=True)
class SurfaceTree:
    """Facets in a tree of boxes.

    Attributes
    ----------
    corners : (m, 3, 3) float64 array, mm
        In the order of the tree.
    normals : (m, 3) float64 array
    facet : (m,) int64 array
        Which facet of the mesh each is.
    box : (n, 6) float64 array
    levels : int
    """

    corners: Floats
    normals: Floats
    facet: NDArray[np.int64]
    box: Floats
    levels: int


@dataclass(frozen=True)
class Nearest:
    """The nearest points of a surface to points of another.

    Attributes
    ----------
    facet : (k,) int64 array
        Facet of the mesh, -1 where none within reach faces as the point does.
    offset_mm : (k, 3) float64 array
        From the nearest point to the point that asked; NaN where there is none.
    distance_mm : (k,) float64 array
        Infinite where there is none.
    normal : (k, 3) float64 array
        Of the facet; NaN where there is none.
    """

    facet: NDArray[np.int64]
    offset_mm: Floats
    distance_mm: Floats
    normal: Floats


def surface_tree(mesh: Mesh) -> SurfaceTree:
    """The tree of a mesh."""
    corners = mesh.vertices[mesh.faces]
    x, y, z = np.ascontiguousarray(mesh.middle.T)
    levels = max(int(np.ceil(np.log2(max(len(mesh.faces), 1) / _LEAF))), 0)
    order = halve(x, y, z, levels)
    corners = np.ascontiguousarray(corners[order])
    return SurfaceTree(corners, np.ascontiguousarray(mesh.normal[order]), order, solid_boxes(corners, levels), levels)


def nearest_on(
    tree: SurfaceTree,
    points: Floats,
    directions: Floats,
    reach_mm: float = np.inf,
    least_cosine: float = ANY_DIRECTION,
) -> Nearest:
    """The nearest facets to (k, 3) points, of those whose normals are not further than asked from (k, 3) directions."""
    points, directions = np.ascontiguousarray(points), np.ascontiguousarray(directions)
    count = len(points)
    place, foot = np.full(count, -1, np.int64), np.full((count, 3), np.nan)

    def ask(rows: slice) -> None:
        nearest_facing(
            points, directions, tree.corners, tree.normals, tree.box, tree.levels, float(reach_mm), least_cosine,
            rows.start, rows.stop, place, foot,
        )  # fmt: skip

    in_chunks(count, _CHUNK, ask)
    is_found = place >= 0
    offset = points - foot
    distance = np.where(is_found, np.sqrt(np.einsum("ij,ij->i", offset, offset)), np.inf)
    normal = np.where(is_found[:, None], tree.normals[np.maximum(place, 0)], np.nan)
    return Nearest(np.where(is_found, tree.facet[np.maximum(place, 0)], -1), offset, distance, normal)
