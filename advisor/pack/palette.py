"""Colours of the pictures, and the mark of each slope class that needs no colour.

The hues of flat, shallow and steep are yellow, sky blue and vermilion of the colour-blind-safe set of Okabe & Ito
(https://jfly.uni-koeln.de/color/, address from memory), a little lighter in full light. They are given out by
lightness: the steeper, the darker (CIE L* 91, 73, 57, and 39 of the purple for undercuts), so that a grey copy
still reads in order. In full light the least CIE76 distance between two classes is 31 under normal, protan, deutan
and tritan vision (computed with the matrices of Machado, Oliveira & Fernandes 2009, doi 10.1109/TVCG.2009.113,
from memory).

Any two colours of one palette, and bands of a scale side by side, are CIEDE2000 10 apart or more in full light for
every eye: with all cones, and with one kind lost, by the models of Brettel, Vienot & Mollon 1997, Vienot, Brettel &
Mollon 1999 and Machado et al. 2009. Where that cannot be, one of the two is hatched (``tests/pack/test_palette.py``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from advisor.model import SlopeClass, Strategy

Colour = tuple[int, int, int]

PAPER: Final[Colour] = (255, 255, 255)
INK: Final[Colour] = (27, 33, 43)
QUIET_INK: Final[Colour] = (92, 101, 114)
FAINT_INK: Final[Colour] = (203, 208, 215)
ZONE_LINE: Final[Colour] = (255, 255, 255)
TOOL_AXIS: Final[Colour] = (0, 114, 178)


@dataclass(frozen=True)
class Pattern:
    """Lines of a hatching: how they lean (degrees up from level), how far apart (pixels of a page 1200 high), and the
    share of it that is line; ``is_crossed`` adds lines across them."""

    lean_deg: float
    spacing_px: float
    share: float
    is_crossed: bool = False


HATCH_SPACING_PX: Final = 6.0
HATCH_SHARE: Final = 0.27
# Lines lean as the mark of the undercut does.
HATCHING: Final = Pattern(115.0, HATCH_SPACING_PX, HATCH_SHARE)


@dataclass(frozen=True)
class Paint:
    """How a class looks on the part: its colour in full light and in full shade, and whether it is hatched, and how."""

    lit: Colour
    dark: Colour
    hatch: Colour | None = None
    pattern: Pattern = HATCHING


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
# The same beside the pale end of a scale, which some eyes see as this grey: with a few thin lines.
LEFT_OUT: Final = Paint(UNZONED.lit, UNZONED.dark, (150, 155, 163), Pattern(25.0, 9.0, 0.14))

# Where the finishing cutter gets to, in the order of ``FacetArrays.reach``. Each is lighter than the next but for the
# quiet grey of what is hidden, and no two share a lightness even where one lies in shade, so that a grey copy reads;
# what would touch is hatched besides. Hues no slope class has: pale green, rose, dark wine, grey.
REACH_PAINTS: Final[tuple[Paint, ...]] = (
    Paint((169, 235, 171), (132, 192, 136)),
    Paint((201, 62, 116), (158, 34, 86)),
    Paint((86, 14, 60), (66, 6, 45), hatch=(245, 190, 214)),
    Paint((160, 166, 175), (130, 136, 144)),
)
# Free of any limit: the green of what is reached.
FREE: Final = REACH_PAINTS[0]
# What nobody worked out.
UNKNOWN: Final = Paint((186, 191, 198), (158, 163, 170), hatch=(128, 134, 143))

# Orange, green and reddish purple near those of the set of Okabe & Ito: no hue of a slope class.
STRATEGY_COLOURS: Final[dict[Strategy, Colour]] = {
    "parallel_line": (244, 163, 29),
    "constant_z": (20, 150, 118),
    "constant_cusp": (179, 99, 186),
}
NOT_ADVISED: Final[Colour] = UNZONED.lit

# Colours that tell one zone from the next, moved from the same set until every eye tells any two of them apart;
# neighbours take different ones.
ZONE_COLOURS: Final[tuple[Colour, ...]] = (
    (63, 202, 230), (244, 163, 29), (20, 150, 118), (179, 99, 186), (254, 233, 106), (38, 58, 129), (216, 94, 28),
)  # fmt: skip

# Every fifteenth colour of "viridis" (van der Walt & Smith, CC0; values as in matplotlib 3), last to first: like
# the classes, the steeper the darker. Straight lines between them stay within 5 of 255 of the full table.
SLOPE_RAMP: Final[tuple[Colour, ...]] = (
    (253, 231, 37), (216, 226, 25), (176, 221, 47), (137, 213, 72), (101, 203, 94), (70, 192, 111),
    (46, 179, 124), (33, 165, 133), (31, 151, 139), (35, 137, 142), (41, 123, 142), (46, 109, 142),
    (53, 94, 141), (61, 78, 138), (67, 61, 132), (71, 42, 122), (72, 23, 105), (68, 1, 84),
)  # fmt: skip


def hatch_row(pattern: Pattern, scale: float) -> tuple[float, float, float, float, float]:
    """Directions across the lines of a pattern (right, down) over their spacing, and the share that is line.

    Parameters
    ----------
    scale : float
        Pixels to one of a page 1200 high. Without lines across, the second direction is 0, 0.
    """
    lean, spacing = math.radians(pattern.lean_deg), pattern.spacing_px * scale
    right, down = math.sin(lean) / spacing, math.cos(lean) / spacing
    crossed = (down, -right) if pattern.is_crossed else (0.0, 0.0)
    return right, down, pattern.share, *crossed
