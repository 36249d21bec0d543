"""The one door: a part and a job become a plan."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, replace
from importlib.metadata import PackageNotFoundError, version

import numpy as np
from numpy.typing import NDArray

from advisor.advice.bare_places import bare_places
from advisor.advice.cautions import cautions, of_bare_places
from advisor.advice.close_up import close_up, side_of, with_close_up, worst_place
from advisor.advice.complete import Accuracy
from advisor.advice.cusp_field import cusp_field, zone_places
from advisor.advice.draw_zones import draw_zones
from advisor.advice.ground import accuracy_of, copies_of, families_of, finished_zones, reach_tolerance_mm, zone_ids
from advisor.advice.laid_numbers import Laid
from advisor.advice.laying import PassLayer, numbers_from
from advisor.advice.leftovers import Leftovers, leftovers
from advisor.advice.outlines import blend_words, boundaries_of, outline_record, overlap_of, plan_outlines
from advisor.advice.overrides import ZoneWishes, zone_wishes
from advisor.advice.pass_arrays import PassBook
from advisor.advice.progress import ADVICE_FROM, DONE, REACH_FROM, ZONES_FROM, Progress, silent, within
from advisor.advice.reach import PartReach, part_reach, zone_reach
from advisor.advice.settings import Settings, tools_asked
from advisor.advice.setup_parts import SetupPart
from advisor.advice.side_by_side import side_by_side
from advisor.advice.stage_records import stage_records, title_record, tool_records
from advisor.advice.tilts import table_axis, table_turn_deg, with_tilts
from advisor.advice.tool_sequence import tool_sequence
from advisor.advice.totals import totals_of
from advisor.advice.trade import trade_of
from advisor.advice.zone_advice import zone_advice
from advisor.advice.zone_fits import fit_tolerance_mm, zone_fits
from advisor.advice.zone_records import ZoneMeasures, measure_zones
from advisor.advice.zone_surface import ZoneSurface
from advisor.job import Tool
from advisor.model import (
    SCHEMA,
    SMALL_FEATURES_SHAPE,
    Advice,
    FacetArrays,
    FittedSurface,
    MapPrice,
    PassArrays,
    Plan,
    PlanRecord,
    Repeats,
    Setting,
    Setup,
    ToolSequence,
    Trade,
    Zone,
)
from advisor.part.coarseness import chord_error_um
from advisor.part.measured import MeasuredPart, looks_inside_out
from advisor.part.mesh import Flags, Ints
from advisor.part.smooth import SmoothSurface
from advisor.passes.sunk_facets import sunk_facets
from advisor.zones.merging import Prices
from advisor.zones.outline import Outline
from advisor.zones.repeats import Family
from advisor.zones.zoning import Zoning


@dataclass(frozen=True)
class _Work:
    """What the advice for all zones has in common."""

    zoning: Zoning
    surfaces: list[ZoneSurface]
    accuracy: Accuracy
    wishes: ZoneWishes
    ids: Ints
    repeats: dict[int, Repeats]
    prices: Prices
    fits: list[FittedSurface | None]
    outlines: list[list[Outline]]
    asked: tuple[Tool, ...]
    reach: PartReach | None
    settings: Settings
    steep_from_deg: float
    only_zones: bool
    layer: PassLayer | None
    book: PassBook


def advise(
    part: MeasuredPart | SetupPart,
    settings: Settings,
    *,
    only_zones: bool = False,
    lays_passes: bool = False,
    whole: MeasuredPart | None = None,
    progress: Progress = silent,
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
    """
    progress("zones", ZONES_FROM)
    axis = np.asarray(settings.axis)
    smooth, bends = part.smooth, part.bends
    drawn = draw_zones(part.mesh, smooth, bends, settings, None if whole is None else whole.mesh)
    zoning = drawn.zoning
    surfaces = drawn.surfaces
    wishes = zone_wishes(zoning, [told.shape for told in drawn.shapes], settings.job.zone, settings.subject)
    ids = zone_ids(len(surfaces), wishes)
    facets_um = chord_error_um(part.mesh, smooth, part.record.chord_error_um)
    is_small = np.array([told.shape == SMALL_FEATURES_SHAPE for told in drawn.shapes])
    fits = zone_fits(zoning, ~is_small, axis, fit_tolerance_mm(facets_um))
    outlines = boundaries_of(zoning, axis)
    accuracy = accuracy_of(settings, facets_um)
    families = families_of(zoning, axis, facets_um, is_small)
    asked = tools_asked(settings)
    finished = finished_zones(zoning, ids, wishes, is_small)
    in_the_way = part if whole is None else whole
    reach, off_mm = None, reach_tolerance_mm(settings, facets_um)
    if not only_zones:
        progress("reach", REACH_FROM)
        reach = part_reach(in_the_way.mesh, zoning, finished, axis, asked, off_mm, settings.job.clearance)
    layer = None
    if lays_passes and reach is not None:
        sunk = sunk_facets(in_the_way.mesh, in_the_way.smooth, axis, off_mm)
        layer = PassLayer(zoning, bends, sunk, axis, finished, settings.job, off_mm, copies_of(families))
    work = _Work(
        zoning, surfaces, accuracy, wishes, ids, _repeats(families, ids), drawn.prices, fits, outlines, asked, reach,
        settings, drawn.steep_from_deg, only_zones, layer, PassBook(),
    )  # fmt: skip
    measures = measure_zones(zoning, surfaces, drawn.shapes)
    zones = _zones(work, measures, within(progress, ADVICE_FROM, DONE))
    zones, orientations = with_tilts(zones, ids, finished, reach, in_the_way.mesh, settings, off_mm)
    left = None if reach is None else _leftovers(work, reach, finished)
    bare = bare_places(work.book.of_stage(settings.stages[-1].target.name), settings.job.path_tolerance)
    record = PlanRecord(
        schema=SCHEMA,
        version=package_version(),
        created=datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        part=replace(
            part.record,
            chord_error_um=facets_um,
            warnings=(
                *part.record.warnings,
                *_warnings(part, smooth, settings.axis),
                *drawn.warnings,
                *wishes.warnings,
            ),
        ),
        setups=(Setup("set-up 1", settings.axis, _reached_share(zones), table_turn_deg(settings)),),
        tools=tool_records(settings.tools),
        stages=stage_records(settings.stages),
        zones=zones,
        totals=totals_of(zones),
        map_price=MapPrice(
            *drawn.price_mm(wishes.excluded | wishes.protected), drawn.prices.blend_mm_per_mm, drawn.prices.zone_mm
        ),
        settings=_settings_in_force(settings, drawn.steep_from_deg),
        cautions=(*cautions(zones, settings, facets_um, lays_passes=layer is not None), *of_bare_places(bare)),
        leftovers=() if left is None else left.records,
        bare_places=bare,
        sequence=_sequence(work, finished),
        orientations=orientations,
        rotary_axis=table_axis(settings.job.machine),
        title=title_record(settings.job),
    )
    passes, cusp_um = (None, None) if layer is None else _passes_told(work, layer)
    outlined = plan_outlines(zoning, outlines, axis, ids, zones).arrays
    facets = replace(_facet_arrays(zoning, ids, left), cusp_um=cusp_um)
    return Plan(record, facets, outlined, passes)


