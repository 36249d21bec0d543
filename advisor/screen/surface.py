"""The part as a window draws it: points with normals that break at creases, and the lines on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.model import FacetArrays, Plan
from advisor.pack.shade import make_solid
from advisor.part.mesh import Mesh, half_edge_ends
from advisor.tolerances import CREASE_DEG

Ints = NDArray[np.int32]
Floats32 = NDArray[np.float32]
# Corner normals of one vertex that differ by less than this are one normal.
_ONE_NORMAL: Final = 1e-3


@dataclass(frozen=True)
class DrawnSurface:
    """What the window draws, about the middle of the part so that single precision is enough.

    Attributes
    ----------
    points : (p, 3) float32 array, mm
        The plan's vertices first, then copies of those at which creases meet.
    normals : (p, 3) float32 array
    faces : (m, 3) int32 array
        The plan's facets in their order.
    middle_mm : (3,) float64 array
        What was taken off the coordinates.
    """

    points: Floats32
    normals: Floats32
    faces: Ints
    middle_mm: NDArray[np.float64]


@dataclass(frozen=True)
class Lines:
    """Lines on the part, as pairs of vertices.

    Attributes
    ----------
    border : (k, 2) int32 array
        Edges between zones.
    sides : (k, 2) int32 array
        The zones on both sides of each.
    crease : (j, 2) int32 array
        Sharp edges within a zone, and rims of an open mesh.
    """

    border: Ints
    sides: Ints
    crease: Ints

    def outline(self, zone: int) -> Ints:
        """(i, 2) edges around one zone."""
        edges: Ints = self.border[(self.sides == zone).any(axis=1)]
        return edges


def drawn_surface(plan: Plan) -> DrawnSurface:
    """Points, normals and facets of the part of a plan."""
    solid = make_solid(plan)
    vertices, faces = solid.vertices, solid.faces
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    corner_vertex = faces.ravel()
    corner_normal = solid.corners.reshape(-1, 3)
    first = np.zeros(len(vertices), np.int64)
    first[corner_vertex[::-1]] = np.arange(len(corner_vertex) - 1, -1, -1)
    normals = corner_normal[first]
    apart = np.flatnonzero((np.abs(corner_normal - normals[corner_vertex]) > _ONE_NORMAL).any(axis=1))
    split = corner_vertex.copy()
    split[apart] = len(vertices) + np.arange(len(apart), dtype=np.int32)
    points = (vertices - middle).astype(np.float32)
    return DrawnSurface(
        np.concatenate([points, points[corner_vertex[apart]]]),
        np.concatenate([normals, corner_normal[apart]]),
        split.reshape(-1, 3),
        middle,
    )


def lines_on(facets: FacetArrays) -> Lines:
    """Zone borders, creases and rims."""
    mesh = Mesh(facets.vertices, facets.faces)
    twins = mesh.twins
    paired = np.flatnonzero(twins > np.arange(len(twins)))
    here, there = paired // 3, twins[paired] // 3
    sides = np.stack([facets.zone[here], facets.zone[there]], axis=1)
    is_border = sides[:, 0] != sides[:, 1]
    normals = _normals(mesh)
    is_crease = np.einsum("ij,ij->i", normals[here], normals[there]) < math.cos(math.radians(CREASE_DEG))
    border, inner = paired[is_border], paired[is_crease & ~is_border]
    crease = np.concatenate([inner, np.flatnonzero(twins < 0)])
    return Lines(half_edge_ends(mesh.faces, border), sides[is_border], half_edge_ends(mesh.faces, crease))


def _normals(mesh: Mesh) -> Floats32:
    """(m, 3) unit normals; zero for a facet without area."""
    from advisor.kernels.raster import facet_normals

    normals, _ = facet_normals(mesh.vertices, mesh.faces)
    return normals
