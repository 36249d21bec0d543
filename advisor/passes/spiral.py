"""Closed passes one inside another wound into one pass that is never left."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.spiral import divided, wound
from advisor.part.mesh import Flags, Floats
from advisor.passes.lines import PassLines
from advisor.passes.order import OrderedPasses, near_ways
from advisor.passes.pieces import LedPoint, Places, along_segments, offsets, together
from advisor.passes.surface import curved_points

# Fewer loops make no spiral worth the blend.
FEWEST_LOOPS = 3
# Points of loops lie so many to a gap between loops: ramps are told by them.
_POINTS_A_STEP = 4
# Loops closer than this share of the step are told by no more points.
_LEAST_GAP = 0.1
# A ramp is less than a loop by some room: it may begin later on further loops.
_LONGEST_RAMP = 0.9
# Share of the ways between the loops that ramps may need: what points of the spiral are off it is not told before.
_WAYS_SHARE = 0.95
# From a ramp that takes too long a way to the next that is tried.
_SHORTER = 0.75


def spiral(
    passes: OrderedPasses,
    led: LedPoint,
    axis: Floats,
    step_mm: float,
    link_mm: float,
    finished: Callable[[PassLines], PassLines],
) -> OrderedPasses:
    """Passes of which runs of single loops, each beside the one before, have become spirals.

    A spiral runs the first loop whole, takes a ramp to the next, runs this on to where the ramp began, takes the next
    ramp beside the first, and so on, and runs the last loop whole. Ramps are as long as they may be for the spiral to
    be no longer than the loops and the ways between them; on a narrow tower that is much of a turn. On
    ramps the contact lies on the smooth surface through the two loops and their normals: off it by the third order of
    the step. No turn is further from the one before than the loops are.

    Loops stay where points of a ramp and of the loop beside it are more than ``tolerances.SPIRAL_STEPS`` steps apart,
    where loops change their sense, where ramps would be shorter than ``tolerances.SPIRAL_RAMP_GAPS`` gaps, and where
    the finished spiral is not one pass any more. Loops after a spiral are entered where it ends.

    A spiral is an open pass; its level, source, sense and start are those of its first loop.

    Parameters
    ----------
    passes : OrderedPasses
    led, axis, step_mm, link_mm : what the passes were ordered with
    finished : callable
        Makes one spiral as fit to cut as the loops are: thinned, clear of the part.
    """
    lines = passes.lines
    joins = _may_join(passes)
    winder = _Winder(led, axis, step_mm, finished)
    parts, heads, turns, done = [], [np.zeros(0, np.int64)], [], 0
    for first, last in _runs(lines.is_closed[:-1] & lines.is_closed[1:] & passes.is_near):
        wounds = winder.chain(_slice(lines, first, last), joins[first : last - 1])
        if not any(len(one.turns) for one in wounds):
            continue
        parts.append(_slice(lines, done, first))
        heads.append(np.arange(done, first))
        points = sum(len(part.contact_mm) for part in parts)
        for one in wounds:
            turns.append(points + one.turns)
            points += len(one.lines.contact_mm)
            parts.append(one.lines)
            heads.append(first + one.head + np.arange(one.lines.count))
        done = last
    if not turns:
        return passes
    parts.append(_slice(lines, done, lines.count))
    heads.append(np.arange(done, lines.count))
    head, cut = np.concatenate(heads), together(parts)
    return OrderedPasses(
        cut, passes.source[head], passes.is_reversed[head], passes.start[head], passes.follows[head],
        near_ways(cut, led, axis, link_mm), np.concatenate(turns),
    )  # fmt: skip


def _may_join(passes: OrderedPasses) -> Flags:
    """(p - 1,) whether a pass and the next are loops side by side with a short way between."""
    lines = passes.lines
    both = lines.is_closed[:-1] & lines.is_closed[1:]
    return np.asarray(both & passes.follows[1:] & passes.is_near)


def _runs(joins: Flags) -> list[tuple[int, int]]:
    """First loop, and that after the last, of every run of joined ones that is long enough."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], joins.astype(np.int8), [0]])))
    return [(int(a), int(b) + 1) for a, b in edges.reshape(-1, 2) if b + 1 - a >= FEWEST_LOOPS]


@dataclass(frozen=True)
class _Wound:
    """A spiral, or loops that stay: which of the loops given comes first, and where further turns of a spiral begin."""

    lines: PassLines
    head: int
    turns: NDArray[np.int64]


