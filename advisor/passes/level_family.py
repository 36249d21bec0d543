"""Constant-Z passes over a zone, with levels put in between where the slope is shallow."""

from __future__ import annotations

import numpy as np

from advisor.cutter.cutter import Cutter
from advisor.part.mesh import Floats
from advisor.passes.families import (
    between_ends,
    climb_of,
    drawn,
    ended_at_overlap,
    extremes,
    led_coordinate,
    spread_levels,
)
from advisor.passes.joins import in_order, rolled_round_edges
from advisor.passes.lines import PassLines
from advisor.passes.pieces import LedPoint, below, chosen, together
from advisor.passes.surface import PassSurface

# Times the step between levels is halved at most: with 5, steps hold down to 1 / 32 of the sine of the slope that the
# base step was made for.
_MOST_HALVINGS = 5
# Added levels run on to where the step is this many halvings short of needing them: a little overlap, and rings on
# which the slope is the same all round but for rounding do not fall to pieces.
_MARGIN_HALVINGS = 0.25
# A step too wide by less than this (a 50th, in halvings) calls for no level: it is rounding, or raises a cusp by 4 %.
_SLACK_HALVINGS = 0.03
# Facets flatter than this (sine of half a degree) have no levels but by rounding.
_LEAST_CLIMB = 0.01


def level_passes(
    surface: PassSurface,
    cutter: Cutter,
    led: LedPoint,
    axis: Floats,
    z_step_mm: float,
    step_mm: Floats,
    overlap_mm: float,
    tolerance_mm: float,
) -> PassLines:
    """Passes at constant height of the middle of the cutter (or of its contact), halved where they lie too far apart.

    The base levels lie evenly over the zone, a step apart, the first and the last within half a step of where it ends.
    Where they would be further apart along the surface than the zone's cusp allows, levels are added half way between,
    only there, and again up to five times: on what is flatter still parallel lines or offsets are for.

    Parameters
    ----------
    surface : PassSurface
    cutter : Cutter
        Rolls round outside corners of walls.
    led : LedPoint
        ``families.centre_of(cutter)`` for a machine that keeps its height along every pass.
    axis : (3,) unit vector from the part to the spindle
    z_step_mm : float, above 0
    step_mm : (m,) float array
        Greatest step along the surface on each facet, that of the contact.
    overlap_mm : float, 0 or more
    tolerance_mm : float, above 0
        Chord error of the arc round an outside corner.

    Returns
    -------
    PassLines
        Levels count from the lowest that is there.
    """
    value = led_coordinate(surface, led, axis, axis)
    climb = climb_of(surface.mesh, value)
    low, high = extremes(surface, value)
    base = spread_levels(low, high, z_step_mm)
    if len(base) == 0:
        return together([])
    crumb = min(float(step_mm[surface.is_inside].min()), z_step_mm)
    short = _halvings_short(surface, climb * step_mm, z_step_mm)
    families, heights = [], []
    for halving in range(_MOST_HALVINGS + 1):
        levels = base if halving == 0 else _between(base[0], low, high, z_step_mm / 2**halving)
        needs = halving - 1 - _MARGIN_HALVINGS
        takes = (climb > _LEAST_CLIMB) & ((halving == 0) | (short[surface.mesh.faces].max(axis=1) > needs))
        if len(levels) == 0 or not takes.any():
            continue
        lines, flat = drawn(surface, value, levels, led, axis, axis, takes)
        beyond = between_ends(surface, flat, surface.beyond_mm)
        if halving > 0:
            lines, beyond = _where_needed(lines, beyond, between_ends(surface, flat, short), needs, crumb, led, axis)
        families.append(ended_at_overlap(lines, beyond, overlap_mm, z_step_mm / 2, led, axis))
        heights.append(levels)
    if not families:
        return together([])
    return rolled_round_edges(_numbered(families, heights), cutter, tolerance_mm)


def _where_needed(
    lines: PassLines, beyond: Floats, short: Floats, needs: float, crumb_mm: float, led: LedPoint, axis: Floats
) -> tuple[PassLines, Floats]:
    """Pieces of lines on which so many halvings are needed but for the margin, if somewhere they are without it."""
    lines, places = below(lines, -short, -needs, led, axis)
    if lines.count == 0:
        return lines, beyond[:0]
    takes = (
        np.maximum.reduceat(places.interpolated(short), lines.starts[:-1]) > needs + _MARGIN_HALVINGS + _SLACK_HALVINGS
    )
    # a crumb is shorter than what lies between two passes
    takes &= lines.is_closed | (lines.lengths_mm > crumb_mm)
    return chosen(lines, takes), places.interpolated(beyond)[np.repeat(takes, np.diff(lines.starts))]


def _halvings_short(surface: PassSurface, holds_mm: Floats, z_step_mm: float) -> Floats:
    """(n,) how often the step between levels must be halved at each vertex, from the (m,) step that holds on facets."""
    corner, area = surface.mesh.faces.ravel(), np.repeat(surface.mesh.area_mm2, 3)
    count = len(surface.mesh.vertices)
    weight = np.bincount(corner, area, minlength=count)
    mean = np.bincount(corner, area * np.repeat(holds_mm, 3), minlength=count) / np.maximum(weight, 1e-300)
    return np.log2(z_step_mm / np.maximum(mean, z_step_mm / 2.0 ** (_MOST_HALVINGS + 1)))


def _between(first: float, low: float, high: float, step: float) -> Floats:
    """Every second of the levels a step apart, those that come in with this step, over a range."""
    least, most = np.ceil(((low - first) / step - 1) / 2), np.floor(((high - first) / step - 1) / 2)
    return np.asarray(first + step * (2 * np.arange(least, most + 1) + 1))


def _numbered(families: list[PassLines], heights: list[Floats]) -> PassLines:
    """Families put in the order of their heights, and their levels counted from the lowest."""
    before = np.cumsum([0] + [len(levels) for levels in heights])
    lines = together(families)
    own = np.repeat(before[:-1], [family.count for family in families])
    height = np.concatenate(heights)[lines.level + own]
    _, number = np.unique(height, return_inverse=True)
    renamed = PassLines(
        np.array(lines.contact_mm), np.array(lines.normal), np.array(lines.starts),
        number.reshape(-1).astype(np.int32), np.array(lines.is_closed),
    )  # fmt: skip
    return in_order(renamed, np.argsort(number, kind="stable"))
