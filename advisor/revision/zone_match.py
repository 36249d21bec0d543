"""Zones of two plans matched by the surface that they share: same, split, merged, moved, added, removed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.revision.side import CompareSide
from advisor.revision.starts import Moments, are_alike, moments
from advisor.revision.surface_change import PieceChange

# A zone is at home in the one that has this share of what it shares with any, where that is this share of itself.
_HOME_SHARE = 0.5
_LEAST_SHARED = 0.1
# What is split off or merged counts from this share of the larger zone, or this share of its own area.
_LEAST_PART = 0.05
_LEAST_OWN = 0.5
# A zone that moved and is else the same is so within this share of its area.
_ONE_SURFACE = 0.003
# Zones of which nothing stayed are one another's where this share of the smaller lies over the other.
_OVER_SHARE = 0.3


@dataclass(frozen=True)
class ZoneMatch:
    """Zones of A and of B that are one another's: one each way, one to many (split), many to one (merged), or none."""

    zones_a: tuple[int, ...]
    zones_b: tuple[int, ...]


@dataclass(frozen=True)
class _Shared:
    """(za, zb) areas that zones share, mm2, and the areas of each."""

    shared: Floats
    area_a: Floats
    area_b: Floats


def match_zones(a: CompareSide, b: CompareSide, change_a: PieceChange, change_b: PieceChange) -> list[ZoneMatch]:
    """Every zone of both plans in one match; A lies on B."""
    same = _shared(a, b, change_a, change_b, ~change_a.is_changed, ~change_b.is_changed)
    pairs, others = _by_home(same)
    taken_a = {one for one, _ in pairs} | {one for one, _ in others}
    taken_b = {other for _, other in pairs} | {other for _, other in others}
    free_a = [zone for zone in range(1, len(same.area_a)) if same.area_a[zone] > 0.0 and zone not in taken_a]
    free_b = [zone for zone in range(1, len(same.area_b)) if same.area_b[zone] > 0.0 and zone not in taken_b]
    whole = _shared(a, b, change_a, change_b, np.isin(a.piece_zone, free_a), np.isin(b.piece_zone, free_b))
    for find in (_elsewhere, _over):
        found = find(a, b, whole, free_a, free_b)
        pairs += found
        free_a = [zone for zone in free_a if zone not in {one for one, _ in found}]
        free_b = [zone for zone in free_b if zone not in {other for _, other in found}]
    return _matches(pairs, others, free_a, free_b)


def zone_moments(side: CompareSide, zone: int) -> Moments:
    """Area, centre and spread of a zone."""
    return moments(Mesh(side.mesh.vertices, side.mesh.faces[side.zone == zone]))


def _shared(
    a: CompareSide, b: CompareSide, change_a: PieceChange, change_b: PieceChange, asked_a: Flags, asked_b: Flags
) -> _Shared:
    """Area shared, the mean of what pieces of each say; the area of zones is that of all their pieces."""
    wide = (a.last_zone + 1, b.last_zone + 1)
    one = _table(a, b.zone, change_a, asked_a, wide)
    other = _table(b, a.zone, change_b, asked_b, wide[::-1]).T
    area_a, area_b = (
        np.bincount(np.maximum(side.piece_zone, 0), side.pieces.area_mm2, minlength=side.last_zone + 1).astype(
            np.float64
        )
        for side in (a, b)
    )
    return _Shared((one + other) / 2, area_a, area_b)


def _table(side: CompareSide, zones: Ints, change: PieceChange, asked: Flags, wide: tuple[int, int]) -> Floats:
    rows = np.flatnonzero(asked & (change.other_facet >= 0) & (side.piece_zone > 0))
    other = np.maximum(zones[change.other_facet[rows]], 0)
    key = side.piece_zone[rows].astype(np.int64) * wide[1] + other
    told = np.bincount(key, side.pieces.area_mm2[rows], minlength=wide[0] * wide[1])
    table: Floats = told.astype(np.float64).reshape(wide)
    table[:, 0] = 0.0
    return table