@dataclass(frozen=True)
class _Winder:
    """Winds chains of loops with short ways between; see ``spiral``."""

    led: LedPoint
    axis: Floats
    step_mm: float
    finished: Callable[[PassLines], PassLines]

    def chain(self, loops: PassLines, joins: Flags) -> list[_Wound]:
        """Spirals and loops in order. Loops after a spiral are entered where it ends."""
        wounds, head, rest = [], 0, loops
        while rest.count:
            run = 1 + int(np.argmin(np.append(joins[head:], False)))
            first, spiral_of = self._first_spiral(_slice(rest, 0, run), head)
            if first:
                wounds.append(_Wound(_slice(rest, 0, first), head, np.zeros(0, np.int64)))
            head, rest = head + first, _slice(rest, first, rest.count)
            if spiral_of is not None:
                wounds.append(spiral_of)
                count = len(spiral_of.turns) + 1
                rest = self._entered_from(spiral_of.lines, _slice(rest, count, rest.count))
                head += count
        return wounds

    def _first_spiral(self, loops: PassLines, head: int) -> tuple[int, _Wound | None]:
        """How many loops of a run stay, and the spiral that follows them, if one does."""
        if loops.count < FEWEST_LOOPS:
            return loops.count, None
        ways = np.linalg.norm(loops.contact_mm[loops.starts[1:-1]] - loops.contact_mm[loops.starts[1:-1] - 1], axis=1)
        gap = float(np.clip(np.median(ways), _LEAST_GAP * self.step_mm, self.step_mm))
        row, share, starts = divided(loops.contact_mm, loops.starts, gap / _POINTS_A_STEP)
        contact, normal = along_segments(loops, Places(row, share), self.led, self.axis)
        middle = contact + offsets(normal, self.led, self.axis)
        first, last = 0, loops.count
        while loops.count - first >= FEWEST_LOOPS:
            pair, blend, begins = _gentlest(contact, middle, starts, first, last, gap, self.step_mm)
            left = 0
            if len(begins) >= FEWEST_LOOPS:
                weights = np.stack([1.0 - blend, blend], axis=1)
                point, facing = curved_points(contact[pair], normal[pair], weights)
                level = loops.level[first : first + 1].copy()
                raw = PassLines(point, facing, np.array([0, len(point)]), level, np.zeros(1, bool))
                whole = self.finished(raw)
                if _is_same_way(raw, whole):
                    return first, _Wound(whole, head + first, _rows_beside(raw, begins[1:], whole))
                # as many loops as were wound before the spiral was broken
                along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(point, axis=0), axis=1))])
                left = int(np.searchsorted(along[begins], whole.lengths_mm[0] if whole.count else 0.0)) - 1
            if left >= FEWEST_LOOPS:
                last = first + left
            else:
                first, last = first + max(len(begins), 1), loops.count
        return loops.count, None

    def _entered_from(self, before: PassLines, loops: PassLines) -> PassLines:
        """Loops entered where the middle of the cutter is nearest to the end of what goes before."""
        middle = loops.centres_mm(self.led.along_normal_mm, self.led.outward_mm, self.axis)
        at = before.centres_mm(self.led.along_normal_mm, self.led.outward_mm, self.axis)[-1]
        rows, shares = [], []
        for begin, end in pairwise(loops.starts):
            place, way = middle[begin : end - 1], np.diff(middle[begin:end], axis=0)
            share = np.einsum("kx,kx->k", at - place, way) / np.maximum(np.einsum("kx,kx->k", way, way), 1e-300)
            share = np.clip(share, 0.0, 1.0)
            nearest = place + share[:, None] * way
            k = int(np.argmin(np.linalg.norm(nearest - at, axis=1)))
            at = nearest[k]
            around = begin + np.roll(np.arange(end - begin - 1), -k - 1)
            rows += [[begin + k], around, [begin + k]]
            shares += [share[k : k + 1], np.zeros(len(around)), share[k : k + 1]]
        if not rows:
            return loops
        places = Places(np.concatenate(rows).astype(np.int64), np.concatenate(shares))
        contact, normal = along_segments(loops, places, self.led, self.axis)
        starts = loops.starts + np.arange(loops.count + 1)
        return PassLines(contact, normal, starts, np.array(loops.level), np.array(loops.is_closed))


def _gentlest(
    contact: Floats, middle: Floats, starts: NDArray[np.int64], first: int, last: int, gap_mm: float, step_mm: float
) -> tuple[NDArray[np.int64], Floats, NDArray[np.int64]]:
    """The spiral of most loops from the first on, of those the one with the longest ramps: see ``kernels.wound``.

    The third array has one row where ramps long enough would make it longer than the loops and the ways between, at the
    contact or at the middle of the cutter, (q, 3) each.
    """
    paths = (contact, middle)
    loops = np.array([[_length(path[starts[p] : starts[p + 1]]) for p in range(first, last)] for path in paths])
    # ways between loops are those of the middle
    ways = np.linalg.norm(middle[starts[first + 1 : last]] - middle[starts[first + 1 : last] - 1], axis=1)
    allowed = np.cumsum(loops, axis=1) + _WAYS_SHARE * np.concatenate([[0.0], np.cumsum(ways)])
    # a ramp of a share of every turn costs that share of half of the first and half of the last loop
    ramp = min(_LONGEST_RAMP, 4.0 * ways.sum() / (loops[0, 0] + loops[0, -1])) * loops[0, 0]
    best = np.zeros((0, 2), np.int64), np.zeros(0), np.zeros(1, np.int64)
    while ramp >= tolerances.SPIRAL_RAMP_GAPS * gap_mm:
        pair, share, turns = wound(
            contact, starts, first, last, ramp, tolerances.SPIRAL_STEEPEST_GAPS * gap_mm,
            tolerances.SPIRAL_STEPS * step_mm,
        )  # fmt: skip
        count, blend = len(turns), share[:, None]
        lengths = [_length((1.0 - blend) * path[pair[:, 0]] + blend * path[pair[:, 1]]) for path in paths]
        if count > len(best[2]) and (lengths <= allowed[:, count - 1]).all():
            best = pair, share, turns
            if count == last - first:
                break
        ramp *= _SHORTER
    return best


def _length(points: Floats) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _is_same_way(raw: PassLines, whole: PassLines) -> bool:
    """Whether a spiral is still one pass from end to end."""
    return (
        whole.count == 1
        and not whole.is_closed[0]
        and bool(np.allclose(raw.contact_mm[[0, -1]], whole.contact_mm[[0, -1]], rtol=0.0, atol=1e-9))
    )


def _rows_beside(raw: PassLines, rows: NDArray[np.int64], whole: PassLines) -> NDArray[np.int64]:
    """Rows of a finished spiral beside those of the raw one, by the share of the way run."""
    shares = []
    for lines in (raw, whole):
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(lines.contact_mm, axis=0), axis=1))])
        shares.append(along / along[-1])
    return np.asarray(np.searchsorted(shares[1], shares[0][rows]), np.int64)


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
