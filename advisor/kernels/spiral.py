"""Loops wound into a spiral: points of neighbouring loops matched, and a blend from one into the next."""

from __future__ import annotations

import numpy as np
from numba import njit

# Of the way to the next loop: what is left is rounding.
_ALL_DONE = 0.99


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


@njit(nogil=True, inline="always")
def _apart2(point, i, j):
    x, y, z = point[i, 0] - point[j, 0], point[i, 1] - point[j, 1], point[i, 2] - point[j, 2]
    return x * x + y * y + z * z


@njit(nogil=True)
def _next_match(point, i, j, last_i, last_j):
    """The pair after a pair of matched points: one of them goes on or both, so that they stay nearest to each other."""
    if j == last_j:
        return i + 1, j
    if i == last_i:
        return i, j + 1
    both, one, other = _apart2(point, i + 1, j + 1), _apart2(point, i + 1, j), _apart2(point, i, j + 1)
    if both <= one and both <= other:
        return i + 1, j + 1
    return (i + 1, j) if one <= other else (i, j + 1)


@njit(cache=True, nogil=True)
def wound(point, starts, first, last, ramp, least_ramp, widest):
    """A run of loops as one spiral: the first loop whole, a ramp to each of the others, the last one whole.

    Points of each loop and the next are matched so that they stay near to each other. How much of the way to the next
    loop is done at a point of the first is told by the length run; each further loop takes that from the loop before,
    point by point: what is done where that passes it by, and less where that got too steep. So no turn is further from
    the one before than the loops are.

    Parameters
    ----------
    point : (q, 3) float64 array
        Points of loops that all begin near each other and run the same way; the last of each repeats the first.
    starts : (p + 1,) int64 array
    first, last : int
        The first loop and the one after the last.
    ramp : float
        Length of the first ramp, less than that of the first loop.
    least_ramp : float
        Ramps are nowhere steeper than one this long.
    widest : float
        Matched points of ramps are no further apart: the spiral ends before a loop of which some are, or on which the
        ramp does not end.

    Returns
    -------
    pair : (k, 2) int64 array
        Rows of points between which each point of the spiral lies.
    share : (k,) float64 array
        Of the way from the first to the second.
    turns : (t,) int64 array
        Where each loop begins in these: t loops were wound.
    """
    size = 3 * (starts[last] - starts[first])
    pair, share, filled = np.empty((size, 2), np.int64), np.zeros(size), 0
    turns, wounds = np.zeros(last - first, np.int64), 1
    done, along = np.ones(point.shape[0]), 0.0
    for i in range(starts[first], starts[first + 1]):
        if i > starts[first]:
            along += np.sqrt(_apart2(point, i - 1, i))
        done[i] = min(along / ramp, 1.0)
        pair[filled] = i
        filled += 1
    for p in range(first, last - 1):
        if done[starts[p + 1] - 1] < 1.0:
            break
        before = filled
        i, j, last_i, last_j = starts[p], starts[p + 1], starts[p + 1] - 1, starts[p + 2] - 1
        fits, nearest = _apart2(point, i, j) <= widest * widest, i
        while fits and (i < last_i or j < last_j):
            next_i, next_j = _next_match(point, i, j, last_i, last_j)
            if next_j > j:
                beside = _done_beside(point, done, j, nearest, starts[p], last_i)
                done[j] = _not_too_steep(point, done, j, starts[p + 1], beside, least_ramp)
                nearest = next_i
            # on the next loop its own points are enough
            is_new = done[next_i] < 1.0 or next_j > j or done[i] < 1.0
            i, j = next_i, next_j
            # round a corner of the loop the way comes near again: what is done before it counts
            if i == nearest + 1 and _apart2(point, i, j) < _apart2(point, nearest, j):
                nearest = i
            fits = done[i] >= 1.0 or _apart2(point, i, j) <= widest * widest
            if is_new:
                pair[filled, 0], pair[filled, 1], share[filled] = i, j, done[i]
                filled += 1
        done[j] = _not_too_steep(point, done, j, starts[p + 1], done[i], least_ramp)
        if not fits:
            filled = before
            break
        turns[wounds] = before
        wounds += 1
    for i in range(starts[first + wounds - 1] + 1, starts[first + wounds]):
        if wounds == 1 or done[i - 1] >= 1.0:
            break
        pair[filled], share[filled] = i, 0.0
        filled += 1
    return pair[:filled].copy(), share[:filled].copy(), turns[:wounds].copy()


@njit(nogil=True)
def _done_beside(point, done, j, nearest, first, last):
    """What is done where a loop passes a point j by: beside the nearest of its points, on the straight ways there."""
    found, least = done[nearest], _apart2(point, nearest, j)
    for begin in range(max(nearest - 1, first), min(nearest + 1, last)):
        along = 0.0
        for axis in range(3):
            along += (point[j, axis] - point[begin, axis]) * (point[begin + 1, axis] - point[begin, axis])
        size = _apart2(point, begin, begin + 1)
        if 0.0 < along < size:
            apart = _apart2(point, begin, j) - along * along / size
            if apart < least:
                least = apart
                found = done[begin] + along / size * (done[begin + 1] - done[begin])
    return found


@njit(nogil=True, inline="always")
def _not_too_steep(point, done, j, first, given, least_ramp):
    """What is done at a point of a loop, given what is at its matches: no more than the ramp allows from the last."""
    if j == first:
        return 0.0
    most = min(given, done[j - 1] + np.sqrt(_apart2(point, j - 1, j)) / least_ramp)
    return 1.0 if most > _ALL_DONE else most
