"""The order in which passes are cut, which way each is run, and where closed ones begin.

Two passes lie side by side where samples of one find the other on the nearest level within a few steps, on a surface
that faces the same way. Families are cut level by level: a pass waits for those of the level before that lie beside it.
So a hollow that splits is finished one branch after the other, hills that grow together are each finished first, and a
strip between two holes is cut from end to end before the tool is lifted. Only where no height is at stake a pass that
is next at hand does not wait for others. Lines and loops of a family never cross, so
this is known from neighbours alone. Open passes put in between loops come after these, strip by strip.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.beside import cells, neighbours, owners, samples
from advisor.kernels.order import laid_out, steady_senses, walk
from advisor.kernels.plan_tree import halve
from advisor.part.mesh import Flags, Floats
from advisor.passes.lines import PassLines
from advisor.passes.pieces import LedPoint, Places, along_segments

Sense = Literal["climb", "conventional"]


@dataclass(frozen=True)
class OrderedPasses:
    """Passes as they are cut, one after another. Arrays are read-only.

    Attributes
    ----------
    lines : PassLines
        In the order of cutting, points in the order in which they are passed; a closed pass begins and ends where it
        is entered.
    source : (p,) int64 array
        Which of the passes given each is.
    is_reversed : (p,) bool array
        Run against the direction given.
    start : (p,) float64 array
        Where each begins: row of its first point among those of the pass given, and share of the way to the next row.
    follows : (p,) bool array
        The pass before lies beside it, one level before.
    is_near : (p - 1,) bool array
        The tool may stay down from the end of each pass to the next one: whether the way is clear is ``passes.links``'.
    turns : (t,) int64 array
        Points at which the second and further turns of passes begin that were wound from loops (``passes.spiral``).
    """

    lines: PassLines
    source: NDArray[np.int64]
    is_reversed: Flags
    start: Floats
    follows: Flags
    is_near: Flags
    turns: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if isinstance(value, np.ndarray):
                value.setflags(write=False)


def longest_link_mm(step_mm: float, corner_radius_mm: float) -> float:
    """How far a tool may go from pass to pass without a lift, mm: some steps, or a radius of the ball."""
    return max(tolerances.LINK_STEPS * step_mm, corner_radius_mm)


def ordered(
    lines: PassLines,
    led: LedPoint,
    axis: Floats,
    step_mm: float,
    link_mm: float,
    *,
    levels: Literal["rising", "downward"],
    loops: Sense = "climb",
    open_lines: Literal["to_and_fro"] | Sense = "to_and_fro",
) -> OrderedPasses:
    """Passes of one family in the order they are cut. The work grows as n log n with the points.

    Closed passes are run as `loops` says. Climb milling has the uncut material on the right of the feed, seen from the
    spindle, for a cutter that turns clockwise (from there): a tooth on that side moves against the feed of the tool, so
    it begins thick and leaves thin. Where the material lies is told by the middle of the arc of the ball that is in
    the cut, from the contact 8 degrees on towards what is still uncut: on a wall it is the wall, on a floor the side of
    the passes to come. Loops that follow one another keep one sense unless a change pays
    (``tolerances.SENSE_CHANGE_SHARE``).

    Open passes are run to and fro unless told otherwise: a finish takes so little that both ways of cutting leave much
    the same, and a lift and a way back a pass would nearly double the time (common practice, no source).

    Parameters
    ----------
    lines : PassLines
        A family: passes of one level do not lie beside each other.
    led : LedPoint
        The middle of the cutter (``passes.families.centre_of``): distances from pass to pass are its.
    axis : (3,) unit vector from the part to the spindle
    step_mm : float, above 0
        Greatest distance of neighbours along the surface.
    link_mm : float
        Longest way on to the next pass without a lift: ``longest_link_mm``.
    levels : "rising" or "downward"
        "rising": as levels are numbered, for parallel lines. "downward": the way the surface falls, group by group of
        passes that hang together, and as numbered where it does not: for level passes, so that a cutter never works
        under what it has not cut yet; and for offsets: into a hollow from its rim, where the tool comes in from clear
        air, and down a hill from its top.
    loops : "climb" or "conventional"
    open_lines : "to_and_fro", "climb" or "conventional"
        The latter two run all lines that hang together with the uncut side on the same hand.

    Raises
    ------
    ValueError
        A step that is not above 0.
    """
    if not step_mm > 0.0:
        raise ValueError("step must be above 0")
    if lines.count == 0:
        none = np.zeros(0, bool)
        return OrderedPasses(lines, np.zeros(0, np.int64), none, np.zeros(0), none.copy(), none.copy())
    pair, right = _beside(lines, step_mm)
    group = _groups(pair, lines.count)
    height = np.add.reduceat(lines.contact_mm @ axis, lines.starts[:-1]) / np.diff(lines.starts)
    is_down = levels == "downward"
    rises = _rises(lines, height, pair, group, step_mm) if is_down else np.zeros(lines.count, bool)
    uncut = _uncut_side(right, rises)
    gain = _climb_gain(lines, axis, uncut)
    hand = np.where(uncut < 0.0, -1.0, 1.0)
    one_way = _one_way(lines, group, gain, hand, open_lines)
    centre = lines.centres_mm(led.along_normal_mm, led.outward_mm, axis)
    # the walk begins at the top, or at the first level
    late = is_down & (height < height.max() - step_mm / 2)
    patient = np.full(lines.count, is_down)
    order, place, turned, follows = _walked(
        lines, centre, one_way, pair, group, rises, patient, late, link_mm
    )  # fmt: skip
    _give_senses(lines, gain, hand, order, follows, loops, turned)
    row, share, begins = laid_out(lines.starts, lines.is_closed, order, place, turned)
    contact, normal = along_segments(lines, Places(row, share), led, axis)
    cut = PassLines(contact, normal, begins, lines.level[order].copy(), lines.is_closed[order].copy())
    return OrderedPasses(cut, order, turned, place - lines.starts[order], follows, near_ways(cut, led, axis, link_mm))


def _beside(lines: PassLines, step: float) -> tuple[NDArray[np.int64], Floats]:
    """(e, 2) pairs of passes side by side, that of the lower level first, and on which hand of each the others lie.

    Open passes put in between two loops, where these lie far apart, are a family of their own: cut in turn with the
    loops each would cost two lifts.
    """
    place, normals, along, first = samples(lines.contact_mm, np.ascontiguousarray(lines.normal), lines.starts, step)
    reach = tolerances.BESIDE_STEPS * step
    low = place.min(axis=0) - 1.5 * reach
    size = ((place.max(axis=0) - low) / reach).astype(np.int64) + 3
    code, owner = cells(place, low, reach, size), owners(first)
    order = np.lexsort((lines.level[owner], code))
    cell, begins = np.unique(code[order], return_index=True)
    begins, by_cell = np.append(begins, len(order)), lines.level[owner[order]]

    def search(kind: Flags, wanted: Flags) -> tuple[NDArray[np.int64], Floats]:
        pair, right = neighbours(
            place, normals, along, first, owner, lines.level, kind, wanted, low, reach, size, order, by_cell, cell,
            begins,
        )  # fmt: skip
        number = np.unique(pair[:, 0] * lines.count + pair[:, 1])
        return np.stack(np.divmod(number, lines.count), axis=1), right

    between = np.zeros(lines.count, bool)
    if lines.is_closed.any() and not lines.is_closed.all():
        loops, _ = search(lines.is_closed, np.ones(lines.count, bool))
        has = [np.bincount(loops[lines.is_closed[loops[:, 1 - k]], k], minlength=lines.count) > 0 for k in (0, 1)]
        between = ~lines.is_closed & has[0] & has[1]
    return search(between, between)


def _groups(pair: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """(p,) number of the group of passes that hang together."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(pair), np.int8), (pair[:, 0], pair[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _rises(lines: PassLines, height: Floats, pair: NDArray[np.int64], group: NDArray[np.int64], step: float) -> Flags:
    """(p,) whether the surface climbs with the levels in the group of each pass."""
    weight = np.minimum(lines.lengths_mm[pair[:, 0]], lines.lengths_mm[pair[:, 1]])
    climb = np.bincount(group[pair[:, 0]], weight * (height[pair[:, 1]] - height[pair[:, 0]]), group.max() + 1)
    most = np.bincount(group[pair[:, 0]], weight * step, group.max() + 1)
    return np.asarray((climb > tolerances.FALLS_SHARE * most)[group])


