"""What a plan and a what-if both stand on: zones numbered, those to finish, tolerances, and copies."""

from __future__ import annotations

import numpy as np

from advisor import tolerances
from advisor.advice.complete import Accuracy
from advisor.advice.laid_numbers import CopyOf
from advisor.advice.overrides import ZoneWishes
from advisor.advice.settings import Settings
from advisor.part.mesh import Flags, Floats, Ints
from advisor.units import UM_PER_MM
from advisor.zones.classes import UNDERCUT
from advisor.zones.repeats import Family, find_repeats, repeat_tolerance_mm
from advisor.zones.zoning import Zoning


def zone_ids(zone_count: int, wishes: ZoneWishes) -> Ints:
    """Public number of every zone: 1..n over those that are not left out, -1 for these."""
    left_out = np.isin(np.arange(zone_count), list(wishes.excluded))
    return np.where(left_out, -1, np.cumsum(~left_out)).astype(np.int32)


def finished_zones(zoning: Zoning, ids: Ints, wishes: ZoneWishes, is_small: Flags) -> Flags:
    """(z,) zones that a ball is to finish in this set-up."""
    number = np.arange(len(ids))
    kept = (ids > 0) & ~is_small & ~np.isin(number, list(wishes.protected))
    return np.asarray(kept & (zoning.zone_class != UNDERCUT))


def reach_tolerance_mm(settings: Settings, facets_um: float | None) -> float:
    """How deep a cutter may go into facets, which lie off the surface by their chord error: see ``cutter.reach``."""
    facets_mm = 0.0 if facets_um is None else facets_um / UM_PER_MM
    return max(settings.job.path_tolerance, tolerances.REACH_CHORD_ERRORS * facets_mm)


def pass_depth_mm(settings: Settings, off_mm: float) -> float:
    """How deep passes may go into facets: what these may stand off the surface, but no deeper than the tolerance.

    A file whose facets stand further off than what the job, or else a usual tolerance, allows cannot say where the
    surface lies: stock that stays there is told, a cut would be for ever.
    """
    job = settings.job
    most = tolerances.PASS_DEEPEST_MM if job.tolerance is None else job.tolerance
    return min(off_mm, max(most, job.path_tolerance))


def accuracy_of(settings: Settings, facets_um: float | None) -> Accuracy:
    """What the error budget of every zone has in common."""
    job = settings.job
    tolerance = None if job.tolerance is None else job.tolerance * UM_PER_MM
    return Accuracy(facets_um, job.path_tolerance * UM_PER_MM, tolerance)


def families_of(zoning: Zoning, axis: Floats, facets_um: float | None, is_small: Flags) -> tuple[Family, ...]:
    """Zones, and groups of them, that are alike; small features are not asked."""
    mesh = zoning.surface.mesh
    tolerance = repeat_tolerance_mm(mesh, None if facets_um is None else facets_um / UM_PER_MM)
    return find_repeats(mesh, zoning.zone, zoning.zone_class, axis, tolerance, is_small)


def copies_of(families: tuple[Family, ...]) -> dict[int, CopyOf]:
    """Zones that are moved copies of another, by number."""
    moved = {
        zone: CopyOf(model, family.turn_deg[place], family.shift_mm[place])
        for family in families
        for place, members in enumerate(family.members)
        if not family.is_mirrored[place]
        for model, zone in zip(family.members[0], members, strict=True)
    }
    return {zone: copy for zone, copy in moved.items() if copy.model != zone}
