"""How surfaces meet across an edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.patch_sums import sharp_edges
from advisor.part.mesh import Flags, Floats
from advisor.zones.cut_lines import CutSurface

# How surfaces meet; the places in ``model.Joint``, and none on a rim.
NO_JOINT, TANGENT, INSIDE_CORNER, OUTSIDE_CORNER = -1, 0, 1, 2


def sharp_half_edges(surface: CutSurface) -> Flags:
    """(3 m,) half-edges across which the smooth surface turns a corner."""
    mesh = surface.mesh
    least_cosine = np.cos(np.radians(tolerances.TANGENT_JOINT_DEG))
    sharp: Flags = sharp_edges(mesh.faces, mesh.twins, surface.corner_normal, least_cosine)
    return sharp


def joint_of_bend(bend_deg: Floats) -> NDArray[np.int8]:
    """How surfaces meet at bends across their border, positive convex."""
    corner = np.where(bend_deg > 0, OUTSIDE_CORNER, INSIDE_CORNER)
    return np.where(np.abs(bend_deg) < tolerances.TANGENT_JOINT_DEG, TANGENT, corner).astype(np.int8)


def bend_across_deg(surface: CutSurface, half_edge: NDArray[np.integer]) -> Floats:
    """(k,) angle between the smooth surfaces on both sides of half-edges that have a twin, positive convex."""
    mesh, normal = surface.mesh, surface.corner_normal
    f, k = np.divmod(half_edge, 3)
    g, j = np.divmod(mesh.twins[half_edge], 3)
    here = normal[f, k] + normal[f, (k + 1) % 3]
    there = normal[g, j] + normal[g, (j + 1) % 3]
    here /= np.linalg.norm(here, axis=1)[:, None]
    there /= np.linalg.norm(there, axis=1)[:, None]
    along = mesh.vertices[mesh.faces[f, (k + 1) % 3]] - mesh.vertices[mesh.faces[f, k]]
    cross = np.cross(here, there)
    size = np.degrees(np.arctan2(np.linalg.norm(cross, axis=1), np.einsum("ij,ij->i", here, there)))
    bend: Floats = np.where(np.einsum("ij,ij->i", cross, along) < 0, -size, size)
    return bend