def _sequence(work: _Work, finished: Flags) -> ToolSequence | None:
    """The tools to finish with, over what is finished at all."""
    if work.reach is None or not finished.any():
        return None
    # zones are numbered by area: the first is the largest
    surface = work.surfaces[int(np.flatnonzero(finished)[0])]
    return tool_sequence(work.reach, finished[work.reach.zone], work.asked, work.settings.stages[-1], surface)


def _leftovers(work: _Work, reach: PartReach, finished: Flags) -> Leftovers:
    """Places that the finishing tool leaves over, priced as the tool sequence is."""
    largest = np.flatnonzero(finished)
    surface = work.surfaces[int(largest[0])] if len(largest) else None
    ids = np.where(finished, work.ids, -1)
    return leftovers(reach, work.zoning, ids, work.asked, work.settings.stages[-1], surface)


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
        return version("advisor")
    except PackageNotFoundError:  # run from a checkout that is not installed
        return "0+unknown"


def _zones(work: _Work, measures: list[ZoneMeasures], progress: Progress) -> tuple[Zone, ...]:
    asked = [number for number in range(len(measures)) if work.ids[number] > 0]
    layer, stages = work.layer, work.settings.stages
    answers = side_by_side(
        asked,
        lambda number, check: _zone(work, measures[number], number, check),
        lambda number: 0.0 if layer is None else layer.size_of(number, stages),
        {} if layer is None else layer.must_wait_for(),
    )
    what, zones = "advice" if layer is None else "passes", []
    with closing(answers):
        for place in range(len(asked)):
            progress(f"{what}, zone {place + 1} of {len(asked)}", place / len(asked))
            zone, passes = next(answers)
            for step, laid in passes:
                work.book.keep(zone.id, step, laid)
            zones.append(zone)
    return tuple(zones)


