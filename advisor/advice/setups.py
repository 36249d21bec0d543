"""A part in several set-ups: which way the spindle looks in each, what stays on which, and one plan of all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.advice.advise import advise, reach_tolerance_mm
from advisor.advice.settings import Settings, tools_asked
from advisor.advice.totals import totals_of
from advisor.cutter.setup_axes import candidate_axes
from advisor.cutter.setup_cover import setup_cover
from advisor.cutter.setup_reach import setup_reach, setup_samples
from advisor.cutter.tool_body import cutter_of, tool_body
from advisor.job import parse_up
from advisor.model import FacetArrays, Leftover, MapPrice, OutlineArrays, Plan, Setup, Zone
from advisor.part.coarseness import chord_error_um
from advisor.part.measured import MeasuredPart
from advisor.part.mesh import Floats, Mesh

ONE, FEWEST = "one", "fewest"


def plan_part(part: MeasuredPart, settings: Settings, *, only_zones: bool = False) -> Plan:
    """The plan of a part in the set-ups that the job asks for: one, those it names, or as few as reach it all."""
    if settings.job.setups == ONE:
        return advise(part, settings, only_zones=only_zones)
    axes, of_facet = _setups(part, settings)
    plans = []
    for number, axis in enumerate(axes):
        own = _own_facets(part, of_facet == number)
        turned = replace(settings, axis=(float(axis[0]), float(axis[1]), float(axis[2])))
        plans.append(advise(own, turned, only_zones=only_zones, in_the_way=part.mesh))
    return _as_one(part, plans)


def _setups(part: MeasuredPart, settings: Settings) -> tuple[Floats, NDArray[np.int64]]:
    """(s, 3) tool axes, the job's own first, and (m,) which of them each facet is finished in.

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
    samples, facets_um = setup_samples(part.mesh), chord_error_um(part.mesh, part.smooth)
    reach = setup_reach(part.mesh, body, cutter, axes, samples, reach_tolerance_mm(settings, facets_um))
    cover = setup_cover(part.mesh, part.smooth.is_crease, reach, forced=forced, negligible_share=spare)
    order = np.argsort([list(forced).index(c) if c in forced else len(forced) for c in cover.candidate], kind="stable")
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    of_facet = np.where(cover.facet_setup >= 0, place[np.maximum(cover.facet_setup, 0)], 0)
    kept, number = np.unique(of_facet, return_inverse=True)
    return cover.axes[order][kept], number


def _candidates(part: MeasuredPart, settings: Settings) -> Floats:
    return candidate_axes(part.mesh, part.smooth.is_plane, np.asarray(settings.axis)).axes


def _own_facets(part: MeasuredPart, chosen: NDArray[np.bool_]) -> MeasuredPart:
    """The part of a mesh that a set-up finishes, as an open mesh of its own, with the record of the whole."""
    faces = part.mesh.faces[chosen]
    used, corners = np.unique(faces, return_inverse=True)
    return MeasuredPart(Mesh(part.mesh.vertices[used], corners.reshape(-1, 3).astype(np.int32)), part.record)


def _as_one(part: MeasuredPart, plans: Sequence[Plan]) -> Plan:
    """Plans of the set-ups joined: zones numbered on from set-up to set-up, facets one after another."""
    zones: list[Zone] = []
    leftovers: list[Leftover] = []
    setups, starts = [], []
    for number, plan in enumerate(plans):
        start = len(zones)
        starts.append(start)
        zones.extend(_moved(zone, number, start) for zone in plan.zones)
        leftovers.extend(
            replace(place, zones=tuple(zone + start for zone in place.zones)) for place in plan.record.leftovers
        )
        (setup,) = plan.record.setups
        own = math.fsum(zone.area_mm2 for zone in plan.zones)
        share = None if setup.reached_share is None else setup.reached_share * own / part.record.area_mm2
        setups.append(Setup(f"set-up {number + 1}", setup.tool_axis, share))
    first = plans[0].record
    prices = [plan.record.map_price for plan in plans]
    record = replace(
        first,
        part=replace(first.part, warnings=tuple(dict.fromkeys(w for p in plans for w in p.record.part.warnings))),
        setups=tuple(setups),
        zones=tuple(zones),
        totals=totals_of(tuple(zones)),
        map_price=MapPrice(
            math.fsum(price.total_mm for price in prices), math.fsum(price.least_mm for price in prices),
            prices[0].blend_price_mm_per_mm, prices[0].zone_price_mm,
        ),
        cautions=tuple(dict.fromkeys(caution for plan in plans for caution in plan.record.cautions)),
        leftovers=tuple(sorted(leftovers, key=lambda place: (-place.area_mm2, place.zones))),
        sequence=None,
    )  # fmt: skip
    return Plan(record, _joined_facets(plans, starts), lambda: _joined_outlines(plans, starts))


