"""What a front needs to know of the facets it runs over: which edges it starts at or stops at, and where they are too
coarse for it."""

from __future__ import annotations

import numpy as np
from numba import njit

# State of a facet: not to be grown over; may be grown over; of the zone that grows.
SHUT, OPEN, INSIDE = 0, 1, 2
# Kind of an edge, besides those that may be turned over (``flip.FREE``, 0): passed but not turned over, the zone's
# smooth border, and one that no front crosses.
PASSED, START, CORNER = 1, 2, 3


@njit(cache=True, nogil=True)
def edge_kinds(faces, twins, corner_normal, state, label, least_cosine):
    """(3 m,) kind of every half-edge.

    Parameters
    ----------
    faces : (m, 3) int32 array
    twins : (3 m,) int32 array
    corner_normal : (m, 3, 3) float64 array
        Of any length.
    state : (m,) int8 array
    label : (m,) int32 array
        Edges between labels keep their place.
    least_cosine : float
        Surfaces that turn more across an edge meet at a corner.
    """
    kind = np.full(twins.shape[0], CORNER, np.int8)
    for h in range(twins.shape[0]):
        t = twins[h]
        if t < h:  # each pair once; no front crosses a rim
            continue
        f, k, g, j = h // 3, h % 3, t // 3, t % 3
        last, end = (k + 1) % 3, (j + 1) % 3
        if state[f] == SHUT or state[g] == SHUT or faces[f, k] == faces[g, j]:
            continue
        dot, here, there = 0.0, 0.0, 0.0
        for axis in range(3):
            u = corner_normal[f, k, axis] + corner_normal[f, last, axis]
            v = corner_normal[g, j, axis] + corner_normal[g, end, axis]
            dot += u * v
            here += u * u
            there += v * v
        if dot <= least_cosine * np.sqrt(here * there):
            continue
        if state[f] != state[g]:
            kind[h] = START
        elif state[f] == INSIDE or label[f] != label[g]:
            kind[h] = PASSED
        else:
            kind[h] = 0
        kind[t] = kind[h]
    return kind


@njit(cache=True, nogil=True)
def coarse_edges(vertices, faces, state, sector, time, way, distance, shortest, sag, odd):
    """Where to halve edges that are too long for the front: of facets on which the time is no straight line.

    Where the line of the distance is drawn, the time along an edge leaves a straight line by an eighth of the
    difference between the rises that the slopes at its ends stand for. And a distance must climb by 1 everywhere:
    facets on which it does not have been passed by parts of the front that they are too coarse to know of.

    Parameters
    ----------
    vertices : (n, 3) float64 array
    faces : (m, 3) int32 array
    state : (m,) int8 array
    sector : (3 m,) int32 array
        Where the time and its gradient at each corner stand.
    time : (s,) float64 array
    way : (s, 3) float64 array
    distance : float
    shortest : float
        Edges up to this long are fine enough.
    sag : float
        How far the time may leave the straight line.
    odd : float
        By how much the climb may differ from 1.

    Returns
    -------
    at : (3 m,) float64 array
        0.5 for half-edges to be halved, NaN for others.
    passed, coarse : int
        Facets that the front passes, and those of them with an edge to halve.
    longest : float
        Of the edges to halve.
    """
    at = np.full(sector.shape[0], np.nan)
    along = np.empty((3, 3), np.float64)
    square, rise = np.empty(3, np.float64), np.empty(3, np.float64)
    passed, coarse, longest = 0, 0, 0.0
    for f in range(faces.shape[0]):
        if state[f] != OPEN:
            continue
        first, second, third = time[sector[3 * f]], time[sector[3 * f + 1]], time[sector[3 * f + 2]]
        if min(first, second, third) > distance + shortest:
            continue
        passed += 1
        for k in range(3):
            square[k] = 0.0
            for axis in range(3):
                along[k, axis] = vertices[faces[f, (k + 1) % 3], axis] - vertices[faces[f, k], axis]
                square[k] += along[k, axis] ** 2
            rise[k] = time[sector[3 * f + (k + 1) % 3]] - time[sector[3 * f + k]]
        between = along[0, 0] * along[1, 0] + along[0, 1] * along[1, 1] + along[0, 2] * along[1, 2]
        climb = square[0] * rise[1] ** 2 - 2.0 * between * rise[0] * rise[1] + square[1] * rise[0] ** 2
        double_area2 = square[0] * square[1] - between * between
        is_odd = abs(climb - double_area2) > 2.0 * odd * double_area2
        is_on_line = max(first, second, third) > distance - shortest
        found = False
        for k in range(3):
            if square[k] <= shortest * shortest:
                continue
            a, b = sector[3 * f + k], sector[3 * f + (k + 1) % 3]
            if is_odd or (is_on_line and abs(_bend(along[k], time[a], time[b], way[a], way[b])) > 8.0 * sag):
                at[3 * f + k] = 0.5
                longest = max(longest, square[k])
                found = True
        coarse += found
    return at, passed, coarse, np.sqrt(longest)


@njit(nogil=True)
def _bend(along, time_a, time_b, way_a, way_b):
    """Difference of the rises that the slopes at both ends of an edge stand for."""
    rise = time_b - time_a
    first = along[0] * way_a[0] + along[1] * way_a[1] + along[2] * way_a[2]
    last = along[0] * way_b[0] + along[1] * way_b[1] + along[2] * way_b[2]
    # where the front starts it has no one direction: the slope there is what makes a parabola of the rest
    if time_a == 0.0:
        return 0.0 if time_b == 0.0 else 2.0 * (last - rise)
    if time_b == 0.0:
        return 2.0 * (rise - first)
    return last - first
