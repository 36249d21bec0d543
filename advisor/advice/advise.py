"""The one door: a part and a job become a plan."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from importlib.metadata import PackageNotFoundError, version

import numpy as np

from advisor.advice.candidates import candidates
from advisor.advice.choose import ZoneFacts, choose
from advisor.advice.lines import Lines, best_direction_deg, lines_at
from advisor.advice.overrides import ZoneWishes, zone_wishes
from advisor.advice.settings import Settings
from advisor.advice.target import StageTarget
from advisor.advice.zone_records import ZoneMeasures, measure_zones
from advisor.advice.zone_surface import ZoneSurface, zone_surfaces
from advisor.cutter.cutter import UM_PER_MM, Cutter
from advisor.model import (
    SCHEMA,
    SLOPE_CLASSES,
    Advice,
    ClassTotal,
    FacetArrays,
    Plan,
    PlanRecord,
    Setup,
    StageRecord,
    ToolRecord,
    Totals,
    Zone,
)
from advisor.part.measured import MeasuredPart
from advisor.part.mesh import Ints
from advisor.part.smooth import smooth_surface
from advisor.zones.classes import Thresholds
from advisor.zones.zoning import ZoneRule, Zoning, zone_part

CAUTIONS = (
    "Starting values only, computed from ideal geometry; real finish is rougher than the cusp alone.",
    "The limits of the tool maker and the machine builder, material safety data and local regulations come first.",
    "Reach, holder clearance and collisions are not checked: a qualified person must review the plan and prove the "
    "program out above the part before cutting, guards and doors closed.",
)


@dataclass(frozen=True)
class _Work:
    """What the advice for all zones has in common."""

    zoning: Zoning
    surfaces: list[ZoneSurface]
    targets: tuple[StageTarget, ...]
    wishes: ZoneWishes
    ids: Ints
    only_zones: bool


def advise(part: MeasuredPart, settings: Settings, *, only_zones: bool = False) -> Plan:
    """Zones of a part and advice for each.

    Parameters
    ----------
    part : MeasuredPart
    settings : Settings
        The job, resolved against the part (see ``advice.settings``).
    only_zones : bool
        Stop after the zones: their advice is None.
    """
    axis = np.asarray(settings.axis)
    smooth = smooth_surface(part.mesh)
    zoning = zone_part(part.mesh, smooth, axis, _zone_rule(settings))
    surfaces = zone_surfaces(part.mesh, smooth, zoning, axis)
    wishes = zone_wishes(zoning, settings.job.zone)
    ids = _zone_ids(len(surfaces), wishes)
    work = _Work(zoning, surfaces, settings.targets, wishes, ids, only_zones)
    measures = measure_zones(zoning, surfaces)
    zones = _zones(work, measures)
    record = PlanRecord(
        schema=SCHEMA,
        version=package_version(),
        created=datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        part=part.record,
        setups=(Setup("set-up 1", settings.axis, None),),
        tools=_tools(settings),
        stages=_stages(settings),
        zones=zones,
        totals=_totals(zones),
        settings=settings.record,
        cautions=(*CAUTIONS, *_zone_cautions(zones)),
    )
    return Plan(record, _facet_arrays(zoning, ids))


def package_version() -> str:
    """Version of the installed package."""
    try:
        return version("advisor")
    except PackageNotFoundError:  # run from a checkout that is not installed
        return "0+unknown"


def _zone_rule(settings: Settings) -> ZoneRule:
    rules = settings.job.zones
    ball = max(target.cutter.diameter_mm for target in settings.targets)
    return ZoneRule(Thresholds(rules.flat_below, rules.steep_from, rules.wall_tolerance), rules.smallest, ball)


def _zones(work: _Work, measures: list[ZoneMeasures]) -> tuple[Zone, ...]:
    return tuple(_zone(work, measures[number], number) for number in range(len(measures)) if work.ids[number] > 0)


def _zone_ids(zone_count: int, wishes: ZoneWishes) -> Ints:
    """Public number of every zone: 1..n over those that are not left out, -1 for these."""
    left_out = np.isin(np.arange(zone_count), list(wishes.excluded))
    return np.where(left_out, -1, np.cumsum(~left_out)).astype(np.int32)


def _zone(work: _Work, measure: ZoneMeasures, number: int) -> Zone:
    facts = ZoneFacts(measure.slope_class, measure.slope_deg, measure.shape, measure.features)
    locked = work.wishes.strategy.get(number)
    steps: list[Advice] = []
    told: tuple[Advice, ...] = ()
    surface = work.surfaces[number]
    for target, lines in () if work.only_zones else _lines_by_stage(surface, work.targets):
        chosen, told = choose(facts, candidates(surface, target, lines), locked)
        steps.append(chosen)
    return Zone(
        id=int(work.ids[number]),
        setup=0,
        name=work.wishes.name.get(number, measure.name),
        slope_class=measure.slope_class,
        shape=measure.shape,
        facets=measure.facets,
        area_mm2=measure.area_mm2,
        plan_area_mm2=measure.plan_area_mm2,
        slope_deg=measure.slope_deg,
        z_mm=measure.z_mm,
        concave_radius_mm=None,
        reachable_share=None,
        features=measure.features,
        repeats=None,
        neighbours=tuple(
            replace(near, zone=int(work.ids[near.zone])) for near in measure.neighbours if work.ids[near.zone] > 0
        ),
        advice=steps[-1] if steps else None,
        steps=tuple(steps),
        candidates=told,
    )


def _lines_by_stage(surface: ZoneSurface, targets: tuple[StageTarget, ...]) -> Iterator[tuple[StageTarget, Lines]]:
    """Every stage with its lines: one direction for all, best for the last, for all cross the same slopes."""
    direction_deg = best_direction_deg(surface, targets[-1])
    by_cutter: dict[Cutter, Lines] = {}
    for target in targets:
        if target.cutter not in by_cutter:
            by_cutter[target.cutter] = lines_at(surface, target.cutter, direction_deg)
        yield target, by_cutter[target.cutter]


def _tools(settings: Settings) -> tuple[ToolRecord, ...]:
    return tuple(
        ToolRecord(tool.name, tool.kind, tool.diameter, tool.corner_radius_mm, tool.flutes) for tool in settings.tools
    )


def _stages(settings: Settings) -> tuple[StageRecord, ...]:
    return tuple(
        StageRecord(
            target.name,
            None if target.cusp_mm is None else target.cusp_mm * UM_PER_MM,
            target.step_mm,
            stage.stock_left,
            target.tool,
        )
        for target, stage in zip(settings.targets, settings.job.stage, strict=True)
    )


def _totals(zones: Iterable[Zone]) -> Totals:
    zones = tuple(zones)
    area = math.fsum(zone.area_mm2 for zone in zones)
    by_class = {}
    for slope_class in SLOPE_CLASSES:
        members = [zone for zone in zones if zone.slope_class == slope_class]
        class_area = math.fsum(zone.area_mm2 for zone in members)
        path = math.fsum(step.path_mm for zone in members for step in zone.steps if step.usable)
        by_class[slope_class] = ClassTotal(len(members), class_area, class_area / area if area else 0.0, path, None)
    return Totals(area, None, None, None, by_class)


def _zone_cautions(zones: tuple[Zone, ...]) -> tuple[str, ...]:
    hidden = sum(zone.area_mm2 for zone in zones if zone.slope_class == "undercut")
    total = sum(zone.area_mm2 for zone in zones)
    if hidden < 0.005 * total:
        return ()
    return (f"{hidden / total:.0%} of the surface faces away from the spindle and needs another set-up.",)


def _facet_arrays(zoning: Zoning, ids: Ints) -> FacetArrays:
    mesh = zoning.surface.mesh
    zone = ids[zoning.zone]
    for array in (zone, zoning.slope_deg, zoning.smooth_slope_deg):
        array.setflags(write=False)
    return FacetArrays(mesh.vertices, mesh.faces, zone, zoning.slope_deg, zoning.smooth_slope_deg)
