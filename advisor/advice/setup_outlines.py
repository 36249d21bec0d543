"""Outlines of the zones of all set-ups in one, with what lies beyond where set-ups meet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.advice.setup_borders import SetupBorders
from advisor.model import OutlineArrays
from advisor.part.mesh import Flags, Floats

_OPEN_RIM = 0
# Borders are looked for by points on them: so many a piece on average, and the nearest so many are looked at.
_POINTS_A_PIECE = 4
_NEAREST = 16
# A loop that was pushed out or thinned lies off its border by its deviation at most; twice that is on it.
_NEAR_MM = 2.0 * tolerances.OUTLINE_DEVIATION_MM
# Points this near are one.
_SAME_MM = 1e-4
# Pairs of points and pieces looked at in one go.
_AT_ONCE = 2_000_000


@dataclass(frozen=True)
class _Beyond:
    """Pieces of one set-up's border: from where to where, the zone beyond, and how the two meet."""

    start_mm: Floats
    end_mm: Floats
    zone: NDArray[np.int32]
    joint: NDArray[np.int8]


def joined_outlines(outlines: Sequence[OutlineArrays], starts: Sequence[int], borders: SetupBorders) -> OutlineArrays:
    """Outlines of every set-up laid end to end, zones by their number in the whole plan.

    Along borders between set-ups they have the zone beyond and how the two meet in place of an open rim, with a point
    more where that changes.
    """
    told = [
        _with_beyond(_numbered(outline, start), _beyond(borders, setup))
        for setup, (outline, start) in enumerate(zip(outlines, starts, strict=True))
    ]
    points = np.cumsum([0, *(len(one.points) for one in told)])
    joined = OutlineArrays(
        points=np.concatenate([one.points for one in told]),
        starts=np.concatenate([*(one.starts[:-1] + at for one, at in zip(told, points, strict=False)), points[-1:]]),
        zone=np.concatenate([one.zone for one in told]),
        kind=np.concatenate([one.kind for one in told]),
        is_hole=np.concatenate([one.is_hole for one in told]),
        neighbour=np.concatenate([one.neighbour for one in told]),
        joint=np.concatenate([one.joint for one in told]),
    )
    for array in vars(joined).values():
        array.setflags(write=False)
    return joined


def numbered_on(zone: NDArray[np.int32], start: int) -> NDArray[np.int32]:
    """Zone numbers that go on from the set-ups before; what is no zone stays so."""
    return np.where(zone > 0, zone + np.int32(start), zone)


def _numbered(outline: OutlineArrays, start: int) -> OutlineArrays:
    zone, neighbour = numbered_on(outline.zone, start), numbered_on(outline.neighbour, start)
    return replace(outline, zone=zone, neighbour=neighbour)


def _beyond(borders: SetupBorders, setup: int) -> _Beyond:
    is_one, is_other = borders.one_setup == setup, borders.other_setup == setup
    rows = np.flatnonzero(is_one | is_other)
    zone = np.where(is_one, borders.other, borders.one)[rows].astype(np.int32)
    return _Beyond(borders.start_mm[rows], borders.end_mm[rows], zone, borders.joint[rows])


def _with_beyond(outline: OutlineArrays, beyond: _Beyond) -> OutlineArrays:
    if len(beyond.zone) == 0 or not (outline.neighbour == _OPEN_RIM).any():
        return outline
    outline = _with_points(outline, _where_it_changes(beyond))
    rows = np.flatnonzero(outline.neighbour == _OPEN_RIM)
    middle = (outline.points[rows] + outline.points[_following(outline)[rows]]) / 2
    piece = _nearest_piece(middle, beyond)
    rows, piece = rows[piece >= 0], piece[piece >= 0]
    neighbour, joint = outline.neighbour.copy(), outline.joint.copy()
    neighbour[rows], joint[rows] = beyond.zone[piece], beyond.joint[piece]
    return replace(outline, neighbour=neighbour, joint=joint)


