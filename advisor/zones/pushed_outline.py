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
from advisor.kernels.flip import flip_edges
from advisor.kernels.loops import border_half_edges
from advisor.kernels.march import march
from advisor.kernels.push import INSIDE, OPEN, SHUT, START, coarse_edges, edge_kinds
from advisor.kernels.refine import split_edges
from advisor.kernels.sectors import corner_sectors, corners_by_sector
from advisor.kernels.topology import connected_facets, match_half_edges
from advisor.part.mesh import Flags, Floats, Ints, Mesh, half_edge_ends
from advisor.zones.cut_lines import CutSurface
from advisor.zones.joints import sharp_half_edges
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

_Index = NDArray[np.signedinteger[Any]]
_States = NDArray[np.int8]


def pushed_outlines(
    surface: CutSurface,
    zone: Ints,
    boundaries: list[list[Outline]],
    axis: Floats,
    distance_mm: Floats,
    takes: Flags,
    deviation_mm: float,
) -> list[list[Outline]]:
    """Outlines of zones grown by a distance along the surface, outer loops first.

    A zone grows over smooth joints only: where it, or what it has grown over, meets the next facet at a corner
    (``tolerances.TANGENT_JOINT_DEG``), a rim, or a zone that is not to be grown over, the outline stays there.

    Parameters
    ----------
    surface : CutSurface
    zone : (m,) int32 array
        Zone of each facet, 0-based.
    boundaries : list of lists of Outline
        The outlines of every zone as they are (``outline.zone_outlines``).
    axis : (3,) unit vector from the part to the spindle
        Tells outer loops from holes (see ``outline.zone_outlines``).
    distance_mm : (z,) float64 array
        Commonly 1 to 3 stepovers; zones with NaN have no outline.
    takes : (z,) bool array
        Zones that others may grow over.
    deviation_mm : float
        How far smoothing may move the outline.

    Raises
    ------
    ValueError
        Where a distance is not above 0.
    """
    if (distance_mm <= 0).any():
        raise ValueError(f"an outline is pushed out by a distance above 0, not by {np.nanmin(distance_mm)}")
    part = _part(surface, zone, takes)
    pushed: list[list[Outline]] = []
    for number, boundary in enumerate(boundaries):
        distance = float(distance_mm[number])
        if np.isnan(distance):
            pushed.append([])
        elif not part.goes_on_smoothly(number).any():
            pushed.append([replace(outline, kind="overlap") for outline in boundary])
        else:
            pushed.append(_pushed_out(part, number, axis, distance, deviation_mm))
    return pushed


