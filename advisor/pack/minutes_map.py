"""Map of where the time goes: minutes of each zone, all stages together."""

from __future__ import annotations

from typing import Final

import numpy as np

from advisor.model import Plan, Zone
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
from advisor.pack.palette import LEFT_OUT
from advisor.pack.scales import Scale, bands_of, ramp, round_edges
from advisor.pack.zone_maps import spread

_CAPTION: Final = "Darker takes longer: a zone's minutes over all stages, ways between passes counted in."


def zone_minutes(zone: Zone) -> float:
    """Minutes of a zone over all stages, NaN where it is not cut or no feed is known."""
    told = [step.total_min for step in zone.steps if step.usable]
    if not told or any(minutes is None for minutes in told):
        return float("nan")
    return float(sum(minutes for minutes in told if minutes is not None))


def knows_minutes(plan: Plan) -> bool:
    """Whether the plan knows how long any of its zones takes."""
    return bool(np.isfinite([zone_minutes(zone) for zone in plan.zones]).any())


def minutes_map(plan: Plan) -> ColourMap:
    """Zones by their minutes, on a scale from 0."""
    minutes = {zone.id: zone_minutes(zone) for zone in plan.zones}
    known = np.array([value for value in minutes.values() if np.isfinite(value)])
    edges = round_edges(0.0, float(known.max(initial=0.0)))
    count = len(edges) - 1
    paints = (*(paint_of(colour, SHADE_OF_SCALES) for colour in ramp(count)), LEFT_OUT)

    def band(zone: Zone) -> int:
        value = minutes[zone.id]
        return count if np.isnan(value) else int(bands_of(np.array([value]), edges)[0])

    index, areas = spread(plan, band, count), facet_areas(plan)
    shares = shares_of(index, areas, len(paints))
    return ColourMap(
        "minutes", "Minutes map", "minutes of a zone", paints, index, _rows(float(shares[count])),
        marks_of(plan, areas, index, paints), _CAPTION,
        Scale(ramp(count), tuple((k / count, f"{edge:g}") for k, edge in enumerate(edges)), "min",
              tuple(float(share) for share in shares[:count])),
        f"{float(known.sum()):.3g} min in all, the longest zone {float(known.max(initial=0.0)):.3g} min",
    )  # fmt: skip


def _rows(left_out: float) -> tuple[LegendRow, ...]:
    return (named(LEFT_OUT, "not cut", "or not known", left_out),) if left_out > 0.0 else ()
