"""Two plans side by side as one page: the part before and after, unchanged in grey, with what changed marked."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from advisor.kernels.weld import weld_exact
from advisor.model import FacetArrays, Plan
from advisor.pack.camera import AZIMUTHS_DEG, ELEVATION_DEG, Fit, View, fit, fixed_view, oblique_view, setup_frame
from advisor.pack.colour_map import ColourMap, facet_areas, marks_of, named, shares_of
from advisor.pack.labelled_view import MAIN_STYLE, SMALL_STYLE, Scene, ViewStyle, draw_labelled_view
from advisor.pack.lengths import LengthUnit, fixed, length_unit
from advisor.pack.page import Box, Page, blank_page, draw_line, plain_words, shortened, write
from advisor.pack.palette import FAINT_INK, INK, QUIET_INK, UNZONED, Colour, Paint, Pattern
from advisor.pack.picture import save_picture
from advisor.pack.picture_key import draw_axes, draw_heading, draw_scale
from advisor.pack.picture_legend import draw_legend
from advisor.pack.shade import Solid, make_solid, painted, survey
from advisor.revision.compare import Compared
from advisor.revision.motion import STILL
from advisor.revision.records import ZoneChange
from advisor.revision.side import CompareSide
from advisor.revision.surface_change import PieceChange

# Sizes on a page of 1600 by 1200 pixels.
PAGE_WIDTH: Final = 1600
PAGE_HEIGHT: Final = 1200
_MARGIN: Final = 48
_HEADER: Final = 92
_FOOTER: Final = 26
_GUTTER: Final = 32
_BAND: Final = 176
_SMALL: Final = 250
_ROW: Final = 21
_LABEL_ROOM: Final = 26
# Taken away is a dark orange, added a dark blue with pale lines, what stayed the pale grey of what is left out: three
# lightnesses far apart, so that every eye and a grey copy tell them.
_SAME: Final = Paint(UNZONED.lit, UNZONED.dark)
_TAKEN: Final = Paint((216, 94, 28), (128, 52, 8))
_ADDED: Final = Paint((38, 58, 129), (22, 34, 82), (150, 172, 232), Pattern(25.0, 8.0, 0.2))
_PAINTS: Final = (_SAME, _TAKEN, _ADDED)
_SAME_INDEX, _TAKEN_INDEX, _ADDED_INDEX = range(3)
_BORDER: Final[Colour] = (150, 155, 163)
# Another view than the first is taken only where it shows this many times more of what changed.
_WORTH_TURNING: Final = 1.05
# Corners of pieces this share of the part's size apart are one.
_WELD_SHARE: Final = 1e-7
# How far facets are sunk below their pieces, as a share of the part's size.
_HAIR_SHARE: Final = 1e-4


@dataclass(frozen=True)
class _Half:
    """One of the two plans, ready to draw: its solid in paints, and the zones that get a number."""

    plan: Plan
    solid: Solid
    colours: ColourMap
    changed: frozenset[int]


def draw_change_picture(
    compared: Compared, plan_a: Plan, plan_b: Plan, *, width: int = PAGE_WIDTH, height: int = PAGE_HEIGHT
) -> Image.Image:
    """Both plans as they lie on each other, from where most of the change is seen.

    Parameters
    ----------
    compared : Compared
        From ``revision.compare.compare_plans`` of the same plans.
    width, height : int
        Pixels.
    """
    page = blank_page(width, height, min(width / PAGE_WIDTH, height / PAGE_HEIGHT))
    told = compared.record
    halves = (
        _half(
            plan_a, compared.side_a, compared.change_a, -1.0, {i for z in told.zones if _is_told(z) for i in z.zones_a}
        ),
        _half(
            plan_b, compared.side_b, compared.change_b, 1.0, {i for z in told.zones if _is_told(z) for i in z.zones_b}
        ),
    )
    main, small = _views(halves, plan_b.record.setups[0].tool_axis)
    unit = length_unit(plan_b.record)
    _draw_header(page, compared, plan_a, plan_b, unit)
    margin, top, bottom = page.px(_MARGIN), page.px(_MARGIN + _HEADER), height - page.px(_MARGIN + _FOOTER + _BAND)
    half = (width - 2 * margin - page.px(_GUTTER)) / 2
    middle = bottom - page.px(_SMALL)
    vertices = np.concatenate([one.solid.vertices for one in halves])
    where = None
    for k, (one, name) in enumerate(zip(halves, ("A, BEFORE", "B, AFTER"), strict=True)):
        left = margin + k * (half + page.px(_GUTTER))
        where = _draw_view(page, one, main, name, (left, top, left + half, middle - page.px(10)), vertices, MAIN_STYLE)
        _draw_view(page, one, small, small.title, (left, middle, left + half, bottom), vertices, SMALL_STYLE)
    assert where is not None
    _draw_band(page, compared, halves[1].colours, where, plan_b, unit)
    return page.image


def save_change_picture(compared: Compared, plan_a: Plan, plan_b: Plan, path: str | Path) -> None:
    """Draw both plans and write them as a PNG without a time stamp."""
    save_picture(draw_change_picture(compared, plan_a, plan_b), path)


def _is_told(zone: ZoneChange) -> bool:
    return zone.kind != "same"


def _half(plan: Plan, side: CompareSide, change: PieceChange, sign: float, changed: set[int]) -> _Half:
    depth = sign * change.depth_mm
    index = np.where(~change.is_changed, _SAME_INDEX, np.where(depth < 0.0, _TAKEN_INDEX, _ADDED_INDEX))
    index = index.astype(np.uint8)
    facets, paint, sunk = _cut(side, index)
    drawn = Plan(plan.record, facets)
    shares = shares_of(index, side.pieces.area_mm2, len(_PAINTS))
    words = (("same", "within the tolerance"), ("taken away", "only A has it"), ("added", "only B has it"))
    rows = tuple(
        named(one, name, meaning, float(share))
        for one, (name, meaning), share in zip(_PAINTS, words, shares, strict=True)
    )
    areas = facet_areas(drawn)
    areas[len(areas) - sunk :] = 0.0
    marks = marks_of(drawn, areas, paint, _PAINTS)
    colours = ColourMap("zone", "What changed", "surface of B", _PAINTS, paint, rows, marks, "", border=_BORDER)
    return _Half(drawn, painted(make_solid(drawn), colours), colours, frozenset(changed))


def _cut(side: CompareSide, index: NDArray[np.uint8]) -> tuple[FacetArrays, NDArray[np.uint8], int]:
    """Facets with those that changed in part replaced by their pieces; the paint of each; and how many are sunk.

    Pieces do not meet corner to corner, so that a pixel between two may show what lies behind: the facet itself, sunk
    by a hair and wider by two, last of all.
    """
    mesh, pieces = side.mesh, side.pieces
    count = len(mesh.faces)
    least, most = np.full(count, 255, np.uint8), np.zeros(count, np.uint8)
    np.minimum.at(least, pieces.facet, index)
    np.maximum.at(most, pieces.facet, index)
    whole, mixed = np.flatnonzero(least == most), np.flatnonzero(least != most)
    cut = np.flatnonzero((least != most)[pieces.facet])
    hair = _HAIR_SHARE * float(mesh.size_mm.max())
    sunk = mesh.vertices[mesh.faces[mixed]] - hair * mesh.normal[mixed][:, None]
    outward = sunk - sunk.mean(axis=1, keepdims=True)
    sunk += 2 * hair * outward / np.linalg.norm(outward, axis=2, keepdims=True)
    points = np.concatenate([pieces.corners[cut], sunk]).reshape(-1, 3)
    parent = np.concatenate([whole, pieces.facet[cut], mixed])
    vertices, number = _welded(np.concatenate([mesh.vertices, points]))
    faces = np.concatenate([mesh.faces[whole], (len(mesh.vertices) + np.arange(len(points))).reshape(-1, 3)])
    blank = np.zeros(len(parent))
    facets = FacetArrays(
        vertices, number[faces], np.ascontiguousarray(side.zone[parent]), blank, blank,
        np.zeros(len(parent), np.int8),
    )  # fmt: skip
    return facets, np.concatenate([least[whole], index[cut], least[mixed]]), len(mixed)


def _welded(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Points without repeats, and the place of each among them."""
    cell = max(float(np.ptp(points, axis=0).max()), 1e-300) * _WELD_SHARE
    grid = np.rint((points - points.min(axis=0)) / cell).astype(np.int64)
    number, first = weld_exact(grid)
    return points[first], number


