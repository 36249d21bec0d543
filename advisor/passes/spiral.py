"""Closed passes one inside another wound into one pass that is never left."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.spiral import divided, matched_apart, wound
from advisor.part.mesh import Flags, Floats
from advisor.passes.lines import PassLines
from advisor.passes.order import OrderedPasses
from advisor.passes.pieces import LedPoint, Places, along_segments, together
from advisor.passes.surface import curved_points

# Fewer loops make no spiral worth the blend.
FEWEST_LOOPS = 3


def spiral(passes: OrderedPasses, led: LedPoint, axis: Floats, step_mm: float) -> OrderedPasses:
    """Passes of which runs of single loops, each beside the one before, have become spirals.

    A spiral runs the first loop whole, then goes from each loop to the next over one turn, and runs the last loop
    whole. The points of two loops are matched so that they stay near to each other, and in between the contact lies on
    the smooth surface through both and their normals: off it by the third order of the step. A turn is nowhere further
    from the one before than the loops are. Loops whose matched points are further apart than
    ``tolerances.SPIRAL_STEPS`` steps, or that change their sense, stay loops.

    A spiral is an open pass; its level, source, sense and start are those of its first loop.

    Parameters
    ----------
    passes : OrderedPasses
    led, axis : what the passes were ordered with
    step_mm : float, above 0
    """
    lines = passes.lines
    may = _may_join(passes)
    if not may.any():
        return passes
    row, share, starts = divided(lines.contact_mm, lines.starts, step_mm)
    contact, normal = along_segments(lines, Places(row, share), led, axis)
    joins = matched_apart(contact, starts, may) <= tolerances.SPIRAL_STEPS * step_mm
    runs = _runs(joins)
    if not len(runs):
        return passes
    parts: list[PassLines] = []
    heads: list[int] = []
    done = 0
    for first, last in runs:
        parts.append(_slice(lines, done, first))
        heads.extend(range(done, first + 1))
        pair, blend = wound(contact, starts, first, last)
        weights = np.stack([1.0 - blend, blend], axis=1)
        point, facing = curved_points(contact[pair], normal[pair], weights)
        level = lines.level[first : first + 1].copy()
        parts.append(PassLines(point, facing, np.array([0, len(point)]), level, np.zeros(1, bool)))
        done = last
    parts.append(_slice(lines, done, lines.count))
    heads.extend(range(done, lines.count))
    head = np.array(heads)
    near = passes.is_near[head[1:] - 1]
    return OrderedPasses(
        together(parts), passes.source[head], passes.is_reversed[head], passes.start[head], passes.follows[head], near
    )


def _may_join(passes: OrderedPasses) -> Flags:
    """(p - 1,) whether a pass and the next are loops side by side with a short way between."""
    lines = passes.lines
    both = lines.is_closed[:-1] & lines.is_closed[1:]
    return np.asarray(both & passes.follows[1:] & passes.is_near)


def _runs(joins: Flags) -> list[tuple[int, int]]:
    """First loop, and that after the last, of every run of joined ones that is long enough."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], joins.astype(np.int8), [0]])))
    return [(int(a), int(b) + 1) for a, b in edges.reshape(-1, 2) if b + 1 - a >= FEWEST_LOOPS]


def _slice(lines: PassLines, first: int, last: int) -> PassLines:
    begin, end = lines.starts[first], lines.starts[last]
    starts: NDArray[np.int64] = lines.starts[first : last + 1] - begin
    return PassLines(
        lines.contact_mm[begin:end].copy(),
        lines.normal[begin:end].copy(),
        starts,
        lines.level[first:last].copy(),
        lines.is_closed[first:last].copy(),
    )
