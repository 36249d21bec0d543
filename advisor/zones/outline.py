"""Outlines of zones: closed loops without saw-teeth, and how the part goes on beyond each piece of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.loops import border_half_edges, border_loops, chain_deviations, kept_points, smooth_chains
from advisor.kernels.topology import connected_facets
from advisor.model import OutlineArrays, OutlineKind
from advisor.part.mesh import Flags, Floats, Ints
from advisor.zones.cut_lines import CutSurface
from advisor.zones.joints import NO_JOINT, TANGENT, bend_across_deg, joint_of_bend

NO_ZONE = -1

_Index = NDArray[np.signedinteger[Any]]


@dataclass(frozen=True)
class Outline:
    """One closed loop of a zone's border.

    Attributes
    ----------
    points : (k, 3) float64 array, mm
        The zone lies on the left hand seen from outside. The last point joins the first; none is repeated.
    zone : int
    is_hole : bool
        Whether the zone lies around the loop (see ``zone_outlines``).
    kind : str
        ``boundary``, or ``overlap`` where it was pushed out over the neighbours.
    neighbour : (k,) int32 array
        Zone on the other side of the segment from each point to the next; ``NO_ZONE`` on a rim.
    joint : (k,) int8 array
        How the two meet there: ``TANGENT``, ``INSIDE_CORNER``, ``OUTSIDE_CORNER``, or ``NO_JOINT`` on a rim.
    deviation_mm : float
        How far it and the border of the facets lie apart at most.
    """

    points: Floats
    zone: int
    is_hole: bool
    kind: OutlineKind
    neighbour: Ints
    joint: NDArray[np.int8]
    deviation_mm: float

    @property
    def length_mm(self) -> float:
        """Length of the loop, mm."""
        return float(np.linalg.norm(np.roll(self.points, -1, axis=0) - self.points, axis=1).sum())


@dataclass(frozen=True)
class BorderLoops:
    """Border half-edges in closed loops: zone on the left, what lies beyond each, and how the two meet."""

    half_edge: Ints
    starts: NDArray[np.int64]
    neighbour: Ints
    joint: NDArray[np.int8]


def zone_outlines(surface: CutSurface, zone: Ints, axis: Floats, deviation_mm: float) -> list[list[Outline]]:
    """The outlines of every zone, outer ones first, then holes, each by length.

    A loop is a hole where it runs clockwise seen along the tool axis. A zone that covers next to nothing in plan
    (walls) or faces away (undercuts) is seen along its own mean direction instead; where that is undefined too, as
    on walls all round a part, the longest loop of each connected area is its outer one and the others are holes.

    Creases and rims stay as they are, and so do points where three zones meet. Stretches over which the surface
    goes on smoothly lose saw-teeth. The outline and the border of the facets keep within ``deviation_mm`` of each
    other, both ways; zones on both sides of a border have the very same points there.

    Parameters
    ----------
    surface : CutSurface
    zone : (m,) int32 array
        Zone of each facet, 0-based.
    axis : (3,) unit vector from the part to the spindle
    deviation_mm : float
        Such as ``tolerances.OUTLINE_DEVIATION_MM``.
    """
    mesh = surface.mesh
    is_border = border_half_edges(mesh.faces, mesh.twins, zone)
    border = loops_along(surface, zone, is_border)
    component, _ = connected_facets(mesh.twins, ~is_border)
    outlines: list[list[Outline]] = [[] for _ in range(int(zone.max()) + 1)]
    for outline in outlines_of(surface, zone, component, border, axis, deviation_mm):
        outlines[outline.zone].append(outline)
    return outlines


def outline_arrays(outlines: Iterable[Outline], ids: Ints) -> OutlineArrays:
    """Outlines laid end to end, in the order given, for the files.

    Parameters
    ----------
    outlines : Outline
    ids : (z,) int32 array
        The number by which the plan knows each zone, -1 for those that it leaves out.
    """
    listed = list(outlines)
    starts = np.zeros(len(listed) + 1, np.int64)
    np.cumsum([len(outline.points) for outline in listed], out=starts[1:])
    neighbour = np.concatenate([np.empty(0, np.int32), *(outline.neighbour for outline in listed)])
    arrays = OutlineArrays(
        np.concatenate([np.empty((0, 3)), *(outline.points for outline in listed)]),
        starts,
        np.array([ids[outline.zone] for outline in listed], np.int32),
        np.array([outline.kind for outline in listed], "<U8"),
        np.array([outline.is_hole for outline in listed], np.bool_),
        np.where(neighbour == NO_ZONE, 0, ids[neighbour]).astype(np.int32),
        np.concatenate([np.empty(0, np.int8), *(outline.joint for outline in listed)]),
    )
    for array in vars(arrays).values():
        array.setflags(write=False)
    return arrays


def loops_along(surface: CutSurface, zone: Ints, is_border: Flags) -> BorderLoops:
    """Loops of the half-edges that are borders, with the zone of the facets beyond."""
    mesh = surface.mesh
    half_edge, starts = border_loops(mesh.faces, mesh.twins, is_border, len(mesh.vertices))
    twin = mesh.twins[half_edge]
    two_sided = (twin >= 0) & (_first(mesh.faces, half_edge) != _first(mesh.faces, twin))
    neighbour = np.where(two_sided, zone[twin // 3], NO_ZONE).astype(np.int32)
    joint = np.full(len(half_edge), NO_JOINT, np.int8)
    joint[two_sided] = joint_of_bend(bend_across_deg(surface, half_edge[two_sided]))
    return BorderLoops(half_edge, starts, neighbour, joint)


def outlines_of(
    surface: CutSurface,
    zone: Ints,
    component: Ints,
    border: BorderLoops,
    axis: Floats,
    deviation_mm: float,
    kind: OutlineKind = "boundary",
) -> list[Outline]:
    """Loops freed of saw-teeth, as outlines by zone, outer ones first, each by length.

    Parameters
    ----------
    component : (m,) int32 array
        Connected area of each facet; whether a loop is a hole is decided area by area.
    """
    if len(border.half_edge) == 0:
        return []
    clean = _clean(surface, border, deviation_mm)
    facet = border.half_edge[border.starts[:-1]] // 3
    length, vector_area = _measures(clean.points, clean.starts)
    area = np.bincount(component, weights=surface.mesh.area_mm2)
    is_hole = _holes(vector_area, length, component[facet], area, axis)
    outlines = []
    for i in np.lexsort((-length, is_hole, zone[facet])):
        part = slice(clean.starts[i], clean.starts[i + 1])
        outlines.append(
            Outline(clean.points[part], int(zone[facet[i]]), bool(is_hole[i]), kind, clean.neighbour[part],
                    clean.joint[part], float(clean.deviation_mm[i]))
        )  # fmt: skip
    return outlines


def _first(faces: Ints, half_edge: _Index) -> Ints:
    """Vertex at which half-edges begin."""
    first: Ints = faces[half_edge // 3, half_edge % 3]
    return first


def _measures(points: Floats, starts: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Length and vector area of every loop."""
    following = np.arange(1, len(points) + 1)
    following[starts[1:] - 1] = starts[:-1]
    from_first = points - np.repeat(points[starts[:-1]], np.diff(starts), axis=0)
    cross = np.cross(from_first, from_first[following])
    length = np.add.reduceat(np.linalg.norm(points[following] - points, axis=1), starts[:-1])
    return length, 0.5 * np.add.reduceat(cross, starts[:-1], axis=0)


