"""Lowest place of a turned cutter over facets: dropped along the tool axis until it touches.

A cutter is made of pieces, each a profile ``f``: the height over the tip at distance ``d`` from the axis::

    f(d) = base                                    d <= flat
    f(d) = base + r - sqrt(r^2 - (d - flat)^2)     flat < d <= outer, corner radius r
    f(d) = base + rise (d - flat)                  flat < d <= outer, no corner radius

A ball has no flat, a flat-end cutter nothing else; shanks and holders are cylinders and cones on a higher base. The tip
stands at the greatest of ``z(p) - f(d(p))`` over all points p of the facets within ``outer``. Over a facet that is a
concave function: its greatest value lies where the plane of the facet touches the piece, or else on an edge, where one
number decides.
"""

from __future__ import annotations

import numpy as np
from numba import njit

_STACK = 128
_NEWTON_ROUNDS = 60
_GUESSES = 4
# A bull-nose's corner has a tangent that tells something to this share of its radius.
_STEEP_SHARE = 0.999


@njit(nogil=True, inline="always")
def profile(flat, r, rise, base, d):
    """Height of a piece over the tip at a distance from the axis no greater than its outer radius."""
    beyond = d - flat
    if beyond <= 0.0:
        return base
    if r > 0.0:
        return base + r - np.sqrt(max(r * r - beyond * beyond, 0.0))
    return base + rise * beyond


@njit(nogil=True)
def _best_on_torus(flat, r, c, k):
    """Where ``k s - f(sqrt(c^2 + s^2))`` is greatest, for a corner radius on a flat and k > 0."""
    low, high = 0.0, np.sqrt(max((flat + r) ** 2 - c * c, 0.0))
    if flat > c:
        low = np.sqrt(flat * flat - c * c)
    s = 0.5 * (low + high)
    for _ in range(_NEWTON_ROUNDS):
        d = np.sqrt(c * c + s * s)
        b = d - flat
        root = np.sqrt(max(r * r - b * b, 1e-200))
        slope = k - b / root * s / d
        if slope > 0.0:
            low = s
        else:
            high = s
        bend = -(r * r / root**3) * (s / d) ** 2 - b / root * c * c / d**3
        step = s - slope / bend if bend < 0.0 else 0.5 * (low + high)
        if not low < step < high:
            step = 0.5 * (low + high)
        if abs(step - s) <= 1e-15 * (flat + r):
            return step
        s = step
    return s


@njit(nogil=True)
def _best_along(flat, r, rise, end, c, k):
    """Where on a line that passes the axis at distance c and climbs by k >= 0 the piece touches, `end` at most."""
    if k == 0.0 or end == 0.0:
        return 0.0
    if r > 0.0:
        if flat == 0.0:
            return min(np.sqrt(max(r * r - c * c, 0.0)) * k / np.sqrt(1.0 + k * k), end)
        return _best_on_torus(flat, r, c, k)
    if k >= rise:
        return end
    # on the cone the line leaves its height where s / d = k / rise; nearer than the flat it climbs for nothing
    ratio = k / rise
    s = c * ratio / np.sqrt(1.0 - ratio * ratio)
    if flat > c:
        s = max(s, np.sqrt(flat * flat - c * c))
    return min(s, end)


@njit(nogil=True)
def _over_edge(flat, r, rise, outer, base, ax, ay, az, bx, by, bz):
    """Height of the tip over an edge between points given relative to the axis; -inf where it is out of reach."""
    ux, uy = bx - ax, by - ay
    length = np.sqrt(ux * ux + uy * uy)
    if length == 0.0:
        d = np.sqrt(ax * ax + ay * ay)
        return max(az, bz) - profile(flat, r, rise, base, d) if d <= outer else -np.inf
    c = abs(ax * uy - ay * ux) / length
    if c > outer:
        return -np.inf
    start = (ax * ux + ay * uy) / length
    end = np.sqrt(max(outer * outer - c * c, 0.0))
    low, high = max(start, -end), min(start + length, end)
    if low > high:
        return -np.inf
    k = (bz - az) / length
    s = _best_along(flat, r, rise, end, c, abs(k))
    if k < 0.0:
        s = -s
    # at an end the numbers given are used: on edges upright but for rounding no length along them means anything
    if s >= start + length and start + length <= end:
        return bz - profile(flat, r, rise, base, min(np.sqrt(bx * bx + by * by), outer))
    if s <= start and start >= -end:
        return az - profile(flat, r, rise, base, min(np.sqrt(ax * ax + ay * ay), outer))
    s = min(max(s, low), high)
    # measured from the nearer end: a long edge must not lose digits
    z = az + k * (s - start) if s - start <= 0.5 * length else bz + k * (s - start - length)
    return min(z, max(az, bz)) - profile(flat, r, rise, base, min(np.sqrt(c * c + s * s), outer))


