"""The one door: a part and a job become a plan."""

from __future__ import annotations

import datetime
import math
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, version

import numpy as np
from numpy.typing import NDArray

from advisor.advice.bare_places import bare_places
from advisor.advice.cautions import cautions, of_bare_places
from advisor.advice.close_up import close_up, side_of, with_close_up, worst_place
from advisor.advice.cusp_field import cusp_field, zone_places
from advisor.advice.kept import NOT_KEPT, Kept
from advisor.advice.laying import PassLayer
from advisor.advice.leftovers import Leftovers, leftovers
from advisor.advice.outlines import plan_outlines
from advisor.advice.progress import ADVICE_FROM, DONE, Progress, silent, within
from advisor.advice.reach import PartReach
from advisor.advice.settings import Settings
from advisor.advice.setup_parts import SetupPart
from advisor.advice.stage_records import stage_records, title_record, tool_records
from advisor.advice.tilts import table_axis, table_turn_deg, with_tilts
from advisor.advice.tool_sequence import tool_sequence
from advisor.advice.totals import totals_of
from advisor.advice.work import Depth, Work, work_for
from advisor.advice.zones_of_plan import zones_of_plan
from advisor.errors import DISTRIBUTION
from advisor.model import (
    SCHEMA,
    FacetArrays,
    MapPrice,
    PassArrays,
    Plan,
    PlanRecord,
    Setting,
    Setup,
    ToolSequence,
    Zone,
)
from advisor.part.measured import MeasuredPart, looks_inside_out
from advisor.part.mesh import Ints
from advisor.part.smooth import SmoothSurface
from advisor.zones.zoning import Zoning

_SAYS_IN_SHORT = (
    "Planned in short: places left over, copies, tilts, outline files and the sequence of tools are not in it, and "
    "what tools reach comes from few points. Plan the part by itself before it is programmed."
)


def advise(
    part: MeasuredPart | SetupPart,
    settings: Settings,
    *,
    only_zones: bool = False,
    lays_passes: bool = False,
    whole: MeasuredPart | None = None,
    progress: Progress = silent,
    kept: Kept = NOT_KEPT,
) -> Plan:
    """Zones of a part in one set-up, and advice for each.

    Parameters
    ----------
    part : MeasuredPart or SetupPart
        All of the part, or what the set-up finishes.
    settings : Settings
        The job, resolved against the part (see ``advice.settings``).
    only_zones : bool
        Stop after the zones: their advice is None.
    lays_passes : bool
        Lay the passes of every candidate on the part and cut them virtually; otherwise lengths are area over spacing
        and cusps those of the sums.
    whole : MeasuredPart, optional
        What tools must keep clear of, where that is more than the part given.
    progress : Progress, optional
        Is told how far the work has come, zone by zone; what it raises ends it.
    kept : Kept, optional
        Results of earlier plans of the same part, which settings that changed since may not touch.
    """
    work = work_for(part, settings, kept, progress, asks_reach=not only_zones, lays_passes=lays_passes, whole=whole)
    zones = zones_of_plan(work, within(progress, ADVICE_FROM, DONE))
    zones, orientations = with_tilts(
        zones, work.ids, work.finished, work.reach, work.in_the_way, settings, work.off_mm
    )  # fmt: skip
    progress("places left over", DONE)
    left = None if work.reach is None else _leftovers(work, work.reach)
    bare = bare_places(work.book.of_stage(settings.stages[-1].target.name), settings.job.path_tolerance)
    places = () if left is None else left.records
    record = replace(
        _record(work, zones),
        cautions=(*cautions(zones, settings, work.facets_um, places, lays_passes=lays_passes), *of_bare_places(bare)),
        leftovers=places,
        bare_places=bare,
        sequence=_sequence(work),
        orientations=orientations,
    )
    passes, cusp_um = (None, None) if work.layer is None else _passes_told(work, work.layer)
    outlined = plan_outlines(work.drawn.zoning, work.outlines, np.asarray(settings.axis), work.ids, zones).arrays
    facets = replace(_facet_arrays(work.drawn.zoning, work.ids, left), cusp_um=cusp_um)
    return Plan(record, facets, outlined, passes)


def sketch(
    part: MeasuredPart | SetupPart,
    settings: Settings,
    kept: Kept,
    progress: Progress = silent,
    *,
    whole: MeasuredPart | None = None,
    depth: Depth = Depth.SKETCH,
) -> Plan:
    """The zones of a plan and their advice in a fraction of its time, while settings are tried out.

    Without passes, tilts, copies, places left over, tool sequence and outlines; what tools reach is carried over from
    the newest map asked for the same tools (see ``advice.reach_carried``). The plan that follows has the last word.
    What one for a quote leaves out beside is told by ``work.Depth``.
    """
    work = work_for(part, settings, kept, progress, depth=depth, whole=whole)
    zones = zones_of_plan(work, within(progress, ADVICE_FROM, DONE))
    return Plan(_record(work, zones), _facet_arrays(work.drawn.zoning, work.ids, None))


def estimate(
    part: MeasuredPart | SetupPart,
    settings: Settings,
    *,
    whole: MeasuredPart | None = None,
    progress: Progress = silent,
) -> Plan:
    """A plan in short, for a quote: a sketch that asks fewer points what tools reach, with cautions; one says so.

    Parameters are those of ``advise``.
    """
    made = sketch(part, settings, NOT_KEPT, progress, whole=whole, depth=Depth.QUOTE)
    told = cautions(made.zones, settings, made.record.part.chord_error_um, (), lays_passes=False)
    return replace(made, record=replace(made.record, cautions=(_SAYS_IN_SHORT, *told)))


