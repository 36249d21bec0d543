"""Facets become pixels: facet-id and depth buffers of a parallel projection, and what of each facet they show.

Points are in pixels: x to the right, y down, z towards the viewer. A pixel (column, row) is sampled at its centre.
Points are snapped to ``1 / SNAP`` of a pixel first, so that every inside test is exact in float64: two facets with
a common edge neither leave a gap nor fight for a pixel, and the buffers are the same on every machine.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from advisor.kernels.read_only import reads

SNAP = 256.0
NO_FACET = -1
# A facet seen from behind yields to one seen from the front at the same depth, by this many pixels.
BACK_DEPTH_BIAS_PX = 0.05
# A facet that covers less than this is judged by its centroid alone.
SMALL_FACET_PX2 = 30.0
# Of a corner with more facets around it only about so many, evenly picked, are asked for its smooth normal:
# all of them, for each of them, would take the square of their number.
MOST_FACETS_ASKED = 64
# A centroid this far below the depth buffer, plus the fall of its own plane over a pixel, is still seen.
SEEN_DEPTH_SLACK_PX = 0.75
STEEPEST_FALL = 8.0


@reads(0)
@njit(cache=True, nogil=True)
def project(
    vertices: NDArray[np.float64], rows: NDArray[np.float64], scale: float, left: float, top: float
) -> NDArray[np.float32]:
    """Points in pixels of a parallel projection.

    Parameters
    ----------
    vertices : (n, 3) float64 array, mm
    rows : (3, 3) float64 array
        Unit vectors to the right, up and towards the viewer.
    scale : float
        Pixels per mm.
    left, top : float
        Pixel position of the point (0, 0, 0).

    Returns
    -------
    (n, 3) float32 array, pixels; x and y on the snapping grid
    """
    count = vertices.shape[0]
    points = np.empty((count, 3), np.float32)
    for i in range(count):
        x, y, z = vertices[i, 0], vertices[i, 1], vertices[i, 2]
        right = rows[0, 0] * x + rows[0, 1] * y + rows[0, 2] * z
        up = rows[1, 0] * x + rows[1, 1] * y + rows[1, 2] * z
        near = rows[2, 0] * x + rows[2, 1] * y + rows[2, 2] * z
        points[i, 0] = math.floor((left + scale * right) * SNAP + 0.5) / SNAP
        points[i, 1] = math.floor((top - scale * up) * SNAP + 0.5) / SNAP
        points[i, 2] = scale * near
    return points


@reads(0)
@njit(cache=True, nogil=True)
def extent(vertices: NDArray[np.float64], rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Smallest and largest coordinate of the vertices along each row, as a (3, 2) float64 array, mm."""
    box = np.empty((3, 2))
    box[:, 0] = np.inf
    box[:, 1] = -np.inf
    for i in range(vertices.shape[0]):
        for k in range(3):
            along = rows[k, 0] * vertices[i, 0] + rows[k, 1] * vertices[i, 1] + rows[k, 2] * vertices[i, 2]
            box[k, 0] = min(box[k, 0], along)
            box[k, 1] = max(box[k, 1], along)
    return box


@njit(nogil=True)
def _owns_edge(ax: float, ay: float, bx: float, by: float) -> bool:
    # seen from the front the corners run counter-clockwise on the page: a left edge runs down,
    # an upper edge runs level to the left
    return by > ay or (by == ay and bx < ax)


@njit(nogil=True)
def _runs(step: float, columns: float) -> tuple[float, float, float]:
    # pixels a side takes to rise, and to drop, by one, and where it ends that never drops
    if step > 0.0:
        return 1.0 / step, 0.0, columns
    if step < 0.0:
        return 0.0, -1.0 / step, 0.0
    return 0.0, 0.0, columns


