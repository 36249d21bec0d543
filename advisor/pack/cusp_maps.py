"""Map of what the passes of the last stage leave, by the virtual cut, and the scale that its close-up shares."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.model import Plan, PlanRecord
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
from advisor.pack.lengths import length_unit
from advisor.pack.palette import LEFT_OUT, UNKNOWN, Paint
from advisor.pack.scales import MOST_BANDS, Scale, bands_of, ramp, round_edges, share_below
from advisor.units import UM_PER_MM

# Below the surface: a blue, far from the roses of the scale, and hatched for a grey copy.
GOUGE: Final = Paint((22, 128, 190), (12, 92, 142), hatch=(226, 240, 250))
# Bands are this share of the target; so many are drawn at least.
_OF_TARGET: Final = 0.25
_ROBUST_SHARE: Final = 0.99
_CAPTION: Final = (
    "Darker is more left: 95 % of each place stays within it. Hatched blue is gouged by more than the target."
)


def cusp_map(plan: Plan, cusp_um: NDArray[np.float32]) -> ColourMap:
    """Height that passes leave, what is cut below the surface, and what is not cut."""
    record, areas = plan.record, facet_areas(plan)
    height = cusp_um.astype(np.float64) * _per_um(record)
    cut, bare = np.isfinite(height) & (height >= 0.0), np.isnan(height)
    edges = cusp_edges(record, height[cut], areas[cut])
    count = max(0, len(edges) - 1)
    index = np.full(len(height), count + 1, np.uint8)
    if count:
        index[cut] = bands_of(height[cut], edges)
    index[height < 0.0] = count
    index[bare] = count + 2
    paints = (*(paint_of(colour, SHADE_OF_SCALES) for colour in ramp(count)), GOUGE, UNKNOWN, LEFT_OUT)
    shares = shares_of(index, areas, len(paints))
    sign = cusp_sign(record)
    scale = None
    if count:
        ticks = tuple((k / count, f"{edge:.4g}") for k, edge in enumerate(edges))
        is_open = bool(height[cut].max() > edges[-1])
        in_bands = tuple(float(share) for share in shares[:count])
        scale = Scale(ramp(count), ticks, sign, in_bands, open_high=is_open)
    return ColourMap(
        "cusp", "Cusp map", "height left by the passes", paints, index, _rows(record, paints, shares),
        marks_of(plan, areas, index, paints), _caption(record), scale, _note(record),
    )  # fmt: skip


def cusp_sign(record: PlanRecord) -> str:
    """Unit of cusps on the page."""
    return "µin" if length_unit(record).is_inch else "µm"


def _per_um(record: PlanRecord) -> float:
    unit = length_unit(record)
    return UM_PER_MM / unit.mm if unit.is_inch else 1.0


def cusp_words(record: PlanRecord, um: float) -> str:
    """A height in the unit of the page."""
    return f"{um * _per_um(record):.3g} {cusp_sign(record)}"


def cusp_edges(record: PlanRecord, height: NDArray[np.float64], areas: NDArray[np.float64]) -> tuple[float, ...]:
    """Edges of the bands, in the unit of the page: quarters of the target, round steps where there is none."""
    if len(height) == 0 or not areas.sum() > 0.0:
        return ()
    high = share_below(height, areas, _ROBUST_SHARE)
    target_um = record.stages[-1].cusp_target_um
    if target_um is None:
        return round_edges(0.0, high)
    step = target_um * _per_um(record) * _OF_TARGET
    count = min(max(math.ceil(high / step), round(1.0 / _OF_TARGET)), MOST_BANDS)
    return tuple(float(f"{k * step:.4g}") for k in range(count + 1))


def _caption(record: PlanRecord) -> str:
    facets_um, target_um = record.part.chord_error_um or 0.0, record.stages[-1].cusp_target_um or 0.0
    if facets_um <= target_um:
        return _CAPTION
    return f"{_CAPTION}  Facets are off by {cusp_words(record, facets_um)}."


def _rows(record: PlanRecord, paints: tuple[Paint, ...], shares: NDArray[np.float64]) -> tuple[LegendRow, ...]:
    gouge, unreached, bare = (float(share) for share in shares[-3:])
    deepest = [z.advice.gouge_um for z in record.zones if z.advice is not None and z.advice.gouge_um is not None]
    words = f"deepest {cusp_words(record, max(deepest))}" if gouge > 0.0 and deepest else "below the surface"
    return (
        named(paints[-3], "gouged", words, gouge),
        named(paints[-2], "no pass gets there", "", unreached),
        named(paints[-1], "not cut", "in this stage", bare),
    )


def _note(record: PlanRecord) -> str:
    laid = [zone.advice.cusp_um for zone in record.zones if zone.advice is not None and zone.advice.is_laid]
    target_um = record.stages[-1].cusp_target_um
    within = [cusp.p95 for cusp in laid if cusp.p95 is not None]
    greatest = [cusp.max for cusp in laid if cusp.max is not None]
    words = [] if target_um is None else [f"target {cusp_words(record, target_um)}"]
    words += [f"95 % of each zone within {cusp_words(record, max(within))}"] if within else []
    words += [f"greatest {cusp_words(record, max(greatest))}"] if greatest else []
    return ", ".join(words) or "No passes were laid."
