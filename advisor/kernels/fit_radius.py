"""The largest ball that fits at a point of a surface, with nothing of its shadow in it (see ``kernels.leftover``)."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.drop import lowest, scratch
from advisor.kernels.leftover import nearest_in_shadow
from advisor.kernels.plan_tree import height_above

# A ball that hardly shrinks any more is made this share smaller; where that goes on, the rest is halved.
_SHRINK = 0.995
_DEEPEST_TRIES, _QUICK_TRIES = 3, 6


@njit(cache=True, nogil=True)
def fit_radius(point, normal, tolerance, least, corners, box, levels, radius):
    """Radius of the largest ball that touches each point and goes into nothing; 0 where the least does.

    A ball in the way of a shadow shrinks until it touches the point of it that was nearest to its middle: the balls
    that touch one point lie in one another, so no larger one fits.

    Parameters
    ----------
    point, normal : (k, 3) float arrays
        In the frame of the tree.
    tolerance : (k,) float array
        By which balls may stand off the points.
    least : float
    corners, box, levels : the tree of ``kernels.plan_tree``
    radius : (k,) float array, written
        What stands in it is the greatest looked for.
    """
    node_of, bound_of = scratch()
    c, n = np.empty(3), np.empty(3)
    for i in range(point.shape[0]):
        for k in range(3):
            n[k] = normal[i, k]
        # what fits lies between `fits` and `most`, which are tried to be brought together
        r, most, fits, tries = radius[i], radius[i], 0.0, 0
        while r >= least:
            for k in range(3):
                c[k] = point[i, k] + (tolerance[i] + r) * n[k]
            tip = c[2] - r
            ceiling = np.inf if tries < _DEEPEST_TRIES else tip  # later on anything in the way will do
            _, f = lowest(0.0, r, 0.0, r, 0.0, c[0], c[1], tip, ceiling, corners, box, levels, node_of, bound_of)
            tries += 1
            if f < 0:
                fits = r
                if r >= _SHRINK * most:
                    break
                r = np.sqrt(fits * most)
                continue
            # what is in the way of the middle itself lets no ball of half the size pass
            x, y, z = c[0], c[1], c[2]
            if height_above(corners[f], x, y) < z:
                x, y, z, _ = nearest_in_shadow(corners[f], x, y, z)
            x, y, z = x - c[0] + r * n[0], y - c[1] + r * n[1], z - c[2] + r * n[2]
            rise = x * n[0] + y * n[1] + z * n[2]
            most = min((x * x + y * y + z * z) / (2.0 * rise) if rise > 0.0 else r, r)
            if fits > 0.0 and fits >= _SHRINK * most:
                break
            smaller = min(most, _SHRINK * r)
            if fits > 0.0:
                smaller = min(smaller, np.sqrt(fits * most))
            elif tries > _QUICK_TRIES:
                smaller = min(smaller, np.sqrt(least * most))
            if r > least and smaller < least <= most:
                smaller = least
            r = smaller
        radius[i] = fits