@reads(1)
@njit(cache=True, nogil=True)
def rasterise(
    points: NDArray[np.float32],
    faces: NDArray[np.int32],
    first_row: int,
    last_row: int,
    facet: NDArray[np.int32],
    depth: NDArray[np.float32],
) -> None:
    """Nearest facet and its depth at every pixel centre of a band of rows.

    A pixel centre on an edge belongs to the facet whose left or upper edge it is. Of facets at one depth the one
    seen from the front wins, then the lower index.

    Parameters
    ----------
    points : (n, 3) float32 array, pixels
        From :func:`project`.
    faces : (m, 3) int32 array
    first_row, last_row : int
        The band; ``last_row`` is left out.
    facet : (height, width) int32 array
        Written: index of the facet, ``NO_FACET`` where there is none.
    depth : (height, width) float32 array, pixels
        Written: distance towards the viewer, -inf where there is no facet.
    """
    width = facet.shape[1]
    facet[first_row:last_row] = NO_FACET
    depth[first_row:last_row] = -np.inf
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay = np.float64(points[a, 0]), np.float64(points[a, 1])
        bx, by = np.float64(points[b, 0]), np.float64(points[b, 1])
        cx, cy = np.float64(points[c, 0]), np.float64(points[c, 1])
        # pixel centres lie at half pixels: the first and last ones inside the facet's box
        top = max(first_row, math.ceil(min(ay, by, cy) - 0.5))
        bottom = min(last_row - 1, math.floor(max(ay, by, cy) - 0.5))
        if top > bottom:
            continue
        first_column = max(0, math.ceil(min(ax, bx, cx) - 0.5))
        last_column = min(width - 1, math.floor(max(ax, bx, cx) - 0.5))
        if first_column > last_column:
            continue
        twice_area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if twice_area == 0.0:
            continue
        az = np.float64(points[a, 2])
        bz, cz = np.float64(points[b, 2]), np.float64(points[c, 2])
        if twice_area > 0.0:  # y runs down: a facet seen from the front turns the other way
            bx, by, bz, cx, cy, cz = cx, cy, cz, bx, by, bz
            twice_area = -twice_area
            az -= BACK_DEPTH_BIAS_PX
            bz -= BACK_DEPTH_BIAS_PX
            cz -= BACK_DEPTH_BIAS_PX
        fall_x = ((bz - az) * (cy - ay) - (cz - az) * (by - ay)) / twice_area
        fall_y = ((cz - az) * (bx - ax) - (bz - az) * (cx - ax)) / twice_area
        owns_a = _owns_edge(bx, by, cx, cy)
        owns_b = _owns_edge(cx, cy, ax, ay)
        owns_c = _owns_edge(ax, ay, bx, by)
        step_a, step_b, step_c = cy - by, ay - cy, by - ay
        columns = np.float64(last_column - first_column)
        rise_a, drop_a, end_a = _runs(step_a, columns)
        rise_b, drop_b, end_b = _runs(step_b, columns)
        rise_c, drop_c, end_c = _runs(step_c, columns)
        x = first_column + 0.5
        for row in range(top, bottom + 1):
            y = row + 0.5
            # positive inside; from pixel to pixel they change by a constant, without rounding
            side_a = step_a * (x - bx) - (cx - bx) * (y - by)
            side_b = step_b * (x - cx) - (ax - cx) * (y - cy)
            side_c = step_c * (x - ax) - (bx - ax) * (y - ay)
            # a row of a thin facet starts far into its box and ends soon after: leap there, a pixel early for
            # rounding, and stop where a side that falls has turned negative
            leap = max(0.0, -side_a * rise_a, -side_b * rise_b, -side_c * rise_c)
            reach = min(side_a * drop_a + end_a, side_b * drop_b + end_b, side_c * drop_c + end_c)
            skipped = max(0.0, math.floor(leap) - 1.0)
            end = min(columns, math.floor(reach) + 1.0)
            if skipped > end:
                continue
            side_a += skipped * step_a
            side_b += skipped * step_b
            side_c += skipped * step_c
            for column in range(first_column + int(skipped), first_column + int(end) + 1):
                if (
                    (side_a > 0.0 or (side_a == 0.0 and owns_a))
                    and (side_b > 0.0 or (side_b == 0.0 and owns_b))
                    and (side_c > 0.0 or (side_c == 0.0 and owns_c))
                ):
                    z = np.float32(az + fall_x * (column + 0.5 - ax) + fall_y * (y - ay))
                    if z > depth[row, column]:
                        depth[row, column] = z
                        facet[row, column] = f
                side_a += step_a
                side_b += step_b
                side_c += step_c


@reads(1)
@njit(cache=True, nogil=True)
def seen_share(
    points: NDArray[np.float32],
    faces: NDArray[np.int32],
    facet: NDArray[np.int32],
    depth: NDArray[np.float32],
) -> NDArray[np.float32]:
    """Share of each facet that the buffers show, 0 to 1, as an (m,) float32 array.

    Large facets: pixels owned over pixels covered. Small ones: whether the centroid lies on the depth buffer.
    Facets that turn away from the viewer show nothing.
    """
    height, width = facet.shape
    share = np.zeros(faces.shape[0], np.float32)
    for row in range(height):
        for column in range(width):
            if facet[row, column] >= 0:
                share[facet[row, column]] += 1.0
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        abx, aby = points[b, 0] - points[a, 0], points[b, 1] - points[a, 1]
        acx, acy = points[c, 0] - points[a, 0], points[c, 1] - points[a, 1]
        covered_px2 = 0.5 * (aby * acx - abx * acy)
        if covered_px2 <= 0.0:
            share[f] = 0.0
        elif covered_px2 >= SMALL_FACET_PX2:
            share[f] = min(np.float32(1.0), share[f] / covered_px2)
        else:
            column = math.floor((points[a, 0] + points[b, 0] + points[c, 0]) / 3.0)
            row = math.floor((points[a, 1] + points[b, 1] + points[c, 1]) / 3.0)
            inside = 0 <= column < width and 0 <= row < height
            if not inside or facet[row, column] < 0:
                share[f] = 0.0
                continue
            abz, acz = points[b, 2] - points[a, 2], points[c, 2] - points[a, 2]
            fall = (abs(abz * acy - acz * aby) + abs(acz * abx - abz * acx)) / (2.0 * covered_px2)
            slack = SEEN_DEPTH_SLACK_PX + 0.5 * min(fall, np.float32(STEEPEST_FALL))
            z = (points[a, 2] + points[b, 2] + points[c, 2]) / 3.0
            share[f] = 1.0 if z + slack >= depth[row, column] else 0.0
    return share


