"""Maps of where the finishing cutter gets to: reach, largest ball that fits, material left, stick-out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.advice.facet_parts import with_parts
from advisor.model import Plan
from advisor.pack.colour_map import (
    SHADE_OF_SCALES,
    ColourMap,
    ColourMode,
    LegendRow,
    facet_areas,
    marks_of,
    named,
    paint_of,
    shares_of,
)
from advisor.pack.lengths import LengthUnit, length_unit
from advisor.pack.palette import FREE, LEFT_OUT, REACH_PAINTS, UNKNOWN, Colour, Paint
from advisor.pack.scales import Scale, bands_of, edges_among, ramp, round_edges, share_below
from advisor.words import counted

# Names of ``FacetArrays.reach``, and what each means.
REACH_NAMES: Final = (
    ("reached", "the cutter gets there"),
    ("cutter too large", "or no way in"),
    ("shank or holder", "would touch"),
    ("hidden", "or faces away"),
)
# Ends of a scale leave this share of the area beyond them: one bad spot must not squeeze all the rest into a band.
ROBUST_SHARE: Final = 0.99
# Ball diameters as they are sold: common practice, no source. Larger ones limit no finishing.
SHELF: Final = {
    "mm": (0.0, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 32.0, 50.0),
    "in": (0.0, 0.015625, 0.03125, 0.0625, 0.125, 0.1875, 0.25, 0.375, 0.5, 0.625, 0.75, 1.0, 1.25, 2.0),
}

Values = NDArray[np.float64]


def drawn_plan(plan: Plan, mode: ColourMode) -> Plan:
    """The plan to draw in a mode: large facets in the parts that what reach says of them was worked out for."""
    if mode not in ("reach", "ball", "leftover", "stick_out"):
        return plan
    return replace(plan, facets=with_parts(plan.facets))


@dataclass(frozen=True)
class _Quantity:
    """A number of every facet: how it is called, which end is dark, and what is free of it.

    ``nowhere`` is said where no place has a number, nor is free.
    """

    mode: ColourMode
    title: str
    heading: str
    caption: str
    low_is_dark: bool
    free: Callable[[Values, LengthUnit], NDArray[np.bool_]]
    free_words: Callable[[Values, LengthUnit], tuple[str, str]] | None
    edges: Callable[[Values, Values, LengthUnit], tuple[float, ...]]
    tick: Callable[[float, LengthUnit], str]
    nowhere: str = "No place has a number."


def reach_map(plan: Plan, reach: NDArray[np.int8]) -> ColourMap:
    """Four named kinds of place: reached, cutter too large, shank or holder in the way, hidden."""
    known = (reach >= 0) & (reach < len(REACH_PAINTS))
    index = np.where(known, reach, len(REACH_PAINTS)).astype(np.uint8)
    paints, index = _left_out(plan, (*REACH_PAINTS, UNKNOWN), index)
    areas = facet_areas(plan)
    shares = shares_of(index, areas, len(paints))
    rows = [named(paints[k], *words, float(shares[k])) for k, words in enumerate(REACH_NAMES)]
    if not known.all():
        rows.append(_unknown_row(float(shares[len(REACH_PAINTS)])))
    return ColourMap(
        "reach", "Reach map", "reach of the finishing cutter", paints, index, (*rows, *_left_out_row(shares, paints)),
        marks_of(plan, areas, index, paints),
        "Pale green is cut by the finishing cutter; the darker, the more is in its way. Hatched: shank or holder would "
        "touch the part.  A zone's mark shows its shares.",
    )  # fmt: skip


def ball_map(plan: Plan, needed_ball_mm: NDArray[np.float32]) -> ColourMap:
    """Diameter of the largest ball that fits in each place."""
    return _scale_map(plan, needed_ball_mm, _BALL)


def leftover_map(plan: Plan, leftover_mm: NDArray[np.float32]) -> ColourMap:
    """Height of material that the finishing cutter leaves in each place."""
    return _scale_map(plan, leftover_mm, _LEFTOVER)


def stick_out_map(plan: Plan, stick_out_mm: NDArray[np.float32]) -> ColourMap:
    """Least length out of the holder that each place asks for."""
    return _scale_map(plan, stick_out_mm, _STICK_OUT)


def _ball_edges(values: Values, areas: Values, unit: LengthUnit) -> tuple[float, ...]:
    low = share_below(values, areas, 1.0 - ROBUST_SHARE)
    return edges_among(SHELF[unit.sign], low, share_below(values, areas, ROBUST_SHARE))


def _leftover_edges(values: Values, areas: Values, unit: LengthUnit) -> tuple[float, ...]:
    return round_edges(0.0, share_below(values, areas, ROBUST_SHARE))


def _stick_out_edges(values: Values, areas: Values, unit: LengthUnit) -> tuple[float, ...]:
    low = share_below(values, areas, 1.0 - ROBUST_SHARE)
    return round_edges(low, share_below(values, areas, ROBUST_SHARE))


def _plain(number: float, unit: LengthUnit) -> str:
    return f"{number:.4g}"


def _size(number: float, unit: LengthUnit) -> str:
    """A diameter as it is sold: inches in fractions."""
    if not unit.is_inch:
        return f"{number:g}"
    whole, rest = divmod(Fraction(number), 1)
    return " ".join(str(part) for part in (whole, rest) if part) or "0"


def _takes_any_ball(values: Values, unit: LengthUnit) -> NDArray[np.bool_]:
    any_ball: NDArray[np.bool_] = values >= SHELF[unit.sign][-1]
    return any_ball


def _any_ball_words(values: Values, unit: LengthUnit) -> tuple[str, str]:
    return "any ball", f"of {SHELF[unit.sign][-1]:g} {unit.sign} and more"


def _nothing(values: Values, unit: LengthUnit) -> NDArray[np.bool_]:
    return np.zeros(len(values), np.bool_)


_BALL: Final = _Quantity(
    "ball", "Largest ball map", "largest ball that fits",
    "Darker is tighter: the lower number of a band is a ball that fits all over it.  A zone's mark shows its shares.",
    True, _takes_any_ball, _any_ball_words, _ball_edges, _size,
)  # fmt: skip
_LEFTOVER: Final = _Quantity(
    "leftover", "Leftover map", "height left by the finishing cutter",
    "Darker is more material left; it stands up from the finished surface.  A zone's mark shows its shares.",
    False, lambda values, unit: values <= 0.0, lambda values, unit: ("nothing left", "the cutter gets there"),
    _leftover_edges, _plain,
)  # fmt: skip
_STICK_OUT: Final = _Quantity(
    "stick_out", "Stick-out map", "least length out of the holder",
    "Darker asks for a longer tool: the length out of the holder that clears the part.  "
    "A zone's mark shows its shares.",
    False, _nothing, None, _stick_out_edges, _plain, "No place has a number: the job gives no holder to keep clear of.",
)  # fmt: skip


def _scale_map(plan: Plan, values_mm: NDArray[np.float32], quantity: _Quantity) -> ColourMap:
    unit, areas = length_unit(plan.record), facet_areas(plan)
    values = values_mm.astype(np.float64) / unit.mm
    unknown = np.isnan(values)
    free = ~unknown & quantity.free(values, unit)
    told = ~unknown & ~free
    edges = quantity.edges(values[told], areas[told], unit) if told.any() and areas[told].sum() > 0.0 else ()
    colours = ramp(max(0, len(edges) - 1))
    colours = colours[::-1] if quantity.low_is_dark else colours
    count = len(colours)
    index = np.full(len(values), count, np.uint8)
    if count:
        index[told] = bands_of(values[told], edges)
    index[unknown] = count + 1
    paints, index = _left_out(plan, (*(paint_of(c, SHADE_OF_SCALES) for c in colours), FREE, UNKNOWN), index)
    shares = shares_of(index, areas, len(paints))
    rows = (
        [] if quantity.free_words is None else [named(FREE, *quantity.free_words(values, unit), float(shares[count]))]
    )
    rows += [_unknown_row(float(shares[count + 1])), *_left_out_row(shares, paints)]
    ticks = tuple((k / max(count, 1), quantity.tick(edge, unit)) for k, edge in enumerate(edges))
    scale = _scale(colours, ticks, (edges[0], edges[-1]), values[told], shares, unit) if count else None
    note = _ends(values[told], unit) if count else "" if free.any() else quantity.nowhere
    if quantity.mode == "leftover" and plan.record.leftovers:
        note = f"{counted(len(plan.record.leftovers), 'place')}, {note}"
    return ColourMap(
        quantity.mode, quantity.title, quantity.heading, paints, index, tuple(rows),
        marks_of(plan, areas, index, paints), quantity.caption, scale, note,
    )  # fmt: skip


def _scale(
    colours: tuple[Colour, ...],
    ticks: tuple[tuple[float, str], ...],
    ends: tuple[float, float],
    values: Values,
    shares: Values,
    unit: LengthUnit,
) -> Scale:
    in_bands = tuple(float(share) for share in shares[: len(colours)])
    return Scale(colours, ticks, unit.sign, in_bands, bool(values.min() < ends[0]), bool(values.max() > ends[1]))


def _ends(values: Values, unit: LengthUnit) -> str:
    least, greatest = (f"{value:.3g}" for value in (values.min(), values.max()))
    return f"least {least} {unit.sign}, greatest {greatest} {unit.sign}"


def _left_out(
    plan: Plan, paints: tuple[Paint, ...], index: NDArray[np.uint8]
) -> tuple[tuple[Paint, ...], NDArray[np.uint8]]:
    """What the job leaves out has a paint of its own, which comes last."""
    return (*paints, LEFT_OUT), np.where(plan.facets.zone < 0, len(paints), index).astype(np.uint8)


def _left_out_row(shares: Values, paints: tuple[Paint, ...]) -> tuple[LegendRow, ...]:
    share = float(shares[len(paints) - 1])
    return (named(LEFT_OUT, "left out", "by the job", share),) if share > 0.0 else ()


def _unknown_row(share: float) -> LegendRow:
    return named(UNKNOWN, "not known", "", share)
