"""The trade of a zone that was kept together: one walk-down against the cheapest split by slope."""

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
from advisor.words import plain_number

# A zone whose slopes lie within this is of one slope: a cone at a threshold has two classes by chance of rounding.
_ONE_SLOPE_DEG = 2.0


def trade_of(
    surface: ZoneSurface,
    measure: ZoneMeasures,
    stage: StageConditions,
    accuracy: Accuracy,
    advice: Advice,
    flat_below_deg: float,
    blend_price: float,
    steep_from_deg: float | None = None,
) -> Trade | None:
    """What keeping a zone together saves, or None for a zone of one class or slope, or one that is not cut here.

    Parameters
    ----------
    flat_below_deg : float
        Below this slope a split has lines of their own, where that pays.
    blend_price : float
        Path that a mm of blend line is worth, mm per mm.
    steep_from_deg : float or None
        Slope from which the job calls a surface steep: the split into the job's classes is compared too.
    """
    if not measure.is_mixed or not advice.usable or advice.path_mm is None:
        return None
    if measure.slope_deg.p95 - measure.slope_deg.p05 < _ONE_SLOPE_DEG:
        return None
    split = best_split(surface, stage.target, flat_below_deg, blend_price, steep_from_deg)
    gentle = np.zeros(len(surface.slope_deg), bool) if split is None else surface.slope_deg < split.slope_deg
    if split is None or not gentle.any() or gentle.all():
        why = (_whole(advice), "No split by slope holds the target with lines below and level passes above.")
        return Trade(
            advice.path_mm, advice.total_min, advice.tip_contact_share, None, None, None, None, None, None, why
        )
    parts = _parts(surface, gentle, measure, stage, accuracy, split)
    minutes = _sum([_minutes(part, path) for part, path in zip(parts, (split.line_mm, split.level_mm), strict=True)])
    price = blend_price * split.blend_mm
    return Trade(
        whole_path_mm=advice.path_mm,
        whole_min=advice.total_min,
        whole_tip_share=advice.tip_contact_share,
        split_at_deg=split.slope_deg,
        split_path_mm=split.path_mm,
        split_min=minutes,
        # where on the ball the contact lies follows from the slope: no family of passes moves it
        split_tip_share=advice.tip_contact_share,
        blend_mm=split.blend_mm,
        blend_price_mm=price,
        why=(_whole(advice), _against(advice, split, minutes, price)),
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


def _whole(advice: Advice) -> str:
    assert advice.path_mm is not None
    return f"Kept together: {plain_number(advice.path_mm)} mm of path{_minute_words(advice.total_min)}."


def _against(advice: Advice, split: Split, minutes: float | None, price_mm: float) -> str:
    assert advice.path_mm is not None
    way = f"Cheapest split, at {split.slope_deg:.0f} deg with lines below and level passes above"
    if split.floor_below_deg is not None:
        way = (
            f"Cheapest split, at {split.floor_below_deg:.0f} and {split.slope_deg:.0f} deg with lines on the flat, "
            "closer lines between and level passes above"
        )
    return (
        f"{way}: {plain_number(split.path_mm)} mm ({split.path_mm / advice.path_mm - 1:+.0%}){_minute_words(minutes)}, "
        f"and {plain_number(split.blend_mm)} mm of blend line that counts as {plain_number(price_mm)} mm more."
    )


def _minute_words(minutes: float | None) -> str:
    return "" if minutes is None else f", {minutes:,.0f} min" if minutes >= 10 else f", {minutes:.1f} min"
