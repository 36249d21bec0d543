"""Where the slope of the smooth surface crosses a threshold, inside facets.

Inside a facet the normal is ``n(p)``, linear between the corner normals; the slope is the angle between ``n(p)``
and the tool axis. On a sphere this is exact, for there the normal is linear in the place.
Sides: +1 where the slope is above the threshold, -1 below, 0 on it.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads

# A line within this share of a facet's change of slope from a corner runs through the corner.
_NEAR_SHARE = 0.01


@njit(nogil=True)
def _excess(x, y, z, axis, cosine):
    """Positive where the slope of (x, y, z) is above the threshold; sin of the excess for small ones."""
    length = np.sqrt(x * x + y * y + z * z)
    if length == 0.0:
        return 0.0
    return cosine - (x * axis[0] + y * axis[1] + z * axis[2]) / length


@njit(nogil=True)
def _side(x, y, z, axis, cosine, slack):
    excess = _excess(x, y, z, axis, cosine)
    if excess > slack:
        return 1
    return -1 if excess < -slack else 0


@njit(nogil=True)
def _root(n0, n1, axis, cosine):
    """Place in 0..1 on an edge at which the slope is the threshold; the ends lie on different sides."""
    low, high = 0.0, 1.0
    rising = _excess(n1[0], n1[1], n1[2], axis, cosine) > 0
    for _ in range(50):
        t = 0.5 * (low + high)
        x = n0[0] + t * (n1[0] - n0[0])
        y = n0[1] + t * (n1[1] - n0[1])
        z = n0[2] + t * (n1[2] - n0[2])
        if (_excess(x, y, z, axis, cosine) > 0) == rising:
            high = t
        else:
            low = t
    return 0.5 * (low + high)


@njit(cache=True, nogil=True)
def mean_normals(corner_normal):
    """(m, 3) unit mean of the corner normals of each facet."""
    out = np.empty((corner_normal.shape[0], 3), np.float64)
    for f in range(corner_normal.shape[0]):
        c = corner_normal[f]
        x, y, z = c[0, 0] + c[1, 0] + c[2, 0], c[0, 1] + c[1, 1] + c[2, 1], c[0, 2] + c[1, 2] + c[2, 2]
        length = np.sqrt(x * x + y * y + z * z)
        out[f, 0], out[f, 1], out[f, 2] = x / length, y / length, z / length
    return out


@reads(0)
@njit(cache=True, nogil=True)
def corner_slopes(corner_normal, axis):
    """(m, 2) least and greatest slope at the corners of each facet, degrees."""
    out = np.empty((corner_normal.shape[0], 2), np.float64)
    for f in range(corner_normal.shape[0]):
        out[f, 0], out[f, 1] = 180.0, 0.0
        for k in range(3):
            n = corner_normal[f, k]
            along = n[0] * axis[0] + n[1] * axis[1] + n[2] * axis[2]
            x, y, z = n[0] - along * axis[0], n[1] - along * axis[1], n[2] - along * axis[2]
            slope = np.degrees(np.arctan2(np.sqrt(x * x + y * y + z * z), along))
            out[f, 0] = min(out[f, 0], slope)
            out[f, 1] = max(out[f, 1], slope)
    return out


@njit(nogil=True)
def _is_on(normal, axis, cosine, slack):
    """Whether all corners of a facet lie within the slack of the threshold."""
    off = 0
    for k in range(3):
        off += abs(_side(normal[k, 0], normal[k, 1], normal[k, 2], axis, cosine, slack))
    return off == 0


@reads(0)
@njit(cache=True, nogil=True)
def facets_on(corner_normal, axis, cosine, slack):
    """(m,) facets that lie on the threshold all over, within the slack."""
    on = np.empty(corner_normal.shape[0], np.bool_)
    for f in range(corner_normal.shape[0]):
        on[f] = _is_on(corner_normal[f], axis, cosine, slack)
    return on


@njit(nogil=True)
def _sides_of_facet(normal, axis, cosine, slack, sides):
    """Sides of the corners of a facet that is not on the threshold, into `sides`.

    Only corners so near that the line may as well run through them are on it, by a share of the facet's change of
    slope, or of the slack where that is more: pieces along a line have next to no change.
    """
    low, high = np.inf, -np.inf
    for k in range(3):
        excess = _excess(normal[k, 0], normal[k, 1], normal[k, 2], axis, cosine)
        low, high = min(low, excess), max(high, excess)
    near = _NEAR_SHARE * max(high - low, slack)
    for k in range(3):
        sides[k] = _side(normal[k, 0], normal[k, 1], normal[k, 2], axis, cosine, near)


@njit(cache=True, nogil=True)
def corner_sides(corner_normal, on, axis, cosine, slack):
    """(m, 3) side of every corner.

    Parameters
    ----------
    corner_normal : (m, 3, 3) float64 array
    on : (m,) bool array
        Facets that lie on the threshold all over, or are parts of such.
    """
    sides = np.zeros((corner_normal.shape[0], 3), np.int8)
    for f in range(corner_normal.shape[0]):
        if not on[f]:
            _sides_of_facet(corner_normal[f], axis, cosine, slack, sides[f])
    return sides


@njit(nogil=True)
def _dips(normal, axis, cosine, slack, side):
    """Whether the threshold is crossed inside a facet though all its corners lie on one side."""
    for k in range(3):
        a, b = normal[k], normal[(k + 1) % 3]
        if side * _side(a[0] + b[0], a[1] + b[1], a[2] + b[2], axis, cosine, slack) < 0:
            return True
    x = normal[0, 0] + normal[1, 0] + normal[2, 0]
    y = normal[0, 1] + normal[1, 1] + normal[2, 1]
    z = normal[0, 2] + normal[1, 2] + normal[2, 2]
    return side * _side(x, y, z, axis, cosine, slack) < 0


@njit(nogil=True)
def _cosines_over(normal, axis):
    """Least and greatest cosine of the slope at the corners of a facet, and at its middles of edges and its own."""
    low, high = np.inf, -np.inf
    for i in range(7):
        x, y, z = 0.0, 0.0, 0.0
        for k in range(3):
            # a corner each, two of them, all three
            if i == 6 or (i < 3 and i == k) or (3 <= i < 6 and i - 3 != k):
                x, y, z = x + normal[k, 0], y + normal[k, 1], z + normal[k, 2]
        length = np.sqrt(x * x + y * y + z * z)
        if length == 0.0:
            return -np.inf, np.inf
        cosine = (x * axis[0] + y * axis[1] + z * axis[2]) / length
        low, high = min(low, cosine), max(high, cosine)
    return low, high


@reads(0)
@njit(cache=True, nogil=True)
def crossed_facets(corner_normal, axis, cosines, slacks):
    """(m,) whether any of the thresholds passes through a facet."""
    crossed = np.zeros(corner_normal.shape[0], np.bool_)
    sides = np.empty(3, np.int8)
    for f in range(corner_normal.shape[0]):
        least, most = _cosines_over(corner_normal[f], axis)
        for i in range(cosines.shape[0]):
            # most facets are far from any threshold
            if cosines[i] - slacks[i] > most or cosines[i] + slacks[i] < least:
                continue
            if _is_on(corner_normal[f], axis, cosines[i], slacks[i]):
                continue
            _sides_of_facet(corner_normal[f], axis, cosines[i], slacks[i], sides)
            low, high = min(sides), max(sides)
            if low * high < 0 or (
                low == high and low != 0 and _dips(corner_normal[f], axis, cosines[i], slacks[i], low)
            ):
                crossed[f] = True
                break
    return crossed


@njit(cache=True, nogil=True)
def crossing_places(corner_normal, sides, axis, cosine):
    """(3 m,) place of the threshold on each half-edge whose ends lie on different sides; NaN elsewhere."""
    at = np.full(3 * corner_normal.shape[0], np.nan)
    for f in range(corner_normal.shape[0]):
        for k in range(3):
            j = (k + 1) % 3
            if sides[f, k] * sides[f, j] < 0:
                at[3 * f + k] = _root(corner_normal[f, k], corner_normal[f, j], axis, cosine)
    return at


@njit(cache=True, nogil=True)
def halving_places(vertices, faces, corner_normal, sides, axis, cosine, slack, sag_share, shortest):
    """(3 m,) 0.5 on all edges of facets in which a straight cut would leave the threshold's curve; NaN elsewhere."""
    at = np.full(3 * faces.shape[0], np.nan)
    for f in range(faces.shape[0]):
        low, high = min(sides[f]), max(sides[f])
        if low * high < 0:
            wanted = _sags(vertices, faces[f], corner_normal[f], sides[f], axis, cosine, sag_share, shortest)
        else:
            wanted = (
                low == high
                and low != 0
                and _dips(corner_normal[f], axis, cosine, slack, low)
                and _longest(vertices, faces[f]) > shortest
            )
        if wanted:
            at[3 * f : 3 * f + 3] = 0.5
    return at


