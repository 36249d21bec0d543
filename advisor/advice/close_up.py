"""A close-up of what passes leave: a small square of a zone where the most is left, cut virtually point by point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor.advice.cusp_field import ZonePlaces
from advisor.cutter.cutter import Cutter
from advisor.kernels.raster import project, rasterise
from advisor.model import PassArrays
from advisor.part.mesh import Flags, Floats
from advisor.passes.surface import PassSurface
from advisor.passes.virtual_cut import swept_by, virtual_cut
from advisor.units import UM_PER_MM

# Points along a side.
CELLS = 192
# Passes across a square, and sides that squares have, mm.
_PASSES_ACROSS = 6.0
_SIDES_MM = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0)
# Zones smaller than this share of all that is cut are passed over while there are larger ones.
_LEAST_SHARE = 0.01
# A square lies in its zone where so much of a disc of its side does: less than all, as points are counted.
_FILLED = 0.85
# Facets are seen by a square that face its way by this cosine.
_LEAST_FACING = 0.2
# Heights above so many times the greatest that is told of the zone are no cusp.
_UNCUT_TIMES = 4.0


@dataclass(frozen=True)
class CloseUp:
    """Heights on a square of a zone: see ``PassArrays.close_up_um``.

    Attributes
    ----------
    zone : int
        Public number.
    height_mm : (n, n) float64 array
    frame : (4, 3) float64 array
    side_mm : float
    chain : int
        Number of a pass of the zone that cuts there.
    """

    zone: int
    height_mm: Floats
    frame: Floats
    side_mm: float
    chain: int


def worst_place(places: Sequence[ZonePlaces], sides_mm: Sequence[float]) -> tuple[ZonePlaces, int, float]:
    """The place with the highest cusp: a zone of some size, the number of a proof point, and the side of the square.

    Looked for where a square lies well in its zone and is cut all over: at ends of passes more is left, but no cusp.
    Where no square does, the one with most of it in its zone is taken.

    Parameters
    ----------
    places : sequence of ZonePlaces
        One at least.
    sides_mm : sequence of float
        Side of a square in each zone.
    """
    areas = np.array([each.laid.points.area_mm2.sum() for each in places])
    best, found = (-1.0, -np.inf), (places[0], 0, sides_mm[0])
    for each, area, side_mm in zip(places, areas, sides_mm, strict=True):
        if area < _LEAST_SHARE * areas.sum():
            continue
        filled = np.minimum(_filled(each, side_mm), _FILLED)
        told = np.where(np.isfinite(each.place_mm), each.place_mm, -np.inf)
        point = int(np.lexsort((-told, -filled))[0])
        if (filled[point], told[point]) > best:
            best, found = (float(filled[point]), float(told[point])), (each, point, side_mm)
    return found


def _filled(place: ZonePlaces, side_mm: float) -> Floats:
    """(q,) share of a disc about each proof point that is cut, by counting points; -1 where something in it is not."""
    points = place.laid.points
    radius, each = side_mm / 2, float(points.area_mm2.mean())
    tree = cKDTree(points.point_mm)
    around = tree.query_ball_point(points.point_mm, radius, return_length=True, workers=-1)
    share = np.minimum(around * each / (np.pi * radius**2), 1.0)
    bad = ~np.isfinite(place.place_mm) | (place.place_mm < 0.0)
    if bad.any():
        off = cKDTree(points.point_mm[bad]).query(points.point_mm, workers=-1)[0]
        share = np.where(off <= radius, -1.0, share)
    return np.asarray(share)


def side_of(step_mm: float) -> float:
    """Side of a square that holds some passes, mm."""
    wanted = _PASSES_ACROSS * step_mm
    return next((side for side in _SIDES_MM if side >= wanted), _SIDES_MM[-1])


def close_up(surface: PassSurface, cutter: Cutter, axis: Floats, stock_left_mm: float, place: ZonePlaces,
             point: int, side_mm: float) -> CloseUp:  # fmt: skip
    """Heights on a square about a proof point, seen along its normal, with the pass there upright.

    Parameters
    ----------
    surface : PassSurface
        Of the zone.
    cutter : Cutter
    axis : (3,) unit vector from the part to the spindle
    stock_left_mm : float
        What the stage leaves on purpose.
    place : ZonePlaces
    point : int
    side_mm : float
    """
    laid = place.laid
    middle, out = laid.points.point_mm[point], laid.points.normal[point]
    most = float(place.place_mm[np.isfinite(place.place_mm)].max(initial=0.0))
    swept = swept_by(cutter, stock_left_mm, laid.centres_mm, laid.starts, axis)
    limit = _UNCUT_TIMES * most
    nearest = int(virtual_cut(swept, middle[None], out[None], limit).segment[0])
    chain = int(np.searchsorted(laid.starts, nearest, side="right")) - 1
    frame = np.stack([middle, *_rows(_along(laid.centres_mm, laid.starts, nearest), out)])
    facet, weights, seen = _seen(surface, frame, side_mm)
    height = np.full((CELLS, CELLS), np.nan)
    if seen.any():
        points, normals = surface.in_facets(facet, weights)
        height[seen] = virtual_cut(swept, points, normals, limit).height_mm
    return CloseUp(place.zone, height, frame, side_mm, chain)


def _along(centres_mm: Floats, starts: NDArray[np.int64], segment: int) -> Floats:
    """(3,) way of a pass at a segment, not of unit length."""
    last = segment + 1 >= starts[np.searchsorted(starts, segment, side="right")]
    begin = max(segment - 1, 0) if last else segment
    return np.asarray(centres_mm[min(begin + 1, len(centres_mm) - 1)] - centres_mm[begin])


def _rows(along: Floats, out: Floats) -> tuple[Floats, Floats, Floats]:
    """Unit vectors to the right, up along a pass, and out of the part."""
    up = along - (along @ out) * out
    if not np.linalg.norm(up) > 1e-9:
        up = np.eye(3)[int(np.argmin(np.abs(out)))]
        up = up - (up @ out) * out
    up = up / np.linalg.norm(up)
    return np.cross(up, out), up, out


def _seen(surface: PassSurface, frame: Floats, side_mm: float) -> tuple[NDArray[np.int64], Floats, Flags]:
    """Facets at the cells of a square that are in the zone, shares of their corners, and which cells those are."""
    mesh, (middle, rows) = surface.mesh, (frame[0], frame[1:])
    at = ((mesh.vertices - middle) @ rows.T)[mesh.faces]
    near = ((at.min(axis=1) < side_mm) & (at.max(axis=1) > -side_mm)).all(axis=1)
    chosen = np.flatnonzero(near & (mesh.normal @ frame[3] > _LEAST_FACING))
    scale = CELLS / side_mm
    points = project(mesh.vertices - middle, np.ascontiguousarray(rows), scale, CELLS / 2, CELLS / 2)
    facet, depth = np.empty((CELLS, CELLS), np.int32), np.empty((CELLS, CELLS), np.float32)
    rasterise(points, np.ascontiguousarray(mesh.faces[chosen]), 0, CELLS, facet, depth)
    there = facet >= 0
    there[there] = surface.is_inside[chosen[facet[there]]]
    found = chosen[facet[there]]
    row, column = np.nonzero(there)
    corner = points[mesh.faces[found]].astype(np.float64)
    return found, _shares(corner, np.stack([column + 0.5, row + 0.5], axis=1)), there


def _shares(corner: Floats, place: Floats) -> Floats:
    """(k, 3) shares of the corners of triangles at places in them."""
    (x0, y0), (x1, y1), (x2, y2) = ((corner[:, k, 0], corner[:, k, 1]) for k in range(3))
    area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
    b = ((place[:, 0] - x0) * (y2 - y0) - (place[:, 1] - y0) * (x2 - x0)) / area
    c = ((x1 - x0) * (place[:, 1] - y0) - (y1 - y0) * (place[:, 0] - x0)) / area
    return np.stack([1.0 - b - c, b, c], axis=1)


def with_close_up(passes: PassArrays, seen: CloseUp, stage: str) -> PassArrays:
    """Passes with a close-up among their arrays."""
    own = np.flatnonzero((passes.zone == seen.zone) & (passes.stage == stage))
    return replace(
        passes,
        close_up_um=(seen.height_mm[None] * UM_PER_MM).astype(np.float32),
        close_up_frame=seen.frame[None],
        close_up_mm=np.array([seen.side_mm]),
        close_up_pass=own[seen.chain : seen.chain + 1].astype(np.int32),
    )
