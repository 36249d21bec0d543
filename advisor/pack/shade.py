"""A view of the part as pixels: lit colours with outlines, creases, zone borders and hatching."""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.kernels import picture_labels, picture_lines, picture_shade, raster
from advisor.kernels.threads import in_chunks, threads
from advisor.model import Plan
from advisor.pack.camera import Fit, View, fit
from advisor.pack.colour_map import ColourMap
from advisor.pack.palette import INK, ZONE_LINE, Colour, Paint, hatch_row
from advisor.pack.zone_maps import CLASS_PAINTS, class_index
from advisor.tolerances import CREASE_DEG

# Samples along the side of a pixel.
FINENESS: Final = 3
# Work is shared out in this many bands; each writes rows of its own, so the timing of threads cannot matter.
BANDS: Final = 8
# Line widths in pixels of a page 1200 high: zone border, crease, step in depth, outline.
LINE_WIDTHS_PX: Final = (0.0, 1.5, 0.8, 1.25, 2.0)
LINE_OPACITIES: Final = (0.0, 0.92, 0.85, 0.95, 1.0, 0.72)
# Kind of line after those of ``kernels.picture_lines``: passes, which give way to all of them.
PASS: Final = picture_lines.OUTLINE + 1
# Zone borders are drawn where both sides are this wide, in widths of a border.
LEAST_WIDTH: Final = 2.0
# Borders with a free end that are shorter than this are left out; creases shorter than the first length, or than
# the second where they run along few facets.
LOOSE_BORDER_PX: Final = 20.0
LOOSE_CREASE_PX: Final = (14.0, 112.0)
# Facets that bend more than the smooth surface does by this are roughness, not an edge.
SMOOTH_CREASE_DEG: Final = 18.0
# Light from the upper left, before the part: right, up, near; then its strength, and what comes from all sides.
LIGHT: Final = (-0.36, 0.62, 0.70, 0.70, 0.40)
# How dark the deepest corner gets, and how far around a point occlusion is looked for, as a share of the picture.
OCCLUSION_STRENGTH: Final = 1.25
OCCLUSION_REACH: Final = 0.05
# Views that are only counted, not looked at.
SURVEY_PX: Final = 220


