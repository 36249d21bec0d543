"""Principal curvatures of the smooth surface behind the facets."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from advisor import tolerances
from advisor.kernels.curvature import (
    facet_operators,
    largest_bend_directions,
    normals_by_operators,
    smooth_operators,
    vertex_operators,
)
from advisor.kernels.sectors import corner_sectors, corner_weights
from advisor.part.mesh import Floats, Mesh
from advisor.part.smooth import SmoothSurface

# Two rounds of better normals bring uneven meshes from 5 % to below 0.5 %; each costs as much as a smoothing.
_NORMAL_ROUNDS = 2
_SMOOTHINGS = 3
# Noise asks for a wider mean, of everything between creases: a dozen rounds reach about two edges far.
_SMOOTHINGS_OF_NOISE = 12
_LIKE_ALL = 1e9


@dataclass(frozen=True)
class Curvature:
    """Principal curvatures, 1/mm, positive where the part is convex. Arrays are read-only.

    Attributes
    ----------
    k_max_per_mm, k_min_per_mm : (m,) float64 arrays
        Of every facet; ``k_max >= k_min`` with their signs, so of a fillet in a pocket ``k_min`` is ``-1 / radius``.
    k_max_direction : (m, 3) float64 array
        Unit direction of ``k_max`` in the facet's plane, of either sense; NaN where the two are within 1 %.
    normal : (m, 3) float64 array
        Unit normals of the facets.
    vertex_k_max_per_mm, vertex_k_min_per_mm : (n,) float64 arrays
        At every vertex, a mean of the facets around it; NaN where a crease parts them. Where two surfaces join
        without a crease, as a floor and its fillet do, it is between the two: ask the facets.
    """

    k_max_per_mm: Floats
    k_min_per_mm: Floats
    k_max_direction: Floats
    normal: Floats
    vertex_k_max_per_mm: Floats
    vertex_k_min_per_mm: Floats

    def __post_init__(self) -> None:
        for field in fields(self):
            getattr(self, field.name).setflags(write=False)

    # none is kept: a large part would hold all of them for as long as it is planned
    @property
    def k_min_direction(self) -> Floats:
        """(m, 3) unit direction of ``k_min``; NaN where there is none."""
        return np.cross(self.normal, self.k_max_direction)

    @property
    def mean_per_mm(self) -> Floats:
        """(m,) mean of the two, 1/mm."""
        return (self.k_max_per_mm + self.k_min_per_mm) / 2.0

    @property
    def sharpest_per_mm(self) -> Floats:
        """(m,) the one larger by size, with its sign, 1/mm: ``1 / sharpest`` is the radius of a fillet."""
        larger_is_max = np.abs(self.k_max_per_mm) >= np.abs(self.k_min_per_mm)
        return np.where(larger_is_max, self.k_max_per_mm, self.k_min_per_mm)


def curvature(mesh: Mesh, smooth: SmoothSurface) -> Curvature:
    """Principal curvatures of every facet, averaged over neighbours that bend alike and lie within the same creases.

    In a clean mesh the corner normals are first made to agree with the curvatures they give, facet by facet; strips
    of CAD models are exact from the start and stay so. In a noisy one they are taken as the smooth surface has them.
    """
    return curvature_and_normals(mesh, smooth)[0]


def curvature_and_normals(mesh: Mesh, smooth: SmoothSurface) -> tuple[Curvature, Floats]:
    """Principal curvatures, and the (m, 3, 3) corner normals that they were found from.

    In clean meshes these are nearer the true ones than those of the smooth surface, most of all where facets are
    uneven.
    """
    vertices, faces, normal = mesh.vertices, mesh.faces, mesh.normal
    noisy = smooth.noise_share_of_edge > 0.0
    likeness, rounds = (_LIKE_ALL, _SMOOTHINGS_OF_NOISE) if noisy else (tolerances.LIKE_CURVATURE_SHARE, _SMOOTHINGS)
    sector, sector_count = corner_sectors(faces, mesh.twins, smooth.is_crease)
    weights = corner_weights(vertices, faces)
    corner = smooth.corner_normal
    for remaining in range(0 if noisy else _NORMAL_ROUNDS, -1, -1):
        mean, deviator, phase = facet_operators(vertices, faces, corner, normal)
        mean, deviator = smooth_operators(
            mesh.twins, smooth.is_crease, mesh.area_mm2, mean, deviator, phase, likeness, rounds
        )
        if remaining:
            corner = normals_by_operators(
                vertices, faces, normal, weights, sector, sector_count, mean, deviator,
                np.cos(np.radians(tolerances.WILD_CORNER_DEG)),
            )  # fmt: skip
            corner = np.where(smooth.is_held[..., None], smooth.corner_normal, corner)
    direction = largest_bend_directions(vertices, faces, normal, mean, deviator, tolerances.NO_DIRECTION_SHARE)
    vertex_mean, vertex_half = vertex_operators(
        faces, corner, weights, sector, mean, deviator, direction, len(vertices)
    )
    half = np.abs(deviator)
    found = Curvature(mean + half, mean - half, direction, normal, vertex_mean + vertex_half, vertex_mean - vertex_half)
    return found, corner
