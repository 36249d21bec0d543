"""Colours of the pictures, and the mark of each slope class that needs no colour.

The hues of flat, shallow and steep are yellow, sky blue and vermilion of the colour-blind-safe set of Okabe & Ito
(https://jfly.uni-koeln.de/color/, address from memory), a little lighter in full light. They are given out by
lightness: the steeper, the darker (CIE L* 91, 73, 57, and 39 of the purple for undercuts), so that a grey copy
still reads in order. In full light the least CIE76 distance between two classes is 31 under normal, protan, deutan
and tritan vision (computed with the matrices of Machado, Oliveira & Fernandes 2009, doi 10.1109/TVCG.2009.113,
from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from advisor.model import SlopeClass

Colour = tuple[int, int, int]

PAPER: Final[Colour] = (255, 255, 255)
INK: Final[Colour] = (27, 33, 43)
QUIET_INK: Final[Colour] = (92, 101, 114)
FAINT_INK: Final[Colour] = (203, 208, 215)
ZONE_LINE: Final[Colour] = (255, 255, 255)
TOOL_AXIS: Final[Colour] = (0, 114, 178)


@dataclass(frozen=True)
class Paint:
    """How a class looks on the part: its colour in full light and in full shade, and whether it is hatched."""

    lit: Colour
    dark: Colour
    hatch: Colour | None = None


@dataclass(frozen=True)
class ClassStyle:
    """A slope class on paper: paint, and the lean of its mark: a stroke this many degrees up from level."""

    paint: Paint
    mark_deg: float
    mark_ink: Colour


# The marks lean as a section of the surface would: 115 hangs over.
CLASS_STYLES: Final[dict[SlopeClass, ClassStyle]] = {
    "flat": ClassStyle(Paint((246, 233, 82), (170, 142, 30)), 0.0, INK),
    "shallow": ClassStyle(Paint((96, 188, 240), (30, 98, 146)), 25.0, INK),
    "steep": ClassStyle(Paint((224, 100, 16), (128, 46, 2)), 72.0, PAPER),
    "undercut": ClassStyle(Paint((98, 82, 147), (56, 44, 94), (190, 180, 217)), 115.0, PAPER),
}

# Facets that no zone covers, and small features that are noted together.
UNZONED: Final = Paint((222, 224, 227), (142, 147, 155))
