"""The order in which a shop would cut a plan: set-up by set-up, stage by stage, tool by tool, from the top down."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from advisor.advice.totals import sum_or_none
from advisor.model import Advice, Leftover, Orientation, PlanRecord, Strategy, Zone

# Zones whose tops lie no further apart are at one height.
_ONE_HEIGHT_MM: Final = 0.1


@dataclass(frozen=True)
class WorkStep:
    """What is cut without a change of set-up, stage, tool, tilt or strategy.

    Attributes
    ----------
    setup : int
        Place in ``PlanRecord.setups``.
    stage : str
        Name of the stage; of places left over the kind of pass.
    tool : str
        Its name.
    orientation : Orientation or None
        Fixed tilt of the tool; None where the plan tells of none.
    strategy : Strategy or None
        None for places left over.
    zones : tuple of int
        In the order of cutting; of places left over those they lie in.
    places : tuple of int
        Places left over; empty for zones.
    path_mm, total_min : float or None
        Of all of the step; None where one of its parts is not known.
    """

    setup: int
    stage: str
    tool: str
    orientation: Orientation | None
    strategy: Strategy | None
    zones: tuple[int, ...]
    places: tuple[int, ...]
    path_mm: float | None
    total_min: float | None


def work_order(record: PlanRecord) -> list[WorkStep]:
    """Steps of the work in their order.

    Set-ups and stages keep the order of the job. Within a stage come larger tools before smaller, one tilt after
    another, and higher zones before lower: chips and tool then come down on what is not finished yet. At one height, as
    a land and the pockets in it, the zone that reaches less deep comes first. Corners and grooves left over come last
    in their set-up, larger tools first: a small tool then meets nothing but the rest. (common practice, no source)
    """
    told: list[WorkStep] = []
    for setup in range(len(record.setups)):
        for number in range(len(record.stages)):
            told += _stage_steps(record, setup, number)
        told += _place_steps(record, setup)
    return told


def steps_of(record: PlanRecord, stage: int) -> list[tuple[Zone, Advice]]:
    """Zones that are cut in a stage, with the advice for it."""
    return [(zone, zone.steps[stage]) for zone in record.zones if len(zone.steps) > stage and zone.steps[stage].usable]


@dataclass(frozen=True)
class StageSums:
    """What a stage comes to: zones cut, path and minutes; None where one of these is not known."""

    zones: int
    path_mm: float | None
    total_min: float | None


def stage_sums(record: PlanRecord, stage: int) -> StageSums:
    """Sums of a stage over the zones that are cut in it."""
    steps = [step for _, step in steps_of(record, stage)]
    if not steps:
        return StageSums(0, 0.0, 0.0)
    return StageSums(
        len(steps), sum_or_none(step.path_mm for step in steps), sum_or_none(step.total_min for step in steps)
    )


def _stage_steps(record: PlanRecord, setup: int, number: int) -> Iterator[WorkStep]:
    tilt = {zone: place for place, one in enumerate(record.orientations) for zone in one.zones}
    cut = [(zone, step) for zone, step in steps_of(record, number) if zone.setup == setup]

    def change(member: tuple[Zone, Advice]) -> tuple[float, int, int]:
        zone, step = member
        return (-record.tools[step.tool].diameter_mm, step.tool, tilt.get(zone.id, -1))

    for (_, tool, place), alike in itertools.groupby(sorted(cut, key=change), key=change):
        for members in _downward(list(alike)):
            yield WorkStep(
                setup, record.stages[number].name, record.tools[tool].name,
                None if place < 0 else record.orientations[place], members[0][1].strategy,
                tuple(zone.id for zone, _ in members), (), sum_or_none([step.path_mm for _, step in members]),
                sum_or_none([step.total_min for _, step in members]),
            )  # fmt: skip


def _downward(members: list[tuple[Zone, Advice]]) -> list[list[tuple[Zone, Advice]]]:
    """Zones from the top down, those of one strategy that follow one another together."""
    steps: list[list[tuple[Zone, Advice]]] = []
    for level in _levels(members):
        for member in sorted(level, key=lambda member: (-round(member[0].z_mm.min / _ONE_HEIGHT_MM), member[0].id)):
            if steps and steps[-1][0][1].strategy == member[1].strategy:
                steps[-1].append(member)
            else:
                steps.append([member])
    return steps


def _levels(members: list[tuple[Zone, Advice]]) -> list[list[tuple[Zone, Advice]]]:
    """Zones with their tops at one height, from the highest down."""
    levels: list[list[tuple[Zone, Advice]]] = []
    last = math.inf
    for member in sorted(members, key=lambda member: (-member[0].z_mm.max, member[0].id)):
        if not levels or last - member[0].z_mm.max > _ONE_HEIGHT_MM:
            levels.append([])
        levels[-1].append(member)
        last = member[0].z_mm.max
    return levels


def _place_steps(record: PlanRecord, setup: int) -> Iterator[WorkStep]:
    """Places left over that a tool of the job gets to, by tool and kind of pass."""
    at = {zone.id: zone.setup for zone in record.zones}
    diameters = {tool.name: tool.diameter_mm for tool in record.tools}
    groups: dict[tuple[float, str, str], list[Leftover]] = {}
    for place in record.leftovers:
        if place.tool is not None and at.get(place.zones[0], 0) == setup:
            diameter = diameters.get(place.tool, place.diameter_mm or 0.0)
            groups.setdefault((-diameter, place.tool, place.pass_kind or place.kind), []).append(place)
    for (_, tool, kind), places in sorted(groups.items()):
        zones = dict.fromkeys(zone for place in places for zone in place.zones)
        yield WorkStep(
            setup, kind, tool, None, None, tuple(zones), tuple(place.id for place in places),
            sum_or_none([place.pass_path_mm for place in places]), sum_or_none([place.cutting_min for place in places]),
        )  # fmt: skip
