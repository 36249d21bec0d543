"""Parallel lines over a zone: what spacing each facet allows in a direction, and which direction loses least.

For a line direction ``f`` in plan, the pass over a facet runs along the tangent ``t`` above ``f``, and the
neighbouring pass lies across it, at ``w = n x t``. In plan lines ``p`` apart are ``p / g`` apart on the surface,
with ``g = sqrt(1 - sin^2(slope) cos^2(phi))``, ``phi`` between step direction and uphill.
"""

from __future__ import annotations

import numpy as np
from numba import njit

_BINS = 1024


@njit(nogil=True)
def _line_on_facet(n, axis, fx, fy, fz, tensor, corner_per_mm, ring_radius, out):
    """out: plan share ``g``, curvature of the cutter and of the surface across the pass, 1/mm."""
    rise = axis[0] * n[0] + axis[1] * n[1] + axis[2] * n[2]
    lean = fx * n[0] + fy * n[1] + fz * n[2]
    tx, ty, tz = rise * fx - lean * axis[0], rise * fy - lean * axis[1], rise * fz - lean * axis[2]
    length = np.sqrt(tx * tx + ty * ty + tz * tz)
    if length < 1e-12:  # a wall that the line meets head on: no pass runs over it
        out[0], out[1], out[2] = 0.0, corner_per_mm, 0.0
        return
    tx, ty, tz = tx / length, ty / length, tz / length
    wx, wy, wz = n[1] * tz - n[2] * ty, n[2] * tx - n[0] * tz, n[0] * ty - n[1] * tx
    # across = f x axis is the step direction in plan; g is how much of w shows in plan across the line
    ax, ay, az = fy * axis[2] - fz * axis[1], fz * axis[0] - fx * axis[2], fx * axis[1] - fy * axis[0]
    out[0] = abs(wx * ax + wy * ay + wz * az)
    sine = np.sqrt(max(0.0, 1.0 - rise * rise))
    tool = corner_per_mm
    if ring_radius > 0.0:  # the outline seen along the feed: R = r + a sin^2(psi) / sin(slope)
        climb = tx * axis[0] + ty * axis[1] + tz * axis[2]
        tool = sine**3 / (sine**3 / corner_per_mm + ring_radius * climb * climb) if sine > 1e-9 else 0.0
    out[1] = tool
    out[2] = (
        tensor[0] * wx * wx + tensor[1] * wy * wy + tensor[2] * wz * wz
        + 2 * (tensor[3] * wx * wy + tensor[4] * wy * wz + tensor[5] * wz * wx)
    )  # fmt: skip


@njit(cache=True, nogil=True)
def lines_over_facets(normals, corner_normals, axis, feed, tensor, corner_per_mm, ring_radius):
    """Passes in plan direction `feed` over facets with mean normals (m, 3) and corner normals (m, 3, 3).

    Returns
    -------
    (m, 4) float64 array
        Plan share, cutter curvature and surface curvature across the lines at the middle of the facet, and the
        least plan share at its corners.
    """
    out = np.empty((normals.shape[0], 4), np.float64)
    corner = np.empty(3, np.float64)
    unit = np.empty(3, np.float64)
    for f in range(normals.shape[0]):
        _line_on_facet(normals[f], axis, feed[0], feed[1], feed[2], tensor[f], corner_per_mm, ring_radius, out[f, :3])
        out[f, 3] = out[f, 0]
        for k in range(3):
            n = corner_normals[f, k]
            length = np.sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2])
            unit[0], unit[1], unit[2] = n[0] / length, n[1] / length, n[2] / length
            _line_on_facet(unit, axis, feed[0], feed[1], feed[2], tensor[f], corner_per_mm, ring_radius, corner)
            out[f, 3] = min(out[f, 3], corner[0])
    return out


@njit(cache=True, nogil=True)
def length_by_direction(normals, areas, axis, feeds, tensor, corner_per_mm, ring_radius, cusp, fixed_step, tail):
    """Length of parallel lines over a zone for each of several directions, at the spacing that holds the cusp.

    Parameters
    ----------
    normals : (m, 3) unit normals; areas : (m,) mm2; axis : (3,); feeds : (d, 3) unit plan directions
    tensor : (m, 6) shape tensors, 1/mm
    corner_per_mm, ring_radius : cutter's corner curvature and the radius of the ring its corner runs on
    cusp : float, mm, and fixed_step : float, mm (used instead where it is positive)
    tail : share of the area whose spacing may be exceeded

    Returns
    -------
    length : (d,) float64 array, mm; infinite where no spacing serves
    """
    directions = feeds.shape[0]
    length = np.full(directions, np.inf)
    total = 0.0
    for area in areas:
        total += area
    widest = fixed_step if fixed_step > 0 else 4.0 * np.sqrt(8.0 * cusp / corner_per_mm)
    for d in range(directions):
        by_spacing = np.zeros(_BINS, np.float64)
        share = np.empty(3, np.float64)
        seen = 0.0
        for f in range(normals.shape[0]):
            _line_on_facet(
                normals[f],
                axis,
                feeds[d, 0],
                feeds[d, 1],
                feeds[d, 2],
                tensor[f],
                corner_per_mm,
                ring_radius,
                share,
            )
            if fixed_step > 0:
                step = fixed_step
            else:
                bend = share[1] + share[2]
                if bend <= 0.05 * corner_per_mm:  # nearly the cutter's own hollow: the flat step stands in
                    bend = max(share[1], 1e-9)
                step = np.sqrt(8.0 * cusp / bend)
            spacing = step * share[0]
            seen += areas[f] * share[0]
            by_spacing[min(_BINS - 1, int(spacing / widest * _BINS))] += areas[f]
        below, b = 0.0, 0
        while b < _BINS - 1 and below + by_spacing[b] <= tail * total:
            below += by_spacing[b]
            b += 1
        if b > 0:
            length[d] = seen / ((b + 0.5) / _BINS * widest)
    return length


@njit(cache=True, nogil=True)
def widths_across(points, feeds):
    """(d,) extent of (k, 2) points square to each of (d, 2) unit directions."""
    width = np.empty(feeds.shape[0], np.float64)
    for d in range(feeds.shape[0]):
        low, high = np.inf, -np.inf
        for i in range(points.shape[0]):
            across = points[i, 1] * feeds[d, 0] - points[i, 0] * feeds[d, 1]
            low = min(low, across)
            high = max(high, across)
        width[d] = high - low
    return width
