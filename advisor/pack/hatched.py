"""A map without colours, for printers that have none: every paint a hatching in black on white."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from advisor.pack.colour_map import ColourMap, LegendRow
from advisor.pack.cusp_maps import GOUGE
from advisor.pack.page import Mark
from advisor.pack.palette import FREE, INK, LEFT_OUT, PAPER, STRATEGY_COLOURS, UNKNOWN, UNZONED, Colour, Paint, Pattern

# White in shade: the shape shows, and the lines still stand out.
_SHADE: Final[Colour] = (198, 198, 198)
_GREY: Final = Paint((214, 214, 214), (166, 166, 166))
_BLANK: Final = Paint(PAPER, _SHADE)
# Patterns of maps of names, in the order of their paints: each differs from all others in lean, or in how dense it is
# by a factor of two. Slope classes lean as a section of the surface would, and grow denser the steeper they are.
_OF_NAMES: Final[Mapping[str, tuple[Pattern | None, ...]]] = {
    "class": (None, Pattern(25.0, 10.0, 0.16), Pattern(72.0, 6.0, 0.30), Pattern(115.0, 5.5, 0.34, True)),
    "strategy": (Pattern(0.0, 8.0, 0.2), Pattern(90.0, 5.0, 0.3), Pattern(45.0, 9.0, 0.2, True)),
    "reach": (None, Pattern(45.0, 7.0, 0.22), Pattern(45.0, 6.0, 0.4, True), Pattern(0.0, 10.0, 0.12)),
    "zone": (
        Pattern(45.0, 10.0, 0.14), Pattern(135.0, 5.0, 0.3), None, Pattern(0.0, 7.0, 0.22), Pattern(90.0, 7.0, 0.22),
        Pattern(45.0, 9.0, 0.2, True), Pattern(0.0, 6.0, 0.34, True),
    ),
}  # fmt: skip
# Bands of a scale: lines of one lean, from a few thin ones to nearly black.
_SCALE_LEAN_DEG: Final = 45.0
_SCALE_SPACING_PX: Final = 7.0
_SCALE_SHARES: Final = (0.08, 0.80)
# Paints that stand beside a scale.
_BESIDE: Final[Mapping[Paint, Paint]] = {
    FREE: _BLANK,
    UNZONED: _GREY,
    LEFT_OUT: _GREY,
    UNKNOWN: replace(_GREY, hatch=INK, pattern=Pattern(0.0, 9.0, 0.16)),
    GOUGE: replace(_BLANK, hatch=INK, pattern=Pattern(135.0, 6.0, 0.4, True)),
}

# What captions say of colours, and of patterns.
_WORDS: Final = {
    "Darker": "Denser", "darker": "denser", "undercuts are hatched": "undercuts are crossed",
    "Hatched blue is gouged": "Crossed is gouged", ": yellow is level, purple a wall": "",
    "Pale green": "White", "Hatched:": "Crossed:",
    "One colour a pass style": "One pattern a pass style", "differ in colour": "differ in pattern",
}  # fmt: skip


def in_hatching(colours: ColourMap) -> ColourMap:
    """The same map in patterns: areas, legend and marks."""
    paints = tuple(_hatched(colours, number) for number in range(len(colours.paints)))
    new_of = dict(zip(colours.paints, paints, strict=True))
    tone_of = {}
    for old, new in reversed(list(new_of.items())):
        # colours of strips are told by the light, or the shade, of their paint
        tone_of[old.dark] = tone_of[old.lit] = tone(new)
    scale = colours.scale
    if scale is not None:
        told = tuple(_banded(k, len(scale.colours)) for k in range(len(scale.colours)))
        scale = replace(scale, colours=tuple(tone(paint) for paint in told), paints=told)
    return replace(
        colours,
        paints=paints,
        rows=tuple(_row(row, new_of) for row in colours.rows),
        marks={zone: _mark(mark, new_of, tone_of) for zone, mark in colours.marks.items()},
        caption=_reworded(colours.caption),
        scale=scale,
        note=_reworded(colours.note),
        border=INK,
    )


def _reworded(caption: str) -> str:
    for colour_words, words in _WORDS.items():
        caption = caption.replace(colour_words, words)
    return caption


def tone(paint: Paint) -> Colour:
    """The grey that a hatching has from afar, in full light."""
    share = 0.0 if paint.hatch is None else paint.pattern.share
    if paint.pattern.is_crossed:
        share = 1.0 - (1.0 - share) ** 2
    level = round(paint.lit[0] * (1.0 - share) + INK[0] * share)
    return level, level, level


def _hatched(colours: ColourMap, number: int) -> Paint:
    paint = colours.paints[number]
    if paint in _BESIDE and not (colours.mode == "reach" and number < len(_OF_NAMES["reach"])):
        return _BESIDE[paint]
    if colours.scale is not None:
        # bands that are too fine for the bar to tell them apart run evenly through all of it
        return _banded(number, sum(1 for one in colours.paints if one not in _BESIDE))
    if colours.mode == "strategy":  # those that are advised nowhere have no paint
        number = next((k for k, lit in enumerate(STRATEGY_COLOURS.values()) if lit == paint.lit), len(STRATEGY_COLOURS))
    patterns = _OF_NAMES[colours.mode]
    if number >= len(patterns):
        return _GREY
    pattern = patterns[number]
    return _BLANK if pattern is None else Paint(PAPER, _SHADE, INK, pattern)


def _banded(number: int, count: int) -> Paint:
    low, high = _SCALE_SHARES
    share = float(np.interp(number, (0, max(count - 1, 1)), (low, high)))
    return Paint(PAPER, _SHADE, INK, Pattern(_SCALE_LEAN_DEG, _SCALE_SPACING_PX, share))


def _row(row: LegendRow, new_of: Mapping[Paint, Paint]) -> LegendRow:
    paint = new_of.get(row.mark.paint, _GREY if row.mark.paint == UNZONED else row.mark.paint)
    return replace(row, mark=Mark(paint, row.mark.lean_deg, INK))


def _mark(mark: Mark, new_of: Mapping[Paint, Paint], tone_of: Mapping[Colour, Colour]) -> Mark:
    strip = tuple((tone_of.get(colour, PAPER), share) for colour, share in mark.strip)
    paint = new_of.get(mark.paint, _BLANK)
    # a mark is too small for lines: its paint is the grey that they make
    return Mark(Paint(tone(paint), tone(paint)), mark.lean_deg, INK if tone(paint)[0] > 140 else PAPER, strip)
