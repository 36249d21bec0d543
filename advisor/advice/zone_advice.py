"""Advice for one zone, stage by stage."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from advisor.advice.candidates import candidate, covers, refused_candidates
from advisor.advice.choose import ZoneFacts, choose, is_cut_here
from advisor.advice.complete import Accuracy, ZoneExtent, completed, condition_words
from advisor.advice.conditions import StageConditions, zone_conditions
from advisor.advice.left_before import left_words, out_of_reach_words
from advisor.advice.lines import Lines, best_direction_deg, lines_at
from advisor.advice.step_curve import step_curve
from advisor.advice.zone_records import ZoneMeasures
from advisor.advice.zone_surface import ZoneSurface
from advisor.cutter.cutter import Cutter
from advisor.model import Advice, Strategy, ZoneReach


def zone_advice(
    surface: ZoneSurface,
    measure: ZoneMeasures,
    stages: tuple[StageConditions, ...],
    accuracy: Accuracy,
    locked: Strategy | None,
    *,
    is_protected: bool = False,
    reach: ZoneReach | None = None,
    laid: Callable[[Advice, StageConditions], Advice] = lambda advice, stage: advice,
) -> tuple[tuple[Advice, ...], tuple[Advice, ...]]:
    """What to do with a zone.

    `laid` lays a candidate's passes on the part and gives it their numbers for the estimates: all candidates of the
    last stage, what is chosen of the others.

    Returns
    -------
    steps : the advice of every stage, in cutting order
    candidates : all three of the last stage
    """
    facts = ZoneFacts(
        measure.slope_class, measure.slope_deg, measure.shape, measure.features, measure.is_mixed, is_protected,
        *((1.0, ()) if reach is None else (reach.share, reach.why)),
    )  # fmt: skip
    if not is_cut_here(facts):
        refused = [choose(facts, refused_candidates(stage.target), locked) for stage in stages]
        return tuple(chosen for chosen, _ in refused), refused[-1][1]
    extent = ZoneExtent(measure.z_mm.max - measure.z_mm.min, measure.rim_mm)
    steps: list[Advice] = []
    told: tuple[Advice, ...] = ()
    for stage, lines in _lines_by_stage(surface, stages):
        families = covers(surface, stage.target, lines)
        told = tuple(candidate(surface, stage.target, family) for family in families)
        hollow_mm, has_corner = measure.concave_radius_mm, measure.has_inside_corner
        left = left_words(stage, hollow_mm, has_corner=has_corner)
        conditions = zone_conditions(
            surface, stage, told[0].tip_contact_share or 0.0, has_inside_corner=has_corner or bool(left)
        )
        told = tuple(completed(c, surface, extent, stage, conditions, accuracy) for c in told)
        is_last = stage is stages[-1]
        if is_last:
            told = tuple(
                replace(c, step_curve=step_curve(c, family, surface, extent, stage, conditions))
                for c, family in zip((laid(c, stage) for c in told), families, strict=True)
            )
        chosen, told = choose(facts, told, locked)
        if not is_last:
            chosen = laid(chosen, stage)
            chosen = replace(chosen, why=(*chosen.why, *out_of_reach_words(chosen, stage)))
        # curves are there to compare candidates: with them, not once more with what is advised
        why = (*chosen.why, *condition_words(chosen, stage, conditions), *left)
        steps.append(replace(chosen, why=why, step_curve=()))
    steps[-1] = replace(steps[-1], why=(*steps[-1].why, *(() if reach is None else reach.why)))
    return tuple(steps), told


def _lines_by_stage(
    surface: ZoneSurface, stages: tuple[StageConditions, ...]
) -> Iterator[tuple[StageConditions, Lines]]:
    """Every stage with its lines: one direction for all, best for the last, for all cross the same slopes."""
    direction_deg = best_direction_deg(surface, stages[-1].target)
    by_cutter: dict[Cutter, Lines] = {}
    for stage in stages:
        cutter = stage.target.cutter
        if cutter not in by_cutter:
            by_cutter[cutter] = lines_at(surface, cutter, direction_deg)
        yield stage, by_cutter[cutter]
