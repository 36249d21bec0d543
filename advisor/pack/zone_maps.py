"""Maps of what the plan says of zones: slope class, slope, strategy, and the zones themselves."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.advice.choose import IN_WORDS
from advisor.model import SLOPE_CLASSES, STRATEGIES, Plan, Strategy, Zone
from advisor.pack.colour_map import (
    SHADE_OF_SCALES,
    ColourMap,
    LegendRow,
    facet_areas,
    marks_of,
    named,
    paint_of,
    shares_of,
)
from advisor.pack.palette import (
    CLASS_STYLES,
    NOT_ADVISED,
    SLOPE_RAMP,
    STRATEGY_COLOURS,
    UNZONED,
    ZONE_COLOURS,
    Paint,
)
from advisor.pack.picture_key import UNZONED_MARK, class_mark, class_ranges, is_small, mark_of
from advisor.pack.scales import Scale
from advisor.units import angle_deg

CLASS_PAINTS: Final[tuple[Paint, ...]] = (*(CLASS_STYLES[name].paint for name in SLOPE_CLASSES), UNZONED)
_WALL_DEG: Final = 90.0
# Paints of the slope map: a step is a third of a degree, less than the eye tells.
_SLOPE_PAINTS: Final = 250
_SLOPE_TICKS_DEG: Final = (0, 15, 30, 45, 60, 75, 90)
_PASSES: Final = "Distance of passes: along the surface, and Z along the tool axis or XY between lines in plan."
_NEIGHBOURS: Final = "Neighbours differ in colour; it means nothing more."


def class_map(plan: Plan) -> ColourMap:
    """Slope classes, each place by the class it lies in."""
    record = plan.record
    total = sum(zone.area_mm2 for zone in record.zones) or 1.0
    ranges = class_ranges(record)
    big = [zone for zone in record.zones if not is_small(zone)]
    rows = [
        LegendRow(class_mark(name), name, ranges[name], sum(getattr(zone.class_area_mm2, name) for zone in big) / total)
        for name in SLOPE_CLASSES
    ]
    return ColourMap(
        "class", "Zone map", "slope class", CLASS_PAINTS, class_index(plan), (*rows, *_small_row(plan)),
        {zone.id: mark_of(zone) for zone in plan.zones},
        f"Steeper is darker, and the mark leans as the surface does; undercuts are hatched.  {_PASSES}",
    )  # fmt: skip


def class_index(plan: Plan) -> NDArray[np.uint8]:
    """(m,) index in ``CLASS_PAINTS``: the last one for small features and what the job leaves out."""
    plain = [zone.id for zone in plan.zones if is_small(zone)]
    bare = np.isin(plan.facets.zone, [-1, *plain])
    return np.where(bare, len(CLASS_PAINTS) - 1, plan.facets.slope_class).astype(np.uint8)


def slope_map(plan: Plan) -> ColourMap:
    """Slope of the smooth surface on an even scale; undercuts lie off it."""
    wall_deg = _WALL_DEG + _wall_tolerance_deg(plan)
    colours = [(int(r), int(g), int(b)) for r, g, b in slope_colours(np.linspace(0.0, _WALL_DEG, _SLOPE_PAINTS))]
    paints = (*(paint_of(colour, SHADE_OF_SCALES) for colour in colours), UNZONED)
    slope = plan.facets.smooth_slope_deg
    index = np.where(slope > wall_deg, _SLOPE_PAINTS, slope_steps(slope)).astype(np.uint8)
    areas = facet_areas(plan)
    off = float(shares_of(index, areas, len(paints))[-1])
    return ColourMap(
        "slope", "Slope map", "slope", paints, index,
        (named(UNZONED, "undercut", f"over {wall_deg:g}°, off the scale", off),),
        marks_of(plan, areas, index, paints, together=25),
        f"Steeper is darker: yellow is level, purple a wall.  {_PASSES}",
        Scale(tuple(colours), tuple((deg / _WALL_DEG, f"{deg}°") for deg in _SLOPE_TICKS_DEG), "°"),
    )  # fmt: skip


def slope_steps(slope_deg: NDArray[np.float64]) -> NDArray[np.intp]:
    """(m,) number of the step of the scale nearest to each slope; beyond either end that of the end."""
    steps = np.rint(slope_deg * ((_SLOPE_PAINTS - 1) / _WALL_DEG))
    return np.clip(steps, 0, _SLOPE_PAINTS - 1).astype(np.intp)


def slope_colours(slope_deg: NDArray[np.float64]) -> NDArray[np.uint8]:
    """(m, 3) colours of slopes from 0 to 90 degrees; beyond either end the colour of the end."""
    places = np.linspace(0.0, _SLOPE_PAINTS - 1, len(SLOPE_RAMP))
    ramp = np.array(SLOPE_RAMP, dtype=np.float64)
    steps = np.arange(_SLOPE_PAINTS)
    table = np.stack([np.interp(steps, places, ramp[:, k]) for k in range(3)], axis=1)
    return np.rint(table).astype(np.uint8)[slope_steps(slope_deg)]


def strategy_map(plan: Plan) -> ColourMap:
    """The pass style advised for each zone."""
    used = {_strategy(zone) for zone in plan.zones}
    names = [name for name in STRATEGIES if name in used]
    paints = (*(paint_of(STRATEGY_COLOURS[name]) for name in names), Paint(NOT_ADVISED, UNZONED.dark))
    number: dict[Strategy | None, int] = {name: k for k, name in enumerate(names)}
    index = spread(plan, lambda zone: number.get(_strategy(zone), len(names)), len(names))
    areas = facet_areas(plan)
    shares = shares_of(index, areas, len(paints))
    rows = [named(paints[k], IN_WORDS[name], "", float(shares[k])) for k, name in enumerate(names)]
    if None in used:
        rows.append(named(paints[-1], "no pass in this set-up", "", float(shares[-1])))
    return ColourMap(
        "strategy", "Strategy map", "strategy", paints, index, tuple(rows), marks_of(plan, areas, index, paints),
        f"One colour a pass style, the one advised for the zone.  {_PASSES}",
    )  # fmt: skip


def zone_map(plan: Plan) -> ColourMap:
    """Zones told from their neighbours."""
    paints = (*(paint_of(colour) for colour in ZONE_COLOURS), UNZONED)
    chosen = zone_paints(plan.zones)
    index = spread(plan, lambda zone: chosen.get(zone.id, len(ZONE_COLOURS)), len(ZONE_COLOURS))
    return ColourMap(
        "zone", "Zone map", "zone", paints, index, _small_row(plan),
        marks_of(plan, facet_areas(plan), index, paints), _PASSES, note=_NEIGHBOURS,
    )  # fmt: skip


def zone_paints(zones: tuple[Zone, ...]) -> dict[int, int]:
    """A colour a zone, largest first: of those that no neighbour has yet, the one used least; none for small ones."""
    chosen: dict[int, int] = {}
    used = [0] * len(ZONE_COLOURS)
    for zone in zones:
        if is_small(zone):
            continue
        taken = {chosen.get(near.zone) for near in zone.neighbours}
        free = [k for k in range(len(ZONE_COLOURS)) if k not in taken] or list(range(len(ZONE_COLOURS)))
        chosen[zone.id] = min(free, key=lambda k: (used[k], k))
        used[chosen[zone.id]] += 1
    return chosen


def _strategy(zone: Zone) -> Strategy | None:
    return zone.advice.strategy if zone.advice is not None and zone.advice.usable else None


def _small_row(plan: Plan) -> tuple[LegendRow, ...]:
    small = [zone for zone in plan.zones if is_small(zone)]
    if not small:
        return ()
    total = sum(zone.area_mm2 for zone in plan.zones) or 1.0
    words = f"{sum(zone.features for zone in small)}, noted together"
    return (LegendRow(UNZONED_MARK, "small features", words, sum(zone.area_mm2 for zone in small) / total),)


def _wall_tolerance_deg(plan: Plan) -> float:
    values = [s.value for s in plan.record.settings if s.name.rpartition(".")[2] == "wall_tolerance"]
    return angle_deg(values[0]) if values else 0.0


def spread(plan: Plan, paint_of_zone: Callable[[Zone], int], bare: int) -> NDArray[np.uint8]:
    """(m,) number of the paint of each facet, which its zone tells; ``bare`` where it has no zone."""
    # zone -1 reads the last row, which no zone has
    by_zone = np.full(max((zone.id for zone in plan.zones), default=0) + 2, bare, dtype=np.uint8)
    for zone in plan.zones:
        by_zone[zone.id] = paint_of_zone(zone)
    return by_zone[plan.facets.zone]
