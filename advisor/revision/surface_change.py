"""What of two surfaces changed: pieces of each that do not lie on the other, and how deep the change goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.part.mesh import Flags, Floats, Mesh
from advisor.revision.fit import FACING_COSINE
from advisor.revision.side import CompareSide
from advisor.revision.surface_tree import nearest_on

# Where the other surface is edge-on to a change, the piece's own direction decides, with this weight.
_OWN_SAY = 1e-3
# A share of a corner below this is none: the point lies on the edge across, or in another corner.
_NO_SHARE = 1e-9


@dataclass(frozen=True)
class PieceChange:
    """Of the pieces of one surface.

    Attributes
    ----------
    is_changed : (k,) bool array
        Farther than the tolerance from all of the other surface that faces as the piece does.
    depth_mm : (k,) float64 array
        Distance of changed pieces from the other surface, positive where the piece lies out of the other part, negative
        inside it; 0 for the others.
    other_facet : (k,) int64 array
        Nearest facet of the other surface that faces as the piece does, -1 where there is none.
    distance_mm : (k,) float64 array
        From that facet, infinite where there is none.
    """

    is_changed: Flags
    depth_mm: Floats
    other_facet: NDArray[np.int64]
    distance_mm: Floats


def piece_change(one: CompareSide, other: CompareSide, tolerance_mm: float) -> PieceChange:
    """How the pieces of a surface lie against another surface that it is laid on."""
    middle, normal = one.pieces.middle, one.piece_normal
    # most pieces lie on the other surface: a short reach finds them soonest
    near = nearest_on(other.tree, middle, normal, tolerance_mm, FACING_COSINE)
    is_changed = near.facet < 0
    rows = np.flatnonzero(is_changed)
    facet, distance = near.facet.copy(), near.distance_mm.copy()
    facing = nearest_on(other.tree, middle[rows], normal[rows], np.inf, FACING_COSINE)
    facet[rows], distance[rows] = facing.facet, facing.distance_mm
    # the depth is that to whatever is nearest: of a new pocket's wall, to the land around it
    nearest = nearest_on(other.tree, middle[rows], normal[rows])
    outward = outward_at(other.mesh, nearest.facet, middle[rows] - nearest.offset_mm)
    along = np.einsum("ij,ij->i", nearest.offset_mm, outward + _OWN_SAY * normal[rows])
    depth = np.zeros(len(middle))
    depth[rows] = np.where(along < 0.0, -nearest.distance_mm, nearest.distance_mm)
    return PieceChange(is_changed, depth, facet, distance)


def outward_at(mesh: Mesh, facet: NDArray[np.int64], point: Floats) -> Floats:
    """(k, 3) outward directions at points of a surface: on edges and in corners those of all facets that meet there.

    With them the side on which a place lies of its nearest point is told right (J. A. Baerentzen & H. Aanaes, "Signed
    distance computation using the angle weighted pseudonormal", 2005; from memory). Not of unit length.

    Parameters
    ----------
    mesh : Mesh
    facet : (k,) int array
        A facet that each point lies on.
    point : (k, 3) float64 array, mm
    """
    outward: Floats = mesh.normal[facet].copy()
    share = _shares(mesh.vertices[mesh.faces[facet]], point)
    is_none = np.abs(share) <= _NO_SHARE
    on_edge = np.flatnonzero(is_none.sum(axis=1) == 1)
    # the edge across from corner i is half-edge i + 1
    half = 3 * facet[on_edge] + (is_none[on_edge].argmax(axis=1) + 1) % 3
    twin = mesh.twins[half]
    outward[on_edge] += np.where((twin >= 0)[:, None], mesh.normal[np.maximum(twin, 0) // 3], 0.0)
    in_corner = np.flatnonzero(is_none.sum(axis=1) == 2)
    if len(in_corner):
        corner = mesh.faces[facet[in_corner], share[in_corner].argmax(axis=1)]
        outward[in_corner] = _corner_outward(mesh, corner)
    return outward


def _shares(corners: Floats, point: Floats) -> Floats:
    """(k, 3) shares of three corners in points of their plane."""
    one, two, along = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], point - corners[:, 0]
    aa, ab, bb = (np.einsum("ij,ij->i", x, y) for x, y in ((one, one), (one, two), (two, two)))
    pa, pb = np.einsum("ij,ij->i", along, one), np.einsum("ij,ij->i", along, two)
    whole = np.maximum(aa * bb - ab * ab, 1e-300)
    v, w = (bb * pa - ab * pb) / whole, (aa * pb - ab * pa) / whole
    return np.stack([1.0 - v - w, v, w], axis=1)


def _corner_outward(mesh: Mesh, asked: NDArray[np.integer]) -> Floats:
    """(k, 3) sum of the normals of all facets that meet in a vertex, by their angle there."""
    wanted = np.zeros(len(mesh.vertices), bool)
    wanted[asked] = True
    told = np.zeros((len(mesh.vertices), 3))
    for k in range(3):
        rows = np.flatnonzero(wanted[mesh.faces[:, k]])
        at, one, two = (mesh.vertices[mesh.faces[rows, (k + turn) % 3]] for turn in range(3))
        cross = np.linalg.norm(np.cross(one - at, two - at), axis=1)
        angle = np.arctan2(cross, np.einsum("ij,ij->i", one - at, two - at))
        np.add.at(told, mesh.faces[rows, k], angle[:, None] * mesh.normal[rows])
    outward: Floats = told[asked]
    return outward
