"""Shape operator of every facet in the facet's own plane, smoothed over neighbours that bend alike.

A symmetric 2 x 2 operator is kept as its mean ``H`` and a complex number ``D = |D| exp(2 i a)``: the principal
curvatures are ``H + |D|`` and ``H - |D|``, the first along the angle ``a`` from the facet's first edge. Laid flat about
an edge, a neighbour's operator turns by a phase: nothing leaks out of the tangent plane, however coarse the facets.
"""

from __future__ import annotations

import numpy as np
from numba import njit

# A neighbour this near (share of own bend, squared) is the other half of a strip.
_AGREE = 4e-4
# Square of a bend, 1/mm2, far below any.
_TINY = 1e-300


@njit(nogil=True)
def _frame(vertices, face, normal):
    """Frame of a facet: unit vectors along its first edge and across it, in which its corners are (0, 0), (length, 0)
    and (x, y).
    """
    p = vertices[face[0]]
    q = vertices[face[1]]
    r = vertices[face[2]]
    n0, n1, n2 = normal[0], normal[1], normal[2]
    u0, u1, u2 = q[0] - p[0], q[1] - p[1], q[2] - p[2]
    length = np.sqrt(u0 * u0 + u1 * u1 + u2 * u2)
    u0, u1, u2 = u0 / length, u1 / length, u2 / length
    v0, v1, v2 = n1 * u2 - n2 * u1, n2 * u0 - n0 * u2, n0 * u1 - n1 * u0
    s0, s1, s2 = r[0] - p[0], r[1] - p[1], r[2] - p[2]
    x, y = s0 * u0 + s1 * u1 + s2 * u2, s0 * v0 + s1 * v1 + s2 * v2
    return u0, u1, u2, v0, v1, v2, length, x, y


@njit(cache=True, nogil=True)
def facet_operators(vertices, faces, corner_normal, normals):
    """Symmetric gradient, within each facet, of the normal that is linear between its corners.

    Its integral over the facet has no height in the denominator, so slivers weigh no more than their area, and over
    neighbouring facets the integrals telescope (Stokes): errors of single normals cancel in an average by area.

    Returns
    -------
    mean : (m,) float64 array, 1/mm, convex positive
    deviator : (m,) complex128 array, 1/mm
    edge_phase : (3 m,) complex128 array
        ``exp(2 i a)`` for the angle ``a`` of every half-edge in its facet's frame.
    """
    m = faces.shape[0]
    mean = np.empty(m, np.float64)
    deviator = np.empty(m, np.complex128)
    edge_phase = np.empty(3 * m, np.complex128)
    for f in range(m):
        u0, u1, u2, v0, v1, v2, length, x, y = _frame(vertices, faces[f], normals[f])
        c = corner_normal[f]
        d0, d1, d2 = c[1, 0] - c[0, 0], c[1, 1] - c[0, 1], c[1, 2] - c[0, 2]
        e0, e1, e2 = c[2, 0] - c[0, 0], c[2, 1] - c[0, 1], c[2, 2] - c[0, 2]
        du, dv = (d0 * u0 + d1 * u1 + d2 * u2) / length, (d0 * v0 + d1 * v1 + d2 * v2) / length
        across_u = (e0 * u0 + e1 * u1 + e2 * u2 - x * du) / y
        across_v = (e0 * v0 + e1 * v1 + e2 * v2 - x * dv) / y
        mean[f] = (du + across_v) / 2
        deviator[f] = complex((du - across_v) / 2, (across_u + dv) / 2)
        edge_phase[3 * f] = 1.0
        second = complex(x - length, y)
        third = complex(x, y)
        edge_phase[3 * f + 1] = second * second / (second.real**2 + second.imag**2)
        edge_phase[3 * f + 2] = third * third / (third.real**2 + third.imag**2)
    return mean, deviator, edge_phase


