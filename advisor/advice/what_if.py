"""The what-if: minutes and cusp of one zone, or of all, over a range of balls and of stepovers or cusps.

What does not change from row to row is worked out once: the mesh and its smooth surface for all, zones and reach for
each ball. A row then costs the advice of its zones, and no more. The map stays the one that is drawn for the job's own
target, so that rows speak of the same areas.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from advisor import tolerances
from advisor.advice.complete import Accuracy
from advisor.advice.conditions import StageConditions
from advisor.advice.draw_zones import Drawn, draw_zones
from advisor.advice.ground import (
    accuracy_of,
    copies_of,
    families_of,
    finished_zones,
    pass_depth_mm,
    reach_tolerance_mm,
    zone_ids,
)
from advisor.advice.laid_numbers import CopyOf
from advisor.advice.laying import PassLayer, numbers_from
from advisor.advice.overrides import ZoneWishes, zone_wishes
from advisor.advice.reach import PartReach, part_reach
from advisor.advice.reach_of_zones import zone_reach
from advisor.advice.settings import Settings, tools_asked
from advisor.advice.target import StageTarget
from advisor.advice.totals import sum_or_none
from advisor.advice.what_if_asked import Given, Lengths, Question, balls_asked, question_of
from advisor.advice.what_if_records import Way, WhatIf, WhatIfRow, ZoneRow, cost_of
from advisor.advice.zone_advice import zone_advice
from advisor.errors import InputError
from advisor.job import Tool
from advisor.model import SMALL_FEATURES_SHAPE, Advice, ZoneReach
from advisor.part.coarseness import chord_error_um
from advisor.part.measured import MeasuredPart
from advisor.part.mesh import Flags, Floats
from advisor.passes.sunk_facets import SunkFacets, sunk_facets
from advisor.units import UM_PER_MM
from advisor.words import counted


def what_if_of(
    part: MeasuredPart,
    given: Given,
    *,
    zone: int | None = None,
    balls: Lengths | None = None,
    stepovers: Lengths | None = None,
    cusps: Lengths | None = None,
    lays_passes: bool = False,
) -> WhatIf:
    """Rows for a part and a job; see ``advisor.what_if``."""
    own = given.settings(part)
    if own.job.setups != "one":
        raise InputError(
            "setups", "a what-if is worked out for one set-up", 'ask with setups = "one" and the axis of that set-up'
        )
    by_ball = balls_asked(part, own, given, balls)
    question = question_of(own, by_ball, stepovers, cusps)
    home = _Ground(part, own) if zone is not None else None
    number = None if home is None or zone is None else _number_of(home, zone)
    target = own.stages[-1].target
    wanted_um = _cusp_on_flat_mm(target) * UM_PER_MM
    rows: list[WhatIfRow] = []
    for settings in by_ball:
        ground = home if home is not None and settings is own else _Ground(part, settings)
        shares = _all_of(ground) if home is None or number is None else _followed(home, number, ground)
        rows.extend(_row(ground, shares, question, value, wanted_um, lays_passes) for value in question.values_mm)
    is_timed = all(row.total_min is not None for row in rows if row.path_mm is not None)
    return WhatIf(
        part=part.record.name,
        unit=own.job.unit,
        stage=target.name,
        asked=question.kind,
        zone=zone,
        zone_name=None if home is None or number is None else home.name_of(number),
        target_cusp_um=wanted_um,
        is_laid=lays_passes,
        is_timed=is_timed,
        rows=tuple(rows),
        quickest=_quickest(rows, is_timed),
    )


def _quickest(rows: Sequence[WhatIfRow], is_timed: bool) -> int | None:
    """Place of the quickest row within the target, of those that finish as much area as any; None where none is."""
    most = max((row.reached_mm2 for row in rows), default=0.0)
    costs = [cost_of(row, is_timed) if row.within_target and row.finishes(most) else None for row in rows]
    # of rows that take as long, the one that leaves least
    known = [(float(f"{cost:.6g}"), rows[n].cusp_p95_um or 0.0, n) for n, cost in enumerate(costs) if cost is not None]
    return min(known)[2] if known else None


class _Ground:
    """A part drawn and asked for one ball: all that its rows have in common."""

    def __init__(self, part: MeasuredPart, settings: Settings) -> None:
        self.part, self.settings = part, settings
        self.axis = np.asarray(settings.axis)
        self.drawn: Drawn = draw_zones(part.mesh, part.smooth, part.bends, settings)
        shapes = [told.shape for told in self.drawn.shapes]
        zoning = self.drawn.zoning
        self.wishes: ZoneWishes = zone_wishes(zoning, shapes, settings.job.zone, settings.subject)
        self.ids = zone_ids(len(shapes), self.wishes)
        self.is_small: Flags = np.array([shape == SMALL_FEATURES_SHAPE for shape in shapes])
        self.finished = finished_zones(zoning, self.ids, self.wishes, self.is_small)
        self.facets_um = chord_error_um(part.mesh, part.smooth, part.record.chord_error_um)
        self.off_mm = reach_tolerance_mm(settings, self.facets_um)

    @cached_property
    def tools(self) -> tuple[Tool, ...]:
        """The finishing tool, and larger ones: where a larger ball gets in, the finishing one is not asked again."""
        first, *others = tools_asked(self.settings)
        return (first, *(tool for tool in others if tool.diameter > first.diameter))

    @cached_property
    def reach(self) -> PartReach:
        return part_reach(
            self.part.mesh, self.drawn.zoning, self.finished, self.axis, self.tools, self.off_mm,
            self.settings.job.clearance,
        )  # fmt: skip

    @cached_property
    def sunk(self) -> SunkFacets:
        """What passes must not go into."""
        return sunk_facets(self.part.mesh, self.part.smooth, self.axis, pass_depth_mm(self.settings, self.off_mm))

    @cached_property
    def accuracy(self) -> Accuracy:
        return accuracy_of(self.settings, self.facets_um)

    @cached_property
    def copies(self) -> dict[int, CopyOf]:
        """Zones that are moved copies of another."""
        return copies_of(families_of(self.drawn.zoning, self.axis, self.facets_um, self.is_small))

    def reach_of(self, number: int) -> ZoneReach | None:
        share = self.settings.job.zones.corner_share
        return zone_reach(self.reach, number, self.tools, share, self.drawn.measures[number].concave_radius_mm)

    def layer(self) -> PassLayer:
        """A layer of passes for one target: what it keeps, it keeps by the stage's name."""
        return PassLayer(
            self.drawn.zoning, self.part.bends, self.sunk, self.axis, self.finished, self.settings.job,
            self.off_mm, self.copies,
        )  # fmt: skip

    def name_of(self, number: int) -> str:
        return self.wishes.name.get(number, self.drawn.measures[number].name)