@njit(nogil=True)
def over_facet(flat, r, rise, outer, base, ax, ay, az, bx, by, bz, cx, cy, cz, best):
    """Height of the tip at which a piece touches a facet given relative to its axis, or anything no more than `best`.

    The facet's plane bounds it: where that is touched outside the facet, the facet is touched on an edge that lies
    between, and lower by what the profile's bend takes over the way there.
    """
    nx = (by - ay) * (cz - az) - (bz - az) * (cy - ay)
    ny = (bz - az) * (cx - ax) - (bx - ax) * (cz - az)
    nz = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    run2 = nx * nx + ny * ny
    if nz * nz > 1e-24 * run2:
        run = np.sqrt(run2) / abs(nz)
        out = flat
        if r > 0.0:
            out += r * run / np.sqrt(1.0 + run * run)
        elif run > rise:
            out = outer
        if run == 0.0:
            out = 0.0
        px, py = 0.0, 0.0
        if run > 0.0:
            px, py = -out * nx / (run * nz), -out * ny / (run * nz)
        u = (bx - px) * (cy - py) - (by - py) * (cx - px)
        v = (cx - px) * (ay - py) - (cy - py) * (ax - px)
        w = (ax - px) * (by - py) - (ay - py) * (bx - px)
        top = (u * az + v * bz + w * cz) / nz - profile(flat, r, rise, base, out)
        if nz < 0.0:
            u, v, w = -u, -v, -w
        if u >= 0.0 and v >= 0.0 and w >= 0.0:
            return top
        if r > 0.0:
            # from the place that the corner alone would touch: to either side of it the flat bends nothing
            corner = (out - flat) / out if out > 0.0 else 1.0
            px, py = px * corner, py * corner
            dx = max(min(ax, bx, cx) - px, px - max(ax, bx, cx), 0.0)
            dy = max(min(ay, by, cy) - py, py - max(ay, by, cy), 0.0)
            beyond = max(np.sqrt(dx * dx + dy * dy) - flat, 0.0)
            top -= beyond * beyond / (2.0 * r)
        if top + 1e-12 * (abs(top) + outer) < best:
            return best
    else:
        u, v, w = -1.0, -1.0, -1.0
    z = -np.inf
    if u < 0.0:
        z = max(z, _over_edge(flat, r, rise, outer, base, bx, by, bz, cx, cy, cz))
    if v < 0.0:
        z = max(z, _over_edge(flat, r, rise, outer, base, cx, cy, cz, ax, ay, az))
    if w < 0.0:
        z = max(z, _over_edge(flat, r, rise, outer, base, ax, ay, az, bx, by, bz))
    return z


@njit(nogil=True)
def _ball_under_plane(r, gx, gy, px, py, low_x, low_y, high_x, high_y):
    """Greatest ``g p - f(p)`` of a ball over places p of a box beside (px, py), where it is greatest of all.

    What is concave is greatest on a side of the box that looks that way, and along a side the ball is a smaller circle.
    """
    most, r2 = -np.inf, r * r
    qx, qy = min(max(px, low_x), high_x), min(max(py, low_y), high_y)
    if qx != px and qx * qx < r2:
        rest = r2 - qx * qx
        t = min(max(gy * np.sqrt(rest / (1.0 + gy * gy)), low_y), high_y)
        if t * t < rest:
            most = gx * qx + gy * t + np.sqrt(rest - t * t)
    if qy != py and qy * qy < r2:
        rest = r2 - qy * qy
        t = min(max(gx * np.sqrt(rest / (1.0 + gx * gx)), low_x), high_x)
        if t * t < rest:
            most = max(most, gx * t + gy * qy + np.sqrt(rest - t * t))
    return most - r if most > -np.inf else np.inf


