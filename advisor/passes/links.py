"""Ways of the cutter from pass to pass: down along the surface where they are short, over a clearance plane elsewhere.

What moves is the middle of the cutter. A short way is straight, and raised to where the cutter can go wherever it
would cut into the part. All other ways are lifts: up along the axis, across over the part, and down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import Piece, dropped
from advisor.cutter.tool_body import cutter_pieces
from advisor.part.mesh import Flags, Floats
from advisor.part.plan_tree import PlanTree
from advisor.passes.lines import chain_lengths_mm
from advisor.passes.order import OrderedPasses

# Points of a lift: end of the pass, up, across, down to the clearance over the next pass, its beginning.
LIFT_POINTS = 5
# Share of the tolerance kept for what lies between the places asked, as where passes are trimmed: these end as deep.
_BETWEEN_SHARE = 0.2
# A cutter is raised by more than this or not at all: rounding raises nothing.
_ROUNDING_MM = 1e-9


@dataclass(frozen=True)
class Links:
    """Ways between passes one after another, laid end to end. Arrays are read-only.

    Attributes
    ----------
    centres_mm : (k, 3) float64 array
        Of the middle of the cutter, from the end of a pass to the beginning of the next, both included.
    starts : (p,) int64 array
        The way from pass ``i`` to the next is ``centres_mm[starts[i]:starts[i + 1]]``; p passes have p - 1.
    is_lift : (p - 1,) bool array
        These ways have five points: over the end of the pass the second, over the beginning of the next one the third,
        and the fourth that clearance above it from which the cutter goes down at the cutting feed.
    is_raised : (p - 1,) bool array
        Ways along the surface that are not straight.
    """

    centres_mm: Floats
    starts: NDArray[np.int64]
    is_lift: Flags
    is_raised: Flags

    def __post_init__(self) -> None:
        for field in fields(self):
            getattr(self, field.name).setflags(write=False)

    @property
    def lengths_mm(self) -> Floats:
        """(p - 1,) length of every way, mm."""
        return chain_lengths_mm(self.centres_mm, self.starts)


def linked(
    passes: OrderedPasses,
    centres_mm: Floats,
    cutter: Cutter,
    tree: PlanTree,
    link_mm: float,
    tolerance_mm: float,
    clearance_mm: float,
    behind: Sequence[Piece] = (),
) -> Links:
    """The ways between passes in order.

    A raised way that is longer than ``tolerances.RAISED_LINK_SHARE`` times `link_mm` becomes a lift.

    Parameters
    ----------
    passes : OrderedPasses
    centres_mm : (k, 3) float array
        Middle of the cutter on ``passes.lines`` (``PassLines.centres_mm``).
    cutter : Cutter
    tree : PlanTree
        Every facet of the part, seen along the tool axis.
    link_mm : float
        What the passes were ordered with.
    tolerance_mm : float, above 0
        How deep a way may go into the facets, which may lie as far off their surface: no less than passes were trimmed
        with, or ways along walls they end at are raised to the top of these.
    clearance_mm : float, above 0
        Height of the tip over the top of the part in a lift.
    behind : sequence of Piece
        What follows the cutter (``ToolBody.behind``), and must be clear as well.

    Raises
    ------
    ValueError
        A tolerance or clearance that is not above 0.
    """
    if not tolerance_mm > 0.0 or not clearance_mm > 0.0:
        raise ValueError("tolerance and clearance must be above 0")
    starts = passes.lines.starts
    begin, end = centres_mm[starts[1:-1] - 1], centres_mm[starts[1:-1]]
    near = np.flatnonzero(passes.is_near)
    points, ways = _along_surface(begin[near], end[near], cutter, tree, tolerance_mm, behind)
    too_long = chain_lengths_mm(points, ways) > tolerances.RAISED_LINK_SHARE * link_mm
    is_lift = ~passes.is_near
    is_lift[near[too_long]] = True
    counts = np.full(len(begin), LIFT_POINTS)
    counts[near] = np.where(too_long, LIFT_POINTS, np.diff(ways))
    laid = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    out = np.empty((laid[-1], 3))
    out[np.repeat(~is_lift, counts)] = points[np.repeat(~too_long, np.diff(ways))]
    lift = _lifts(begin[is_lift], end[is_lift], cutter, tree, clearance_mm)
    out[np.repeat(is_lift, counts)] = lift.reshape(-1, 3)
    return Links(out, laid, is_lift, ~is_lift & (counts > 2))


def _along_surface(
    begin: Floats, end: Floats, cutter: Cutter, tree: PlanTree, tolerance: float, behind: Sequence[Piece]
) -> tuple[Floats, NDArray[np.int64]]:
    """Straight ways, raised where the cutter would go too deep, or what follows it into the part; laid end to end."""
    # between places d apart the cutter goes deeper by d^2 / 8 R at most
    between = _BETWEEN_SHARE * tolerance
    shrunk = cutter.let_in(tolerance - between)
    apart = np.sqrt(8.0 * shrunk.corner_radius_mm * between)
    count = np.ceil(np.linalg.norm(end - begin, axis=1) / apart).astype(np.int64) + 1
    count = np.maximum(count, 2)
    way = np.repeat(np.arange(len(begin)), count)
    first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    share = (np.arange(len(way)) - first[way]) / (count[way] - 1)
    place = (1.0 - share)[:, None] * begin[way] + share[:, None] * end[way]
    tip = place @ tree.frame.T
    tip[:, 2] -= shrunk.corner_radius_mm
    lowest = dropped(cutter_pieces(shrunk), tree, tip[:, :2], tip[:, 2]).height_mm
    if behind:
        lowest = dropped(behind, tree, tip[:, :2], lowest).height_mm
    rise = lowest - tip[:, 2]
    raised = np.maximum.reduceat(rise, first[:-1]) > _ROUNDING_MM if len(begin) else np.zeros(0, bool)
    lifted = place + _height_to_clear(lowest, way, raised, tip[:, 2])[:, None] * tree.frame[2]
    return _pieced(begin, end, lifted, first, raised)


def _height_to_clear(lowest: Floats, way: NDArray[np.int64], raised: Flags, tip: Floats) -> Floats:
    """(q,) how far to raise places of raised ways: to the highest of each and both its neighbours, as upright walls may
    stand between two places.
    """
    height = lowest.copy()
    same = way[1:] == way[:-1]
    height[1:] = np.where(same, np.maximum(height[1:], lowest[:-1]), height[1:])
    height[:-1] = np.where(same, np.maximum(height[:-1], lowest[1:]), height[:-1])
    return np.where(raised[way], height - tip, 0.0)


def _pieced(
    begin: Floats, end: Floats, lifted: Floats, first: NDArray[np.int64], raised: Flags
) -> tuple[Floats, NDArray[np.int64]]:
    """Straight ways of two points; raised ones with all their places between, up from one end, down to the other."""
    counts = np.where(raised, np.diff(first) + 2, 2)
    laid = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    points = np.empty((laid[-1], 3))
    inner = np.repeat(raised, counts)
    inner[laid[:-1]] = inner[laid[1:] - 1] = False
    points[inner] = lifted[np.repeat(raised, np.diff(first))]
    points[laid[:-1]], points[laid[1:] - 1] = begin, end
    return points, laid


def _lifts(begin: Floats, end: Floats, cutter: Cutter, tree: PlanTree, clearance: float) -> Floats:
    """(l, 5, 3) ways over the clearance plane."""
    axis = tree.frame[2]
    top = tree.corners[:, :, 2].max() + cutter.corner_radius_mm if len(tree.corners) else -np.inf
    # passes that overhang the part, or none to look at
    top = max(top, float(max((begin @ axis).max(initial=-np.inf), (end @ axis).max(initial=-np.inf))))
    plane = top + clearance
    up = begin + (plane - begin @ axis)[:, None] * axis
    over = end + (plane - end @ axis)[:, None] * axis
    return np.stack([begin, up, over, end + clearance * axis, end], axis=1)
