"""Arrival times of a front that runs over a mesh: |grad t| = slowness of the facet. Distance, where that is 1.

Fronts cross facets from an edge to the corner across it (R. Kimmel, J. Sethian, "Computing geodesic paths on
manifolds", PNAS 95(15), 1998; from memory), with three changes:

- Along the edge the time is a cubic through times and slopes at its ends, not a line. Vertices carry the direction
  in which the front passed them, turned into the plane of the mesh there. Where the ways through both ends meet in
  a point that fits the times, the front is the circle about it. So errors fall with the square of the edge, from
  points and from lines, and no start by hand is needed.
- The corner takes the least of time on the edge + way across, found by Newton's rule.
- A vertex may be corrected after its turn. In an obtuse facet the corner may come before an end of the edge that it
  is reached through: it is set right when that end is known, and no facet need be split or unfolded.
"""

from __future__ import annotations

import numpy as np
from numba import njit

# Gains below this share of the way across a facet are rounding and pass no further.
_LEAST_GAIN = 1e-6
# A vertex is corrected so often at most; one or two are common in obtuse facets.
_MOST_TURNS = 30
# Where the slopes at both ends of an edge differ by more than this share of the steepest, and fall, two fronts meet
# on it: a cubic would cut off the ridge between them.
_RIDGE = 0.3
_NEWTON_STEPS = 4
# Where the slopes differ by more than this share and rise, the front may spread from a point nearby: if times and
# slopes agree on one within a share of the time along the edge, it is used. Ways below a sine have no crossing.
_SPREAD = 0.4
_AGREE = 0.02
_LEAST_SINE = 1e-3


@njit(cache=True)
def march(vertices, faces, corner_start, corners, slowness, start_time, stop):
    """Time at which a front reaches each vertex.

    Between two neighbouring vertices that are both given a start time the front starts all along the edge.

    Parameters
    ----------
    vertices : (n, 3) float64 array
    faces : (m, 3) int32 array
    corner_start : (n + 1,) int64 array
    corners : (3 m,) int32 array
        Corners ``3 f + k`` of each vertex (see ``sectors.corners_by_sector``).
    slowness : (m,) float64 array
        Time a unit of length on each facet, above 0.
    start_time : (n,) float64 array
        NaN where the front does not start.
    stop : float
        The front is followed until all corners of every facet of which it reaches one by this time are right; the
        times of others are upper bounds.

    Returns
    -------
    time : (n,) float64 array
        Infinite where nothing arrives.
    way : (n, 3) float64 array
        Gradient of the time, in the tangent plane of the vertex; 0 where the front starts.
    """
    n = vertices.shape[0]
    normal = _vertex_normals(vertices, faces)
    time = np.full(n, np.inf)
    way = np.zeros((n, 3), np.float64)
    is_start = np.zeros(n, np.bool_)
    turns = np.zeros(n, np.int32)
    is_asked = np.zeros(n, np.bool_)
    asked = 0  # vertices that must be reached yet
    heap = np.empty(n + 1, np.int32)  # binary, the earliest in 1; heap[0] is not used
    slot = np.zeros(n, np.int32)  # where a vertex stands in the heap; 0: not in it
    size = 0
    for v in range(n):
        if not np.isnan(start_time[v]):
            is_start[v] = True
            time[v] = start_time[v]
            size += 1
            heap[size] = v
            slot[v] = size
            _up(heap, slot, time, size)
    new_way = np.empty(3, np.float64)
    while size > 0 and (asked > 0 or time[heap[1]] <= stop):
        v = heap[1]
        slot[v] = 0
        heap[1] = heap[size]
        size -= 1
        if size > 0:
            slot[heap[1]] = 1
            _down(heap, slot, time, size)
        asked -= is_asked[v] and turns[v] == 0
        turns[v] += 1
        is_near = time[v] <= stop
        for i in range(corner_start[v], corner_start[v + 1]):
            f, k = corners[i] // 3, corners[i] % 3
            for j in range(1, 3):
                c, other = faces[f, (k + j) % 3], faces[f, (k + 3 - j) % 3]
                if is_near and not is_asked[c]:
                    is_asked[c] = True
                    asked += turns[c] == 0
                if is_start[c] or turns[c] >= _MOST_TURNS:
                    continue
                b = other if turns[other] > 0 else -1
                new, least = _arrival(vertices, normal, time, way, is_start, v, b, c, slowness[f], new_way)
                if new < time[c] - least:
                    time[c] = new
                    _into_plane(new_way, normal[c], slowness[f], way[c])
                    if slot[c] == 0:
                        size += 1
                        heap[size] = c
                        slot[c] = size
                    _up(heap, slot, time, np.int64(slot[c]))
    return time, way