def _record(work: Work, zones: tuple[Zone, ...]) -> PlanRecord:
    """What a plan and its sketch have in common."""
    part, settings, drawn, wishes = work.part, work.settings, work.drawn, work.wishes
    warnings = (*_warnings(part, part.smooth, settings.axis), *drawn.warnings, *wishes.warnings)
    record = replace(
        part.record, chord_error_um=work.facets_um, warnings=(*part.record.warnings, *warnings)
    )  # fmt: skip
    price = drawn.price_mm(wishes.excluded | wishes.protected)
    return PlanRecord(
        schema=SCHEMA,
        version=package_version(),
        created=datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        part=record,
        setups=(Setup("set-up 1", settings.axis, _reached_share(zones), table_turn_deg(settings)),),
        tools=tool_records(settings.tools),
        stages=stage_records(settings.stages),
        zones=zones,
        totals=totals_of(zones),
        map_price=MapPrice(*price, drawn.prices.blend_mm_per_mm, drawn.prices.zone_mm),
        settings=_settings_in_force(settings, drawn.steep_from_deg),
        cautions=(),
        rotary_axis=table_axis(settings.job.machine),
        title=title_record(settings.job),
    )


def _sequence(work: Work) -> ToolSequence | None:
    """The tools to finish with, over what is finished at all."""
    finished = work.finished
    if work.reach is None or not finished.any():
        return None
    # zones are numbered by area: the first is the largest
    surface = work.drawn.surfaces[int(np.flatnonzero(finished)[0])]
    return tool_sequence(work.reach, finished[work.reach.zone], work.asked, work.settings.stages[-1], surface)


def _leftovers(work: Work, reach: PartReach) -> Leftovers:
    """Places that the finishing tool leaves over, priced as the tool sequence is."""
    finished = work.finished
    largest = np.flatnonzero(finished)
    surface = work.drawn.surfaces[int(largest[0])] if len(largest) else None
    ids = np.where(finished, work.ids, -1)
    return leftovers(reach, work.drawn.zoning, ids, work.asked, work.settings.stages[-1], surface)


def _reached_share(zones: tuple[Zone, ...]) -> float | None:
    """Share of the surface that the finishing tool gets to; what faces away from the spindle counts as not reached."""
    area = math.fsum(zone.area_mm2 for zone in zones)
    if area == 0.0 or all(zone.reach is None for zone in zones):
        return None
    return math.fsum(zone.area_mm2 * (zone.reachable_share or 0.0) for zone in zones) / area


def _settings_in_force(settings: Settings, steep_from_deg: float) -> tuple[Setting, ...]:
    """The settings, with the slope at which the part asks to be split where the job left it open."""
    if steep_from_deg == settings.job.zones.steep_from:
        return settings.record
    moved = Setting("steep_from", f"{steep_from_deg:g} deg", "part")
    return tuple(moved if setting.name == "steep_from" else setting for setting in settings.record)


def _warnings(
    part: MeasuredPart | SetupPart, smooth: SmoothSurface, axis: tuple[float, float, float]
) -> tuple[str, ...]:
    """What only the plan can tell of a mesh: noise, and a sheet that shows its back to the spindle."""
    told = []
    if smooth.noise_share_of_edge > 0:
        told.append(
            f"the mesh is noisy (about {smooth.noise_share_of_edge:.0%} of the edge length): slopes are those of the "
            "surface without its noise"
        )
    if looks_inside_out(part.mesh, axis):
        told.append(
            "nearly all of this open surface faces away from the spindle: if it should not, its facets are wound the "
            "wrong way (turn the normals over in the export) or the axis is (--up)"
        )
    return tuple(told)


def package_version() -> str:
    """Version of the installed package."""
    try:
        return version(DISTRIBUTION)
    except PackageNotFoundError:  # run from a checkout that is not installed
        return "0+unknown"


def _passes_told(work: Work, layer: PassLayer) -> tuple[PassArrays, NDArray[np.float32]]:
    """The passes of what is advised, with a close-up of what the last stage leaves, and its cusp facet by facet."""
    stages, last, mesh = work.settings.stages, work.settings.stages[-1], work.drawn.zoning.surface.mesh
    passes = work.book.arrays([stage.target.name for stage in stages])
    kept = work.book.of_stage(last.target.name)
    gouge_mm = max(last.target.cusp_mm or 0.0, work.settings.job.path_tolerance)
    places = [zone_places(zone_id, laid, gouge_mm) for zone_id, _, laid in kept]
    cusp_um = cusp_field(mesh, work.drawn.zoning.surface.normal, work.ids[work.drawn.zoning.zone], places)
    if places:
        steps = {zone_id: advice.stepover_mm or last.target.flat_step_mm for zone_id, advice, _ in kept}
        place, point, side_mm = worst_place(places, [side_of(steps[each.zone]) for each in places])
        surface, ground = layer.ground_of(int(np.flatnonzero(work.ids == place.zone)[0]), last)
        seen = close_up(surface, ground.cutter, ground.axis, ground.stock_left_mm, place, point, side_mm)
        passes = with_close_up(passes, seen, last.target.name)
    return passes, cusp_um


def _facet_arrays(zoning: Zoning, ids: Ints, left: Leftovers | None) -> FacetArrays:
    mesh = zoning.surface.mesh
    zone = ids[zoning.zone]
    for array in (zone, zoning.slope_deg, zoning.smooth_slope_deg, zoning.facet_class):
        array.setflags(write=False)
    facets = FacetArrays(
        mesh.vertices, mesh.faces, zone, zoning.slope_deg, zoning.smooth_slope_deg, zoning.facet_class
    )  # fmt: skip
    return facets if left is None else replace(facets, **left.arrays)