@njit(nogil=True)
def _longest(vertices, face):
    longest = 0.0
    for k in range(3):
        a, b = vertices[face[k]], vertices[face[(k + 1) % 3]]
        longest = max(longest, np.sqrt((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2 + (b[2] - a[2]) ** 2))
    return longest


@njit(nogil=True)
def _sags(vertices, face, normal, sides, axis, cosine, sag_share, shortest):
    """Compare the curve with its chord, on the ray from the corner that stands alone through the chord's middle."""
    lone = 0
    for k in range(3):
        if sides[k] * sides[(k + 1) % 3] < 0 and sides[k] * sides[(k + 2) % 3] < 0:
            lone = k
    if not (sides[lone] * sides[(lone + 1) % 3] < 0 and sides[lone] * sides[(lone + 2) % 3] < 0):
        return False  # the line runs through a corner: a short cut, and halving would not end
    i, j = (lone + 1) % 3, (lone + 2) % 3
    t = _root(normal[lone], normal[i], axis, cosine)
    s = _root(normal[lone], normal[j], axis, cosine)
    ray_place = np.empty(3, np.float64)
    ray_normal = np.empty(3, np.float64)
    chord = 0.0
    for k in range(3):
        p, q, r = vertices[face[lone], k], vertices[face[i], k], vertices[face[j], k]
        to_i, to_j = t * (q - p), s * (r - p)
        chord += (to_i - to_j) ** 2
        ray_place[k] = to_i + to_j  # twice the way to the chord's middle
        n = normal[lone, k]
        ray_normal[k] = n + t * (normal[i, k] - n) + s * (normal[j, k] - n)
    chord = np.sqrt(chord)
    if chord < shortest:
        return False
    # the ray reaches the far edge at `reach` times the way to the chord's middle, at most 1 / max(t, s)
    reach_side = _excess(ray_normal[0], ray_normal[1], ray_normal[2], axis, cosine)
    lone_side = _excess(normal[lone, 0], normal[lone, 1], normal[lone, 2], axis, cosine)
    if reach_side * lone_side > 0:
        return True
    middle = _root(normal[lone], ray_normal, axis, cosine)
    length = np.sqrt(ray_place[0] ** 2 + ray_place[1] ** 2 + ray_place[2] ** 2)
    return abs(middle - 0.5) * length > sag_share * chord
