"""How near a ball gets to a point: the nearest place of its middle that is clear.

A ball comes down along the tool axis, so what is in its way is every facet and all below it: its shadow, a prism that
has no bottom. A middle is clear when it keeps the ball's radius away from every shadow. A shadow is convex, so seen
from a clear place the plane across the shortest way to it keeps off all of it: the nearest clear place to a point is
found by nearest points under a few such planes, drawn anew from every clear place come by.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.drop import lowest, scratch

# Facets in the way at once, and rounds: three hold a ball, the others were passed on the way to them.
_MOST_PLANES = 24
_MOST_ROUNDS = 30
# Places keep off by this share of the radius more than they must: rounding must not put a ball into an upright wall.
_KEEP_OFF = 1e-6
# What is no nearer by this share of the radius or of the tolerance is no progress, and places are lifted by so much
# rather than asked what is in the way by less.
_FINE_OF_RADIUS = 1e-5
_FINE_OF_TOLERANCE = 0.02
# Rings of places tried round a point, in shares of the radius, the next always this much wider; directions in each.
_FIRST_RING = 0.4
_NEXT_RING = 1.5
_DIRECTIONS = 10
# Places from which the nearest clear place is looked for.
_STARTS = 4
# Places as near to one another, in shares of the radius, are one.
_APART = 0.6
# A search by steps halves them until they are this share of the radius.
_LAST_STEP = 1e-4
# A normal that leans out by less points straight up.
_LEVEL_RISE = 1e-9


@njit(nogil=True)
def nearest_in_shadow(corner, x, y, z):
    """Nearest point to (x, y, z) of a (3, 3) facet and all below it, and its distance; the place is not inside."""
    qx, qy, qz, nearest = x, y, z, np.inf
    for k in range(3):
        ax, ay, az = corner[k, 0] - x, corner[k, 1] - y, corner[k, 2] - z
        other = k + 1 if k < 2 else 0
        ux, uy, uz = corner[other, 0] - x - ax, corner[other, 1] - y - ay, corner[other, 2] - z - az
        along, plan = -(ax * ux + ay * uy), ux * ux + uy * uy
        # beside the edge's curtain if that is high enough there, else off the edge itself, or between: at its own level
        t = min(max(along / plan, 0.0), 1.0) if plan > 0.0 else (1.0 if uz > 0.0 else 0.0)
        if az + t * uz < 0.0:
            t = min(max((along - az * uz) / max(plan + uz * uz, 1e-300), 0.0), 1.0)
            if az + t * uz > 0.0:
                t = min(max(-az / uz, 0.0), 1.0)
        px, py, pz = ax + t * ux, ay + t * uy, min(az + t * uz, 0.0)
        d2 = px * px + py * py + pz * pz
        if d2 < nearest:
            nearest, qx, qy, qz = d2, x + px, y + py, z + pz
    ax, ay, az = corner[0, 0] - x, corner[0, 1] - y, corner[0, 2] - z
    bx, by, bz = corner[1, 0] - x, corner[1, 1] - y, corner[1, 2] - z
    cx, cy, cz = corner[2, 0] - x, corner[2, 1] - y, corner[2, 2] - z
    nx = (by - ay) * (cz - az) - (bz - az) * (cy - ay)
    ny = (bz - az) * (cx - ax) - (bx - ax) * (cz - az)
    nz = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    n2 = nx * nx + ny * ny + nz * nz
    off = ax * nx + ay * ny + az * nz
    if nz != 0.0 and off * nz < 0.0 and off * off < nearest * n2:  # above its plane, which is nearer than its edges
        px, py = off * nx / n2, off * ny / n2
        u = (bx - px) * (cy - py) - (by - py) * (cx - px)
        v = (cx - px) * (ay - py) - (cy - py) * (ax - px)
        w = (ax - px) * (by - py) - (ay - py) * (bx - px)
        if min(u, v, w) >= 0.0 or max(u, v, w) <= 0.0:
            return x + px, y + py, z + off * nz / n2, np.sqrt(off * off / n2)
    return qx, qy, qz, np.sqrt(nearest)


@njit(nogil=True)
def _on_planes(p, n, b, i, j, k, x):
    """Write into ``x`` the nearest point to ``p`` on planes i, j and k (-1 for none); whether there is one."""
    si = b[i] - (n[i, 0] * p[0] + n[i, 1] * p[1] + n[i, 2] * p[2])
    if j < 0:
        for c in range(3):
            x[c] = p[c] + si * n[i, c]
        return True
    sj = b[j] - (n[j, 0] * p[0] + n[j, 1] * p[1] + n[j, 2] * p[2])
    ij = n[i, 0] * n[j, 0] + n[i, 1] * n[j, 1] + n[i, 2] * n[j, 2]
    det = 1.0 - ij * ij
    if det < 1e-12:
        return False
    if k < 0:
        for c in range(3):
            x[c] = p[c] + ((si - ij * sj) * n[i, c] + (sj - ij * si) * n[j, c]) / det
        return True
    sk = b[k] - (n[k, 0] * p[0] + n[k, 1] * p[1] + n[k, 2] * p[2])
    det = 0.0
    for c in range(3):
        d, e = (c + 1) % 3, (c + 2) % 3
        u = n[j, d] * n[k, e] - n[j, e] * n[k, d]
        v = n[k, d] * n[i, e] - n[k, e] * n[i, d]
        w = n[i, d] * n[j, e] - n[i, e] * n[j, d]
        x[c] = si * u + sj * v + sk * w
        det += n[i, c] * u
    if abs(det) < 1e-9:
        return False
    for c in range(3):
        x[c] = p[c] + x[c] / det
    return True


@njit(nogil=True)
def _apart(a, b):
    return np.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)


@njit(nogil=True)
def _copy(given, out):
    for k in range(out.shape[0]):
        out[k] = given[k]


@njit(nogil=True)
def _is_among(numbers, count, wanted):
    found = False
    for i in range(count):
        found = found or numbers[i] == wanted
    return found


@njit(nogil=True)
def _sort_three(numbers):
    for swap in range(3):
        k = swap % 2
        if numbers[k] > numbers[k + 1]:
            numbers[k], numbers[k + 1] = numbers[k + 1], numbers[k]


@njit(nogil=True)
def _holds(n, b, used, count, x, slack):
    for i in range(count):
        if n[used[i], 0] * x[0] + n[used[i], 1] * x[1] + n[used[i], 2] * x[2] < b[used[i]] - slack:
            return False
    return True


@njit(nogil=True)
def nearest_under_planes(p, n, b, count, slack, x, active):
    """Write into ``x`` the nearest point to ``p`` with all ``n x >= b``, and the planes it lies on; False if none.

    One violated plane after another is taken in; the new one is always one of the three that hold.
    """
    _copy(p, x)
    active[:] = -1
    used, trial = np.empty(count, np.int64), np.empty(3)
    for size in range(count + 1):
        worst, new = slack, -1
        for i in range(count):
            gap = b[i] - (n[i, 0] * x[0] + n[i, 1] * x[1] + n[i, 2] * x[2])
            if gap > worst:
                worst, new = gap, i
        if new < 0:
            return True
        if size == count:
            break
        best = np.inf
        used[size] = new
        for one in range(-1, size):
            for two in range(-1, one if one >= 0 else 0):
                j = used[one] if one >= 0 else np.int64(-1)
                k = used[two] if two >= 0 else np.int64(-1)
                if not _on_planes(p, n, b, new, j, k, trial):
                    continue
                d = _apart(trial, p)
                if d < best and _holds(n, b, used, size, trial, slack):
                    best = d
                    _copy(trial, x)
                    active[0], active[1], active[2] = new, j, k
        if best == np.inf:
            return False
    return False


@njit(nogil=True)
def _descend(p, c, r, fine, corners, box, levels, node_of, bound_of):
    """Move a clear middle ``c`` of a ball as near to ``p`` as it gets but for `fine`; returns the distance."""
    n, b, facets = np.empty((_MOST_PLANES, 3)), np.empty(_MOST_PLANES), np.empty(_MOST_PLANES, np.int64)
    x, step_to, active = np.empty(3), np.empty(3), np.empty(3, np.int64)
    distance = _apart(c, p)
    slack = 0.5 * _KEEP_OFF * r
    count: int | np.int64 = np.int64(0)
    for _ in range(_MOST_ROUNDS):
        for i in range(count):
            b[i] = _plane_before(corners[facets[i]], c, r, n[i])
        _copy(c, step_to)
        nearer = distance
        while nearest_under_planes(p, n, b, count, slack, x, active):
            x[2] += fine
            tip, f = lowest(0.0, r, 0.0, r, 0.0, x[0], x[1], x[2] - r, np.inf, corners, box, levels, node_of, bound_of)
            x[2] = max(x[2], tip + r)
            reached = _apart(x, p)
            if reached < nearer:
                nearer = reached
                _copy(x, step_to)
            if f < 0 or count == _MOST_PLANES or _is_among(facets, count, f):
                break
            facets[count] = f
            b[count] = _plane_before(corners[f], c, r, n[count])
            count += 1
        gain = distance - nearer
        _copy(step_to, c)
        distance = nearer
        if gain <= fine:
            break
        kept = 0
        _sort_three(active)
        for k in range(3):
            i = active[k]
            if i >= 0:
                facets[kept] = facets[i]
                kept += 1
        count = kept
    return distance


@njit(nogil=True)
def _plane_before(corner, c, r, n):
    """Write into ``n`` the way out of a shadow to a clear place; returns how far along it middles are clear."""
    qx, qy, qz, d = nearest_in_shadow(corner, c[0], c[1], c[2])
    most = max(d, 1e-300)
    n[0], n[1], n[2] = (c[0] - qx) / most, (c[1] - qy) / most, (c[2] - qz) / most
    return n[0] * qx + n[1] * qy + n[2] * qz + min(r * (1.0 + _KEEP_OFF), d)


@njit(nogil=True)
def _gap(p, ring, r, pieces, x, y, most, corners, box, levels, node_of, bound_of):
    """Distance from a point to the ring's disc at a place of the axis, as low as it goes, and the tip there.

    The disc bears the corner's middles; what is further than `most` is inf.
    """
    level = max(np.sqrt((x - p[0]) ** 2 + (y - p[1]) ** 2) - ring, 0.0)
    if level >= most:
        return np.inf, np.inf
    ceiling = p[2] - r + np.sqrt(most * most - level * level)
    tip = p[2] - r
    for n in range(pieces.shape[0]):
        tip, _ = lowest(
            pieces[n, 0], pieces[n, 1], pieces[n, 2], pieces[n, 3], pieces[n, 4],
            x, y, tip, ceiling, corners, box, levels, node_of, bound_of,
        )  # fmt: skip
    if tip >= ceiling:
        return np.inf, np.inf
    return np.sqrt(level * level + (tip + r - p[2]) ** 2), tip


@njit(nogil=True)
def _step_nearer(p, ring, r, place, best, pieces, corners, box, levels, node_of, bound_of):
    """Move the axis by ever shorter steps while that brings the cutter nearer than `best`; returns the distance."""
    step, turn = 0.5 * (ring + r), 0.0
    while step > _LAST_STEP * r:
        x, y = place[0], place[1]
        turn += 0.4  # directions of their own in each round: a valley may run any way
        for k in range(_DIRECTIONS):
            angle = turn + k * 2.0 * np.pi / _DIRECTIONS
            tx, ty = x + step * np.cos(angle), y + step * np.sin(angle)
            gap, _ = _gap(p, ring, r, pieces, tx, ty, best, corners, box, levels, node_of, bound_of)
            if gap < best:
                best = gap
                place[0], place[1] = tx, ty
        if place[0] == x and place[1] == y:
            step *= 0.5
    return best


@njit(nogil=True)
def _starts(p, out_x, out_y, ring, r, pieces, start, corners, box, levels, node_of, bound_of):
    """Write into the (s, 4) ``start`` distance, x, y and tip of the nearest places tried round a point.

    The first two are the place at which the surface should be touched and the one straight above it. Rings widen until
    nothing on them could be nearer than what is known.
    """
    start[:, 0] = np.inf
    wide, k, last = 0.0, -1, start.shape[0] - 1
    while wide - ring < start[0, 0]:
        x, y = p[0], p[1]
        if k == -1:
            x, y = x + out_x, y + out_y
        elif wide > 0.0:
            angle = (k + 0.5) * 2.0 * np.pi / _DIRECTIONS
            x, y = x + wide * np.cos(angle), y + wide * np.sin(angle)
        most = start[last, 0] if start[last, 0] < np.inf else 1e100
        gap, tip = _gap(p, ring, r, pieces, x, y, most, corners, box, levels, node_of, bound_of)
        row = last
        for near in range(last + 1):  # of those close together the nearest to the point is enough
            if start[near, 0] < np.inf and (start[near, 1] - x) ** 2 + (start[near, 2] - y) ** 2 < (_APART * r) ** 2:
                row = near
                break
        if gap < start[row, 0]:
            while row > 0 and start[row - 1, 0] > gap:
                _copy(start[row - 1], start[row])
                row -= 1
            start[row, 0], start[row, 1], start[row, 2], start[row, 3] = gap, x, y, tip
        k += 1
        if (wide == 0.0 and k == 1) or k == _DIRECTIONS:
            wide = wide * _NEXT_RING if wide > 0.0 else ring + _FIRST_RING * r
            k = 0


@njit(cache=True, nogil=True)
def leftover(pieces, ring, r, point, normal, tolerance, corners, box, levels, height):
    """Height of material that a cutter leaves at points.

    Parameters
    ----------
    pieces : (p, 5) float array
        As for ``kernels.drop``: the cutter.
    ring, r : float
        Radius of the ring on which the corner's middles run, 0 for a ball, and of the corner.
    point, normal : (k, 3) float arrays
        In the frame of the tree.
    tolerance : (k,) float array
        Less is nothing.
    corners, box, levels : the tree of ``kernels.plan_tree``
    height : (k,) float array, written
    """
    node_of, bound_of = scratch()
    start, c = np.empty((_STARTS, 4)), np.empty(3)
    for i in range(point.shape[0]):
        p, off = point[i], r + tolerance[i]
        nx, ny, rise = normal[i, 0], normal[i, 1], max(normal[i, 2], 0.0)
        run = np.sqrt(nx * nx + ny * ny)
        share = off + ring / run if run > _LEVEL_RISE else 0.0
        tip, is_clear = p[2] + rise * off - r, True
        for k in range(pieces.shape[0]):
            _, found = lowest(
                pieces[k, 0], pieces[k, 1], pieces[k, 2], pieces[k, 3], pieces[k, 4],
                p[0] + share * nx, p[1] + share * ny, tip, tip, corners, box, levels, node_of, bound_of,
            )  # fmt: skip
            is_clear = is_clear and found < 0
        fine = max(_FINE_OF_RADIUS * r, _FINE_OF_TOLERANCE * tolerance[i])
        height[i] = 0.0
        if is_clear:
            continue
        _starts(p, share * nx, share * ny, ring, r, pieces, start, corners, box, levels, node_of, bound_of)
        best = start[0, 0]
        for s in range(_STARTS):
            if start[s, 0] == np.inf or best <= off:
                break
            if ring == 0.0 and pieces.shape[0] == 1:
                c[0], c[1], c[2] = start[s, 1], start[s, 2], start[s, 3] + r
                best = min(best, _descend(p, c, r, fine, corners, box, levels, node_of, bound_of))
            else:
                place, gap = start[s, 1:3], start[s, 0]
                best = min(best, _step_nearer(p, ring, r, place, gap, pieces, corners, box, levels, node_of, bound_of))
        height[i] = best - r if best > off else 0.0
