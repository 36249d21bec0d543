"""What a picture of a plan is coloured by: a paint for every facet, and what the paints mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.raster import facet_normals
from advisor.model import Plan
from advisor.pack.colour_space import shaded
from advisor.pack.page import Mark
from advisor.pack.palette import INK, ZONE_LINE, Colour, Paint
from advisor.pack.scales import Scale

ColourMode = Literal["class", "slope", "strategy", "zone", "reach", "ball", "leftover", "stick_out", "cusp", "minutes"]

# How dark full shade is where lightness itself tells a number: less than half a band's difference to its neighbour in
# most places, and enough to see the shape.
SHADE_OF_SCALES: Final = 0.88
# Shade of colours that are told by their hue.
SHADE_OF_HUES: Final = 0.62
_TOLD_BY_HUE: Final[tuple[ColourMode, ...]] = ("class", "strategy", "zone")
# Paints with less of a zone's area do not show in its mark.
_LEAST_SHOWN: Final = 0.004


@dataclass(frozen=True)
class LegendRow:
    """A line of the legend: mark, name, what it means, and the share of the part's area, 0 to 1."""

    mark: Mark
    name: str
    words: str
    share: float


@dataclass(frozen=True)
class ColourMap:
    """Paints of the facets of a plan, and their meaning.

    Attributes
    ----------
    mode : ColourMode
    title : str
        What the page is called.
    heading : str
        What the colours tell, in a word or a few.
    paints : tuple of Paint
    index : (m,) uint8 array
        Paint of each facet.
    rows : tuple of LegendRow
        Paints that stand for a name.
    marks : mapping of zone id to Mark
        The sign of each zone: its class, or the paints that it has.
    caption : str
        How to read the map, a sentence or two.
    scale : Scale or None
        Paints that stand for numbers.
    note : str
        What the colours cannot tell.
    border : Colour
        Of the lines between zones.
    """

    mode: ColourMode
    title: str
    heading: str
    paints: tuple[Paint, ...]
    index: NDArray[np.uint8]
    rows: tuple[LegendRow, ...]
    marks: Mapping[int, Mark]
    caption: str
    scale: Scale | None = None
    note: str = ""
    border: Colour = ZONE_LINE

    @property
    def is_told_by_lightness(self) -> bool:
        """Whether strong shade would be taken for another colour of the map."""
        return self.scale is not None or self.mode not in _TOLD_BY_HUE

    @property
    def lit_colours(self) -> NDArray[np.uint8]:
        """(m, 3) colours of the facets in full light."""
        return np.array([paint.lit for paint in self.paints], dtype=np.uint8)[self.index]


def facet_areas(plan: Plan) -> NDArray[np.float64]:
    """(m,) areas, mm2."""
    vertices = np.ascontiguousarray(plan.facets.vertices, dtype=np.float64)
    _, areas = facet_normals(vertices, np.ascontiguousarray(plan.facets.faces, dtype=np.int32))
    return areas


def shares_of(index: NDArray[np.uint8], areas: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """(count,) share of the area that each paint has."""
    by_paint = np.bincount(index, weights=areas, minlength=count).astype(np.float64)
    total = float(by_paint.sum())
    shares: NDArray[np.float64] = by_paint / total if total > 0.0 else by_paint
    return shares


def marks_of(
    plan: Plan, areas: NDArray[np.float64], index: NDArray[np.uint8], paints: Sequence[Paint], together: int = 1
) -> dict[int, Mark]:
    """A mark a zone that shows its paints side by side by area.

    Parameters
    ----------
    together : int
        So many paints that follow one another are shown as one.
    """
    groups = -(-len(paints) // together)
    zone = np.maximum(plan.facets.zone, 0).astype(np.int64)
    last = max((one.id for one in plan.zones), default=0)
    by_zone = np.bincount(zone * groups + index // together, weights=areas, minlength=(last + 1) * groups)
    by_zone = by_zone.reshape(-1, groups)
    # in the middle of a group, or what is left of it
    colour = [paints[min(k * together + together // 2, len(paints) - 1)].lit for k in range(groups)]
    return {one.id: _mark_of_areas(by_zone[one.id], colour) for one in plan.zones}


def named(paint: Paint, name: str, words: str, share: float) -> LegendRow:
    """A row of the legend whose mark shows the paint as it looks in shade."""
    return LegendRow(Mark(paint, None, INK, ((paint.dark, 1.0),)), name, words, share)


def paint_of(colour: Colour, shade: float = SHADE_OF_HUES) -> Paint:
    """A colour and its shade."""
    return Paint(colour, shaded(colour, shade))


def _mark_of_areas(areas: NDArray[np.float64], colours: Sequence[Colour]) -> Mark:
    total = float(areas.sum())
    shown = [k for k in range(len(colours)) if areas[k] > _LEAST_SHOWN * total]
    if not shown:
        return Mark(paint_of(colours[-1]), None, INK)
    strip = tuple((colours[k], float(areas[k]) / total) for k in shown)
    most = max(shown, key=lambda k: float(areas[k]))
    return Mark(paint_of(colours[most]), None, INK, strip)
