"""Which passes of a family lie beside which: samples of them, sorted by cubes, look for those of other levels."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.near_segments import first_at_least
from advisor.kernels.read_only import reads

# Samples of a pass that look for its neighbours, at most.
_ASKED = 16


@njit(nogil=True, inline="always")
def _apart2(point, i, other, j):
    x, y, z = point[i, 0] - other[j, 0], point[i, 1] - other[j, 1], point[i, 2] - other[j, 2]
    return x * x + y * y + z * z


@njit(cache=True, nogil=True)
def samples(contact, normal, starts, spacing):
    """Places along passes, evenly, no further apart than `spacing`: point, normal, and direction of the pass.

    Parameters
    ----------
    contact, normal : (k, 3) float64 arrays
    starts : (p + 1,) int64 array
    spacing : float

    Returns
    -------
    place, normals, along : (q, 3) float64 arrays
    first : (p + 1,) int64 array
        First sample of each pass.
    """
    count = starts.shape[0] - 1
    length, first = np.zeros(count), np.zeros(count + 1, np.int64)
    for p in range(count):
        for i in range(starts[p], starts[p + 1] - 1):
            length[p] += np.sqrt(_apart2(contact, i + 1, contact, i))
        first[p + 1] = first[p] + int(np.ceil(length[p] / spacing)) + 1
    place, normals, along = np.zeros((first[count], 3)), np.zeros((first[count], 3)), np.zeros((first[count], 3))
    for p in range(count):
        i, last = starts[p], starts[p + 1] - 1
        passed, here, many = 0.0, 0.0, first[p + 1] - first[p]
        if i < last:
            here = np.sqrt(_apart2(contact, i + 1, contact, i))
        for s in range(many):
            at = length[p] * (s / (many - 1) if many > 1 else 0.0)
            while i < last - 1 and passed + here < at:
                passed += here
                i += 1
                here = np.sqrt(_apart2(contact, i + 1, contact, i))
            j, share = min(i + 1, last), 0.0
            if here > 0.0:
                share = min(max((at - passed) / here, 0.0), 1.0)
            for k in range(3):
                place[first[p] + s, k] = (1.0 - share) * contact[i, k] + share * contact[j, k]
                normals[first[p] + s, k] = (1.0 - share) * normal[i, k] + share * normal[j, k]
                if here > 0.0:
                    along[first[p] + s, k] = (contact[j, k] - contact[i, k]) / here
    return place, normals, along, first


@njit(cache=True, nogil=True)
def cells(place, low, reach, size):
    """(q,) number of the cube of side `reach` that each place lies in, counted along z, then y, then x."""
    code = np.empty(place.shape[0], np.int64)
    for s in range(place.shape[0]):
        x, y = int((place[s, 0] - low[0]) / reach), int((place[s, 1] - low[1]) / reach)
        code[s] = (x * size[1] + y) * size[2] + int((place[s, 2] - low[2]) / reach)
    return code


@njit(nogil=True, inline="always")
def _dot(vector, i, j):
    return vector[i, 0] * vector[j, 0] + vector[i, 1] * vector[j, 1] + vector[i, 2] * vector[j, 2]


@njit(nogil=True)
def _to_the_right(place, along, normals, s, t):
    """How far sample t lies on the right of the pass at sample s, along the surface: direction x normal."""
    x, y, z = place[t, 0] - place[s, 0], place[t, 1] - place[s, 1], place[t, 2] - place[s, 2]
    ax, ay, az = along[s, 0], along[s, 1], along[s, 2]
    nx, ny, nz = normals[s, 0], normals[s, 1], normals[s, 2]
    return x * (ay * nz - az * ny) + y * (az * nx - ax * nz) + z * (ax * ny - ay * nx)


@njit(cache=True, nogil=True)
def owners(first):
    """(q,) pass that each sample is of."""
    owner = np.empty(first[first.shape[0] - 1], np.int64)
    for p in range(first.shape[0] - 1):
        for s in range(first[p], first[p + 1]):
            owner[s] = p
    return owner


@njit(nogil=True)
def _look(place, normals, s, level, levels, order, begin, end, owner, kind, wants, reach2, best, gap_of, square):
    """Update the samples found below and above sample s by those of one cell, which stand by their levels."""
    low, high = begin, end
    while low < high:
        middle = (low + high) // 2
        if levels[middle] < level:
            low = middle + 1
        else:
            high = middle
    for side in range(2):
        at = low - 1 if side == 0 else low
        while begin <= at < end:
            gap = abs(levels[at] - level)
            if gap > gap_of[side]:
                break
            t = order[at]
            if gap > 0 and kind[owner[t]] == wants:
                apart = _apart2(place, t, place, s)
                if apart <= reach2 and (gap < gap_of[side] or apart < square[side]) and _dot(normals, t, s) > 0.0:
                    best[side], gap_of[side], square[side] = t, gap, apart
            at += 2 * side - 1


@reads(6)
@njit(cache=True, nogil=True)
def neighbours(place, normals, along, first, owner, level, kind, wanted, low, reach, size, order, levels, cell, begins):
    """Of samples of each pass: the pass of the nearest level below, and above, that comes within `reach` of them.

    Of one level the nearest counts. Surfaces that face apart (two sides of a rib) are no neighbours.

    Parameters
    ----------
    place, normals, along, first : of ``samples``
    owner : (q,) int64 array of ``owners``
    level : (p,) int32 array
    kind, wanted : (p,) bool arrays
        A pass finds those of the kind it wants.
    low, reach, size : what ``cells`` was given, `size` with a cell to spare all round
    order : (q,) int64 array
        Samples in the order of their cells, then of their levels.
    levels : (q,) int32 array
        Their levels, in that order.
    cell : (c,) int64 array
        The cells that hold any, ascending.
    begins : (c + 1,) int64 array
        Where in the order each begins.

    Returns
    -------
    pair : (r, 2) int64 array
        Passes beside each other, that of the lower level first; repeated.
    right : (p, 2) float64 array
        How far the lower, and the upper, neighbours lie on the right of a pass rather than on its left, -1 to 1.
    """
    count, found = level.shape[0], 0
    pair, right = np.empty((2 * _ASKED * count, 2), np.int64), np.zeros((count, 2))
    best, gap_of, square, votes = np.empty(2, np.int64), np.empty(2, np.int64), np.empty(2), np.zeros(2)
    for p in range(count):
        many = first[p + 1] - first[p]
        asked = min(many, _ASKED)
        votes[0] = votes[1] = 0.0
        for n in range(asked):
            s = first[p] + n * (many - 1) // max(asked - 1, 1)
            for side in range(2):
                best[side], gap_of[side], square[side] = -1, 1 << 40, np.inf
            x, y = int((place[s, 0] - low[0]) / reach), int((place[s, 1] - low[1]) / reach)
            z = int((place[s, 2] - low[2]) / reach)
            for column in range(9):
                row = ((x + column // 3 - 1) * size[1] + y + column % 3 - 1) * size[2] + z
                c = first_at_least(cell, row - 1)
                while c < cell.shape[0] and cell[c] <= row + 1:
                    _look(
                        place, normals, s, level[p], levels, order, begins[c], begins[c + 1], owner, kind, wanted[p],
                        reach * reach, best, gap_of, square,
                    )  # fmt: skip
                    c += 1
            for side in range(2):
                t = best[side]
                if t < 0:
                    continue
                pair[found, side], pair[found, 1 - side] = owner[t], p
                found += 1
                if square[side] > 0.0:
                    right[p, side] += _to_the_right(place, along, normals, s, t) / np.sqrt(square[side])
                    votes[side] += 1.0
        for side in range(2):
            if votes[side] > 0.0:
                right[p, side] /= votes[side]
    return pair[:found].copy(), right
