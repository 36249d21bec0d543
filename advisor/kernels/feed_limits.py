"""Time along polylines under a feed, an acceleration and a deviation at corners."""

from __future__ import annotations

import numpy as np
from numba import njit

# Pieces that turn by less than this (radians) are one straight run: what rounding leaves of a divided line.
_STRAIGHT = 1e-6


@njit(nogil=True)
def straight_runs(points, length, half_turn):
    """Straight runs of one path, and the turns between them.

    Parameters
    ----------
    points : (n, 3) float64 array, mm
    length : (n,) float64 array
        Filled with the length of each run, mm.
    half_turn : (n,) float64 array
        Filled with the sine of half the angle that the path turns by before each run; 0 for the first.

    Returns
    -------
    count : int
        Number of runs; repeated points make none.
    """
    count = 0
    lead_x, lead_y, lead_z = 0.0, 0.0, 0.0  # direction at the start of the run: a slow bend is no straight run
    x, y, z = 0.0, 0.0, 0.0  # direction of the piece before
    for i in range(1, points.shape[0]):
        dx = points[i, 0] - points[i - 1, 0]
        dy = points[i, 1] - points[i - 1, 1]
        dz = points[i, 2] - points[i - 1, 2]
        piece = np.sqrt(dx * dx + dy * dy + dz * dz)
        if piece == 0.0:
            continue
        dx, dy, dz = dx / piece, dy / piece, dz / piece
        off = (dx - lead_x) ** 2 + (dy - lead_y) ** 2 + (dz - lead_z) ** 2
        if count > 0 and off < _STRAIGHT**2:
            length[count - 1] += piece
        else:
            half_turn[count] = 0.0
            if count > 0:
                chord = np.sqrt((dx - x) ** 2 + (dy - y) ** 2 + (dz - z) ** 2)
                half_turn[count] = min(1.0, 0.5 * chord)
            length[count] = piece
            lead_x, lead_y, lead_z = dx, dy, dz
            count += 1
        x, y, z = dx, dy, dz
    return count


@njit(cache=True, nogil=True)
def corner_radius(half_turn, deviation, shorter_run):
    """Radius of the arc that a corner is rounded with, mm: within the deviation, and within half of both runs.

    With g the inner angle of the corner, deviation sin(g/2) / (1 - sin(g/2)); `half_turn` is cos(g/2). The arc
    takes radius * cot(g/2) of each run, which leaves a finely divided circle its own radius.
    """
    if half_turn == 0.0:
        return np.inf
    bluntness = np.sqrt((1.0 - half_turn) * (1.0 + half_turn))
    by_deviation = deviation * bluntness * (1.0 + bluntness) / half_turn**2
    return min(by_deviation, 0.5 * shorter_run * bluntness / half_turn)


@njit(nogil=True)
def _run_seconds(length, start, end, feed, acceleration):
    """Time of a straight run between two squared speeds that can be had."""
    peak = 0.5 * (start + end) + acceleration * length
    if peak <= feed * feed:
        cruise = 0.0
    else:
        cruise = (peak - feed * feed) / acceleration
        peak = feed * feed
    top = np.sqrt(peak)
    # (top - speed) / acceleration, without the difference of near numbers
    rise = (peak - start) / (acceleration * (top + np.sqrt(start)))
    fall = (peak - end) / (acceleration * (top + np.sqrt(end)))
    return rise + fall + cruise / feed


@njit(nogil=True)
def _one_path_seconds(points, feed, acceleration, deviation, length, half_turn, square):
    count = straight_runs(points, length, half_turn)
    if count == 0:
        return 0.0
    # squared speed at the start of each run: corner limit, then what can be reached, then what can be braked to
    square[0] = 0.0
    for i in range(1, count):
        radius = corner_radius(half_turn[i], deviation, min(length[i - 1], length[i]))
        limit = min(feed * feed, acceleration * radius)
        square[i] = min(limit, square[i - 1] + 2.0 * acceleration * length[i - 1])
    end, seconds = 0.0, 0.0
    for i in range(count - 1, -1, -1):
        square[i] = min(square[i], end + 2.0 * acceleration * length[i])
        seconds += _run_seconds(length[i], square[i], end, feed, acceleration)
        end = square[i]
    return seconds


@njit(cache=True, nogil=True)
def path_seconds(points, starts, feed, acceleration, deviation):
    """Time of each path, from rest to rest, in seconds. Linear in the number of points.

    Parameters
    ----------
    points : (k, 3) float64 array, mm
    starts : (p + 1,) int64 array
        Path ``i`` is ``points[starts[i]:starts[i + 1]]``.
    feed : float, mm/s
    acceleration : float, mm/s2
        Along the path, and across it in a corner.
    deviation : float, mm
        How far a corner may be cut; 0 stops at every one.

    Returns
    -------
    (p,) float64 array
    """
    paths = starts.shape[0] - 1
    longest = 0
    for i in range(paths):
        longest = max(longest, starts[i + 1] - starts[i])
    length = np.empty(longest, np.float64)
    half_turn = np.empty(longest, np.float64)
    square = np.empty(longest, np.float64)
    out = np.empty(paths, np.float64)
    for i in range(paths):
        path = points[starts[i] : starts[i + 1]]
        out[i] = _one_path_seconds(path, feed, acceleration, deviation, length, half_turn, square)
    return out
