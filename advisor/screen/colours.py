"""Colours in the window: what they mean, and how all zones but one fade."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.pack.colour_map import ColourMap
from advisor.pack.palette import Colour
from advisor.pack.scales import Scale

FacetColours = NDArray[np.uint8]

# What faded facets keep of their colour, and the grey that takes the rest.
_KEPT_SHARE: Final = 0.10
_FADED_GREY: Final = np.array([232.0, 234.0, 237.0])


@dataclass(frozen=True)
class Legend:
    """What the colours mean: a heading, a scale where there is one, rows and a note."""

    heading: str
    scale: Scale | None = None
    rows: tuple[tuple[Colour, str], ...] = ()
    note: str = ""


def legend_of(colours: ColourMap) -> Legend:
    """What the colours of a map mean; only what the part has."""
    rows = [(row.mark.paint.lit, f"{row.name}  {row.words}".strip()) for row in colours.rows if row.share > 0.0]
    return Legend(colours.heading, colours.scale, tuple(rows), colours.note)


def fade_all_but(colours: FacetColours, zone: NDArray[np.int32], kept: int) -> FacetColours:
    """The colours with every zone but one near to grey."""
    ramp = np.arange(256, dtype=np.float64)[:, None] * _KEPT_SHARE + _FADED_GREY * (1.0 - _KEPT_SHARE)
    table = np.rint(ramp).astype(np.uint8)
    faded = np.empty_like(colours)
    for channel in range(3):
        faded[:, channel] = table[colours[:, channel], channel]
    here = zone == kept
    faded[here] = colours[here]
    return faded
