"""The surface that passes of a zone are laid on: its facets and those of the overlap, split at edges, fine in bends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.curved import curved
from advisor.kernels.march import march
from advisor.kernels.refine import split_edges
from advisor.kernels.sectors import corner_sectors, corners_by_sector
from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.passes.plane_rims import rim_bulges
from advisor.zones.cut_lines import CutSurface

_MOST_HALVINGS = 5


@dataclass(frozen=True)
class PassSurface:
    """Facets that passes of a zone run on. Arrays are read-only.

    Vertices on edges of the part are there once a side, so every vertex has one normal. Facets in which the surface
    turns by more than ``tolerances.PASS_FACET_TURN_DEG``, or stands off an edge by more than
    ``tolerances.PASS_FACET_SAG_MM``, are halved, and new vertices lie on the smooth surface.

    Attributes
    ----------
    mesh : Mesh
    normal : (n, 3) float64 array
        Unit normal of the smooth surface at the vertices.
    source : (m,) int32 array
        Facet of the surface the zones are drawn on that each facet is part of.
    is_inside : (m,) bool array
        Facets of the zone; the others are its overlap.
    beyond_mm : (n,) float64 array
        How far out of the zone a vertex lies, along the surface; 0 in the zone, inf where that is not known.
    """

    mesh: Mesh
    normal: Floats
    source: Ints
    is_inside: Flags
    beyond_mm: Floats

    def __post_init__(self) -> None:
        for array in (self.normal, self.source, self.is_inside, self.beyond_mm):
            array.setflags(write=False)

    def on_edges(self, half_edge: NDArray[np.integer], fraction: Floats) -> tuple[Floats, Floats]:
        """(k, 3) points and unit normals of the smooth surface at places along half-edges."""
        f, k = np.divmod(half_edge, 3)
        corners = np.stack([self.mesh.faces[f, k], self.mesh.faces[f, (k + 1) % 3]], axis=1)
        return self._curved(corners, np.stack([1.0 - fraction, fraction], axis=1))

    def in_facets(self, facet: NDArray[np.integer], weights: Floats) -> tuple[Floats, Floats]:
        """(k, 3) points and unit normals of the smooth surface inside facets, (k, 3) weights of the corners given."""
        return self._curved(self.mesh.faces[facet], weights)

    def _curved(self, corners: Ints, weights: Floats) -> tuple[Floats, Floats]:
        found: tuple[Floats, Floats] = curved(self.mesh.vertices, self.normal, corners, weights)
        return found


def curved_points(place: Floats, normal: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Points and normals of the smooth surface over flat edges and facets.

    Half way from the flat place to the mean of its feet on the tangent planes of the corners: right to the second order
    of the facet's size (Phong tessellation: T. Boubekeur, M. Alexa, ACM TOG 27(5), 2008, with alpha 1/2; from memory).

    Parameters
    ----------
    place, normal : (k, c, 3) corners and their unit normals
    weights : (k, c) shares of the corners, each row adding up to 1

    Returns
    -------
    points : (k, 3) float64 array
    normals : (k, 3) float64 array of unit vectors
    """
    rows = np.arange(weights.size, dtype=np.int32).reshape(weights.shape)
    found: tuple[Floats, Floats] = curved(place.reshape(-1, 3), normal.reshape(-1, 3), rows, weights)
    return found


def pass_surface(
    surface: CutSurface, sharp: Flags, zone: Ints, number: int, takes: Flags, overlap_mm: float
) -> PassSurface:
    """The surface for the passes of one zone.

    Parameters
    ----------
    surface : CutSurface
        What the zones are drawn on.
    sharp : (3 m,) bool array
        Half-edges across which it turns a corner: no pass runs over these (``zones.joints.sharp_half_edges``).
    zone : (m,) int32 array
        Zone number of each facet.
    number : int
    takes : (z,) bool array
        Zones that passes may run out over.
    overlap_mm : float
        How far; 0 for none.
    """
    chosen = _with_overlap(surface, sharp, zone, number, takes, overlap_mm)
    mesh, corner_normal = _split_at_corners(surface, sharp, chosen)
    fine, normal, parent = _refined(mesh, corner_normal)
    source = chosen[parent].astype(np.int32)
    inside = zone[source] == number
    return PassSurface(fine, normal, source, inside, beyond_zone(fine, inside))


