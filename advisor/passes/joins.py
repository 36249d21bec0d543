"""Pieces of one level joined into longer passes: round outside corners, and in inside corners where the cutter stands
in the same place for both walls.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.cutter.cutter import Cutter
from advisor.part.mesh import Flags, Floats
from advisor.passes.lines import PassLines

# Levels are so many gaps apart where ends are looked for, so that those of one level alone are near.
_LEVELS_APART = 1e3
# Ends this near in an inside corner overshoot each other by what the cutter is let go into the walls, and bisection.
_OVERSHOOT = 1.5
# Normals that turn by less (rad) have no outside corner between them: a pass that was cut there by chance goes on.
_LEAST_TURN = 1e-4
# Walls of an inside corner turn by more: sine of half of what counts as a joint without one.
_LEAST_SINE = np.sin(np.radians(tolerances.TANGENT_JOINT_DEG / 2))


@dataclass(frozen=True)
class _Joints:
    """Which pass follows which, (j,) each."""

    before: NDArray[np.int64]
    after: NDArray[np.int64]


def rolled_round_edges(lines: PassLines, cutter: Cutter, tolerance_mm: float) -> PassLines:
    """Pieces that end at the two sides of an outside corner in the same place joined: the cutter rolls round the edge.

    Normals are put in between, so that chords of the arc of its middle keep within the tolerance.
    """
    found = _near_ends(lines, lines.contact_mm, tolerance_mm)
    if len(found.before) == 0:
        return lines
    last, first = lines.starts[found.before + 1] - 1, lines.starts[found.after]
    leaving = _directions(lines, last - 1, last)
    turn = np.cross(lines.normal[last], lines.normal[first])
    rolls = np.einsum("ij,ij->i", leaving, lines.normal[first]) > 0.0
    joint = np.linalg.norm(turn, axis=1) > _LEAST_TURN
    # pieces of one side that were cut in two by chance go on as they are
    goes_on = ~joint & (np.einsum("ij,ij->i", lines.normal[last], lines.normal[first]) > 0.0)
    takes = (rolls & joint) | goes_on
    found = _Joints(found.before[takes], found.after[takes])
    last, first = last[takes], first[takes]
    radius = cutter.corner_radius_mm + cutter.ring_radius_mm
    filler, counts = _arcs(lines, last, first, 2.0 * np.arccos(max(1.0 - tolerance_mm / radius, 0.0)))
    return _joined(lines, found, filler, counts)


def joined_in_corners(lines: PassLines, cutter: Cutter, axis: Floats, tolerance_mm: float) -> PassLines:
    """Pieces of one level joined where the cutter stands in the same place at the end of one and the start of the next.

    In an inside corner it touches both walls: two points of a pass with one middle and contacts apart. Where two
    straight ways of the middle cross just before their ends both end at the crossing.
    """
    middle = lines.centres_mm(cutter.corner_radius_mm, cutter.ring_radius_mm, axis)
    # ends overshoot by the tolerance over the sine of the turn: the sharpest turn of a corner is asked for first
    found = _near_ends(lines, middle, tolerance_mm / _LEAST_SINE * _OVERSHOOT)
    if len(found.before) == 0:
        return lines
    last, first = lines.starts[found.before + 1] - 1, lines.starts[found.after]
    cosine = np.einsum("ij,ij->i", lines.normal[last], lines.normal[first])
    half_sine = np.sqrt(np.clip((1.0 - cosine) / 2.0, 0.0, 1.0))
    gap = np.linalg.norm(middle[last] - middle[first], axis=1)
    # the way runs into the wall that the next piece follows
    runs_in = np.einsum("ij,ij->i", _directions(lines, last - 1, last), lines.normal[first]) < 0.0
    takes = runs_in & (half_sine >= _LEAST_SINE) & (gap * half_sine <= _OVERSHOOT * tolerance_mm)
    found, last, first = _Joints(found.before[takes], found.after[takes]), last[takes], first[takes]
    moved = _moved_to_crossing(lines, middle, last, first, tolerance_mm)
    return _joined(moved, found, (np.zeros((0, 3)), np.zeros((0, 3))), np.zeros(len(last), np.int64))


def _near_ends(lines: PassLines, place: Floats, gap_mm: float) -> _Joints:
    """Ends and starts of open passes of one level that are nearest to each other, within a gap."""
    rows = np.flatnonzero(~lines.is_closed & (np.diff(lines.starts) > 1))
    if len(rows) == 0 or not gap_mm > 0.0:
        return _Joints(rows[:0], rows[:0])
    apart = lines.level[rows] * (_LEVELS_APART * gap_mm)
    ends = np.column_stack([place[lines.starts[rows + 1] - 1], apart])
    begins = np.column_stack([place[lines.starts[rows]], apart])
    gap, to = cKDTree(begins).query(ends, distance_upper_bound=gap_mm)
    _, back = cKDTree(ends).query(begins, distance_upper_bound=gap_mm)
    one = np.flatnonzero(np.isfinite(gap))
    one = one[back[to[one]] == one]
    return _Joints(rows[one], rows[to[one]])


def _directions(lines: PassLines, start: NDArray[np.int64], end: NDArray[np.int64]) -> Floats:
    way = lines.contact_mm[end] - lines.contact_mm[start]
    return np.asarray(way / np.maximum(np.linalg.norm(way, axis=1), 1e-300)[:, None])


def _arcs(
    lines: PassLines, last: NDArray[np.int64], first: NDArray[np.int64], most_turn: float
) -> tuple[tuple[Floats, Floats], NDArray[np.int64]]:
    """Contacts and normals between ends and starts, turned evenly, and how many there are at each."""
    one, two = lines.normal[last], lines.normal[first]
    angle = np.arctan2(np.linalg.norm(np.cross(one, two), axis=1), np.einsum("ij,ij->i", one, two))
    counts = np.maximum(np.ceil(angle / most_turn - 1e-9).astype(np.int64) - 1, 0)
    row = np.repeat(np.arange(len(last)), counts)
    number = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts) + 1
    share = (number / (counts[row] + 1))[:, None]
    contact = (1.0 - share) * lines.contact_mm[last][row] + share * lines.contact_mm[first][row]
    turn = angle[row][:, None]
    normal = np.sin((1.0 - share) * turn) * one[row] + np.sin(share * turn) * two[row]
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    return (contact, normal), counts


def _moved_to_crossing(
    lines: PassLines, middle: Floats, last: NDArray[np.int64], first: NDArray[np.int64], tolerance_mm: float
) -> PassLines:
    """Ends and starts moved to where the last and the first straight way of the middle cross, where they do."""
    a, u = middle[last], middle[last] - middle[last - 1]
    b, w = middle[first], middle[first + 1] - middle[first]
    # places a - s u and b + t w nearest to each other
    uu, ww, uw = (np.einsum("ij,ij->i", x, y) for x, y in ((u, u), (w, w), (u, w)))
    du, dw = np.einsum("ij,ij->i", a - b, u), np.einsum("ij,ij->i", a - b, w)
    flat = uu * ww - uw * uw
    known = flat > 1e-6 * uu * ww
    flat = np.where(known, flat, 1.0)
    s, t = (du * ww - dw * uw) / flat, (uu * dw - uw * du) / flat
    near = np.linalg.norm(a - s[:, None] * u - b - t[:, None] * w, axis=1) <= tolerance_mm
    # not past the middle of a segment: both its ends may move
    moves = known & near & (s >= 0.0) & (t >= 0.0) & (s <= 0.5) & (t <= 0.5)
    contact, last, first = lines.contact_mm.copy(), last[moves], first[moves]
    contact[last] -= s[moves][:, None] * u[moves]
    contact[first] += t[moves][:, None] * w[moves]
    return PassLines(contact, lines.normal.copy(), lines.starts, lines.level, lines.is_closed)


def _joined(lines: PassLines, joints: _Joints, filler: tuple[Floats, Floats], counts: NDArray[np.int64]) -> PassLines:
    """Passes laid behind each other by their joints, with what fills them in between."""
    count = lines.count
    after, fills = np.full(count, -1), np.full(count, -1)
    after[joints.before], fills[joints.before] = joints.after, np.arange(len(joints.before))
    leads = np.ones(count, bool)
    leads[joints.after] = False
    contact, normal = np.concatenate([lines.contact_mm, filler[0]]), np.concatenate([lines.normal, filler[1]])
    begins = len(lines.contact_mm) + np.concatenate([[0], np.cumsum(counts)])
    done: Flags = np.zeros(count, bool)
    rows, lengths, level, closed = [], [], [], []
    for head in [*np.flatnonzero(leads), *np.flatnonzero(~leads)]:
        if done[head]:
            continue
        pieces, at = [], head
        while at >= 0 and not done[at]:
            done[at] = True
            pieces.append(np.arange(lines.starts[at], lines.starts[at + 1]))
            if after[at] >= 0:
                pieces.append(np.arange(begins[fills[at]], begins[fills[at] + 1]))
            at = after[at]
        comes_back = at == head
        if comes_back:
            pieces.append(lines.starts[head : head + 1])
        rows.extend(pieces)
        lengths.append(sum(map(len, pieces)))
        level.append(lines.level[head])
        closed.append(comes_back or lines.is_closed[head])
    order = np.argsort(level, kind="stable")
    starts = np.concatenate([[0], np.cumsum(lengths)])
    taken = PassLines(
        contact[np.concatenate(rows)], normal[np.concatenate(rows)], starts, np.array(level, np.int32),
        np.array(closed, bool),
    )  # fmt: skip
    return in_order(taken, order)


def in_order(lines: PassLines, order: NDArray[np.int64]) -> PassLines:
    """Passes in another order."""
    counts = np.diff(lines.starts)[order]
    starts = np.concatenate([[0], np.cumsum(counts)])
    point = np.repeat(lines.starts[:-1][order] - starts[:-1], counts) + np.arange(starts[-1])
    return PassLines(lines.contact_mm[point], lines.normal[point], starts, lines.level[order], lines.is_closed[order])
