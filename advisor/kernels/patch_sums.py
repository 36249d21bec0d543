"""What passes cost on every patch, as sums and histograms that may be added when patches join."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads

# Surfaces that rise less than this away from an edge (a sine) are level.
LEAST_RISE = 1e-3
# Corners that climb more than this (a sine, 64 degrees) are upright.
UPRIGHT_SINE = 0.9


@reads(2)
@njit(cache=True, nogil=True)
def sharp_edges(faces, twins, corner_normal, least_cosine):
    """(3 m,) whether the smooth surfaces on both sides of a half-edge lean apart by more than an angle.

    Half-edges without a twin are not sharp: nothing lies across them.
    """
    sharp = np.zeros(twins.shape[0], np.bool_)
    for h in range(twins.shape[0]):
        t = twins[h]
        if t < 0 or t < h:
            continue
        f, k = h // 3, h % 3
        g, j = t // 3, t % 3
        dot, here, there = 0.0, 0.0, 0.0
        for c in range(3):
            a = corner_normal[f, k, c] + corner_normal[f, (k + 1) % 3, c]
            b = corner_normal[g, j, c] + corner_normal[g, (j + 1) % 3, c]
            dot += a * b
            here += a * a
            there += b * b
        if dot < least_cosine * np.sqrt(here * there):
            sharp[h] = True
            sharp[t] = True
    return sharp


@njit(cache=True, nogil=True)
def add_level_passes(label, area, sine, least_sine, step, flat_step, sums, histogram):
    """Area integral of sin(slope) of every label, and its area by the Z-step that each facet allows.

    Parameters
    ----------
    label : (m,) int array
    area, sine, least_sine, step : (m,) float arrays
    flat_step : float
        The last bin of the histogram holds this Z-step and more.
    sums : (p,) float array, added to
    histogram : (p, b) float array, added to
    """
    bins = histogram.shape[1]
    for f in range(label.shape[0]):
        p = label[f]
        sums[p] += area[f] * sine[f]
        place = int(step[f] * least_sine[f] / flat_step * bins)
        histogram[p, min(max(place, 0), bins - 1)] += area[f]


@njit(cache=True, nogil=True)
def add_lines(label, area, normal, axis, across_lines, step, flat_step, steepest_run, sums, plunging, histogram):
    """The same for parallel lines in several directions: area over plan spacing, and area by spacing allowed.

    Lines along a plan direction ``d`` see a slope with uphill direction at an angle ``phi`` to the normal of the
    lines: their surface spacing is ``p / sqrt(1 - sin^2(slope) cos^2(phi))``.

    Parameters
    ----------
    normal : (m, 3) unit normals
    across_lines : (k, 3) horizontal unit vectors across the lines of each direction
    steepest_run : float
        Tangent of the slope along the lines above which a ball plunges and climbs instead of sweeping.
    sums, plunging : (p, k) float arrays, added to; the second is the area above that slope
    histogram : (p, k, b) float array, added to
    """
    bins = histogram.shape[2]
    for f in range(label.shape[0]):
        p = label[f]
        for d in range(across_lines.shape[0]):
            across, up = 0.0, 0.0
            for c in range(3):
                across += normal[f, c] * across_lines[d, c]
                up += normal[f, c] * axis[c]
            run = np.sqrt(max(0.0, 1.0 - across * across - up * up))
            if run > steepest_run * abs(up):
                plunging[p, d] += area[f]
            share = np.sqrt(max(0.0, 1.0 - across * across))
            sums[p, d] += area[f] * share
            place = int(step[f] * share / flat_step * bins)
            histogram[p, d, min(max(place, 0), bins - 1)] += area[f]


@njit(cache=True, nogil=True)
def height_map(plan, height, faces, low, cell, rows, columns):
    """(rows, columns) greatest height over each cell of a plan grid; -inf where nothing is.

    A facet counts in every cell whose middle it covers in plan, and in the cells of its corners.
    """
    top = np.full((rows, columns), -np.inf)
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay = (plan[a, 0] - low[0]) / cell, (plan[a, 1] - low[1]) / cell
        bx, by = (plan[b, 0] - low[0]) / cell, (plan[b, 1] - low[1]) / cell
        cx, cy = (plan[c, 0] - low[0]) / cell, (plan[c, 1] - low[1]) / cell
        for k in range(3):
            v = faces[f, k]
            i, j = int((plan[v, 1] - low[1]) / cell), int((plan[v, 0] - low[0]) / cell)
            top[i, j] = max(top[i, j], height[v])
        det = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if abs(det) < 1e-12:
            continue
        for i in range(int(min(ay, by, cy)), int(max(ay, by, cy)) + 1):
            for j in range(int(min(ax, bx, cx)), int(max(ax, bx, cx)) + 1):
                x, y = j + 0.5 - ax, i + 0.5 - ay
                s = (x * (cy - ay) - (cx - ax) * y) / det
                t = ((bx - ax) * y - x * (by - ay)) / det
                if s >= 0 and t >= 0 and s + t <= 1:
                    z = height[a] + s * (height[b] - height[a]) + t * (height[c] - height[a])
                    top[i, j] = max(top[i, j], z)
    return top


@njit(cache=True, nogil=True)
def faces_material(top, start, direction, height, clear_cells):
    """(k,) whether someone who looks level from each point meets the part.

    Parameters
    ----------
    top : (rows, columns) heights, as ``height_map`` gives
    start : (k, 2) plan points in cells
    direction : (k, 2) unit vectors in plan
    height : (k,) height of each point
    clear_cells : float
        So many cells next to the point are not looked at: they hold its own wall.
    """
    rows, columns = top.shape
    met = np.zeros(start.shape[0], np.bool_)
    for q in range(start.shape[0]):
        x = start[q, 0] + clear_cells * direction[q, 0]
        y = start[q, 1] + clear_cells * direction[q, 1]
        while 0 <= x < columns and 0 <= y < rows:
            if top[int(y), int(x)] > height[q]:
                met[q] = True
                break
            x += direction[q, 0]
            y += direction[q, 1]
    return met


@njit(nogil=True)
def _rises(normal, a, b, axis):
    """1 where a surface rises square away from its edge a-b (the surface on the left), -1 where it falls, else 0."""
    x = normal[1] * (b[2] - a[2]) - normal[2] * (b[1] - a[1])
    y = normal[2] * (b[0] - a[0]) - normal[0] * (b[2] - a[2])
    z = normal[0] * (b[1] - a[1]) - normal[1] * (b[0] - a[0])
    rise = x * axis[0] + y * axis[1] + z * axis[2]
    limit = LEAST_RISE * np.sqrt(x * x + y * y + z * z)
    return 1 if rise > limit else (-1 if rise < -limit else 0)


@njit(cache=True, nogil=True)
def border_sums(half_edge, twins, vertices, faces, normal, axis, sharp, pair, count):
    """Lengths of the border between every two patches, by kind.

    Parameters
    ----------
    half_edge : (k,) border half-edges, each edge once
    normal : (m, 3) float array
        Of the smooth surface at each facet: a facet of a noisy mesh may fall where its surface rises.
    pair : (k,) int array
        Number of the pair of patches that each lies between.
    count : int
        Number of pairs.

    Returns
    -------
    sums : (count, 3) float array
        Tangent length, corner length, and of the corners that which is upright (``UPRIGHT_SINE``).
    own_rise, far_rise : (k,) int8 arrays
        Does the surface on the half-edge's own side, and across it, rise (1) or fall (-1) away from the edge.
    """
    sums = np.zeros((count, 3))
    own_rise, far_rise = np.zeros(half_edge.shape[0], np.int8), np.zeros(half_edge.shape[0], np.int8)
    for e in range(half_edge.shape[0]):
        h = half_edge[e]
        f, k = h // 3, h % 3
        a, b = vertices[faces[f, k]], vertices[faces[f, (k + 1) % 3]]
        length, climb = 0.0, 0.0
        for c in range(3):
            length += (b[c] - a[c]) ** 2
            climb += (b[c] - a[c]) * axis[c]
        length = np.sqrt(length)
        if sharp[h]:
            sums[pair[e], 1] += length
            if abs(climb) > UPRIGHT_SINE * length:
                sums[pair[e], 2] += length
        else:
            sums[pair[e], 0] += length
        own_rise[e] = _rises(normal[f], a, b, axis)
        far_rise[e] = _rises(normal[twins[h] // 3], b, a, axis)
    return sums, own_rise, far_rise
