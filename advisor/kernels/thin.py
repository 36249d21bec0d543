"""Chains of points thinned: the longest chords that stay near what they leave out."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True, inline="always")
def _off2(place, i, j, m):
    """Square of the distance of point m from the chord between points i and j."""
    ux, uy, uz = place[j, 0] - place[i, 0], place[j, 1] - place[i, 1], place[j, 2] - place[i, 2]
    vx, vy, vz = place[m, 0] - place[i, 0], place[m, 1] - place[i, 1], place[m, 2] - place[i, 2]
    length2 = ux * ux + uy * uy + uz * uz
    t = 0.0
    if length2 > 0.0:
        t = min(max((ux * vx + uy * vy + uz * vz) / length2, 0.0), 1.0)
    vx, vy, vz = vx - t * ux, vy - t * uy, vz - t * uz
    return vx * vx + vy * vy + vz * vz


@njit(nogil=True)
def _holds(contact, centre, i, j, limit2):
    """Whether all points between two lie near the chords of contact and centre."""
    for m in range(i + 1, j):  # noqa: SIM110 (numba knows no generators)
        if _off2(centre, i, j, m) > limit2 or _off2(contact, i, j, m) > limit2:
            return False
    return True


@njit(nogil=True)
def _is_corner(centre, first, last, m, limit2, least_cosine):
    """Whether the way of the centre turns at a point, seen from where it is further off than the tolerance."""
    i, j = m - 1, m + 1
    while i >= first and _off2(centre, i, i, m) <= limit2:
        i -= 1
    while j <= last and _off2(centre, j, j, m) <= limit2:
        j += 1
    if i < first or j > last:
        return False
    dot, one2, two2 = 0.0, 0.0, 0.0
    for x in range(3):
        one, two = centre[m, x] - centre[i, x], centre[j, x] - centre[m, x]
        dot, one2, two2 = dot + one * two, one2 + one * one, two2 + two * two
    return dot < least_cosine * np.sqrt(one2 * two2)


@njit(nogil=True)
def _next_fixed(centre, start, last, furthest, first, limit2, least_cosine):
    """The next point that must stay."""
    m = start + 1
    while m < last and m != furthest and not _is_corner(centre, first, last, m, limit2, least_cosine):
        m += 1
    return m


@njit(cache=True, nogil=True)
def thin(contact, centre, starts, is_closed, begin, end, tolerance, least_cosine, stays):
    """Mark the points of chains that stay.

    From each point that stays the next is looked for in leaps that double and then halve: every point is asked a few
    times, however long the chord.

    Parameters
    ----------
    contact, centre : (k, 3) float arrays
        Two polylines of one chain; both keep near their chords.
    starts : (p + 1,) int64 array
    is_closed : (p,) bool array
    begin, end : int
        Chains to work on.
    tolerance : float
    least_cosine : float
        Of the turn at a corner, which stays.
    stays : (k,) bool array, written
    """
    limit2 = tolerance * tolerance
    for c in range(begin, end):
        first, last = starts[c], starts[c + 1] - 1
        if last < first:
            continue
        furthest: int | np.int64 = np.int64(-1)
        if is_closed[c]:  # or else a small loop would shrink to a point
            most = -1.0
            for m in range(first + 1, last):
                off2 = _off2(centre, first, first, m) + _off2(contact, first, first, m)
                if off2 > most:
                    most, furthest = off2, m
        stays[first] = True
        i = first
        while i < last:
            fixed = _next_fixed(centre, i, last, furthest, first, limit2, least_cosine)
            while i < fixed:
                good, leap = i + 1, 2
                bad = fixed + 1
                while good < fixed:
                    j = min(i + leap, fixed)
                    if not _holds(contact, centre, i, j, limit2):
                        bad = j
                        break
                    good, leap = j, 2 * leap
                while bad - good > 1 and bad <= fixed:
                    j = (good + bad) // 2
                    if _holds(contact, centre, i, j, limit2):
                        good = j
                    else:
                        bad = j
                stays[good] = True
                i = good
