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
_LEAST_SHARE_JUDGED = 0.35
# In noise even the quietest tenth of the vertices is rough; in an odd triangulation of a clean surface it is not.
_QUIET_SHARE, _LEAST_QUIET_OVER_MEDIAN = 0.1, 0.1
# A little noise shows where the part itself hardly bends: a quarter of the bends are then smaller than what so much
# noise makes, while vertices of an odd triangulation stand out by a small part of any bend.
_GENTLE_SHARE, _NOISE_OVER_GENTLE_BEND = 0.25, 0.45
# Facets leaning apart by this difference of unit normals (50 degrees) are of two surfaces, whatever the noise.
_WIDEST_LIKENESS = 0.85
# Nor are they of one where they lean apart by far more than the noise makes them.
_LIKENESS_PER_NOISE = 28.0
_ROUNDS_PER_NOISE = 900.0
_MOST_ROUNDS = 60
# In fine meshes with a little noise normals are averaged the more: a zone line on a surface that hardly turns would
# wander with them.
_ROUNDS_OF_FINE_MESHES = 7000.0
# Averaging over n rounds reaches some 0.6 sqrt(n) edges far: never farther than this share of the part.
_EDGES_A_ROOT_OF_ROUNDS = 0.6
_REACH_OF_AVERAGING = 0.006


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
    if quiet < _LEAST_QUIET_OVER_MEDIAN * median or share < tolerances.SLIGHT_NOISE_SHARE_OF_EDGE:
        return 0.0
    if share >= tolerances.NOISE_SHARE_OF_EDGE:
        return share
    bent = np.abs(bend[mesh.twins >= 0])
    gentle = float(np.quantile(bent[bent > np.radians(tolerances.NO_BEND_DEG)], _GENTLE_SHARE))
    return share if share > _NOISE_OVER_GENTLE_BEND * gentle else 0.0


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
    rounds = 1 + int(noise * _ROUNDS_PER_NOISE)
    if noise < tolerances.NOISE_SHARE_OF_EDGE:
        rounds = max(rounds, _rounds_of_a_fine_mesh(mesh, noise))
    rounds = min(rounds, _MOST_ROUNDS)
    widest = min(_WIDEST_LIKENESS, _LIKENESS_PER_NOISE * noise)
    return np.asarray(filtered_normals(mesh.twins, mesh.normal, mesh.area_mm2, widest, rounds)), noise


def _rounds_of_a_fine_mesh(mesh: Mesh, noise: float) -> int:
    edge_mm = mesh.even_edge_mm
    farthest = _REACH_OF_AVERAGING * mesh.reach_mm / (_EDGES_A_ROOT_OF_ROUNDS * edge_mm)
    return int(min(noise * _ROUNDS_OF_FINE_MESHES, farthest**2))