def _by_home(same: _Shared) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    """Zones that are each other's home, and zones that have a home which has another one."""
    home_a, home_b = _homes(same.shared, same.area_a), _homes(same.shared.T, same.area_b)
    pairs = [(i, j) for i, j in home_a.items() if home_b.get(j) == i]
    paired_a, paired_b = {i for i, _ in pairs}, {j for _, j in pairs}
    others = []
    for i, j in home_a.items():
        if i not in paired_a and j in paired_b and _counts(same.shared[i, j], same.area_b[j], same.area_a[i]):
            others.append((i, j))
    for j, i in home_b.items():
        if j not in paired_b and i in paired_a and _counts(same.shared[i, j], same.area_a[i], same.area_b[j]):
            others.append((i, j))
    return pairs, others


def _counts(shared: float, larger: float, own: float) -> bool:
    return shared >= _LEAST_PART * larger or shared >= _LEAST_OWN * own


def _homes(shared: Floats, area: Floats) -> dict[int, int]:
    told = {}
    for zone in range(1, len(area)):
        total, best = float(shared[zone].sum()), int(shared[zone].argmax())
        if total >= _LEAST_SHARED * area[zone] > 0.0 and shared[zone, best] >= _HOME_SHARE * total:
            told[zone] = best
    return told


def _elsewhere(
    a: CompareSide, b: CompareSide, whole: _Shared, free_a: list[int], free_b: list[int]
) -> list[tuple[int, int]]:
    """The same surface at another place, nearest first."""
    told_a, told_b = {i: zone_moments(a, i) for i in free_a}, {j: zone_moments(b, j) for j in free_b}
    likely = [
        (float(np.linalg.norm(told_a[i].centre_mm - told_b[j].centre_mm)), i, j)
        for i in free_a
        for j in free_b
        if are_alike(told_a[i], told_b[j])
    ]
    return _greedy(sorted(likely))


def _over(
    a: CompareSide, b: CompareSide, whole: _Shared, free_a: list[int], free_b: list[int]
) -> list[tuple[int, int]]:
    """What lies over what was there before: most shared first."""
    likely = [
        (-float(whole.shared[i, j]), i, j)
        for i in free_a
        for j in free_b
        if whole.shared[i, j] >= _OVER_SHARE * min(whole.area_a[i], whole.area_b[j])
    ]
    return _greedy(sorted(likely))


def _greedy(likely: list[tuple[float, int, int]]) -> list[tuple[int, int]]:
    taken_a, taken_b, told = set[int](), set[int](), []
    for _, i, j in likely:
        if i not in taken_a and j not in taken_b:
            taken_a.add(i)
            taken_b.add(j)
            told.append((i, j))
    return told


def _matches(
    pairs: list[tuple[int, int]], others: list[tuple[int, int]], free_a: list[int], free_b: list[int]
) -> list[ZoneMatch]:
    """Pairs with what is split off or merged into them, then what is left alone."""
    told = []
    for i, j in pairs:
        more_a = sorted(one for one, other in others if other == j and one != i)
        more_b = sorted(other for one, other in others if one == i and other != j)
        told.append(ZoneMatch((i, *more_a), (j, *more_b)))
    told.sort(key=lambda match: match.zones_a)
    told += [ZoneMatch((i,), ()) for i in free_a]
    return told + [ZoneMatch((), (j,)) for j in free_b]


def shift_of(a: CompareSide, b: CompareSide, match: ZoneMatch, tolerance_mm: float) -> NDArray[np.float64] | None:
    """How far a zone moved, where it is the same surface elsewhere; None where it is not, or did not move."""
    if len(match.zones_a) != 1 or len(match.zones_b) != 1:
        return None
    one, other = zone_moments(a, match.zones_a[0]), zone_moments(b, match.zones_b[0])
    shift: NDArray[np.float64] = other.centre_mm - one.centre_mm
    return shift if are_alike(one, other, _ONE_SURFACE) and np.linalg.norm(shift) > 2 * tolerance_mm else None
