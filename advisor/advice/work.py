"""What the advice for all zones of a part has in common: map, reach of the tools, copies, wishes, tolerances."""

from __future__ import annotations

import contextvars
from collections.abc import Callable, Hashable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from enum import Enum
from functools import partial

import numpy as np

from advisor import tolerances
from advisor.advice.complete import Accuracy
from advisor.advice.draw_zones import Drawn, draw_zones, map_key
from advisor.advice.ground import (
    accuracy_of,
    copies_of,
    families_of,
    finished_zones,
    pass_depth_mm,
    reach_tolerance_mm,
    zone_ids,
)
from advisor.advice.kept import Kept
from advisor.advice.laying import PassLayer
from advisor.advice.outlines import boundaries_of
from advisor.advice.overrides import ZoneWishes, zone_wishes
from advisor.advice.pass_arrays import PassBook
from advisor.advice.progress import REACH_FROM, ZONES_FROM, Progress
from advisor.advice.reach import OF_A_PLAN, OF_A_QUOTE, PartReach, part_reach
from advisor.advice.reach_carried import carried_reach
from advisor.advice.settings import Settings, tools_asked
from advisor.advice.setup_parts import SetupPart
from advisor.advice.zone_fits import fit_tolerance_mm, zone_fits
from advisor.advice.zone_records import ZoneMeasures
from advisor.errors import InputError
from advisor.job import Tool
from advisor.model import SMALL_FEATURES_SHAPE, FittedSurface
from advisor.part.coarseness import chord_error_um
from advisor.part.measured import MeasuredPart
from advisor.part.mesh import Flags, Ints, Mesh
from advisor.passes.sunk_facets import sunk_facets
from advisor.zones.outline import Outline
from advisor.zones.repeats import Family


class Depth(Enum):
    """How far the advice goes into things.

    A sketch leaves out copies and fitted surfaces and asks some facets of large zones for all; for a quote fewer points
    are asked what tools reach, too, and what zones would cost split is not weighed.
    """

    PLAN = "plan"
    SKETCH = "sketch"
    QUOTE = "quote"


@dataclass(frozen=True)
class Work:
    """What the advice for all zones has in common.

    Attributes
    ----------
    key : what the map hangs on
    reach_key : what the reach hangs on; None where nothing was asked
    facets_um : chord error of the facets
    off_mm : stock that counts as nothing
    depth : how far the advice goes
    ids : (z,) public number of every zone, -1 for those left out
    finished : (z,) zones that a ball is to finish
    layer : lays passes; None where lengths are area over spacing
    """

    part: MeasuredPart | SetupPart
    settings: Settings
    drawn: Drawn
    key: Hashable
    wishes: ZoneWishes
    ids: Ints
    finished: Flags
    facets_um: float | None
    off_mm: float
    depth: Depth
    accuracy: Accuracy
    families: tuple[Family, ...]
    fits: list[FittedSurface | None]
    outlines: list[list[Outline]]
    measures: list[ZoneMeasures]
    asked: tuple[Tool, ...]
    reach: PartReach | None
    reach_key: Hashable
    in_the_way: Mesh
    layer: PassLayer | None
    book: PassBook
    kept: Kept


def work_for(
    part: MeasuredPart | SetupPart,
    settings: Settings,
    kept: Kept,
    progress: Progress,
    *,
    asks_reach: bool = True,
    depth: Depth = Depth.PLAN,
    lays_passes: bool = False,
    whole: MeasuredPart | None = None,
) -> Work:
    """The map of a part and what tools reach of it, from what is kept where a change has not touched it.

    Parameters
    ----------
    asks_reach : bool
        Not where a plan stops after the zones.
    depth : Depth
        Where it is no plan, what tools reach is taken from the newest map that is kept, point by point, where the tools
        are the same: an estimate that costs nothing. Else it is asked.
    """
    progress("zones", ZONES_FROM)
    axis = np.asarray(settings.axis)
    key = map_key(settings)
    hides = None if whole is None else whole.mesh
    drawn = draw_zones(part.mesh, part.smooth, part.bends, settings, hides, kept)
    zoning = drawn.zoning
    zones, most = len(zoning.zone_class), tolerances.MOST_ZONES
    if asks_reach and zones > most:
        raise InputError(
            part.record.file,
            f"falls into {zones:,} zones, more than are advised on at once ({most:,})",
            "plan its bodies one by one, or stop after the zones with --only zones",
        )
    # nothing below waits for the measures, and both are kernels in the main
    beside = ThreadPoolExecutor(1)
    measures = beside.submit(contextvars.copy_context().run, lambda: drawn.measures)
    beside.shutdown(wait=False)
    shapes = [told.shape for told in drawn.shapes]
    wishes = zone_wishes(zoning, shapes, settings.job.zone, settings.subject)
    ids = zone_ids(len(shapes), wishes)
    facets_um = kept.once(
        "chord error", None, lambda: chord_error_um(part.mesh, part.smooth, part.record.chord_error_um)
    )
    is_small = np.array([shape == SMALL_FEATURES_SHAPE for shape in shapes])
    fits: list[FittedSurface | None] = [None] * len(shapes)
    families: tuple[Family, ...] = ()
    if depth is Depth.PLAN:
        fits = kept.once("fits", key, lambda: zone_fits(zoning, ~is_small, axis, fit_tolerance_mm(facets_um)))
        families = kept.once("copies", key, lambda: families_of(zoning, axis, facets_um, is_small))
    finished = finished_zones(zoning, ids, wishes, is_small)
    off_mm = reach_tolerance_mm(settings, facets_um)
    asked, in_the_way = tools_asked(settings), part if whole is None else whole
    reach, reach_key = None, None
    if asks_reach:
        progress("reach", REACH_FROM)
        clearance = settings.job.clearance
        tools_key = (settings.axis, asked, off_mm, clearance, depth is Depth.QUOTE)
        ask = partial(
            part_reach, in_the_way.mesh, zoning, finished, axis, asked, off_mm, clearance,
            OF_A_QUOTE if depth is Depth.QUOTE else OF_A_PLAN,
        )  # fmt: skip
        reach, reach_key = _reach(kept, drawn, (key, finished.tobytes()), tools_key, ask, depth is not Depth.PLAN)
    layer = None
    if lays_passes and reach is not None:
        sunk = sunk_facets(in_the_way.mesh, in_the_way.smooth, axis, pass_depth_mm(settings, off_mm))
        layer = PassLayer(zoning, part.bends, sunk, axis, finished, settings.job, off_mm, copies_of(families))
    return Work(
        part, settings, drawn, key, wishes, ids, finished, facets_um, off_mm, depth,
        accuracy_of(settings, facets_um), families, fits,
        kept.once("outlines", key, lambda: boundaries_of(zoning, axis)),
        measures.result(), asked, reach, reach_key, in_the_way.mesh, layer, PassBook(), kept,
    )  # fmt: skip


def _reach(
    kept: Kept, drawn: Drawn, map_and_zones: Hashable, tools: Hashable, ask: Callable[[], PartReach], carries: bool
) -> tuple[PartReach, Hashable]:
    """What tools reach of a map, and what it hangs on."""
    key = (map_and_zones, tools)
    newest = kept.newest("reach") if carries else None
    if newest is not None:
        told, (reach, surface) = newest
        if told != key and isinstance(told, tuple) and told[1] == tools:
            return carried_reach(reach, surface, drawn.zoning), ("carried", told, key)
    return kept.once("reach", key, lambda: (ask(), drawn.zoning.surface))[0], key