@dataclass(frozen=True)
class _Part:
    """What all zones of a part have in common.

    Attributes
    ----------
    takes : (z,) bool array
    component : (m,) int32 array
        Connected areas of zones.
    is_crease : (3 m,) bool array
        Half-edges that no front crosses.
    border : (b,) int array
        Half-edges at which zones end, by zone; those of zone ``i`` from ``border_start[i]``.
    corner_start, corners
        Corners of each vertex (``kernels.sectors.corners_by_sector``).
    sector : (3 m,) int32 array
        Corners of a vertex with no crease between them.
    sector_start, sector_corners
        Corners of each sector.
    """

    surface: CutSurface
    zone: Ints
    takes: Flags
    component: Ints
    is_crease: Flags
    border: _Index
    border_start: _Index
    corner_start: _Index
    corners: Ints
    sector: Ints
    sector_start: _Index
    sector_corners: Ints

    def border_of(self, number: int) -> _Index:
        """Half-edges at which a zone ends."""
        return self.border[self.border_start[number] : self.border_start[number + 1]]

    def goes_on_smoothly(self, number: int) -> Flags:
        """(b,) border half-edges of a zone over which it may grow."""
        half_edge = self.border_of(number)
        twin = self.surface.mesh.twins[half_edge]
        smooth: Flags = (twin >= 0) & ~self.is_crease[half_edge] & self.takes[self.zone[twin // 3]]
        return smooth

    def state(self, facets: _Index, number: int) -> _States:
        """Whether facets are of a zone, may be grown over, or not."""
        zone = self.zone[facets]
        return np.where(zone == number, INSIDE, np.where(self.takes[zone], OPEN, SHUT)).astype(np.int8)


def _part(surface: CutSurface, zone: Ints, takes: Flags) -> _Part:
    mesh = surface.mesh
    is_border = border_half_edges(mesh.faces, mesh.twins, zone)
    component, _ = connected_facets(mesh.twins, ~is_border)
    border = np.flatnonzero(is_border)
    of_zone = zone[border // 3]
    border = border[np.argsort(of_zone, kind="stable")]
    border_start = np.concatenate([[0], np.cumsum(np.bincount(of_zone, minlength=len(takes)))])
    beyond = zone[np.maximum(mesh.twins, 0) // 3]
    is_crease = sharp_half_edges(surface) | (is_border & (np.repeat(takes[zone], 3) != takes[beyond]))
    is_crease |= mesh.twins < 0
    corner_start, corners = corners_by_sector(mesh.faces.flatten(), len(mesh.vertices))
    sector, count = corner_sectors(mesh.faces, mesh.twins, is_crease)
    sector_start, sector_corners = corners_by_sector(sector, count)
    return _Part(
        surface, zone, takes, component, is_crease, border, border_start, corner_start, corners,
        sector, sector_start, sector_corners,
    )  # fmt: skip


def _pushed_out(part: _Part, number: int, axis: Floats, distance_mm: float, deviation_mm: float) -> list[Outline]:
    near = _Surroundings(part, number, distance_mm)
    rings = _FIRST_RINGS
    for _ in range(_MOST_GROWTHS):
        chosen = near.facets(rings)
        patch, corner_time = _reached(_patch(part, chosen, number), distance_mm)
        if not patch.touches_outer(corner_time, distance_mm):
            break
        rings *= 2
    patch, corner_time = _cut_at(patch, corner_time, distance_mm)
    parent = chosen[patch.parent]
    is_grown = (patch.state == INSIDE) | (corner_time.mean(axis=1) < distance_mm)
    grown_zone = np.where(is_grown, number, part.zone[parent]).astype(np.int32)
    cut = CutSurface(Mesh(patch.vertices, patch.faces), patch.corner_normal, parent.astype(np.int32))
    is_border = border_half_edges(cut.mesh.faces, cut.mesh.twins, grown_zone)
    component = _components(part.component[parent], patch.state == INSIDE, cut.mesh.twins, is_border)
    is_border &= np.repeat(is_grown, 3) & ~patch.is_artificial_rim(cut.mesh.twins)
    border = loops_along(cut, grown_zone, is_border)
    return outlines_of(cut, grown_zone, component, border, axis, deviation_mm, "overlap")


class _Surroundings:
    """Finds the facets around a zone's border that a front may reach, and those around them."""

    def __init__(self, part: _Part, number: int, distance_mm: float) -> None:
        self.part, self.number, self.reach_mm = part, number, 1.5 * distance_mm
        mesh = part.surface.mesh
        border = part.border_of(number)
        self.on_border = np.unique(half_edge_ends(mesh.faces, border))
        smooth = border[part.goes_on_smoothly(number)]
        beyond = mesh.twins[smooth]
        self.first = np.unique(part.sector[np.concatenate([beyond, beyond // 3 * 3 + (beyond % 3 + 1) % 3])])
        a, b = (mesh.vertices[ends] for ends in half_edge_ends(mesh.faces, smooth).T)
        pieces = np.ceil(np.linalg.norm(b - a, axis=1) / distance_mm).astype(np.int64)
        share = (np.arange(pieces.sum()) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / np.repeat(pieces, pieces)
        along = np.repeat(a, pieces, axis=0) + share[:, None] * np.repeat(b - a, pieces, axis=0)
        self.tree = cKDTree(np.concatenate([along, b]))

    def facets(self, rings: int) -> _Index:
        """Facets with sectors near the border, rings of facets around these, and all that touch them or the border."""
        part, mesh = self.part, self.part.surface.mesh
        seen = np.zeros(len(part.sector_start) - 1, np.bool_)
        reached, far = [np.empty(0, np.int64)], [np.empty(0, np.int32)]
        sector, left = self.first, rings
        seen[sector] = True
        while left > 0:
            facet = _around(sector, part.sector_start, part.sector_corners)
            facet = facet[(part.zone[facet] != self.number) & part.takes[part.zone[facet]]]
            reached.append(facet)
            corner = (3 * facet[:, None] + np.arange(3)).ravel()
            corner = corner[~seen[part.sector[corner]]]
            sector, one = np.unique(part.sector[corner], return_index=True)
            seen[sector] = True
            vertex = mesh.vertices[mesh.faces.ravel()[corner[one]]]
            is_far = np.isinf(self.tree.query(vertex, distance_upper_bound=self.reach_mm)[0])
            far.append(sector[is_far])
            sector = sector[~is_far]
            if len(sector) == 0:
                sector, far, left = np.concatenate(far), [np.empty(0, np.int32)], left - 1
        touched = np.zeros(len(mesh.vertices), np.bool_)
        touched[self.on_border] = True
        touched[mesh.faces[np.concatenate(reached)]] = True
        return _around(np.flatnonzero(touched), part.corner_start, part.corners)


def _around(place: _Index, start: _Index, corners: Ints) -> _Index:
    """Facets with corners at vertices or in sectors."""
    begin, count = start[place], np.diff(start)[place]
    at = np.arange(count.sum()) + np.repeat(begin - (np.cumsum(count) - count), count)
    return np.unique(corners[at] // 3)


@dataclass(frozen=True)
class _Patch:
    """Facets around a border, cut out of the mesh.

    Attributes
    ----------
    parent : (m,) int array
        Place of the facet that each is part of among those chosen.
    state : (m,) int8 array
        ``INSIDE``, ``OPEN`` or ``SHUT``.
    label : (m,) int32 array
        Zone.
    is_outer : (n,) bool array
        Vertices at which the mesh goes on.
    """

    vertices: Floats
    faces: Ints
    corner_normal: Floats
    parent: _Index
    state: _States
    label: Ints
    is_outer: Flags

    def is_artificial_rim(self, twins: Ints) -> Flags:
        """(3 m,) half-edges at which the mesh goes on beyond the patch."""
        outer = self.is_outer[self.faces]
        return (twins < 0) & (outer & np.roll(outer, -1, axis=1)).ravel()

    def touches_outer(self, corner_time: Floats, distance_mm: float) -> bool:
        """Whether the front comes near the place where the patch ends; within the zone (time 0) it may end."""
        near = corner_time <= distance_mm * (1.0 + 1.0 / tolerances.PUSH_FACETS_IN_DISTANCE)
        near &= (self.state == OPEN)[:, None]
        return bool((near & self.is_outer[self.faces]).any())

    def split(self, twins: Ints, at: Floats) -> _Patch:
        """Edges split at places along half-edges."""
        vertices, faces, corner_normal, parent = split_edges(self.vertices, self.faces, self.corner_normal, twins, at)
        is_outer = np.concatenate([self.is_outer, np.zeros(len(vertices) - len(self.vertices), np.bool_)])
        return _Patch(
            vertices, faces, corner_normal, self.parent[parent], self.state[parent], self.label[parent], is_outer
        )


def _patch(part: _Part, chosen: _Index, number: int) -> _Patch:
    mesh = part.surface.mesh
    ids, faces = np.unique(mesh.faces[chosen], return_inverse=True)
    corners_here = np.bincount(faces.ravel(), minlength=len(ids))
    is_outer = corners_here < np.diff(part.corner_start)[ids]
    return _Patch(
        mesh.vertices[ids], faces.reshape(-1, 3).astype(np.int32), part.surface.corner_normal[chosen],
        np.arange(len(chosen)), part.state(chosen, number), part.zone[chosen], is_outer,
    )  # fmt: skip


def _reached(patch: _Patch, distance_mm: float) -> tuple[_Patch, Floats]:
    """The patch with facets fine enough for the distance where the front passes, and (m, 3) times at its corners.

    Times are 0 inside the zone; corners not reached have a time far above the distance. Edges are turned over first
    where facets are thin: each of these knows of one line in the front's way only.
    """
    least_cosine = np.cos(np.radians(tolerances.TANGENT_JOINT_DEG))
    shortest = distance_mm / tolerances.PUSH_FACETS_IN_DISTANCE
    halvings = 0
    while True:
        twins = match_half_edges(patch.faces, len(patch.vertices))
        kind = edge_kinds(patch.faces, twins, patch.corner_normal, patch.state, patch.label, least_cosine)
        most_off = tolerances.PUSH_TURN_SHARE * distance_mm
        flip_edges(patch.vertices, patch.faces, patch.corner_normal, twins, kind, most_off, np.inf)
        sector, time, way = _march(patch, twins, kind, distance_mm + shortest)
        time = np.minimum(time, _NEVER * distance_mm)
        corner_time = np.where((patch.state == INSIDE)[:, None], 0.0, time[sector].reshape(-1, 3))
        # where the front reaches the end of the patch it must grow first: no halving is worth it
        if halvings == tolerances.PUSH_MOST_HALVINGS or patch.touches_outer(corner_time, distance_mm):
            break
        at, passed, coarse, longest = coarse_edges(
            patch.vertices, patch.faces, patch.state, sector, time, way, distance_mm, shortest,
            tolerances.PUSH_SAG_SHARE * distance_mm, tolerances.PUSH_ODD_CLIMB,
        )  # fmt: skip
        if coarse == 0 or (coarse < tolerances.PUSH_COARSE_SHARE * passed and longest < distance_mm):
            break
        patch = patch.split(twins, at)
        halvings += 1
    return patch, corner_time


def _march(patch: _Patch, twins: Ints, kind: NDArray[np.int8], stop_mm: float) -> tuple[Ints, Floats, Floats]:
    """Sector of every corner, the distance of each sector from the zone, and its gradient.

    Over facets that join smoothly: corners on both sides of a crease have distances of their own.
    """
    sector, count = corner_sectors(_view(patch.faces), _view(twins), kind >= START)
    vertex = np.empty(count, np.int32)
    vertex[sector] = patch.faces.ravel()
    is_open = patch.state == OPEN
    start_time = np.full(count, np.nan)
    starts = np.flatnonzero((kind == START) & np.repeat(is_open, 3))
    start_time[sector[starts]] = 0.0
    start_time[sector[starts // 3 * 3 + (starts % 3 + 1) % 3]] = 0.0
    faces = sector.reshape(-1, 3)[is_open]
    corner_start, corners = corners_by_sector(faces.ravel(), count)
    time, way = march(patch.vertices[vertex], faces, corner_start, corners, np.ones(len(faces)), start_time, stop_mm)
    return sector, time, way


def _view(array: Ints) -> Ints:
    """The same array, not to be written: kernels compiled for those of meshes serve here too."""
    view = array.view()
    view.setflags(write=False)
    return view


def _cut_at(patch: _Patch, corner_time: Floats, distance_mm: float) -> tuple[_Patch, Floats]:
    """The patch cut along the line where the time is the distance."""
    for _ in range(_MOST_CUTS):
        twins = match_half_edges(patch.faces, len(patch.vertices))
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


def _components(component: Ints, is_inside: Flags, twins: Ints, is_border: Flags) -> Ints:
    """(m,) connected areas of what is grown, told on the patch: areas that hang together through the zone are one."""
    of_patch, patch_count = connected_facets(twins, ~is_border)
    inside = np.flatnonzero(is_inside)
    areas, area = np.unique(component[inside], return_inverse=True)
    pairs = np.unique(np.stack([of_patch[inside], patch_count + area]), axis=1)
    count = patch_count + len(areas)
    links = coo_array((np.ones(pairs.shape[1]), (pairs[0], pairs[1])), shape=(count, count))
    _, label = connected_components(links, directed=False)
    joined: Ints = label[of_patch].astype(np.int32)
    return joined
