"""A part in several set-ups: which way the spindle looks in each, what stays on which, and one plan of all."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.advice.advise import advise, estimate
from advisor.advice.cautions import cautions, of_bare_places, of_passes_not_laid
from advisor.advice.choose import NO_SET_UP_REACHES
from advisor.advice.ground import reach_tolerance_mm
from advisor.advice.kept import NOT_KEPT, Kept
from advisor.advice.pass_arrays import joined_passes
from advisor.advice.progress import Progress, silent, within
from advisor.advice.settings import Settings, tools_asked
from advisor.advice.setup_borders import SetupBorders, setup_borders, with_neighbours
from advisor.advice.setup_outlines import joined_outlines, numbered_on
from advisor.advice.setup_parts import SetupPart, cut_part, taken_from
from advisor.advice.setup_split import split_along_reach
from advisor.advice.tool_sequence import sequence_over_setups
from advisor.advice.totals import totals_of
from advisor.cutter.setup_axes import candidate_axes
from advisor.cutter.setup_cover import setup_cover
from advisor.cutter.setup_reach import axis_tool, setup_reach
from advisor.cutter.tool_body import cutter_of, tool_body
from advisor.job import parse_up
from advisor.model import (
    Advice,
    BarePlace,
    FacetArrays,
    Leftover,
    MapPrice,
    OutlineArrays,
    PassArrays,
    Plan,
    PlanRecord,
    Setup,
    Zone,
)
from advisor.part.coarseness import chord_error_um
from advisor.part.measured import MeasuredPart
from advisor.part.mesh import Floats
from advisor.part.samples import even_samples

# Points of the surface that are asked along every candidate.
_SAMPLES = 20_000
# What faces away and is worth a word.
_AWAY_SHARE = 0.005

ONE, FEWEST = "one", "fewest"


def plan_part(
    part: MeasuredPart,
    settings: Settings,
    *,
    only_zones: bool = False,
    lays_passes: bool = False,
    in_short: bool = False,
    progress: Progress = silent,
    kept: Kept = NOT_KEPT,
) -> Plan:
    """The plan of a part in the set-ups that the job asks for: one, those it names, or as few as reach it all.

    Of a plan in one set-up, results of earlier ones that are kept are taken up. One in short is ``advise.estimate``.
    """
    in_full = partial(advise, only_zones=only_zones, lays_passes=lays_passes)
    if settings.job.setups == ONE:
        return estimate(part, settings, progress=progress) if in_short else in_full(
            part, settings, progress=progress, kept=kept
        )  # fmt: skip
    made = estimate if in_short else in_full
    axes, whole, of_facet = _setups(part, settings)
    plans, vertices = [], []
    for number, axis in enumerate(axes):
        own, vertex = taken_from(whole, of_facet == number)
        turned = replace(settings, axis=(float(axis[0]), float(axis[1]), float(axis[2])))
        own_progress = within(progress, number / len(axes), (number + 1) / len(axes))
        plans.append(made(own, turned, whole=part, progress=own_progress))
        vertices.append(vertex)
    return _as_one(part, settings, plans, lambda facets: setup_borders(whole, of_facet, facets, vertices))


def _setups(part: MeasuredPart, settings: Settings) -> tuple[Floats, SetupPart, NDArray[np.int64]]:
    """(s, 3) tool axes, the job's own first, the part cut where set-ups meet, and (m,) the set-up of each facet.

    What none reaches stays on the first: it shows there as what it is.
    """
    tool = tools_asked(settings)[0]
    body, cutter = tool_body(tool, settings.job.clearance), cutter_of(tool)
    forced: tuple[int, ...]
    if settings.job.setups == FEWEST:
        axes, forced, spare = _candidates(part, settings), (0,), tolerances.SETUP_SPARE_SHARE
    else:
        axes = np.array([parse_up(words) for words in settings.job.setups])
        forced, spare = tuple(range(len(axes))), 1.0
    off_mm = reach_tolerance_mm(settings, chord_error_um(part.mesh, part.smooth, part.record.chord_error_um))
    reach = setup_reach(part.mesh, body, cutter, axes, even_samples(part.mesh, _SAMPLES), off_mm, tool.stick_out)
    cover = setup_cover(part.mesh, part.smooth.is_crease, part.smooth.is_plane, reach, forced, spare)
    asked = axis_tool(part.mesh, body, cutter, cover.axes, off_mm, tool.stick_out)
    cut, setup = split_along_reach(part.mesh, part.smooth, cover, asked, tool.diameter)
    order = np.argsort([list(forced).index(c) if c in forced else len(forced) for c in cover.candidate], kind="stable")
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    of_facet = np.where(setup >= 0, place[np.maximum(setup, 0)], 0)
    kept, number = np.unique(of_facet, return_inverse=True)
    return cover.axes[order][kept], cut_part(part, cut), number


def _candidates(part: MeasuredPart, settings: Settings) -> Floats:
    return candidate_axes(part.mesh, part.smooth.is_plane, np.asarray(settings.axis)).axes


def _as_one(
    part: MeasuredPart,
    settings: Settings,
    plans: Sequence[Plan],
    meet: Callable[[Sequence[FacetArrays]], SetupBorders],
) -> Plan:
    """Plans of the set-ups joined: zones numbered on from set-up to set-up, facets one after another."""
    starts = [0, *itertools.accumulate(len(plan.zones) for plan in plans)][:-1]
    leftovers, place_ids = _joined_leftovers([plan.record for plan in plans], starts)
    facets = [_numbered_facets(*each) for each in zip((plan.facets for plan in plans), starts, place_ids, strict=True)]
    borders = meet(facets)
    zones = [
        _moved(zone, number, start, group)
        for number, (plan, start, group) in enumerate(zip(plans, starts, _first_groups(plans), strict=True))
        for zone in plan.zones
    ]
    told = with_neighbours(zones, borders)
    is_outlined = all(plan.draw_outlines is not None for plan in plans)
    outlines = partial(_joined_outlines, plans, starts, borders) if is_outlined else None
    record = replace(_joined_record(part, settings, plans, starts, told), leftovers=leftovers)
    passes = [plan.passes for plan in plans]
    joined = None if any(each is None for each in passes) else _joined_passes(passes, starts)
    return Plan(record, _joined_facets(facets), outlines, joined)


def _joined_passes(passes: Sequence[PassArrays | None], starts: Sequence[int]) -> PassArrays:
    numbered = [(each, np.int32(start)) for each, start in zip(passes, starts, strict=True) if each is not None]
    return joined_passes([replace(each, zone=each.zone + start) for each, start in numbered])


def _joined_record(
    part: MeasuredPart, settings: Settings, plans: Sequence[Plan], starts: Sequence[int], zones: tuple[Zone, ...]
) -> PlanRecord:
    records = [plan.record for plan in plans]
    prices = [record.map_price for record in records]
    bare = _joined_bare_places(records, starts)
    facets_um = chord_error_um(part.mesh, part.smooth, part.record.chord_error_um)
    warnings = tuple(dict.fromkeys(warning for record in records for warning in record.part.warnings))
    return replace(
        records[0],
        part=replace(records[0].part, chord_error_um=facets_um, warnings=warnings),
        setups=tuple(_named(record, number, part.record.area_mm2) for number, record in enumerate(records)),
        zones=zones,
        totals=totals_of(zones),
        map_price=MapPrice(
            math.fsum(price.total_mm for price in prices), math.fsum(price.least_mm for price in prices),
            prices[0].blend_price_mm_per_mm, prices[0].zone_price_mm,
        ),
        cautions=(
            *cautions((), settings, facets_um),
            *_of_what_faces_away(zones),
            *(of_passes_not_laid(zones) if plans[0].passes is not None else ()),
            *of_bare_places(bare),
        ),
        bare_places=bare,
        sequence=sequence_over_setups([r.sequence for r in records], settings.stages[-1].machine.tool_change_min),
        orientations=tuple(
            replace(each, setup=number, zones=tuple(zone + start for zone in each.zones))
            for number, (record, start) in enumerate(zip(records, starts, strict=True))
            for each in record.orientations
        ),
    )  # fmt: skip


def _named(record: PlanRecord, number: int, area_mm2: float) -> Setup:
    """The set-up by its place, its reach as a share of the whole part."""
    (setup,) = record.setups
    own = math.fsum(zone.area_mm2 for zone in record.zones)
    share = None if setup.reached_share is None else setup.reached_share * own / area_mm2
    return replace(setup, name=f"set-up {number + 1}", reached_share=share)


def _joined_leftovers(
    records: Sequence[PlanRecord], starts: Sequence[int]
) -> tuple[tuple[Leftover, ...], list[NDArray[np.int32]]]:
    """Places left over in all set-ups, largest first, and for each set-up their new numbers by the old; 0 is none."""
    moved = [
        (replace(place, zones=tuple(zone + start for zone in place.zones)), setup)
        for setup, (record, start) in enumerate(zip(records, starts, strict=True))
        for place in record.leftovers
    ]
    moved.sort(key=lambda each: (-each[0].area_mm2, each[0].zones, each[0].middle_mm))
    ids = [np.zeros(1 + max((place.id for place in record.leftovers), default=0), np.int32) for record in records]
    for number, (place, setup) in enumerate(moved, start=1):
        ids[setup][place.id] = number
    return tuple(replace(place, id=number) for number, (place, _) in enumerate(moved, start=1)), ids


def _joined_bare_places(records: Sequence[PlanRecord], starts: Sequence[int]) -> tuple[BarePlace, ...]:
    moved = [
        replace(place, zone=place.zone + start)
        for record, start in zip(records, starts, strict=True)
        for place in record.bare_places
    ]
    return tuple(sorted(moved, key=lambda place: (-place.area_mm2, place.zone, place.middle_mm)))


def _of_what_faces_away(zones: Sequence[Zone]) -> list[str]:
    away = math.fsum(zone.area_mm2 for zone in zones if zone.slope_class == "undercut")
    share = away / max(math.fsum(zone.area_mm2 for zone in zones), 1e-300)
    if share <= _AWAY_SHARE:
        return []
    return [f"{share:.0%} of the surface faces away from the spindle, or is hidden from it, in all of these set-ups."]


def _first_groups(plans: Sequence[Plan]) -> list[int]:
    """How many families of copies the set-ups before each one have: copies are told within one set-up."""
    most = [max((zone.repeats.group for zone in plan.zones if zone.repeats), default=0) for plan in plans]
    return [0, *itertools.accumulate(most)][:-1]


def _moved(zone: Zone, setup: int, start: int, first_group: int) -> Zone:
    repeats = zone.repeats
    if repeats is not None:
        repeats = replace(repeats, model=repeats.model + start, group=repeats.group + first_group)
    return replace(
        _with_none_reaching(zone),
        id=zone.id + start,
        setup=setup,
        neighbours=tuple(replace(near, zone=near.zone + start) for near in zone.neighbours),
        repeats=repeats,
    )


def _with_none_reaching(zone: Zone) -> Zone:
    """What faces away in its set-up is reached in none of the job's: borders between set-ups are drawn so."""
    if zone.advice is None or zone.slope_class != "undercut" or zone.is_protected:
        return zone

    def told(advice: Advice) -> Advice:
        return replace(advice, why=(NO_SET_UP_REACHES, *advice.why[1:]))

    return replace(
        zone, advice=told(zone.advice), steps=tuple(map(told, zone.steps)), candidates=tuple(map(told, zone.candidates))
    )