def _zone(
    work: _Work, measure: ZoneMeasures, number: int, check: Callable[[], None]
) -> tuple[Zone, list[tuple[Advice, Laid]]]:
    """A zone of the plan, and its passes step by step; threads may work on several."""
    steps: tuple[Advice, ...] = ()
    told: tuple[Advice, ...] = ()
    passes: list[tuple[Advice, Laid]] = []
    reach = None
    if work.reach is not None:
        share, radius = work.settings.job.zones.corner_share, measure.concave_radius_mm
        reach = zone_reach(work.reach, number, work.asked, share, radius)
    if not work.only_zones:
        locked = work.wishes.strategy.get(number)
        protected = number in work.wishes.protected
        steps, told = zone_advice(
            work.surfaces[number], measure, work.settings.stages, work.accuracy, locked, is_protected=protected,
            reach=reach, laid=numbers_from(work.layer, number, check),
        )  # fmt: skip
        if work.layer is not None:
            steps, told, laid = work.layer.settled(number, steps, work.settings.stages, told)
            passes = [(step, own) for step, own in zip(steps, laid, strict=True) if own is not None]
        steps = _not_to_be_copied(work, number, steps)
    zone = Zone(
        id=int(work.ids[number]),
        setup=0,
        name=work.wishes.name.get(number, measure.name),
        slope_class=measure.slope_class,
        shape=measure.shape,
        is_closed=measure.is_closed,
        facets=measure.facets,
        area_mm2=measure.area_mm2,
        plan_area_mm2=measure.plan_area_mm2,
        class_area_mm2=measure.class_area_mm2,
        slope_deg=measure.slope_deg,
        z_mm=measure.z_mm,
        concave_radius_mm=measure.concave_radius_mm,
        reachable_share=None if reach is None else reach.share,
        features=measure.features,
        is_protected=number in work.wishes.protected,
        repeats=work.repeats.get(number),
        neighbours=tuple(
            replace(near, zone=int(work.ids[near.zone])) for near in measure.neighbours if work.ids[near.zone] > 0
        ),
        advice=steps[-1] if steps else None,
        steps=steps,
        candidates=told,
        trade=None if not steps else _trade(work, measure, number, steps[-1]),
        surface=work.fits[number],
        reach=reach,
    )
    return _with_outline(zone, work, number), passes