def _uncut_side(right: Floats, rises: Flags) -> Floats:
    """(p,) whether what is still uncut lies on the right (1) or left (-1) of passes as given; 0 where nobody knows."""
    to_come = np.where(rises, right[:, 0], right[:, 1])
    cut = np.where(rises, right[:, 1], right[:, 0])
    return np.sign(np.where(to_come != 0.0, to_come, -cut))


def _climb_gain(lines: PassLines, axis: Floats, uncut: Floats) -> Floats:
    """(p,) length of each pass, positive where it climbs as it is given, negative where it does the other way round.

    With feed t, normal n and axis a the right hand is t x a, and the middle of the arc in the cut lies towards
    ``-n cos + u sin`` with u the uncut side along the surface, t x n or its opposite; (t x n) (t x a) = n a.
    """
    lean = np.radians(tolerances.ENGAGED_LEAN_DEG)
    way = np.diff(lines.contact_mm, axis=0, append=lines.contact_mm[-1:])
    way[lines.starts[1:] - 1] = 0.0
    middle = (lines.normal + np.roll(lines.normal, -1, axis=0)) / 2
    wall = -np.einsum("kx,kx->k", middle, np.cross(way, axis))
    floor = np.linalg.norm(way, axis=1) * (middle @ axis)
    by_wall, by_floor = (np.add.reduceat(part, lines.starts[:-1]) for part in (wall, floor))
    return np.asarray(np.sign(np.cos(lean) * by_wall + np.sin(lean) * uncut * by_floor) * lines.lengths_mm)


