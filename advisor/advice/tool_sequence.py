"""Which tools to finish with: one for all it reaches, smaller ones only where they are needed, in the least time."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np

from advisor.advice.conditions import StageConditions, zone_conditions
from advisor.advice.reach import REACHED, PartReach
from advisor.advice.zone_surface import ZoneSurface
from advisor.cutter.tool_body import cutter_of
from advisor.job import Tool
from advisor.model import SequenceStep, ToolSequence
from advisor.part.mesh import Floats
from advisor.words import plain_number

# A sequence must get to all but this share of what all tools together get to.
_SLACK = 0.005
# Without a feed a minute counts as the path of a usual finishing feed (common practice, no source).
_PATH_A_MINUTE_MM = 2000.0
# With more tools than this not every choice is tried: the smallest are looked at two at a time.
_MOST_TOOLS = 12


@dataclass(frozen=True)
class _Rates:
    """Of every tool: area finished a mm of path, and a minute where the feed is known, and what a change costs."""

    step_mm: Floats
    area_per_min: Floats | None
    change_min: float


def tool_sequence(
    part: PartReach, is_finished: np.ndarray, tools: Sequence[Tool], stage: StageConditions, surface: ZoneSurface
) -> ToolSequence | None:
    """The tools that finish all that any of them gets to in the least time; None where nothing is reached.

    Every choice of tools is tried: the first finishes all it reaches, each next one, smaller, what those before it are
    too large for. Minutes are area over step and feed, feeds as on the largest zone; lifts and links are not counted.

    Parameters
    ----------
    part : PartReach
    is_finished : (k,) bool array
        Samples that are to be finished.
    tools : the tools asked for, in the order of ``part.by_tool``
    stage : StageConditions
        The finishing stage.
    surface : ZoneSurface
        Of the largest zone that is cut.
    """
    order = sorted(range(len(tools)), key=lambda n: (-tools[n].diameter, -tools[n].corner_radius_mm, n))[:_MOST_TOOLS]
    reached = np.array([part.by_tool[number].state[is_finished] == REACHED for number in order])
    kinds, kind = np.unique(reached, axis=1, return_inverse=True)
    weight = part.samples.area_mm2[is_finished]
    areas = np.asarray(np.bincount(kind.ravel(), weight, minlength=kinds.shape[1]), dtype=np.float64)
    least = (1.0 - _SLACK) * float(areas[kinds.any(axis=0)].sum())
    if least <= 0.0:
        return None
    rates = _rates([tools[number] for number in order], stage, surface)
    best: tuple[float, int, tuple[int, ...]] | None = None
    for count in range(1, len(order) + 1):
        for chosen in combinations(range(len(order)), count):
            shares = _shares(kinds, areas, chosen)
            if sum(shares) < least or (count > 1 and min(shares) <= 0.0):
                continue
            cost = _cost(shares, chosen, rates)
            if best is None or (cost, count) < best[:2]:
                best = (cost, count, chosen)
        if best is not None and count > best[1] + 1:
            break  # two more tools than the best so far have not paid
    if best is None:
        return None
    return _told(best[2], _shares(kinds, areas, best[2]), [tools[number] for number in order], rates)


def _shares(kinds: np.ndarray, areas: Floats, chosen: tuple[int, ...]) -> list[float]:
    """Area that each chosen tool finishes: what it reaches and those before it do not."""
    left = np.ones(kinds.shape[1], bool)
    shares = []
    for tool in chosen:
        takes = left & kinds[tool]
        shares.append(float(areas[takes].sum()))
        left &= ~takes
    return shares


def _cost(shares: Sequence[float], chosen: tuple[int, ...], rates: _Rates) -> float:
    """Minutes, of a usual feed where none is known; with the changes of tools."""
    rate = rates.step_mm * _PATH_A_MINUTE_MM if rates.area_per_min is None else rates.area_per_min
    cutting = sum(share / float(rate[tool]) for share, tool in zip(shares, chosen, strict=True))
    return float(cutting) + rates.change_min * (len(chosen) - 1)


def _rates(tools: Sequence[Tool], stage: StageConditions, surface: ZoneSurface) -> _Rates:
    steps, feeds = [], []
    for tool in tools:
        target = stage.target.with_cutter(cutter_of(tool))
        conditions = zone_conditions(surface, replace(stage, target=target, tool=tool), 0.0, has_inside_corner=False)
        steps.append(target.flat_step_mm)
        feeds.append(conditions.feed_mm_per_min)
    known = [feed for feed in feeds if feed is not None]
    minutes = np.array(steps) * np.array(known) if len(known) == len(tools) else None
    return _Rates(np.array(steps), minutes, stage.machine.tool_change_min)


def _told(chosen: tuple[int, ...], shares: list[float], tools: Sequence[Tool], rates: _Rates) -> ToolSequence:
    steps = tuple(
        SequenceStep(
            tool=tools[number].name,
            diameter_mm=tools[number].diameter,
            area_mm2=share,
            path_mm=share / float(rates.step_mm[number]),
            cutting_min=None if rates.area_per_min is None else share / float(rates.area_per_min[number]),
        )
        for number, share in zip(chosen, shares, strict=True)
    )
    minutes = None
    if rates.area_per_min is not None:
        minutes = sum(step.cutting_min or 0.0 for step in steps) + rates.change_min * (len(steps) - 1)
    names = ", then ".join(_called(step, {(tool.name, tool.diameter) for tool in tools}) for step in steps)
    why = f"{names}: of all choices of the tools asked for, the one of least {'path' if minutes is None else 'time'}."
    return ToolSequence(steps, minutes, why)


def sequence_over_setups(sequences: Sequence[ToolSequence | None], change_min: float) -> ToolSequence | None:
    """The tools of all set-ups with what each finishes in all of them, large first; None where there are none.

    Every set-up is finished with the sequence best for it, large tools first. A change is counted wherever the next
    tool, in the set-up or at the start of the next one, is not the one in the spindle.

    Parameters
    ----------
    sequences : one a set-up, None where nothing is reached
    change_min : float
        Minutes that a change of tools costs.
    """
    known = [(number, sequence) for number, sequence in enumerate(sequences, start=1) if sequence is not None]
    if not known:
        return None
    in_turn = [step for _, sequence in known for step in sequence.steps]
    changes = sum(one.tool != other.tool for one, other in pairwise(in_turn))
    by_tool: dict[str, list[SequenceStep]] = {}
    for step in sorted(in_turn, key=lambda step: (-step.diameter_mm, step.tool)):
        by_tool.setdefault(step.tool, []).append(step)
    steps = tuple(_summed(same) for same in by_tool.values())
    cutting = [step.cutting_min for step in steps]
    minutes = None if None in cutting else sum(value or 0.0 for value in cutting) + change_min * changes
    all_tools = {(step.tool, step.diameter_mm) for step in in_turn}
    names = "; ".join(
        f"set-up {number}: " + ", then ".join(_called(step, all_tools) for step in sequence.steps)
        for number, sequence in known
    )
    least = "path" if minutes is None else "time"
    why = f"{names}: of all choices of the tools asked for, those of least {least} in each set-up, {changes} changes."
    return ToolSequence(steps, minutes, why)


def _called(step: SequenceStep, tools: Collection[tuple[str, float]]) -> str:
    """A step's tool by its diameter, by its name where another of the tools, names and diameters, is as wide."""
    is_only = sum(diameter == step.diameter_mm for _, diameter in tools) == 1
    return f"{plain_number(step.diameter_mm)} mm" if is_only else step.tool


def _summed(steps: Sequence[SequenceStep]) -> SequenceStep:
    """What one tool finishes in several set-ups."""
    minutes = [step.cutting_min for step in steps]
    return replace(
        steps[0],
        area_mm2=sum(step.area_mm2 for step in steps),
        path_mm=sum(step.path_mm for step in steps),
        cutting_min=None if None in minutes else sum(value or 0.0 for value in minutes),
    )
