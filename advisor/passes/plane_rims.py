"""Where a plane goes over into a bend its rim is a curve in the plane, of which facets keep chords only."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.part.mesh import Flags, Floats, Ints

# Corners of a facet whose normals differ by less (rad) are those of a plane.
_PLANE_TURN = 1e-4
# A rim that turns by more from chord to chord has a corner there.
_CORNER_COSINE = np.cos(np.radians(tolerances.PATH_CORNER_DEG))
# An arc is not cut into chords of which one is so many times longer than the next: the longer one is straight itself.
_STRAIGHT_RATIO = 3.0
# A rim moves by no more than this share of the height of the facets beside it, or they would fold.
_MOST_OF_HEIGHT = 0.25


def rim_bulges(vertices: Floats, faces: Ints, twins: Ints, corner_normal: Floats) -> Floats:
    """(3 m, 3) way from the middle of half-edges on rims of planes to the middle of the curve; 0 on all others.

    No normal tells of that curve: along it they all are the plane's. But a ball that fits the bend narrowly goes into
    it by as much as its rim lies too near. The curve is the arc on which the chord and its neighbours lie, beside a
    straight side its own.

    Parameters
    ----------
    vertices : (n, 3) float64 array
        One for each side of an edge of the part.
    faces : (m, 3) int32 array
    twins : (3 m,) int32 array
    corner_normal : (m, 3, 3) float64 array
    """
    bulge = np.zeros((len(twins), 3))
    edge = np.flatnonzero(_rims(twins, corner_normal))
    if len(edge) == 0:
        return bulge
    start, end = faces[edge // 3, edge % 3], faces[edge // 3, (edge % 3 + 1) % 3]
    way = vertices[end] - vertices[start]
    length = np.linalg.norm(way, axis=1)
    unit = way / np.maximum(length, 1e-300)[:, None]
    before, after = _neighbours(start, end, len(vertices))
    moved = np.zeros((len(edge), 3))
    for beside in (before, after):
        at = np.flatnonzero(beside >= 0)
        other = beside[at]
        at, other = (x[np.einsum("ex,ex->e", unit[at], unit[other]) > _CORNER_COSINE] for x in (at, other))
        # of the turn between two chords of an arc each takes its share
        share = length[at] / (length[at] + length[other])
        share[length[other] > _STRAIGHT_RATIO * length[at]] = 1.0
        share[length[at] > _STRAIGHT_RATIO * length[other]] = 0.0
        turned = unit[other] - unit[at] if beside is before else unit[at] - unit[other]
        moved[at] += (length[at] * share / 8.0)[:, None] * turned
    low = _MOST_OF_HEIGHT * np.minimum(*(_heights(vertices, faces, half, length) for half in (edge, twins[edge])))
    moved[np.linalg.norm(moved, axis=1) > low] = 0.0
    bulge[edge] = moved
    bulge[twins[edge]] = moved
    return bulge


def _rims(twins: Ints, corner_normal: Floats) -> Flags:
    """(3 m,) half-edges of planes beyond which the surface goes on, bent."""
    turn = np.abs(np.roll(corner_normal, -1, axis=1) - corner_normal).max(axis=(1, 2))
    flat = turn < _PLANE_TURN
    if flat.all() or not flat.any():
        return np.zeros(len(twins), bool)
    beside = np.where(twins >= 0, twins, 0) // 3
    return np.asarray(np.repeat(flat, 3) & (twins >= 0) & ~flat[beside])


def _neighbours(start: Ints, end: Ints, count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Which edge goes before and which after each along a rim; -1 where that is not one."""

    def only(at: Ints) -> NDArray[np.int64]:
        found = np.full(count, -1, np.int64)
        found[at] = np.arange(len(at))
        found[np.bincount(at, minlength=count) > 1] = -1
        return found

    return only(end)[start], only(start)[end]


def _heights(vertices: Floats, faces: Ints, half_edge: NDArray[np.integer], length: Floats) -> Floats:
    """Height of the facet of each half-edge over it."""
    a, b, c = (vertices[faces[half_edge // 3, (half_edge % 3 + k) % 3]] for k in range(3))
    return np.asarray(np.linalg.norm(np.cross(b - a, c - a), axis=1) / np.maximum(length, 1e-300))
