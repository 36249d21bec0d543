"""Zone outlines as an SVG: what a view shows of them, with numbers, in millimetres.

Coordinates are millimetres of the part in the plane of the view, right and down; width and height of the page are those
of the part times a round scale that is written on it. Hidden stretches of outlines are left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from advisor.advice.setups import plan_of_setup
from advisor.kernels import raster
from advisor.model import OutlineArrays, Plan, Zone
from advisor.pack.camera import Fit, View, ViewName, fit, fixed_view, setup_frame
from advisor.pack.exchange_dxf import line_colour
from advisor.pack.exchange_loops import loops_of
from advisor.pack.labels import Label, Wish, place_labels
from advisor.pack.lengths import length_unit
from advisor.pack.page import plain_words
from advisor.pack.palette import INK, PAPER, QUIET_INK, Colour
from advisor.pack.shade import Solid, make_solid
from advisor.pack.viewpoints import choose_main_view
from advisor.words import counted

# What is hidden is found on a picture of this many pixels.
_PICTURE_PX: Final = 1400
_MARGIN_PX: Final = 60.0
# Points of outlines are asked this close, and a stretch counts as seen where it lies no deeper than this behind what
# the pixels around it show.
_STEP_PX: Final = 0.5
_BEHIND_PX: Final = 2.0
# Sizes on the picture, pixels.
_TEXT_PX: Final = 18.0
_BADGE_PX: Final = (13.0, 25.0)
_PAD_PX: Final = 8.0
_LINE_PX: Final = 2.0
_THIN_PX: Final = 1.1
_FOOT_PX: Final = 70.0
# The paper's scale is the largest of these that keeps every panel within this length.
_LONGEST_MM: Final = 285.0
_SCALES: Final = (20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02)
# Digits after the point of coordinates, mm.
_DIGITS: Final = 4
_SIDEWAYS: Final = 1e-6
_VIEW_WORDS: Final[dict[ViewName, str]] = {
    "iso": "from a corner", "top": "from the spindle", "under": "from below", "front": "front", "right": "right",
    "back": "back", "left": "left",
}  # fmt: skip

Points = NDArray[np.float64]


@dataclass(frozen=True)
class _Sheet:
    """What one panel is drawn from: view and depth, and where its corner lies in the view, mm."""

    where: Fit
    zone: NDArray[np.int32]
    depth: NDArray[np.float32]

    @property
    def mm(self) -> float:
        """Millimetres a pixel."""
        return 1.0 / self.where.pixels_per_mm

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        return self.where.width * self.mm, self.where.height * self.mm

    def pixels(self, points: Points) -> Points:
        """(k, 3) pixels right, down, and towards the viewer."""
        told = points @ self.where.view.rows.T * self.where.pixels_per_mm
        return np.stack([self.where.left + told[:, 0], self.where.top - told[:, 1], told[:, 2]], axis=1)


def outlines_svg(plan: Plan, outlines: OutlineArrays, view: ViewName = "top", *, ground: bool = True) -> str:
    """The outlines of a plan as an SVG: a panel a set-up, side by side, each seen from its own spindle.

    Parameters
    ----------
    view : ViewName
        ``top`` is the plan view, along the tool axis.
    ground : bool
        Whether there is white under it.
    """
    whole = make_solid(plan)
    panels = []
    for number, setup in enumerate(plan.record.setups):
        frame = setup_frame(setup.tool_axis)
        seen = choose_main_view(whole, setup.tool_axis) if view == "iso" else fixed_view(frame, view)
        own = plan_of_setup(plan, number) if len(plan.record.setups) > 1 else plan
        words = _VIEW_WORDS[view] if len(plan.record.setups) == 1 else f"{setup.name}, {_VIEW_WORDS[view]}"
        panels.append((words, _sheet(whole, own, seen), own))
    scale = _scale([side for _, sheet, _ in panels for side in sheet.size_mm])
    left, bodies = 0.0, []
    for words, sheet, own in panels:
        body = _panel(sheet, own, outlines, whole, f"{_scale_words(scale)} on paper, {words}")
        bodies.append(f'<g transform="translate({_n(left)} 0)">{body}</g>')
        left += sheet.size_mm[0]
    high = max(sheet.size_mm[1] + _FOOT_PX * sheet.mm for _, sheet, _ in panels)
    paper = f'<rect width="{_n(left)}" height="{_n(high)}" fill="{_hex(PAPER)}"/>\n' if ground else ""
    return _page(plan, (left, high), scale, paper + "\n".join(bodies))


def _page(plan: Plan, size_mm: tuple[float, float], scale: float, body: str) -> str:
    wide, high = size_mm
    name = escape(plain_words(plan.record.part.name) or "part")
    told = f"Outlines of zones; coordinates are mm of the part, the page is {_scale_words(scale)}."
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(wide * scale)}mm" height="{_n(high * scale)}mm" '
        f'viewBox="0 0 {_n(wide)} {_n(high)}" font-family="DejaVu Sans, sans-serif">\n'
        f"<title>{name}</title>\n<desc>{told}</desc>\n{body}\n</svg>\n"
    )


def _scale_words(scale: float) -> str:
    return f"{scale:g} : 1" if scale >= 1.0 else f"1 : {1 / scale:g}"


def _scale(sides_mm: Sequence[float]) -> float:
    longest = max(sides_mm)
    return next((scale for scale in _SCALES if longest * scale <= _LONGEST_MM), _SCALES[-1])


def _sheet(solid: Solid, own: Plan, view: View) -> _Sheet:
    where = fit(view, solid.vertices, _PICTURE_PX, _PICTURE_PX, _MARGIN_PX)
    points = raster.project(solid.vertices, view.rows, where.pixels_per_mm, where.left, where.top)
    facet = np.empty((where.height, where.width), np.int32)
    depth = np.empty((where.height, where.width), np.float32)
    raster.rasterise(points, solid.faces, 0, where.height, facet, depth)
    zone = np.where(facet >= 0, np.maximum(own.facets.zone[facet], 0), -1).astype(np.int32)
    return _Sheet(where, zone, depth)


def _panel(sheet: _Sheet, own: Plan, outlines: OutlineArrays, solid: Solid, title: str) -> str:
    drawn: dict[int, dict[str, list[Points]]] = {zone.id: {"boundary": [], "overlap": []} for zone in own.zones}
    for loop in loops_of(outlines):
        if loop.zone in drawn:
            closed = np.concatenate([loop.points, loop.points[:1]])
            drawn[loop.zone][loop.kind] += seen_runs(sheet.pixels(closed), sheet.depth)
    edges = _silhouette(sheet, solid)
    ink = Image.new("1", (sheet.where.width, sheet.where.height))
    pen = ImageDraw.Draw(ink)
    for run in [*edges, *(run for kinds in drawn.values() for run in kinds["boundary"])]:
        pen.line([tuple(point) for point in run[:, :2].tolist()], fill=1, width=2)
    labels = place_labels(sheet.zone, np.array(ink, np.bool_), [_wish(zone) for zone in own.zones], 1.0)
    parts = [f'<g class="silhouette" {_pen(QUIET_INK, _THIN_PX * sheet.mm)}>{_path(edges, sheet)}</g>']
    parts += [_zone_group(zone, drawn[zone.id], sheet) for zone in own.zones]
    parts += [_label(label, sheet) for label in labels]
    return "\n".join([*parts, _foot(sheet, own, title, len(own.zones) - len(labels))])


def _zone_group(zone: Zone, kinds: dict[str, list[Points]], sheet: _Sheet) -> str:
    colour = line_colour(zone)
    dashes = f'stroke-dasharray="{_n(6 * sheet.mm)} {_n(4 * sheet.mm)}"'
    title = f"zone {zone.id}: {plain_words(zone.name)}"
    return (
        f'<g id="zone-{zone.id}" data-zone="{zone.id}"><title>{escape(title)}</title>'
        f'<g class="boundary" {_pen(INK, _LINE_PX * sheet.mm)}>{_path(kinds["boundary"], sheet)}</g>'
        f'<g class="overlap" {_pen(colour, _THIN_PX * sheet.mm)} {dashes}>{_path(kinds["overlap"], sheet)}</g></g>'
    )


def seen_runs(pixels: Points, depth: NDArray[np.float32]) -> list[Points]:
    """Stretches of a line that a view shows, as (k, 3) points in pixels.

    Parameters
    ----------
    pixels : (k, 3) float64 array
        Points of the line: right, down, towards the viewer.
    depth : (height, width) float32 array
        The nearest surface at each pixel, -inf where there is none.
    """
    pixels = pixels[np.concatenate([[True], _lengths(pixels) > _SIDEWAYS])]
    return _seen(pixels, np.ones(max(len(pixels) - 1, 0), np.bool_), depth)


def _lengths(pixels: Points) -> Points:
    """Length on the page of the pieces between points."""
    return np.asarray(np.linalg.norm(np.diff(pixels[:, :2], axis=0), axis=1))


def _seen(pixels: Points, is_line: NDArray[np.bool_], depth: NDArray[np.float32]) -> list[Points]:
    """Stretches that are seen of those pieces between points that are line, and no gap."""
    if not is_line.any():
        return []
    length = np.where(is_line, _lengths(pixels), 0.0)
    count = np.maximum(np.ceil(length / _STEP_PX).astype(np.int64), 1)
    owner = np.repeat(np.arange(len(count)), count)
    along = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[owner]
    middles = pixels[owner] + along[:, None] * (pixels[owner + 1] - pixels[owner])
    is_seen = is_line[owner] & (middles[:, 2] >= _lowest_around(middles, depth) - _BEHIND_PX)
    return _joined_runs(pixels, owner, count, is_seen)


def _lowest_around(points: Points, depth: NDArray[np.float32]) -> NDArray[np.float64]:
    # a border belongs to both of its sides: the lower one shows whether anything lies over it
    high, wide = depth.shape
    column, row = np.floor(points[:, 0]).astype(np.int64), np.floor(points[:, 1]).astype(np.int64)
    lowest = np.full(len(points), np.inf)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            y, x = np.clip(row + down, 0, high - 1), np.clip(column + right, 0, wide - 1)
            lowest = np.minimum(lowest, depth[y, x])
    return lowest


def _joined_runs(
    pixels: Points, owner: NDArray[np.int64], count: NDArray[np.int64], is_seen: NDArray[np.bool_]
) -> list[Points]:
    """Short pieces that are seen, joined to lines with the points of the outline and the places where it goes under."""
    edges = np.flatnonzero(np.diff(is_seen.astype(np.int8), prepend=0, append=0))
    starts = np.cumsum(count) - count
    runs = []
    for first, last in edges.reshape(-1, 2).tolist():
        ends = []
        for piece in (first, last):
            at = owner[min(piece, len(owner) - 1)]
            share = (piece - starts[at]) / count[at]
            ends.append(pixels[at] + share * (pixels[at + 1] - pixels[at]))
        inner = pixels[owner[first] + 1 : owner[last - 1] + 1]
        runs.append(np.concatenate([ends[:1], inner, ends[1:]]))
    return runs


def _silhouette(sheet: _Sheet, solid: Solid) -> list[Points]:
    """Edges at which the part turns away from the viewer, where they are seen."""
    near = solid.normals @ sheet.where.view.rows[2]
    faces = solid.faces
    ends = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    facing = np.repeat(near > _SIDEWAYS, 3)
    edge, number = np.unique(ends, axis=0, return_inverse=True)
    number = number.ravel()
    front, all_sides = np.bincount(number, weights=facing), np.bincount(number)
    turning = edge[(front > 0) & ((front < all_sides) | (all_sides == 1))]
    pixels = sheet.pixels(solid.vertices)[turning]
    pixels = pixels[np.linalg.norm(pixels[:, 1, :2] - pixels[:, 0, :2], axis=1) > _SIDEWAYS]
    # one line with gaps from the end of each edge to the beginning of the next
    return _seen(pixels.reshape(-1, 3), np.arange(max(2 * len(pixels) - 1, 0)) % 2 == 0, sheet.depth)


def _wish(zone: Zone) -> Wish:
    wide, high = _BADGE_PX
    return Wish(zone.id, str(zone.id), math.ceil(_PAD_PX + wide * len(str(zone.id))), math.ceil(high))


def _label(label: Label, sheet: _Sheet) -> str:
    left, top, right, bottom = (side * sheet.mm for side in label.box)
    middle = (left + right) / 2, (top + bottom) / 2
    leader = ""
    if label.leader is not None:
        x0, y0, x1, y1 = (at * sheet.mm for at in label.leader)
        leader = (
            f'<line x1="{_n(x0)}" y1="{_n(y0)}" x2="{_n(x1)}" y2="{_n(y1)}" {_pen(INK, _THIN_PX * sheet.mm)}/>'
            f'<circle cx="{_n(x0)}" cy="{_n(y0)}" r="{_n(2.5 * sheet.mm)}" fill="{_hex(INK)}"/>'
        )
    return (
        f'<g class="number">{leader}<rect x="{_n(left)}" y="{_n(top)}" width="{_n(right - left)}" '
        f'height="{_n(bottom - top)}" rx="{_n(3 * sheet.mm)}" fill="{_hex(PAPER)}" stroke="{_hex(INK)}" '
        f'stroke-width="{_n(_THIN_PX * sheet.mm)}"/>'
        f'<text x="{_n(middle[0])}" y="{_n(middle[1] + 0.36 * _TEXT_PX * sheet.mm)}" text-anchor="middle" '
        f'font-size="{_n(_TEXT_PX * sheet.mm)}" font-weight="bold" fill="{_hex(INK)}">{label.wish.text}</text></g>'
    )


def _foot(sheet: _Sheet, own: Plan, title: str, unnamed: int) -> str:
    """A length scale in the job's unit, the name of the view, and how many zones have no number in it."""
    unit = length_unit(own.record)
    longest = 300.0 * sheet.mm / unit.mm
    power = 10.0 ** math.floor(math.log10(longest))
    length = max(digit * power for digit in (1.0, 2.0, 5.0) if digit * power <= longest)
    left, y = _MARGIN_PX * sheet.mm, sheet.size_mm[1] + 0.45 * _FOOT_PX * sheet.mm
    words = f"{length:g} {unit.sign}, {title}" + (
        f"; {counted(unnamed, 'zone')} without a number here" if unnamed else ""
    )
    size = _n(_TEXT_PX * sheet.mm)
    return (
        f'<g class="scale"><path d="M{_n(left)} {_n(y)}h{_n(length * unit.mm)}" {_pen(INK, _LINE_PX * sheet.mm)}/>'
        f'<text x="{_n(left)}" y="{_n(y + 1.4 * _TEXT_PX * sheet.mm)}" font-size="{size}" fill="{_hex(INK)}">'
        f"{escape(words)}</text></g>"
    )


def _path(runs: Sequence[Points], sheet: _Sheet) -> str:
    if not runs:
        return ""
    told = "".join("M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in (run[:, :2] * sheet.mm).tolist()) for run in runs)
    return f'<path d="{told}"/>'


def _pen(colour: Colour, width_mm: float) -> str:
    return f'fill="none" stroke="{_hex(colour)}" stroke-width="{_n(width_mm)}" stroke-linejoin="round"'


def _hex(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _n(number: float) -> str:
    words = f"{number:.{_DIGITS}f}".rstrip("0").rstrip(".")
    return "0" if words == "-0" else words