def _number_of(ground: _Ground, zone: int) -> int:
    """Number, from 0, of a zone of the plan."""
    found = np.flatnonzero(ground.ids == zone)
    if zone < 1 or len(found) == 0:
        count = int((ground.ids > 0).sum())
        raise InputError("--zone", f"there is no zone {zone}", f"the plan has {counted(count, 'zone')}, from 1 on")
    if not ground.finished[found[0]]:
        raise InputError(
            "--zone", f"zone {zone} is not finished by a ball in this set-up", "ask for another one, or for all"
        )
    return int(found[0])


def _all_of(ground: _Ground) -> Mapping[int, float | None]:
    return {int(number): None for number in np.flatnonzero(ground.ids > 0)}


def _followed(home: _Ground, number: int, ground: _Ground) -> Mapping[int, float | None]:
    """The zone that most of another map's zone lies in, and the share of its area that does.

    Maps are cut from one mesh: what lies where is told by the facets of the part.
    """
    shares = _overlap_mm2(home, number, ground)
    place = int(shares.argmax())
    return {place: min(float(shares[place] / shares.sum()), 1.0)}


def _overlap_mm2(home: _Ground, number: int, ground: _Ground) -> Floats:
    """(z,) area of every zone of a map that lies in a zone of another, facets cut in both counted by shares."""
    here, there = home.drawn.zoning, ground.drawn.zoning
    cut, own = here.surface.mesh.area_mm2, here.zone == number
    facets = len(home.part.mesh.faces)
    share = np.bincount(here.surface.parent, cut * own, minlength=facets) / home.part.mesh.area_mm2
    area = there.surface.mesh.area_mm2 * share[there.surface.parent]
    found: Floats = np.bincount(there.zone, area, minlength=len(there.zone_class)).astype(np.float64)
    return found