def _where_it_changes(beyond: _Beyond) -> Floats:
    """(k, 3) ends of pieces at which what lies beyond, or how it joins, changes, or the border ends."""
    ends = np.concatenate([beyond.start_mm, beyond.end_mm])
    _, first, number = np.unique(np.round(ends / _SAME_MM), axis=0, return_index=True, return_inverse=True)
    number = number.ravel()
    what = np.tile(beyond.zone.astype(np.int64) * 8 + beyond.joint, 2)
    least, most = np.full(len(first), np.iinfo(np.int64).max), np.full(len(first), np.iinfo(np.int64).min)
    np.minimum.at(least, number, what)
    np.maximum.at(most, number, what)
    return np.asarray(ends[first[(least != most) | (np.bincount(number) == 1)]])


def _following(outline: OutlineArrays) -> NDArray[np.int64]:
    following = np.arange(1, len(outline.points) + 1)
    following[outline.starts[1:] - 1] = outline.starts[:-1]
    return following


def _with_points(outline: OutlineArrays, points: Floats) -> OutlineArrays:
    """Outlines with points added where those given lie on a stretch along an open rim."""
    rows = np.flatnonzero(outline.neighbour == _OPEN_RIM)
    start, end = outline.points[rows], outline.points[_following(outline)[rows]]
    found: list[tuple[NDArray[np.int64], NDArray[np.int64], Floats]] = []
    step = max(_AT_ONCE // max(len(rows), 1), 1)
    for at in range(0, len(points), step):
        along, way = _along(points[at : at + step, None], start, end)
        length = np.linalg.norm(end - start, axis=1)
        inside = (way < _NEAR_MM) & (along * length > _SAME_MM) & ((1.0 - along) * length > _SAME_MM)
        which, stretch = np.nonzero(inside)
        found.append((which + at, stretch, along[which, stretch]))
    if not found:
        return outline
    which, stretch, place = (np.concatenate(column) for column in zip(*found, strict=True))
    order = np.lexsort((place, stretch))
    which, after = which[order], rows[stretch[order]]
    added = np.searchsorted(after, outline.starts, side="left")
    return replace(
        outline,
        points=np.insert(outline.points, after + 1, points[which], axis=0),
        starts=outline.starts + added,
        neighbour=np.insert(outline.neighbour, after + 1, outline.neighbour[after]),
        joint=np.insert(outline.joint, after + 1, outline.joint[after]),
    )


def _along(points: Floats, start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Place of points along straight pieces, 0 to 1, and how far they lie off them."""
    along = end - start
    size = np.maximum((along * along).sum(axis=-1), 1e-300)
    place = np.clip(((points - start) * along).sum(axis=-1) / size, 0.0, 1.0)
    return place, np.asarray(np.linalg.norm(points - start - place[..., None] * along, axis=-1))


def _nearest_piece(points: Floats, beyond: _Beyond) -> NDArray[np.int64]:
    """(k,) piece of the border that each point lies on, -1 where it lies on none."""
    length = np.linalg.norm(beyond.end_mm - beyond.start_mm, axis=1)
    apart = float(length.sum()) / (_POINTS_A_PIECE * len(length))
    count = np.ceil(length / apart).astype(np.int64) + 1
    owner = np.repeat(np.arange(len(length)), count)
    place = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[owner]
    laid = beyond.start_mm[owner] + place[:, None] * (beyond.end_mm - beyond.start_mm)[owner]
    _, near = cKDTree(laid).query(points, k=min(_NEAREST, len(owner)))
    piece = owner[near.reshape(len(points), -1)]
    _, way = _along(points[:, None], beyond.start_mm[piece], beyond.end_mm[piece])
    best = way.argmin(axis=1)
    rows = np.arange(len(points))
    is_near: Flags = way[rows, best] < _NEAR_MM
    return np.where(is_near, piece[rows, best], -1)
