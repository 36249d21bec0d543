"""Outlines moved out over the neighbours by a distance along the surface, for passes that blend.

The distance is marched over the facets around the zone, which are halved until they are fine enough for it, and cut
along the line where it is reached. The zone with what is reached then has an outline like any other: closed, and
right where fronts meet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.kernels.flip import FREE, flip_edges
from advisor.kernels.loops import border_half_edges
from advisor.kernels.march import march
from advisor.kernels.refine import split_edges
from advisor.kernels.sectors import corner_sectors, corners_by_sector
from advisor.kernels.topology import connected_facets
from advisor.part.mesh import Flags, Floats, Ints, Mesh, half_edge_ends
from advisor.zones.cut_lines import CutSurface
from advisor.zones.joints import bend_across_deg
from advisor.zones.outline import Outline, loops_along, outlines_of

# The front crosses an edge whose ends it does not reach only where facets are long and thin: so many rings of facets
# more are taken then, twice as many each time.
_FIRST_RINGS = 2
_MOST_GROWTHS = 12
# A cut on one side of a crease splits the other side too, which then is cut in its own place; this ends it.
_MOST_CUTS = 4
# Corners this near the line, as a share of the distance, lie on it: no slivers.
_ON_LINE_SHARE = 1e-3
# Time of corners that are not reached, as a multiple of the distance.
_NEVER = 10.0

# Kinds of edges besides those that may be turned over.
_PASSED, _START, _CORNER = 1, 2, 3

_Index = NDArray[np.signedinteger[Any]]
_Kinds = NDArray[np.int8]


def pushed_out(
    surface: CutSurface, zone: Ints, number: int, axis: Floats, distance_mm: float, deviation_mm: float
) -> list[Outline]:
    """Outline of a zone grown by a distance along the surface, outer loops first.

    It grows over smooth joints only: where the zone, or what it has grown over, meets the next facet at a corner
    (``tolerances.TANGENT_JOINT_DEG``) or a rim, the outline stays there.

    Parameters
    ----------
    surface : CutSurface
    zone : (m,) int32 array
        Zone of each facet, 0-based.
    number : int
        The zone to grow.
    axis : (3,) unit vector from the part to the spindle
        Tells outer loops from holes (see ``outline.zone_outlines``).
    distance_mm : float
        Above 0; commonly 1 to 3 stepovers.
    deviation_mm : float
        How far smoothing may move the outline.

    Raises
    ------
    ValueError
        Where the distance is not above 0.
    """
    if not distance_mm > 0:
        raise ValueError(f"an outline is pushed out by a distance above 0, not by {distance_mm}")
    inside = zone == number
    mesh = surface.mesh
    is_border = border_half_edges(mesh.faces, mesh.twins, inside) & np.repeat(inside, 3)
    if not is_border.any():
        return []
    near = _Surroundings(mesh, inside, np.flatnonzero(is_border).astype(np.int32), distance_mm)
    rings = _FIRST_RINGS
    for _ in range(_MOST_GROWTHS):
        chosen = near.facets(rings)
        patch, corner_time = _reached(_patch(surface, near, chosen), zone[chosen], number, distance_mm)
        if not patch.touches_outer(corner_time, distance_mm):
            break
        rings *= 2
    patch, corner_time = _cut_at(patch, corner_time, distance_mm)
    parent = chosen[patch.parent]
    grown = inside[parent] | (corner_time.mean(axis=1) < distance_mm)
    grown_zone = np.where(grown, number, zone[parent]).astype(np.int32)
    cut = CutSurface(Mesh(patch.vertices, patch.faces), patch.corner_normal, parent.astype(np.int32))
    is_border = border_half_edges(cut.mesh.faces, cut.mesh.twins, grown) & np.repeat(grown, 3)
    is_border &= ~patch.is_artificial_rim(cut.mesh.twins)
    component = _components(mesh, inside, cut.mesh, grown, parent)
    border = loops_along(cut, grown_zone, is_border)
    return outlines_of(cut, grown_zone, component, border, axis, deviation_mm, is_pushed=True)


class _Surroundings:
    """Finds the facets around a zone's border."""

    def __init__(self, mesh: Mesh, inside: Flags, border: Ints, distance_mm: float) -> None:
        self.corner_start, self.corners = corners_by_sector(mesh.faces.ravel(), len(mesh.vertices))
        self.mesh, self.inside, self.reach_mm = mesh, inside, 1.5 * distance_mm
        ends = half_edge_ends(mesh.faces, border)
        self.start = np.unique(ends)
        a, b = mesh.vertices[ends[:, 0]], mesh.vertices[ends[:, 1]]
        pieces = np.ceil(np.linalg.norm(b - a, axis=1) / distance_mm).astype(np.int64)
        share = (np.arange(pieces.sum()) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / np.repeat(pieces, pieces)
        along = np.repeat(a, pieces, axis=0) + share[:, None] * np.repeat(b - a, pieces, axis=0)
        self.tree = cKDTree(np.concatenate([along, b]))

    def facets(self, rings: int) -> _Index:
        """Facets that touch the border, those outside with vertices near it, and rings of facets around these."""
        is_taken = np.zeros(len(self.mesh.faces), np.bool_)
        seen = np.zeros(len(self.mesh.vertices), np.bool_)
        vertex, left = self.start, rings
        is_taken[self._around(vertex)] = True
        seen[vertex] = True
        while len(vertex) and left > 0:
            facet = self._around(vertex)
            facet = facet[~self.inside[facet]]
            is_taken[facet] = True
            vertex = np.unique(self.mesh.faces[facet])
            vertex = vertex[~seen[vertex]]
            seen[vertex] = True
            if len(vertex) and not (self.tree.query(self.mesh.vertices[vertex])[0] < self.reach_mm).any():
                left -= 1
        return np.flatnonzero(is_taken)

    def _around(self, vertex: _Index) -> _Index:
        """Facets around vertices."""
        begin, count = self.corner_start[vertex], np.diff(self.corner_start)[vertex]
        at = np.arange(count.sum()) + np.repeat(begin - (np.cumsum(count) - count), count)
        return np.unique(self.corners[at] // 3)


@dataclass(frozen=True)
class _Patch:
    """Facets around a border, cut out of the mesh. `is_outer` marks vertices at which the mesh goes on."""

    vertices: Floats
    faces: Ints
    corner_normal: Floats
    parent: _Index
    is_outer: Flags

    def is_artificial_rim(self, twins: Ints) -> Flags:
        """(3 m,) half-edges at which the mesh goes on beyond the patch."""
        outer = self.is_outer[self.faces]
        return (twins < 0) & (outer & np.roll(outer, -1, axis=1)).ravel()

    def touches_outer(self, corner_time: Floats, distance_mm: float) -> bool:
        """Whether the front comes near the place where the patch ends; within the zone (time 0) it may end."""
        near = corner_time <= distance_mm * (1.0 + 1.0 / tolerances.PUSH_FACETS_IN_DISTANCE)
        near &= corner_time.max(axis=1)[:, None] > 0.0
        return bool((near & self.is_outer[self.faces]).any())

    def split(self, twins: Ints, at: Floats) -> _Patch:
        """Edges split at places along half-edges."""
        vertices, faces, corner_normal, parent = split_edges(self.vertices, self.faces, self.corner_normal, twins, at)
        is_outer = np.concatenate([self.is_outer, np.zeros(len(vertices) - len(self.vertices), np.bool_)])
        return _Patch(vertices, faces, corner_normal, self.parent[parent], is_outer)


def _patch(surface: CutSurface, near: _Surroundings, chosen: _Index) -> _Patch:
    mesh = surface.mesh
    ids, faces = np.unique(mesh.faces[chosen], return_inverse=True)
    corners_here = np.bincount(faces.ravel(), minlength=len(ids))
    is_outer = corners_here < np.diff(near.corner_start)[ids]
    local: Ints = faces.reshape(-1, 3).astype(np.int32)
    return _Patch(mesh.vertices[ids], local, surface.corner_normal[chosen], np.arange(len(chosen)), is_outer)


def _reached(patch: _Patch, zone: Ints, number: int, distance_mm: float) -> tuple[_Patch, Floats]:
    """The patch with facets fine enough for the distance where the front passes, and (m, 3) times at its corners.

    Times are 0 inside the zone; corners not reached have a time far above the distance.
    """
    shortest = distance_mm / tolerances.PUSH_FACETS_IN_DISTANCE
    halvings = 0
    while True:
        patch, mesh, kind = _well_shaped(patch, zone, number, distance_mm)
        is_inside = zone[patch.parent] == number
        time, way = _march(mesh, kind, is_inside, distance_mm)
        # where the front reaches the end of the patch it must grow first: no halving is worth it
        if halvings == tolerances.PUSH_MOST_HALVINGS or patch.touches_outer(time, distance_mm):
            break
        passed = ~is_inside & (time.min(axis=1) <= distance_mm + shortest)
        at = np.full(time.shape, np.nan)
        at[passed] = np.where(_is_coarse(mesh, passed, time, way, distance_mm), 0.5, np.nan)
        if np.isnan(at).all():
            break
        patch = patch.split(mesh.twins, at.ravel())
        halvings += 1
    return patch, time


def _well_shaped(patch: _Patch, zone: Ints, number: int, distance_mm: float) -> tuple[_Patch, Mesh, _Kinds]:
    """The patch with edges turned over where facets outside the zone are thin, as a mesh, and the kinds of edges.

    Fronts cross thin facets badly: each of them knows of one line in the front's way only.
    """
    mesh = Mesh(patch.vertices, patch.faces.copy())
    surface = CutSurface(mesh, patch.corner_normal, mesh.faces[:, 0])
    two_sided = np.flatnonzero(mesh.twins >= 0)
    here, there = zone[patch.parent[two_sided // 3]], zone[patch.parent[mesh.twins[two_sided] // 3]]
    is_corner = np.abs(bend_across_deg(surface, two_sided)) >= tolerances.TANGENT_JOINT_DEG
    kind = np.full(len(mesh.twins), _CORNER, np.int8)
    kind[two_sided] = np.where(here != there, _PASSED, FREE)
    kind[two_sided[(here == number) & (there == number)]] = _PASSED
    kind[two_sided[(here == number) != (there == number)]] = _START
    kind[two_sided[is_corner]] = _CORNER
    faces, corner_normal, twins = patch.faces.copy(), patch.corner_normal.copy(), mesh.twins.copy()
    flip_edges(patch.vertices, faces, corner_normal, twins, kind, tolerances.PUSH_TURN_SHARE * distance_mm)
    turned = replace(patch, faces=faces, corner_normal=corner_normal)
    return turned, Mesh(patch.vertices, faces), kind


def _is_coarse(mesh: Mesh, chosen: Flags, time: Floats, way: Floats, distance_mm: float) -> Flags:
    """(q, 3) edges of the chosen facets that must be halved: long ones along which the time is no straight line.

    It leaves the line by an eighth of the difference between the rises that the slopes at its ends stand for. And a
    distance must climb by 1 everywhere: facets on which it does not have been passed by parts of the front that they
    are too coarse to know of.
    """
    corners = mesh.vertices[mesh.faces[chosen]]
    time, way = time[chosen], way[chosen]
    along = np.roll(corners, -1, axis=1) - corners
    rise = np.roll(time, -1, axis=1) - time
    first = np.einsum("ijk,ijk->ij", along, way)
    last = np.einsum("ijk,ijk->ij", along, np.roll(way, -1, axis=1))
    # where the front starts it has no one direction: the slope there is what makes a parabola of the rest
    starts_first, starts_last = time == 0.0, np.roll(time == 0.0, -1, axis=1)
    bend = np.where(starts_first, 2.0 * (last - rise), np.where(starts_last, 2.0 * (rise - first), last - first))
    bend[starts_first & starts_last] = 0.0
    square = np.einsum("ijk,ijk->ij", along, along)
    between = np.einsum("ik,ik->i", along[:, 0], along[:, 1])
    climb = square[:, 0] * rise[:, 1] ** 2 - 2.0 * between * rise[:, 0] * rise[:, 1] + square[:, 1] * rise[:, 0] ** 2
    double_area2 = square[:, 0] * square[:, 1] - between**2
    is_odd = np.abs(climb - double_area2) > 2.0 * tolerances.PUSH_ODD_CLIMB * double_area2
    shortest = distance_mm / tolerances.PUSH_FACETS_IN_DISTANCE
    bends = np.abs(bend) > 8.0 * tolerances.PUSH_SAG_SHARE * distance_mm
    is_coarse: Flags = (square > shortest**2) & (bends | is_odd[:, None])
    return is_coarse


def _march(mesh: Mesh, kind: _Kinds, is_inside: Flags, distance_mm: float) -> tuple[Floats, Floats]:
    """(m, 3) distance of corners from the zone and (m, 3, 3) its gradient, over facets that join smoothly.

    Corners on both sides of a crease have distances of their own.
    """
    sector, count = corner_sectors(mesh.faces, mesh.twins, (kind == _CORNER) | (kind == _START))
    vertex = np.empty(count, np.int32)
    vertex[sector] = mesh.faces.ravel()
    start_time = np.full(count, np.nan)
    starts = np.flatnonzero((kind == _START) & ~np.repeat(is_inside, 3))
    start_time[sector[starts]] = 0.0
    start_time[sector[starts // 3 * 3 + (starts % 3 + 1) % 3]] = 0.0
    outside = np.flatnonzero(~is_inside)
    faces = sector.reshape(-1, 3)[outside]
    corner_start, corners = corners_by_sector(faces.ravel(), count)
    # to the end of the patch: far corners of long facets must be right for these to be left whole
    time, way = march(mesh.vertices[vertex], faces, corner_start, corners, np.ones(len(faces)), start_time, np.inf)
    corner_time, corner_way = np.zeros(mesh.faces.shape), np.zeros((*mesh.faces.shape, 3))
    corner_time[outside] = np.minimum(time, _NEVER * distance_mm)[faces]
    corner_way[outside] = way[faces]
    return corner_time, corner_way


def _cut_at(patch: _Patch, corner_time: Floats, distance_mm: float) -> tuple[_Patch, Floats]:
    """The patch cut along the line where the time is the distance."""
    for _ in range(_MOST_CUTS):
        twins = Mesh(patch.vertices, patch.faces).twins
        here, there = corner_time.ravel() - distance_mm, np.roll(corner_time, -1, axis=1).ravel() - distance_mm
        slack = _ON_LINE_SHARE * distance_mm
        crosses = (np.minimum(here, there) < -slack) & (np.maximum(here, there) > slack)
        if not crosses.any():
            break
        at = np.full(len(here), np.nan)
        at[crosses] = here[crosses] / (here[crosses] - there[crosses])
        # the times go through the same split as the normals, in their place
        times = np.repeat(corner_time[:, :, None], 3, axis=2)
        corner_time = replace(patch, corner_normal=times).split(twins, at).corner_normal[:, :, 0]
        patch = patch.split(twins, at)
    return patch, corner_time


def _components(mesh: Mesh, inside: Flags, cut: Mesh, grown: Flags, parent: _Index) -> Ints:
    """(m,) connected areas of what is grown, told on the patch: areas that hang together through the zone are one."""
    of_zone, zone_count = connected_facets(mesh.twins, ~border_half_edges(mesh.faces, mesh.twins, inside))
    of_patch, patch_count = connected_facets(cut.twins, ~border_half_edges(cut.faces, cut.twins, grown))
    both = np.flatnonzero(inside[parent])
    pairs = np.unique(np.stack([of_patch[both], patch_count + of_zone[parent[both]]]), axis=1)
    count = patch_count + zone_count
    links = coo_array((np.ones(pairs.shape[1]), (pairs[0], pairs[1])), shape=(count, count))
    _, label = connected_components(links, directed=False)
    joined: Ints = label[of_patch].astype(np.int32)
    return joined
