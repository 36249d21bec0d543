"""Time along one path whose stretches are run at different feeds, told by kind of stretch."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.feed_limits import corner_radius

# Pieces of a kind that turn by less than this (radians) are one straight run, as in ``kernels.feed_limits``.
_STRAIGHT = 1e-6


@njit(nogil=True)
def runs(points, kind, length, half_turn, of_kind):
    """Straight runs of a path, each of one kind.

    Parameters
    ----------
    points : (n, 3) float64 array
    kind : (n - 1,) int8 array
        Of the segment from each point to the next.
    length, half_turn, of_kind : (n,) arrays
        Filled with the length of each run, the sine of half the turn before it, and its kind.

    Returns
    -------
    count : int
    """
    count = 0
    lead_x, lead_y, lead_z, x, y, z = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(points.shape[0] - 1):
        dx, dy = points[i + 1, 0] - points[i, 0], points[i + 1, 1] - points[i, 1]
        dz = points[i + 1, 2] - points[i, 2]
        piece = np.sqrt(dx * dx + dy * dy + dz * dz)
        if piece == 0.0:
            continue
        dx, dy, dz = dx / piece, dy / piece, dz / piece
        off = (dx - lead_x) ** 2 + (dy - lead_y) ** 2 + (dz - lead_z) ** 2
        if count > 0 and off < _STRAIGHT**2 and of_kind[count - 1] == kind[i]:
            length[count - 1] += piece
        else:
            half_turn[count] = min(1.0, 0.5 * np.sqrt((dx - x) ** 2 + (dy - y) ** 2 + (dz - z) ** 2))
            if count == 0 or off < _STRAIGHT**2:
                half_turn[count] = 0.0
            length[count], of_kind[count] = piece, kind[i]
            lead_x, lead_y, lead_z = dx, dy, dz
            count += 1
        x, y, z = dx, dy, dz
    return count


@njit(nogil=True, inline="always")
def _run_limit(length, feed, block_seconds):
    """Speed of a straight run: the feed, or what a control can read that needs a time for each block."""
    return feed if block_seconds == 0.0 else min(feed, length / block_seconds)


@njit(nogil=True)
def _seconds(length, start, end, feed, acceleration):
    """Time of a straight run between two squared speeds that can be had: trapezoid or triangle of speed."""
    peak = min(0.5 * (start + end) + acceleration * length, feed * feed)
    top = np.sqrt(peak)
    # (top - speed) / acceleration, without the difference of near numbers
    rise = (peak - start) / (acceleration * (top + np.sqrt(start)))
    fall = (peak - end) / (acceleration * (top + np.sqrt(end)))
    ramps = (peak - 0.5 * (start + end)) / acceleration
    return rise + fall + max(length - ramps, 0.0) / top


@njit(cache=True, nogil=True)
def seconds_by_kind(points, kind, feed, acceleration, deviation, block_seconds):
    """Time of the stretches of each kind along a path from rest to rest. Linear in the number of points.

    At the corner between two runs the speed is that of the slower feed at most, and that of the arc of
    ``feed_limits.corner_radius``.

    Parameters
    ----------
    points : (n, 3) float64 array, mm
    kind : (n - 1,) int8 array
        Kind of the segment from each point to the next.
    feed : (k,) float64 array, mm/s
        Of every kind.
    acceleration : float, mm/s2
    deviation : float, mm
        How far a corner may be cut; 0 stops at every one.
    block_seconds : float
        What a control needs for a straight piece; 0 for no limit.

    Returns
    -------
    (k,) float64 array
    """
    size = points.shape[0]
    length, half_turn, square = np.empty(size), np.empty(size), np.empty(size)
    of_kind, out = np.empty(size, np.int8), np.zeros(feed.shape[0])
    count = runs(points, kind, length, half_turn, of_kind)
    if count == 0:
        return out
    # squared speed at the start of each run: corner limit, then what can be reached, then what can be braked to
    square[0] = 0.0
    limit = _run_limit(length[0], feed[of_kind[0]], block_seconds)
    for i in range(1, count):
        before, limit = limit, _run_limit(length[i], feed[of_kind[i]], block_seconds)
        arc = acceleration * corner_radius(half_turn[i], deviation, min(length[i - 1], length[i]))
        square[i] = min(before * before, limit * limit, arc, square[i - 1] + 2.0 * acceleration * length[i - 1])
    end = 0.0
    for i in range(count - 1, -1, -1):
        square[i] = min(square[i], end + 2.0 * acceleration * length[i])
        limit = _run_limit(length[i], feed[of_kind[i]], block_seconds)
        out[of_kind[i]] += _seconds(length[i], square[i], end, limit, acceleration)
        end = square[i]
    return out
