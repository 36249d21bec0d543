"""Lines of a picture, found in its facet and depth buffers: outlines, hidden-edge steps, creases, zone borders."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from advisor.kernels.read_only import reads

# Kinds of line, weakest first: where two meet, the stronger is drawn.
NO_LINE, BORDER, CREASE, STEP, OUTLINE = 0, 1, 2, 3, 4
# Ways along pixel sides from a corner: up, down, left, right; the last bit turns a way round.
DOWN_OF, RIGHT_OF = np.array([-1, 1, 0, 0]), np.array([0, 0, -1, 1])
# What a loose end hung on may be loose without it.
LOOSE_END_ROUNDS = 3
# A bend along more facets than this is an edge of the part.
FEW_FACETS = 9
# A step in depth is a line where it exceeds this plus the falls of the two facets' own planes.
LEAST_STEP_PX = 2.5
STEEPEST_FALL = 40.0


@reads(4)
@njit(cache=True, nogil=True)
def find_lines(
    facet: NDArray[np.int32],
    depth: NDArray[np.float32],
    normals: NDArray[np.float32],
    smooth: NDArray[np.float32],
    area_of: NDArray[np.int32],
    cos_crease: float,
    cos_smooth_crease: float,
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
    smooth : (m, 3) float32 array
        Unit normals in any frame, of facets as part of the smooth surface: a rough one is not all creases.
    area_of : (m,) int32 array
        What lies on the two sides of a border: any number a zone.
    cos_crease, cos_smooth_crease : float
        Cosines of the least angles between facets, and between their smooth normals, that make a crease.
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
                right_of[row, column] = _kind(
                    f, g, step, np.int64(0), normals, smooth, area_of, cos_crease, cos_smooth_crease
                )
            if row + 1 < height and facet[row + 1, column] != f:
                g = facet[row + 1, column]
                step = depth[row, column] - depth[row + 1, column]
                below[row, column] = _kind(
                    f, g, step, np.int64(1), normals, smooth, area_of, cos_crease, cos_smooth_crease
                )


@njit(nogil=True)
def _kind(
    f: int,
    g: int,
    step: float,
    axis: np.int64,
    normals: NDArray[np.float32],
    smooth: NDArray[np.float32],
    area_of: NDArray[np.int32],
    cos_crease: float,
    cos_smooth_crease: float,
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
        cosine = smooth[f, 0] * smooth[g, 0] + smooth[f, 1] * smooth[g, 1] + smooth[f, 2] * smooth[g, 2]
        if cosine < cos_smooth_crease:
            return CREASE
    return BORDER if area_of[f] != area_of[g] else NO_LINE


@njit(nogil=True)
def _rise(along: float, near: float) -> float:
    if abs(along) >= STEEPEST_FALL * abs(near):
        return STEEPEST_FALL if along * near < 0.0 else -STEEPEST_FALL
    return -along / near


@reads(3)
@njit(cache=True, nogil=True)
def drop_narrow(
    right_of: NDArray[np.uint8],
    below: NDArray[np.uint8],
    facet: NDArray[np.int32],
    area_of: NDArray[np.int32],
    area: NDArray[np.int32],
    wide: NDArray[np.bool_],
    fineness: int,
    reach: int,
) -> None:
    """Take away borders along which either side is narrow: its lines would cover it, and look like a needle.

    Parameters
    ----------
    right_of, below : (height * fineness, width * fineness) uint8 arrays
        From :func:`find_lines`; changed.
    facet : int32 array of that shape
    area_of : (m,) int32 array
        As in :func:`find_lines`.
    area : (height, width) int32 array
        What lies at the centres of coarse pixels of ``fineness`` squared fine ones.
    wide : (height, width) bool array
        Coarse pixels far from all other areas.
    reach : int
        How near a wide pixel of each side must be, coarse pixels along rows and columns.
    """
    height, width = facet.shape
    for row in range(height):
        for column in range(width):
            at = area_of[facet[row, column]]
            y, x = row // fineness, column // fineness
            if right_of[row, column] == BORDER:
                beyond = area_of[facet[row, column + 1]]
                if not (_is_near(at, y, x, area, wide, reach) and _is_near(beyond, y, x, area, wide, reach)):
                    right_of[row, column] = NO_LINE
            if below[row, column] == BORDER:
                beyond = area_of[facet[row + 1, column]]
                if not (_is_near(at, y, x, area, wide, reach) and _is_near(beyond, y, x, area, wide, reach)):
                    below[row, column] = NO_LINE


@njit(nogil=True)
def _is_near(sought: int, row: int, column: int, area: NDArray[np.int32], wide: NDArray[np.bool_], reach: int) -> bool:
    height, width = area.shape
    for y in range(max(0, row - reach), min(height, row + reach + 1)):
        for x in range(max(0, column - reach), min(width, column + reach + 1)):
            if wide[y, x] and area[y, x] == sought:
                return True
    return False


@reads(3)
@njit(cache=True, nogil=True)
def drop_loose_ends(
    right_of: NDArray[np.uint8],
    below: NDArray[np.uint8],
    facet: NDArray[np.int32],
    area_of: NDArray[np.int32],
    kind: int,
    short: int,
    long: int,
) -> None:
    """Take away lines of one kind that end freely and are short: ``short`` pixel sides from end to end or junction.

    Up to ``long`` sides those go that run along few facets: coarse and rough surfaces are full of such bends.
    A crease that goes becomes a border where two areas meet.

    Parameters
    ----------
    right_of, below : (height, width) uint8 arrays
        From :func:`find_lines`; changed.
    facet : (height, width) int32 array
    area_of : (m,) int32 array
        As in :func:`find_lines`.
    """
    height, width = right_of.shape
    rows, columns, ways = np.empty(long, np.int64), np.empty(long, np.int64), np.empty(long, np.int64)
    for _ in range(LOOSE_END_ROUNDS):
        for row in range(height):
            for column in range(width):
                if right_of[row, column] != kind and below[row, column] != kind:
                    continue
                # corners that the two sides of this pixel end at
                for down, right in ((0, 1), (1, 0), (1, 1)):
                    y, x = row + down, column + right
                    count = 0
                    while count < long:
                        way = _only_way_on(right_of, below, y, x, kind, ways[count - 1] if count else -1)
                        if way < 0:
                            break
                        rows[count], columns[count], ways[count] = y, x, way
                        y, x = y + DOWN_OF[way], x + RIGHT_OF[way]
                        count += 1
                    if count == long:
                        continue
                    facets = _facets_along(facet, rows[:count], columns[:count], ways[:count])
                    if count >= short and facets > FEW_FACETS:
                        continue
                    for i in range(count):
                        _soften(right_of, below, facet, area_of, rows[i], columns[i], ways[i])


@njit(nogil=True)
def _facets_along(
    facet: NDArray[np.int32], rows: NDArray[np.int64], columns: NDArray[np.int64], ways: NDArray[np.int64]
) -> int:
    # how often the pair of facets on the two sides of a line changes
    count, last_low, last_high = 0, -1, -1
    for i in range(len(rows)):
        y, x = rows[i] - (ways[i] != 1), columns[i] - (ways[i] != 3)
        one, other = facet[y, x], facet[y, x + 1] if ways[i] < 2 else facet[y + 1, x]
        low, high = min(one, other), max(one, other)
        count += low != last_low or high != last_high
        last_low, last_high = low, high
    return count


@njit(nogil=True)
def _only_way_on(
    right_of: NDArray[np.uint8], below: NDArray[np.uint8], row: int, column: int, kind: int, came: int
) -> int:
    # from a free end (came < 0), or on from a side: the one line that leaves this corner, if it is of the kind
    found = -1
    for way in range(4):
        if came >= 0 and way == came ^ 1:
            continue
        line = _side(right_of, below, row, column, way)
        if line != NO_LINE:
            if found >= 0 or line != kind:
                return -1
            found = way
    return found


@njit(nogil=True)
def _side(right_of: NDArray[np.uint8], below: NDArray[np.uint8], row: int, column: int, way: int) -> int:
    # line along the pixel side that leaves a corner upwards, downwards, to the left or to the right
    height, width = right_of.shape
    y, x = row - (way != 1), column - (way != 3)
    if y < 0 or x < 0 or y >= height or x >= width:
        return NO_LINE
    return int(right_of[y, x]) if way < 2 else int(below[y, x])


@njit(nogil=True)
def _soften(
    right_of: NDArray[np.uint8],
    below: NDArray[np.uint8],
    facet: NDArray[np.int32],
    area_of: NDArray[np.int32],
    row: int,
    column: int,
    way: int,
) -> None:
    y, x = row - (way != 1), column - (way != 3)
    if way < 2:
        parts = area_of[facet[y, x]] != area_of[facet[y, x + 1]]
        right_of[y, x] = BORDER if parts and right_of[y, x] == CREASE else NO_LINE
    else:
        parts = area_of[facet[y, x]] != area_of[facet[y + 1, x]]
        below[y, x] = BORDER if parts and below[y, x] == CREASE else NO_LINE


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


@njit(nogil=True)
def _spot(ink: NDArray[np.uint8], y: float, x: float, radius: float, kind: int) -> None:
    height, width = ink.shape
    for row in range(max(0, math.ceil(y - radius - 0.5)), min(height - 1, math.floor(y + radius - 0.5)) + 1):
        dy = row + 0.5 - y
        reach = math.sqrt(max(0.0, radius * radius - dy * dy))
        first = max(0, math.ceil(x - reach - 0.5))
        last = min(width - 1, math.floor(x + reach - 0.5))
        for column in range(first, last + 1):
            ink[row, column] = max(ink[row, column], kind)
