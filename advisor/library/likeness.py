"""How alike two surfaces are in size and shape, as numbers that do not change with place, turn or meshing.

A surface is told by its shape distribution: how far apart points spread over it lie (R. Osada, T. Funkhouser,
B. Chazelle, D. Dobkin, "Shape distributions", ACM Transactions on Graphics 21(4), 2002, measure D2), and how far they
lie from the middle of the surface (D1). A mirror image has the same numbers. That they agree is a hint and no proof.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.distance import pdist

from advisor.library.summary import PartMarks, ZoneMarks
from advisor.model import Plan
from advisor.part.mesh import Floats, Mesh
from advisor.part.samples import even_samples

# Single precision: a library may hold a hundred thousand parts.
Marks = NDArray[np.float32]

# Points that stand for a part and for a zone, and the shares of their distances that are kept.
_PART_POINTS, _ZONE_POINTS = 2048, 256
_PART_QUANTILES, _ZONE_QUANTILES = 16, 8
# Zones of a part that are kept, the largest ones: crumbs are alike everywhere.
_MOST_ZONES = 40
# Rows that are looked for at once: a library has a million zones.
_ROWS_AT_ONCE = 10_000
# Of each so many are linked to it when families are looked for.
_LINKS = 12
# Parts and zones that differ by less are told as alike. Other exports of one part, and turned ones, differ by up to
# 0.9 % in a part and 2 % in a zone, by the points that happen to be asked (measured on the demo parts).
ALIKE_SHARE = 0.03
_DIGITS = 6


@dataclass(frozen=True)
class Likeness:
    """One of the others that is alike: its place among them, and by what share it differs at most."""

    other: int
    difference_share: float


def marks_of(plan: Plan) -> PartMarks:
    """The marks of a part and of its zones."""
    facets = plan.facets
    mesh = Mesh(facets.vertices, facets.faces)
    told = [zone for zone in plan.zones if zone.advice is not None and zone.advice.usable][:_MOST_ZONES]
    order = np.argsort(facets.zone, kind="stable")
    start = np.searchsorted(facets.zone[order], np.arange(len(plan.zones) + 2))
    zones = []
    for zone in told:
        rows = order[start[zone.id] : start[zone.id + 1]]
        own = Mesh(mesh.vertices, mesh.faces[rows])
        lean = np.radians([zone.slope_deg.p05, zone.slope_deg.mean, zone.slope_deg.p95])
        marks = np.concatenate([surface_marks(own, _ZONE_POINTS, _ZONE_QUANTILES), lean])
        zones.append(ZoneMarks(zone.id, zone.name, _rounded(marks)))
    return PartMarks(_rounded(surface_marks(mesh, _PART_POINTS, _PART_QUANTILES)), tuple(zones))


def surface_marks(mesh: Mesh, points: int, quantiles: int) -> Floats:
    """Marks of a surface: of two surfaces they differ by no more than these do in size, and in shape for their size.

    Parameters
    ----------
    mesh : Mesh
    points : int
        Spread evenly over the surface.
    quantiles : int

    Returns
    -------
    (2 quantiles + 2,) float64 array
        Logarithms of the largest distance kept and of the root of the area, mm; distances between points and from
        their middle, those that so many shares of them stay below, against the largest one kept.
    """
    point = even_samples(mesh, points).point
    shares = (np.arange(quantiles) + 0.5) / quantiles
    apart = np.quantile(pdist(point), shares)
    out = np.quantile(np.linalg.norm(point - point.mean(axis=0), axis=1), shares)
    largest = max(float(apart[-1]), 1e-300)
    sizes = np.log([largest, max(float(np.sqrt(mesh.area_mm2.sum())), 1e-300)])
    return np.concatenate([sizes, apart / largest, out / largest])


def rows_of(marks: Sequence[Sequence[float]]) -> Marks:
    """Marks of many, one row each."""
    return np.array(marks, np.float32) if len(marks) > 0 else np.empty((0, 0), np.float32)


def _rounded(marks: Floats) -> tuple[float, ...]:
    return tuple(round(float(mark), _DIGITS) for mark in marks)


def most_alike(
    marks: Marks, others: Marks, most: int, within: float = ALIKE_SHARE, *, same: bool = False
) -> Iterator[list[Likeness]]:
    """Of each row of marks the others that differ least, the nearest first; none that differs by more than `within`.

    Parameters
    ----------
    marks : (k, n), others : (o, n) float array
    most : int
        Others told of each.
    within : float
    same : bool
        Whether `others` are the rows themselves: none is told as like itself.
    """
    if len(others) == 0:
        yield from ([] for _ in range(len(marks)))
        return
    tree, near = cKDTree(others), min(most + same, len(others))
    for start in range(0, len(marks), _ROWS_AT_ONCE):
        rows = marks[start : start + _ROWS_AT_ONCE]
        away, nearest = tree.query(rows, k=near, p=np.inf, distance_upper_bound=within)
        for row, (apart, other) in enumerate(zip(away.reshape(-1, near), nearest.reshape(-1, near), strict=True)):
            found = sorted((float(a), int(o)) for a, o in zip(apart, other, strict=True) if np.isfinite(a))
            yield [Likeness(o, a) for a, o in found if not (same and o == start + row)][:most]


def families(marks: Marks, within: float = ALIKE_SHARE) -> NDArray[np.int64]:
    """(k,) number of the family of each row, 1 for the first one to have any like it; 0 for those that are alone.

    A family hangs together by likeness: from one to the next no more than `within`. Of those that stand for large
    families not every pair is asked.
    """
    count = len(marks)
    if count == 0:
        return np.zeros(0, np.int64)
    label = np.arange(count)
    first = label  # of each group so far its first row, which stands for it
    while True:
        grown = _joined(marks[first], within)
        if grown.max() + 1 == len(first):
            break
        label = grown[label]
        _, first = np.unique(label, return_index=True)
    size = np.bincount(label)
    number = np.zeros(len(size), np.int64)
    groups = label[np.sort(first)]
    groups = groups[size[groups] > 1]
    number[groups] = np.arange(1, len(groups) + 1)
    return np.asarray(number[label])


def _joined(marks: Marks, within: float) -> NDArray[np.int64]:
    """(k,) number of the group of each row, by links to the nearest: of many that are alike not all pairs."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = len(marks)
    near = min(_LINKS + 1, count)
    away, nearest = cKDTree(marks).query(marks, k=near, p=np.inf, distance_upper_bound=within)
    away, nearest = away.reshape(count, near), nearest.reshape(count, near)
    row, link = np.nonzero(np.isfinite(away))
    ends = (np.ones(len(row), bool), (row, nearest[row, link]))
    _, group = connected_components(coo_array(ends, shape=(count, count)), directed=False)
    return np.asarray(group, dtype=np.int64)