def _holes(vector_area: Floats, length: Floats, component: Ints, area_mm2: NDArray[Any], axis: Floats) -> Flags:
    """Whether each loop is a hole of its connected area.

    The vector areas of an area's loops add up to the integral of its normal (Stokes), which tells how much of it is
    seen along a direction.
    """
    ids, inverse = np.unique(component, return_inverse=True)
    mean = np.stack([np.bincount(inverse, weights=vector_area[:, k]) for k in range(3)], axis=1)
    least = tolerances.OUTLINE_VIEW_SHARE * area_mm2[ids]
    size = np.linalg.norm(mean, axis=1)
    view = np.zeros_like(mean)
    seen = size > least
    view[seen] = mean[seen] / size[seen, None]
    view[mean @ axis > least] = axis
    is_outer = np.einsum("ij,ij->i", vector_area, view[inverse]) > 0
    # the longest of each area is outer where none is by its winding
    order = np.lexsort((-length, inverse))
    longest = order[np.flatnonzero(np.diff(inverse[order], prepend=-1))]
    has_outer = np.bincount(inverse, weights=is_outer) > 0
    is_outer[longest[~has_outer]] = True
    is_hole: Flags = ~is_outer
    return is_hole


@dataclass(frozen=True)
class _Chains:
    """Borders between the points that stay, each once though two zones share it.

    Attributes
    ----------
    vertex : (q,) int32 array
    starts : (c + 1,) int64 array
    is_closed : (c,) bool array
        A whole loop without a point that must stay.
    joint : (c,) int8 array
    piece_loop, piece_chain : (p,) int arrays
        Loops are pieces end to end; the chain of each piece.
    piece_neighbour : (p,) int32 array
    piece_is_reversed : (p,) bool array
    """

    vertex: Ints
    starts: NDArray[np.int64]
    is_closed: Flags
    joint: NDArray[np.int8]
    piece_loop: _Index
    piece_chain: _Index
    piece_neighbour: Ints
    piece_is_reversed: Flags


