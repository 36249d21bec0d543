"""A view of the part with the numbers of its zones: in the zone where they fit, else beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from advisor.model import Zone
from advisor.pack.camera import Fit, View, fit
from advisor.pack.colour_map import ColourMap
from advisor.pack.labels import Label, Wish, place_labels
from advisor.pack.page import Box, Page, badge_size, draw_badge, draw_line, fill_dot, paste
from advisor.pack.palette import INK, PAPER
from advisor.pack.pass_pictures import DrawnPasses, PassInk
from advisor.pack.picture_key import is_small
from advisor.pack.shade import Drawing, Solid, draw


@dataclass(frozen=True)
class ViewStyle:
    """How much a view is worth on the page: size of badges, width of lines, and most labels."""

    badge: float
    line: float
    most_labels: int


MAIN_STYLE: Final = ViewStyle(badge=1.0, line=1.0, most_labels=30)
SMALL_STYLE: Final = ViewStyle(badge=0.86, line=0.66, most_labels=12)


@dataclass(frozen=True)
class Scene:
    """What views are drawn from, and onto which page; ``passes`` where they are drawn over the part."""

    page: Page
    solid: Solid
    zones: tuple[Zone, ...]
    colours: ColourMap
    passes: DrawnPasses | None = None


def fit_in(view: View, solid: Solid, box: Box, margin: float) -> Fit:
    """The largest picture of the part in a box of the page."""
    return fit(view, solid.vertices, int(box[2] - box[0]), int(box[3] - box[1]), margin)


def draw_labelled_view(
    scene: Scene, where: Fit, box: Box, named: frozenset[int], style: ViewStyle
) -> tuple[list[Label], dict[int, int]]:
    """Draw the part in the middle of a box, and label zones that have no label yet; labels, and strides of passes."""
    page = scene.page
    ink = None if scene.passes is None else PassInk(scene.passes, scene.solid, page.scale * style.line)
    drawing = draw(scene.solid, where, page.scale * style.line, ink)
    corner = (
        round(box[0] + (box[2] - box[0] - where.width) / 2),
        round(box[1] + (box[3] - box[1] - where.height) / 2),
    )
    paste(page, Image.fromarray(drawing.pixels), corner, Image.fromarray(drawing.cover))
    x, y = int(box[0]), int(box[1])
    zone, lines = _on_box(drawing, box, (corner[0] - x, corner[1] - y))
    labels = place_labels(zone, lines, _wishes(scene, zone, named, style), page.scale)
    for label in labels:
        _draw_leader(page, label, x, y)
    for label in labels:
        place = (label.box[0] + x, label.box[1] + y, label.box[2] + x, label.box[3] + y)
        draw_badge(page, place, scene.colours.marks[label.wish.zone], label.wish.text, style.badge)
    return labels, {} if ink is None else ink.strides


def _on_box(drawing: Drawing, box: Box, corner: tuple[int, int]) -> tuple[NDArray[np.int32], NDArray[np.bool_]]:
    # zone numbers and lines of the whole box, so that labels can stand on the paper around the part
    width, height = int(box[2] - box[0]), int(box[3] - box[1])
    x, y = corner
    zone = np.full((height, width), -1, np.int32)
    lines = np.zeros((height, width), np.bool_)
    part = (slice(y, y + drawing.fit.height), slice(x, x + drawing.fit.width))
    zone[part] = drawing.zone[: height - y, : width - x]
    lines[part] = drawing.lines[: height - y, : width - x]
    return zone, lines


def _wishes(scene: Scene, zone: NDArray[np.int32], named: frozenset[int], style: ViewStyle) -> list[Wish]:
    """Labels wanted in a view: the largest zones it shows, and one for all small features."""
    zones = scene.zones
    seen_px = np.bincount(zone[zone > 0], minlength=max((z.id for z in zones), default=0) + 1)
    plain = [z for z in zones if not is_small(z) and z.id not in named and seen_px[z.id] > 0]
    largest = sorted(plain, key=lambda z: -z.area_mm2)[: style.most_labels]
    words = {z.id: str(z.id) for z in largest}
    small = [z for z in zones if is_small(z)]
    if small and named.isdisjoint(z.id for z in small):
        most_seen = max(small, key=lambda z: int(seen_px[z.id]))
        words[most_seen.id] = f"{sum(z.features for z in small)} small features"
    return [Wish(number, text, *badge_size(scene.page, text, style.badge)) for number, text in words.items()]


def _draw_leader(page: Page, label: Label, x: int, y: int) -> None:
    if label.leader is None:
        return
    x0, y0, x1, y1 = label.leader
    ends = (x0 + x, y0 + y, x1 + x, y1 + y)
    draw_line(page, ends, PAPER, page.px(3.2))
    fill_dot(page, ends[0], ends[1], page.px(4.2), PAPER)
    draw_line(page, ends, INK, page.px(1.2))
    fill_dot(page, ends[0], ends[1], page.px(2.8), INK)
