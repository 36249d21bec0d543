"""Passes of a cutter as thin lines in a picture: what of them is seen, how close they lie, and their ink."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

# A line is on the surface seen where it lies this far below it at most, plus the fall of the facet there over a step.
_SLACK = 1.5
_STEEPEST_FALL = 8.0


@njit(nogil=True, inline="always")
def _is_seen(x, y, z, facet, depth, near, slack):
    """Whether a place in samples is on the surface that the buffers show."""
    row, column = math.floor(y), math.floor(x)
    if row < 0 or column < 0 or row >= facet.shape[0] or column >= facet.shape[1]:
        return False
    f = facet[row, column]
    if f < 0:
        return False
    fall = math.sqrt(max(0.0, 1.0 - near[f] * near[f])) / max(abs(near[f]), 1.0 / _STEEPEST_FALL)
    return z + slack + _SLACK * (1.0 + fall) >= depth[row, column]


@njit(cache=True, nogil=True)
def lengths_in_tiles(points, facing, starts, zone, facet, depth, near, slack, tile, zones):
    """Length of passes that is seen, by tile of the picture and zone, samples.

    Parameters
    ----------
    points : (k, 3) float32 array, samples
        Of passes, from ``raster.project``.
    facing : (k,) float64 array
        What of the outward normal points to the viewer; turned away passes are not seen.
    starts : (p + 1,) int64 array
    zone : (p,) int array
        Below `zones`.
    facet, depth : (height, width) arrays
        From ``raster.rasterise``.
    near : (m,) float32 array
        What of each facet's normal points to the viewer.
    slack : float
        How far passes may lie off their facets, samples.
    tile : int
        Samples along the side of a tile.
    zones : int

    Returns
    -------
    (tiles down * tiles across * zones,) float64 array
    """
    across = (facet.shape[1] + tile - 1) // tile
    down = (facet.shape[0] + tile - 1) // tile
    length = np.zeros(down * across * zones)
    for p in range(len(zone)):
        for i in range(starts[p], starts[p + 1] - 1):
            if facing[i] <= 0.0 and facing[i + 1] <= 0.0:
                continue
            dx, dy = points[i + 1, 0] - points[i, 0], points[i + 1, 1] - points[i, 1]
            dz = points[i + 1, 2] - points[i, 2]
            way = math.sqrt(dx * dx + dy * dy)
            steps = int(way / 3.0) + 1
            for k in range(steps):
                t = (k + 0.5) / steps
                if facing[i] + t * (facing[i + 1] - facing[i]) <= 0.0:
                    continue
                x, y = points[i, 0] + t * dx, points[i, 1] + t * dy
                if _is_seen(x, y, points[i, 2] + t * dz, facet, depth, near, slack):
                    at = (int(y) // tile) * across + int(x) // tile
                    length[at * zones + zone[p]] += way / steps
    return length


@njit(cache=True, nogil=True)
def ink_passes(points, facing, starts, chosen, facet, depth, near, slack, radius, kind, ink):
    """Ink what is seen of some passes, where no other line is, into `ink`.

    Parameters
    ----------
    chosen : (c,) int array
        Passes to draw.
    radius : float
        Half the width of a line, samples.
    kind : int
        What is written.
    ink : (height, width) uint8 array
        Written; 0 where there is no line yet.
    others : as in ``lengths_in_tiles``
    """
    height, width = ink.shape
    for p in chosen:
        for i in range(starts[p], starts[p + 1] - 1):
            if facing[i] <= 0.0 and facing[i + 1] <= 0.0:
                continue
            dx, dy = points[i + 1, 0] - points[i, 0], points[i + 1, 1] - points[i, 1]
            dz = points[i + 1, 2] - points[i, 2]
            steps = int(2.0 * math.sqrt(dx * dx + dy * dy)) + 1
            for k in range(steps + 1):
                t = k / steps
                if facing[i] + t * (facing[i + 1] - facing[i]) <= 0.0:
                    continue
                x, y = points[i, 0] + t * dx, points[i, 1] + t * dy
                if not _is_seen(x, y, points[i, 2] + t * dz, facet, depth, near, slack):
                    continue
                for row in range(max(0, math.ceil(y - radius - 0.5)), min(height, math.floor(y + radius - 0.5) + 1)):
                    off = row + 0.5 - y
                    reach = math.sqrt(max(0.0, radius * radius - off * off))
                    first, last = max(0, math.ceil(x - reach - 0.5)), min(width, math.floor(x + reach - 0.5) + 1)
                    for column in range(first, last):
                        if ink[row, column] == 0 and facet[row, column] >= 0:
                            ink[row, column] = kind