@njit(nogil=True)
def _bull_under_plane(flat, r, gx, gy, px, py, low_x, low_y, high_x, high_y):
    """No less than the greatest ``g p - f(p)`` of a bull-nose over places p of a box: what is concave lies under its
    tangent, here at the place of the box nearest to (px, py).
    """
    qx, qy = min(max(px, low_x), high_x), min(max(py, low_y), high_y)
    d = np.sqrt(qx * qx + qy * qy)
    if d > flat + _STEEP_SHARE * r:  # upright there: no tangent to speak of
        qx, qy = min(max(0.0, low_x), high_x), min(max(0.0, low_y), high_y)
        d = np.sqrt(qx * qx + qy * qy)
    beyond = d - flat
    height, sx, sy = 0.0, gx, gy
    if beyond > 0.0:
        root = np.sqrt(max(r * r - beyond * beyond, 1e-200))
        height, steep = r - root, beyond / (root * d)
        sx, sy = gx - steep * qx, gy - steep * qy
    climb = sx * ((high_x if sx > 0.0 else low_x) - qx) + sy * ((high_y if sy > 0.0 else low_y) - qy)
    return gx * qx + gy * qy - height + climb


@njit(nogil=True, inline="always")
def _bound(flat, r, rise, outer, base, box, n, x, y, best):
    """No facet of a node lets the tip stand higher; anything no more than `best` where that is no more.

    Under a plane of gradient g the piece rests ``sup(g d - f(d))`` higher than the plane stands at its axis, touching
    at p* uphill; f is strongly convex (its bend is 1 / r at least), so at a distance D from p* what it touches lies
    ``D^2 / 2r`` lower. Beside a steep place the bend is many times that: what the quick bound does not leave out is
    asked over the node's own box.
    """
    low_x, low_y, high_x, high_y = box[n, 0] - x, box[n, 1] - y, box[n, 2] - x, box[n, 3] - y
    dx, dy = max(low_x, -high_x, 0.0), max(low_y, -high_y, 0.0)
    d2 = dx * dx + dy * dy
    if d2 > outer * outer or box[n, 4] - base <= best:
        return -np.inf
    gx, gy, root = box[n, 5], box[n, 6], box[n, 8]
    at_axis = gx * x + gy * y + box[n, 7] - base
    if r == 0.0:
        g = np.sqrt(gx * gx + gy * gy)
        plane = at_axis + max(g * flat, g * outer - rise * (outer - flat))
    else:
        px, py = r * gx / root, r * gy / root
        dx, dy = max(low_x - px, px - high_x, 0.0), max(low_y - py, py - high_y, 0.0)
        off2 = dx * dx + dy * dy
        if flat == 0.0:
            plane = at_axis + r * (root - 1.0) - off2 / (2.0 * r)
            if plane > best and off2 > 0.0:
                plane = min(plane, at_axis + _ball_under_plane(r, gx, gy, px, py, low_x, low_y, high_x, high_y))
        else:
            g = np.sqrt(gx * gx + gy * gy)
            beyond = max(np.sqrt(off2) - flat, 0.0)
            plane = at_axis + r * (root - 1.0) + g * flat - beyond * beyond / (2.0 * r)
            if plane > best:
                out = flat / g if g > 0.0 else 0.0
                px, py = px + out * gx, py + out * gy
                under = _bull_under_plane(flat, r, gx, gy, px, py, low_x, low_y, high_x, high_y)
                plane = min(plane, at_axis + under)
    if plane <= best:
        return plane
    return min(plane, box[n, 4] - profile(flat, r, rise, base, np.sqrt(d2)))


@njit(nogil=True, inline="always")
def _on_leaf(flat, r, rise, outer, base, x, y, corners, low, high, best, facet):
    for f in range(low, high):
        z = over_facet(
            flat, r, rise, outer, base,
            corners[f, 0, 0] - x, corners[f, 0, 1] - y, corners[f, 0, 2],
            corners[f, 1, 0] - x, corners[f, 1, 1] - y, corners[f, 1, 2],
            corners[f, 2, 0] - x, corners[f, 2, 1] - y, corners[f, 2, 2], best,
        )  # fmt: skip
        if z > best:
            best, facet = z, f
    return best, facet


