"""Facets without height are taken out by turning their long edge over to the facet behind it."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True)
def facet_height(vertices, faces, f):
    """Height of a facet over its longest edge, and the corner at which that edge begins.

    Returns ``(height, corner)``; the height is 0 where two corners coincide.
    """
    longest = -1.0
    corner = 0
    for k in range(3):
        a, b = vertices[faces[f, k]], vertices[faces[f, (k + 1) % 3]]
        length = np.sqrt((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2 + (b[2] - a[2]) ** 2)
        if length > longest:
            longest = length
            corner = k
    if longest <= 0:
        return 0.0, 0
    a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
    x = (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1])
    y = (b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2])
    z = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return np.sqrt(x * x + y * y + z * z) / longest, corner


@njit(cache=True, nogil=True)
def needles_of(vertices, faces, least_height):
    """Numbers of the facets lower than `least_height`."""
    found = np.empty(faces.shape[0], np.int32)
    count = 0
    for f in range(faces.shape[0]):
        height, _ = facet_height(vertices, faces, f)
        if height <= least_height:
            found[count] = f
            count += 1
    return found[:count].copy()


@njit(nogil=True)
def _relink(twins, h, other):
    twins[h] = other
    if other >= 0:
        twins[other] = h


@njit(cache=True, nogil=True)
def turn_needles_over(vertices, faces, twins, needles, least_height):
    """Flip the long edge of each needle to the facet behind it, so that the skin stays closed.

    The needle ``u v w`` (``w`` on edge ``u v``) and the facet ``v u x`` behind become ``w u x`` and ``w x v``.
    `faces` and `twins` are changed in place.

    Returns
    -------
    turned : int
        Needles taken out so; those without a facet behind, or that would fold, stay.
    """
    turned = 0
    for f in needles:
        height, k = facet_height(vertices, faces, f)
        twin = twins[3 * f + k]
        if height <= least_height and twin >= 0 and _flip(vertices, faces, twins, 3 * f + k, twin, least_height):
            turned += 1
    return turned


@njit(nogil=True)
def _flip(vertices, faces, twins, h, twin, least_height):
    f, k = h // 3, h % 3
    g, j = twin // 3, twin % 3
    u, v, w = faces[f, k], faces[f, (k + 1) % 3], faces[f, (k + 2) % 3]
    x = faces[g, (j + 2) % 3]
    if f == g or faces[g, j] != v or w in (x, u, v) or x in (u, v):
        return False
    height, _ = facet_height(vertices, faces, g)
    if height <= least_height:  # the facet behind is a needle too: let it go first
        return False
    vw, wu = twins[3 * f + (k + 1) % 3], twins[3 * f + (k + 2) % 3]
    ux, xv = twins[3 * g + (j + 1) % 3], twins[3 * g + (j + 2) % 3]
    faces[f, 0], faces[f, 1], faces[f, 2] = w, u, x
    faces[g, 0], faces[g, 1], faces[g, 2] = w, x, v
    _relink(twins, 3 * f, wu)
    _relink(twins, 3 * f + 1, ux)
    _relink(twins, 3 * f + 2, 3 * g)
    _relink(twins, 3 * g + 1, xv)
    _relink(twins, 3 * g + 2, vw)
    return True
