"""How the surface bends under each facet, from the normals at its corners."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads


@njit(nogil=True)
def facet_tensor(vertices, face, corner, n, out):
    """Shape tensor of one facet with corner normals (3, 3) and normal (3,), written to `out` (6,)."""
    p, q = vertices[face[0]], vertices[face[1]]
    length = np.sqrt((q[0] - p[0]) ** 2 + (q[1] - p[1]) ** 2 + (q[2] - p[2]) ** 2)
    u0, u1, u2 = (q[0] - p[0]) / length, (q[1] - p[1]) / length, (q[2] - p[2]) / length
    v0, v1, v2 = n[1] * u2 - n[2] * u1, n[2] * u0 - n[0] * u2, n[0] * u1 - n[1] * u0
    # unknowns a, b, c of [[a, b], [b, c]]; each edge (x, y) with normal change (r, s): ax + by = r, bx + cy = s
    xx, yy, xy, rx, sy, ry_sx = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(3):
        j = (k + 1) % 3
        a, b = vertices[face[k]], vertices[face[j]]
        e0, e1, e2 = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        d0, d1, d2 = corner[j, 0] - corner[k, 0], corner[j, 1] - corner[k, 1], corner[j, 2] - corner[k, 2]
        x, y = e0 * u0 + e1 * u1 + e2 * u2, e0 * v0 + e1 * v1 + e2 * v2
        r, s = d0 * u0 + d1 * u1 + d2 * u2, d0 * v0 + d1 * v1 + d2 * v2
        xx += x * x
        yy += y * y
        xy += x * y
        rx += r * x
        sy += s * y
        ry_sx += r * y + s * x
    # normal equations [[xx, xy, 0], [xy, xx + yy, xy], [0, xy, yy]] (a, b, c) = (rx, ry + sx, sy)
    middle = xx + yy
    det = xx * (middle * yy - xy * xy) - xy * xy * yy
    if det <= 0.0:
        out[:] = 0.0
        return
    a = (rx * (middle * yy - xy * xy) - xy * (ry_sx * yy - xy * sy)) / det
    b = (xx * (ry_sx * yy - sy * xy) - rx * xy * yy) / det
    c = (xx * (middle * sy - xy * ry_sx) - xy * xy * sy + rx * xy * xy) / det
    out[0] = a * u0 * u0 + 2 * b * u0 * v0 + c * v0 * v0
    out[1] = a * u1 * u1 + 2 * b * u1 * v1 + c * v1 * v1
    out[2] = a * u2 * u2 + 2 * b * u2 * v2 + c * v2 * v2
    out[3] = a * u0 * u1 + b * (u0 * v1 + u1 * v0) + c * v0 * v1
    out[4] = a * u1 * u2 + b * (u1 * v2 + u2 * v1) + c * v1 * v2
    out[5] = a * u2 * u0 + b * (u2 * v0 + u0 * v2) + c * v2 * v0


@reads(0, 1, 2, 3)
@njit(cache=True, nogil=True)
def shape_tensors(vertices, faces, corner_normal, normals):
    """Shape operator of every facet as a symmetric tensor in space, 1/mm, convex positive.

    Least squares over the three edges: the change of normal along an edge is the operator times the edge
    (S. Rusinkiewicz, "Estimating curvatures and their derivatives on triangle meshes", 3DPVT 2004).

    Returns
    -------
    tensor : (m, 6) float64 array
        Components xx, yy, zz, xy, yz, zx. The bend in a unit tangent direction ``d`` is ``d . T . d``, and
        half the trace is the mean curvature.
    """
    tensor = np.empty((faces.shape[0], 6), np.float64)
    for f in range(faces.shape[0]):
        facet_tensor(vertices, faces[f], corner_normal[f], normals[f], tensor[f])
    return tensor


@njit(cache=True, nogil=True)
def sharpest_bends(tensor):
    """(m,) larger of the two principal curvatures of each facet by size, 1/mm; from the tensor's invariants."""
    out = np.empty(tensor.shape[0], np.float64)
    for f in range(tensor.shape[0]):
        t = tensor[f]
        half_trace = (t[0] + t[1] + t[2]) / 2
        squares = t[0] * t[0] + t[1] * t[1] + t[2] * t[2] + 2 * (t[3] * t[3] + t[4] * t[4] + t[5] * t[5])
        out[f] = abs(half_trace) + np.sqrt(max(0.0, squares / 2 - half_trace * half_trace))
    return out


@njit(cache=True, nogil=True)
def bend_along(tensor, directions):
    """(m,) normal curvature of each facet in its own unit direction (m, 3), 1/mm."""
    out = np.empty(tensor.shape[0], np.float64)
    for f in range(tensor.shape[0]):
        x, y, z = directions[f, 0], directions[f, 1], directions[f, 2]
        t = tensor[f]
        out[f] = t[0] * x * x + t[1] * y * y + t[2] * z * z + 2 * (t[3] * x * y + t[4] * y * z + t[5] * z * x)
    return out
