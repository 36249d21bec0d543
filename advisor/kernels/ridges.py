"""Where two fronts meet on a mesh: the lines from which the arrival time falls to both sides."""

from __future__ import annotations

import numpy as np
from numba import njit

# The gradients at both ends of an edge are from two fronts where they are this far apart (cosine: 50 degrees) and do
# not spread from each other. Duller ridges need no pass of their own.
_APART_COSINE = 0.64
# By this share of the way the slope falls along an edge that a ridge crosses; one along the ridge is crossed midway.
_LEAST_KINK = 0.1
# Samples along a ridge, a step.
_SAMPLES_A_STEP = 8.0


@njit(cache=True, nogil=True)
def ridge_crossings(vertices, faces, twins, normal, time, way, takes_part):
    """Where ridges cross half-edges.

    Parameters
    ----------
    vertices, normal : (n, 3) float64 arrays
    faces : (m, 3) int32 array
    twins : (3 m,) int32 array
    time, way : (n,), (n, 3) float64 arrays
        Arrival times and their gradients.
    takes_part : (m,) bool array

    Returns
    -------
    share : (3 m,) float64 array
        Of the way along the half-edge, the same place from both sides; NaN where no ridge crosses.
    kink : (3 m,) float64 array
        By how much the slope falls there, a unit of the way in both fronts: 0 to 2.
    at_time : (3 m,) float64 array
        When the fronts meet there.
    """
    share = np.full(twins.shape[0], np.nan)
    at_time = np.full(twins.shape[0], np.nan)
    kink = np.zeros(twins.shape[0], np.float64)
    for h in range(twins.shape[0]):
        twin = twins[h]
        f = h // 3
        if not takes_part[f] or (0 <= twin < h and takes_part[twin // 3]):
            continue
        a, b = faces[f, h % 3], faces[f, (h % 3 + 1) % 3]
        if not (np.isfinite(time[a]) and np.isfinite(time[b])):
            continue
        size_a, size_b, both = 0.0, 0.0, 0.0
        for k in range(3):
            size_a += way[a, k] * way[a, k]
            size_b += way[b, k] * way[b, k]
            both += way[a, k] * way[b, k]
        if size_a == 0.0 or size_b == 0.0 or both > _APART_COSINE * np.sqrt(size_a * size_b):
            continue
        slope_a, length = _slope(vertices, normal, way, a, a, b)
        slope_b, _ = _slope(vertices, normal, way, b, a, b)
        fall, most = slope_a - slope_b, length * np.sqrt(np.sqrt(size_a) * np.sqrt(size_b))
        if most == 0.0:  # an edge cut off so near a corner that its ends are one place
            continue
        sharp = fall / most
        if sharp < -_LEAST_KINK:
            continue
        share[h] = 0.5
        if sharp >= _LEAST_KINK:
            share[h] = min(1.0, max(0.0, (time[b] - slope_b - time[a]) / fall))
        kink[h] = max(sharp, 0.0)
        at_time[h] = min(time[a] + share[h] * slope_a, time[b] - (1.0 - share[h]) * slope_b)
        if twin >= 0:
            at_time[twin] = at_time[h]
            share[twin] = 1.0 - share[h] if faces[twin // 3, twin % 3] == b else share[h]
            kink[twin] = sharp
    return share, kink, at_time


@njit(nogil=True)
def _slope(vertices, normal, way, v, a, b):
    """Rise along the edge from `a` to `b` by the gradient at `v`, the edge laid into the plane there; its length."""
    off, length, laid, rise = 0.0, 0.0, 0.0, 0.0
    for k in range(3):
        off += (vertices[b, k] - vertices[a, k]) * normal[v, k]
    for k in range(3):
        edge = vertices[b, k] - vertices[a, k]
        flat = edge - off * normal[v, k]
        length += edge * edge
        laid += flat * flat
        rise += flat * way[v, k]
    if laid == 0.0:
        return 0.0, np.sqrt(length)
    return rise * np.sqrt(length / laid), np.sqrt(length)


@njit(cache=True, nogil=True)
def ridge_chains(twins, share, kink, takes_part):
    """Crossings joined through facets into chains.

    A facet with three crossings joins the two that are sharpest; the third chain ends there.

    Returns
    -------
    half_edge : (k,) int32 array
        Half-edge of each crossing; but for the first of a chain, in the facet that the chain comes through.
    starts : (p + 1,) int64 array
    is_closed : (p,) bool array
        The last crossing is the first again.
    """
    count = twins.shape[0]
    partner = np.full(count, -1, np.int32)
    links = 0
    for f in range(count // 3):
        if not takes_part[f]:
            continue
        crossed = 0
        for k in range(3):
            crossed += not np.isnan(share[3 * f + k])
        if crossed < 2:
            continue
        left_out = -1
        for k in range(3):
            if np.isnan(share[3 * f + k]):
                left_out = k
        if left_out < 0:
            left_out = 0
            for k in range(1, 3):
                if kink[3 * f + k] < kink[3 * f + left_out]:
                    left_out = k
        one, two = 3 * f + (left_out + 1) % 3, 3 * f + (left_out + 2) % 3
        partner[one], partner[two] = two, one
        links += 1
    half_edge = np.empty(2 * links, np.int32)
    starts = np.empty(links + 1, np.int64)
    is_closed = np.empty(links, np.bool_)
    done = np.zeros(count // 3, np.bool_)
    starts[0] = 0
    filled, chains = 0, 0
    for closed in range(2):
        for first in range(count):
            if partner[first] < 0 or done[first // 3]:
                continue
            if closed == 0 and twins[first] >= 0 and partner[twins[first]] >= 0:
                continue
            half_edge[filled] = first
            filled += 1
            h = first
            while h >= 0 and partner[h] >= 0 and not done[h // 3]:
                done[h // 3] = True
                half_edge[filled] = partner[h]
                filled += 1
                h = twins[partner[h]]
            chains += 1
            starts[chains] = filled
            is_closed[chains - 1] = closed == 1 and h == first
    return half_edge[:filled], starts[: chains + 1], is_closed[:chains]


@njit(cache=True, nogil=True)
def sampled_chains(vertices, faces, slowness, pull, half_edge, share, time, starts):
    """Chains of places on half-edges, each pair in one facet, with places between them.

    Parameters
    ----------
    half_edge, share, time : (k,) arrays
        But for the first of a chain, in the facet between it and the one before; the first is in that behind it.
    starts : (p + 1,) int64 array
    slowness, pull : (m,), (m, 3) float64 arrays
        The metric of ``march.march_with_metric``.

    Returns
    -------
    facet : (q,) int32 array
    weights : (q, 3) float64 array
        Shares of its corners.
    at_time : (q,) float64 array
        The time, linear between the places given.
    new_starts : (p + 1,) int64 array
    """
    total = 0
    for rounds in range(2):
        if rounds == 1:
            facet = np.empty(total, np.int32)
            weights = np.zeros((total, 3), np.float64)
            at_time = np.empty(total, np.float64)
            new_starts = np.zeros(starts.shape[0], np.int64)
        here, there = np.zeros(3, np.float64), np.zeros(3, np.float64)
        filled = 0
        for p in range(starts.shape[0] - 1):
            for i in range(starts[p], starts[p + 1] - 1):
                f = half_edge[i + 1] // 3
                _weights_in(faces, f, half_edge[i], share[i], here)
                _weights_in(faces, f, half_edge[i + 1], share[i + 1], there)
                plain, pulled = 0.0, 0.0
                for axis in range(3):
                    step = 0.0
                    for k in range(3):
                        step += (there[k] - here[k]) * vertices[faces[f, k], axis]
                    plain += step * step
                    pulled += pull[f, axis] * step
                length = np.sqrt(slowness[f] * slowness[f] * plain + pulled * pulled)
                pieces = 1 + int(_SAMPLES_A_STEP * length)
                is_last = i == starts[p + 1] - 2
                if rounds == 1:
                    for j in range(pieces + is_last):
                        at_time[filled + j] = time[i] + (time[i + 1] - time[i]) * j / pieces
                        facet[filled + j] = f
                        for k in range(3):
                            weights[filled + j, k] = here[k] + (there[k] - here[k]) * j / pieces
                filled += pieces + is_last
            if rounds == 1:
                new_starts[p + 1] = filled
        total = filled
    return facet, weights, at_time, new_starts


@njit(nogil=True)
def _weights_in(faces, f, half_edge, share, out):
    """Shares of a facet's corners at a place on one of its edges, named by the half-edge of either side."""
    g = half_edge // 3
    a, b = faces[g, half_edge % 3], faces[g, (half_edge % 3 + 1) % 3]
    for k in range(3):
        out[k] = 0.0
        if faces[f, k] == a:
            out[k] = 1.0 - share
        elif faces[f, k] == b:
            out[k] = share
