"""Loops wound into a spiral: points of neighbouring loops matched, and a blend from one into the next."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def divided(point, starts, longest):
    """Rows of the points of chains and shares of the way to the next row, none further apart than `longest`.

    Returns
    -------
    row : (q,) int64 array
    share : (q,) float64 array
    begins : (p + 1,) int64 array
    """
    count, total = starts.shape[0] - 1, 0
    pieces = np.ones(point.shape[0], np.int64)
    for p in range(count):
        for i in range(starts[p], starts[p + 1] - 1):
            way = np.sqrt(_apart2(point, i, i + 1))
            pieces[i] = max(1, int(np.ceil(way / longest)))
            total += pieces[i]
        total += 1
    row, share, begins = np.empty(total, np.int64), np.empty(total), np.zeros(count + 1, np.int64)
    filled = 0
    for p in range(count):
        for i in range(starts[p], starts[p + 1]):
            many = pieces[i] if i < starts[p + 1] - 1 else 1
            for k in range(many):
                row[filled], share[filled] = i, k / many
                filled += 1
        begins[p + 1] = filled
    return row, share, begins


@njit(cache=True, nogil=True, inline="always")
def _apart2(point, i, j):
    x, y, z = point[i, 0] - point[j, 0], point[i, 1] - point[j, 1], point[i, 2] - point[j, 2]
    return x * x + y * y + z * z


@njit(cache=True, nogil=True)
def matched_apart(point, starts, takes):
    """(p - 1,) greatest distance of matched points of each chain and the next; inf where it is not asked for."""
    out = np.full(takes.shape[0], np.inf)
    for p in range(takes.shape[0]):
        if not takes[p]:
            continue
        i, j, most = starts[p], starts[p + 1], 0.0
        while True:
            most = max(most, _apart2(point, i, j))
            if i == starts[p + 1] - 1 and j == starts[p + 2] - 1:
                break
            i, j = _next_match(point, i, j, starts[p + 1] - 1, starts[p + 2] - 1)
        out[p] = np.sqrt(most)
    return out


@njit(cache=True, nogil=True)
def _next_match(point, i, j, last_i, last_j):
    """The pair after a pair of matched points: one of them goes on, so that they stay nearer to each other."""
    if j == last_j or (i < last_i and _apart2(point, i + 1, j) <= _apart2(point, i, j + 1)):
        return i + 1, j
    return i, j + 1


@njit(cache=True, nogil=True)
def wound(point, starts, first, last):
    """A run of loops as one spiral: the first loop whole, one turn from each loop into the next, the last loop whole.

    Parameters
    ----------
    point : (q, 3) float64 array
        Points of loops that all begin near each other and run the same way; the last of each repeats the first.
    starts : (p + 1,) int64 array
    first, last : int
        The first loop and the one after the last.

    Returns
    -------
    pair : (k, 2) int64 array
        Rows of points between which each point of the spiral lies.
    share : (k,) float64 array
        Of the way from the first to the second: what share of both loops has been run.
    """
    along = np.zeros(point.shape[0])
    for p in range(first, last):
        for i in range(starts[p] + 1, starts[p + 1]):
            along[i] = along[i - 1] + np.sqrt(_apart2(point, i - 1, i))
    size = 2 * (starts[last] - starts[first])
    pair, share, filled = np.empty((size, 2), np.int64), np.zeros(size), 0
    for i in range(starts[first], starts[first + 1]):
        pair[filled] = i
        filled += 1
    for p in range(first, last - 1):
        i, j, last_i, last_j = starts[p], starts[p + 1], starts[p + 1] - 1, starts[p + 2] - 1
        while i < last_i or j < last_j:
            i, j = _next_match(point, i, j, last_i, last_j)
            pair[filled, 0], pair[filled, 1] = i, j
            share[filled] = 0.5 * (along[i] / along[last_i] + along[j] / along[last_j])
            filled += 1
    for i in range(starts[last - 1] + 1, starts[last]):
        pair[filled] = i
        filled += 1
    return pair[:filled].copy(), share[:filled].copy()