@njit(cache=True)
def _arrival(vertices, normal, time, way, is_start, a, b, c, slowness, out_way):
    """Time at `c` by the edge from `a` to `b` (by `a` alone where `b` is -1), and the least gain that counts."""
    ax, ay, az = vertices[a, 0], vertices[a, 1], vertices[a, 2]
    px, py, pz = vertices[c, 0] - ax, vertices[c, 1] - ay, vertices[c, 2] - az
    straight = np.sqrt(px * px + py * py + pz * pz)
    best = time[a] + slowness * straight
    out_way[0], out_way[1], out_way[2] = px, py, pz
    least = _LEAST_GAIN * slowness * straight
    if b < 0:
        return best, least
    bx, by, bz = vertices[c, 0] - vertices[b, 0], vertices[c, 1] - vertices[b, 1], vertices[c, 2] - vertices[b, 2]
    new = time[b] + slowness * np.sqrt(bx * bx + by * by + bz * bz)
    if new < best:
        best = new
        out_way[0], out_way[1], out_way[2] = bx, by, bz
    ex, ey, ez = vertices[b, 0] - ax, vertices[b, 1] - ay, vertices[b, 2] - az
    length = np.sqrt(ex * ex + ey * ey + ez * ez)
    along = (px * ex + py * ey + pz * ez) / length
    across = np.sqrt(max(0.0, straight * straight - along * along))
    rise = time[b] - time[a]
    steepest = slowness * length
    slope_a = rise if is_start[a] else _slope(normal[a], way[a], ex, ey, ez, length)
    slope_b = rise if is_start[b] else _slope(normal[b], way[b], ex, ey, ez, length)
    if is_start[a] and not is_start[b]:
        slope_a = 2.0 * rise - slope_b
    elif is_start[b] and not is_start[a]:
        slope_b = 2.0 * rise - slope_a
    slope_a = min(steepest, max(-steepest, slope_a))
    slope_b = min(steepest, max(-steepest, slope_b))
    new, share = _from_a_point(time[a], rise, slope_a, slope_b, length, along, across, slowness)
    if new < 0.0:
        if slope_a - slope_b > _RIDGE * steepest:
            slope_a = slope_b = rise
        new, share = _least_through(time[a], rise, slope_a, slope_b, length, along, across, slowness)
    if new < best:
        best = new
        out_way[0], out_way[1], out_way[2] = px - share * ex, py - share * ey, pz - share * ez
    return best, least


@njit(cache=True)
def _from_a_point(time, rise, slope_a, slope_b, length, along, across, slowness):
    """Time at the corner of a front that spreads from a point in the facet's plane, and its place on the edge.

    The point lies where the ways through both ends meet, if the times at the ends agree with it. -1 where they do
    not, where the front bends little along the edge, or where the way to the corner passes beside the edge.
    """
    steepest = slowness * length
    if slope_b - slope_a < _SPREAD * steepest:
        return -1.0, 0.0
    cosine_a, cosine_b = slope_a / steepest, slope_b / steepest
    sine_a, sine_b = np.sqrt(1.0 - cosine_a * cosine_a), np.sqrt(1.0 - cosine_b * cosine_b)
    if min(sine_a, sine_b) < _LEAST_SINE:
        return -1.0, 0.0
    behind = length / (cosine_b / sine_b - cosine_a / sine_a)
    from_a, from_b = behind / sine_a, behind / sine_b
    if abs(slowness * (from_b - from_a) - rise) > _AGREE * steepest:
        return -1.0, 0.0
    beside = -from_a * cosine_a  # of the point, along the edge from its first end
    share = (beside + (along - beside) * behind / (behind + across)) / length
    if share < 0.0 or share > 1.0:
        return -1.0, 0.0
    far = np.sqrt((along - beside) ** 2 + (across + behind) ** 2)
    start = time + 0.5 * (rise - slowness * (from_a + from_b))
    return start + slowness * far, share