def _views(halves: tuple[_Half, _Half], tool_axis: tuple[float, float, float]) -> tuple[View, View]:
    """The oblique view that shows most of the change, and the one beside it that shows most of what is hidden there."""
    frame = setup_frame(tool_axis)
    oblique = [oblique_view(frame, azimuth, ELEVATION_DEG, "FROM ANOTHER SIDE") for azimuth in AZIMUTHS_DEG]
    below = [oblique_view(frame, azimuth, -ELEVATION_DEG, "FROM BELOW") for azimuth in AZIMUTHS_DEG]
    views = [fixed_view(frame, "top", "FROM THE SPINDLE"), *oblique, *below]
    seen = [survey(half.solid, views) for half in halves]
    areas = [np.where(half.solid.paint == _SAME_INDEX, 0.0, half.solid.areas) for half in halves]
    if not any(area.any() for area in areas):
        areas = [half.solid.areas for half in halves]

    def shown(hidden: int | None, number: int) -> float:
        return math.fsum(
            float((area * np.maximum(share[number] - (0.0 if hidden is None else share[hidden]), 0.0)).sum())
            for area, share in zip(areas, seen, strict=True)
        )

    main = _best([shown(None, k) for k in range(len(views))], range(1, len(views)))
    beside = _best([shown(main, k) for k in range(len(views))], [k for k in range(len(views)) if k != main])
    return views[main], views[beside]