def _one_way(
    lines: PassLines, group: NDArray[np.int64], gain: Floats, hand: Floats, open_lines: str
) -> NDArray[np.int8]:
    """(p,) at which end open passes begin: 1 the first, -1 the last, 0 either."""
    if open_lines == "to_and_fro":
        return np.zeros(lines.count, np.int8)
    # what lines of a group gain together with the uncut side on their right
    total = np.bincount(group, np.where(lines.is_closed, 0.0, gain * hand))
    sense = np.where(total < 0.0, -1, 1)[group] * hand * (1 if open_lines == "climb" else -1)
    return np.where(lines.is_closed, 0, sense).astype(np.int8)


def _walked(
    lines: PassLines,
    centre: Floats,
    one_way: NDArray[np.int8],
    pair: NDArray[np.int64],
    group: NDArray[np.int64],
    rises: Flags,
    patient: Flags,
    late: Flags,
    link_mm: float,
) -> tuple[NDArray[np.int64], Floats, Flags, Flags]:
    # where levels rise with the surface the higher ones come first
    before = np.where(rises[pair[:, 0]], pair[:, 1], pair[:, 0])
    after = np.where(rises[pair[:, 0]], pair[:, 0], pair[:, 1])
    child_start = np.concatenate([[0], np.cumsum(np.bincount(before, minlength=lines.count))])
    child = after[np.argsort(before, kind="stable")]
    waits = np.bincount(after, minlength=lines.count)
    root = np.flatnonzero(waits == 0)
    level = np.where(rises, -lines.level.astype(np.int64), lines.level)
    root = root[np.lexsort((root, level[root], late[root]))]
    # groups in the order of their first roots
    _, begins = np.unique(group[root], return_index=True)
    rank = np.argsort(np.argsort(begins))
    root = root[np.argsort(rank[group[root]], kind="stable")]
    root_start = np.concatenate([[0], np.cumsum(np.bincount(rank[group[root]]))])
    box = np.hstack([op.reduceat(centre, lines.starts[:-1], axis=0) for op in (np.minimum, np.maximum)])
    x, y, z = np.ascontiguousarray((box[:, :3] + box[:, 3:]).T / 2)
    by_place = halve(x, y, z, int(np.ceil(np.log2(lines.count))))
    order, place, turned, follows = walk(
        centre, lines.starts, lines.is_closed, one_way, box, by_place, child_start, child, waits, patient, root_start,
        root, rank[group], link_mm,
    )  # fmt: skip
    return order, place, turned, follows


def _give_senses(
    lines: PassLines,
    gain: Floats,
    hand: Floats,
    order: NDArray[np.int64],
    follows: Flags,
    loops: Sense,
    turned: Flags,
) -> None:
    """Closed passes reversed in place where their sense asks for it: one sense keeps the uncut side on one hand."""
    closed = lines.is_closed[order]
    wanted = np.where(closed, (gain * hand)[order] * (1 if loops == "climb" else -1), 0.0)
    begins = ~follows | ~closed | ~np.concatenate([[False], closed[:-1]])
    sense = steady_senses(wanted, begins, tolerances.SENSE_CHANGE_SHARE) * hand[order]
    turned[closed] = sense[closed] < 0


def near_ways(lines: PassLines, led: LedPoint, axis: Floats, link_mm: float) -> Flags:
    """(p - 1,) whether the way from the end of each pass to the next is so short that the tool may stay down."""
    centre = lines.centres_mm(led.along_normal_mm, led.outward_mm, axis)
    way = centre[lines.starts[1:-1]] - centre[lines.starts[1:-1] - 1]
    return np.asarray(np.linalg.norm(way, axis=1) <= link_mm)
