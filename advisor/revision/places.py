"""Changed pieces of both surfaces gathered into connected places."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from advisor.part.mesh import Floats
from advisor.revision.records import ChangedPlace
from advisor.revision.side import CompareSide
from advisor.revision.surface_change import PieceChange

# Pieces are gathered by cells of a grid, so many times as wide as a piece of even size is.
_CELL = 3.0
# A place smaller than so many pieces, and no deeper than so many tolerances, is where two exports differ at an edge.
_SPECK_PIECES = 4.0
_SPECK_DEPTH = 2.0
# A zone lies in a place that has this share of its surface in the zone, or takes this share of the zone.
_PLACE_SHARE = 0.02
_ZONE_SHARE = 0.005


@dataclass(frozen=True)
class Gathered:
    """Places, largest first, the pieces of both surfaces that lie in none left unchanged, and the place of each piece.

    ``place_a`` and ``place_b`` have 0 where a piece lies in no place.
    """

    places: tuple[ChangedPlace, ...]
    change_a: PieceChange
    change_b: PieceChange
    place_a: NDArray[np.int64]
    place_b: NDArray[np.int64]


@dataclass(frozen=True)
class _Changed:
    """The changed pieces of both surfaces laid end to end: which surface, piece, place, area, depth towards B."""

    is_b: NDArray[np.bool_]
    piece: NDArray[np.int64]
    corners: Floats
    area_mm2: Floats
    depth_mm: Floats


def gather(
    a: CompareSide, b: CompareSide, change_a: PieceChange, change_b: PieceChange, tolerance_mm: float
) -> Gathered:
    """Places of change; specks, as two exports of one part leave them at edges, are no change."""
    told = _changed(a, b, change_a, change_b)
    even = (float(a.mesh.area_mm2.sum()) + float(b.mesh.area_mm2.sum())) / (len(a.pieces.facet) + len(b.pieces.facet))
    label = _grouped(told.corners.mean(axis=1), _CELL * np.sqrt(even))
    count = int(label.max(initial=-1)) + 1
    area = np.bincount(label, told.area_mm2, minlength=count)
    deepest = np.zeros(count)
    np.maximum.at(deepest, label, np.abs(told.depth_mm))
    counts = (area > _SPECK_PIECES * even) | (deepest > _SPECK_DEPTH * tolerance_mm)
    order = [int(group) for group in np.argsort(-area, kind="stable") if counts[group]]
    number = np.zeros(count, np.int64)
    number[order] = np.arange(1, len(order) + 1)
    label = number[label]
    placed = []
    for is_b, side, change in ((False, a, change_a), (True, b, change_b)):
        place = np.zeros(len(side.pieces.facet), np.int64)
        place[told.piece[told.is_b == is_b]] = label[told.is_b == is_b]
        kept = replace(change, is_changed=place > 0, depth_mm=np.where(place > 0, change.depth_mm, 0.0))
        placed.append((place, kept))
    (place_a, kept_a), (place_b, kept_b) = placed
    zones_a, zones_b = _zones_in(a, place_a, len(order)), _zones_in(b, place_b, len(order))
    places = tuple(_place(told, label, k, zones_a[k], zones_b[k]) for k in range(1, len(order) + 1))
    return Gathered(places, kept_a, kept_b, place_a, place_b)


def _changed(a: CompareSide, b: CompareSide, change_a: PieceChange, change_b: PieceChange) -> _Changed:
    rows_a, rows_b = np.flatnonzero(change_a.is_changed), np.flatnonzero(change_b.is_changed)
    return _Changed(
        np.repeat([False, True], [len(rows_a), len(rows_b)]),
        np.concatenate([rows_a, rows_b]),
        np.concatenate([a.pieces.corners[rows_a], b.pieces.corners[rows_b]]),
        np.concatenate([a.pieces.area_mm2[rows_a], b.pieces.area_mm2[rows_b]]),
        # what lies out of B was taken away from A
        np.concatenate([-change_a.depth_mm[rows_a], change_b.depth_mm[rows_b]]),
    )


def _grouped(points: Floats, cell_mm: float) -> NDArray[np.int64]:
    """(k,) group of points: those in one cell of a grid, or in cells that touch."""
    if len(points) == 0:
        return np.zeros(0, np.int64)
    cell = np.floor((points - points.min(axis=0)) / cell_mm).astype(np.int64) + 1
    wide = cell.max(axis=0) + 2
    key = (cell[:, 0] * wide[1] + cell[:, 1]) * wide[2] + cell[:, 2]
    cells, of_point = np.unique(key, return_inverse=True)
    ends = []
    for x, y, z in itertools.product((-1, 0, 1), repeat=3):
        step = (x * wide[1] + y) * wide[2] + z
        if step <= 0:
            continue
        place = np.minimum(np.searchsorted(cells, cells + step), len(cells) - 1)
        here = np.flatnonzero(cells[place] == cells + step)
        ends.append(np.stack([here, place[here]]))
    first, second = np.concatenate(ends, axis=1)
    links = coo_matrix((np.ones(len(first), np.int8), (first, second)), shape=(len(cells), len(cells)))
    group: NDArray[np.int64] = connected_components(links, directed=False)[1].astype(np.int64)[of_point]
    return group


def _zones_in(side: CompareSide, place: NDArray[np.int64], count: int) -> dict[int, tuple[int, ...]]:
    """Zones of a plan that each place lies in."""
    zone, area = np.maximum(side.piece_zone, 0), side.pieces.area_mm2
    wide = side.last_zone + 1
    shared = np.bincount(place * wide + zone, area, minlength=(count + 1) * wide).reshape(count + 1, wide)
    whole = shared.sum(axis=0)
    counts = (shared >= _PLACE_SHARE * shared.sum(axis=1, keepdims=True)) | (shared >= _ZONE_SHARE * whole)
    counts &= shared > 0.0
    counts[:, 0] = False
    return {k: tuple(int(number) for number in np.flatnonzero(counts[k])) for k in range(1, count + 1)}


def _place(
    told: _Changed, label: NDArray[np.int64], number: int, zones_a: tuple[int, ...], zones_b: tuple[int, ...]
) -> ChangedPlace:
    here = label == number
    corners, area, depth = told.corners[here], told.area_mm2[here], told.depth_mm[here]
    centre = np.average(corners.mean(axis=1), axis=0, weights=area)
    size = np.ptp(corners.reshape(-1, 3), axis=0)
    x, y, z = (float(value) for value in centre)
    wide, deep, high = (float(value) for value in size)
    return ChangedPlace(
        number,
        float(area[told.is_b[here]].sum()),
        float(area[~told.is_b[here]].sum()),
        max(float(depth.max(initial=0.0)), 0.0),
        max(float(-depth.min(initial=0.0)), 0.0) + 0.0,
        (x, y, z),
        (wide, deep, high),
        zones_a,
        zones_b,
    )
