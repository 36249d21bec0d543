"""Values at facets that grow no faster than a given rate along the surface: the smaller ones hold the larger down."""

from __future__ import annotations

import numpy as np
from numba import njit

# A gain below this share of a value goes no further.
_LEAST_GAIN = 1e-4


@njit(cache=True, nogil=True)
def slow_growth(vertices, faces, corner_start, corners, value, rate):
    """Values of facets, lowered where they grow faster over edges than the rate.

    Work grows with the facets and with those that are held down.

    Parameters
    ----------
    vertices : (n, 3) float64 array
    faces : (m, 3) int32 array
    corner_start, corners : arrays
        Corners of each vertex: see ``sectors.corners_by_sector``.
    value : (m,) float64 array, above 0
    rate : float
        A mm.

    Returns
    -------
    value : (m,) float64 array
    """
    n = vertices.shape[0]
    least = np.full(n, np.inf)
    for f in range(faces.shape[0]):
        for k in range(3):
            least[faces[f, k]] = min(least[faces[f, k]], value[f])
    waits = np.ones(n, np.bool_)
    queue = np.arange(n).astype(np.int32)
    first, count = 0, n
    while count > 0:
        v = queue[first]
        first = (first + 1) % n
        count -= 1
        waits[v] = False
        for i in range(corner_start[v], corner_start[v + 1]):
            f, k = corners[i] // 3, corners[i] % 3
            for j in range(1, 3):
                w = faces[f, (k + j) % 3]
                length = 0.0
                for axis in range(3):
                    length += (vertices[w, axis] - vertices[v, axis]) ** 2
                grown = least[v] + rate * np.sqrt(length)
                if grown < least[w] * (1.0 - _LEAST_GAIN):
                    least[w] = grown
                    if not waits[w]:
                        waits[w] = True
                        queue[(first + count) % n] = w
                        count += 1
    held = np.empty(value.shape[0], np.float64)
    for f in range(faces.shape[0]):
        held[f] = value[f]
        for k in range(3):
            held[f] = min(
                held[f], _grown_to_middle(vertices, least, faces[f, k], faces[f, (k + 1) % 3], faces[f], rate)
            )
    return held


@njit(nogil=True)
def _grown_to_middle(vertices, least, a, b, corners, rate):
    """Value at the middle of a facet, grown from the nearest place on an edge, where it is linear."""
    along, length2, square = 0.0, 0.0, 0.0
    for axis in range(3):
        edge = vertices[b, axis] - vertices[a, axis]
        way = (vertices[corners[0], axis] + vertices[corners[1], axis] + vertices[corners[2], axis]) / 3.0
        way -= vertices[a, axis]
        along += way * edge
        length2 += edge * edge
        square += way * way
    share = along / length2 if length2 > 0.0 else 0.0
    across = np.sqrt(max(0.0, square - share * share * length2))
    return least[a] + share * (least[b] - least[a]) + rate * across