@njit(cache=True)
def _least_through(time, rise, slope_a, slope_b, length, along, across, slowness):
    """Least of time on the edge + way to the corner over places 0..1 on the edge, and the place.

    The corner lies `along` the edge and `across` it; slopes are for the whole edge.
    """
    square, cube = 3.0 * rise - 2.0 * slope_a - slope_b, slope_a + slope_b - 2.0 * rise
    steepest = slowness * length
    lean = min(0.999, max(-0.999, rise / steepest))
    u = min(1.0, max(0.0, (along - across * lean / np.sqrt(1.0 - lean * lean)) / length))
    for _ in range(_NEWTON_STEPS):
        x = along - u * length
        far = np.sqrt(x * x + across * across)
        if far == 0.0:
            break
        first = slope_a + u * (2.0 * square + 3.0 * u * cube) - steepest * x / far
        second = 2.0 * square + 6.0 * u * cube + steepest * length * across * across / (far * far * far)
        if second <= 0.0:
            break
        u = min(1.0, max(0.0, u - first / second))
    x = along - u * length
    return time + u * (slope_a + u * (square + u * cube)) + slowness * np.sqrt(x * x + across * across), u


@njit(cache=True)
def _slope(normal, way, ex, ey, ez, length):
    """Rise of the time along an edge from or to a vertex, for the whole edge; the edge is laid into its plane."""
    off = ex * normal[0] + ey * normal[1] + ez * normal[2]
    x, y, z = ex - off * normal[0], ey - off * normal[1], ez - off * normal[2]
    laid = np.sqrt(x * x + y * y + z * z)
    if laid == 0.0:
        return 0.0
    return (way[0] * x + way[1] * y + way[2] * z) * length / laid


@njit(cache=True)
def _into_plane(direction, normal, size, out):
    off = direction[0] * normal[0] + direction[1] * normal[1] + direction[2] * normal[2]
    length = 0.0
    for k in range(3):
        out[k] = direction[k] - off * normal[k]
        length += out[k] * out[k]
    if length > 0.0:
        for k in range(3):
            out[k] *= size / np.sqrt(length)


@njit(cache=True)
def _vertex_normals(vertices, faces):
    """(n, 3) unit normals, facets weighing by area."""
    normal = np.zeros((vertices.shape[0], 3), np.float64)
    for f in range(faces.shape[0]):
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        for k in range(3):
            normal[faces[f, k], 0] += uy * vz - uz * vy
            normal[faces[f, k], 1] += uz * vx - ux * vz
            normal[faces[f, k], 2] += ux * vy - uy * vx
    for v in range(vertices.shape[0]):
        size = np.sqrt(normal[v, 0] ** 2 + normal[v, 1] ** 2 + normal[v, 2] ** 2)
        if size > 0.0:
            for k in range(3):
                normal[v, k] /= size
    return normal


@njit(cache=True)
def _up(heap, slot, time, i):
    v = heap[i]
    while i > 1 and time[heap[i // 2]] > time[v]:
        heap[i] = heap[i // 2]
        slot[heap[i]] = i
        i //= 2
    heap[i] = v
    slot[v] = i


@njit(cache=True)
def _down(heap, slot, time, size):
    i, v = 1, heap[1]
    while 2 * i <= size:
        child = 2 * i
        if child < size and time[heap[child + 1]] < time[heap[child]]:
            child += 1
        if time[heap[child]] >= time[v]:
            break
        heap[i] = heap[child]
        slot[heap[i]] = i
        i = child
    heap[i] = v
    slot[v] = i