@njit(cache=True, nogil=True)
def smooth_operators(twins, is_crease, areas, mean, deviator, edge_phase, likeness, rounds):
    """Averages by area over the three edge neighbours, those that bend alike only, never across creases.

    What counts as alike is asked of each facet: within ``likeness`` times its own bend or, where no neighbour agrees
    with it, twice what the second nearest of them differs by. Strips of a fillet agree with each other and keep a
    wall or another fillet out; facets of an uneven mesh, none of which agree, are averaged.

    Parameters
    ----------
    likeness : float
        Share of its own bend by which a neighbour may differ.
    rounds : int
    """
    m = mean.shape[0]
    now_mean, now_deviator = mean.copy(), deviator.copy()
    next_mean, next_deviator = np.empty_like(mean), np.empty_like(deviator)
    apart = np.empty(3, np.float64)
    carried = np.empty(3, np.complex128)
    for _ in range(rounds):
        for f in range(m):
            h_own, d_own = now_mean[f], now_deviator[f]
            for k in range(3):
                h = 3 * f + k
                twin = twins[h]
                if twin < 0 or is_crease[h]:
                    apart[k] = np.inf
                    continue
                g = twin // 3
                carried[k] = now_deviator[g] * (edge_phase[h] * edge_phase[twin].conjugate())
                dh, dd = now_mean[g] - h_own, carried[k] - d_own
                apart[k] = dh * dh + dd.real * dd.real + dd.imag * dd.imag
            low, high = min(apart[0], apart[1]), max(apart[0], apart[1])
            nearest, second = min(low, apart[2]), min(max(low, apart[2]), high)
            own = h_own * h_own + d_own.real**2 + d_own.imag**2
            scale = likeness * likeness * own
            if nearest > _AGREE * own and second < np.inf:
                scale += 4 * second
            if scale == 0.0:  # a plane: only what is plane too is like it
                scale = _TINY
            total, h_sum, d_sum = areas[f], areas[f] * h_own, areas[f] * d_own
            for k in range(3):
                like = 1.0 - apart[k] / scale
                if like <= 0.0:
                    continue
                g = twins[3 * f + k] // 3
                weight = areas[g] * like * like
                total += weight
                h_sum += weight * now_mean[g]
                d_sum += weight * carried[k]
            next_mean[f], next_deviator[f] = h_sum / total, d_sum / total
        now_mean, next_mean = next_mean, now_mean
        now_deviator, next_deviator = next_deviator, now_deviator
    return now_mean, now_deviator


@njit(cache=True, nogil=True)
def normals_by_operators(vertices, faces, normals, weights, sector, sector_count, mean, deviator, least_cosine):
    """Corner normals from facet normals and operators: each facet tells the normal at its corners, sectors average.

    Where the surface bends by ``T`` a facet with sides ``q`` and ``r`` at a corner leans from the normal there by
    ``g``, where ``q . g = q . T q / 2`` and ``r . g = r . T r / 2`` (Taylor to second order), and the normal is
    ``sqrt(1 - g . g) n - g``: exact on spheres and for strips of cylinders, however uneven or coarse the facets.

    Returns
    -------
    corner : (m, 3, 3) float64 array
        A facet leaning from the mean by more than ``least_cosine`` keeps its own normal, as in ``smooth_surface``.
    """
    told = np.zeros((sector_count, 3), np.float64)
    edge = np.empty((3, 2), np.float64)
    for f in range(faces.shape[0]):
        n0, n1, n2 = normals[f, 0], normals[f, 1], normals[f, 2]
        u0, u1, u2, v0, v1, v2, length, x, y = _frame(vertices, faces[f], normals[f])
        edge[0, 0], edge[0, 1] = length, 0.0
        edge[1, 0], edge[1, 1] = x - length, y
        edge[2, 0], edge[2, 1] = -x, -y
        inverse = 1.0 / (length * y)
        a, b, c = mean[f] + deviator[f].real, deviator[f].imag, mean[f] - deviator[f].real
        for k in range(3):
            ax, ay = edge[k, 0], edge[k, 1]
            bx, by = -edge[(k + 2) % 3, 0], -edge[(k + 2) % 3, 1]
            rise_a = (a * ax * ax + 2 * b * ax * ay + c * ay * ay) / 2
            rise_b = (a * bx * bx + 2 * b * bx * by + c * by * by) / 2
            gx, gy = (rise_a * by - rise_b * ay) * inverse, (rise_b * ax - rise_a * bx) * inverse
            upright = 1.0 - gx * gx - gy * gy
            if upright < 0.5:  # far beyond what a second-order law can say
                gx, gy, upright = 0.0, 0.0, 1.0
            s, w, z = sector[3 * f + k], weights[f, k], np.sqrt(upright)
            told[s, 0] += w * (z * n0 - gx * u0 - gy * v0)
            told[s, 1] += w * (z * n1 - gx * u1 - gy * v1)
            told[s, 2] += w * (z * n2 - gx * u2 - gy * v2)
    corner = np.empty((faces.shape[0], 3, 3), np.float64)
    for f in range(faces.shape[0]):
        for k in range(3):
            t = told[sector[3 * f + k]]
            scale = 1.0 / max(np.sqrt(t[0] * t[0] + t[1] * t[1] + t[2] * t[2]), 1e-300)
            along = t[0] * normals[f, 0] + t[1] * normals[f, 1] + t[2] * normals[f, 2]
            if along * scale > least_cosine:
                corner[f, k, 0], corner[f, k, 1], corner[f, k, 2] = t[0] * scale, t[1] * scale, t[2] * scale
            else:
                corner[f, k, 0], corner[f, k, 1], corner[f, k, 2] = normals[f, 0], normals[f, 1], normals[f, 2]
    return corner