def _moved(zone: Zone, setup: int, start: int) -> Zone:
    repeats = None if zone.repeats is None else replace(zone.repeats, model=zone.repeats.model + start)
    return replace(
        zone,
        id=zone.id + start,
        setup=setup,
        neighbours=tuple(replace(near, zone=near.zone + start) for near in zone.neighbours),
        repeats=repeats,
    )


def _joined_facets(plans: Sequence[Plan], starts: Sequence[int]) -> FacetArrays:
    facets = [plan.facets for plan in plans]
    corners = np.cumsum([0, *(len(each.vertices) for each in facets[:-1])])
    told: dict[str, Any] = {}
    for field in fields(FacetArrays):
        arrays = [getattr(each, field.name) for each in facets]
        told[field.name] = None if any(array is None for array in arrays) else arrays
    told["faces"] = [each.faces + np.int32(start) for each, start in zip(facets, corners, strict=True)]
    told["zone"] = [_numbered_on(each.zone, start) for each, start in zip(facets, starts, strict=True)]
    joined: dict[str, Any] = {name: arrays and np.concatenate(arrays) for name, arrays in told.items()}
    for array in joined.values():
        if array is not None:
            array.setflags(write=False)
    return FacetArrays(**joined)


def _numbered_on(zone: NDArray[np.int32], start: int) -> NDArray[np.int32]:
    """Zone numbers that go on from the set-ups before; what is no zone stays so."""
    return np.where(zone > 0, zone + np.int32(start), zone)


def _joined_outlines(plans: Sequence[Plan], starts: Sequence[int]) -> OutlineArrays:
    outlines = [plan.outlines for plan in plans]
    assert all(each is not None for each in outlines)
    each = [outline for outline in outlines if outline is not None]
    points = np.cumsum([0, *(len(one.points) for one in each[:-1])])
    return OutlineArrays(
        points=np.concatenate([one.points for one in each]),
        starts=np.concatenate([*(one.starts[:-1] + at for one, at in zip(each, points, strict=True)),
                               each[-1].starts[-1:] + points[-1]]),
        zone=np.concatenate([one.zone + np.int32(start) for one, start in zip(each, starts, strict=True)]),
        kind=np.concatenate([one.kind for one in each]),
        is_hole=np.concatenate([one.is_hole for one in each]),
        neighbour=np.concatenate([_numbered_on(one.neighbour, at) for one, at in zip(each, starts, strict=True)]),
        joint=np.concatenate([one.joint for one in each]),
    )  # fmt: skip


def plan_of_setup(plan: Plan, number: int) -> Plan:
    """What one set-up of a plan finishes, to draw it: other facets belong to no zone."""
    record = plan.record
    own = tuple(zone for zone in record.zones if zone.setup == number)
    ids = [zone.id for zone in own]
    zone = np.where(np.isin(plan.facets.zone, ids), plan.facets.zone, -1).astype(np.int32)
    zone.setflags(write=False)
    setup = record.setups[number]
    return Plan(replace(record, setups=(setup,), zones=own, totals=totals_of(own)), replace(plan.facets, zone=zone))
