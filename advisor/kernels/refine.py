"""Edges are split at given points, and the facets beside them fall into two, three or four."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads

FROZEN_EDGE = -3  # twin of a half-edge that must not be split: the mesh goes on behind it


@reads(0, 1, 2, 3)
@njit(cache=True, nogil=True)
def split_edges(vertices, faces, corner_normal, twins, at):
    """Split edges; facets with split edges become two to four.

    Parameters
    ----------
    vertices : (n, 3) float64 array
    faces : (m, 3) int32 array
    corner_normal : (m, 3, 3) float64 array
        Interpolated linearly, not normalised, so that the field of a facet's parts is the facet's.
    twins : (3 m,) int32 array
    at : (3 m,) float64 array
        Place of the split along each half-edge, NaN for none. Where both sides of an edge ask, the lower
        half-edge decides.

    Returns
    -------
    vertices, faces, corner_normal : arrays of the refined mesh
    parent : (m',) int32 array
        The facet each new one is part of.
    """
    count = 3 * faces.shape[0]
    point = np.full(count, -1, np.int32)
    place = np.empty(count, np.float64)
    added = 0
    for h in range(count):
        if np.isnan(at[h]) or twins[h] == FROZEN_EDGE or point[h] >= 0:
            continue
        point[h] = vertices.shape[0] + added
        place[h] = at[h]
        if twins[h] >= 0:
            point[twins[h]] = point[h]
            same_way = faces[h // 3, h % 3] == faces[twins[h] // 3, twins[h] % 3]
            place[twins[h]] = at[h] if same_way else 1.0 - at[h]
        added += 1
    new_vertices = np.empty((vertices.shape[0] + added, 3), np.float64)
    for v in range(vertices.shape[0]):
        for axis in range(3):
            new_vertices[v, axis] = vertices[v, axis]
    parts = np.int64(0)
    for f in range(faces.shape[0]):
        parts += 1
        for k in range(3):
            h = 3 * f + k
            if point[h] >= 0:
                parts += 1
                a, b, t = vertices[faces[f, k]], vertices[faces[f, (k + 1) % 3]], place[h]
                if twins[h] < 0 or h < twins[h]:
                    for axis in range(3):
                        new_vertices[point[h], axis] = a[axis] + t * (b[axis] - a[axis])
    return _fill_parts(new_vertices, faces, corner_normal, point, place, parts)


@njit(nogil=True)
def _fill_parts(vertices, faces, corner_normal, point, place, parts):
    out_faces = np.empty((parts, 3), np.int32)
    out_normal = np.empty((parts, 3, 3), np.float64)
    parent = np.empty(parts, np.int32)
    ids = np.empty(6, np.int32)  # corners 0..2, split points 3..5 (3 + k on edge k)
    normal = np.empty((6, 3), np.float64)
    pattern = np.empty((4, 3), np.int64)
    out = 0
    for f in range(faces.shape[0]):
        for k in range(3):
            ids[k] = faces[f, k]
            for axis in range(3):
                normal[k, axis] = corner_normal[f, k, axis]
        for k in range(3):
            ids[3 + k] = point[3 * f + k]
            if ids[3 + k] >= 0:
                t = place[3 * f + k]
                for axis in range(3):
                    normal[3 + k, axis] = (1 - t) * normal[k, axis] + t * normal[(k + 1) % 3, axis]
        pieces = split_pattern(ids, vertices, pattern)
        for p in range(pieces):
            for k in range(3):
                out_faces[out, k] = ids[pattern[p, k]]
                for axis in range(3):
                    out_normal[out, k, axis] = normal[pattern[p, k], axis]
            parent[out] = f
            out += 1
    return vertices, out_faces, out_normal, parent


@njit(nogil=True)
def split_pattern(ids, vertices, pattern):
    """Corners of the one to four parts of a facet: 0 to 2 its own, 3 + k the vertex on edge k; and how many parts.

    `ids` are the numbers of these six vertices, negative for edges without; the rows of `pattern` are filled.
    """
    splits = (ids[3] >= 0) + (ids[4] >= 0) + (ids[5] >= 0)
    if splits == 0:
        pattern[0, 0], pattern[0, 1], pattern[0, 2] = 0, 1, 2
        return 1
    if splits == 3:
        pattern[0, 0], pattern[0, 1], pattern[0, 2] = 0, 3, 5
        pattern[1, 0], pattern[1, 1], pattern[1, 2] = 3, 1, 4
        pattern[2, 0], pattern[2, 1], pattern[2, 2] = 5, 4, 2
        pattern[3, 0], pattern[3, 1], pattern[3, 2] = 3, 4, 5
        return 4
    k = 0
    if splits == 1:
        while ids[3 + k] < 0:
            k += 1
        pattern[0, 0], pattern[0, 1], pattern[0, 2] = k, 3 + k, (k + 2) % 3
        pattern[1, 0], pattern[1, 1], pattern[1, 2] = 3 + k, (k + 1) % 3, (k + 2) % 3
        return 2
    while ids[3 + k] >= 0:  # k: the whole edge; the corner across it is cut off
        k += 1
    a, b, c = k, (k + 1) % 3, (k + 2) % 3
    on_bc, on_ca = 3 + b, 3 + c
    pattern[0, 0], pattern[0, 1], pattern[0, 2] = on_bc, c, on_ca
    if _distance2(vertices, ids[a], ids[on_bc]) <= _distance2(vertices, ids[b], ids[on_ca]):
        pattern[1, 0], pattern[1, 1], pattern[1, 2] = a, b, on_bc
        pattern[2, 0], pattern[2, 1], pattern[2, 2] = a, on_bc, on_ca
    else:
        pattern[1, 0], pattern[1, 1], pattern[1, 2] = a, b, on_ca
        pattern[2, 0], pattern[2, 1], pattern[2, 2] = b, on_bc, on_ca
    return 3


@njit(nogil=True)
def _distance2(vertices, i, j):
    return (
        (vertices[i, 0] - vertices[j, 0]) ** 2
        + (vertices[i, 1] - vertices[j, 1]) ** 2
        + (vertices[i, 2] - vertices[j, 2]) ** 2
    )
