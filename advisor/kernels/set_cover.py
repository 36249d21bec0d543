"""Few sets that cover enough: the search that proves how few."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True)
def _must_have(mask, weight, taken, open_sets, lost, spare, gain, order):
    """Few sets of which one must be taken, into ``order``, largest gain first; how many.

    Sets are taken off the open ones, those that cost least first, while leaving all that remain would lose more than is
    to spare.
    """
    count = gain.shape[0]
    held = np.zeros(count, np.int64)  # weight of rows with open sets among `chosen` only, by set
    chosen, inside = open_sets, np.int64(0)
    is_inside = np.zeros(mask.shape[0], np.bool_)
    for g in range(mask.shape[0]):
        rest = mask[g] & open_sets
        if mask[g] & taken == 0 and rest != 0:
            is_inside[g] = True
            inside += weight[g]
            for c in range(count):
                if (rest >> c) & 1:
                    held[c] += weight[g]
    while True:
        least = -1
        for c in range(count - 1, -1, -1):
            if (chosen >> c) & 1 and (least < 0 or held[c] < held[least]):
                least = c
        if least < 0 or lost + inside - held[least] <= spare:
            break
        chosen &= ~(np.int64(1) << least)
        for g in range(mask.shape[0]):
            if is_inside[g] and (mask[g] >> least) & 1:
                is_inside[g] = False
                inside -= weight[g]
                for c in range(count):
                    if ((mask[g] & open_sets) >> c) & 1:
                        held[c] -= weight[g]
    number = 0
    for c in range(count):
        if (chosen >> c) & 1:
            place = number
            while place > 0 and gain[order[place - 1]] < gain[c]:
                order[place] = order[place - 1]
                place -= 1
            order[place] = c
            number += 1
    return number


@njit(cache=True, nogil=True)
def cover_with(mask, weight, count, spare, forced, most, budget):
    """Sets, `most` at most and `forced` among them, that leave no more than `spare` uncovered.

    Every node asks whether its sets suffice, whether the largest gains of those it may still take could; then branches
    over few sets of which one must be taken, each closed to the branches after it.

    Parameters
    ----------
    mask : (g,) int64 array
        Sets that cover each row, a bit a set.
    weight : (g,) int64 array
        Of the rows; whole numbers, so that no order of adding shows.
    count : int
        Sets, 62 at most.
    spare : int
    forced : int
        Bits of sets that are taken from the start.
    most, budget : int
        Sets, and nodes that may be looked at.

    Returns
    -------
    taken : int
        Bits; -1 where there are no such sets, -2 where the budget ended the search.
    used : int
        Nodes looked at.
    """
    closed_at, taken_at = np.zeros(most + 2, np.int64), np.zeros(most + 2, np.int64)
    order = np.zeros((most + 2, max(count, 1)), np.int64)
    number, place = np.zeros(most + 2, np.int64), np.zeros(most + 2, np.int64)
    gain, every = np.empty(count, np.int64), (np.int64(1) << count) - 1
    taken_at[0] = forced
    first = 0
    for c in range(count):
        first += (forced >> c) & 1
    depth, used, is_new = 0, 0, True
    while depth >= 0:
        if is_new:
            used += 1
            if used > budget:
                return np.int64(-2), used
            taken, open_sets, left = taken_at[depth], every & ~closed_at[depth] & ~taken_at[depth], most - first - depth
            gain[:] = 0
            uncovered, lost = np.int64(0), np.int64(0)
            for g in range(mask.shape[0]):
                if mask[g] & taken == 0:
                    uncovered += weight[g]
                    rest = mask[g] & open_sets
                    if rest == 0:
                        lost += weight[g]
                    for c in range(count):
                        if (rest >> c) & 1:
                            gain[c] += weight[g]
            if uncovered <= spare:
                return taken, used
            place[depth], number[depth] = 0, 0
            if left > 0 and lost <= spare:
                best = np.sort(gain)[::-1][:left].sum()
                if uncovered - best <= spare:
                    number[depth] = _must_have(mask, weight, taken, open_sets, lost, spare, gain, order[depth])
        if place[depth] >= number[depth]:
            depth -= 1
            is_new = False
            continue
        chosen = np.int64(1) << order[depth, place[depth]]
        place[depth] += 1
        taken_at[depth + 1], closed_at[depth + 1] = taken_at[depth] | chosen, closed_at[depth]
        closed_at[depth] |= chosen
        depth += 1
        is_new = True
    return np.int64(-1), used
