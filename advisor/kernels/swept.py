"""What a cutter sweeps on a straight way: a capsule for a ball; for a bull-nose all near a disc that is swept.

A bull-nose's rounded corner runs on a ring; corner and flat together are all that lies within the corner's radius of
the disc in the ring. The middle of the disc moves, and the disc stays level. Both swept bodies are convex.
"""

from __future__ import annotations

import numpy as np
from numba import njit

# Halvings of a segment for the nearest place on it: to rounding.
_HALVINGS = 50
# Steps of Newton's method for an entry; where a line only grazes a body each halves what is left.
_STEPS = 60
_ROUNDING = 1e-13


@njit(nogil=True, inline="always")
def _to_segment(a, i, x, y, z):
    """Way from a place to the nearest point of the segment in row `i`."""
    ax, ay, az = a[i, 0] - x, a[i, 1] - y, a[i, 2] - z
    ux, uy, uz = a[i, 3] - a[i, 0], a[i, 4] - a[i, 1], a[i, 5] - a[i, 2]
    length2 = ux * ux + uy * uy + uz * uz
    t = 0.0
    if length2 > 0.0:
        t = min(max(-(ax * ux + ay * uy + az * uz) / length2, 0.0), 1.0)
    return ax + t * ux, ay + t * uy, az + t * uz


@njit(nogil=True)
def _to_swept_disc(a, i, x, y, z, ring):
    """Way from a place to the nearest point of a level disc of radius `ring` swept along the segment in row `i`.

    The square of the distance from the disc is convex along the segment: its least place is found by halving.
    """
    ux, uy, uz = a[i, 3] - a[i, 0], a[i, 4] - a[i, 1], a[i, 5] - a[i, 2]
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        s = 0.5 * (low + high)
        dx, dy, dz = a[i, 0] + s * ux - x, a[i, 1] + s * uy - y, a[i, 2] + s * uz - z
        across = np.sqrt(dx * dx + dy * dy)
        beyond = 1.0 - ring / across if across > ring else 0.0
        if dz * uz + beyond * (dx * ux + dy * uy) < 0.0:
            low = s
        else:
            high = s
    s = 0.5 * (low + high)
    dx, dy, dz = a[i, 0] + s * ux - x, a[i, 1] + s * uy - y, a[i, 2] + s * uz - z
    across = np.sqrt(dx * dx + dy * dy)
    beyond = 1.0 - ring / across if across > ring else 0.0
    return beyond * dx, beyond * dy, dz


@njit(nogil=True, inline="always")
def to_swept(a, i, x, y, z, ring):
    """Way from a place to the nearest place that the middle of the corner passes on the segment in row `i`."""
    if ring == 0.0:
        return _to_segment(a, i, x, y, z)
    return _to_swept_disc(a, i, x, y, z, ring)


@njit(nogil=True, inline="always")
def _in_ball(px, py, pz, nx, ny, nz, cx, cy, cz, radius):
    """Where a line enters a ball, infinite where it passes by."""
    x, y, z = cx - px, cy - py, cz - pz
    along = x * nx + y * ny + z * nz
    x, y, z = x - along * nx, y - along * ny, z - along * nz
    rest = radius * radius - (x * x + y * y + z * z)
    return along - np.sqrt(rest) if rest >= 0.0 else np.inf


@njit(nogil=True)
def _entry_of_ball(px, py, pz, nx, ny, nz, a, i, radius):
    """Where the line ``p + t n`` enters the capsule about the segment in row `i`; infinite where it passes by.

    The line meets the endless cylinder at ``A t^2 + 2 B t + C = 0``, all measured square to the axis; where that is
    beyond an end of the segment, the ball about that end decides.
    """
    ux, uy, uz = a[i, 3] - a[i, 0], a[i, 4] - a[i, 1], a[i, 5] - a[i, 2]
    length = np.sqrt(ux * ux + uy * uy + uz * uz)
    at_a = length == 0.0
    if not at_a:
        ux, uy, uz = ux / length, uy / length, uz / length
        mx, my, mz = px - a[i, 0], py - a[i, 1], pz - a[i, 2]
        along, rise = mx * ux + my * uy + mz * uz, nx * ux + ny * uy + nz * uz
        mx, my, mz = mx - along * ux, my - along * uy, mz - along * uz
        qx, qy, qz = nx - rise * ux, ny - rise * uy, nz - rise * uz
        square = qx * qx + qy * qy + qz * qz
        if square > 1e-24:
            half = mx * qx + my * qy + mz * qz
            # the nearest way to the axis itself, not a difference of squares
            fx, fy, fz = mx - half / square * qx, my - half / square * qy, mz - half / square * qz
            rest = radius * radius - (fx * fx + fy * fy + fz * fz)
            if rest < 0.0:
                return np.inf
            t = (-half - np.sqrt(rest * square)) / square
            place = along + t * rise
            if 0.0 <= place <= length:
                return t
            at_a = place < 0.0
        else:
            at_a = rise > 0.0
    if at_a:
        return _in_ball(px, py, pz, nx, ny, nz, a[i, 0], a[i, 1], a[i, 2], radius)
    return _in_ball(px, py, pz, nx, ny, nz, a[i, 3], a[i, 4], a[i, 5], radius)


@njit(nogil=True)
def _entry_of_ring(px, py, pz, nx, ny, nz, a, i, radius, ring):
    """Where the line enters what a bull-nose sweeps: Newton's method from before it.

    The distance from a convex set is convex along a line, so that no step leads past the entry.
    """
    mx, my, mz = 0.5 * (a[i, 0] + a[i, 3]) - px, 0.5 * (a[i, 1] + a[i, 4]) - py, 0.5 * (a[i, 2] + a[i, 5]) - pz
    ux, uy, uz = a[i, 3] - a[i, 0], a[i, 4] - a[i, 1], a[i, 5] - a[i, 2]
    size = 0.5 * np.sqrt(ux * ux + uy * uy + uz * uz) + ring + radius
    t = mx * nx + my * ny + mz * nz - 1.5 * size
    for _ in range(_STEPS):
        x, y, z = to_swept(a, i, px + t * nx, py + t * ny, pz + t * nz, ring)
        distance = np.sqrt(x * x + y * y + z * z)
        more = distance - radius
        if more <= _ROUNDING * size:
            return t
        nearer = (x * nx + y * ny + z * nz) / distance
        # it passes by; what it grazes by less than rounding is not cut
        if nearer <= 1e-9:
            return np.inf
        t += more / nearer
        if t > mx * nx + my * ny + mz * nz + 1.5 * size:
            return np.inf
    return t


@njit(nogil=True, inline="always")
def entry(px, py, pz, nx, ny, nz, a, i, radius, ring):
    """Where the line ``p + t n`` enters what is swept along the segment in row `i`; infinite where it passes by."""
    if ring == 0.0:
        return _entry_of_ball(px, py, pz, nx, ny, nz, a, i, radius)
    return _entry_of_ring(px, py, pz, nx, ny, nz, a, i, radius, ring)
