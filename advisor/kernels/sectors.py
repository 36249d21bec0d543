"""Normals of the smooth surface behind the facets: one a corner, shared by all corners of a smooth sector.

A sector is what lies around a vertex between creases. Its normal is a weighted mean of its facets' normals, but
where one is much wider than the others it stands for itself: a floor beside the first strip of its fillet.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads
from advisor.kernels.topology import join, number_roots

# A vertex with more facets than this has its facets compared with some of them: cost stays linear.
_MOST_COMPARED = 48


@reads(0)
@njit(cache=True, nogil=True)
def bends(normals, faces, vertices, twins):
    """Signed bend across every half-edge, radians: positive convex, 0 on rims and crowded edges."""
    bend = np.zeros(twins.shape[0], np.float64)
    for h in range(twins.shape[0]):
        twin = twins[h]
        if twin < h:  # each pair once; rims stay 0
            continue
        f, g = h // 3, twin // 3
        a = vertices[faces[f, h % 3]]
        b = vertices[faces[f, (h % 3 + 1) % 3]]
        ex, ey, ez = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        nx = normals[f, 1] * normals[g, 2] - normals[f, 2] * normals[g, 1]
        ny = normals[f, 2] * normals[g, 0] - normals[f, 0] * normals[g, 2]
        nz = normals[f, 0] * normals[g, 1] - normals[f, 1] * normals[g, 0]
        sine = np.sqrt(nx * nx + ny * ny + nz * nz)
        cosine = normals[f, 0] * normals[g, 0] + normals[f, 1] * normals[g, 1] + normals[f, 2] * normals[g, 2]
        angle = np.arctan2(sine, cosine)
        if nx * ex + ny * ey + nz * ez < 0:
            angle = -angle
        bend[h] = angle
        bend[twin] = angle
    return bend


@njit(cache=True, nogil=True)
def corner_weights(vertices, faces):
    """(m, 3) weight of each facet's normal at each of its corners: sine of the corner over both its sides.

    With these the mean normal is exact at any corner of any mesh inscribed in a sphere (N. Max, "Weights for
    computing vertex normals from facet normals", Journal of Graphics Tools 4(2), 1999; from memory).
    """
    weights = np.empty((faces.shape[0], 3), np.float64)
    for f in range(faces.shape[0]):
        for k in range(3):
            p = vertices[faces[f, k]]
            q = vertices[faces[f, (k + 1) % 3]]
            r = vertices[faces[f, (k + 2) % 3]]
            ux, uy, uz = q[0] - p[0], q[1] - p[1], q[2] - p[2]
            vx, vy, vz = r[0] - p[0], r[1] - p[1], r[2] - p[2]
            cx, cy, cz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
            double_area = np.sqrt(cx * cx + cy * cy + cz * cz)
            weights[f, k] = double_area / ((ux * ux + uy * uy + uz * uz) * (vx * vx + vy * vy + vz * vz))
    return weights


@njit(cache=True, nogil=True)
def corner_sectors(faces, twins, is_crease):
    """Sector of every corner: corners of one vertex joined across edges that are no creases.

    Returns
    -------
    sector : (3 m,) int32 array
    count : int
    """
    parent = np.arange(twins.shape[0]).astype(np.int32)
    for h in range(twins.shape[0]):
        twin = twins[h]
        if twin < h or is_crease[h]:
            continue
        f, k = h // 3, h % 3
        g, j = twin // 3, twin % 3
        next_h, next_t = 3 * f + (k + 1) % 3, 3 * g + (j + 1) % 3
        if faces[f, k] == faces[g, (j + 1) % 3]:
            join(parent, np.int32(h), np.int32(next_t))
            join(parent, np.int32(next_h), np.int32(twin))
    return number_roots(parent)


@njit(cache=True, nogil=True)
def corners_by_sector(sector, sector_count):
    """Corners grouped by sector.

    Returns
    -------
    start : (sector_count + 1,) int64 array
    corners : (3 m,) int32 array
        Corners of sector ``s`` are ``corners[start[s]:start[s + 1]]``.
    """
    start = np.zeros(sector_count + 1, np.int64)
    for s in sector:
        start[s + 1] += 1
    for s in range(sector_count):
        start[s + 1] += start[s]
    fill = start[:-1].copy()
    corners = np.empty(sector.shape[0], np.int32)
    for h in range(sector.shape[0]):
        corners[fill[sector[h]]] = h
        fill[sector[h]] += 1
    return start, corners


@njit(nogil=True)
def _mean_normal(corners, counts, normals, weights, out):
    x, y, z = 0.0, 0.0, 0.0
    for h in corners:
        if counts[h]:
            f, w = h // 3, weights[h // 3, h % 3]
            x += w * normals[f, 0]
            y += w * normals[f, 1]
            z += w * normals[f, 2]
    length = np.sqrt(x * x + y * y + z * z)
    if length > 0:
        out[0], out[1], out[2] = x / length, y / length, z / length
    else:
        out[:] = np.nan


@njit(nogil=True)
def _reach(vertices, face, k, dx, dy, dz):
    """How far a facet reaches from its corner in a direction."""
    v = vertices[face[k]]
    reach = 0.0
    for j in range(1, 3):
        p = vertices[face[(k + j) % 3]]
        reach = max(reach, abs((p[0] - v[0]) * dx + (p[1] - v[1]) * dy + (p[2] - v[2]) * dz))
    return reach


@njit(nogil=True)
def _is_dwarfed(h, own, vertices, faces, normals, ratio, least_apart):
    """Whether some facet of the sector is much wider than that of `h` across the bend between the two."""
    n = normals[h // 3]
    step = 1 + own.shape[0] // _MOST_COMPARED
    for i in range(0, own.shape[0], step):
        g = own[i]
        m = normals[g // 3]
        dx, dy, dz = m[0] - n[0], m[1] - n[1], m[2] - n[2]
        apart = np.sqrt(dx * dx + dy * dy + dz * dz)
        if apart < least_apart:
            continue
        near = _reach(vertices, faces[h // 3], h % 3, dx, dy, dz)
        far = _reach(vertices, faces[g // 3], g % 3, dx, dy, dz)
        if far > ratio * near:
            return True
    return False


@reads(2)
@njit(cache=True, nogil=True)
def sector_normals(vertices, faces, normals, weights, start, corners, ratio, least_apart):
    """Normal of every sector: the mean over its facets, but for those dwarfed by a wide one.

    How wide is asked across the bend between two facets. A tessellation leaves a face wide only where it does
    not bend, so the wide face's normal is the true one at its edge.

    Parameters
    ----------
    normals : (m, 3) float64 array
    weights : (m, 3) float64 array
        See ``corner_weights``.
    start, corners : see ``corners_by_sector``
    ratio : float
        Facets narrower than another by this ratio do not count.
    least_apart : float
        Difference of unit normals below which two facets are of one plane.

    Returns
    -------
    mean : (s, 3) float64 array
        Unit normals.
    spread : (s,) float64 array
        Largest difference between a facet's normal and the mean.
    counts : (3 m,) bool array
        Whether a corner's facet counted.
    """
    mean = np.empty((start.shape[0] - 1, 3), np.float64)
    spread = np.zeros(mean.shape[0], np.float64)
    counts = np.ones(corners.shape[0], np.bool_)
    for s in range(mean.shape[0]):
        own = corners[start[s] : start[s + 1]]
        _mean_normal(own, counts, normals, weights, mean[s])
        for h in own:
            n = normals[h // 3]
            apart = (n[0] - mean[s, 0]) ** 2 + (n[1] - mean[s, 1]) ** 2 + (n[2] - mean[s, 2]) ** 2
            spread[s] = max(spread[s], np.sqrt(apart))
        if spread[s] < least_apart:
            continue
        dwarfed = 0
        for h in own:
            if _is_dwarfed(h, own, vertices, faces, normals, ratio, least_apart):
                counts[h] = False
                dwarfed += 1
        if 0 < dwarfed < own.shape[0]:
            _mean_normal(own, counts, normals, weights, mean[s])
        elif dwarfed > 0:
            for h in own:
                counts[h] = True
    return mean, spread, counts


@njit(cache=True, nogil=True)
def sectors_on_rims(sector, sector_count, is_crease):
    """(sector_count,) whether a sector ends at a crease or rim."""
    on_rim = np.zeros(sector_count, np.bool_)
    for h in range(sector.shape[0]):
        if is_crease[h]:
            on_rim[sector[h]] = True
            on_rim[sector[h - h % 3 + (h % 3 + 1) % 3]] = True
    return on_rim


@reads(2)
@njit(cache=True, nogil=True)
def spread_to_corners(mean, sector, normals, least_cosine):
    """Corner normals from sector normals; a corner too far from its own facet takes the facet's normal.

    Returns
    -------
    corner : (m, 3, 3) float64 array
        Unit normal of every corner of every facet.
    """
    m = normals.shape[0]
    corner = np.empty((m, 3, 3), np.float64)
    for f in range(m):
        nx, ny, nz = normals[f, 0], normals[f, 1], normals[f, 2]
        for k in range(3):
            s = sector[3 * f + k]
            x, y, z = mean[s, 0], mean[s, 1], mean[s, 2]
            if x * nx + y * ny + z * nz >= least_cosine:  # False for NaN too
                corner[f, k, 0], corner[f, k, 1], corner[f, k, 2] = x, y, z
            else:
                corner[f, k, 0], corner[f, k, 1], corner[f, k, 2] = nx, ny, nz
    return corner


@njit(cache=True, nogil=True)
def face_sides(face, face_count, twins):
    """(face_count,) half-edges on the rim of every plane face."""
    sides = np.zeros(face_count, np.int32)
    for h in range(twins.shape[0]):
        if twins[h] < 0 or face[twins[h] // 3] != face[h // 3]:
            sides[face[h // 3]] += 1
    return sides


@njit(cache=True, nogil=True)
def bends_with_a_like(
    bend, face, face_count, sides, is_strip, faces, vertices, twins, least_bend, least_share, most_share, most_sides
):
    """Half-edges whose face bends the same way on its other side, by some share of their own bend.

    So do strips of a rounded surface. Each side is compared with at most `most_sides` others, spread over the rim.

    Parameters
    ----------
    sides : (face_count,) int32 array
    is_strip : (face_count,) bool array
        Faces to search.
    least_bend : float
        Radians; smaller bends count for nothing.
    least_share, most_share : float
        What the bend on the other side is of a half-edge's own.

    Returns
    -------
    alike : (3 m,) bool array
    """
    start = np.zeros(face_count + 1, np.int64)
    for p in range(face_count):
        start[p + 1] = start[p] + (sides[p] if is_strip[p] else 0)
    fill = start[:-1].copy()
    rim = np.empty(start[-1], np.int32)
    for h in range(twins.shape[0]):
        p = face[h // 3]
        if is_strip[p] and (twins[h] < 0 or face[twins[h] // 3] != p):
            rim[fill[p]] = h
            fill[p] += 1
    alike = np.zeros(twins.shape[0], np.bool_)
    for p in range(face_count):
        stride = max((start[p + 1] - start[p]) // most_sides, 1)
        for i in range(start[p], start[p + 1]):
            for j in range(i + 1, start[p + 1], stride):
                h, g = rim[i], rim[j]
                x, y = bend[h], bend[g]
                if abs(x) < least_bend or abs(y) < least_bend or x * y < 0:
                    continue
                one, two = least_share <= y / x <= most_share, least_share <= x / y <= most_share
                if (one or two) and _are_opposite(h, g, faces, vertices):
                    alike[h] |= one
                    alike[g] |= two
    return alike


@njit(nogil=True)
def _are_opposite(h, g, faces, vertices):
    a, b = vertices[faces[h // 3, h % 3]], vertices[faces[h // 3, (h % 3 + 1) % 3]]
    c, d = vertices[faces[g // 3, g % 3]], vertices[faces[g // 3, (g % 3 + 1) % 3]]
    dot, one, two = 0.0, 0.0, 0.0
    for axis in range(3):
        u, v = b[axis] - a[axis], d[axis] - c[axis]
        dot += u * v
        one += u * u
        two += v * v
    # rims run the same way round, so opposite sides of a strip run against each other
    return dot < -0.8 * np.sqrt(one * two)
