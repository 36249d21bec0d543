"""Passes in the order they are cut: a walk over them, the sense of closed ones, and their points laid out."""

from __future__ import annotations

import numpy as np
from numba import njit

# Open nodes of a tree: one a level, and one more.
_STACK = 128
# Shares of a segment nearer than this to an end are the end.
_AT_END = 1e-9


@njit(nogil=True, inline="always")
def _apart2_from(point, i, at):
    x, y, z = point[i, 0] - at[0], point[i, 1] - at[1], point[i, 2] - at[2]
    return x * x + y * y + z * z


@njit(nogil=True)
def nearest_on(point, begin, end, at):
    """Place on a polyline nearest to a point: row and share of the way to the next, and the square of the distance."""
    best, place = np.inf, float(begin)
    for i in range(begin, max(end - 1, begin + 1)):
        j = min(i + 1, end - 1)
        ux, uy, uz = point[j, 0] - point[i, 0], point[j, 1] - point[i, 1], point[j, 2] - point[i, 2]
        wx, wy, wz = at[0] - point[i, 0], at[1] - point[i, 1], at[2] - point[i, 2]
        long2, share = ux * ux + uy * uy + uz * uz, 0.0
        if long2 > 0.0:
            share = min(max((ux * wx + uy * wy + uz * wz) / long2, 0.0), 1.0)
            if share < _AT_END:
                share = 0.0
            elif share > 1.0 - _AT_END:
                share = 1.0
        dx, dy, dz = wx - share * ux, wy - share * uy, wz - share * uz
        apart = dx * dx + dy * dy + dz * dz
        if apart < best:
            best, place = apart, i + share
    return place, best


@njit(nogil=True, inline="always")
def _away2(box, n, at):
    total = 0.0
    for k in range(3):
        off = max(box[n, k] - at[k], at[k] - box[n, 3 + k], 0.0)
        total += off * off
    return total


@njit(nogil=True)
def _entry(centre, starts, is_closed, ends, box, p, at, limit):
    """Where to begin a pass from a place: row, whether it is run backwards, squared way there; inf if not nearer than
    the limit.
    """
    if is_closed[p]:
        if _away2(box, p, at) >= limit:
            return 0.0, False, np.inf
        place, apart = nearest_on(centre, starts[p], starts[p + 1], at)
        return place, False, apart
    first, last = starts[p], starts[p + 1] - 1
    to_first, to_last = _apart2_from(centre, first, at), _apart2_from(centre, last, at)
    if ends[p] < 0 or (ends[p] == 0 and to_last < to_first):
        return float(last), True, to_last
    return float(first), False, to_first


@njit(nogil=True)
def tree_of(box, order):
    """(2 n, 6) boxes of a binary tree over passes in an order, n a power of two: node i has children 2 i and 2 i + 1,
    and pass ``order[k]`` is leaf n + k.
    """
    size = 1
    while size < order.shape[0]:
        size *= 2
    tree = np.empty((2 * size, 6))
    for n in range(size):
        for k in range(6):
            tree[size + n, k] = np.inf if k < 3 else -np.inf
            if n < order.shape[0]:
                tree[size + n, k] = box[order[n], k]
    for node in range(size - 1, 0, -1):
        for k in range(3):
            tree[node, k] = min(tree[2 * node, k], tree[2 * node + 1, k])
            tree[node, 3 + k] = max(tree[2 * node, 3 + k], tree[2 * node + 1, 3 + k])
    return tree


@njit(nogil=True)
def _add(alive, leaf, number):
    while leaf > 0:
        alive[leaf] += number
        leaf //= 2


@njit(nogil=True)
def _nearest_of(alive, tree, order, centre, starts, is_closed, ends, box, at):
    """Which of the passes alive in the tree is begun nearest to a place, and its ``_entry``."""
    which, place, turned, best, size = -1, 0.0, False, np.inf, tree.shape[0] // 2
    stack, top = np.empty(_STACK, np.int64), 1
    stack[0] = 1
    while top > 0:
        top -= 1
        node = stack[top]
        if alive[node] == 0 or _away2(tree, node, at) >= best:
            continue
        if node < size:
            # the nearer child on top of the stack
            far = 2 * node + (1 if _away2(tree, 2 * node, at) <= _away2(tree, 2 * node + 1, at) else 0)
            stack[top], stack[top + 1] = far, far ^ 1
            top += 2
            continue
        row, backwards, apart = _entry(centre, starts, is_closed, ends, box, order[node - size], at, best)
        if apart < best:
            which, place, turned, best = order[node - size], row, backwards, apart
    return which, place, turned, best


