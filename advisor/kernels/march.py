"""Arrival times of a front that runs over a mesh: |grad t| = slowness of the facet. Distance, where that is 1.

The slowness may hang on the direction: a facet has a metric then, and times are distances in it (T. Kim, "Constant cusp
height tool paths as geodesic parallels on an abstract Riemannian manifold", CAD 39, 2007; from memory). Each facet is
laid out flat with the lengths that its metric gives to its edges; nothing else differs.

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
# on it: a cubic would cut off the ridge between them, and so would a line.
_RIDGE = 0.3
_NEWTON_STEPS = 4
# Where the slopes differ by more than this share and rise, the front may spread from a point nearby: if times and
# slopes agree on one within a share of the time along the edge, it is used. Ways below a sine have no crossing.
_SPREAD = 0.4
_AGREE = 0.02
_LEAST_SINE = 1e-3
# A gradient whose square is off that of the facet by more than this share came through other facets: of its slopes here
# nothing is known.
_LIKE_MEDIUM = 0.15


@njit(cache=True, nogil=True)
def march(vertices, faces, corner_start, corners, slowness, start_time, stop):
    """Time at which a front reaches each vertex, as ``march_with_metric`` has it, equally slow in all directions."""
    pull = np.zeros((faces.shape[0], 3), np.float64)
    return march_with_metric(vertices, faces, corner_start, corners, slowness, pull, start_time, stop)


@njit(cache=True, nogil=True)
def march_with_metric(vertices, faces, corner_start, corners, slowness, pull, start_time, stop):
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
    pull : (m, 3) float64 array
        What slows the front more along a vector: the way w takes ``sqrt(slowness^2 |w|^2 + (pull . w)^2)``. In the
        facet's plane.
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
                new, least = _arrival(vertices, normal, time, way, is_start, v, b, c, slowness[f], pull[f], new_way)
                if new < time[c] - least:
                    time[c] = new
                    _into_plane(new_way, normal[c], way[c])
                    if slot[c] == 0:
                        size += 1
                        heap[size] = c
                        slot[c] = size
                    _up(heap, slot, time, np.int64(slot[c]))
    return time, way


@njit(nogil=True)
def _arrival(vertices, normal, time, way, is_start, a, b, c, slowness, pull, out_way):
    """Time at `c` by the edge from `a` to `b` (by `a` alone where `b` is -1), and the least gain that counts.

    Lengths are those of the facet's metric. The gradient at `c` goes to `out_way`.
    """
    square = slowness * slowness
    ax, ay, az = vertices[a, 0], vertices[a, 1], vertices[a, 2]
    px, py, pz = vertices[c, 0] - ax, vertices[c, 1] - ay, vertices[c, 2] - az
    pulled_p = pull[0] * px + pull[1] * py + pull[2] * pz
    straight2 = square * (px * px + py * py + pz * pz) + pulled_p * pulled_p
    straight = np.sqrt(straight2)
    best, on_edge = time[a] + straight, 0.0
    least = _LEAST_GAIN * straight
    if b < 0:
        _gradient(px, py, pz, square, pull, out_way)
        return best, least
    ex, ey, ez = vertices[b, 0] - ax, vertices[b, 1] - ay, vertices[b, 2] - az
    pulled_e = pull[0] * ex + pull[1] * ey + pull[2] * ez
    length2 = square * (ex * ex + ey * ey + ez * ez) + pulled_e * pulled_e
    length = np.sqrt(length2)
    inner = square * (px * ex + py * ey + pz * ez) + pulled_p * pulled_e
    new = time[b] + np.sqrt(max(0.0, straight2 - 2.0 * inner + length2))
    if new < best:
        best, on_edge = new, 1.0
    along = inner / length
    across = np.sqrt(max(0.0, straight2 - along * along))
    rise = time[b] - time[a]
    known_a = not is_start[a] and _is_of_here(way[a], square, pull)
    known_b = not is_start[b] and _is_of_here(way[b], square, pull)
    slope_a = _slope(normal[a], way[a], ex, ey, ez) if known_a else rise
    slope_b = _slope(normal[b], way[b], ex, ey, ez) if known_b else rise
    if known_b and not known_a:
        slope_a = 2.0 * rise - slope_b
    elif known_a and not known_b:
        slope_b = 2.0 * rise - slope_a
    slope_a = min(length, max(-length, slope_a))
    slope_b = min(length, max(-length, slope_b))
    new, share = _from_a_point(time[a], rise, slope_a, slope_b, length, along, across)
    if new < 0.0:
        if slope_a - slope_b > _RIDGE * length:
            # each of two fronts as if it were alone: what it would be late for, the other has passed before
            new, share = _least_through(time[a], slope_a, slope_a, slope_a, length, along, across)
            other, place = _least_through(time[b] - slope_b, slope_b, slope_b, slope_b, length, along, across)
            if other < new:
                new, share = other, place
        else:
            new, share = _least_through(time[a], rise, slope_a, slope_b, length, along, across)
    if new < best:
        best, on_edge = new, share
    _gradient(px - on_edge * ex, py - on_edge * ey, pz - on_edge * ez, square, pull, out_way)
    return best, least


@njit(nogil=True)
def _is_of_here(gradient, square, pull):
    """Whether a gradient is one of a front in a facet of this metric, not that in another medium beside it."""
    size2 = gradient[0] * gradient[0] + gradient[1] * gradient[1] + gradient[2] * gradient[2]
    along = gradient[0] * pull[0] + gradient[1] * pull[1] + gradient[2] * pull[2]
    pull2 = pull[0] * pull[0] + pull[1] * pull[1] + pull[2] * pull[2]
    return abs((size2 - along * along / (square + pull2)) / square - 1.0) < _LIKE_MEDIUM


@njit(nogil=True)
def _gradient(x, y, z, square, pull, out):
    """Gradient of the time at the end of a straight way: the metric's way, over its length."""
    pulled = pull[0] * x + pull[1] * y + pull[2] * z
    length = np.sqrt(square * (x * x + y * y + z * z) + pulled * pulled)
    share = 1.0 / length if length > 0.0 else 0.0
    out[0] = (square * x + pulled * pull[0]) * share
    out[1] = (square * y + pulled * pull[1]) * share
    out[2] = (square * z + pulled * pull[2]) * share