@dataclass(frozen=True)
class _Clean:
    """Loops without saw-teeth: points, where loops start, neighbour and joint of every segment, and by loop how far
    it is from its border at most."""

    points: Floats
    starts: NDArray[np.int64]
    neighbour: Ints
    joint: NDArray[np.int8]
    deviation_mm: Floats


def _clean(surface: CutSurface, border: BorderLoops, deviation_mm: float) -> _Clean:
    chains = _chains(surface, border)
    is_tangent = chains.joint == TANGENT
    spare = np.where(is_tangent, tolerances.OUTLINE_SPARE_BEFORE_SHARE, tolerances.OUTLINE_STRAIGHT_SHARE)
    rough = _Line(surface.mesh.vertices[chains.vertex], chains.starts, np.arange(len(chains.vertex)))
    line = _thinned(rough, spare * deviation_mm, chains)
    radius = np.where(is_tangent, tolerances.OUTLINE_MOVE_SHARE * deviation_mm, 0.0)
    points = smooth_chains(
        line.points, line.starts, chains.is_closed, radius,
        tolerances.OUTLINE_ROUNDS, tolerances.OUTLINE_SHRINK, tolerances.OUTLINE_GROW,
    )  # fmt: skip
    spare = np.where(is_tangent, tolerances.OUTLINE_SPARE_AFTER_SHARE, 0.0)
    line = _thinned(replace(line, points=points), spare * deviation_mm, chains)
    off = chain_deviations(rough.points, rough.starts, line.kept, line.points, line.starts)
    chain, starts = chains.piece_chain, line.starts
    count = np.diff(starts)[chain] - 1
    index = _runs(np.where(chains.piece_is_reversed, starts[chain + 1] - 1, starts[chain]), count,
                  np.where(chains.piece_is_reversed, -1, 1))  # fmt: skip
    loop_starts = np.zeros(len(border.starts), np.int64)
    np.cumsum(np.bincount(chains.piece_loop, weights=count).astype(np.int64), out=loop_starts[1:])
    first_piece = np.flatnonzero(np.diff(chains.piece_loop, prepend=-1))
    neighbour, joint = np.repeat(chains.piece_neighbour, count), np.repeat(chains.joint[chain], count)
    return _Clean(points=line.points[index], starts=loop_starts, neighbour=neighbour, joint=joint,
                  deviation_mm=np.maximum.reduceat(off[chain], first_piece))  # fmt: skip


@dataclass(frozen=True)
class _Line:
    """Points of chains, where chains start, and the place of each point in the chains as they were."""

    points: Floats
    starts: NDArray[np.int64]
    kept: NDArray[np.int64]


def _thinned(line: _Line, within_mm: Floats, chains: _Chains) -> _Line:
    """Chains without spare points; every loop keeps three."""
    keep, middle = kept_points(line.points, line.starts, within_mm)
    segments = np.add.reduceat(keep.astype(np.int64), line.starts[:-1]) - 1
    of_loop = np.bincount(chains.piece_loop, weights=segments[chains.piece_chain])
    too_few = chains.piece_chain[of_loop[chains.piece_loop] < 3]
    forced = middle[too_few]
    keep[forced[forced >= 0]] = True
    starts = np.zeros_like(line.starts)
    np.cumsum(np.add.reduceat(keep.astype(np.int64), line.starts[:-1]), out=starts[1:])
    return _Line(line.points[keep], starts, line.kept[keep])


