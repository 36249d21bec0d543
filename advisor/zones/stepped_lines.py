"""Lines that step from facet to facet, drawn anew through facets.

Where an area is told by a number of each facet, its border follows facets: on a fillet whose strips lie along it that
is the very line wanted; on a mesh that knows nothing of the fillet it is a staircase. Stairs are drawn anew where the
mean of that number around vertices crosses zero, and facets are cut there.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.loops import border_half_edges, border_loops
from advisor.kernels.refine import split_edges
from advisor.kernels.sectors import corner_sectors
from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.zones.cut_lines import CutSurface

# A step is told from a bend by looking this many edges back and ahead.
_LOOK_EDGES = 4
# Rings of facets beside a stepped line in which it may be drawn anew.
_RINGS = 3
# Rounds in which the number is spread from vertices to facets and back.
_ROUNDS = 2


def cut_at_stepped_border(
    mesh: Mesh, corner_normal: Floats, is_crease: Flags, inside: Flags, depth: Floats
) -> tuple[CutSurface, Flags]:
    """Cut facets where the border of an area steps from facet to facet.

    Parameters
    ----------
    mesh : Mesh
    corner_normal : (m, 3, 3) float64 array
    is_crease : (3 m,) bool array
        Half-edges on an edge of the part: these stay borders as they are.
    inside : (m,) bool array
        Facets of the area.
    depth : (m,) float64 array
        Positive inside, negative outside, the more the deeper; values beyond one count as one.

    Returns
    -------
    surface : CutSurface
    inside : (m',) bool array
        Facets of the cut mesh that lie in the area.
    """
    whole = CutSurface(mesh, corner_normal, np.arange(len(mesh.faces), dtype=np.int32))
    if not inside.any():
        return whole, inside
    near = _near(mesh, _stepped_vertices(mesh, is_crease, inside))
    if not near.any():
        return whole, inside
    value = _corner_values(mesh, is_crease, near, depth)
    at = np.where(np.repeat(near, 3) & ~is_crease, _zero_places(value), np.nan)
    vertices, faces, normals, parent = split_edges(mesh.vertices, mesh.faces, corner_normal, mesh.twins, at)
    # the same cut of the numbers, which stand where a normal does
    spread = np.repeat(value[:, :, None], 3, axis=2)
    _, _, values, _ = split_edges(mesh.vertices, mesh.faces, spread, mesh.twins, at)
    now = np.where(near[parent], values[:, :, 0].sum(axis=1) > 0.0, inside[parent])
    return CutSurface(Mesh(vertices, faces), normals, parent.astype(np.int32), (mesh, corner_normal)), now


def _stepped_vertices(mesh: Mesh, is_crease: Flags, inside: Flags) -> NDArray[np.int64]:
    """Vertices at which the border of an area steps, over a surface that goes on smoothly."""
    is_border = border_half_edges(mesh.faces, mesh.twins, inside.astype(np.int32))
    half_edge, starts = border_loops(mesh.faces, mesh.twins, is_border, len(mesh.vertices))
    of_area = inside[half_edge[starts[:-1]] // 3]
    found = [
        stepped
        for first, last, wanted in zip(starts[:-1], starts[1:], of_area, strict=True)
        if wanted
        for stepped in _stepped_of_loop(mesh, half_edge[first:last], is_crease)
    ]
    return np.concatenate([np.empty(0, np.int64), *found])


def _stepped_of_loop(mesh: Mesh, half_edge: Ints, is_crease: Flags) -> Iterator[NDArray[np.int64]]:
    """Vertices of one loop at which its edges turn far more than its course does."""
    if len(half_edge) < 2 * _LOOK_EDGES:
        return
    vertex = mesh.faces.reshape(-1)[half_edge].astype(np.int64)
    point = mesh.vertices[vertex]
    turn = _turn_deg(point, 1)
    course = _turn_deg(point, _LOOK_EDGES) / _LOOK_EDGES
    is_smooth = ~is_crease[half_edge]
    around = range(-_LOOK_EDGES, _LOOK_EDGES)
    all_smooth = np.logical_and.reduce([np.roll(is_smooth, -shift) for shift in around])
    usual = np.mean([np.roll(turn, -shift) for shift in around], axis=0)
    yield vertex[all_smooth & (usual - course > tolerances.STEPPED_LINE_DEG)]


def _turn_deg(point: Floats, edges: int) -> Floats:
    """(k,) turn at each point of a closed loop, from the way of so many edges before to that of as many after."""
    before, after = point - np.roll(point, edges, axis=0), np.roll(point, -edges, axis=0) - point
    sine = np.linalg.norm(np.cross(before, after), axis=1)
    turn: Floats = np.degrees(np.arctan2(sine, np.einsum("ij,ij->i", before, after)))
    return turn


def _near(mesh: Mesh, vertices: NDArray[np.int64]) -> Flags:
    """(m,) facets in rings around vertices."""
    touched = np.zeros(len(mesh.vertices), bool)
    touched[vertices] = True
    facets = np.zeros(len(mesh.faces), bool)
    for _ in range(_RINGS):
        facets = np.asarray(touched[mesh.faces].any(axis=1))
        touched[mesh.faces[facets]] = True
    return facets


def _corner_values(mesh: Mesh, is_crease: Flags, near: Flags, depth: Floats) -> Floats:
    """(m, 3) mean depth around each corner between creases, spread to and fro; zero away from the facets near."""
    by_corner, count = corner_sectors(mesh.faces, mesh.twins, is_crease)
    sector = by_corner.reshape(-1, 3)
    weighed = near.copy()
    for _ in range(_ROUNDS):  # as far as the spreading reaches
        reached = np.zeros(count, bool)
        reached[sector[weighed]] = True
        weighed = np.asarray(reached[sector].any(axis=1))
    corners, area = sector[weighed].ravel(), np.repeat(mesh.area_mm2[weighed], 3)
    total = np.maximum(np.bincount(corners, area, minlength=count), 1e-300)
    of_facet = np.clip(depth[weighed], -1.0, 1.0)
    for _ in range(_ROUNDS):
        mean = np.bincount(corners, area * np.repeat(of_facet, 3), minlength=count) / total
        of_facet = mean[corners].reshape(-1, 3).mean(axis=1)
    value = np.zeros((len(mesh.faces), 3))
    value[weighed] = mean[corners].reshape(-1, 3)
    return value


def _zero_places(value: Floats) -> Floats:
    """(3 m,) where each half-edge crosses zero, NaN where it does not; never nearer to an end than a small share."""
    here, there = value, np.roll(value, -1, axis=1)
    crosses = here * there < 0.0
    share = np.where(crosses, here / np.where(crosses, here - there, 1.0), np.nan)
    least = tolerances.NEAREST_CUT_SHARE
    return np.asarray(np.clip(share, least, 1.0 - least).reshape(-1))
