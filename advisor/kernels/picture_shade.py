"""Light and shade of a picture: facet buffers become colours, depth becomes soft occlusion."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from advisor.kernels.read_only import reads

# Directions and steps of the search for what rises around a point.
OCCLUSION_DIRECTIONS = 10
OCCLUSION_STEPS = 6
# Rises lower than this above the tangent plane (sine) are rounding or gentle curvature, not shade.
OCCLUSION_BIAS = 0.12


@njit(cache=True, nogil=True)
def occlusion_rows(
    facet: NDArray[np.int32],
    depth: NDArray[np.float32],
    normals: NDArray[np.float32],
    reach_px: float,
    first_row: int,
    last_row: int,
    open_sky: NDArray[np.float32],
) -> None:
    """Share of open sky above each pixel, 1 (free) to 0 (deep in a hole), for a band of rows.

    Parameters
    ----------
    facet : (height, width) int32 array
    depth : (height, width) float32 array, pixels; -inf off the part
    normals : (m, 3) float32 array
        Facet normals along right, up, towards the viewer.
    reach_px : float
        Farthest search.
    first_row, last_row : int
        The band; ``last_row`` is left out.
    open_sky : (height, width) float32 array
        Written.
    """
    height, width = open_sky.shape
    aside = np.empty((OCCLUSION_DIRECTIONS, 2))
    for k in range(OCCLUSION_DIRECTIONS):
        turn = 2.0 * math.pi * (k + 0.25) / OCCLUSION_DIRECTIONS
        aside[k, 0], aside[k, 1] = math.cos(turn), math.sin(turn)
    # steps grow, so that near corners are sharp and far ones soft
    away = np.empty(OCCLUSION_STEPS)
    for i in range(OCCLUSION_STEPS):
        away[i] = 1.0 + (reach_px - 1.0) * ((i + 1.0) / OCCLUSION_STEPS) ** 2
    for row in range(first_row, last_row):
        for column in range(width):
            f = facet[row, column]
            open_sky[row, column] = 1.0
            if f < 0:
                continue
            z = depth[row, column]
            nx, ny, nz = normals[f, 0], normals[f, 1], normals[f, 2]
            if nz < 0.0:
                nx, ny, nz = -nx, -ny, -nz
            shade = 0.0
            for k in range(OCCLUSION_DIRECTIONS):
                highest = 0.0
                for i in range(OCCLUSION_STEPS):
                    x = int(column + aside[k, 0] * away[i] + 0.5)
                    y = int(row + aside[k, 1] * away[i] + 0.5)
                    if x < 0 or y < 0 or x >= width or y >= height:
                        break
                    dx, dy, dz = x - column, y - row, depth[y, x] - z
                    rise = nx * dx - ny * dy + nz * dz
                    if rise <= 0.0:
                        continue
                    distance = math.sqrt(dx * dx + dy * dy + dz * dz)
                    # what rises far nearer to the viewer than the search is wide is another part of the picture
                    fade = 1.0 - 0.5 * away[i] / reach_px - 0.5 * min(1.0, distance / (3.0 * reach_px))
                    highest = max(highest, (rise / distance - OCCLUSION_BIAS) * fade)
                shade += highest
            open_sky[row, column] = max(0.0, 1.0 - shade / OCCLUSION_DIRECTIONS)


@reads(3)
@njit(cache=True, nogil=True)
def shade_rows(
    facet: NDArray[np.int32],
    ink: NDArray[np.uint8],
    points: NDArray[np.float32],
    faces: NDArray[np.int32],
    corners: NDArray[np.float32],
    rows: NDArray[np.float64],
    light: NDArray[np.float64],
    paints: NDArray[np.float64],
    paint_of: NDArray[np.uint8],
    hatched: NDArray[np.bool_],
    hatch: NDArray[np.float64],
    open_sky: NDArray[np.float32],
    line_colours: NDArray[np.float64],
    fineness: int,
    first_row: int,
    last_row: int,
    picture: NDArray[np.float32],
) -> None:
    """Colours of a band of picture rows: the mean of ``fineness`` squared samples a pixel, on white.

    Parameters
    ----------
    facet, ink : (height * fineness, width * fineness) arrays
        Facet buffer, and lines from :func:`advisor.kernels.picture_lines.ink_lines`.
    points : (n, 3) float32 array, sample pixels
    faces : (m, 3) int32 array
    corners : (m, 3, 3) float32 array
        Smooth normals at facet corners, in the frame of the vertices.
    rows : (3, 3) float64 array
        Unit vectors to the right, up and towards the viewer.
    light : (5,) float64 array
        Direction to the light (right, up, near), its strength, and the part that comes from everywhere.
    paints : (c, 9) float64 array, 0 to 1
        Colours in full light, in full shade, and of hatch lines.
    paint_of : (m,) uint8 array
        Row of ``paints`` of each facet.
    hatched : (c,) bool array
    hatch : (c, 5) float64 array
        Direction across the hatch lines (right, down) over their spacing in samples, the share that is line, and the
        direction across further lines, 0, 0 where there are none.
    open_sky : (height, width) float32 array
        From :func:`occlusion_rows`.
    line_colours : (5, 4) float64 array
        Red, green, blue and opacity, by kind of line.
    first_row, last_row : int
        The band, in picture rows.
    picture : (height, width, 3) float32 array
        Written.
    """
    width = picture.shape[1]
    samples = fineness * fineness
    for row in range(first_row, last_row):
        for column in range(width):
            red, green, blue = 0.0, 0.0, 0.0
            lit_facet, bright = -1, 0.0
            for sub in range(samples):
                y = row * fineness + sub // fineness
                x = column * fineness + sub % fineness
                r, g, b = 1.0, 1.0, 1.0
                f = facet[y, x]
                if f >= 0:
                    if f != lit_facet:  # light hardly changes within one facet of one pixel
                        bright = _brightness(f, x + 0.5, y + 0.5, points, faces, corners, rows, light)
                        bright *= open_sky[row, column]
                        lit_facet = f
                    c = paint_of[f]
                    r = paints[c, 3] + bright * (paints[c, 0] - paints[c, 3])
                    g = paints[c, 4] + bright * (paints[c, 1] - paints[c, 4])
                    b = paints[c, 5] + bright * (paints[c, 2] - paints[c, 5])
                    if hatched[c]:
                        across = hatch[c, 0] * x + hatch[c, 1] * y
                        is_line = across - math.floor(across) < hatch[c, 2]
                        if not is_line and (hatch[c, 3] != 0.0 or hatch[c, 4] != 0.0):
                            across = hatch[c, 3] * x + hatch[c, 4] * y
                            is_line = across - math.floor(across) < hatch[c, 2]
                        if is_line:
                            r, g, b = paints[c, 6], paints[c, 7], paints[c, 8]
                kind = ink[y, x]
                if kind > 0:
                    cover = line_colours[kind, 3]
                    r += cover * (line_colours[kind, 0] - r)
                    g += cover * (line_colours[kind, 1] - g)
                    b += cover * (line_colours[kind, 2] - b)
                red += r
                green += g
                blue += b
            picture[row, column, 0] = red / samples
            picture[row, column, 1] = green / samples
            picture[row, column, 2] = blue / samples


@njit(nogil=True)
def _brightness(
    f: int,
    x: float,
    y: float,
    points: NDArray[np.float32],
    faces: NDArray[np.int32],
    corners: NDArray[np.float32],
    rows: NDArray[np.float64],
    light: NDArray[np.float64],
) -> float:
    # 0 in full shade to 1 in full light, of the smooth normal at a point of a facet
    a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
    bax, bay = points[b, 0] - points[a, 0], points[b, 1] - points[a, 1]
    cax, cay = points[c, 0] - points[a, 0], points[c, 1] - points[a, 1]
    twice_area = bax * cay - bay * cax
    share_b, share_c = 0.0, 0.0
    if twice_area != 0.0:
        share_b = ((x - points[a, 0]) * cay - (y - points[a, 1]) * cax) / twice_area
        share_c = (bax * (y - points[a, 1]) - bay * (x - points[a, 0])) / twice_area
    share_a = 1.0 - share_b - share_c
    nx = share_a * corners[f, 0, 0] + share_b * corners[f, 1, 0] + share_c * corners[f, 2, 0]
    ny = share_a * corners[f, 0, 1] + share_b * corners[f, 1, 1] + share_c * corners[f, 2, 1]
    nz = share_a * corners[f, 0, 2] + share_b * corners[f, 1, 2] + share_c * corners[f, 2, 2]
    right = rows[0, 0] * nx + rows[0, 1] * ny + rows[0, 2] * nz
    up = rows[1, 0] * nx + rows[1, 1] * ny + rows[1, 2] * nz
    near = rows[2, 0] * nx + rows[2, 1] * ny + rows[2, 2] * nz
    length = math.sqrt(right * right + up * up + near * near)
    if length == 0.0:
        return float(light[4])
    facing = (light[0] * right + light[1] * up + light[2] * near) / length
    if twice_area > 0.0:  # seen from behind
        facing = -facing
    # light wraps round: nothing that is seen goes black
    wrapped = 0.5 + 0.5 * facing
    return float(min(1.0, light[4] + light[3] * wrapped * wrapped))
