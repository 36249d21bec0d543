"""A tree of boxes over facets seen from the spindle, and what lies above points."""

from __future__ import annotations

import numpy as np
from numba import njit

# A node's children are 2 n + 1 and 2 n + 2; node n of the last level is a leaf. Which facets a node holds follows from
# its place: each node's range is halved for its children, so no pointers are kept.
_STACK = 128
# Planes over facets lean no more than this (a tangent): over a wall a level box is as good.
STEEPEST_PLANE = 4.0


@njit(nogil=True)
def _select(order, key, low, high, middle):
    """Reorder ``order[low:high]`` so that what comes before ``middle`` has no larger key than what comes after."""
    high -= 1
    while low < high:
        pivot = key[order[(low + high) // 2]]
        i, j = low, high
        while i <= j:
            while key[order[i]] < pivot:
                i += 1
            while key[order[j]] > pivot:
                j -= 1
            if i <= j:
                order[i], order[j] = order[j], order[i]
                i += 1
                j -= 1
        if middle <= j:
            high = j
        elif middle >= i:
            low = i
        else:
            return


@njit(cache=True, nogil=True)
def halve(x, y, z, levels):
    """(m,) order of facets such that halving it ``levels`` times halves the part, across its longest side each time.

    Height counts as well: a facet of the underside must not share a box with one of the top that lies over it.

    Parameters
    ----------
    x, y, z : (m,) coordinates of the facets' middles
    levels : int
    """
    count = x.shape[0]
    order = np.arange(count)
    starts = np.array([0, count])
    for _ in range(levels):
        finer = np.empty(2 * starts.shape[0] - 1, np.int64)
        for n in range(starts.shape[0] - 1):
            low, high = starts[n], starts[n + 1]
            middle = (low + high) // 2
            finer[2 * n], finer[2 * n + 1] = low, middle
            if high - low < 2:
                continue
            wide, deep, tall = _side(order, x, low, high), _side(order, y, low, high), _side(order, z, low, high)
            if tall > max(wide, deep):
                _select(order, z, low, high, middle)
            elif wide >= deep:
                _select(order, x, low, high, middle)
            else:
                _select(order, y, low, high, middle)
        finer[-1] = count
        starts = finer
    return order


@njit(nogil=True)
def _side(order, key, low, high):
    least, most = key[order[low]], key[order[low]]
    for i in range(low + 1, high):
        least, most = min(least, key[order[i]]), max(most, key[order[i]])
    return most - least


@njit(nogil=True)
def node_range(node, levels, count):
    """First facet of a node, and one past its last."""
    level = 0
    while (1 << (level + 1)) - 1 <= node:
        level += 1
    place = node - ((1 << level) - 1)
    low, high = 0, count
    for bit in range(level - 1, -1, -1):
        middle = (low + high) // 2
        if (place >> bit) & 1:
            low = middle
        else:
            high = middle
    return low, high


@njit(cache=True, nogil=True)
def boxes(corners, levels):
    """(2^(levels + 1) - 1, 9) low x, low y, high x, high y, top z of every node, and a plane above all its facets.

    The plane is ``z = gx x + gy y + e``, by least squares through the corners and lifted; gx, gy, e and, last, the
    root ``sqrt(1 + gx^2 + gy^2)``.

    Parameters
    ----------
    corners : (m, 3, 3) corners of the facets in the order of ``halve``
    levels : int
    """
    leaves = 1 << levels
    box = np.empty((2 * leaves - 1, 9))
    box[:, :2] = np.inf
    box[:, 2:5] = -np.inf
    box[:, 5:8] = 0.0
    box[:, 8] = 1.0
    for node in range(leaves - 1, 2 * leaves - 1):
        low, high = node_range(node, levels, corners.shape[0])
        for f in range(low, high):
            for k in range(3):
                x, y, z = corners[f, k, 0], corners[f, k, 1], corners[f, k, 2]
                box[node, 0], box[node, 1] = min(box[node, 0], x), min(box[node, 1], y)
                box[node, 2], box[node, 3] = max(box[node, 2], x), max(box[node, 3], y)
                box[node, 4] = max(box[node, 4], z)
    for node in range(leaves - 2, -1, -1):
        for child in (2 * node + 1, 2 * node + 2):
            for c in range(2):
                box[node, c] = min(box[node, c], box[child, c])
            for c in range(2, 5):
                box[node, c] = max(box[node, c], box[child, c])
    for node in range(2 * leaves - 1):
        low, high = node_range(node, levels, corners.shape[0])
        if high > low:
            _add_plane(corners, low, high, box[node])
    return box


@njit(nogil=True)
def _add_plane(corners, low, high, b):
    """Write into ``b[5:]`` a plane above facets `low` to `high` of a box."""
    mx, my, top = 0.5 * (b[0] + b[2]), 0.5 * (b[1] + b[3]), b[4]
    n, sx, sy, sz, xx, xy, yy, xz, yz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for f in range(low, high):
        for k in range(3):
            x, y, z = corners[f, k, 0] - mx, corners[f, k, 1] - my, corners[f, k, 2] - top
            n += 1.0
            sx, sy, sz = sx + x, sy + y, sz + z
            xx, xy, yy, xz, yz = xx + x * x, xy + x * y, yy + y * y, xz + x * z, yz + y * z
    xx, xy, yy = xx - sx * sx / n, xy - sx * sy / n, yy - sy * sy / n
    xz, yz = xz - sx * sz / n, yz - sy * sz / n
    det = xx * yy - xy * xy
    gx, gy = 0.0, 0.0
    if det > 1e-12 * (xx + yy) ** 2:
        gx, gy = (xz * yy - yz * xy) / det, (yz * xx - xz * xy) / det
        steep = np.sqrt(gx * gx + gy * gy) / STEEPEST_PLANE
        if steep > 1.0:
            gx, gy = gx / steep, gy / steep
    highest = -np.inf
    for f in range(low, high):
        for k in range(3):
            highest = max(highest, corners[f, k, 2] - gx * (corners[f, k, 0] - mx) - gy * (corners[f, k, 1] - my))
    b[5], b[6], b[7] = gx, gy, highest - gx * mx - gy * my
    b[8] = np.sqrt(1.0 + gx * gx + gy * gy)


@njit(nogil=True)
def height_above(corner, x, y):
    """Height at which a vertical line meets a facet, -inf where it passes by."""
    ax, ay = corner[0, 0] - x, corner[0, 1] - y
    bx, by = corner[1, 0] - x, corner[1, 1] - y
    cx, cy = corner[2, 0] - x, corner[2, 1] - y
    u, v, w = bx * cy - cx * by, cx * ay - ax * cy, ax * by - bx * ay
    total = u + v + w
    if total == 0.0 or (min(u, v, w) < 0.0 and max(u, v, w) > 0.0):
        return -np.inf
    return (u * corner[0, 2] + v * corner[1, 2] + w * corner[2, 2]) / total


@njit(cache=True, nogil=True)
def is_covered(point, corners, box, levels):
    """(k,) whether a facet lies straight above each point.

    Parameters
    ----------
    point : (k, 3) points in the frame of the tree
    corners, box, levels : the tree, as ``halve`` and ``boxes`` make it
    """
    leaves = 1 << levels
    covered = np.zeros(point.shape[0], np.bool_)
    stack = np.empty((_STACK, 3), np.int64)
    for q in range(point.shape[0]):
        x, y, z = point[q, 0], point[q, 1], point[q, 2]
        stack[0] = 0, 0, corners.shape[0]
        top = 1
        while top > 0 and not covered[q]:
            top -= 1
            node, low, high = stack[top]
            b = box[node]
            if x < b[0] or x > b[2] or y < b[1] or y > b[3] or z >= b[4]:
                continue
            if node >= leaves - 1:
                for f in range(low, high):
                    if height_above(corners[f], x, y) > z:
                        covered[q] = True
                        break
            else:
                middle = (low + high) // 2
                stack[top] = 2 * node + 1, low, middle
                stack[top + 1] = 2 * node + 2, middle, high
                top += 2
    return covered
