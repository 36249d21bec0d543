"""Lines on which a value given at the vertices has a level: many levels at once, each facet asked for those it spans.

A value equal to a level counts as above it, as if the level were lower by less than any difference. So a level passes
through no vertex: it enters a facet over one half-edge along which the value falls, leaves it over one along which it
rises, and never branches. What is above lies on the left of a line seen from outside. Points that come to lie on one
vertex this way are joined when the lines are laid out.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads


@reads(0)
@njit(cache=True, nogil=True)
def ranks(value, levels):
    """(n,) how many levels each value reaches; -1 where it is not finite.

    Parameters
    ----------
    value : (n,) float64 array
    levels : (l,) float64 array, ascending
    """
    rank = np.empty(value.shape[0], np.int32)
    count, last = levels.shape[0], 0
    for v in range(value.shape[0]):
        at = value[v]
        if not np.isfinite(at):
            rank[v] = -1
            continue
        # neighbours mostly lie between the same levels
        if (last == 0 or levels[last - 1] <= at) and (last == count or at < levels[last]):
            rank[v] = last
            continue
        low, high = 0, count
        while low < high:
            middle = (low + high) // 2
            if levels[middle] <= at:
                low = middle + 1
            else:
                high = middle
        rank[v] = last = low
    return rank


@reads(2)
@njit(cache=True, nogil=True)
def spans(faces, rank, takes_part, level_count):
    """First level and one past the last that cross each facet, none on facets left out, and crossings of each level.

    Parameters
    ----------
    faces : (m, 3) int32 array
    rank : (n,) int32 array of ``ranks``
    takes_part : (m,) bool array
    level_count : int

    Returns
    -------
    span : (m, 2) int32 array
    crossings : (l,) int64 array
    """
    span = np.zeros((faces.shape[0], 2), np.int32)
    change = np.zeros(level_count + 1, np.int64)
    for f in range(faces.shape[0]):
        a, b, c = rank[faces[f, 0]], rank[faces[f, 1]], rank[faces[f, 2]]
        low, high = min(a, b, c), max(a, b, c)
        if low < 0 or low == high or not takes_part[f]:
            continue
        span[f, 0], span[f, 1] = low, high
        change[low] += 1
        change[high] -= 1
    for level in range(1, level_count):
        change[level] += change[level - 1]
    return span, change[:level_count]


@njit(nogil=True)
def _beyond(faces, twins, span, h, level):
    """Facet in which a level goes on over a half-edge that it crosses, or -1.

    Where two facets are wound against each other (a one-sided surface) what is above changes sides: the line ends.
    """
    t = twins[h]
    if t < 0 or faces[t // 3, t % 3] == faces[h // 3, h % 3]:
        return -1
    return t // 3 if span[t // 3, 0] <= level < span[t // 3, 1] else -1


@njit(nogil=True)
def _comes_over_a_rim(faces, twins, rank, span, f, level):
    """Whether a level enters a facet where no other facet takes part."""
    for k in range(3):
        if rank[faces[f, k]] > level >= rank[faces[f, (k + 1) % 3]]:
            return _beyond(faces, twins, span, 3 * f + k, level) < 0
    return False


@njit(nogil=True)
def _follow(faces, twins, rank, span, first, f, level, offset, done, exits, filled):
    """Write the half-edges over which a level leaves one facet after another, until a rim or where it began."""
    while True:
        here = offset[f] + level - max(span[f, 0], first)
        if done[here]:
            return filled
        done[here] = True
        k = 0
        while not rank[faces[f, k]] <= level < rank[faces[f, k + 1 if k < 2 else 0]]:
            k += 1
        exits[filled] = 3 * f + k
        filled += 1
        f = _beyond(faces, twins, span, 3 * f + k, level)
        if f < 0:
            return filled


@njit(cache=True, nogil=True)
def trace(faces, twins, rank, span, first, last):
    """The half-edges over which levels leave facets, chain by chain, from level `first` to before level `last`.

    Parameters
    ----------
    faces : (m, 3) int32 array
    twins : (3 m,) int32 array
        See ``kernels.topology``; chains end where there is no twin, or none that takes part.
    rank : (n,) int32 array of ``ranks``
    span : (m, 2) int32 array of ``spans``
    first, last : int

    Returns
    -------
    exits : (s,) int32 array
        Half-edges along which the value rises, one a segment.
    starts : (p + 1,) int64 array
        Chain ``c`` is ``exits[starts[c]:starts[c + 1]]``.
    level : (p,) int32 array
    is_closed : (p,) bool array
    """
    count, total = faces.shape[0], 0
    offset = np.empty(count, np.int64)
    for f in range(count):
        offset[f] = total
        total += max(0, min(span[f, 1], last) - max(span[f, 0], first))
    done = np.zeros(total, np.bool_)
    exits = np.empty(total, np.int32)
    # as many chains as segments at most; pages never written take no memory
    starts, level_of, is_closed = np.empty(total + 1, np.int64), np.empty(total, np.int32), np.empty(total, np.bool_)
    filled, chains = np.int64(0), 0
    starts[0] = 0
    for closed in range(2):  # first what comes over a rim; what is left runs round
        for f in range(count):
            low, high = max(span[f, 0], first), min(span[f, 1], last)
            for level in range(low, high):
                if done[offset[f] + level - low]:
                    continue
                if closed == 0 and not _comes_over_a_rim(faces, twins, rank, span, f, level):
                    continue
                filled = _follow(faces, twins, rank, span, first, f, level, offset, done, exits, filled)
                level_of[chains], is_closed[chains] = level, closed == 1
                chains += 1
                starts[chains] = filled
    return exits, starts[: chains + 1].copy(), level_of[:chains].copy(), is_closed[:chains].copy()


@njit(nogil=True)
def _cross(vertices, value, at, low, high, out):
    """Write the place between two vertices at which the value is reached; its share of the way from the lower one."""
    share = (at - value[low]) / (value[high] - value[low])
    for k in range(3):
        out[k] = (1.0 - share) * vertices[low, k] + share * vertices[high, k]
    return share


@reads(2)
@njit(cache=True, nogil=True)
def places(vertices, faces, value, levels, exits, starts, level, is_closed):
    """Points of chains: where each enters, unless it is closed, and where it leaves each facet.

    Every place is worked out from the lower end of its edge, so that it is the same from both facets.

    Parameters
    ----------
    vertices : (n, 3) float64 array
    faces : (m, 3) int32 array
    value, levels : (n,) and (l,) float64 arrays
    exits, starts, level, is_closed : chains of ``trace``

    Returns
    -------
    point : (k, 3) float64 array
    half_edge : (k,) int32 array
    fraction : (k,) float64 array
        Share of the way along the half-edge.
    begin : (p + 1,) int64 array
        First point of each chain.
    """
    chains = level.shape[0]
    size = exits.shape[0]
    for c in range(chains):
        size += not is_closed[c]
    point, half_edge, fraction = np.empty((size, 3)), np.empty(size, np.int32), np.empty(size)
    begin = np.empty(chains + 1, np.int64)
    filled = 0
    for c in range(chains):
        begin[c] = filled
        at = levels[level[c]]
        if not is_closed[c]:
            f = exits[starts[c]] // 3
            for k in range(3):
                high, low = faces[f, k], faces[f, (k + 1) % 3]
                if value[high] >= at > value[low]:
                    half_edge[filled] = 3 * f + k
                    fraction[filled] = 1.0 - _cross(vertices, value, at, low, high, point[filled])
            filled += 1
        for s in range(starts[c], starts[c + 1]):
            f, k = exits[s] // 3, exits[s] % 3
            half_edge[filled] = exits[s]
            fraction[filled] = _cross(vertices, value, at, faces[f, k], faces[f, (k + 1) % 3], point[filled])
            filled += 1
    begin[chains] = filled
    return point, half_edge, fraction, begin


@njit(nogil=True)
def _is_before(point, base, count, i, j):
    """Whether a ring read from its place `i` comes before the same ring read from `j`."""
    for _ in range(count):
        for k in range(3):
            if point[base + i, k] != point[base + j, k]:
                return point[base + i, k] < point[base + j, k]
        i = i + 1 if i + 1 < count else 0
        j = j + 1 if j + 1 < count else 0
    return False


@njit(cache=True, nogil=True)
def beginnings(point, begin, is_closed):
    """(p,) where each chain is to begin, closed ones by their place in space, and (p, 4) that point and its length."""
    first = np.zeros(is_closed.shape[0], np.int64)
    key = np.zeros((is_closed.shape[0], 4))
    for c in range(is_closed.shape[0]):
        base, count = begin[c], begin[c + 1] - begin[c]
        if is_closed[c]:
            for i in range(1, count):
                if point[base + i, 0] <= point[base + first[c], 0] and _is_before(point, base, count, i, first[c]):
                    first[c] = i
        at = base + first[c]
        for k in range(3):
            key[c, k] = point[at, k]
        for i in range(1, count):
            after = base + (first[c] + i) % count
            key[c, 3] += np.sqrt(_square_apart(point, at, after))
            at = after
    return first, key


@njit(nogil=True, inline="always")
def _square_apart(point, i, j):
    x, y, z = point[i, 0] - point[j, 0], point[i, 1] - point[j, 1], point[i, 2] - point[j, 2]
    return x * x + y * y + z * z


@njit(cache=True, nogil=True)
def lay_out(point, begin, first, exits, starts, is_closed, order, gap):
    """Which of the points stay, in what order, when each is more than `gap` from the one before it.

    Parameters
    ----------
    point, begin : of ``places``
    first : (p,) int64 array of ``beginnings``
    exits, starts, is_closed : of ``trace``
    order : (p,) int64 array
        Chains in the order in which they are laid out.
    gap : float

    Returns
    -------
    kept : (k,) int64 array
        Rows of `point`; a closed chain ends with the row it begins with.
    facet : (k,) int32 array
        On which the segment to the next point lies; -1 at the last point of a chain.
    begins : (q + 1,) int64 array
        First of the kept points of each chain.
    chain : (q,) int64 array
        Which of the chains each was; those no longer than `gap` are left out.
    """
    chains = order.shape[0]
    kept, facet = np.empty(point.shape[0] + chains, np.int64), np.empty(point.shape[0] + chains, np.int32)
    begins, chain = np.empty(chains + 1, np.int64), np.empty(chains, np.int64)
    filled, left = 0, 0
    begins[0] = 0
    gap2 = gap * gap
    for c in order:
        base, count = begin[c], begin[c + 1] - begin[c]
        segments = starts[c + 1] - starts[c]
        top = begins[left]
        for i in range(count):
            j = (first[c] + i) % count
            out = j + 1 if is_closed[c] else j
            on = exits[starts[c] + out % segments] // 3
            if filled == top or _square_apart(point, kept[filled - 1], base + j) > gap2:
                kept[filled] = base + j
                filled += 1
            facet[filled - 1] = on
        if is_closed[c]:
            while filled > top + 1 and _square_apart(point, kept[filled - 1], kept[top]) <= gap2:
                filled -= 1
            kept[filled] = kept[top]
            filled += 1
        elif filled > top + 1:
            kept[filled - 1] = base + count - 1  # an end stays on its rim
        facet[filled - 1] = -1
        if filled < top + (3 if is_closed[c] else 2):
            filled = top
            continue
        chain[left] = c
        left += 1
        begins[left] = filled
    return kept[:filled].copy(), facet[:filled].copy(), begins[: left + 1].copy(), chain[:left].copy()