@njit(nogil=True)
def _guess(flat, r, rise, outer, base, x, y, best, facet, corners, box, levels):
    """A height the tip cannot get below, mostly nearly the highest: the leaf under the axis tells where to look next.

    A piece touches uphill, where its slope is the surface's; on a smooth surface a few steps lead there.
    """
    first_leaf = (1 << levels) - 1
    px, py, seen = x, y, -1
    for _ in range(_GUESSES):
        node, low, high = 0, 0, corners.shape[0]
        while node < first_leaf:
            one, two, middle = 2 * node + 1, 2 * node + 2, (low + high) // 2
            x1, y1 = box[one, 0] + box[one, 2] - 2.0 * px, box[one, 1] + box[one, 3] - 2.0 * py
            x2, y2 = box[two, 0] + box[two, 2] - 2.0 * px, box[two, 1] + box[two, 3] - 2.0 * py
            if x1 * x1 + y1 * y1 < x2 * x2 + y2 * y2:
                node, high = one, middle
            else:
                node, low = two, middle
        if node == seen:
            break
        seen = node
        best, facet = _on_leaf(flat, r, rise, outer, base, x, y, corners, low, high, best, facet)
        gx, gy = box[node, 5], box[node, 6]
        g = np.sqrt(gx * gx + gy * gy)
        out = 0.0 if g == 0.0 else (flat if r > 0.0 else outer) / g + r / box[node, 8]
        px, py = x + out * gx, y + out * gy
    return best, facet


@njit(nogil=True)
def lowest(flat, r, rise, outer, base, x, y, floor, ceiling, corners, box, levels, node_of, bound_of):
    """Lowest tip height of one piece at a place, and the facet it rests on; ``(floor, -1)`` if nothing stands higher.

    Parameters
    ----------
    flat, r, rise, outer, base : float
        The piece.
    x, y : float
        Place of the tool axis in plan.
    floor : float
        Height below which nothing is looked for.
    ceiling : float
        What stands higher need not be known: once it is passed any height above it may be returned.
    corners, box, levels : the tree of ``kernels.plan_tree``
    node_of, bound_of : scratch of ``scratch()``
    """
    first_leaf, count = (1 << levels) - 1, corners.shape[0]
    best, facet = _guess(flat, r, rise, outer, base, x, y, floor, -1, corners, box, levels)
    if best > ceiling:
        return best, facet
    node_of[0, 0], node_of[0, 1], node_of[0, 2], bound_of[0] = 0, 0, count, np.inf
    top = 1
    while top > 0:
        top -= 1
        if bound_of[top] <= best:
            continue
        node, low, high = node_of[top, 0], node_of[top, 1], node_of[top, 2]
        if node >= first_leaf:
            best, facet = _on_leaf(flat, r, rise, outer, base, x, y, corners, low, high, best, facet)
            if best > ceiling:
                break
            continue
        middle, one = (low + high) // 2, 2 * node + 1
        left = _bound(flat, r, rise, outer, base, box, one, x, y, best)
        right = _bound(flat, r, rise, outer, base, box, one + 1, x, y, best)
        # the more promising child goes on top of the stack
        for side in range(2):
            is_left = (left < right) == (side == 0)
            bound = left if is_left else right
            if bound > best:
                node_of[top, 0], bound_of[top] = (one if is_left else one + 1), bound
                node_of[top, 1], node_of[top, 2] = (low if is_left else middle), (middle if is_left else high)
                top += 1
    return best, facet


@njit(nogil=True)
def scratch():
    """Room for the open nodes of one ``lowest``."""
    return np.empty((_STACK, 3), np.int64), np.empty(_STACK)


@njit(cache=True, nogil=True)
def drop(pieces, point, corners, box, levels, any_will_do, height, touched):
    """Lowest tip heights of a cutter, and the facets it rests on.

    Parameters
    ----------
    pieces : (p, 5) float array
        flat, corner radius, rise, outer, base of every piece.
    point : (k, 2) places of the tool axis in plan
    corners, box, levels : the tree of ``kernels.plan_tree``
    any_will_do : bool
        Whether any facet that stands above the floor is as good as the highest.
    height : (k,) float array, written
        Height of the tip; what stands in it is a floor below which nothing is looked for.
    touched : (k,) int array, written
        Facet in tree order; -1 where nothing above the floor is touched.
    """
    node_of, bound_of = scratch()
    for q in range(point.shape[0]):
        best, facet = height[q], -1
        ceiling = best if any_will_do else np.inf
        for n in range(pieces.shape[0]):
            best, found = lowest(
                pieces[n, 0], pieces[n, 1], pieces[n, 2], pieces[n, 3], pieces[n, 4],
                point[q, 0], point[q, 1], best, ceiling, corners, box, levels, node_of, bound_of,
            )  # fmt: skip
            if found >= 0:
                facet = found
        height[q] = best
        touched[q] = facet
