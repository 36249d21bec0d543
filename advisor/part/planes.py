"""Plane faces wide enough to stand for themselves: their normals are the true ones, up to the edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.topology import plane_faces
from advisor.part.mesh import Flags, Floats, Ints, Mesh, edge_lengths_mm, rim_half_edges

_NO_SPREAD_SHARE = 1e-6


def planes_within_noise(mesh: Mesh, normal: Floats, bend_rad: Floats, noise: float) -> tuple[Ints, int]:
    """(m,) plane face of every facet of a noisy mesh, and how many there are: quiet places first.

    Parameters
    ----------
    mesh : Mesh
    normal : (m, 3) float64 array
        Facet normals without noise.
    bend_rad : (3 m,) float64 array
        Bends between those.
    noise : float
        Vertex noise as a share of edge length.
    """
    lean = np.radians(tolerances.COPLANAR_DEG + tolerances.LEAN_PER_NOISE_DEG * noise)
    roughest = np.abs(bend_rad).reshape(-1, 3).max(axis=1)
    seeds = np.argsort(np.round(roughest, 6), kind="stable")
    face, count = plane_faces(mesh.twins, normal, np.cos(lean), seeds)
    return face, int(count)


def wide_planes(mesh: Mesh, face: Ints, count: int, is_crease: Flags, smallest_mm2: float) -> Flags:
    """(m,) facets of plane faces of an area or more; the strips of round surfaces are left out.

    A strip is no wider than the strips beside it; a floor is many times wider than those of its fillet.
    """
    area = np.bincount(face, mesh.area_mm2, minlength=count)
    rim = rim_half_edges(mesh, face)
    length = edge_lengths_mm(mesh, rim)
    own, beside = face[rim // 3], face[np.maximum(mesh.twins[rim], 0) // 3]
    width = 2.0 * area / np.bincount(own, length, minlength=count)
    goes_on = length * ~is_crease[rim]
    smooth_mm = np.bincount(own, goes_on, minlength=count)
    width_beside = np.bincount(own, goes_on * width[beside], minlength=count) / np.maximum(smooth_mm, 1e-12)
    is_wide = width >= tolerances.WIDER_FACE_RATIO * width_beside
    is_plane: Flags = ((area >= smallest_mm2) & is_wide)[face]
    return is_plane


def bends_by_chance(mesh: Mesh, normal: Floats, face: Ints, plane: Flags) -> Flags:
    """(m,) those facets of `plane` whose face has normals that do not follow from the place: noise, no bend.

    A face of a gently bent surface has normals that are linear in the place, n = n0 + A (x - x0); of a plane with noise
    the best such A explains little of what they vary.
    """
    rows = np.flatnonzero(plane)
    if len(rows) == 0:
        return plane
    _, label = np.unique(face[rows], return_inverse=True)
    count, weight = int(label.max()) + 1, mesh.area_mm2[rows]
    total = np.bincount(label, weight, minlength=count)

    def off_mean(values: Floats) -> Floats:
        mean = [np.bincount(label, weight * values[:, k], minlength=count) / total for k in range(3)]
        return np.asarray(values - np.stack(mean, axis=1)[label])

    def products(one: Floats, other: Floats) -> Floats:
        sums = np.empty((count, 3, 3))
        for i, j in np.ndindex(3, 3):
            sums[:, i, j] = np.bincount(label, weight * one[:, i] * other[:, j], minlength=count)
        return sums

    place, lean = off_mean(mesh.middle_of(rows)), off_mean(normal[rows])
    placed, leaned = products(place, place), products(lean, place)
    spread = np.trace(placed, axis1=1, axis2=2)
    # across the face there is no spread: a little of it keeps the inverse in bounds
    linear = leaned @ np.linalg.inv(placed + _NO_SPREAD_SHARE * spread[:, None, None] * np.eye(3))
    explained = np.einsum("fij,fij->f", linear, leaned)
    varied = np.bincount(label, weight * (lean**2).sum(axis=1), minlength=count)
    by_chance = np.zeros(len(plane), bool)
    by_chance[rows] = (explained < tolerances.BENT_BY_CHANCE_SHARE * varied + 1e-30)[label]
    return by_chance


def plane_normals(mesh: Mesh, normal: Floats, face: Ints, count: int) -> Floats:
    """(m, 3) unit normal of the plane face of every facet: the mean over its facets."""
    total = np.zeros((count, 3))
    for axis in range(3):
        total[:, axis] = np.bincount(face, mesh.area_mm2 * normal[:, axis], minlength=count)
    total /= np.maximum(np.linalg.norm(total, axis=1), 1e-300)[:, None]
    return np.asarray(total[face])


def normals_held_by_planes(
    plane: Flags, normal: Floats, sector: NDArray[np.int64] | Ints, sector_count: int
) -> tuple[Flags, Floats]:
    """Sectors that a wide plane holds, and its normal there.

    Where a fillet meets a floor the surface's normal is the floor's, whatever the triangles are like. Two planes that
    meet in one sector hold nothing.

    Parameters
    ----------
    plane : (m,) bool array
    normal : (m, 3) float64 array
        Normals of the planes.
    sector, sector_count : see ``kernels.sectors.corner_sectors``

    Returns
    -------
    held : (s,) bool array
    normal : (s, 3) float64 array
        Unit normals of the sectors held, zero elsewhere.
    """
    of_corner = sector.reshape(-1, 3)[plane].ravel()
    normals = np.repeat(normal[plane], 3, axis=0)
    total = np.zeros((sector_count, 3))
    for axis in range(3):
        total[:, axis] = np.bincount(of_corner, normals[:, axis], minlength=sector_count)
    number = np.bincount(of_corner, minlength=sector_count)
    length = np.linalg.norm(total, axis=1)
    # unit normals that agree add up to their number
    held = (number > 0) & (length >= number * np.cos(np.radians(tolerances.NO_BEND_DEG)))
    return held, np.where(held[:, None], total / np.maximum(length, 1e-300)[:, None], 0.0)
