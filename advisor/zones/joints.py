"""How surfaces meet across an edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor.part.mesh import Floats
from advisor.zones.cut_lines import CutSurface


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