@njit(cache=True, nogil=True)
def largest_bend_directions(vertices, faces, normals, mean, deviator, least_share):
    """(m, 3) unit direction of the larger principal curvature of every facet, in its plane.

    NaN where the two differ by no more than ``least_share`` of the larger by size: there is no such direction. Its
    sense has no meaning.
    """
    out = np.full((faces.shape[0], 3), np.nan)
    for f in range(faces.shape[0]):
        size = np.sqrt(deviator[f].real ** 2 + deviator[f].imag ** 2)
        if 2 * size <= least_share * (abs(mean[f]) + size):
            continue
        cosine = min(1.0, max(-1.0, deviator[f].real / size))
        c, s = np.sqrt((1 + cosine) / 2), np.sqrt((1 - cosine) / 2)
        if deviator[f].imag < 0:
            s = -s
        p, q, n = vertices[faces[f, 0]], vertices[faces[f, 1]], normals[f]
        u0, u1, u2 = q[0] - p[0], q[1] - p[1], q[2] - p[2]
        length = np.sqrt(u0 * u0 + u1 * u1 + u2 * u2)
        c /= length
        s /= length
        out[f, 0] = c * u0 + s * (n[1] * u2 - n[2] * u1)
        out[f, 1] = c * u1 + s * (n[2] * u0 - n[0] * u2)
        out[f, 2] = c * u2 + s * (n[0] * u1 - n[1] * u0)
    return out


@njit(cache=True, nogil=True)
def vertex_operators(faces, corner_normal, weights, sector, mean, deviator, direction, vertex_count):
    """Mean curvature and half the difference of the principal ones at every vertex, from the facets around it.

    Returns
    -------
    mean, half_difference : (n,) float64 arrays, 1/mm
        NaN where the corners of a vertex lie in several sectors.
    """
    own = np.full(vertex_count, -1, np.int32)
    several = np.zeros(vertex_count, np.bool_)
    normal = np.zeros((vertex_count, 3), np.float64)
    for f in range(faces.shape[0]):
        for k in range(3):
            v = faces[f, k]
            if own[v] < 0:
                own[v] = sector[3 * f + k]
                for axis in range(3):
                    normal[v, axis] = corner_normal[f, k, axis]
            elif own[v] != sector[3 * f + k]:
                several[v] = True
    total = np.zeros(vertex_count, np.float64)
    mean_sum = np.zeros(vertex_count, np.float64)
    deviator_sum = np.zeros(vertex_count, np.complex128)
    for f in range(faces.shape[0]):
        size = np.sqrt(deviator[f].real ** 2 + deviator[f].imag ** 2)
        d = direction[f]
        for k in range(3):
            v = faces[f, k]
            total[v] += weights[f, k]
            mean_sum[v] += weights[f, k] * mean[f]
            if np.isnan(d[0]):
                continue
            n = normal[v]
            # a frame of the tangent plane without a pole in sight (Duff et al., JCGT 6(1), 2017; from memory)
            sign = 1.0 if n[2] >= 0 else -1.0
            a = -1.0 / (sign + n[2])
            b = n[0] * n[1] * a
            x = (1.0 + sign * n[0] * n[0] * a) * d[0] + sign * b * d[1] - sign * n[0] * d[2]
            y = b * d[0] + (sign + n[1] * n[1] * a) * d[1] - n[1] * d[2]
            square = x * x + y * y
            if square > 0.0:
                deviator_sum[v] += weights[f, k] * size / square * complex(x * x - y * y, 2 * x * y)
    half_difference = np.empty(vertex_count, np.float64)
    for v in range(vertex_count):
        if several[v] or total[v] == 0.0:
            mean_sum[v] = np.nan
            half_difference[v] = np.nan
        else:
            mean_sum[v] /= total[v]
            half_difference[v] = np.sqrt(deviator_sum[v].real ** 2 + deviator_sum[v].imag ** 2) / total[v]
    return mean_sum, half_difference