def _row(
    ground: _Ground,
    shares: Mapping[int, float | None],
    question: Question,
    value_mm: float,
    wanted_um: float,
    lays_passes: bool,
) -> WhatIfRow:
    finish = ground.settings.stages[-1]
    stage = replace(finish, target=question.target(finish.target, value_mm))
    layer = ground.layer() if lays_passes else None
    zones = tuple(_zone_row(ground, number, stage, layer, share) for number, share in shares.items())
    is_cusp = question.kind == "cusp"
    row = WhatIfRow(
        tool=stage.tool.name,
        ball_mm=stage.tool.diameter,
        cusp_asked_um=value_mm * UM_PER_MM if is_cusp else None,
        stepover_asked_mm=None if is_cusp else value_mm,
        stepover_flat_mm=stage.target.flat_step_mm,
        zones=zones,
        **_sums(zones),
    )
    p95 = row.cusp_p95_um
    return replace(row, within_target=p95 is not None and p95 <= (1.0 + tolerances.WHAT_IF_CUSP_SHARE) * wanted_um)


def _sums(zones: Sequence[ZoneRow]) -> dict[str, Any]:
    """Fields of a row that sum up its zones."""
    cut = [zone for zone in zones if zone.chosen is not None]
    ways = [zone.chosen for zone in cut if zone.chosen is not None]
    cut_mm2 = math.fsum(zone.area_mm2 for zone in cut)
    reached_mm2 = math.fsum(zone.area_mm2 * (zone.reachable_share or 0.0) for zone in cut)
    strategies = {way.strategy for way in ways}
    return {
        "strategy": strategies.pop() if len(strategies) == 1 else None,
        "path_mm": sum_or_none(way.path_mm for way in ways),
        "passes": _count(way.passes for way in ways),
        "lifts": _count(way.lifts for way in ways),
        "cutting_min": sum_or_none(way.cutting_min for way in ways),
        "total_min": sum_or_none(way.total_min for way in ways),
        "cusp_p95_um": _most(way.cusp_p95_um for way in ways),
        "cusp_max_um": _most(way.cusp_max_um for way in ways),
        "cut_mm2": cut_mm2,
        "reachable_share": reached_mm2 / cut_mm2 if cut else None,
        "reached_mm2": reached_mm2,
        "leftover_mm2": math.fsum(zone.leftover_mm2 for zone in zones),
    }


def _zone_row(
    ground: _Ground, number: int, stage: StageConditions, layer: PassLayer | None, same_share: float | None
) -> ZoneRow:
    measure, reach = ground.drawn.measures[number], ground.reach_of(number)
    steps, told = zone_advice(
        ground.drawn.surfaces[number], measure, (stage,), ground.accuracy, ground.wishes.strategy.get(number),
        is_protected=number in ground.wishes.protected, reach=reach, laid=numbers_from(layer, number),
    )  # fmt: skip
    if layer is not None:
        steps, told, _ = layer.settled(number, steps, (stage,), told)
    leftover = None if reach is None else reach.leftover
    return ZoneRow(
        id=int(ground.ids[number]),
        name=ground.name_of(number),
        area_mm2=measure.area_mm2,
        reachable_share=None if reach is None else reach.share,
        leftover_mm2=0.0 if leftover is None else leftover.area_mm2,
        chosen=_way(steps[-1]) if steps[-1].usable else None,
        ways=tuple(_way(advice) for advice in told),
        same_share=same_share,
    )


def _way(advice: Advice) -> Way:
    cusp = advice.cusp_um
    return Way(
        advice.strategy, advice.usable, advice.stepover_mm, advice.path_mm, advice.passes, advice.lifts,
        advice.cutting_min, advice.total_min, cusp.p95, cusp.max,
    )  # fmt: skip


def _cusp_on_flat_mm(target: StageTarget) -> float:
    """The cusp that a target asks for, or that its stepover leaves on a flat."""
    if target.cusp_mm is not None:
        return target.cusp_mm
    corner = np.array([target.cutter.corner_per_mm])
    return float(target.cutter.cusp_mm(np.array([target.flat_step_mm]), corner, np.zeros(1))[0])


def _count(values: Iterable[int | None]) -> int | None:
    total = sum_or_none(values)
    return None if total is None else round(total)


def _most(values: Iterable[float | None]) -> float | None:
    """The largest; None where one is not known or there is none."""
    known = list(values)
    if not known or None in known:
        return None
    return max(value for value in known if value is not None)