@dataclass(frozen=True)
class Solid:
    """A part made ready to draw.

    Attributes
    ----------
    vertices, faces, zone
        As in :class:`advisor.model.FacetArrays`.
    normals : (m, 3) float32 array
    areas : (m,) float64 array, mm2
    corners : (m, 3, 3) float32 array
        Normals of the smooth surface at facet corners.
    smooth : (m, 3) float32 array
        Unit normals of the smooth surface, the mean over a facet's corners.
    paint : (m,) uint8 array
        Index of the paint of each facet.
    paints : tuple of Paint
    border : Colour
        Of the lines between zones.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    zone: NDArray[np.int32]
    normals: NDArray[np.float32]
    areas: NDArray[np.float64]
    corners: NDArray[np.float32]
    smooth: NDArray[np.float32]
    paint: NDArray[np.uint8]
    paints: tuple[Paint, ...]
    border: Colour = ZONE_LINE


@dataclass(frozen=True)
class Drawing:
    """A drawn view.

    Attributes
    ----------
    fit : Fit
    pixels : (height, width, 3) uint8 array
    zone : (height, width) int32 array
        Zone id at each pixel centre, 0 where the facet has no zone, -1 off the part.
    lines : (height, width) bool array
        Pixels that a line runs through.
    cover : (height, width) uint8 array
        How much of each pixel is part or line, 0 to 255: the rest is paper.
    """

    fit: Fit
    pixels: NDArray[np.uint8]
    zone: NDArray[np.int32]
    lines: NDArray[np.bool_]
    cover: NDArray[np.uint8]


AddInk = Callable[[Fit, NDArray[np.int32], NDArray[np.float32], NDArray[np.float32], NDArray[np.uint8]], None]


@dataclass(frozen=True)
class _Buffers:
    """What is known of a view before it is coloured: projected points, facet, line and open sky at each sample."""

    points: NDArray[np.float32]
    facet: NDArray[np.int32]
    ink: NDArray[np.uint8]
    sky: NDArray[np.float32]


def make_solid(plan: Plan) -> Solid:
    """Normals of the facets of a plan, and the paints of their slope classes."""
    facets = plan.facets
    vertices = np.ascontiguousarray(facets.vertices, dtype=np.float64)
    faces = np.ascontiguousarray(facets.faces, dtype=np.int32)
    normals, areas = raster.facet_normals(vertices, faces)
    starts, around = raster.facets_around(faces, len(vertices))
    corners, smooth = np.empty((len(faces), 3, 3), np.float32), np.empty((len(faces), 3), np.float32)
    cos_crease = math.cos(math.radians(CREASE_DEG))
    _in_bands(
        len(faces),
        lambda first, last: raster.corner_normals(
            faces, normals, areas, starts, around, cos_crease, first, last, corners, smooth
        ),
    )
    return Solid(vertices, faces, facets.zone, normals, areas, corners, smooth, class_index(plan), CLASS_PAINTS)


def painted(solid: Solid, colours: ColourMap) -> Solid:
    """The solid in the paints of a colour map."""
    return replace(solid, paint=colours.index, paints=colours.paints, border=colours.border)


def draw(solid: Solid, where: Fit, line_scale: float = 1.0, add_ink: AddInk | None = None) -> Drawing:
    """Draw a solid in a view.

    Parameters
    ----------
    line_scale : float
        Width of all lines and of the hatching, 1 for a page 1200 pixels high.
    add_ink : callable, optional
        Writes further lines of kind ``PASS`` into the ink, given the view, facet and depth buffers in samples,
        and what of each facet's normal points to the viewer. They do not count among the lines of the drawing.
    """
    wide, high = where.width * FINENESS, where.height * FINENESS
    points = raster.project(
        solid.vertices,
        where.view.rows,
        where.pixels_per_mm * FINENESS,
        where.left * FINENESS,
        where.top * FINENESS,
    )
    facet, depth = _rasterised(points, solid.faces, wide, high, _workers())
    normals = _turned(solid.normals, where.view)
    ink = _ink(solid, facet, depth, normals, line_scale)
    middle = FINENESS // 2
    lines = ink[middle::FINENESS, middle::FINENESS] > picture_lines.NO_LINE
    if add_ink is not None:
        add_ink(where, facet, depth, np.ascontiguousarray(normals[:, 2]), ink)
    seen = np.ascontiguousarray(facet[middle::FINENESS, middle::FINENESS])
    seen_depth = depth[middle::FINENESS, middle::FINENESS] * np.float32(1.0 / FINENESS)
    sky = _open_sky(seen, seen_depth, normals)
    picture = _lit(solid, where, _Buffers(points, facet, ink, sky), line_scale)
    zone = np.where(seen >= 0, np.maximum(solid.zone[seen], 0), -1).astype(np.int32)
    return Drawing(where, (picture * 255.0 + 0.5).astype(np.uint8), zone, lines, _cover(facet, ink))


def _cover(facet: NDArray[np.int32], ink: NDArray[np.uint8]) -> NDArray[np.uint8]:
    # a line off the part hides the paper as far as it is opaque, which all but passes are to a tenth
    samples = ((facet >= 0) | (ink > 0)).view(np.uint8)
    hidden = np.zeros((facet.shape[0] // FINENESS, facet.shape[1] // FINENESS), np.uint8)
    for down, right in np.ndindex(FINENESS, FINENESS):  # nine sums of planes: a mean over two axes takes six times that
        hidden += samples[down::FINENESS, right::FINENESS]
    shares = np.rint(np.arange(FINENESS**2 + 1) * (255.0 / FINENESS**2)).astype(np.uint8)
    cover: NDArray[np.uint8] = shares[hidden]
    return cover


def zones_seen_px(solid: Solid, where: Fit) -> NDArray[np.int64]:
    """(n,) pixels in which a view shows each zone, by its number: what a drawing would, for little."""
    points = raster.project(solid.vertices, where.view.rows, where.pixels_per_mm, where.left, where.top)
    facet, _ = _rasterised(points, solid.faces, where.width, where.height, 1)
    zone = solid.zone[facet[facet >= 0]]
    return np.bincount(zone[zone > 0], minlength=int(solid.zone.max(initial=0)) + 1)


def survey(solid: Solid, views: list[View]) -> list[NDArray[np.float32]]:
    """Share of each facet that each view shows, from small pictures: (m,) float32 arrays, 0 to 1."""

    def shares(view: View) -> NDArray[np.float32]:
        where = fit(view, solid.vertices, SURVEY_PX, SURVEY_PX, 1.0)
        points = raster.project(solid.vertices, view.rows, where.pixels_per_mm, where.left, where.top)
        facet, depth = _rasterised(points, solid.faces, where.width, where.height, 1)
        return raster.seen_share(points, solid.faces, facet, depth)

    with ThreadPoolExecutor(_workers()) as pool:
        return list(pool.map(shares, views))


def _rasterised(
    points: NDArray[np.float32], faces: NDArray[np.int32], width: int, height: int, bands: int
) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    facet = np.empty((height, width), np.int32)
    depth = np.empty((height, width), np.float32)
    _in_bands(height, lambda first, last: raster.rasterise(points, faces, first, last, facet, depth), bands)
    return facet, depth


def _turned(normals: NDArray[np.float32], view: View) -> NDArray[np.float32]:
    turned = np.empty_like(normals)
    for k in range(3):
        row = view.rows[k].astype(np.float32)
        turned[:, k] = normals[:, 0] * row[0] + normals[:, 1] * row[1] + normals[:, 2] * row[2]
    return turned


def _ink(
    solid: Solid,
    facet: NDArray[np.int32],
    depth: NDArray[np.float32],
    normals: NDArray[np.float32],
    line_scale: float,
) -> NDArray[np.uint8]:
    right_of = np.zeros(facet.shape, np.uint8)
    below = np.zeros(facet.shape, np.uint8)
    cosines = math.cos(math.radians(CREASE_DEG)), math.cos(math.radians(SMOOTH_CREASE_DEG))
    _in_bands(
        facet.shape[0],
        lambda first, last: picture_lines.find_lines(
            facet, depth, normals, solid.smooth, solid.zone, *cosines, first, last, right_of, below
        ),
    )
    _drop_clutter(solid, facet, (right_of, below), line_scale)
    half_widths = np.array(LINE_WIDTHS_PX) * (0.5 * FINENESS * line_scale)
    return picture_lines.ink_lines(right_of, below, half_widths)


def _drop_clutter(
    solid: Solid, facet: NDArray[np.int32], lines: tuple[NDArray[np.uint8], NDArray[np.uint8]], line_scale: float
) -> None:
    """Leave out borders of slivers and spikes, and loose short strokes, in place."""
    seen = facet[FINENESS // 2 :: FINENESS, FINENESS // 2 :: FINENESS]
    zone = np.where(seen >= 0, solid.zone[seen], raster.NO_FACET - 1).astype(np.int32)
    half_width = 0.5 * LEAST_WIDTH * LINE_WIDTHS_PX[picture_lines.BORDER] * line_scale
    wide = picture_labels.depth_in_zone(zone, np.zeros(zone.shape, np.bool_)) > half_width
    reach = 1 + math.ceil(half_width)
    _drop_loose_ends(solid, facet, lines, picture_lines.CREASE, LOOSE_CREASE_PX, line_scale)
    picture_lines.drop_narrow(*lines, facet, solid.zone, zone, wide, FINENESS, reach)
    _drop_loose_ends(solid, facet, lines, picture_lines.BORDER, (LOOSE_BORDER_PX, LOOSE_BORDER_PX), line_scale)


def _drop_loose_ends(
    solid: Solid,
    facet: NDArray[np.int32],
    lines: tuple[NDArray[np.uint8], NDArray[np.uint8]],
    kind: int,
    lengths_px: tuple[float, float],
    line_scale: float,
) -> None:
    short, long = (max(1, round(length_px * FINENESS * line_scale)) for length_px in lengths_px)
    picture_lines.drop_loose_ends(*lines, facet, solid.zone, kind, short, long)


def _lit(solid: Solid, where: Fit, buffers: _Buffers, line_scale: float) -> NDArray[np.float32]:
    picture = np.empty((where.height, where.width, 3), np.float32)
    light = np.array(LIGHT)
    light[:3] /= math.sqrt(float(light[0] ** 2 + light[1] ** 2 + light[2] ** 2))
    line_colours = np.array(
        [
            (*_unit(colour), opacity)
            for colour, opacity in zip((INK, solid.border, INK, INK, INK, INK), LINE_OPACITIES, strict=True)
        ]
    )
    paints = np.array([(*_unit(p.lit), *_unit(p.dark), *_unit(p.hatch or p.lit)) for p in solid.paints])
    hatched = np.array([p.hatch is not None for p in solid.paints])
    hatch = np.array([hatch_row(p.pattern, FINENESS * line_scale) for p in solid.paints])
    _in_bands(
        where.height,
        lambda first, last: picture_shade.shade_rows(
            buffers.facet,
            buffers.ink,
            buffers.points,
            solid.faces,
            solid.corners,
            where.view.rows,
            light,
            paints,
            solid.paint,
            hatched,
            hatch,
            buffers.sky,
            line_colours,
            FINENESS,
            first,
            last,
            picture,
        ),
    )
    return picture


def _open_sky(
    facet: NDArray[np.int32], depth: NDArray[np.float32], normals: NDArray[np.float32]
) -> NDArray[np.float32]:
    sky = np.empty(facet.shape, np.float32)
    reach = max(4.0, OCCLUSION_REACH * max(facet.shape))
    _in_bands(
        facet.shape[0],
        lambda first, last: picture_shade.occlusion_rows(facet, depth, normals, reach, first, last, sky),
    )
    open_sky: NDArray[np.float32] = np.maximum(
        np.float32(0.0), np.float32(1.0) - np.float32(OCCLUSION_STRENGTH) * (np.float32(1.0) - sky)
    )
    return open_sky


def _unit(colour: Colour) -> tuple[float, float, float]:
    return colour[0] / 255.0, colour[1] / 255.0, colour[2] / 255.0


def _workers() -> int:
    return min(BANDS, threads())


def _in_bands(count: int, work: Callable[[int, int], None], bands: int = BANDS) -> None:
    in_chunks(count, max(1, -(-count // bands)), lambda rows: work(rows.start, rows.stop))