def _runs(first: _Index, count: _Index, step: _Index | int = 1) -> _Index:
    """Runs of numbers end to end: `count` of them from `first` by `step`, for each entry."""
    begin = np.cumsum(count) - count
    offset = np.arange(int(count.sum())) - np.repeat(begin, count)
    runs: _Index = np.repeat(first, count) + offset * np.repeat(np.broadcast_to(step, count.shape), count)
    return runs


def _chains(surface: CutSurface, border: BorderLoops) -> _Chains:
    """Loops cut at the points that stay, and the pieces on both sides of one border matched."""
    faces, half_edge, starts = surface.mesh.faces, border.half_edge, border.starts
    length = np.diff(starts)
    loop = np.repeat(np.arange(len(length)), length)
    edge = _edge_numbers(surface, half_edge)
    first = _first(faces, half_edge)
    stays, has_none = _staying(first, loop, border, edge)
    # each loop begins at its first point that stays
    place = np.where(stays, np.arange(len(stays)), len(stays))
    shift = np.minimum.reduceat(place, starts[:-1]) - starts[:-1]
    offset = np.arange(len(loop)) - starts[:-1][loop]
    turned = starts[:-1][loop] + (offset + shift[loop]) % length[loop]
    begin = np.flatnonzero(stays[turned])
    count = np.diff(begin, append=len(turned))
    last = _first(faces, half_edge // 3 * 3 + (half_edge % 3 + 1) % 3)
    _, owner, chain = np.unique(np.minimum.reduceat(edge[turned], begin), return_index=True, return_inverse=True)
    owned, size = begin[owner], count[owner]
    chain_starts = np.zeros(len(owner) + 1, np.int64)
    np.cumsum(size + 1, out=chain_starts[1:])
    vertex = np.empty(chain_starts[-1], np.int32)
    vertex[_runs(chain_starts[:-1], size)] = first[turned[_runs(owned, size)]]
    vertex[chain_starts[1:] - 1] = last[turned[owned + size - 1]]
    return _Chains(
        vertex, chain_starts, has_none[loop[owned]], border.joint[turned[owned]],
        loop[begin], chain, border.neighbour[turned[begin]], owner[chain] != np.arange(len(chain)),
    )  # fmt: skip


def _edge_numbers(surface: CutSurface, half_edge: Ints) -> Ints:
    """The lower half-edge of each edge: the same from both of its sides."""
    faces, twin = surface.mesh.faces, surface.mesh.twins[half_edge]
    two_sided = (twin >= 0) & (_first(faces, half_edge) != _first(faces, twin))
    return np.where(two_sided, np.minimum(half_edge, twin), half_edge)


def _staying(first: Ints, loop: _Index, border: BorderLoops, edge: Ints) -> tuple[Flags, Flags]:
    """Which points of the loops stay: where borders meet, or what lies beyond or how it joins changes.

    A loop without any gets one, at its lowest vertex, which its other side then has too; the second answer tells
    those loops.
    """
    starts = border.starts
    before = np.arange(-1, len(first) - 1)
    before[starts[:-1]] = starts[1:] - 1
    changes = (border.neighbour != border.neighbour[before]) | (border.joint != border.joint[before])
    _, one = np.unique(edge, return_index=True)
    following = np.arange(1, len(first) + 1)
    following[starts[1:] - 1] = starts[:-1]
    count = int(first.max()) + 1
    ends = np.bincount(first[one], minlength=count) + np.bincount(first[following[one]], minlength=count)
    stays = changes | (ends[first] != 2)
    at_vertex = np.zeros(count, np.bool_)
    at_vertex[first[stays]] = True
    stays = at_vertex[first]
    has_none = ~np.logical_or.reduceat(stays, starts[:-1])
    lowest = np.minimum.reduceat(first, starts[:-1])
    return stays | (has_none[loop] & (first == lowest[loop])), has_none
