"""How far the smooth surface bulges from each facet."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads

# Less acute than this a triangle counts as right-angled: the middle of its circle lies on its longest edge.
_ACUTE = 1e-9


@njit(nogil=True)
def largest_rise(q0, q1, q2):
    """Largest distance between a triangle and a quadric through its corners, mm.

    `q0`, `q1`, `q2` are e . T . e of the three edges e, with T the shape tensor: an edge rises by q/8. But where
    they are squared sides of an acute triangle, all of one sign, the surface bends one way all round and rises
    most at the middle of the circle round that triangle: by half the square of its radius.
    """
    longest = max(abs(q0), abs(q1), abs(q2))
    if 2 * longest >= (1 - _ACUTE) * abs(q0 + q1 + q2):
        return longest / 8
    sixteen_area_squared = 2 * (q0 * q1 + q1 * q2 + q2 * q0) - (q0 * q0 + q1 * q1 + q2 * q2)
    return abs(q0 * q1 * q2) / (2 * sixteen_area_squared)


@njit(nogil=True)
def double_areas(vertices, faces):
    """(m,) twice the area of every facet, mm2."""
    out = np.empty(faces.shape[0], np.float64)
    for f in range(faces.shape[0]):
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        x = (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1])
        y = (b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2])
        z = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        out[f] = np.sqrt(x * x + y * y + z * z)
    return out


@reads(3)
@njit(cache=True, nogil=True)
def facet_rises(vertices, faces, twins, corner_normal, is_crease, bend, least_chord, slack):
    """Rise of the smooth surface over the facets that bend, and their areas.

    Two witnesses, of which the lower is heard. The change of the normal along an edge e is T . e, so e . T . e is
    had from the two corner normals alone: exact, but a long facet that shares a corner with a small fillet tells
    tales. And a strip of width w that turns by an angle over its edge rises by w * angle / 8: summed over the
    edges of a facet, with the narrower of the two facets for w, times `slack` for uneven meshes.

    Parameters
    ----------
    vertices : (n, 3) float64 array, mm
    faces : (m, 3) int32 array
    twins : (3 m,) int32 array
    corner_normal : (m, 3, 3) float64 array
    is_crease : (3 m,) bool array
    bend : (3 m,) float64 array, degrees
    least_chord : float
        Facets whose corner normals differ by less (length of the difference) are plane.
    slack : float

    Returns
    -------
    rise : (k,) float64 array, mm
    area : (k,) float64 array, mm2
    """
    double_area = double_areas(vertices, faces)
    rise = np.empty(faces.shape[0], np.float64)
    area = np.empty(faces.shape[0], np.float64)
    q = np.empty(3, np.float64)
    count = 0
    for f in range(faces.shape[0]):
        widest, over_edges = 0.0, 0.0
        for k in range(3):
            j = (k + 1) % 3
            a, b = faces[f, k], faces[f, j]
            chord, square = 0.0, 0.0
            q[k] = 0.0
            for axis in range(3):
                change = corner_normal[f, j, axis] - corner_normal[f, k, axis]
                along = vertices[b, axis] - vertices[a, axis]
                chord += change * change
                square += along * along
                q[k] += change * along
            widest = max(widest, chord)
            h = 3 * f + k
            if not is_crease[h]:
                width = min(double_area[f], double_area[twins[h] // 3]) / np.sqrt(square)
                over_edges += width * np.radians(abs(bend[h])) / 8
        if widest < least_chord * least_chord:
            continue
        rise[count] = min(largest_rise(q[0], q[1], q[2]), slack * over_edges)
        area[count] = 0.5 * double_area[f]
        count += 1
    return rise[:count], area[:count]


@reads(3)
@njit(cache=True, nogil=True)
def hollow_rises(vertices, faces, twins, normal, corner_normal, least_chord, slack):
    """(m,) how far every facet stands over a smooth surface that is hollow behind it, mm; 0 where it is not.

    The same two witnesses as in ``facet_rises``, of which only what bends inward is heard. Edges where the corner
    normals of the two facets differ by more than `least_chord` are creases.
    """
    double_area = double_areas(vertices, faces)
    rise = np.zeros(faces.shape[0], np.float64)
    q = np.empty(3, np.float64)
    for f in range(faces.shape[0]):
        over_edges = 0.0
        for k in range(3):
            j = (k + 1) % 3
            a, b = vertices[faces[f, k]], vertices[faces[f, j]]
            q[k] = 0.0
            square = 0.0
            for axis in range(3):
                along = b[axis] - a[axis]
                q[k] -= (corner_normal[f, j, axis] - corner_normal[f, k, axis]) * along
                square += along * along
            twin = twins[3 * f + k]
            if twin < 0 or square == 0.0:
                continue
            g = twin // 3
            own, other = corner_normal[f], corner_normal[g]
            # the twin runs the other way: its first corner is this edge's second
            first, second = twin % 3, (twin + 1) % 3
            apart, cosine, rises = 0.0, 0.0, 0.0
            middle = (vertices[faces[g, 0]] + vertices[faces[g, 1]] + vertices[faces[g, 2]]) / 3 - a
            for axis in range(3):
                apart += (own[j, axis] - other[first, axis]) ** 2 + (own[k, axis] - other[second, axis]) ** 2
                cosine += normal[f, axis] * normal[g, axis]
                rises += normal[f, axis] * middle[axis]
            if rises > 0.0 and apart <= 2.0 * least_chord * least_chord:
                width = min(double_area[f], double_area[g]) / np.sqrt(square)
                over_edges += width * np.arccos(min(max(cosine, -1.0), 1.0)) / 8
        highest = max(q[0], q[1], q[2], 0.0) / 8
        if min(q[0], q[1], q[2]) > 0.0:
            highest = largest_rise(q[0], q[1], q[2])
        rise[f] = min(highest, slack * over_edges)
    return rise