@njit(nogil=True)
def _next(p, centre, starts, is_closed, ends, box, child_start, child, waits, patient, done, at):
    """The nearest pass to go on to from one just cut, -1 for none, and its ``_entry``: of those that waited for it what
    waits for no other, or is not patient.
    """
    nearest, place, turned, best = -1, 0.0, False, np.inf
    for c in range(child_start[p], child_start[p + 1]):
        q = child[c]
        if not done[q] and (waits[q] == 0 or not patient[q]):
            row, backwards, apart = _entry(centre, starts, is_closed, ends, box, q, at, best)
            if apart < best:
                nearest, place, turned, best = q, row, backwards, apart
    return nearest, place, turned, best


@njit(nogil=True)
def _leave(p, row, backwards, centre, starts, is_closed, child_start, child, waits, done, at):
    """Count a pass as cut, and write where it is left."""
    done[p] = True
    for c in range(child_start[p], child_start[p + 1]):
        waits[child[c]] -= 1
    i, share = starts[p] if backwards else starts[p + 1] - 1, 0.0
    if is_closed[p]:
        i, share = int(row), row - int(row)
    for k in range(3):
        at[k] = centre[i, k]
        if share > 0.0:
            at[k] = (1.0 - share) * at[k] + share * centre[i + 1, k]


@njit(nogil=True)
def _run_from(
    p, backwards, centre, starts, is_closed, ends, box, child_start, child, waits, patient, reach, done, seen
):
    """How many passes are cut without a lift when an open one is run forwards or backwards; nothing is changed."""
    many, row, at = 0, 0.0, np.empty(3)
    while p >= 0:
        seen[many] = p
        many += 1
        _leave(p, row, backwards, centre, starts, is_closed, child_start, child, waits, done, at)
        p, row, backwards, best = _next(
            p, centre, starts, is_closed, ends, box, child_start, child, waits, patient, done, at
        )
        if best > reach * reach:
            p = -1
    for n in range(many):
        done[seen[n]] = False
        for c in range(child_start[seen[n]], child_start[seen[n] + 1]):
            waits[child[c]] += 1
    return many


@njit(cache=True, nogil=True)
def walk(
    centre, starts, is_closed, ends, box, by_place, child_start, child, waits, patient, root_start, root, group, reach
):
    """The order of passes, group by group.

    From a pass the walk goes on to the nearest of those that waited for it, where that begins within `reach` and waits
    for no other; or does, and is not patient. Else it goes to the nearest of all of the group that wait for nothing,
    and from a group to the nearest other one. An open pass that is come to in a lift is begun at the end from which
    more passes follow without one, at the nearer of equals.

    Parameters
    ----------
    centre : (k, 3) float64 array
    starts, is_closed : of the passes
    ends : (p,) int8 array
        Open passes begin at: 1 their first point, -1 their last, 0 either.
    box : (p, 6) float64 array
        Low and high corner of each pass.
    by_place : (p,) int64 array
        Passes in an order in which those near each other are near (``kernels.plan_tree.halve``).
    child_start : (p + 1,) int64 array
    child : (e,) int64 array
        What waits for each pass.
    waits : (p,) int64 array
        How many passes each waits for.
    patient : (p,) bool array
        Passes that are not begun before all they wait for.
    root_start, root : as above
        Passes of each group that wait for none; the walk begins with the first.
    group : (p,) int64 array
        Group of each pass.
    reach : float

    Returns
    -------
    order : (p,) int64 array
    place : (p,) float64 array
        Row at which each begins, in that order; closed ones may begin between rows.
    turned : (p,) bool array
        Open passes that run backwards.
    follows : (p,) bool array
        Passes that waited for the one before them.
    """
    count, reach2 = is_closed.shape[0], reach * reach
    order, place = np.empty(count, np.int64), np.zeros(count)
    turned, follows, done = np.zeros(count, np.bool_), np.zeros(count, np.bool_), np.zeros(count, np.bool_)
    waits, at, seen, ways = waits.copy(), np.zeros(3), np.empty(count, np.int64), np.zeros(2, np.int64)
    tree, leaf = tree_of(box, by_place), np.empty(count, np.int64)
    size = tree.shape[0] // 2
    for n in range(count):
        leaf[by_place[n]] = size + n
    # roots of groups not begun, and passes of the group at hand that wait for nothing
    roots, ready = np.zeros(2 * size, np.int64), np.zeros(2 * size, np.int64)
    for r in range(root.shape[0]):
        _add(roots, leaf[root[r]], np.int64(1))
    cut, p = 0, root[0]
    for k in range(3):
        at[k] = centre[starts[p], k]
    while cut < count:
        if cut > 0:
            p, _, _, _ = _nearest_of(roots, tree, by_place, centre, starts, is_closed, ends, box, at)
        for r in range(root_start[group[p]], root_start[group[p] + 1]):
            _add(roots, leaf[root[r]], np.int64(-1))
            _add(ready, leaf[root[r]], np.int64(1))
        last = np.int64(-1)
        while ready[1] > 0:
            apart = np.inf
            if last >= 0:
                p, row, backwards, apart = _next(
                    last, centre, starts, is_closed, ends, box, child_start, child, waits, patient, done, at
                )
            if apart > reach2:
                p, row, backwards, apart = _nearest_of(ready, tree, by_place, centre, starts, is_closed, ends, box, at)
                if (cut == 0 or apart > reach2) and not is_closed[p] and ends[p] == 0:
                    for way in range(2):
                        ways[way] = _run_from(
                            p, way == 1, centre, starts, is_closed, ends, box, child_start, child, waits, patient,
                            reach, done, seen,
                        )  # fmt: skip
                    if ways[0] != ways[1]:
                        backwards = ways[1] > ways[0]
                        row = float(starts[p + 1] - 1 if backwards else starts[p])
            order[cut], place[cut], turned[cut] = p, row, backwards
            if last >= 0:
                for c in range(child_start[last], child_start[last + 1]):
                    follows[cut] |= child[c] == p
            cut += 1
            if ready[leaf[p]] > 0:
                _add(ready, leaf[p], np.int64(-1))
            _leave(p, row, backwards, centre, starts, is_closed, child_start, child, waits, done, at)
            for c in range(child_start[p], child_start[p + 1]):
                if waits[child[c]] == 0 and not done[child[c]]:
                    _add(ready, leaf[child[c]], np.int64(1))
            last = p
    return order, place, turned, follows


