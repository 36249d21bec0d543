"""Border edges become closed loops, and loops lose saw-teeth and spare points within a given distance."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def border_half_edges(faces, twins, label):
    """(3 m,) whether the label ends at a half-edge: at another label, a rim, or a neighbour wound the other way."""
    out = np.empty(twins.shape[0], np.bool_)
    for h in range(twins.shape[0]):
        twin = twins[h]
        if twin < 0:
            out[h] = True
        else:
            same_way = faces[h // 3, h % 3] == faces[twin // 3, twin % 3]
            out[h] = same_way or label[h // 3] != label[twin // 3]
    return out


@njit(nogil=True)
def _next_on_border(h, twins, is_border):
    """The border half-edge that goes on where `h` ends, round the fan of facets on its left."""
    h = h - 2 if h % 3 == 2 else h + 1
    for _ in range(twins.shape[0]):
        if is_border[h]:
            break
        h = twins[h]
        h = h - 2 if h % 3 == 2 else h + 1
    return h


@njit(cache=True, nogil=True)
def border_loops(faces, twins, is_border, vertex_count):
    """Border half-edges in closed loops, each with its facets on the left; no loop passes a vertex twice.

    At a vertex a loop goes on along the same fan of facets, so areas that touch in a point are walked round one by
    one. A loop that still comes back to a vertex is an outline that a hole touches: the hole is cut off.

    Parameters
    ----------
    faces : (m, 3) int32 array
    twins : (3 m,) int32 array
    is_border : (3 m,) bool array
        The same on both sides of an edge.
    vertex_count : int

    Returns
    -------
    half_edge : (k,) int32 array
    starts : (p + 1,) int64 array
        Loop ``i`` is ``half_edge[starts[i]:starts[i + 1]]``.
    """
    total = 0
    for h in range(is_border.shape[0]):
        total += is_border[h]
    out = np.empty(total, np.int32)
    starts = np.empty(total + 1, np.int64)
    starts[0] = 0
    walk = np.empty(total, np.int32)  # what is walked and not yet closed
    at = np.full(vertex_count, -1, np.int32)  # where in `walk` a vertex is left
    done = np.zeros(is_border.shape[0], np.bool_)
    filled, loops = 0, 0
    for first in range(is_border.shape[0]):
        if not is_border[first] or done[first]:
            continue
        h, depth = first, 0
        while True:
            vertex = faces[h // 3, h % 3]
            if at[vertex] >= 0:
                begin = at[vertex]
                for i in range(begin, depth):
                    out[filled] = walk[i]
                    filled += 1
                    at[faces[walk[i] // 3, walk[i] % 3]] = -1
                loops += 1
                starts[loops] = filled
                depth = begin
            if done[h]:
                break
            at[vertex] = depth
            walk[depth] = h
            done[h] = True
            depth += 1
            h = _next_on_border(h, twins, is_border)
    return out, starts[: loops + 1].copy()


@njit(cache=True, nogil=True)
def smooth_chains(points, starts, is_closed, radius, rounds, shrink, grow):
    """Points of chains moved towards the line between their neighbours; none leaves its place by over `radius`.

    So the new line keeps within `radius` of the old one, and the old one of the new: places at the same share of
    the same segment are that near. Rounds alternate between shrinking and growing, so that curves keep their radius
    (G. Taubin, "A signal processing approach to fair surface design", SIGGRAPH 1995; from memory). Neighbours
    weigh by the inverse of their distance: a straight line stays, however it is divided.

    Parameters
    ----------
    points : (k, 3) float64 array
    starts : (p + 1,) int64 array
    is_closed : (p,) bool array
        The last point repeats the first and both may move; of other chains both ends stay.
    radius : (p,) float64 array
        0 leaves a chain as it is.
    rounds : int
    shrink, grow : float
        Share of the way that points move, positive and negative.
    """
    out = points.copy()
    longest = 1
    for c in range(starts.shape[0] - 1):
        longest = max(longest, starts[c + 1] - starts[c])
    after = np.empty((longest, 3), np.float64)
    for c in range(starts.shape[0] - 1):
        begin, count = starts[c], starts[c + 1] - starts[c]
        if radius[c] == 0.0 or count < 3:
            continue
        first = 0 if is_closed[c] else 1
        for step in range(2 * rounds):
            share = shrink if step % 2 == 0 else grow
            for i in range(first, count - 1):
                before = count - 2 if i == 0 else i - 1
                _moved(out, begin + before, begin + i, begin + i + 1, share, points[begin + i], radius[c], after[i])
            # number by number: rows at once take numba seconds to compile
            for i in range(first, count - 1):
                for k in range(3):
                    out[begin + i, k] = after[i, k]
            if is_closed[c]:
                for k in range(3):
                    out[begin + count - 1, k] = out[begin, k]
    return out


@njit(nogil=True)
def _moved(points, a, i, b, share, home, radius, out):
    to_a, to_b, off = 0.0, 0.0, 0.0
    for k in range(3):
        to_a += (points[a, k] - points[i, k]) ** 2
        to_b += (points[b, k] - points[i, k]) ** 2
    to_a, to_b = np.sqrt(to_a), np.sqrt(to_b)
    weight = to_b / (to_a + to_b) if to_a + to_b > 0.0 else 0.5
    for k in range(3):
        middle = weight * points[a, k] + (1.0 - weight) * points[b, k]
        out[k] = points[i, k] + share * (middle - points[i, k])
        off += (out[k] - home[k]) ** 2
    if off > radius * radius:
        back = radius / np.sqrt(off)
        for k in range(3):
            out[k] = home[k] + back * (out[k] - home[k])


@njit(cache=True, nogil=True)
def kept_points(points, starts, within):
    """Which points of chains must stay for the others to lie within a distance of the line through them.

    D. Douglas, T. Peucker, The Canadian Cartographer 10(2), 1973 (from memory). Of a chain that ends where it
    begins at least three points stay.

    Parameters
    ----------
    points : (k, 3) float64 array
    starts : (p + 1,) int64 array
    within : (p,) float64 array

    Returns
    -------
    keep : (k,) bool array
    middle : (p,) int64 array
        The inner point furthest from the line between the ends; -1 where there is none.
    """
    keep = np.zeros(points.shape[0], np.bool_)
    middle = np.full(starts.shape[0] - 1, -1, np.int64)
    stack = np.empty((points.shape[0] + 3, 2), np.int64)
    for c in range(starts.shape[0] - 1):
        first, last = starts[c], starts[c + 1] - 1
        keep[first] = True
        keep[last] = True
        middle[c], _ = _furthest(points, first, last)
        depth = 0
        if middle[c] < 0:
            continue
        ring = True
        for k in range(3):
            ring = ring and points[first, k] == points[last, k]
        if ring:
            keep[middle[c]] = True
            one, off_one = _furthest(points, first, middle[c])
            two, off_two = _furthest(points, middle[c], last)
            third = one if off_one >= off_two else two
            if third >= 0:
                keep[third] = True
            low, high = middle[c], middle[c]
            if third >= 0:
                low, high = min(third, low), max(third, high)
            stack[0, 0], stack[0, 1] = first, low
            stack[1, 0], stack[1, 1] = low, high
            stack[2, 0], stack[2, 1] = high, last
            depth = 3
        else:
            stack[0, 0], stack[0, 1] = first, last
            depth = 1
        while depth > 0:
            depth -= 1
            low, high = stack[depth, 0], stack[depth, 1]
            split, off = _furthest(points, low, high)
            if split >= 0 and off > within[c] * within[c]:
                keep[split] = True
                stack[depth, 0], stack[depth, 1] = low, split
                stack[depth + 1, 0], stack[depth + 1, 1] = split, high
                depth += 2
    return keep, middle


@njit(nogil=True)
def _furthest(points, low, high):
    """The inner point furthest from the segment between two points, and its squared distance."""
    return _furthest_from(points, low, high, points[low], points[high])


@njit(nogil=True)
def _furthest_from(points, low, high, a, b):
    """Of the points between two, the one furthest from a segment, and its squared distance."""
    best, most = -1, -1.0
    x, y, z = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    length2 = x * x + y * y + z * z
    for i in range(low + 1, high):
        px, py, pz = points[i, 0] - a[0], points[i, 1] - a[1], points[i, 2] - a[2]
        t = 0.0
        if length2 > 0.0:
            t = min(1.0, max(0.0, (px * x + py * y + pz * z) / length2))
        off = (px - t * x) ** 2 + (py - t * y) ** 2 + (pz - t * z) ** 2
        if off > most:
            best, most = i, off
    return best, most


@njit(cache=True, nogil=True)
def chain_deviations(points, starts, kept, new_points, new_starts):
    """(p,) how far chains and what they became lie apart at most.

    Every old point between two that were kept is asked how far it is from the segment that took their place, every
    kept one how far it moved. Neither line is further from the other anywhere.

    Parameters
    ----------
    points : (k, 3) float64 array
    starts : (p + 1,) int64 array
    kept : (q,) int64 array
        The old point that each new one was.
    new_points : (q, 3) float64 array
    new_starts : (p + 1,) int64 array
    """
    most = np.zeros(starts.shape[0] - 1, np.float64)
    for c in range(starts.shape[0] - 1):
        for i in range(new_starts[c], new_starts[c + 1]):
            moved = 0.0
            for k in range(3):
                moved += (new_points[i, k] - points[kept[i], k]) ** 2
            most[c] = max(most[c], moved)
            if i + 1 < new_starts[c + 1]:
                _, off = _furthest_from(points, kept[i], kept[i + 1], new_points[i], new_points[i + 1])
                most[c] = max(most[c], off)
    return np.sqrt(most)