def _best(worth: list[float], allowed: range | list[int]) -> int:
    """The first of those allowed, unless another shows clearly more."""
    best = max(allowed, key=lambda k: round(worth[k], 6))
    return best if worth[best] > _WORTH_TURNING * worth[allowed[0]] else allowed[0]


def _draw_view(
    page: Page, half: _Half, view: View, title: str, box: Box, vertices: NDArray[np.float64], style: ViewStyle
) -> Fit:
    left, top, right, bottom = box
    write(page, ((left + right) / 2, top + page.px(10)), title, 11, QUIET_INK, bold=True, anchor="ms")
    inner = (left, top + page.px(20), right, bottom)
    room = page.px(_LABEL_ROOM if style is MAIN_STYLE else 12)
    where = fit(view, vertices, int(inner[2] - inner[0]), int(inner[3] - inner[1]), room)
    unnamed = frozenset(zone.id for zone in half.plan.zones if zone.id not in half.changed)
    scene = Scene(page, half.solid, half.plan.zones, half.colours)
    draw_labelled_view(scene, where, inner, unnamed, style)
    return where


def _draw_header(page: Page, compared: Compared, plan_a: Plan, plan_b: Plan, unit: LengthUnit) -> None:
    told, margin = compared.record, page.px(_MARGIN)
    right = page.image.size[0] - margin
    names = f"{plain_words(told.part_a) or 'A'} \N{RIGHTWARDS ARROW} {plain_words(told.part_b) or 'B'}"
    write(page, (margin, margin + page.px(26)), shortened(page, names, 30, right - margin, bold=True), 30, bold=True)
    lie = "A is drawn as it lies on B" if compared.motion is not STILL else "both as they lie"
    surface = told.surface
    words = [
        "What changed",
        f"same within {told.tolerance.tolerance_mm / unit.mm:.3g} {unit.sign}",
        f"{surface.gone_share:.1%} of A gone, {surface.new_share:.1%} of B new" if surface.places else "no surface",
        lie,
    ]
    total = told.totals.total_min
    if total.a is not None and total.b is not None:
        words.append(f"{total.a:,.0f} \N{RIGHTWARDS ARROW} {total.b:,.0f} min, all stages")
    line = shortened(page, "   ·   ".join(words), 14, right - margin)
    write(page, (margin, margin + page.px(56)), line, 14, QUIET_INK)
    y = margin + page.px(74)
    draw_line(page, (margin, y, right, y), INK, page.px(1.6))