def _numbered_facets(facets: FacetArrays, start: int, place_ids: NDArray[np.int32]) -> FacetArrays:
    """Facets with zones and places left over by their numbers in the whole plan."""
    places, of_parts = facets.leftover_place, facets.part_leftover_place
    return replace(
        facets,
        zone=numbered_on(facets.zone, start),
        leftover_place=None if places is None else place_ids[places],
        part_leftover_place=None if of_parts is None else place_ids[of_parts],
    )


def _joined_facets(facets: Sequence[FacetArrays]) -> FacetArrays:
    corners = np.cumsum([0, *(len(each.vertices) for each in facets[:-1])])
    told: dict[str, Any] = {}
    for field in fields(FacetArrays):
        arrays = [getattr(each, field.name) for each in facets]
        told[field.name] = None if any(array is None for array in arrays) else arrays
    told["faces"] = [each.faces + np.int32(start) for each, start in zip(facets, corners, strict=True)]
    joined: dict[str, Any] = {name: arrays and np.concatenate(arrays) for name, arrays in told.items()}
    for array in joined.values():
        if array is not None:
            array.setflags(write=False)
    return FacetArrays(**joined)


def _joined_outlines(plans: Sequence[Plan], starts: Sequence[int], borders: SetupBorders) -> OutlineArrays:
    outlines = [plan.outlines for plan in plans]
    return joined_outlines([outline for outline in outlines if outline is not None], starts, borders)


def plan_of_setup(plan: Plan, number: int) -> Plan:
    """What one set-up of a plan finishes, to draw it: other facets belong to no zone."""
    record = plan.record
    own = tuple(zone for zone in record.zones if zone.setup == number)
    ids = [zone.id for zone in own]
    zone = np.where(np.isin(plan.facets.zone, ids), plan.facets.zone, -1).astype(np.int32)
    zone.setflags(write=False)
    setup = record.setups[number]
    return Plan(replace(record, setups=(setup,), zones=own, totals=totals_of(own)), replace(plan.facets, zone=zone))
