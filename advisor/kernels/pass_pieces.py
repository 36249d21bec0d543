"""Points of passes put exactly on their planes, and passes cut where something ends."""

from __future__ import annotations

import numpy as np
from numba import njit

# Points lie on their plane within this, mm: far below what any file tells, far above rounding of its coordinates.
_ON_PLANE_MM = 1e-10
_ROUNDS = 60


@njit(nogil=True, inline="always")
def _on_edge(a, b, na, nb, t, point, normal):
    """Write place and unit normal of the smooth surface at a share of an edge: see ``passes.surface.curved_points``."""
    above_a, above_b = 0.0, 0.0
    for x in range(3):
        d = b[x] - a[x]
        above_a += t * d * na[x]
        above_b -= (1.0 - t) * d * nb[x]
    length = 0.0
    for x in range(3):
        point[x] = (1.0 - t) * a[x] + t * b[x] - 0.5 * ((1.0 - t) * above_a * na[x] + t * above_b * nb[x])
        normal[x] = (1.0 - t) * na[x] + t * nb[x]
        length += normal[x] * normal[x]
    length = max(np.sqrt(length), 1e-300)
    for x in range(3):
        normal[x] /= length


@njit(nogil=True, inline="always")
def _led(point, normal, direction, axis, along, outward):
    """Coordinate along a direction of the point of the cutter that is led."""
    value, rise, run = 0.0, 0.0, 0.0
    for x in range(3):
        value += direction[x] * (point[x] + along * normal[x])
        rise += normal[x] * axis[x]
    if outward > 0.0:
        for x in range(3):
            run += (normal[x] - rise * axis[x]) ** 2
        run = np.sqrt(run)
        if run > 1e-9:
            for x in range(3):
                value += outward * direction[x] * (normal[x] - rise * axis[x]) / run
    return value


@njit(cache=True, nogil=True)
def put_on_planes(
    vertices, faces, normal, half_edge, fraction, target, direction, axis, along, outward, points, normals
):
    """Places on edges of the smooth surface at which the point of the cutter that is led lies in a plane.

    Parameters
    ----------
    vertices, faces, normal : the surface, (n, 3) unit normals at its vertices
    half_edge, fraction : (k,) places on the flat edges, near those asked for
    target : (k,) float array
        Coordinate along `direction` of the plane of each.
    direction, axis : (3,) float arrays
    along, outward : float
        Where the led point lies from where the cutter touches: along the normal, and out from the axis.
    points, normals : (k, 3) float arrays, written
    """
    for i in range(half_edge.shape[0]):
        f, k = half_edge[i] // 3, half_edge[i] % 3
        one, two = faces[f, k], faces[f, (k + 1) % 3]
        a, b, na, nb = vertices[one], vertices[two], normal[one], normal[two]
        point, outer = points[i], normals[i]
        low, high, t = 0.0, 1.0, fraction[i]
        below = _led(a, na, direction, axis, along, outward) - target[i]
        above = _led(b, nb, direction, axis, along, outward) - target[i]
        _on_edge(a, b, na, nb, t, point, outer)
        if not below * above < 0.0:
            continue
        side = 0
        for turn in range(_ROUNDS):
            off = _led(point, outer, direction, axis, along, outward) - target[i]
            if abs(off) <= _ON_PLANE_MM or high - low < 1e-15:
                break
            # the secant between both sides, the side that stays halved (Illinois), now and then the middle
            if off * below > 0.0:
                low, below = t, off
                above = 0.5 * above if side == 1 else above
                side = 1
            else:
                high, above = t, off
                below = 0.5 * below if side == -1 else below
                side = -1
            t = 0.5 * (low + high) if turn % 8 == 7 else low + (high - low) * below / (below - above)
            _on_edge(a, b, na, nb, t, point, outer)


@njit(cache=True, nogil=True)
def cut_chains(starts, is_closed, keeps, crossing):
    """The pieces of chains that stay.

    Parameters
    ----------
    starts : (p + 1,) int64 array
    is_closed : (p,) bool array
        The last point of such a chain repeats the first.
    keeps : (k,) bool array
        Points that stay.
    crossing : (k,) float array
        Share of the way to the next point at which what stays ends, between a point that does and one that does not.

    Returns
    -------
    at : (i,) int64 array
        Point that each point of a piece lies at, or behind.
    share : (i,) float64 array
        Share of the way to the next.
    begins : (q + 1,) int64 array
        Piece ``j`` is ``at[begins[j]:begins[j + 1]]``.
    chain : (q,) int64 array
        The chain each is a piece of.
    stays_closed : (q,) bool array
    """
    room = keeps.shape[0]
    for i in range(keeps.shape[0] - 1):
        room += keeps[i] != keeps[i + 1]
    at, share = np.empty(room, np.int64), np.empty(room, np.float64)
    begins, chain = np.empty(room + 1, np.int64), np.empty(room, np.int64)
    stays_closed = np.empty(room, np.bool_)
    filled, pieces = 0, 0
    begins[0] = 0
    for c in range(starts.shape[0] - 1):
        first, end = starts[c], starts[c + 1]
        gap = first
        while gap < end and keeps[gap]:
            gap += 1
        turns = is_closed[c] and gap < end
        # a closed chain is walked from a point that goes, and comes back to it
        begin, ring = (gap, end - first - 1) if turns else (first, end - first + 1)
        is_open, before = False, -1
        for step in range(end - first):
            i = first + (begin - first + step) % ring
            if keeps[i]:
                if not is_open and before >= 0:
                    at[filled], share[filled] = before, crossing[before]
                    filled += 1
                is_open = True
                at[filled], share[filled] = i, 0.0
                filled += 1
            elif is_open:
                at[filled], share[filled] = before, crossing[before]
                filled += 1
                chain[pieces], stays_closed[pieces] = c, False
                pieces += 1
                begins[pieces] = filled
                is_open = False
            before = i
        if is_open:
            chain[pieces], stays_closed[pieces] = c, is_closed[c] and not turns
            pieces += 1
            begins[pieces] = filled
    return at[:filled], share[:filled], begins[: pieces + 1], chain[:pieces], stays_closed[:pieces]
