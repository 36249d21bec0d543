"""A mesh grows finer: which edges are too long, and facets that fall apart at given vertices on their edges.

Works on half-edges and their twins (``kernels.topology``), and hands the twins of the finer mesh on, so that many
rounds need no search for them.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.flip import FREE
from advisor.kernels.refine import split_pattern


@njit(cache=True, nogil=True)
def rim_vertices(faces, twins, count):
    """(n,) bool: vertices at ends of half-edges without a twin."""
    on_rim = np.zeros(count, np.bool_)
    for h in range(len(twins)):
        if twins[h] < 0:
            on_rim[faces[h // 3, h % 3]] = True
            on_rim[faces[h // 3, (h % 3 + 1) % 3]] = True
    return on_rim


@njit(cache=True, nogil=True)
def turnable(twins, inside, least, most, like_share):
    """(3 m,) int8 kinds for ``flip_edges``: `FREE` between facets on one side of the border and of like steps."""
    kind = np.full(len(twins), FREE + 1, np.int8)
    for h in range(len(twins)):
        if twins[h] < h:
            continue
        f, g = h // 3, twins[h] // 3
        alike = inside[f] == inside[g]
        for step in (least, most):
            alike &= abs(step[f] - step[g]) < like_share * min(step[f], step[g])
        if alike:
            kind[h] = FREE
            kind[twins[h]] = FREE
    return kind


@njit(cache=True, nogil=True)
def long_edges(vertices, faces, twins, longest, rim_share):
    """Numbers of the vertices to come in the middle of edges that are too long.

    Parameters
    ----------
    longest : (m,) float64 array
        Longest edge wanted of a facet; an edge keeps to the shorter of its two facets'.
    rim_share : float
        Facets with a vertex on a rim keep to this share of it.

    Returns
    -------
    point : (3 m,) int32 array
        From the count of vertices on, in the order of the lower half-edges; -1 for edges that stay.
    count : int
        Of new vertices.
    """
    on_rim = rim_vertices(faces, twins, len(vertices))
    m = len(faces)
    limit2 = np.empty(m, np.float64)
    for f in range(m):
        limit = longest[f]
        if on_rim[faces[f, 0]] or on_rim[faces[f, 1]] or on_rim[faces[f, 2]]:
            limit *= rim_share
        limit2[f] = limit * limit
    point = np.full(3 * m, -1, np.int32)
    count = 0
    for f in range(m):
        for k in range(3):
            h = 3 * f + k
            twin = twins[h]
            if 0 <= twin < h:
                continue
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            length2 = 0.0
            for axis in range(3):
                length2 += (vertices[b, axis] - vertices[a, axis]) ** 2
            if length2 > (limit2[f] if twin < 0 else min(limit2[f], limit2[twin // 3])):
                point[h] = len(vertices) + count
                if twin >= 0:
                    point[twin] = point[h]
                count += 1
    return point, count


@njit(cache=True, nogil=True)
def chords(faces, twins, vertex_count):
    """As ``long_edges``: vertices to come on edges that join two vertices on rims without being rims themselves."""
    on_rim = rim_vertices(faces, twins, vertex_count)
    point = np.full(len(twins), -1, np.int32)
    count = 0
    for h in range(len(twins)):
        if twins[h] > h and on_rim[faces[h // 3, h % 3]] and on_rim[faces[h // 3, (h % 3 + 1) % 3]]:
            point[h] = point[twins[h]] = vertex_count + count
            count += 1
    return point, count


@njit(cache=True, nogil=True)
def split_facets(vertices, faces, twins, point):
    """Facets fall into two, three or four at vertices on their edges.

    Parameters
    ----------
    vertices : (n, 3) float64 array
        The new vertices with the old.
    faces : (m, 3) int32 array
    twins : (3 m,) int32 array
    point : (3 m,) int32 array
        Vertex on each half-edge, the same as on its twin; -1 for none.

    Returns
    -------
    faces : (m', 3) int32 array
    twins : (3 m',) int32 array
    parent : (m',) int32 array
        The facet each new one is part of.
    """
    m = len(faces)
    parts = m
    for h in range(3 * m):
        parts += point[h] >= 0
    out = np.empty((parts, 3), np.int32)
    parent = np.empty(parts, np.int32)
    new_twins = np.full(3 * parts, -1, np.int32)
    # new half-edges along each old one: its first part and its last
    along = np.empty((3 * m, 2), np.int32)
    ids = np.empty(6, np.int32)
    pattern = np.empty((4, 3), np.int64)
    first = np.int64(0)
    for f in range(m):
        for k in range(3):
            ids[k] = faces[f, k]
            ids[3 + k] = point[3 * f + k]
        pieces = split_pattern(ids, vertices, pattern)
        for p in range(pieces):
            for k in range(3):
                out[first + p, k] = ids[pattern[p, k]]
            parent[first + p] = f
        _twins_within(pattern, pieces, first, 3 * f, along, new_twins)
        first += pieces
    for h in range(3 * m):
        twin = twins[h]
        if twin < 0:
            new_twins[along[h, 0]] = new_twins[along[h, 1]] = twin
        elif faces[h // 3, h % 3] == faces[twin // 3, twin % 3]:
            new_twins[along[h, 0]], new_twins[along[h, 1]] = along[twin, 0], along[twin, 1]
        else:
            new_twins[along[h, 0]], new_twins[along[h, 1]] = along[twin, 1], along[twin, 0]
    return out, new_twins, parent


@njit(nogil=True)
def _twins_within(pattern, pieces, first, old, along, new_twins):
    """Twins between the parts of one facet, and which of their half-edges lie on its own three."""
    for p in range(pieces):
        for k in range(3):
            h = 3 * (first + p) + k
            a, b = pattern[p, k], pattern[p, (k + 1) % 3]
            # corners are 0 to 2, and 3 + k is the vertex on edge k
            if a < 3 and (b == a + 3 or b == (a + 1) % 3):
                along[old + a, 0] = h
            if b < 3 and (a == (b + 2) % 3 + 3 or a == (b + 2) % 3):
                along[old + (b + 2) % 3, 1] = h
            for q in range(p):
                for j in range(3):
                    if pattern[q, j] == b and pattern[q, (j + 1) % 3] == a:
                        new_twins[h] = 3 * (first + q) + j
                        new_twins[3 * (first + q) + j] = h
