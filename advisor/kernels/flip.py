"""Edges are turned over inside the two facets beside them, so that facets grow less thin."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads

FREE = 0  # kind of a half-edge that may be turned over

# A turn must better the facets by more than rounding.
_LEAST_GAIN = 1e-6
# Turns for each facet at most; a few are enough in any mesh.
_MOST_TURNS = 30


@reads(0)
@njit(cache=True, nogil=True)
def flip_edges(vertices, faces, corner_normal, twins, kind, most_off, most_sag):
    """Turn over edges that are `FREE` until none has opposite corners of more than 180 degrees together.

    In a plane that is Delaunay's triangulation (C. Lawson, "Transforming triangulations", Discrete Mathematics 3,
    1972; from memory). On a curved surface an edge is turned over only where the surface hardly moves by it. Changes
    `faces`, `corner_normal`, `twins` and `kind` in place; facets keep what else is known of them.

    Parameters
    ----------
    vertices : (n, 3) float64 array
    faces : (m, 3) int32 array
    corner_normal : (m, 3, 3) float64 array
    twins : (3 m,) int32 array
    kind : (3 m,) int8 array
        The same on both sides of an edge.
    most_off : float
        How far the old and the new edge may pass each other.
    most_sag : float
        How far the smooth surface may stand off the new edge, by the normals at its ends; infinite where nothing is
        made of these. A long edge that takes in a little of a bend beside a plane would bend all along.
    """
    count = twins.shape[0]
    stack = np.empty(count, np.int32)
    waits = np.zeros(count, np.bool_)
    depth = 0
    for h in range(count - 1, -1, -1):
        if kind[h] == FREE and twins[h] > h:
            stack[depth] = h
            waits[h] = True
            depth += 1
    left = _MOST_TURNS * faces.shape[0]
    rim = np.empty(4, np.int32)
    while depth > 0 and left > 0:
        depth -= 1
        h = stack[depth]
        waits[h] = False
        if kind[h] != FREE or twins[h] < 0 or not _should_turn(vertices, faces, twins, h, most_off):
            continue
        if _sag(vertices, faces, corner_normal, twins, h) > most_sag:
            continue
        _turn(faces, corner_normal, twins, kind, h, rim)
        left -= 1
        for edge in rim:
            low = min(edge, twins[edge]) if twins[edge] >= 0 else edge
            if kind[low] == FREE and not waits[low]:
                stack[depth] = low
                waits[low] = True
                depth += 1


@njit(nogil=True)
def _way(vertices, i, j):
    return (
        vertices[j, 0] - vertices[i, 0],
        vertices[j, 1] - vertices[i, 1],
        vertices[j, 2] - vertices[i, 2],
    )


@njit(nogil=True)
def _dot(u, v):
    return u[0] * v[0] + u[1] * v[1] + u[2] * v[2]


@njit(nogil=True)
def _cross(u, v):
    return (u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0])


@njit(nogil=True)
def _should_turn(vertices, faces, twins, h, most_off):
    t = twins[h]
    f, g = h // 3, t // 3
    k, j = h - 3 * f, t - 3 * g
    a, b, c, d = faces[f, k], faces[f, (k + 1) % 3], faces[f, (k + 2) % 3], faces[g, (j + 2) % 3]
    if faces[g, j] != b or c == d:
        return False
    for i in range(3):  # two facets that share more than this edge
        if twins[3 * f + i] // 3 == g and i != k:
            return False
    ab, cd = _way(vertices, a, b), _way(vertices, c, d)
    ca, cb, da, db = _way(vertices, c, a), _way(vertices, c, b), _way(vertices, d, a), _way(vertices, d, b)
    at_c, at_d = _cross(ca, cb), _cross(db, da)
    size_c, size_d = np.sqrt(_dot(at_c, at_c)), np.sqrt(_dot(at_d, at_d))
    if size_c == 0.0 and size_d == 0.0:
        return False
    # the sum of the cotangents, times both areas
    sum_of_both = _dot(ca, cb) * size_d + _dot(da, db) * size_c
    if sum_of_both > -_LEAST_GAIN * np.sqrt(_dot(ab, ab) * _dot(cd, cd)) * (size_c + size_d):
        return False
    across = _cross(ab, cd)
    size = np.sqrt(_dot(across, across))
    if size == 0.0 or abs(_dot(ca, across)) > most_off * size:
        return False
    # both new facets face the way the old ones do
    one, other = _cross(ca, cd), _cross(cd, cb)
    return _dot(one, at_c) + _dot(one, at_d) > 0.0 and _dot(other, at_c) + _dot(other, at_d) > 0.0


@njit(nogil=True)
def _sag(vertices, faces, corner_normal, twins, h):
    """How far the surface stands off the edge that would come of a turn: as an arc, by the turn of its normals."""
    t = twins[h]
    f, g = h // 3, t // 3
    k, j = (h - 3 * f + 2) % 3, (t - 3 * g + 2) % 3
    c, d = faces[f, k], faces[g, j]
    way = _way(vertices, c, d)
    turn = (
        corner_normal[g, j, 0] - corner_normal[f, k, 0],
        corner_normal[g, j, 1] - corner_normal[f, k, 1],
        corner_normal[g, j, 2] - corner_normal[f, k, 2],
    )
    return abs(_dot(turn, way)) / 8.0


@njit(nogil=True)
def _turn(faces, corner_normal, twins, kind, h, rim):
    """Facets (a, b, c) and (b, a, d) become (c, a, d) and (d, b, c); `rim` tells the edges around them."""
    t = twins[h]
    f, g = h // 3, t // 3
    k, j = h - 3 * f, t - 3 * g
    a, b, c, d = faces[f, k], faces[f, (k + 1) % 3], faces[f, (k + 2) % 3], faces[g, (j + 2) % 3]
    for axis in range(3):
        of_a, of_b = corner_normal[f, k, axis], corner_normal[f, (k + 1) % 3, axis]
        of_c, of_d = corner_normal[f, (k + 2) % 3, axis], corner_normal[g, (j + 2) % 3, axis]
        corner_normal[f, 0, axis], corner_normal[f, 1, axis], corner_normal[f, 2, axis] = of_c, of_a, of_d
        corner_normal[g, 0, axis], corner_normal[g, 1, axis], corner_normal[g, 2, axis] = of_d, of_b, of_c
    old_ca, old_bc = 3 * f + (k + 2) % 3, 3 * f + (k + 1) % 3
    old_ad, old_db = 3 * g + (j + 1) % 3, 3 * g + (j + 2) % 3
    twin_ca, twin_bc, twin_ad, twin_db = twins[old_ca], twins[old_bc], twins[old_ad], twins[old_db]
    kind_ca, kind_bc, kind_ad, kind_db = kind[old_ca], kind[old_bc], kind[old_ad], kind[old_db]
    faces[f, 0], faces[f, 1], faces[f, 2] = c, a, d
    faces[g, 0], faces[g, 1], faces[g, 2] = d, b, c
    rim[0], rim[1], rim[2], rim[3] = 3 * f, 3 * f + 1, 3 * g, 3 * g + 1
    _join_halves(twins, kind, rim[0], twin_ca, kind_ca)
    _join_halves(twins, kind, rim[1], twin_ad, kind_ad)
    _join_halves(twins, kind, rim[2], twin_db, kind_db)
    _join_halves(twins, kind, rim[3], twin_bc, kind_bc)
    _join_halves(twins, kind, np.int32(3 * f + 2), np.int32(3 * g + 2), np.int8(FREE))


@njit(nogil=True)
def _join_halves(twins, kind, h, twin, edge_kind):
    twins[h] = twin
    kind[h] = edge_kind
    if twin >= 0:
        twins[twin] = h
        kind[twin] = edge_kind