@reads(0, 1)
@njit(cache=True, nogil=True)
def facet_normals(
    vertices: NDArray[np.float64], faces: NDArray[np.int32]
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Unit normals (m, 3) float32 (zero for a facet without area) and areas (m,) float64, mm2."""
    count = faces.shape[0]
    normals = np.zeros((count, 3), np.float32)
    areas = np.zeros(count)
    for f in range(count):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux, uy, uz = (
            vertices[b, 0] - vertices[a, 0],
            vertices[b, 1] - vertices[a, 1],
            vertices[b, 2] - vertices[a, 2],
        )
        vx, vy, vz = (
            vertices[c, 0] - vertices[a, 0],
            vertices[c, 1] - vertices[a, 1],
            vertices[c, 2] - vertices[a, 2],
        )
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = math.sqrt(nx * nx + ny * ny + nz * nz)
        if length > 0.0:
            normals[f, 0] = nx / length
            normals[f, 1] = ny / length
            normals[f, 2] = nz / length
            areas[f] = 0.5 * length
    return normals, areas


@reads(0)
@njit(cache=True, nogil=True)
def facets_around(faces: NDArray[np.int32], vertex_count: int) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Facets around each vertex: of vertex ``v`` they are ``around[starts[v]:starts[v + 1]]``."""
    starts = np.zeros(vertex_count + 1, np.int32)
    for f in range(faces.shape[0]):
        for k in range(3):
            starts[faces[f, k] + 1] += 1
    for v in range(vertex_count):
        starts[v + 1] += starts[v]
    fill = starts[:-1].copy()
    around = np.empty(starts[-1], np.int32)
    for f in range(faces.shape[0]):
        for k in range(3):
            v = faces[f, k]
            around[fill[v]] = f
            fill[v] += 1
    return starts, around


@reads(0)
@njit(cache=True, nogil=True)
def corner_normals(
    faces: NDArray[np.int32],
    normals: NDArray[np.float32],
    areas: NDArray[np.float64],
    starts: NDArray[np.int32],
    around: NDArray[np.int32],
    cos_crease: float,
    first: int,
    last: int,
    corners: NDArray[np.float32],
    smooth: NDArray[np.float32],
) -> None:
    """Normals of the smooth surface at the corners of facets ``first`` to ``last``, into ``corners`` (m, 3, 3).

    Their unit means go into ``smooth`` (m, 3).

    The area-weighted mean over the facets around the corner whose normals lie within the crease angle of its own.
    """
    for f in range(first, last):
        nx, ny, nz = normals[f, 0], normals[f, 1], normals[f, 2]
        for k in range(3):
            v = faces[f, k]
            sx, sy, sz = 0.0, 0.0, 0.0
            stride = 1 + (starts[v + 1] - starts[v] - 1) // MOST_FACETS_ASKED
            for i in range(starts[v], starts[v + 1], stride):
                g = around[i]
                gx, gy, gz = normals[g, 0], normals[g, 1], normals[g, 2]
                if nx * gx + ny * gy + nz * gz >= cos_crease:
                    sx += areas[g] * gx
                    sy += areas[g] * gy
                    sz += areas[g] * gz
            length = math.sqrt(sx * sx + sy * sy + sz * sz)
            if length > 0.0:
                corners[f, k, 0] = sx / length
                corners[f, k, 1] = sy / length
                corners[f, k, 2] = sz / length
            else:
                corners[f, k, 0], corners[f, k, 1], corners[f, k, 2] = nx, ny, nz
        mx, my, mz = 0.0, 0.0, 0.0
        for k in range(3):
            mx += corners[f, k, 0]
            my += corners[f, k, 1]
            mz += corners[f, k, 2]
        length = math.sqrt(mx * mx + my * my + mz * mz)
        if length > 0.0:
            smooth[f, 0], smooth[f, 1], smooth[f, 2] = mx / length, my / length, mz / length
        else:
            smooth[f, 0], smooth[f, 1], smooth[f, 2] = nx, ny, nz
