"""Laying one piece of a surface on another: measures of labelled facets, and the nearest facet that faces alike."""

from __future__ import annotations

import numpy as np
from numba import njit

BLOCK = 8  # pieces a box is drawn round, and boxes a larger box is drawn round
PADDING = BLOCK * BLOCK


@njit(cache=True, nogil=True)
def moments_by_label(vertices, faces, area, normal, label, count):
    """Sums over the facets of each label that a turn about Z changes in a known way.

    Parameters
    ----------
    vertices : (n, 3) float64 array
        Z along the tool axis.
    faces : (m, 3) int array
    area : (m,) float64 array
    normal : (m, 3) float64 array
    label : (m,) int array
    count : int

    Returns
    -------
    sums : (count, 13) float64 array
        Area; area times place x, y, z; area times products xx, yy, zz, xy (exact over each triangle: the mean of
        a product is that at the corners and three times the middle, (sum of v v + s s) / 12 with s their sum); area
        times the unit normal's z and its square; area vector x, y, z.
    """
    sums = np.zeros((count, 13), np.float64)
    for f in range(faces.shape[0]):
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        w = area[f]
        x, y, z = a[0] + b[0] + c[0], a[1] + b[1] + c[1], a[2] + b[2] + c[2]
        row = sums[label[f]]
        row[0] += w
        row[1] += w * x / 3.0
        row[2] += w * y / 3.0
        row[3] += w * z / 3.0
        row[4] += w * (a[0] * a[0] + b[0] * b[0] + c[0] * c[0] + x * x) / 12.0
        row[5] += w * (a[1] * a[1] + b[1] * b[1] + c[1] * c[1] + y * y) / 12.0
        row[6] += w * (a[2] * a[2] + b[2] * b[2] + c[2] * c[2] + z * z) / 12.0
        row[7] += w * (a[0] * a[1] + b[0] * b[1] + c[0] * c[1] + x * y) / 12.0
        row[8] += w * normal[f, 2]
        row[9] += w * normal[f, 2] * normal[f, 2]
        for k in range(3):
            row[10 + k] += w * normal[f, k]
    return sums


@njit(cache=True, nogil=True)
def farthest_by_label(vertices, faces, label, middle):
    """(count,) distance of the furthest corner of each label from its (count, 3) middle."""
    far = np.zeros(middle.shape[0], np.float64)
    for f in range(faces.shape[0]):
        centre = middle[label[f]]
        for k in range(3):
            v = vertices[faces[f, k]]
            d = (v[0] - centre[0]) ** 2 + (v[1] - centre[1]) ** 2 + (v[2] - centre[2]) ** 2
            far[label[f]] = max(far[label[f]], d)
    return np.sqrt(far)


@njit(nogil=True)
def _to_box(x, y, z, box, i):
    d0 = max(box[i, 0, 0] - x, x - box[i, 1, 0], 0.0)
    d1 = max(box[i, 0, 1] - y, y - box[i, 1, 1], 0.0)
    d2 = max(box[i, 0, 2] - z, z - box[i, 1, 2], 0.0)
    return d0 * d0 + d1 * d1 + d2 * d2


@njit(nogil=True)
def foot_weights(x, y, z, corners, t):
    """Weights of the second and third corner of triangle `t` at its point nearest to a place.

    By the regions of its corners, edges and inside (C. Ericson, Real-Time Collision Detection, 2005, section 5.1.5;
    from memory). A segment may be given as a triangle with its last corner twice.
    """
    d1, d2, d3, d4, d5, d6 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(3):
        a, b, c = corners[t, 0, k], corners[t, 1, k], corners[t, 2, k]
        p = x if k == 0 else (y if k == 1 else z)
        d1 += (b - a) * (p - a)
        d2 += (c - a) * (p - a)
        d3 += (b - a) * (p - b)
        d4 += (c - a) * (p - b)
        d5 += (b - a) * (p - c)
        d6 += (c - a) * (p - c)
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    if d1 <= 0.0 and d2 <= 0.0:
        return 0.0, 0.0
    if d3 >= 0.0 and d4 <= d3:
        return 1.0, 0.0
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        return d1 / (d1 - d3), 0.0
    if d6 >= 0.0 and d5 <= d6:
        return 0.0, 1.0
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        return 0.0, d2 / (d2 - d6)
    if va <= 0.0 and d4 >= d3 and d5 >= d6:
        w = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        return 1.0 - w, w
    return vb / (va + vb + vc), vc / (va + vb + vc)


@njit(cache=True, nogil=True)
def nearest_alike(
    points, directions, corners, normals, box, large_box, first, last, reach, least_cosine, may_miss, foot
):
    """Nearest pieces to points: of those that face as the point does, or else of all.

    Parameters
    ----------
    points, directions : (k, 3) float64 arrays
    corners : (p, 3, 3), normals : (p, 3) float64 arrays
        Triangles (or segments, their last corner twice) and their directions.
    box, large_box : (p / 8, 2, 3), (p / 64, 2, 3) float64 arrays
        Least and greatest corner of every 8 and every 64 pieces.
    first, last : int
        The pieces asked, multiples of 64.
    reach : float
        Farther pieces are not seen.
    least_cosine : float
        Between the direction of a point and that of a piece that faces as it does.
    may_miss : bool
        Otherwise the search ends at the first point that finds nothing.
    foot : (k, 3) float64 array
        Takes the nearest point of the piece that faces alike, where there is one.

    Returns
    -------
    distance : (k,) float64 array, infinite where nothing was found
    alike : (k,) int64 array
        The piece, where one faces as the point does; -1 elsewhere.
    """
    distance = np.empty(points.shape[0], np.float64)
    alike = np.empty(points.shape[0], np.int64)
    distance[:] = np.inf
    alike[:] = -1
    for i in range(points.shape[0]):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        best, best_of_all = reach * reach, np.inf
        for large in range(first // PADDING, last // PADDING):
            if _to_box(x, y, z, large_box, large) > best:
                continue
            for small in range(BLOCK * large, BLOCK * (large + 1)):
                if _to_box(x, y, z, box, small) > best:
                    continue
                for t in range(BLOCK * small, BLOCK * (small + 1)):
                    cosine = 0.0
                    for k in range(3):
                        cosine += directions[i, k] * normals[t, k]
                    if cosine < least_cosine and alike[i] >= 0:
                        continue
                    v, w = foot_weights(x, y, z, corners, t)
                    gap = 0.0
                    for k in range(3):
                        a = corners[t, 0, k]
                        gap += (a + v * (corners[t, 1, k] - a) + w * (corners[t, 2, k] - a) - points[i, k]) ** 2
                    if cosine < least_cosine:
                        if gap <= reach * reach and gap < best_of_all:
                            best_of_all = gap
                    elif gap < best or (gap == best and alike[i] < 0):
                        best = gap
                        alike[i] = t
                        for k in range(3):
                            a = corners[t, 0, k]
                            foot[i, k] = a + v * (corners[t, 1, k] - a) + w * (corners[t, 2, k] - a)
        if alike[i] >= 0:
            distance[i] = np.sqrt(best)
        elif best_of_all < np.inf:
            distance[i] = np.sqrt(best_of_all)
        elif not may_miss:
            break
    return distance, alike
