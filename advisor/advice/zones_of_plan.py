"""The zones of a plan: measures, advice, trade, outline and copies of each."""

from __future__ import annotations

from collections.abc import Callable, Generator
from contextlib import closing
from dataclasses import replace

from advisor.advice.laid_numbers import Laid
from advisor.advice.laying import numbers_from
from advisor.advice.outlines import blend_words, outline_record, overlap_of
from advisor.advice.progress import Progress
from advisor.advice.reach_of_zones import zone_reach
from advisor.advice.side_by_side import side_by_side
from advisor.advice.trade import trade_of
from advisor.advice.work import Depth, Work
from advisor.advice.zone_advice import zone_advice
from advisor.advice.zone_records import ZoneMeasures
from advisor.advice.zone_surface import ZoneSurface
from advisor.model import Advice, Repeats, Trade, Zone, ZoneReach
from advisor.part.mesh import Ints
from advisor.zones.repeats import Family

# Steps, candidates, reach and trade of a zone, and its passes step by step.
_Advised = tuple[
    tuple[Advice, ...], tuple[Advice, ...], ZoneReach | None, Trade | None, tuple[tuple[Advice, Laid], ...]
]  # fmt: skip


def zones_of_plan(work: Work, progress: Progress) -> tuple[Zone, ...]:
    """Every zone that the job does not leave out, with its advice where reach was asked."""
    repeats = _repeats(work.families, work.ids)
    asked = [number for number in range(len(work.measures)) if work.ids[number] > 0]
    what, zones = "advice" if work.layer is None else "passes", []
    with closing(_all_advice(work, asked)) as answers:
        for place, number in enumerate(asked):
            progress(f"{what}, zone {place + 1} of {len(asked)}", place / len(asked))
            zones.append(_zone(work, number, repeats.get(number), next(answers)))
    return tuple(zones)


def _all_advice(work: Work, asked: list[int]) -> Generator[_Advised, None, None]:
    """Advice zone by zone, several at once."""
    layer, stages = work.layer, work.settings.stages
    return side_by_side(
        asked,
        lambda number, check: _advice(work, number, check),
        lambda number: 0.0 if layer is None else layer.size_of(number, stages),
        {} if layer is None else layer.must_wait_for(),
    )


def _zone(work: Work, number: int, repeats: Repeats | None, advised: _Advised) -> Zone:
    measure = work.measures[number]
    steps, told, reach, trade, passes = advised
    for step, laid in passes:
        work.book.keep(int(work.ids[number]), step, laid)
    steps = _not_to_be_copied(work, number, steps, repeats)
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
        repeats=repeats,
        neighbours=tuple(
            replace(near, zone=int(work.ids[near.zone])) for near in measure.neighbours if work.ids[near.zone] > 0
        ),
        advice=steps[-1] if steps else None,
        steps=steps,
        candidates=told,
        trade=trade,
        surface=work.fits[number],
        reach=reach,
    )
    return _with_outline(zone, work, number)


def _advice(work: Work, number: int, check: Callable[[], None]) -> _Advised:
    """Advice for a zone: laid passes are of one plan, all else is kept under what it hangs on."""
    if work.reach is None:
        return (), (), None, None, ()
    if work.layer is not None:
        return _advice_asked(work, number, check)
    wishes, job = work.wishes, work.settings.job
    key = (
        work.key, work.reach_key, work.depth, number, wishes.strategy.get(number),
        number in wishes.protected,
        work.settings.stages, work.accuracy, job.zones.corner_share,
    )  # fmt: skip
    return work.kept.once("advice", key, lambda: _advice_asked(work, number, check), times=max(len(work.measures), 1))


def _advice_asked(work: Work, number: int, check: Callable[[], None]) -> _Advised:
    measure, settings, layer = work.measures[number], work.settings, work.layer
    reach = None
    if work.reach is not None:
        reach = zone_reach(work.reach, number, work.asked, settings.job.zones.corner_share, measure.concave_radius_mm)
    surface = (work.drawn.surfaces if work.depth is Depth.PLAN else work.drawn.surfaces_in_short)[number]
    steps, told = zone_advice(
        surface, measure, settings.stages, work.accuracy, work.wishes.strategy.get(number),
        is_protected=number in work.wishes.protected, reach=reach, laid=numbers_from(layer, number, check),
    )  # fmt: skip
    passes: tuple[tuple[Advice, Laid], ...] = ()
    if layer is not None:
        steps, told, laid = layer.settled(number, steps, settings.stages, told)
        passes = tuple((step, own) for step, own in zip(steps, laid, strict=True) if own is not None)
    return steps, told, reach, _trade(work, surface, measure, steps[-1]) if steps else None, passes


def _not_to_be_copied(
    work: Work, number: int, steps: tuple[Advice, ...], repeats: Repeats | None
) -> tuple[Advice, ...]:
    """Says of a copy with other neighbours than its model that the model's program does not suit it."""
    if work.layer is None or repeats is None or number not in work.layer.hemmed_in:
        return steps
    words = (
        f"It is like zone {repeats.model}, but its passes, moved here, would go into what is beside it "
        "here: others are laid. Do not copy the program."
    )
    return (*steps[:-1], replace(steps[-1], why=(*steps[-1].why, words)))


def _with_outline(zone: Zone, work: Work, number: int) -> Zone:
    """The zone with its outline told, which hangs on its stepover, and what to do where its passes run over it."""
    zone = replace(zone, outline=outline_record(work.outlines[number], overlap_of(zone, work.settings)))
    words = blend_words(zone)
    if zone.advice is None or not words:
        return zone
    advice = replace(zone.advice, why=(*zone.advice.why, *words))
    return replace(zone, advice=advice, steps=(*zone.steps[:-1], advice))


def _trade(work: Work, surface: ZoneSurface, measure: ZoneMeasures, advice: Advice) -> Trade | None:
    if work.depth is Depth.QUOTE:
        return None
    flat_below_deg, stage = work.settings.job.zones.flat_below, work.settings.stages[-1]
    drawn = work.drawn
    return trade_of(
        surface, measure, stage, work.accuracy, advice, flat_below_deg, drawn.prices.blend_mm_per_mm,
        drawn.steep_from_deg,
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
