"""How long a place is along its corner: the line on which most material stands, and its length.

A place left over is a band that follows a corner: straight, round a pocket, or branching where corners meet. Across the
band material is highest on one line. The points near it are drawn together across the line, never along it, and what is
left of them is a string of beads.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import minimum_spanning_tree, shortest_path
from scipy.spatial import cKDTree

from advisor.part.mesh import Floats

# Points of a place that are looked at.
_CELLS = 900
# The line runs where material stands this share of the highest within so many widths of the band.
_HIGH_SHARE = 0.85
_WITHIN_WIDTHS = 0.5
# Rounds of drawing points together, within so many widths.
_ROUNDS = 4
_DRAWN_WIDTHS = 0.3
# Beads lie so many widths apart; those within so many of that gap are linked.
_BEADS_OF_WIDTH = 0.5
_LINKED_GAPS = 2.6
# Stubs that stick out by no more than so many gaps are beads beside the line.
_STUB_GAPS = 2.0
# Two linked beads close a ring where the way round is so many gaps long.
_RING_GAPS = 7.0


def length_along_mm(points_mm: Floats, area_mm2: Floats, height_mm: Floats) -> float:
    """Length of a band along its middle line, mm: rings all round, branches together.

    Parameters
    ----------
    points_mm : (k, 3) points all over the band
    area_mm2, height_mm : (k,) surface that each stands for, and material over it
    """
    total = float(area_mm2.sum())
    gap = float(np.sqrt(total / _CELLS))
    cell, at = _cells(points_mm, gap, area_mm2)
    area = np.bincount(cell, area_mm2).astype(np.float64)
    height = np.bincount(cell, area_mm2 * height_mm) / area
    length = float(np.linalg.norm(np.ptp(at, axis=0))) + gap
    width = 2.0 * total / length
    for _ in range(3):  # the width follows from the length, which follows from the width: not too fast, or it runs away
        width = max(total / length, gap, 0.5 * width)
        length = max(_line_mm(at, area, height, width, gap), float(np.sqrt(total)))
    return length


def _line_mm(at: Floats, area: Floats, height: Floats, width: float, gap: float) -> float:
    near = _near(at, max(_WITHIN_WIDTHS * width, 1.5 * gap))
    highest = np.maximum.reduceat(height[near.indices], near.indptr[:-1])
    high = height >= _HIGH_SHARE * highest
    moved, weight = at[high], area[high]
    for _ in range(_ROUNDS):
        moved = _drawn_together(moved, weight, max(_DRAWN_WIDTHS * width, 2.0 * gap))
    apart = max(_BEADS_OF_WIDTH * width, 2.0 * gap)
    return _length_of_beads(_cells(moved, apart, weight)[1], apart, at, width, gap)


def _cells(points: Floats, size: float, weight: Floats) -> tuple[NDArray[np.int64], Floats]:
    """The cell of a size that each point lies in, and the weighted middle of the points of each."""
    grid = np.floor((points - points.min(axis=0)) / size).astype(np.int64)
    _, cell = np.unique(grid, axis=0, return_inverse=True)
    cell = cell.ravel().astype(np.int64)
    total = np.bincount(cell, weight)
    middle = np.stack([np.bincount(cell, weight * points[:, k]) for k in range(3)], axis=1) / total[:, None]
    return cell, middle


def _drawn_together(points: Floats, weight: Floats, within: float) -> Floats:
    """Points moved to the weighted middle of those near them, but not along the way these run."""
    near = _near(points, within)
    near.data = np.maximum(1.0 - (near.data / within) ** 2, 0.0)
    near = near @ csr_matrix((weight, (np.arange(len(weight)),) * 2))
    total = np.maximum(np.asarray(near.sum(axis=1)).ravel(), 1e-300)
    mean = (near @ points) / total[:, None]
    outer = np.einsum("ki,kj->kij", points, points).reshape(-1, 9)
    spread = ((near @ outer) / total[:, None]).reshape(-1, 3, 3) - np.einsum("ki,kj->kij", mean, mean)
    along = np.linalg.eigh(spread)[1][:, :, 2]
    step = mean - points
    return np.asarray(points + step - (step * along).sum(axis=1)[:, None] * along)


def _near(points: Floats, within: float) -> csr_matrix:
    """Distances between points that are near each other, those of a point to itself among them."""
    pairs = cKDTree(points).query_pairs(within, output_type="ndarray")
    away = np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1)
    own = np.arange(len(points))
    rows = np.concatenate([pairs[:, 0], pairs[:, 1], own])
    columns = np.concatenate([pairs[:, 1], pairs[:, 0], own])
    return coo_matrix((np.concatenate([away, away, 0.0 * own]), (rows, columns)), shape=(len(points),) * 2).tocsr()


def _length_of_beads(beads: Floats, apart: float, at: Floats, width: float, gap: float) -> float:
    """Length of the shortest tree through beads, of the links that close rings, and out to where the band ends."""
    if len(beads) < 2:
        return float(np.linalg.norm(np.ptp(at, axis=0))) + gap
    pairs = cKDTree(beads).query_pairs(_LINKED_GAPS * apart, output_type="ndarray")
    long = np.linalg.norm(beads[pairs[:, 0]] - beads[pairs[:, 1]], axis=1)
    links = coo_matrix((np.maximum(long, 1e-12), (pairs[:, 0], pairs[:, 1])), shape=(len(beads),) * 2).tocsr()
    spanning = minimum_spanning_tree(links)
    tree = spanning.tocoo()
    pruned = _without_stubs(tree.row, tree.col, tree.data, _STUB_GAPS * apart, len(beads))
    spanning = csr_matrix((pruned[2], (pruned[0], pruned[1])), shape=(len(beads),) * 2)
    tree = spanning.tocoo()
    degree = np.bincount(np.concatenate([tree.row, tree.col]), minlength=len(beads))
    total, way = float(tree.sum()), shortest_path(spanning, method="D", directed=False)
    for row in np.argsort(long, kind="stable"):
        i, j = pairs[row]
        if np.isfinite(way[i, j]) and way[i, j] > _RING_GAPS * apart:
            total += float(long[row])
            degree[[i, j]] += 1
            way = _with_link(way, int(i), int(j), float(long[row]))
    for one, other in zip(tree.row, tree.col, strict=True):
        for end, before in ((one, other), (other, one)):
            if degree[end] == 1:
                out = (beads[end] - beads[before]) / np.linalg.norm(beads[end] - beads[before])
                beyond = at[np.linalg.norm(at - beads[end], axis=1) <= max(width, apart)] - beads[end]
                total += max(float((beyond @ out).max(initial=0.0)), 0.0) + gap / 2
    return total


def _without_stubs(
    one: NDArray[np.int32], other: NDArray[np.int32], long: Floats, most: float, count: int
) -> tuple[NDArray[np.int32], NDArray[np.int32], Floats]:
    """A tree's links without those to single beads that hang on a line which goes on both ways."""
    degree = np.bincount(np.concatenate([one, other]), minlength=count)
    stub = ((degree[one] == 1) & (degree[other] > 2)) | ((degree[other] == 1) & (degree[one] > 2))
    kept = ~(stub & (long <= most))
    return one[kept], other[kept], long[kept]


def _with_link(way: Floats, i: int, j: int, length: float) -> Floats:
    """Shortest ways where one link more is there."""
    through = np.minimum(way[:, [i]] + length + way[[j], :], way[:, [j]] + length + way[[i], :])
    return np.minimum(way, through)
