"""Room for labels in a zone picture: how deep each pixel lies in its zone, and where a box fits."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

# Steps of the chamfer distance: 1 along a row or column, this along a diagonal (Borgefors 1986, from memory).
DIAGONAL_STEP = 1.4


@njit(cache=True, nogil=True)
def depth_in_zone(zone: NDArray[np.int32], barrier: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Distance of each pixel to the nearest one of another zone, off the picture, or on a barrier; pixels.

    Parameters
    ----------
    zone : (height, width) int32 array
        Below 0 is off the part: most of a page.
    barrier : (height, width) bool array

    Returns
    -------
    (height, width) float32 array
        A chamfer distance, within 6 % of the straight one; 0 on barriers and off the part.
    """
    height, width = zone.shape
    depth = np.zeros((height, width), np.float32)
    for row in range(height):
        for column in range(width):
            if zone[row, column] >= 0 and not barrier[row, column]:
                depth[row, column] = _least_step(zone, depth, row, column, -1)
    for row in range(height - 1, -1, -1):
        for column in range(width - 1, -1, -1):
            if depth[row, column] > 0.0:
                depth[row, column] = min(depth[row, column], _least_step(zone, depth, row, column, 1))
    return depth


@njit(nogil=True)
def _least_step(zone: NDArray[np.int32], depth: NDArray[np.float32], row: int, column: int, way: int) -> np.float32:
    """Least distance by way of the neighbours already passed: one in the row, three in the row above or below."""
    straight, diagonal = np.float32(1.0), np.float32(DIAGONAL_STEP)
    height, width = zone.shape
    y, own = row + way, zone[row, column]
    if 0 < column < width - 1 and 0 <= y < height:
        if zone[row, column + way] != own or zone[y, column] != own:
            return straight
        least = min(depth[row, column + way], depth[y, column]) + straight
        for x in (column - 1, column + 1):
            least = min(least, (depth[y, x] if zone[y, x] == own else np.float32(0.0)) + diagonal)
        return np.float32(least)
    return straight


@njit(cache=True, nogil=True)
def box_fits(zone: NDArray[np.int32], half_width_of: NDArray[np.int32], half_height: int) -> NDArray[np.bool_]:
    """Whether a box about each pixel lies wholly in the pixel's zone.

    Parameters
    ----------
    zone : (height, width) int32 array
        Zone ids; below 1 is no zone, and nothing fits there.
    half_width_of : (n,) int32 array
        Half width of the box by zone id, pixels.
    half_height : int

    Returns
    -------
    (height, width) bool array
    """
    height, width = zone.shape
    in_row = np.zeros((height, width), np.bool_)
    for row in range(height):
        start = 0
        for column in range(1, width + 1):
            if column == width or zone[row, column] != zone[row, start]:
                if zone[row, start] > 0:
                    half = half_width_of[zone[row, start]]
                    in_row[row, start + half : max(start + half, column - half)] = True
                start = column
    fits = np.zeros((height, width), np.bool_)
    for column in range(width):
        start = 0
        for row in range(1, height + 1):
            if (
                row == height
                or zone[row, column] != zone[start, column]
                or in_row[row, column] != in_row[start, column]
            ):
                if in_row[start, column]:
                    fits[start + half_height : max(start + half_height, row - half_height), column] = True
                start = row
    return fits


@njit(cache=True, nogil=True)
def deepest_pixels(
    zone: NDArray[np.int32], worth: NDArray[np.float32], allowed: NDArray[np.bool_], count: int
) -> NDArray[np.int32]:
    """Pixel of greatest worth of each zone: (count, 2) int32 array of row and column, -1 where there is none.

    Of equals the first in reading order is taken. Pixels that are not allowed, or of no zone, are passed over.
    """
    best = np.full((count, 2), -1, np.int32)
    height, width = zone.shape
    for row in range(height):
        for column in range(width):
            k = zone[row, column]
            if k <= 0 or not allowed[row, column]:
                continue
            if best[k, 0] < 0 or worth[row, column] > worth[best[k, 0], best[k, 1]]:
                best[k, 0], best[k, 1] = row, column
    return best
