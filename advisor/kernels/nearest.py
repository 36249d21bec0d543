"""The nearest facet that faces as a point of another surface does, by a tree of boxes."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.registration import foot_weights

# A node's children are 2 n + 1 and 2 n + 2, and halve its range of facets, as in ``kernels.plan_tree``.
_STACK = 128


@njit(cache=True, nogil=True)
def solid_boxes(corners, levels):
    """(2^(levels + 1) - 1, 6) least x, y, z and greatest x, y, z of every node.

    Parameters
    ----------
    corners : (m, 3, 3) float64 array
        Corners of the facets in the order of ``kernels.plan_tree.halve``.
    levels : int
    """
    leaves = 1 << levels
    count = corners.shape[0]
    box = np.empty((2 * leaves - 1, 6))
    box[:, :3] = np.inf
    box[:, 3:] = -np.inf
    start = np.empty((2 * leaves - 1, 2), np.int64)
    start[0, 0], start[0, 1] = 0, count
    for node in range(leaves - 1):
        middle = (start[node, 0] + start[node, 1]) // 2
        start[2 * node + 1, 0], start[2 * node + 1, 1] = start[node, 0], middle
        start[2 * node + 2, 0], start[2 * node + 2, 1] = middle, start[node, 1]
    for node in range(leaves - 1, 2 * leaves - 1):
        for f in range(start[node, 0], start[node, 1]):
            for k in range(3):
                for c in range(3):
                    box[node, c] = min(box[node, c], corners[f, k, c])
                    box[node, 3 + c] = max(box[node, 3 + c], corners[f, k, c])
    for node in range(leaves - 2, -1, -1):
        for c in range(3):
            box[node, c] = min(box[2 * node + 1, c], box[2 * node + 2, c])
            box[node, 3 + c] = max(box[2 * node + 1, 3 + c], box[2 * node + 2, 3 + c])
    return box


@njit(nogil=True)
def _to_node(x, y, z, box, node):
    d0 = max(box[node, 0] - x, x - box[node, 3], 0.0)
    d1 = max(box[node, 1] - y, y - box[node, 4], 0.0)
    d2 = max(box[node, 2] - z, z - box[node, 5], 0.0)
    return d0 * d0 + d1 * d1 + d2 * d2


@njit(nogil=True)
def _square_to(x, y, z, corners, t):
    """Square of the distance of a place from triangle `t`, and the nearest point of that."""
    v, w = foot_weights(x, y, z, corners, t)
    fx = corners[t, 0, 0] + v * (corners[t, 1, 0] - corners[t, 0, 0]) + w * (corners[t, 2, 0] - corners[t, 0, 0])
    fy = corners[t, 0, 1] + v * (corners[t, 1, 1] - corners[t, 0, 1]) + w * (corners[t, 2, 1] - corners[t, 0, 1])
    fz = corners[t, 0, 2] + v * (corners[t, 1, 2] - corners[t, 0, 2]) + w * (corners[t, 2, 2] - corners[t, 0, 2])
    return (fx - x) ** 2 + (fy - y) ** 2 + (fz - z) ** 2, fx, fy, fz


@njit(nogil=True)
def _cosine(nx, ny, nz, normals, t):
    return nx * normals[t, 0] + ny * normals[t, 1] + nz * normals[t, 2]


@njit(cache=True, nogil=True)
def nearest_facing(points, directions, corners, normals, box, levels, reach, least_cosine, first, last, facet, foot):
    """Nearest facets, among those that face as the points do; the answers go into ``facet`` and ``foot``.

    Parameters
    ----------
    points, directions : (k, 3) float64 arrays
        Points that follow one another in space are answered soonest: the last answer bounds the next.
    corners, normals : (m, 3, 3), (m, 3) float64 arrays
        Facets in the order of the tree.
    box, levels
        The tree, as ``solid_boxes`` makes it.
    reach : float
        Facets further off are not seen.
    least_cosine : float
        Between the direction of a point and the normal of a facet that faces as it does; -2 for any.
    first, last : int
        The points asked.
    facet : (k,) int64 array
        Place of the facet in the tree, -1 where there is none.
    foot : (k, 3) float64 array
        Its nearest point.
    """
    leaves = 1 << levels
    node_at = np.empty(_STACK, np.int64)
    low_at = np.empty(_STACK, np.int64)
    high_at = np.empty(_STACK, np.int64)
    far_at = np.empty(_STACK, np.float64)
    before = -1
    for q in range(first, last):
        x, y, z = points[q, 0], points[q, 1], points[q, 2]
        nx, ny, nz = directions[q, 0], directions[q, 1], directions[q, 2]
        best = reach * reach
        found = -1
        if before >= 0 and _cosine(nx, ny, nz, normals, before) >= least_cosine:
            gap, fx, fy, fz = _square_to(x, y, z, corners, before)
            if gap <= best:
                best, found = gap, before
                foot[q, 0], foot[q, 1], foot[q, 2] = fx, fy, fz
        node_at[0], low_at[0], high_at[0], far_at[0] = 0, 0, corners.shape[0], _to_node(x, y, z, box, 0)
        top = 1
        while top > 0:
            top -= 1
            node, low, high = node_at[top], low_at[top], high_at[top]
            if far_at[top] > best:
                continue
            if node >= leaves - 1:
                for f in range(low, high):
                    if _cosine(nx, ny, nz, normals, f) < least_cosine:
                        continue
                    gap, fx, fy, fz = _square_to(x, y, z, corners, f)
                    if gap < best or (gap == best and found < 0):
                        best, found = gap, f
                        foot[q, 0], foot[q, 1], foot[q, 2] = fx, fy, fz
                continue
            middle = (low + high) // 2
            one = _to_node(x, y, z, box, 2 * node + 1)
            other = _to_node(x, y, z, box, 2 * node + 2)
            # the nearer half is looked into first: it comes last on the stack
            if one < other:
                node_at[top], low_at[top], high_at[top], far_at[top] = 2 * node + 2, middle, high, other
                top += 1
                node_at[top], low_at[top], high_at[top], far_at[top] = 2 * node + 1, low, middle, one
            else:
                node_at[top], low_at[top], high_at[top], far_at[top] = 2 * node + 1, low, middle, one
                top += 1
                node_at[top], low_at[top], high_at[top], far_at[top] = 2 * node + 2, middle, high, other
            top += 1
        facet[q] = found
        before = found
