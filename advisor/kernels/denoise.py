"""How noisy a mesh is, and facet normals freed from noise while edges stay."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def roughness_at_vertices(vertices, faces, normals, areas, bend, twins, least_bend, most_bend):
    """How far each vertex stands out from its neighbours' trend, as a share of its mean edge length.

    A vertex's rise over the middle of its neighbours is alike all over a smooth surface (its curvature), and at
    odds with the neighbours' own rise where the mesh is noisy. Their difference is what is returned; NaN for
    vertices on rims and creases (a bend above `most_bend`), and on plane faces (a bend below `least_bend`),
    which no noise leaves behind.
    """
    n = vertices.shape[0]
    mean = np.zeros((n, 3), np.float64)
    normal = np.zeros((n, 3), np.float64)
    edge = np.zeros(n, np.float64)
    count = np.zeros(n, np.int32)
    counts = np.ones(n, np.bool_)
    for f in range(faces.shape[0]):
        for k in range(3):
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            h = 3 * f + k
            if twins[h] < 0 or abs(bend[h]) < least_bend or abs(bend[h]) > most_bend:
                counts[a] = False
                counts[b] = False
            length = 0.0
            for axis in range(3):
                mean[a, axis] += vertices[b, axis]
                normal[a, axis] += areas[f] * normals[f, axis]
                length += (vertices[b, axis] - vertices[a, axis]) ** 2
            edge[a] += np.sqrt(length)
            count[a] += 1
    rise = np.zeros(n, np.float64)
    for v in range(n):
        size = np.sqrt(normal[v, 0] ** 2 + normal[v, 1] ** 2 + normal[v, 2] ** 2)
        if count[v] == 0 or size == 0.0:
            counts[v] = False
            continue
        for axis in range(3):
            rise[v] += (vertices[v, axis] - mean[v, axis] / count[v]) * normal[v, axis] / size
        rise[v] *= count[v] / edge[v]
    around = np.zeros(n, np.float64)
    for f in range(faces.shape[0]):
        for k in range(3):
            around[faces[f, k]] += rise[faces[f, (k + 1) % 3]]
    out = np.full(n, np.nan)
    for v in range(n):
        if counts[v]:
            out[v] = rise[v] - around[v] / count[v]
    return out


@njit(cache=True, nogil=True)
def filtered_normals(twins, normals, areas, widest, rounds):
    """Facet normals averaged over neighbours that lean alike.

    Bilateral normal filtering, local scheme (Y. Zheng, H. Fu, O. Au, C. Tai, "Bilateral normal filtering for
    mesh denoising", IEEE TVCG 17(10), 2011; from memory), over the three edge neighbours.

    Parameters
    ----------
    widest : float
        Difference of unit normals from which a neighbour has no weight: (1 - d^2 / widest^2)^2 below it.
    rounds : int
    """
    m = normals.shape[0]
    now = normals.copy()
    after = np.empty_like(now)
    for _ in range(rounds):
        for f in range(m):
            x, y, z = areas[f] * now[f, 0], areas[f] * now[f, 1], areas[f] * now[f, 2]
            for k in range(3):
                twin = twins[3 * f + k]
                if twin < 0:
                    continue
                g = twin // 3
                apart = (now[f, 0] - now[g, 0]) ** 2 + (now[f, 1] - now[g, 1]) ** 2 + (now[f, 2] - now[g, 2]) ** 2
                like = 1.0 - apart / (widest * widest)
                if like <= 0.0:
                    continue
                weight = areas[g] * like * like
                x += weight * now[g, 0]
                y += weight * now[g, 1]
                z += weight * now[g, 2]
            size = np.sqrt(x * x + y * y + z * z)
            after[f, 0], after[f, 1], after[f, 2] = x / size, y / size, z / size
        now, after = after, now
    return now
