"""Pictures of the report: labelled views of every set-up, maps in other colours, and a small picture a zone."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import label

from advisor.advice.setups import plan_of_setup
from advisor.model import Plan
from advisor.pack.camera import AZIMUTHS_DEG, ELEVATION_DEG, Fit, View, fit, fixed_view, oblique_view, setup_frame
from advisor.pack.colour_map import ColourMap, ColourMode, LegendRow
from advisor.pack.labelled_view import MAIN_STYLE, SMALL_STYLE, Scene, ViewStyle, draw_labelled_view, fit_in
from advisor.pack.lengths import length_unit
from advisor.pack.maps import colour_map
from advisor.pack.page import Page, blank_page
from advisor.pack.palette import INK
from advisor.pack.picture_key import draw_axes, draw_scale
from advisor.pack.picture_legend import percent
from advisor.pack.reach_maps import drawn_plan
from advisor.pack.report_blocks import Figure, Figures, Legend, LegendEntry, LegendScale, Picture
from advisor.pack.shade import Drawing, Solid, draw, make_solid, painted, zones_seen_px
from advisor.pack.viewpoints import BELOW_AZIMUTHS_DEG, Views, choose_views

# Pixels of the main view and of those beside it, and how much larger letters are than on a page 1200 high: a picture
# as wide as a printed page keeps them readable.
MAIN_SIZE: Final = (1500, 900)
SMALL_SIZE: Final = (740, 560)
SCALE: Final = 1.5
_ROOM: Final = 26.0
# Below the main view: scale and axes.
_BAND: Final = 112.0
# Small pictures of zones.
THUMBNAIL_SIZE: Final = (248, 186)
MOST_THUMBNAILS: Final = 240
_THUMBNAIL_LINES: Final = 0.55
# What the rest of the part keeps of its colour, and the grey that takes the place.
_KEPT: Final = 0.16
_FADED: Final = np.array([236.0, 238.0, 240.0])
# A zone that shows fewer pixels is looked at from so many times nearer; one that still shows few gets a ring about it.
_EASILY_SEEN_PX: Final = 400
_NEARER: Final = 3.0
_RINGED_PX: Final = 150
_RING_PX: Final = 15
_SMALL_TITLES: Final = {"FROM THE SPINDLE": "from the spindle", "FROM BELOW": "from below"}


@dataclass(frozen=True)
class SetupViews:
    """What one set-up is drawn from: the plan of it, the part, and the views that show most of its zones."""

    number: int
    plan: Plan
    solid: Solid
    views: Views


def setup_views(plan: Plan) -> list[SetupViews]:
    """A set-up with its part and views each; of several, those that have no zones are left out."""
    told = []
    for number, setup in enumerate(plan.record.setups):
        own = plan if len(plan.record.setups) == 1 else plan_of_setup(plan, number)
        if own.zones or len(plan.record.setups) == 1:
            solid = make_solid(own)
            told.append(SetupViews(number, own, solid, choose_views(solid, setup.tool_axis, "iso")))
    return told


def zone_map_figures(setups: list[SetupViews], pictures: dict[str, Picture]) -> list[Figures]:
    """The zone maps, a group of views a set-up; the pictures are added to ``pictures``."""
    told = []
    for one in setups:
        colours = colour_map(one.plan, "class")
        solid = painted(one.solid, colours)
        name = _map_name(one)
        words = f"Zone map of {one.plan.record.part.name}"
        figures = [_main_figure(one, solid, colours, name, words, pictures)]
        for k, view in enumerate(one.views.small, 1):
            title = _SMALL_TITLES.get(view.title, view.title.lower())
            pictures[f"{name}-{k}"] = _labelled(one, solid, colours, view, SMALL_SIZE, SMALL_STYLE)
            figures.append(Figure(f"{name}-{k}", f"{words}, {title}", title.capitalize(), 0.5))
        told.append(Figures(tuple(figures), legend_of(colours)))
    return told


def first_map(setups: list[SetupViews]) -> str:
    """Name of the main view of the first set-up."""
    return _map_name(setups[0])


def still_of(main: Picture) -> Picture:
    """The picture that stands in the place of the 3D view where that does not run: a smaller one of the main view."""
    image = Image.open(io.BytesIO(main.png))
    size = (SMALL_SIZE[0], round(SMALL_SIZE[0] * image.height / image.width))
    return png_of(image.resize(size, Image.Resampling.LANCZOS))


def _map_name(one: SetupViews) -> str:
    return f"zones-{one.number + 1}"


def _main_figure(
    one: SetupViews, solid: Solid, colours: ColourMap, name: str, words: str, pictures: dict[str, Picture]
) -> Figure:
    record = one.plan.record
    pictures[name] = _with_key(one, solid, colours)
    several = f"{record.setups[0].name.capitalize()}. " if one.number or record.setups[0].name != "set-up 1" else ""
    return Figure(name, words, f"{several}Parallel projection: the scale holds in the plane of the view.")


def _with_key(one: SetupViews, solid: Solid, colours: ColourMap) -> Picture:
    """The main view with scale and axes below it."""
    record, band = one.plan.record, round(_BAND * SCALE)
    where = fit(one.views.main, solid.vertices, *MAIN_SIZE, _ROOM * SCALE)
    page = blank_page(MAIN_SIZE[0], where.height + band, SCALE)
    scene = Scene(page, solid, one.plan.zones, colours)
    draw_labelled_view(scene, where, (0, 0, MAIN_SIZE[0], where.height), frozenset(), MAIN_STYLE)
    _draw_key(page, one, where.height, band)
    inches = length_unit(record).is_inch
    foot = page.image.height - page.px(26 if inches else 10)
    draw_scale(page, (page.px(300), foot), where, page.px(210), inches=inches)
    return png_of(page.image)


def _draw_key(page: Page, one: SetupViews, top: int, band: int) -> None:
    draw_axes(page, (page.px(110), top + 0.62 * band), one.views.main, one.plan.record.setups[0].tool_axis)


def _labelled(
    one: SetupViews, solid: Solid, colours: ColourMap, view: View, size: tuple[int, int], style: ViewStyle
) -> Picture:
    page = blank_page(*size, SCALE)
    box = (0.0, 0.0, float(size[0]), float(size[1]))
    where = fit_in(view, solid, box, page.px(_ROOM))
    page = blank_page(size[0], where.height, SCALE)
    scene = Scene(page, solid, one.plan.zones, colours)
    draw_labelled_view(scene, where, (0.0, 0.0, float(size[0]), float(where.height)), frozenset(), style)
    return png_of(page.image)


def map_figures(setups: list[SetupViews], mode: ColourMode, pictures: dict[str, Picture]) -> Figures:
    """The part in other colours: the main view and that from the spindle of every set-up."""
    figures, legend = [], None
    for one in setups:
        plan = drawn_plan(one.plan, mode)
        colours = colour_map(plan, mode)
        legend = legend or legend_of(colours)
        bare = one.solid if plan is one.plan else make_solid(plan)
        solid = painted(bare, colours)
        for k, view in enumerate((one.views.main, *one.views.small[:1])):
            name = f"{mode}-{one.number + 1}-{k}"
            pictures[name] = _labelled(one, solid, colours, view, SMALL_SIZE, SMALL_STYLE)
            caption = _SMALL_TITLES.get(view.title, "")
            figures.append(
                Figure(name, f"{colours.title}{', ' + caption if caption else ''}", caption.capitalize(), 0.5)
            )
    return Figures(tuple(figures), legend)


def draw_thumbnails(setups: list[SetupViews], pictures: dict[str, Picture]) -> dict[int, str]:
    """A small picture a zone with the rest of the part faded: names by zone; none where zones are very many."""
    if sum(len(one.plan.zones) for one in setups) > MOST_THUMBNAILS:
        return {}
    return {zone: name for one in setups for zone, name in _thumbnails_of(one, pictures).items()}


def _thumbnails_of(one: SetupViews, pictures: dict[str, Picture]) -> dict[int, str]:
    """Each zone in the view that shows most of it; most of the views round the part need no drawing."""
    views = _views_all_round(one)
    seen_px = np.stack([zones_seen_px(one.solid, _small_fit(one.solid, view, 1.0)) for view in views])

    @cache
    def drawn(number: int, times: float) -> Drawing:
        return draw(one.solid, _small_fit(one.solid, views[number], times), _THUMBNAIL_LINES)

    names = {}
    for zone in one.plan.zones:
        best = int(seen_px[:, zone.id].argmax())
        closer = drawn(best, _NEARER) if seen_px[best, zone.id] < _EASILY_SEEN_PX else None
        drawing = drawn(best, 1.0) if closer is None or not _fits_in(closer, zone.id) else closer
        names[zone.id] = f"zone-{zone.id}"
        pictures[names[zone.id]] = png_of(_faded_but(drawing, zone.id), colours=48)
    return names


def _views_all_round(one: SetupViews) -> list[View]:
    """The main view first, so that it wins where views show as much."""
    frame = setup_frame(one.plan.record.setups[0].tool_axis)
    return [
        one.views.main,
        *(oblique_view(frame, azimuth, ELEVATION_DEG) for azimuth in AZIMUTHS_DEG),
        fixed_view(frame, "top"),
        fixed_view(frame, "under"),
        *(oblique_view(frame, azimuth, -ELEVATION_DEG) for azimuth in BELOW_AZIMUTHS_DEG),
    ]


def _small_fit(solid: Solid, view: View, times: float) -> Fit:
    width, height = (round(times * side) for side in THUMBNAIL_SIZE)
    return fit(view, solid.vertices, width, height, 6.0)


def _fits_in(drawing: Drawing, zone: int) -> bool:
    """Whether all of a zone that is seen in a closer drawing fits in a small picture; holes all over a part do not."""
    return all(
        len(at) == 0 or int(at.max()) - int(at.min()) < most
        for at, most in zip(np.nonzero(drawing.zone == zone), THUMBNAIL_SIZE[::-1], strict=True)
    )


def _faded_but(drawing: Drawing, zone: int) -> Image.Image:
    """The drawing, or the piece of it about the zone, with all of the part but one zone near to grey."""
    rows, columns = np.nonzero(drawing.zone == zone)
    top, left = (_start(at, size, most) for at, size, most in (
        (rows, drawing.fit.height, THUMBNAIL_SIZE[1]), (columns, drawing.fit.width, THUMBNAIL_SIZE[0]),
    ))  # fmt: skip
    piece = (slice(top, top + THUMBNAIL_SIZE[1]), slice(left, left + THUMBNAIL_SIZE[0]))
    pixels, zones = drawing.pixels[piece].astype(np.float64), drawing.zone[piece]
    others = (zones >= 0) & (zones != zone)
    pixels[others] = _KEPT * pixels[others] + (1.0 - _KEPT) * _FADED
    picture = Image.fromarray(np.rint(pixels).astype(np.uint8))
    if 0 < len(rows) < _EASILY_SEEN_PX:
        _ring(picture, rows - top, columns - left)
    return picture


def _start(at: NDArray[np.intp], size: int, most: int) -> int:
    """First pixel of ``most`` out of ``size`` that have the pixels ``at`` in their middle."""
    middle = size // 2 if len(at) == 0 else (int(at.min()) + int(at.max())) // 2
    return max(0, min(middle - most // 2, size - most))


def _ring(picture: Image.Image, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> None:
    """Rings about the pieces of a zone that are hard to see, each about the pixel that is nearest to its middle."""
    seen = np.zeros((picture.height, picture.width), bool)
    seen[rows, columns] = True
    pieces, count = label(seen, np.ones((3, 3)))
    draw_on = ImageDraw.Draw(picture)
    for number in range(1, count + 1):
        down, across = np.nonzero(pieces == number)
        if len(down) >= _RINGED_PX:
            continue
        near = int(np.argmin((down - down.mean()) ** 2 + (across - across.mean()) ** 2))
        x, y = int(across[near]), int(down[near])
        draw_on.ellipse((x - _RING_PX, y - _RING_PX, x + _RING_PX, y + _RING_PX), outline=INK, width=2)


def legend_of(colours: ColourMap) -> Legend:
    """What the colours of a map mean; only what the part has."""
    scale = None
    if colours.scale is not None:
        ends = ("< " if colours.scale.open_low else "", "> " if colours.scale.open_high else "")
        ticks = tuple((place, _open_end(place, words, ends)) for place, words in colours.scale.ticks)
        scale = LegendScale(colours.scale.colours, ticks, colours.scale.sign)
    entries = tuple(_entry(row) for row in colours.rows if row.share > 0.0)
    return Legend(colours.heading, scale, entries, colours.note)


def _open_end(place: float, words: str, ends: tuple[str, str]) -> str:
    return ends[0] + words if place <= 0.0 else ends[1] + words if place >= 1.0 else words


def _entry(row: LegendRow) -> LegendEntry:
    mark = row.mark
    return LegendEntry(
        mark.paint.lit, mark.paint.hatch, mark.lean_deg, mark.ink, row.name, row.words, percent(row.share)
    )


def png_of(image: Image.Image, colours: int = 0) -> Picture:
    """A PNG without dates; with a table of so many colours where asked."""
    if colours:
        image = image.quantize(colours, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    file = io.BytesIO()
    image.save(file, format="PNG", compress_level=9 if colours else 6)
    return Picture(file.getvalue(), image.width, image.height)
