"""Scanned or roughly written meshes: how much noise is in them, and facet normals without it."""

from __future__ import annotations

import numpy as np

from advisor import tolerances
from advisor.kernels.denoise import filtered_normals, roughness_at_vertices
from advisor.kernels.sectors import bends
from advisor.part.mesh import Floats, Mesh

# Standard deviation of a vertex's noise against the median size of ``roughness_at_vertices``: 1 / (0.6745 * 1.42),
# for the rise of a vertex with six neighbours less theirs has a variance of 2.03 (each independent).
_DEVIATION_PER_MEDIAN = 1.04
# With fewer vertices to judge by, noise is not what the mesh is made of.
_LEAST_SHARE_JUDGED = 0.3
# In noise even the quietest tenth of the vertices is rough; in an odd triangulation of a clean surface it is not.
_QUIET_SHARE, _LEAST_QUIET_OVER_MEDIAN = 0.1, 0.1
# Facets leaning apart by this difference of unit normals (50 degrees) are of two surfaces, whatever the noise.
_WIDEST_LIKENESS = 0.85
_ROUNDS_PER_NOISE = 900.0
_MOST_ROUNDS = 60


def noise_share_of_edge(mesh: Mesh, bend: Floats) -> float:
    """Standard deviation of vertex noise along the normal, as a share of edge length; 0 for a clean mesh."""
    rough = roughness_at_vertices(
        mesh.vertices, mesh.faces, mesh.normal, mesh.area_mm2, bend, mesh.twins,
        np.radians(tolerances.NO_BEND_DEG), np.radians(tolerances.NOISY_BEND_DEG),
    )  # fmt: skip
    judged = rough[~np.isnan(rough)]
    if len(judged) < _LEAST_SHARE_JUDGED * len(mesh.vertices):
        return 0.0
    quiet, median = np.quantile(np.abs(judged), [_QUIET_SHARE, 0.5])
    share = _DEVIATION_PER_MEDIAN * float(median)
    is_noise = share >= tolerances.NOISE_SHARE_OF_EDGE and quiet >= _LEAST_QUIET_OVER_MEDIAN * median
    return share if is_noise else 0.0


def facet_normals_without_noise(mesh: Mesh) -> tuple[Floats, float]:
    """Facet normals to plan with, and the noise found.

    Returns
    -------
    normal : (m, 3) float64 array
        The facets' own where the mesh is clean.
    noise : float
        See ``noise_share_of_edge``.
    """
    bend = bends(mesh.normal, mesh.faces, mesh.vertices, mesh.twins)
    noise = noise_share_of_edge(mesh, bend)
    if noise == 0.0:
        return mesh.normal, 0.0
    rounds = min(_MOST_ROUNDS, 1 + int(noise * _ROUNDS_PER_NOISE))
    return filtered_normals(mesh.twins, mesh.normal, mesh.area_mm2, _WIDEST_LIKENESS, rounds), noise