@njit(nogil=True)
def _from_a_point(time, rise, slope_a, slope_b, length, along, across):
    """Time at the corner of a front that spreads from a point in the facet's plane, and its place on the edge.

    The point lies where the ways through both ends meet, if the times at the ends agree with it. -1 where they do
    not, where the front bends little along the edge, or where the way to the corner passes beside the edge.
    """
    if slope_b - slope_a < _SPREAD * length:
        return -1.0, 0.0
    cosine_a, cosine_b = slope_a / length, slope_b / length
    sine_a, sine_b = np.sqrt(1.0 - cosine_a * cosine_a), np.sqrt(1.0 - cosine_b * cosine_b)
    if min(sine_a, sine_b) < _LEAST_SINE:
        return -1.0, 0.0
    behind = length / (cosine_b / sine_b - cosine_a / sine_a)
    from_a, from_b = behind / sine_a, behind / sine_b
    if abs(from_b - from_a - rise) > _AGREE * length:
        return -1.0, 0.0
    beside = -from_a * cosine_a  # of the point, along the edge from its first end
    share = (beside + (along - beside) * behind / (behind + across)) / length
    if share < 0.0 or share > 1.0:
        return -1.0, 0.0
    far = np.sqrt((along - beside) ** 2 + (across + behind) ** 2)
    start = time + 0.5 * (rise - from_a - from_b)
    return start + far, share


@njit(nogil=True)
def _least_through(time, rise, slope_a, slope_b, length, along, across):
    """Least of time on the edge + way to the corner over places 0..1 on the edge, and the place.

    The corner lies `along` the edge and `across` it; slopes are for the whole edge.
    """
    square, cube = 3.0 * rise - 2.0 * slope_a - slope_b, slope_a + slope_b - 2.0 * rise
    lean = min(0.999, max(-0.999, rise / length))
    u = min(1.0, max(0.0, (along - across * lean / np.sqrt(1.0 - lean * lean)) / length))
    for _ in range(_NEWTON_STEPS):
        x = along - u * length
        far = np.sqrt(x * x + across * across)
        if far == 0.0:
            break
        first = slope_a + u * (2.0 * square + 3.0 * u * cube) - length * x / far
        second = 2.0 * square + 6.0 * u * cube + length * length * across * across / (far * far * far)
        if second <= 0.0:
            break
        u = min(1.0, max(0.0, u - first / second))
    x = along - u * length
    return time + u * (slope_a + u * (square + u * cube)) + np.sqrt(x * x + across * across), u


@njit(nogil=True)
def _slope(normal, way, ex, ey, ez):
    """Rise of the time along an edge from or to a vertex, for the whole edge; the edge is laid into its plane."""
    off = ex * normal[0] + ey * normal[1] + ez * normal[2]
    x, y, z = ex - off * normal[0], ey - off * normal[1], ez - off * normal[2]
    laid = np.sqrt(x * x + y * y + z * z)
    if laid == 0.0:
        return 0.0
    return (way[0] * x + way[1] * y + way[2] * z) * np.sqrt(ex * ex + ey * ey + ez * ez) / laid


@njit(nogil=True)
def _into_plane(vector, normal, out):
    """A vector turned into the plane across a normal, as long as it was."""
    off = vector[0] * normal[0] + vector[1] * normal[1] + vector[2] * normal[2]
    before, after = 0.0, 0.0
    for k in range(3):
        out[k] = vector[k] - off * normal[k]
        before += vector[k] * vector[k]
        after += out[k] * out[k]
    if after > 0.0:
        for k in range(3):
            out[k] *= np.sqrt(before / after)


@njit(nogil=True)
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


@njit(nogil=True)
def _up(heap, slot, time, i):
    v = heap[i]
    while i > 1 and time[heap[i // 2]] > time[v]:
        heap[i] = heap[i // 2]
        slot[heap[i]] = i
        i //= 2
    heap[i] = v
    slot[v] = i


@njit(nogil=True)
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
