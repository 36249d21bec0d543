"""Places of the smooth surface over flat edges and facets: see ``passes.surface.curved_points``."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads


@reads(0, 1, 2)
@njit(cache=True, nogil=True)
def curved(place, normal, corners, weights):
    """Points and unit normals half way from flat places to the mean of their feet on the corners' tangent planes.

    Parameters
    ----------
    place, normal : (n, 3) float64 arrays
    corners : (k, c) int array
        Rows of them.
    weights : (k, c) float64 array

    Returns
    -------
    point, unit : (k, 3) float64 arrays
    """
    count, around = corners.shape
    point, unit = np.empty((count, 3), np.float64), np.empty((count, 3), np.float64)
    flat, lift, mean = np.empty(3), np.empty(3), np.empty(3)
    for i in range(count):
        flat[:], lift[:], mean[:] = 0.0, 0.0, 0.0
        for j in range(around):
            for axis in range(3):
                flat[axis] += weights[i, j] * place[corners[i, j], axis]
                mean[axis] += weights[i, j] * normal[corners[i, j], axis]
        for j in range(around):
            above = 0.0
            for axis in range(3):
                above += (flat[axis] - place[corners[i, j], axis]) * normal[corners[i, j], axis]
            for axis in range(3):
                lift[axis] -= 0.5 * weights[i, j] * above * normal[corners[i, j], axis]
        length = max(np.sqrt(mean[0] ** 2 + mean[1] ** 2 + mean[2] ** 2), 1e-300)
        for axis in range(3):
            point[i, axis] = flat[axis] + lift[axis]
            unit[i, axis] = mean[axis] / length
    return point, unit
