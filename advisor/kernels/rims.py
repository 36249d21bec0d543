"""Normals at the rim of a smooth face, where facets lie on one side only.

The mean of one-sided facets is the normal half a facet away from the rim. How fast the normal turns there is
known from the facets themselves, so the mean is carried on to the rim. What it is carried on by changes what is
known of the turning: a few rounds settle it (each halves the error).
"""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.shape_tensor import facet_tensor


@njit(cache=True, nogil=True)
def carry_to_rims(vertices, faces, normals, place, weights, counts, sector, on_rim, mean, spread, least_cosine, rounds):
    """Carry sector normals on to the vertex, for sectors on a rim; `mean` is changed in place.

    Parameters
    ----------
    place : (m, 3) float64 array
        Where the normal of each facet holds: the middle of the plane face it lies in.
    weights : (m, 3) float64 array
        Weight of each facet's normal at its corners.
    counts : (3 m,) bool array
        Whether the facet counts in its corner's sector (see ``sectors.sector_normals``).
    sector : (3 m,) int32 array
    on_rim : (s,) bool array
        Sectors whose facets lie on one side of the vertex.
    mean : (s, 3) float64 array
        Sector normals.
    spread : (s,) float64 array
        Largest difference of a facet's normal from the sector's: no normal is carried further than that.
    least_cosine : float
        A corner normal further from its facet than this stands for the tip of a cone: the facet's is used.
    """
    count = mean.shape[0]
    start = mean.copy()
    offset = np.zeros((count, 3), np.float64)
    weight = np.zeros(count, np.float64)
    rim_facets = np.empty(faces.shape[0], np.int32)
    rims = 0
    for f in range(faces.shape[0]):
        touches = False
        for k in range(3):
            s = sector[3 * f + k]
            if on_rim[s]:
                touches = True
                if counts[3 * f + k]:
                    weight[s] += weights[f, k]
                    for axis in range(3):
                        offset[s, axis] += weights[f, k] * (vertices[faces[f, k], axis] - place[f, axis])
        if touches:
            rim_facets[rims] = f
            rims += 1
    turning = np.zeros((count, 6), np.float64)
    corner = np.empty((3, 3), np.float64)
    tensor = np.empty(6, np.float64)
    for _ in range(rounds):
        for i in range(rims):
            for k in range(3):
                turning[sector[3 * rim_facets[i] + k]] = 0.0
        for i in range(rims):
            f = rim_facets[i]
            for k in range(3):
                n = mean[sector[3 * f + k]]
                near = n[0] * normals[f, 0] + n[1] * normals[f, 1] + n[2] * normals[f, 2] >= least_cosine
                for axis in range(3):
                    corner[k, axis] = n[axis] if near else normals[f, axis]
            facet_tensor(vertices, faces[f], corner, normals[f], tensor)
            for k in range(3):
                s = sector[3 * f + k]
                if on_rim[s] and counts[3 * f + k]:
                    for j in range(6):
                        turning[s, j] += weights[f, k] * tensor[j]
        for s in range(count):
            if on_rim[s] and weight[s] > 0:
                _carry(start[s], turning[s], offset[s], weight[s], spread[s], mean[s])
    _take_back(normals, sector, on_rim, rim_facets, rims, start, mean)


@njit(nogil=True)
def _misfit(f, normals, sector, mean):
    """How far the mean of a facet's corner normals is from its own normal, squared."""
    x, y, z = 0.0, 0.0, 0.0
    for k in range(3):
        n = mean[sector[3 * f + k]]
        x += n[0]
        y += n[1]
        z += n[2]
    length = np.sqrt(x * x + y * y + z * z)
    if not length > 0:
        return 0.0
    n = normals[f]
    return (x / length - n[0]) ** 2 + (y / length - n[1]) ** 2 + (z / length - n[2]) ** 2


@njit(nogil=True)
def _take_back(normals, sector, on_rim, rim_facets, rims, start, mean):
    """Undo the carrying where it does not bring the corner normals nearer to what the facets themselves say."""
    gain = np.zeros(mean.shape[0], np.float64)
    for i in range(rims):
        f = rim_facets[i]
        better = _misfit(f, normals, sector, start) - _misfit(f, normals, sector, mean)
        for k in range(3):
            gain[sector[3 * f + k]] += better
    for s in range(mean.shape[0]):
        if on_rim[s] and not gain[s] > 0.0:
            for axis in range(3):
                mean[s, axis] = start[s, axis]


@njit(nogil=True)
def _carry(start, turning, offset, weight, most, out):
    scale = 1.0 / (weight * weight)
    x, y, z = scale * offset[0], scale * offset[1], scale * offset[2]
    a = turning[0] * x + turning[3] * y + turning[5] * z
    b = turning[3] * x + turning[1] * y + turning[4] * z
    c = turning[5] * x + turning[4] * y + turning[2] * z
    size = np.sqrt(a * a + b * b + c * c)
    share = most / size if size > most else 1.0
    a, b, c = start[0] + share * a, start[1] + share * b, start[2] + share * c
    length = np.sqrt(a * a + b * b + c * c)
    if length > 0:
        out[0], out[1], out[2] = a / length, b / length, c / length
