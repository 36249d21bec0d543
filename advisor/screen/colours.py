"""Colours of facets in each way of looking at a plan, and what the colours mean."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from advisor.advice.choose import IN_WORDS
from advisor.model import SLOPE_CLASSES, STRATEGIES, Plan, Strategy, Zone
from advisor.pack.palette import CLASS_STYLES, UNZONED, Colour
from advisor.pack.picture_key import class_ranges, is_small
from advisor.units import angle_deg

ColourMode = Literal["class", "slope", "strategy", "zone"]
COLOUR_MODES: Final[tuple[ColourMode, ...]] = ("class", "slope", "strategy", "zone")
FacetColours = NDArray[np.uint8]

# Every fifteenth colour of "viridis" (van der Walt & Smith, CC0; values as in matplotlib 3), last to first: like
# the classes, the steeper the darker. Straight lines between them stay within 5 of 255 of the full table.
_SLOPE_RAMP: Final[tuple[Colour, ...]] = (
    (253, 231, 37), (216, 226, 25), (176, 221, 47), (137, 213, 72), (101, 203, 94), (70, 192, 111),
    (46, 179, 124), (33, 165, 133), (31, 151, 139), (35, 137, 142), (41, 123, 142), (46, 109, 142),
    (53, 94, 141), (61, 78, 138), (67, 61, 132), (71, 42, 122), (72, 23, 105), (68, 1, 84),
)  # fmt: skip
_WALL_DEG: Final = 90.0

# Green, orange and reddish purple of the set of Okabe & Ito, a little lighter: no hue of a slope class.
STRATEGY_COLOURS: Final[dict[Strategy, Colour]] = {
    "parallel_line": (242, 178, 51),
    "constant_z": (20, 150, 118),
    "constant_cusp": (214, 143, 184),
}
NOT_ADVISED: Final[Colour] = UNZONED.lit

# Colours that tell one zone from the next, most of the same set; neighbours take different ones.
ZONE_COLOURS: Final[tuple[Colour, ...]] = (
    (96, 188, 240), (242, 178, 51), (20, 150, 118), (214, 143, 184), (246, 233, 82), (44, 62, 120),
    (224, 100, 16), (150, 138, 190),
)  # fmt: skip

# What faded facets keep of their colour, and the grey that takes the rest.
_KEPT_SHARE: Final = 0.10
_FADED_GREY: Final = np.array([232.0, 234.0, 237.0])


@dataclass(frozen=True)
class Legend:
    """What the colours mean: a heading, the ends of a ramp in degrees where there is one, rows and a note."""

    heading: str
    ramp: bool = False
    rows: tuple[tuple[Colour, str], ...] = ()
    note: str = ""


def facet_colours(plan: Plan, mode: ColourMode) -> FacetColours:
    """(m, 3) colours of the facets in one way of looking."""
    if mode == "slope":
        return _slope_colours(plan)
    if mode == "zone":
        by_zone = _zone_colours(plan.zones)
        return _spread(plan, lambda zone: by_zone[zone.id])
    return _class_colours(plan) if mode == "class" else _spread(plan, _strategy_colour)


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


def legend(plan: Plan, mode: ColourMode) -> Legend:
    """What the colours of a way of looking mean; only what the part has."""
    if mode == "class":
        ranges = class_ranges(plan.record)
        named = [zone for zone in plan.zones if not is_small(zone)]
        shown = [name for name in SLOPE_CLASSES if any(getattr(zone.class_area_mm2, name) > 0 for zone in named)]
        rows = [(CLASS_STYLES[name].paint.lit, f"{name}  {ranges[name]}".strip()) for name in shown]
        return Legend("slope class", rows=(*rows, *_small_row(plan)))
    if mode == "slope":
        words = f"undercut  over {_WALL_DEG + _wall_tolerance_deg(plan):g}°, or hidden"
        return Legend("slope", ramp=True, rows=((UNZONED.lit, words),))
    if mode == "strategy":
        used = {zone.advice.strategy for zone in plan.zones if zone.advice is not None and zone.advice.usable}
        rows = [(STRATEGY_COLOURS[name], IN_WORDS[name]) for name in STRATEGIES if name in used]
        bare = any(zone.advice is None or not zone.advice.usable for zone in plan.zones)
        return Legend("strategy", rows=(*rows, *([(NOT_ADVISED, "no pass in this set-up")] if bare else [])))
    return Legend("zone", rows=_small_row(plan), note="Neighbours differ in colour; it means nothing more.")


def slope_colours(slope_deg: NDArray[np.float64]) -> FacetColours:
    """(m, 3) colours of slopes from 0 to 90 degrees; beyond either end the colour of the end."""
    places = np.linspace(0.0, _WALL_DEG, len(_SLOPE_RAMP))
    # a table of tenths of a degree: a million facets take milliseconds
    tenths = np.linspace(0.0, _WALL_DEG, 901)
    ramp = np.array(_SLOPE_RAMP, dtype=np.float64)
    table = np.stack([np.interp(tenths, places, ramp[:, k]) for k in range(3)], axis=1)
    index = np.clip(np.rint(slope_deg * 10.0), 0, 900).astype(np.int32)
    return np.rint(table).astype(np.uint8)[index]


def _slope_colours(plan: Plan) -> FacetColours:
    colours = slope_colours(plan.facets.smooth_slope_deg)
    colours[plan.facets.smooth_slope_deg > _WALL_DEG + _wall_tolerance_deg(plan)] = UNZONED.lit
    return colours


def _wall_tolerance_deg(plan: Plan) -> float:
    values = [s.value for s in plan.record.settings if s.name.rpartition(".")[2] == "wall_tolerance"]
    return angle_deg(values[0]) if values else 0.0


def _spread(plan: Plan, colour_of: Callable[[Zone], Colour]) -> FacetColours:
    # zone -1 reads the last row, which no zone has
    by_zone = np.full((max((zone.id for zone in plan.zones), default=0) + 2, 3), UNZONED.lit, dtype=np.uint8)
    for zone in plan.zones:
        by_zone[zone.id] = colour_of(zone)
    return by_zone[plan.facets.zone]


def _class_colours(plan: Plan) -> FacetColours:
    by_class = np.array([CLASS_STYLES[name].paint.lit for name in SLOPE_CLASSES], dtype=np.uint8)
    colours = by_class[plan.facets.slope_class]
    small = [zone.id for zone in plan.zones if is_small(zone)]
    colours[np.isin(plan.facets.zone, [-1, *small])] = UNZONED.lit
    return colours


def _strategy_colour(zone: Zone) -> Colour:
    if zone.advice is None or not zone.advice.usable:
        return NOT_ADVISED
    return STRATEGY_COLOURS[zone.advice.strategy]


def _zone_colours(zones: tuple[Zone, ...]) -> dict[int, Colour]:
    """A colour a zone, largest first: of those that no neighbour has yet, the one used least."""
    chosen: dict[int, int] = {}
    used = [0] * len(ZONE_COLOURS)
    for zone in zones:
        if is_small(zone):
            continue
        taken = {chosen.get(near.zone) for near in zone.neighbours}
        free = [k for k in range(len(ZONE_COLOURS)) if k not in taken] or list(range(len(ZONE_COLOURS)))
        chosen[zone.id] = min(free, key=lambda k: (used[k], k))
        used[chosen[zone.id]] += 1
    return {zone.id: ZONE_COLOURS[chosen[zone.id]] if zone.id in chosen else UNZONED.lit for zone in zones}


def _small_row(plan: Plan) -> tuple[tuple[Colour, str], ...]:
    return ((UNZONED.lit, "small features"),) if any(is_small(zone) for zone in plan.zones) else ()
