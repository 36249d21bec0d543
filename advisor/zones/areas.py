"""Connected areas of one class: their graph, and the specks and slivers that are no areas of their own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.topology import connected_facets
from advisor.part.mesh import Floats, Ints, Mesh, half_edge_ends

_MOST_ROUNDS = 64

Labels = NDArray[np.signedinteger[Any]]


@dataclass(frozen=True)
class Borders:
    """Half-edges between facets of different label, each border edge once.

    Attributes
    ----------
    half_edge : (k,) int array
    one, other : (k,) int array
        Labels on either side.
    length_mm : (k,) float array
    """

    half_edge: NDArray[np.int64]
    one: Ints
    other: Ints
    length_mm: Floats


def borders(mesh: Mesh, label: Ints) -> Borders:
    """Edges at which the label changes."""
    h = np.arange(len(mesh.twins))
    once = np.flatnonzero(mesh.twins > h)
    one, other = label[once // 3], label[mesh.twins[once] // 3]
    changes = one != other
    half_edge = once[changes]
    a, b = half_edge_ends(mesh.faces, half_edge).T
    length = np.linalg.norm(mesh.vertices[b] - mesh.vertices[a], axis=1)
    return Borders(half_edge, one[changes], other[changes], length)


def connected_areas(mesh: Mesh, facet_class: NDArray[np.int8]) -> Ints:
    """(m,) label of each facet: connected areas of one class, numbered from 0."""
    partner = np.maximum(mesh.twins, 0) // 3
    alike = np.repeat(facet_class, 3) == facet_class[partner]
    label, _ = connected_facets(mesh.twins, alike)
    return np.asarray(label)


def absorb_specks(
    mesh: Mesh, label: Ints, facet_class: NDArray[np.int8], smallest_mm2: float
) -> tuple[Ints, NDArray[np.int8]]:
    """Give specks and slivers to the neighbour with which they share most border, smallest first.

    Parameters
    ----------
    label : (m,) int array
        Connected areas, numbered from 0.
    facet_class : (m,) int8 array
        One class an area.
    smallest_mm2 : float
        Areas below this are specks; very narrow ones (see ``tolerances``) are slivers.

    Returns
    -------
    label, facet_class : the same after merging; labels again from 0
    """
    count = int(label.max()) + 1
    area = _summed_by(label, mesh.area_mm2, count)
    class_of = np.zeros(count, np.int8)
    class_of[label] = facet_class
    edge = borders(mesh, label)
    pairs, length = _summed(edge.one, edge.other, edge.length_mm, count)
    narrow = min(tolerances.SLIVER_WIDTH_MM, tolerances.SLIVER_WIDTH_SHARE_OF_SIZE * mesh.reach_mm)
    root = np.arange(count)
    for _ in range(_MOST_ROUNDS):
        target = _targets(pairs, length, area, smallest_mm2, narrow)
        moved = np.flatnonzero(target != np.arange(count))
        if len(moved) == 0:
            break
        final = _ends_of_chains(target, area)
        area, class_of = _merged(final, area, class_of)
        root = final[root]
        pairs, length = _summed(final[pairs[:, 0]], final[pairs[:, 1]], length, count)
    _, renumbered = np.unique(root, return_inverse=True)
    return renumbered[label].astype(np.int32), class_of[root][label]


def _summed_by(label: Labels, values: Floats, count: int) -> Floats:
    return np.asarray(np.bincount(label, weights=values, minlength=count), dtype=np.float64)


def _summed(one: Labels, other: Labels, length: Floats, count: int) -> tuple[NDArray[np.int64], Floats]:
    """Total border length of every pair of different labels, low label first."""
    low, high = np.minimum(one, other).astype(np.int64), np.maximum(one, other).astype(np.int64)
    apart = low != high
    keys, inverse = np.unique(low[apart] * count + high[apart], return_inverse=True)
    return np.stack(np.divmod(keys, count), axis=1), _summed_by(inverse, length[apart], len(keys))


def _targets(
    pairs: NDArray[np.int64], length: Floats, area: Floats, smallest_mm2: float, narrow_mm: float
) -> NDArray[np.int64]:
    """For every label: the neighbour that takes it, or itself."""
    count = len(area)
    rim = np.bincount(pairs.ravel(), weights=np.repeat(length, 2), minlength=count)
    small = (area > 0) & ((area < smallest_mm2) | (2 * area < narrow_mm * rim))
    ends = np.concatenate([pairs, pairs[:, ::-1]])
    lengths = np.concatenate([length, length])
    # most border first; of equal borders the larger area, then the lower label: no chance in it
    order = np.lexsort((ends[:, 1], -area[ends[:, 1]], -lengths, ends[:, 0]))
    first = order[np.flatnonzero(np.diff(ends[order, 0], prepend=-1))]
    target = np.arange(count)
    chosen = first[small[ends[first, 0]]]
    target[ends[chosen, 0]] = ends[chosen, 1]
    # of two specks that choose each other, or one that would swallow a larger, the smaller goes
    smaller_first = area[target] >= area
    return np.where(smaller_first | ~small[target], target, np.arange(count))


def _ends_of_chains(target: NDArray[np.int64], area: Floats) -> NDArray[np.int64]:
    target = target.copy()
    mutual = (target[target] == np.arange(len(target))) & (target != np.arange(len(target)))
    keep = mutual & (np.arange(len(target)) < target)
    target[keep] = np.flatnonzero(keep)
    for _ in range(_MOST_ROUNDS):
        further = target[target]
        if np.array_equal(further, target):
            break
        target = further
    return target


def _merged(final: NDArray[np.int64], area: Floats, class_of: NDArray[np.int8]) -> tuple[Floats, NDArray[np.int8]]:
    """Areas summed on the labels that stay; the largest member's class rules."""
    order = np.lexsort((-area, final))
    leads = order[np.flatnonzero(np.diff(final[order], prepend=-1))]
    new_class = class_of.copy()
    new_class[final[leads]] = class_of[leads]
    return _summed_by(final, area, len(area)), new_class
