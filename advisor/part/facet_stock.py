"""How far facets stand in a hollow or lie under a bulge: being chords, they are in the way of balls that fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.sagitta import hollow_rises
from advisor.part.coarseness import UNEVEN
from advisor.part.mesh import Floats, Mesh

# The quadric through the corners of a facet lies this much nearer to it than an arc of the bend that a facet of 30 deg
# has, 1 / cos^2(30 / 4 deg); what is told too small counts more than what is told too large.
_ARC_OVER_QUADRIC = 1.03


@dataclass(frozen=True)
class FacetStock:
    """Material between facets and the smooth surface behind or before them, at points of the facets, mm.

    Attributes
    ----------
    at_mm : (k,) float64 array
        Over the smooth surface at the point itself; 0 where the surface is plane or bends outward.
    most_mm : (k,) float64 array
        The most on the facet of the point and on those that touch it.
    under_mm : (k,) float64 array
        How far the smooth surface may bulge over the point; 0 where it is plane or bends inward.
    """

    at_mm: Floats
    most_mm: Floats
    under_mm: Floats


def facet_stock(mesh: Mesh, corner_normal: Floats, facet: NDArray[np.integer], points_mm: Floats) -> FacetStock:
    """Material that facets leave in hollows at points of them.

    Parameters
    ----------
    mesh : Mesh
    corner_normal : (m, 3, 3) float64 array
        Normals of the smooth surface at the corners of facets.
    facet : (k,) int array
    points_mm : (k, 3) float64 array
        On these facets.

    Notes
    -----
    On a quadric h(x) = k x^2 / 2 a point with shares b of the corners lies sum b (x_b - x)^2 k / 2 over it; what the
    tangent planes at the corners tell, weighted by b, is twice that (derived here).
    """
    rise = standing_mm(mesh, corner_normal)
    corners, normals = mesh.vertices[mesh.faces[facet]], corner_normal[facet]
    share = _shares(corners, points_mm)
    over = np.einsum("kc,kcx,kcx->k", share, points_mm[:, None] - corners, normals) / 2
    # the point itself lies under the bulge by no more; a ball held off too little would meet the very facet it touches
    bulge = most_beside(mesh, bulging_mm(mesh, corner_normal))[facet]
    return FacetStock(np.clip(over, 0.0, rise[facet]), most_beside(mesh, rise)[facet], np.where(over < 0.0, bulge, 0.0))


def standing_mm(mesh: Mesh, corner_normal: Floats) -> Floats:
    """(m,) how far every facet stands over a smooth surface that is hollow behind it, mm; 0 where it is not."""
    return _rises_mm(mesh, mesh.normal, corner_normal)


def bulging_mm(mesh: Mesh, corner_normal: Floats) -> Floats:
    """(m,) how far a smooth surface bulges over every facet, mm; 0 where it does not."""
    # seen from inside, a bulge is a hollow
    return _rises_mm(mesh, -mesh.normal, -corner_normal)


def most_beside(mesh: Mesh, rise_mm: Floats) -> Floats:
    """(m,) the most of a number on every facet and on those that touch it."""
    round_vertex = np.zeros(len(mesh.vertices))
    np.maximum.at(round_vertex, mesh.faces, rise_mm[:, None])
    return np.asarray(round_vertex[mesh.faces].max(axis=1))


def _rises_mm(mesh: Mesh, normal: Floats, corner_normal: Floats) -> Floats:
    least_chord = float(np.radians(tolerances.NO_BEND_DEG))
    rise: Floats = _ARC_OVER_QUADRIC * hollow_rises(
        mesh.vertices, mesh.faces, mesh.twins, normal, corner_normal, least_chord, UNEVEN
    )  # fmt: skip
    return rise


def _shares(corners: Floats, points_mm: Floats) -> Floats:
    """(k, 3) shares of the corners of (k, 3, 3) triangles in points of them."""
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    square = np.maximum(np.einsum("kx,kx->k", across, across), 1e-300)
    one, two, three = (corners[:, k] - points_mm for k in range(3))
    parts = np.stack([np.cross(two, three), np.cross(three, one), np.cross(one, two)], axis=1)
    return np.asarray(np.einsum("kcx,kx->kc", parts, across) / square[:, None], dtype=np.float64)