@njit(cache=True, nogil=True)
def steady_senses(gain, begins, price_share):
    """Senses, 1 or -1, along chains of passes: the most gain, less a price for every change of sense.

    Parameters
    ----------
    gain : (p,) float64 array
        What sense 1 is better than -1 for a pass.
    begins : (p,) bool array
        Passes at which a chain begins.
    price_share : float
        Price of a change, as a share of all gains of a chain, whatever their sign.

    Returns
    -------
    (p,) int8 array
    """
    count = gain.shape[0]
    sense, changed = np.empty(count, np.int8), np.zeros((count, 2), np.bool_)
    first = 0
    while first < count:
        last, total = first + 1, abs(gain[first])
        while last < count and not begins[last]:
            total += abs(gain[last])
            last += 1
        price, plus, minus = price_share * total, gain[first], -gain[first]
        for i in range(first + 1, last):
            changed[i, 0], changed[i, 1] = minus - price > plus, plus - price > minus
            plus, minus = max(plus, minus - price) + gain[i], max(minus, plus - price) - gain[i]
        is_minus = minus > plus
        for i in range(last - 1, first - 1, -1):
            sense[i] = -1 if is_minus else 1
            if changed[i, 1 if is_minus else 0]:
                is_minus = not is_minus
        first = last
    return sense


@njit(cache=True, nogil=True)
def laid_out(starts, is_closed, order, place, turned):
    """Rows of the points of passes in an order, and shares of the way to the row after.

    A closed pass begins and ends where it is told to.

    Parameters
    ----------
    starts, is_closed : of the passes
    order, place, turned : of ``walk``, in the order of the walk

    Returns
    -------
    row : (k,) int64 array
    share : (k,) float64 array
    begins : (p + 1,) int64 array
    """
    count = order.shape[0]
    row, share = np.empty(starts[starts.shape[0] - 1] + count, np.int64), np.zeros(starts[starts.shape[0] - 1] + count)
    begins, filled = np.zeros(count + 1, np.int64), 0
    for n in range(count):
        p = order[n]
        base, size = starts[p], starts[p + 1] - starts[p]
        if not is_closed[p] or size < 2:
            for i in range(size):
                row[filled] = base + (size - 1 - i if turned[n] else i)
                filled += 1
            begins[n + 1] = filled
            continue
        ring = size - 1
        at = int(place[n])
        rest = place[n] - at
        at = (at - base) % ring
        if rest > 0.0:
            row[filled], share[filled] = base + at, rest
            filled += 1
        for i in range(ring + (1 if rest == 0.0 else 0)):
            if turned[n]:
                row[filled] = base + (at - i) % ring
            else:
                row[filled] = base + (at + i + (1 if rest > 0.0 else 0)) % ring
            filled += 1
        if rest > 0.0:
            row[filled], share[filled] = base + at, rest
            filled += 1
        begins[n + 1] = filled
    return row[:filled].copy(), share[:filled].copy(), begins
