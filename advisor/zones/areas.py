"""Connected areas of one class: their graph, and the specks and slivers that are no areas of their own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.topology import changing_edges, connected_alike
from advisor.part.mesh import Flags, Floats, Ints, Mesh, edge_lengths_mm
from advisor.zones.classes import UNDERCUT

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
    half_edge = changing_edges(mesh.twins, label.astype(np.int32, copy=False))
    one, other = label[half_edge // 3], label[mesh.twins[half_edge] // 3]
    return Borders(half_edge, one, other, edge_lengths_mm(mesh, half_edge))


def connected_areas(mesh: Mesh, facet_class: NDArray[Any], parted: Flags | None = None) -> Ints:
    """(m,) label of each facet: connected areas of one class, numbered from 0; `parted` half-edges part them too."""
    parts = np.zeros(0, bool) if parted is None else parted
    return np.asarray(connected_alike(mesh.twins, facet_class.astype(np.int8, copy=False), parts))


def spread_sample(label: Labels, wanted: int) -> NDArray[np.int64]:
    """(k,) positions of `wanted` facets of every label and less than as many more, spread over its facets."""
    order = np.argsort(label, kind="stable")
    counts = np.bincount(label)
    counts = counts[counts > 0]
    place = np.arange(len(order)) - np.repeat(np.cumsum(counts) - counts, counts)
    every = np.repeat(np.maximum(counts // wanted, 1), counts)
    return np.asarray(order[place % every == 0], dtype=np.int64)


def numbered_pairs(one: Labels, other: Labels, count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of labels, low label first, each once and in order, and which of them each (one, other) is."""
    low, high = np.minimum(one, other).astype(np.int64), np.maximum(one, other).astype(np.int64)
    keys, number = np.unique(low * count + high, return_inverse=True)
    return np.stack(np.divmod(keys, count), axis=1), number


def absorb_specks(
    mesh: Mesh, label: Ints, facet_class: NDArray[np.int8], sharp: Flags, smallest_mm2: float, *, is_clean: bool
) -> tuple[Ints, NDArray[np.int8]]:
    """Give specks and slivers to the neighbour with which they share most border, smallest first.

    Parameters
    ----------
    mesh : Mesh
    label : (m,) int array
        Connected areas, numbered from 0.
    facet_class : (m,) int8 array
        One class an area.
    sharp : (3 m,) bool array
        Half-edges across which the smooth surface turns a corner.
    smallest_mm2 : float
        Areas below this are specks; very narrow ones (see ``tolerances``) are slivers.
    is_clean : bool
        In a clean mesh a speck joins across a smooth border only, for what edges of the part bound is a feature,
        and not across the undercut line unless it is far smaller. In a noisy one neither can be relied on.

    Returns
    -------
    label, facet_class : the same after merging; labels again from 0
    """
    count = int(label.max()) + 1
    class_of = np.zeros(count, np.int8)
    class_of[label] = facet_class
    edge = borders(mesh, label)
    smooth = ~sharp[edge.half_edge] if is_clean else np.ones(len(edge.half_edge), bool)
    narrow = min(tolerances.SLIVER_WIDTH_MM, tolerances.SLIVER_WIDTH_SHARE_OF_SIZE * mesh.reach_mm)
    graph = _Graph(
        *_summed(edge.one, edge.other, edge.length_mm, edge.length_mm * smooth, count),
        area=_summed_by(label, mesh.area_mm2, count),
        class_of=class_of,
    )
    root = np.arange(count)
    for _ in range(_MOST_ROUNDS):
        target = _targets(graph, smallest_mm2, narrow, is_clean)
        if np.array_equal(target, np.arange(count)):
            break
        final = _ends_of_chains(target)
        graph = _merged(graph, final)
        root = final[root]
    _, renumbered = np.unique(root, return_inverse=True)
    return renumbered[label].astype(np.int32), graph.class_of[root][label]


@dataclass(frozen=True)
class _Graph:
    """Areas and their borders: pairs of labels, low label first, with the whole and the smooth length."""

    pairs: NDArray[np.int64]
    length: Floats
    smooth_length: Floats
    area: Floats
    class_of: NDArray[np.int8]


def _summed_by(label: Labels, values: Floats, count: int) -> Floats:
    return np.asarray(np.bincount(label, weights=values, minlength=count), dtype=np.float64)


def _summed(
    one: Labels, other: Labels, length: Floats, smooth_length: Floats, count: int
) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Total border lengths of every pair of different labels."""
    apart = one != other
    pairs, number = numbered_pairs(one[apart], other[apart], count)
    return (
        pairs,
        _summed_by(number, length[apart], len(pairs)),
        _summed_by(number, smooth_length[apart], len(pairs)),
    )


def _targets(graph: _Graph, smallest_mm2: float, narrow_mm: float, is_clean: bool) -> NDArray[np.int64]:
    """For every label: the neighbour that takes it, or itself."""
    area, count = graph.area, len(graph.area)
    rim = np.bincount(graph.pairs.ravel(), weights=np.repeat(graph.length, 2), minlength=count)
    sliver = (area > 0) & (2 * area < narrow_mm * rim)
    small = sliver | ((area > 0) & (area < smallest_mm2))
    ends = np.concatenate([graph.pairs, graph.pairs[:, ::-1]])
    source, taker = ends.T
    # a sliver goes wherever its border is longest, a speck where its smooth border is
    length = np.where(sliver[source], np.tile(graph.length, 2), np.tile(graph.smooth_length, 2))
    if is_clean:
        is_undercut = graph.class_of == UNDERCUT
        hides = is_undercut[source] != is_undercut[taker]
        too_like = area[source] * tolerances.SPECK_UNDER_NEIGHBOUR > area[taker]
        length = np.where(hides & too_like & ~sliver[source], 0.0, length)
    # most border first; of equal borders the larger area, then the lower label: no chance in it
    order = np.lexsort((taker, -area[taker], -length, source))
    first = order[np.flatnonzero(np.diff(source[order], prepend=-1))]
    target = np.arange(count)
    chosen = first[small[source[first]] & (length[first] > 0)]
    target[source[chosen]] = taker[chosen]
    # of two specks that choose each other, or one that would swallow a larger, the smaller goes
    return np.where(area[target] >= area, target, np.arange(count))


def _ends_of_chains(target: NDArray[np.int64]) -> NDArray[np.int64]:
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


def _merged(graph: _Graph, final: NDArray[np.int64]) -> _Graph:
    """Areas and borders summed on the labels that stay; the largest member's class rules."""
    count = len(graph.area)
    order = np.lexsort((-graph.area, final))
    leads = order[np.flatnonzero(np.diff(final[order], prepend=-1))]
    class_of = graph.class_of.copy()
    class_of[final[leads]] = graph.class_of[leads]
    one, other = final[graph.pairs].T
    pairs, length, smooth_length = _summed(one, other, graph.length, graph.smooth_length, count)
    return _Graph(pairs, length, smooth_length, _summed_by(final, graph.area, count), class_of)
