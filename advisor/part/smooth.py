"""The smooth surface that the facets stand for: creases of the part, and a normal at every facet corner.

A file of facets says nothing of the surface between them. Where neighbours bend a little and go on bending
alike they are taken for one rounded surface; a lone bend between wide faces, or a sharp one, is an edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor import tolerances
from advisor.kernels.rims import carry_to_rims
from advisor.kernels.sectors import (
    bends,
    bends_with_a_like,
    corner_sectors,
    corner_weights,
    corners_by_sector,
    face_sides,
    sector_normals,
    sectors_on_rims,
    spread_to_corners,
)
from advisor.kernels.topology import drop_loose_ends, plane_faces
from advisor.part.mesh import Flags, Floats, Ints, Mesh, edge_lengths_mm, rim_lengths_mm
from advisor.part.noise import facet_normals_without_noise
from advisor.part.planes import bends_by_chance, normals_held_by_planes, plane_normals, planes_within_noise, wide_planes

# A strip of a rounded surface has few sides, or is long and narrow: its area over the square of its rim is small.
_MOST_SIDES_OF_A_STRIP = 40
_STRIP_AREA_OVER_RIM_SQUARED = 0.02
# Where an arc ends in a tangent face it bends by half of what it bends within, whatever the number of its strips.
_SHARES_OF_A_HALF = (0.4, 0.6)
# Each round halves what a rim normal is off by.
_RIM_ROUNDS = 6


@dataclass(frozen=True)
class SmoothSurface:
    """Smooth surface behind a mesh.

    Attributes
    ----------
    corner_normal : (m, 3, 3) float64 array
        Unit normal at each corner of each facet; differs across creases.
    is_crease : (3 m,) bool array
        Half-edges on an edge of the part (rims included).
    bend_deg : (3 m,) float64 array
        Signed angle between the two facets, positive convex.
    is_plane : (m,) bool array
        Facets of wide plane faces.
    is_held : (m, 3) bool array
        Corners on a wide plane face, or at its edge: their normals are the plane's.
    noise_share_of_edge : float
        Vertex noise found and taken out of the normals, as a share of edge length; 0 for a clean mesh.
    """

    corner_normal: Floats
    is_crease: Flags
    bend_deg: Floats
    is_plane: Flags
    is_held: Flags
    noise_share_of_edge: float


def smooth_surface(mesh: Mesh) -> SmoothSurface:
    """Creases and corner normals of a mesh; of a noisy one, those of the surface under the noise."""
    normal, noise = facet_normals_without_noise(mesh)
    bend = bends(normal, mesh.faces, mesh.vertices, mesh.twins)
    is_crease = _creases(mesh, normal, bend)
    sector, sector_count = corner_sectors(mesh.faces, mesh.twins, is_crease)
    weights = corner_weights(mesh.vertices, mesh.faces)
    start, corners = corners_by_sector(sector, sector_count)
    mean, spread, counts = sector_normals(
        mesh.vertices, mesh.faces, normal, weights, start, corners,
        tolerances.WIDER_FACE_RATIO, np.radians(tolerances.NO_BEND_DEG),
    )  # fmt: skip
    least_cosine = np.cos(np.radians(tolerances.WILD_CORNER_DEG))
    if noise == 0.0:  # filtered normals reach over the rim's last facets already
        on_rim = sectors_on_rims(sector, sector_count, is_crease) & (spread > np.radians(tolerances.NO_BEND_DEG))
        carry_to_rims(
            mesh.vertices, mesh.faces, normal, _middle_of_plane_faces(mesh), weights, counts, sector, on_rim, mean,
            spread, least_cosine, _RIM_ROUNDS,
        )  # fmt: skip
    plane, plane_normal = _certain_planes(mesh, normal, bend, is_crease, noise)
    held, normal_held = normals_held_by_planes(plane, plane_normal, sector, sector_count)
    mean = np.where(held[:, None], normal_held, mean)
    corner = spread_to_corners(mean, sector, normal, least_cosine)
    corner[plane] = plane_normal[plane][:, None]
    is_held = held[sector].reshape(-1, 3) | plane[:, None]
    return SmoothSurface(corner, is_crease, np.degrees(bend), plane, is_held, noise)


def _certain_planes(mesh: Mesh, normal: Floats, bend: Floats, is_crease: Flags, noise: float) -> tuple[Flags, Floats]:
    """(m,) facets of plane faces wide enough to hold their normals, and (m, 3) the normals."""
    face, count = mesh.exact_planes if noise == 0.0 else planes_within_noise(mesh, normal, bend, noise)
    least = tolerances.SPECK_SHARE_OF_AREA * float(mesh.area_mm2.sum())
    plane = wide_planes(mesh, face, count, is_crease, min(least, tolerances.CERTAIN_PLANE_MM2))
    if noise == 0.0:
        return plane, normal
    return bends_by_chance(mesh, normal, face, plane), plane_normals(mesh, normal, face, count)


def _middle_of_plane_faces(mesh: Mesh) -> Floats:
    """(m, 3) middle of the plane face of every facet: the two halves of a strip share one."""
    face, count = mesh.exact_planes
    middle = mesh.middle
    area = np.bincount(face, mesh.area_mm2, minlength=count)
    return np.stack(
        [(np.bincount(face, mesh.area_mm2 * middle[:, k], minlength=count) / area)[face] for k in range(3)], axis=1
    )


def _creases(mesh: Mesh, normal: Floats, bend: Floats) -> Flags:
    """(3 m,) rims, sharp bends, and lone ones between faces; a lone triangle of a free-form mesh is no face."""
    face, face_count = plane_faces(
        mesh.twins, normal, np.cos(np.radians(tolerances.COPLANAR_DEG)), np.arange(len(mesh.faces))
    )
    paired = mesh.twins >= 0
    partner = np.where(paired, mesh.twins, 0)
    alike, is_middle = _like_bends(mesh, bend, face, face_count)
    coarse = alike & _is_coarse_round(mesh, bend, is_middle, face, face_count)
    sharp = (np.abs(bend) > np.radians(tolerances.CREASE_DEG)) & ~coarse
    in_a_face = np.repeat(np.bincount(face, minlength=face_count)[face] > 1, 3)
    bent = np.abs(bend) >= np.radians(tolerances.SMALLEST_BEND_DEG)
    lone = bent & in_a_face & in_a_face[partner] & ~alike
    creases: Flags = ~paired | sharp | lone
    # the edge of a face ends at other edges; a lone bend that peters out is chance
    drop_loose_ends(mesh.faces, mesh.twins, creases, lone & ~sharp & paired, len(mesh.vertices))
    return creases


def _like_bends(mesh: Mesh, bend: Floats, face: Ints, face_count: int) -> tuple[Flags, Flags]:
    """(3 m,) bends beside which a face bends alike on its other side, and (3 m,) those where both do by half."""
    sides = face_sides(face, face_count, mesh.twins)
    rim_mm = rim_lengths_mm(mesh, face, face_count)
    area_mm2 = np.bincount(face, mesh.area_mm2, minlength=face_count)
    is_strip = (sides <= _MOST_SIDES_OF_A_STRIP) | (area_mm2 < _STRIP_AREA_OVER_RIM_SQUARED * rim_mm**2)
    like, half = (
        bends_with_a_like(
            bend, face, face_count, sides, is_strip, mesh.faces, mesh.vertices, mesh.twins,
            np.radians(tolerances.SMALLEST_BEND_DEG), least, most, _MOST_SIDES_OF_A_STRIP,
        )
        for least, most in ((1 / tolerances.LIKE_BEND_RATIO, tolerances.LIKE_BEND_RATIO), _SHARES_OF_A_HALF)
    )  # fmt: skip
    partner = np.where(mesh.twins >= 0, mesh.twins, np.arange(len(bend)))
    return like | like[partner], half & half[partner]


def _is_coarse_round(mesh: Mesh, bend: Floats, is_middle: Flags, face: Ints, face_count: int) -> Flags:
    """(3 m,) bends that a rounded surface makes when it is cut into few strips: they are off it by next to nothing.

    `is_middle` tells bends beside which both strips bend by half as much on their other sides.

    A strip of width w that turns by an angle lies w * angle / 8 off the surface (see ``part.coarseness``). An
    eight-sided bar of some size would lie off its round far more than any export allows. How wide is asked across the
    bend: a chamfer round a bore is long, not narrow.
    """
    partner = np.maximum(mesh.twins, 0)
    area = np.bincount(face, mesh.area_mm2, minlength=face_count)
    width = np.repeat(area[face], 3) / np.maximum(edge_lengths_mm(mesh, np.arange(len(partner))), 1e-12)
    narrower = np.minimum(width, width[partner])
    most = min(tolerances.COARSE_ROUND_MM, tolerances.COARSE_ROUND_SHARE_OF_SIZE * mesh.reach_mm)
    angle = np.abs(bend)
    widest = np.radians(np.where(is_middle, tolerances.COARSE_MIDDLE_DEG, tolerances.COARSE_ROUND_DEG))
    coarse: Flags = (angle < widest) & (narrower * angle / 8 < most)
    return coarse
