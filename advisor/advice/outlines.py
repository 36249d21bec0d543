"""Outlines of the zones of a plan: what the record says of them, and the loops themselves when they are asked for."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from advisor.advice.settings import Settings
from advisor.model import SMALL_FEATURES_SHAPE, OutlineArrays, Zone, ZoneOutline
from advisor.part.mesh import Flags, Floats, Ints
from advisor.units import UM_PER_MM
from advisor.zones.outline import Outline, outline_arrays, zone_outlines
from advisor.zones.pushed_outline import pushed_outlines
from advisor.zones.zoning import Zoning

# Told to a nanometre: less is rounding of the machine.
_PLACES_UM = 3


@dataclass(frozen=True)
class PlanOutlines:
    """Outlines of zones as they are, and what is needed to push them out over the neighbours.

    Attributes
    ----------
    zoning : Zoning
    boundaries : list of lists of Outline
        Of every zone.
    axis : (3,) tool axis
    ids : (z,) public number of every zone, -1 where the job leaves it out
    overlap_mm : (z,) how far each is pushed out, NaN where it is not
    takes : (z,) zones that have passes of their own: the others run out over these only
    """

    zoning: Zoning
    boundaries: list[list[Outline]]
    axis: Floats
    ids: Ints
    overlap_mm: Floats
    takes: Flags

    def arrays(self) -> OutlineArrays:
        """The outlines of every zone that is not left out, each followed by its overlap loops."""
        pushed = pushed_outlines(
            self.zoning.surface, self.zoning.zone, self.boundaries, self.axis, self.overlap_mm, self.takes,
            self.zoning.line_deviation_mm,
        )  # fmt: skip
        told = [
            outline
            for number in np.flatnonzero(self.ids > 0)
            for outline in (*self.boundaries[number], *pushed[number])
        ]
        return outline_arrays(told, self.ids)


def boundaries_of(zoning: Zoning, axis: Floats) -> list[list[Outline]]:
    """Outlines of every zone, in the order of their numbers."""
    return zone_outlines(zoning.surface, zoning.zone, axis, zoning.line_deviation_mm)


def plan_outlines(
    zoning: Zoning, boundaries: list[list[Outline]], axis: Floats, ids: Ints, zones: tuple[Zone, ...]
) -> PlanOutlines:
    """What the outlines of a plan are drawn from, its zones being known."""
    overlap = np.full(len(ids), np.nan)
    takes = np.zeros(len(ids), np.bool_)
    by_id = {zone.id: zone for zone in zones}
    for number in np.flatnonzero(ids > 0):
        zone = by_id[int(ids[number])]
        told = None if zone.outline is None else zone.outline.overlap_mm
        overlap[number] = told or np.nan
        takes[number] = _has_passes(zone)
    return PlanOutlines(zoning, boundaries, axis, ids, overlap, takes)


def outline_record(outlines: list[Outline], overlap_mm: float | None) -> ZoneOutline:
    """What ``plan.json`` says of a zone's outline."""
    return ZoneOutline(
        loops=len(outlines),
        holes=sum(outline.is_hole for outline in outlines),
        length_mm=math.fsum(outline.length_mm for outline in outlines),
        overlap_mm=overlap_mm,
        deviation_um=round(max((outline.deviation_mm for outline in outlines), default=0.0) * UM_PER_MM, _PLACES_UM),
    )


def overlap_of(zone: Zone, settings: Settings) -> float | None:
    """How far the last stage's passes of a zone run out over its smooth borders, mm: so many stepovers.

    None where the zone is not cut, and, where no advice was asked for, unless the stage itself states a stepover.
    """
    if not _has_passes(zone):
        return None
    step = settings.stages[-1].target.step_mm if zone.advice is None else zone.advice.stepover_mm
    return None if step is None else settings.job.zones.overlap * step


def blend_words(zone: Zone) -> tuple[str, ...]:
    """What to do where a level zone's passes run out over a smooth border."""
    if zone.outline is None or not zone.outline.overlap_mm or zone.slope_class != "flat":
        return ()
    near = [neighbour.zone for neighbour in zone.neighbours if neighbour.joint == "tangent"]
    if not near:
        return ()
    listed = ", ".join(str(number) for number in sorted(set(near)))
    return (
        f"Where it runs out over zone{'s' if len(set(near)) > 1 else ''} {listed} lift its passes slightly: a mark "
        "shows more on a floor than on the blend beside it (common practice, no source).",
    )


def _has_passes(zone: Zone) -> bool:
    """Whether a ball finishes the zone in this plan; where no advice was asked for, whether it could."""
    if zone.advice is not None:
        return zone.advice.usable
    return not zone.is_protected and zone.slope_class != "undercut" and zone.shape != SMALL_FEATURES_SHAPE