def _with_overlap(
    surface: CutSurface, sharp: Flags, zone: Ints, number: int, takes: Flags, overlap_mm: float
) -> NDArray[np.int64]:
    """Facets of a zone, and those beside it over smooth edges that begin within the overlap of its border."""
    mesh = surface.mesh
    taken = np.zeros(len(mesh.faces), bool)
    front = np.flatnonzero(zone == number)
    taken[front] = True
    inside = taken.copy()
    near = np.full(len(mesh.vertices), np.inf)
    while overlap_mm > 0.0 and len(front):
        half = (3 * front[:, None] + np.arange(3)).ravel()
        twin = mesh.twins[half]
        goes = (twin >= 0) & ~sharp[half]
        half, twin = half[goes], twin[goes]
        ends = np.stack([mesh.faces[half // 3, half % 3], mesh.faces[half // 3, (half % 3 + 1) % 3]], axis=1)
        beside = twin // 3
        goes = ~taken[beside] & takes[zone[beside]]
        near[ends[inside[half // 3] & goes]] = 0.0
        # an edge is as far off as its nearer end, over edges
        goes &= near[ends].min(axis=1) <= overlap_mm
        if not goes.any():
            break
        front = np.unique(beside[goes])
        taken[front] = True
        corners = mesh.faces[front]
        for k in range(3):
            a, b = corners[:, k], corners[:, (k + 1) % 3]
            length = np.linalg.norm(mesh.vertices[a] - mesh.vertices[b], axis=1)
            np.minimum.at(near, b, near[a] + length)
            np.minimum.at(near, a, near[b] + length)
    return np.flatnonzero(taken)


def _split_at_corners(surface: CutSurface, sharp: Flags, chosen: NDArray[np.int64]) -> tuple[Mesh, Floats]:
    """The chosen facets as a mesh of their own, with a vertex for each side of a sharp edge."""
    used, corner = np.unique(surface.mesh.faces[chosen], return_inverse=True)
    alone = Mesh(surface.mesh.vertices[used], corner.reshape(-1, 3).astype(np.int32))
    edge = sharp.reshape(-1, 3)[chosen].ravel()
    sector, count = corner_sectors(alone.faces, alone.twins, edge | (alone.twins < 0))
    vertices = np.zeros((count, 3))
    places = _lifted_corners(surface, chosen).reshape(-1, 3)
    number = np.bincount(sector, minlength=count)
    for axis in range(3):
        vertices[:, axis] = np.bincount(sector, places[:, axis], minlength=count) / number
    total = np.zeros((count, 3))
    corner_normal = surface.corner_normal[chosen].reshape(-1, 3)
    for axis in range(3):
        total[:, axis] = np.bincount(sector, corner_normal[:, axis], minlength=count)
    total /= np.maximum(np.linalg.norm(total, axis=1), 1e-300)[:, None]
    faces = sector.reshape(-1, 3).astype(np.int32)
    return Mesh(vertices, faces), total[faces]


def _lifted_corners(surface: CutSurface, chosen: NDArray[np.int64]) -> Floats:
    """(c, 3, 3) corners of the chosen facets; those that came of a cut, which lie on flat facets, lifted from these."""
    places = surface.mesh.vertices[surface.mesh.faces[chosen]]
    if surface.whole is None:
        return places
    whole, corner_normal = surface.whole
    row, k = np.nonzero(surface.mesh.faces[chosen] >= len(whole.vertices))
    parent = surface.parent[chosen[row]]
    corner = whole.vertices[whole.faces[parent]]
    way = corner - places[row, k][:, None]
    across = np.cross(np.roll(way, -1, axis=1), np.roll(way, -2, axis=1))
    total = across.sum(axis=1)
    share = np.einsum("rkx,rx->rk", across, total).clip(min=0.0)
    size = share.sum(axis=1, keepdims=True)
    # a facet without an area stays flat
    known = size[:, 0] > 0.0
    lifted, _ = curved_points(corner[known], corner_normal[parent[known]], share[known] / size[known])
    places[row[known], k[known]] = lifted
    return places


def _refined(mesh: Mesh, corner_normal: Floats) -> tuple[Mesh, Floats, NDArray[np.int64]]:
    """Facets halved while normals turn too far along an edge, new vertices on the smooth surface; their parents."""
    vertices, faces, normal = mesh.vertices, mesh.faces, corner_normal
    parent = np.arange(len(faces))
    most_turn = np.radians(tolerances.PASS_FACET_TURN_DEG)
    for _ in range(_MOST_HALVINGS):
        twins = Mesh(vertices, faces).twins
        bulge = rim_bulges(vertices, faces, twins, normal)
        ahead = np.roll(normal, -1, axis=1)
        # the chord of two normals is their turn, but for its cube; an arc stands off its chord by an eighth of its
        # length times its turn along it
        turn, way = ahead - normal, np.roll(vertices[faces], -1, axis=1) - vertices[faces]
        sag = np.abs(np.einsum("mkx,mkx->mk", turn, way)) / 8.0
        turns = ((np.linalg.norm(turn, axis=2) > most_turn) | (sag > tolerances.PASS_FACET_SAG_MM)).ravel()
        turns |= np.linalg.norm(bulge, axis=1) > tolerances.PASS_FACET_SAG_MM
        if not turns.any():
            break
        first = turns & ((twins < 0) | (np.arange(len(twins)) < twins))
        split = np.flatnonzero(first)
        f, k = np.divmod(split, 3)
        ends = np.stack([faces[f, k], faces[f, (k + 1) % 3]], axis=1)
        own = np.stack([normal[f, k], normal[f, (k + 1) % 3]], axis=1)
        curved, _ = curved_points(vertices[ends], own, np.full((len(split), 2), 0.5))
        at = np.where(first, 0.5, np.nan)
        before = len(vertices)
        vertices, faces, normal, own_parent = split_edges(vertices, faces, normal, twins, at)
        vertices[before:] = curved + bulge[split]
        normal /= np.maximum(np.linalg.norm(normal, axis=2), 1e-300)[..., None]
        parent = parent[own_parent]
    at_vertex = np.empty((len(vertices), 3))
    at_vertex[faces.ravel()] = normal.reshape(-1, 3)
    return Mesh(vertices, faces), at_vertex, parent


def beyond_zone(mesh: Mesh, inside: Flags) -> Floats:
    """(n,) distance out of the zone along the surface, as its facets tell it: along long ones it may be too far."""
    beyond = np.full(len(mesh.vertices), np.inf)
    beyond[mesh.faces[inside]] = 0.0
    outside = mesh.faces[~inside]
    if len(outside) == 0:
        return beyond
    used, corner = np.unique(outside, return_inverse=True)
    faces = corner.reshape(-1, 3).astype(np.int32)
    start, corners = corners_by_sector(faces.ravel().astype(np.int32), len(used))
    begins = np.where(beyond[used] == 0.0, 0.0, np.nan)
    time, _ = march(mesh.vertices[used], faces, start, corners, np.ones(len(faces)), begins, np.inf)
    beyond[used] = np.minimum(beyond[used], time)
    return beyond