def _not_to_be_copied(work: _Work, number: int, steps: tuple[Advice, ...]) -> tuple[Advice, ...]:
    """Says of a copy with other neighbours than its model that the model's program does not suit it."""
    if work.layer is None or number not in work.layer.hemmed_in:
        return steps
    words = (
        f"It is like zone {work.repeats[number].model}, but its passes, moved here, would go into what is beside it "
        "here: others are laid. Do not copy the program."
    )
    return (*steps[:-1], replace(steps[-1], why=(*steps[-1].why, words)))


def _passes_told(work: _Work, layer: PassLayer) -> tuple[PassArrays, NDArray[np.float32]]:
    """The passes of what is advised, with a close-up of what the last stage leaves, and its cusp facet by facet."""
    stages, last, mesh = work.settings.stages, work.settings.stages[-1], work.zoning.surface.mesh
    passes = work.book.arrays([stage.target.name for stage in stages])
    kept = work.book.of_stage(last.target.name)
    gouge_mm = max(last.target.cusp_mm or 0.0, work.settings.job.path_tolerance)
    places = [zone_places(zone_id, laid, gouge_mm) for zone_id, _, laid in kept]
    cusp_um = cusp_field(mesh, work.zoning.surface.normal, work.ids[work.zoning.zone], places)
    if places:
        steps = {zone_id: advice.stepover_mm or last.target.flat_step_mm for zone_id, advice, _ in kept}
        place, point, side_mm = worst_place(places, [side_of(steps[each.zone]) for each in places])
        surface, ground = layer.ground_of(int(np.flatnonzero(work.ids == place.zone)[0]), last)
        seen = close_up(surface, ground.cutter, ground.axis, ground.stock_left_mm, place, point, side_mm)
        passes = with_close_up(passes, seen, last.target.name)
    return passes, cusp_um


def _with_outline(zone: Zone, work: _Work, number: int) -> Zone:
    """The zone with its outline told, which hangs on its stepover, and what to do where its passes run over it."""
    zone = replace(zone, outline=outline_record(work.outlines[number], overlap_of(zone, work.settings)))
    words = blend_words(zone)
    if zone.advice is None or not words:
        return zone
    advice = replace(zone.advice, why=(*zone.advice.why, *words))
    return replace(zone, advice=advice, steps=(*zone.steps[:-1], advice))


def _trade(work: _Work, measure: ZoneMeasures, number: int, advice: Advice) -> Trade | None:
    flat_below_deg, stage = work.settings.job.zones.flat_below, work.settings.stages[-1]
    return trade_of(
        work.surfaces[number], measure, stage, work.accuracy, advice, flat_below_deg, work.prices.blend_mm_per_mm,
        work.steep_from_deg,
    )  # fmt: skip


def _repeats(families: tuple[Family, ...], ids: Ints) -> dict[int, Repeats]:
    """Repeats by zone number; of copies the job leaves out nothing is told."""
    told: dict[int, Repeats] = {}
    for group, family in enumerate(families, start=1):
        for place, members in enumerate(family.members):
            for model, zone in zip(family.members[0], members, strict=True):
                if zone in told and family.is_mirrored[place]:
                    continue
                told[zone] = Repeats(
                    group=group,
                    of=family.copies,
                    turn_deg=family.turn_deg[place],
                    shift_mm=family.shift_mm[place],
                    model=int(ids[model]),
                    is_mirrored=family.is_mirrored[place],
                    pattern=family.pattern,
                    centre_mm=family.centre_mm,
                    pitch_deg=family.pitch_deg,
                )
    return told


def _facet_arrays(zoning: Zoning, ids: Ints, left: Leftovers | None) -> FacetArrays:
    mesh = zoning.surface.mesh
    zone = ids[zoning.zone]
    for array in (zone, zoning.slope_deg, zoning.smooth_slope_deg, zoning.facet_class):
        array.setflags(write=False)
    facets = FacetArrays(
        mesh.vertices, mesh.faces, zone, zoning.slope_deg, zoning.smooth_slope_deg, zoning.facet_class
    )  # fmt: skip
    return facets if left is None else replace(facets, **left.arrays)
