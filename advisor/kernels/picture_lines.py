"""Lines of a picture, found in its facet and depth buffers: outlines, hidden-edge steps, creases, zone borders."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

# Kinds of line, weakest first: where two meet, the stronger is drawn.
NO_LINE, BORDER, CREASE, STEP, OUTLINE = 0, 1, 2, 3, 4
# A step in depth is a line where it exceeds this plus the falls of the two facets' own planes.
LEAST_STEP_PX = 2.5
STEEPEST_FALL = 40.0


@njit(cache=True, nogil=True)
def find_lines(
    facet: NDArray[np.int32],
    depth: NDArray[np.float32],
    normals: NDArray[np.float32],
    area_of: NDArray[np.int32],
    cos_crease: float,
    first_row: int,
    last_row: int,
    right_of: NDArray[np.uint8],
    below: NDArray[np.uint8],
) -> None:
    """Kind of line between each pixel and its neighbour to the right and below, for a band of rows.

    Parameters
    ----------
    facet, depth : (height, width) arrays
        Buffers of :func:`advisor.kernels.raster.rasterise`.
    normals : (m, 3) float32 array
        Facet normals along right, up, towards the viewer.
    area_of : (m,) int32 array
        What lies on the two sides of a border: any number a zone.
    cos_crease : float
        Cosine of the least angle between facets that is a crease.
    first_row, last_row : int
        The band; ``last_row`` is left out.
    right_of, below : (height, width) uint8 arrays
        Written.
    """
    height, width = facet.shape
    for row in range(first_row, last_row):
        for column in range(width):
            f = facet[row, column]
            if column + 1 < width and facet[row, column + 1] != f:
                g = facet[row, column + 1]
                step = depth[row, column] - depth[row, column + 1]
                right_of[row, column] = _kind(f, g, step, 0, normals, area_of, cos_crease)
            if row + 1 < height and facet[row + 1, column] != f:
                g = facet[row + 1, column]
                step = depth[row, column] - depth[row + 1, column]
                below[row, column] = _kind(f, g, step, 1, normals, area_of, cos_crease)


@njit(cache=True, nogil=True)
def _kind(
    f: int,
    g: int,
    step: float,
    axis: int,
    normals: NDArray[np.float32],
    area_of: NDArray[np.int32],
    cos_crease: float,
) -> int:
    if f < 0 or g < 0:
        return OUTLINE
    f_rise = _rise(normals[f, axis], normals[f, 2])
    g_rise = _rise(normals[g, axis], normals[g, 2])
    # planes of both facets carried to the point midway: what is left of the step is a gap
    sign = 1.0 if axis == 0 else -1.0
    gap = abs(step + 0.5 * sign * (f_rise + g_rise))
    if gap > LEAST_STEP_PX + 0.5 * (abs(f_rise) + abs(g_rise)):
        return STEP
    cosine = normals[f, 0] * normals[g, 0] + normals[f, 1] * normals[g, 1] + normals[f, 2] * normals[g, 2]
    if cosine < cos_crease:
        return CREASE
    return BORDER if area_of[f] != area_of[g] else NO_LINE


@njit(cache=True, nogil=True)
def _rise(along: float, near: float) -> float:
    if abs(along) >= STEEPEST_FALL * abs(near):
        return STEEPEST_FALL if along * near < 0.0 else -STEEPEST_FALL
    return -along / near


@njit(cache=True, nogil=True)
def ink_lines(
    right_of: NDArray[np.uint8], below: NDArray[np.uint8], half_widths: NDArray[np.float64]
) -> NDArray[np.uint8]:
    """Kind of line that inks each pixel: the strongest whose edge lies within its half width of the centre.

    Parameters
    ----------
    right_of, below : (height, width) uint8 arrays
        From :func:`find_lines`.
    half_widths : (5,) float64 array, pixels
        By kind of line.

    Returns
    -------
    (height, width) uint8 array
    """
    height, width = right_of.shape
    ink = np.zeros((height, width), np.uint8)
    for row in range(height):
        for column in range(width):
            if right_of[row, column] != NO_LINE:
                kind = right_of[row, column]
                _spot(ink, row + 0.5, column + 1.0, half_widths[kind], kind)
            if below[row, column] != NO_LINE:
                kind = below[row, column]
                _spot(ink, row + 1.0, column + 0.5, half_widths[kind], kind)
    return ink


@njit(cache=True, nogil=True)
def _spot(ink: NDArray[np.uint8], y: float, x: float, radius: float, kind: int) -> None:
    height, width = ink.shape
    for row in range(max(0, math.ceil(y - radius - 0.5)), min(height - 1, math.floor(y + radius - 0.5)) + 1):
        dy = row + 0.5 - y
        reach = math.sqrt(max(0.0, radius * radius - dy * dy))
        first = max(0, math.ceil(x - reach - 0.5))
        last = min(width - 1, math.floor(x + reach - 0.5))
        for column in range(first, last + 1):
            ink[row, column] = max(ink[row, column], kind)