def _draw_band(page: Page, compared: Compared, colours: ColourMap, where: Fit, plan_b: Plan, unit: LengthUnit) -> None:
    """Legend, the zones that changed, scale and axes below the views."""
    width, height = page.image.size
    margin = page.px(_MARGIN)
    bottom = height - margin - page.px(_FOOTER)
    top = bottom - page.px(_BAND) + page.px(26)
    draw_line(page, (margin, top - page.px(18), width - margin, top - page.px(18)), FAINT_INK, page.px(1))
    draw_legend(page, (margin, top, margin + page.px(496), bottom), colours)
    _draw_zones(page, compared, (margin + page.px(540), top, width - margin - page.px(300), bottom), plan_b, unit)
    x = width - margin - page.px(230)
    draw_axes(page, (x + page.px(100), top + page.px(84)), where.view, plan_b.record.setups[0].tool_axis)
    inches = unit.is_inch
    draw_scale(page, (x, bottom - page.px(26 if inches else 6)), where, page.px(190), inches=inches)
    y = height - margin - page.px(4)
    draw_line(page, (margin, y, width - margin, y), FAINT_INK, page.px(1))
    words = "Parallel projection: the length scale holds in the plane of the main view.  Numbered are changed zones."
    write(page, (margin, y + page.px(20)), shortened(page, words, 11, width - 2 * margin), 11, QUIET_INK)


def _draw_zones(page: Page, compared: Compared, box: Box, plan_b: Plan, unit: LengthUnit) -> None:
    left, top, right, bottom = box
    told = [zone for zone in compared.record.zones if _is_told(zone)]
    columns = (left, left + page.px(46), left + page.px(92), left + page.px(190), right - page.px(64), right)
    for x, words, anchor in zip(
        columns,
        ("A", "B", "", "NAME", f"AREA {unit.sign}²", "MIN BY"),
        ("ls", "ls", "ls", "ls", "rs", "rs"),
        strict=True,
    ):
        draw_heading(page, x, top, words, anchor)
    draw_line(page, (left, top + page.px(7), right, top + page.px(7)), INK, page.px(1.2))
    room = int((bottom - top - page.px(8)) / page.px(_ROW))
    shown = told if len(told) <= room else told[: room - 1]
    by_number = {zone.id: zone for zone in plan_b.zones}
    y = top + page.px(8 + _ROW - 4)
    for zone in shown:
        name = unit.height_words(by_number[zone.zones_b[0]]) if zone.zones_b else plain_words(zone.name)
        area = zone.area_b_mm2 if zone.area_b_mm2 is not None else zone.area_a_mm2
        by = "" if zone.total_min_difference is None else f"{zone.total_min_difference:+,.1f}"
        cells = (
            _numbers(page, zone.zones_a), _numbers(page, zone.zones_b), zone.kind,
            shortened(page, name, 12, columns[4] - columns[3] - page.px(70)),
            "" if area is None else fixed(area / unit.mm**2, 3 if unit.is_inch else 0), by,
        )  # fmt: skip
        for x, words, anchor in zip(columns, cells, ("ls", "ls", "ls", "ls", "rs", "rs"), strict=True):
            write(page, (x, y), words, 12, anchor=anchor, bold=x < columns[2])
        y += page.px(_ROW)
    if len(shown) < len(told):
        write(page, (left, y), f"+ {len(told) - len(shown)} more", 12, QUIET_INK)
    if not told:
        write(page, (left, y), "no zone", 12, QUIET_INK)


def _numbers(page: Page, numbers: tuple[int, ...]) -> str:
    return shortened(page, " ".join(map(str, numbers)) or "\N{EN DASH}", 12, page.px(42), bold=True)
