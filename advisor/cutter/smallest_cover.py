"""The fewest axes that reach all but a negligible share of what any of them reaches, and a proof of how few."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.set_cover import cover_with
from advisor.part.mesh import Flags, Floats

# Rows are told by the bits of one number.
MOST_SETS = 62
# Areas become whole numbers of this share of their sum: adding them in another order then gives the same.
_UNITS = 1 << 40
# Nodes times rows the search for one number of sets may look at: a second or so.
_BUDGET = 60_000_000

_Whole = NDArray[np.int64]


@dataclass(frozen=True)
class Cover:
    """Sets that cover enough.

    Attributes
    ----------
    chosen : tuple of int
        Ascending.
    lower_bound : int
        No fewer sets can: proven. Equal to the number chosen unless the search ran out of time.
    """

    chosen: tuple[int, ...]
    lower_bound: int


def smallest_cover(covered: Flags, area: Floats, spare_share: float, forced: Sequence[int] = ()) -> Cover:
    """Fewest of c sets that cover all that any covers, but for a share of the whole area.

    A greedy choice first (within H(n) of the fewest: Chvatal, Math. Oper. Res. 4 (1979) 233-235), freed of what it does
    not need and of two sets where one would do; then one set more at a time is searched for what suffices, until
    something does: what was searched to its end without finding is the proof. Of covers alike in number, one with the
    first set is preferred, then earlier sets: callers put first what they like best.

    Parameters
    ----------
    covered : (c, k) bool array
        Which points each set covers; 62 sets at most.
    area : (k,) float64 array
    spare_share : float
        Share of the area that may stay uncovered.
    forced : sequence of int
        Sets that must be among the chosen; the bound is of choices with them.
    """
    count = len(covered)
    if count > MOST_SETS:
        raise ValueError(f"{count} sets, {MOST_SETS} at most")
    mask, weight = _rows(covered, area)
    spare, must = int(spare_share * _UNITS), _bits(forced)
    best = _improved(mask, weight, count, spare, must, _greedy(mask, weight, count, spare, must))
    budget = max(_BUDGET // max(len(mask), 1), 100)
    bound = must.bit_count()
    for number in range(bound, best.bit_count() + 1):
        bound = number
        if number == best.bit_count():
            break
        found = int(cover_with(mask, weight, count, spare, must, number, budget)[0])
        if found >= 0:
            best = found
            break
        if found == -2:
            best = _fewer_from_above(mask, weight, count, spare, must, best, number, budget)
            break
    if count and best and not best & 1:
        with_first = int(cover_with(mask, weight, count, spare, must | 1, best.bit_count(), budget)[0])
        best = with_first if with_first >= 0 else best
    best = _with_earlier(mask, weight, count, spare, must, best)
    return Cover(tuple(c for c in range(count) if best >> c & 1), bound)


def _bits(sets: Sequence[int]) -> int:
    return sum(1 << c for c in set(sets))


def _rows(covered: Flags, area: Floats) -> tuple[_Whole, _Whole]:
    """Points that the same sets cover put together: which sets, and their weight; those that none covers left out."""
    mask = np.zeros(covered.shape[1], np.int64)
    for c, row in enumerate(covered):
        mask |= row.astype(np.int64) << c
    whole = np.round(area / max(float(area.sum()), 1e-300) * _UNITS).astype(np.int64)
    rows, number = np.unique(mask, return_inverse=True)
    weight = np.zeros(len(rows), np.int64)
    np.add.at(weight, number, whole)
    return rows[rows != 0], weight[rows != 0]


def _left(mask: _Whole, weight: _Whole, taken: int) -> int:
    return int(weight[mask & taken == 0].sum())


def _greedy(mask: _Whole, weight: _Whole, count: int, spare: int, taken: int) -> int:
    """The set that covers most of what is left, again and again; the earlier of equals."""
    while _left(mask, weight, taken) > spare:
        open_rows = mask & taken == 0
        gains = [int(weight[open_rows & (mask >> c & 1 == 1)].sum()) for c in range(count)]
        taken |= 1 << int(np.argmax(gains))
    return taken


def _improved(mask: _Whole, weight: _Whole, count: int, spare: int, must: int, taken: int) -> int:
    """Sets that are not needed taken out, and one put in for any two, while that leaves enough covered."""
    while True:
        fewer = _one_less(mask, weight, count, spare, must, taken)
        if fewer == taken:
            return taken
        taken = fewer


def _one_less(mask: _Whole, weight: _Whole, count: int, spare: int, must: int, taken: int) -> int:
    free = [c for c in range(count - 1, -1, -1) if taken >> c & 1 and not must >> c & 1]
    for c in free:
        if _left(mask, weight, taken & ~(1 << c)) <= spare:
            return taken & ~(1 << c)
    for one, other in combinations(free, 2):
        rest = taken & ~(1 << one) & ~(1 << other)
        for c in range(count):
            if not taken >> c & 1 and _left(mask, weight, rest | 1 << c) <= spare:
                return rest | 1 << c
    return taken


def _fewer_from_above(
    mask: _Whole, weight: _Whole, count: int, spare: int, must: int, best: int, least: int, budget: int
) -> int:
    """One set less again and again while the search finds it in time: that there is a choice shows sooner than none."""
    for number in range(best.bit_count() - 1, least, -1):
        found = int(cover_with(mask, weight, count, spare, must, number, budget)[0])
        if found < 0:
            break
        best = found
    return best


def _with_earlier(mask: _Whole, weight: _Whole, count: int, spare: int, must: int, taken: int) -> int:
    """Sets exchanged for earlier ones, the last first, where that leaves enough covered."""
    changed = True
    while changed:
        changed = False
        for c in range(count - 1, -1, -1):
            if not taken >> c & 1 or must >> c & 1:
                continue
            rest = taken & ~(1 << c)
            earlier = (b for b in range(c) if not taken >> b & 1 and _left(mask, weight, rest | 1 << b) <= spare)
            better = next(earlier, None)
            if better is not None:
                taken, changed = rest | 1 << better, True
                break
    return taken
