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


def naive_path_minutes(
    points: np.ndarray,
    feed_mm_per_min: float,
    acceleration_mm_per_s2: float,
    corner_deviation_mm: float,
    steps_a_piece: int = 1000,
) -> float:
    """Time along a polyline by a march in small steps: as fast as every corner still ahead lets it go."""
    feed = feed_mm_per_min / 60
    pieces = np.diff(points, axis=0)
    lengths = np.linalg.norm(pieces, axis=1)
    corner_at = np.cumsum(lengths)
    corner_speed = np.zeros(len(lengths))  # the last one is the end, at rest
    for i in range(len(lengths) - 1):
        inner = np.arccos(np.clip(-pieces[i] @ pieces[i + 1] / (lengths[i] * lengths[i + 1]), -1, 1))
        radius = corner_deviation_mm * np.sin(inner / 2) / (1 - np.sin(inner / 2))
        room = min(lengths[i], lengths[i + 1]) / 2 * np.tan(inner / 2)
        corner_speed[i] = np.sqrt(acceleration_mm_per_s2 * min(radius, room))
    rough_guess = corner_at[-1] / feed + 2 * len(lengths) * min(
        feed / acceleration_mm_per_s2, np.sqrt(lengths.mean() / acceleration_mm_per_s2)
    )
    step = rough_guess / (steps_a_piece * len(lengths))
    place, speed, time = 0.0, 0.0, 0.0
    while place < corner_at[-1]:
        ahead = corner_at > place
        can_brake = np.sqrt(corner_speed[ahead] ** 2 + 2 * acceleration_mm_per_s2 * (corner_at[ahead] - place)).min()
        speed = min(speed + acceleration_mm_per_s2 * step, feed, can_brake)
        place += speed * step
        time += step
    return time / 60


def naive_compliance(sections: list[tuple[float, float, float]], modulus: float, steps: int = 4000) -> float:
    """Give of the tip by bending the bar slice by slice from the holder: slope and sag of a unit force add up.

    `sections` are (length, bottom diameter, top diameter) from the tip up.
    """
    total = sum(length for length, _, _ in sections)
    above, slope, sag = 0.0, 0.0, 0.0
    for length, bottom, top in reversed(sections):
        slice_mm = length / steps
        for i in range(steps):
            from_holder = above + (i + 0.5) * slice_mm
            diameter = top + (bottom - top) * (i + 0.5) / steps
            bend = (total - from_holder) / (modulus * np.pi * diameter**4 / 64)
            sag += slope * slice_mm + bend * slice_mm**2 / 2
            slope += bend * slice_mm
        above += length
    return sag


def naive_ball_force(
    feed: float, depth: float, stepover: float, radius: float, kc11: float, mc: float, edges: int = 3000
) -> float:
    """Largest force on any straight edge of a ball: chips added up point by point along great circles.

    The ball's centre runs along X at the origin; a point cuts ahead of the centre, within the layer, and
    outside the groove of the pass before, a stepover beside it.
    """
    rng = np.random.default_rng(11)
    least_z = -radius
    rim = np.arccos(1 - depth / radius)
    largest = 0.0
    for _ in range(edges):
        # a great circle through some point of the cap, in some direction there
        lean, turn, heading = rim * np.sqrt(rng.random()), *rng.uniform(0, 2 * np.pi, 2)
        point = np.array([np.sin(lean) * np.cos(turn), np.sin(lean) * np.sin(turn), -np.cos(lean)])
        across = np.cross(point, [np.cos(heading), np.sin(heading), 0.0])
        along = np.cross(across / np.linalg.norm(across), point)
        arc = np.linspace(-2 * rim, 2 * rim, 801)[:, None]
        normal = np.cos(arc) * point + np.sin(arc) * along
        x, y, z = radius * normal.T
        cuts = (x > 0) & (z < least_z + depth) & (np.hypot(y + stepover, z) > radius)
        chip = feed * x[cuts] / radius
        width = radius * 4 * rim / 800
        largest = max(largest, float((kc11 * width * chip ** (1 - mc)).sum()))
    return largest
