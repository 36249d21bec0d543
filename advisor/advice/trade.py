"""The trade of a zone that was kept together: one walk-down against the best split by slope."""

from __future__ import annotations

import math

import numpy as np

from advisor.advice.candidates import constant_z, parallel_line
from advisor.advice.complete import Accuracy, ZoneExtent, completed
from advisor.advice.conditions import StageConditions, zone_conditions
from advisor.advice.lines import best_direction_deg, lines_at
from advisor.advice.split import Split, best_split, part_of
from advisor.advice.zone_records import ZoneMeasures
from advisor.advice.zone_surface import ZoneSurface
from advisor.model import Advice, Trade
from advisor.part.mesh import Flags


def trade_of(
    surface: ZoneSurface,
    measure: ZoneMeasures,
    stage: StageConditions,
    accuracy: Accuracy,
    advice: Advice,
    flat_below_deg: float,
    blend_price: float,
) -> Trade | None:
    """What keeping a zone together saves, or None for a zone of one class or one that is not cut here.

    Parameters
    ----------
    flat_below_deg : float
        Below this slope a split has lines of their own, where that pays.
    blend_price : float
        Path that a mm of blend line is worth, mm per mm.
    """
    if not measure.is_mixed or not advice.usable or advice.path_mm is None:
        return None
    split = best_split(surface, stage.target, flat_below_deg, blend_price)
    gentle = np.zeros(len(surface.slope_deg), bool) if split is None else surface.slope_deg < split.slope_deg
    if split is None or not gentle.any() or gentle.all():
        why = ("No split by slope holds the target with lines below and level passes above.",)
        return Trade(
            advice.path_mm, advice.total_min, advice.tip_contact_share, None, None, None, None, None, None, why
        )
    parts = _parts(surface, gentle, measure, stage, accuracy, split)
    minutes = _sum([_minutes(part, path) for part, path in zip(parts, (split.line_mm, split.level_mm), strict=True)])
    tip = _mean_tip_share(parts, float(surface.area_mm2[gentle].sum() / surface.total_mm2))
    price = blend_price * split.blend_mm
    return Trade(
        whole_path_mm=advice.path_mm,
        whole_min=advice.total_min,
        whole_tip_share=advice.tip_contact_share,
        split_at_deg=split.slope_deg,
        split_path_mm=split.path_mm,
        split_min=minutes,
        split_tip_share=tip,
        blend_mm=split.blend_mm,
        blend_price_mm=price,
        why=_words(advice, split, minutes, price),
    )


def _parts(
    surface: ZoneSurface,
    gentle: Flags,
    measure: ZoneMeasures,
    stage: StageConditions,
    accuracy: Accuracy,
    split: Split,
) -> tuple[Advice, Advice]:
    """Lines below the split and level passes above it, with their conditions."""
    below, above = part_of(surface, gentle), part_of(surface, ~gentle)
    lines = lines_at(below, stage.target.cutter, best_direction_deg(below, stage.target))
    told = []
    for part, advice in (
        (below, parallel_line(below, stage.target, lines)),
        (above, constant_z(above, stage.target)),
    ):
        conditions = zone_conditions(part, stage, advice.tip_contact_share or 0.0, has_inside_corner=False)
        extent = ZoneExtent(measure.z_mm.max - measure.z_mm.min, measure.rim_mm + split.blend_mm)
        told.append(completed(advice, part, extent, stage, conditions, accuracy))
    return told[0], told[1]


def _minutes(advice: Advice, path_mm: float) -> float | None:
    """Minutes of a part, for the path that the split gives it: it cuts through facets, the part does not."""
    if advice.total_min is None or not advice.path_mm:
        return None
    return advice.total_min * path_mm / advice.path_mm


def _sum(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return math.fsum(known) if len(known) == len(values) else None


def _mean_tip_share(parts: tuple[Advice, Advice], gentle_share: float) -> float:
    below, above = (part.tip_contact_share or 0.0 for part in parts)
    return gentle_share * below + (1 - gentle_share) * above


def _words(advice: Advice, split: Split, minutes: float | None, price_mm: float) -> tuple[str, ...]:
    assert advice.path_mm is not None
    more = split.path_mm / advice.path_mm - 1
    floor = ", closer ones off the floor," if split.has_own_floor else ""
    sentences = [
        f"Kept together: {advice.path_mm:.0f} mm of path. Split at {split.slope_deg:.0f} deg, where a split is "
        f"shortest, lines below{floor} and level passes above need {split.path_mm:.0f} mm ({more:+.0%}) and blend "
        f"lines of {split.blend_mm:.0f} mm, which count as {price_mm:.0f} mm more."
    ]
    if advice.total_min is not None and minutes is not None:
        sentences.append(f"That is {advice.total_min:.1f} min against {minutes:.1f} min.")
    return tuple(sentences)
