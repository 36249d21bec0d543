"""Slow, obvious twins of the kernels."""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction

import numpy as np


def naive_twins(faces: np.ndarray) -> np.ndarray:
    """Twin half-edges by a dictionary of edges."""
    on_edge: dict[frozenset[int], list[int]] = defaultdict(list)
    for f, face in enumerate(faces.tolist()):
        for k in range(3):
            on_edge[frozenset((face[k], face[(k + 1) % 3]))].append(3 * f + k)
    twins = np.full(3 * len(faces), -1)
    for half_edges in on_edge.values():
        if len(half_edges) == 2:
            twins[half_edges[0]], twins[half_edges[1]] = half_edges[1], half_edges[0]
        elif len(half_edges) > 2:
            twins[half_edges] = -2
    return twins


def naive_weld(rows: np.ndarray) -> tuple[list[int], list[int]]:
    """Numbers of equal rows by a dictionary, and the first row of each."""
    seen: dict[tuple[int, ...], int] = {}
    index, first = [], []
    for i, row in enumerate(map(tuple, rows.tolist())):
        if row not in seen:
            seen[row] = len(seen)
            first.append(i)
        index.append(seen[row])
    return index, first


def naive_quantile(values: np.ndarray, weights: np.ndarray, share: float) -> float:
    """Smallest value at which the sorted running weight reaches a share."""
    order = np.argsort(values, kind="stable")
    wanted = share * weights.sum()
    passed = 0.0
    for i in order:
        passed += weights[i]
        if passed >= wanted - 1e-12 * weights.sum():
            return float(values[i])
    return float(values[order[-1]])


def naive_groups(faces: np.ndarray, linked: np.ndarray, twins: np.ndarray) -> np.ndarray:
    """Connected facets by flooding, labelled in order of the first facet."""
    label = np.full(len(faces), -1)
    count = 0
    for seed in range(len(faces)):
        if label[seed] >= 0:
            continue
        todo = [seed]
        while todo:
            f = todo.pop()
            if label[f] >= 0:
                continue
            label[f] = count
            for h in range(3 * f, 3 * f + 3):
                t = twins[h]
                if t >= 0 and (linked[h] or linked[t]):
                    todo.append(t // 3)
        count += 1
    return label


def naive_line_shares(normals: np.ndarray, axis: np.ndarray, feed: np.ndarray) -> np.ndarray:
    """How much plan spacing a unit of surface spacing takes: sqrt(1 - sin^2(slope) cos^2(phi))."""
    shares = []
    step = np.cross(feed, axis)
    for normal in normals:
        uphill = -(normal - (normal @ axis) * axis)
        sine = np.linalg.norm(uphill)
        cosine = 0.0 if sine < 1e-12 else (uphill / sine) @ step
        shares.append(np.sqrt(1.0 - sine**2 * cosine**2))
    return np.array(shares)


def naive_raster(points: np.ndarray, faces: np.ndarray, width: int, height: int) -> tuple[np.ndarray, np.ndarray]:
    """Nearest facet and depth at pixel centres, in whole fractions: no rounding, no cleverness."""
    facet = np.full((height, width), -1, np.int32)
    depth = np.full((height, width), -np.inf)
    corners = [[Fraction(float(value)) for value in point] for point in points]
    for row in range(height):
        for column in range(width):
            x, y = Fraction(2 * column + 1, 2), Fraction(2 * row + 1, 2)
            for number, face in enumerate(faces):
                z = naive_raster_depth([corners[v] for v in face], x, y)
                if z is not None and np.float32(z) > depth[row, column]:
                    facet[row, column], depth[row, column] = number, np.float32(z)
    return facet, depth


def naive_raster_depth(
    triangle: list[list[Fraction]], x: Fraction, y: Fraction, back_bias: Fraction = Fraction(1, 20)
) -> Fraction | None:
    """Depth of a triangle at (x, y), or None outside; an edge is inside if its right or lower side is."""
    a, b, c = triangle
    turn = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    if turn == 0:
        return None
    # what lies just to the right of and, less so, just below an edge decides: step there by a hair
    hair = Fraction(1, 10**9)
    px, py = x + hair, y + hair * hair
    shares = []
    for p, q in ((b, c), (c, a), (a, b)):
        side = (q[0] - p[0]) * (py - p[1]) - (q[1] - p[1]) * (px - p[0])
        if side * turn <= 0:
            return None
        shares.append(((q[0] - p[0]) * (y - p[1]) - (q[1] - p[1]) * (x - p[0])) / turn)
    z = sum(share * corner[2] for share, corner in zip(shares, triangle, strict=True))
    # y runs down the page: a facet seen from the front turns the other way
    return z - back_bias if turn > 0 else z


def naive_raster_room(zone: np.ndarray, barrier: np.ndarray) -> np.ndarray:
    """Straight distance of each pixel to the nearest one of another zone, off the picture, or on a barrier."""
    height, width = zone.shape
    framed = np.pad(zone, 1, constant_values=-99)
    walls = np.pad(barrier, 1, constant_values=True)
    rows, columns = np.mgrid[0 : height + 2, 0 : width + 2]
    room = np.zeros((height, width))
    for row in range(height):
        for column in range(width):
            other = walls | (framed != zone[row, column])
            gaps = np.hypot(rows - row - 1, columns - column - 1)
            room[row, column] = gaps[other].min()
    return room
