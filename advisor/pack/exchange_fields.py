"""What files for other programs tell of facets and zones: fields by name, and where a zone's number may stand."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from advisor.model import FacetArrays, Plan, PlanRecord, Zone
from advisor.pack.colour_map import facet_areas

Field = NDArray[np.generic]

# Not numbers of a whole facet.
_NO_FIELDS: Final = ("vertices", "faces", "parts")


def facet_fields(facets: FacetArrays) -> dict[str, Field]:
    """Arrays with a number for every facet, under the names of ``facets.npz``; those that were not worked out are not
    there."""
    named = {each.name: getattr(facets, each.name) for each in fields(facets)}
    return {
        name: array
        for name, array in named.items()
        if array is not None and name not in _NO_FIELDS and not name.startswith("part_")
    }


def facet_corners(facets: FacetArrays) -> NDArray[np.float64]:
    """(m, 3, 3) corners, mm."""
    return np.asarray(facets.vertices, np.float64)[facets.faces]


def zone_facts(zone: Zone, record: PlanRecord) -> dict[str, Any]:
    """The few facts of a zone that travel with a mesh; what is not known is left out."""
    facts: dict[str, Any] = {
        "zone": zone.id,
        "name": zone.name,
        "setup": zone.setup,
        "slope_class": zone.slope_class,
        "shape": zone.shape,
        "area_mm2": zone.area_mm2,
    }
    if zone.advice is not None and zone.advice.usable:
        advice = zone.advice
        facts |= {
            "strategy": advice.strategy,
            "stage": advice.stage,
            "tool": record.tools[advice.tool].name,
            "stepover_mm": advice.stepover_mm,
            "line_spacing_mm": advice.line_spacing_mm,
            "z_step_mm": advice.z_step_mm,
            "direction_deg": advice.direction_deg,
            "total_min": advice.total_min,
        }
    return {name: value for name, value in facts.items() if value is not None}


def zone_middles(plan: Plan) -> dict[int, NDArray[np.float64]]:
    """By zone, (3,) the middle of that facet of it which lies nearest to the middle of its area, mm."""
    middles = facet_corners(plan.facets).mean(axis=1)
    areas = facet_areas(plan)
    found = {}
    for zone in plan.zones:
        own = np.flatnonzero(plan.facets.zone == zone.id)
        if len(own) == 0:
            continue
        weights = areas[own]
        centre = middles[own].mean(axis=0) if not weights.sum() > 0.0 else weights @ middles[own] / weights.sum()
        found[zone.id] = middles[own[np.linalg.norm(middles[own] - centre, axis=1).argmin()]]
    return found
