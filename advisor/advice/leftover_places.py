"""Places left over as areas: which facets and parts of facets belong together, along the surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from advisor.advice.facet_parts import FacetParts
from advisor.advice.reach import CUTTER_TOO_LARGE, PartReach
from advisor.advice.reach_fields import ReachFields
from advisor.part.mesh import Flags, Floats, Ints, Mesh

# Samples within so many spacings of each other belong to one place, where they do not look away from each other.
_NEAR_SPACINGS = 2.0
_LEAST_COSINE = -0.3
# What stands higher than so many radii where not even the least ball fits is no corner that a smaller one follows:
# nothing gets there along this axis.
_NO_WAY_IN_RADII = 2.0


@dataclass(frozen=True)
class Places:
    """Connected places, numbered from 0.

    Attributes
    ----------
    samples : one array a place
        Samples of the part's reach that lie on it.
    area_mm2 : (n,)
    of_facet : (m,) int array
        Place that most of each facet belongs to, -1 for none.
    of_part : (p,) int array
        Place of each part of the facets that are cut.
    """

    samples: list[NDArray[np.int64]]
    area_mm2: Floats
    of_facet: Ints
    of_part: Ints


@dataclass(frozen=True)
class _Pieces:
    """Whole facets and parts of cut ones that are left over, one after another: numbers of these in their meshes."""

    whole: NDArray[np.int64]
    part: NDArray[np.int64]
    middle: Floats
    area_mm2: Floats
    kind: NDArray[np.int64]


def connected_places(
    part: PartReach, mesh: Mesh, fields: ReachFields, parts: FacetParts, of_parts: ReachFields, is_asked: Flags,
    radius_mm: float,
) -> Places:  # fmt: skip
    """Places that the finishing tool is too large for, connected along the surface.

    Parameters
    ----------
    fields, of_parts : what is told of whole facets, and of parts of large ones
    is_asked : (m,) bool array
        Facets that are finished.
    radius_mm : float
        Of the finishing tool.
    """
    count = len(mesh.faces)
    kind = _kinds(fields, radius_mm) * (is_asked & ~parts.is_cut)
    kind_of_part = _kinds(of_parts, radius_mm) * (is_asked & parts.is_cut)[parts.parent]
    whole, piece = np.flatnonzero(kind), np.flatnonzero(kind_of_part)
    pieces = _Pieces(
        whole, piece, np.concatenate([mesh.middle_of(whole), parts.mesh.middle_of(piece)]),
        np.concatenate([mesh.area_mm2[whole], parts.mesh.area_mm2[piece]]),
        np.concatenate([kind[whole], kind_of_part[piece]]),
    )  # fmt: skip
    of_facet, of_part = np.full(count, -1, np.int32), np.full(len(parts.parent), -1, np.int32)
    if len(pieces.kind) == 0:
        return Places([], np.zeros(0), of_facet, of_part)
    rows, node, near = _samples_on(part, is_asked, pieces, radius_mm)
    pairs = [*_across_edges(mesh, parts, pieces), _near_samples(part, rows, node, pieces, near)]
    ends = np.concatenate(pairs)
    graph = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(pieces.kind),) * 2)
    label = connected_components(graph, directed=False)[1].astype(np.int32)
    of_facet[whole], of_part[piece] = label[: len(whole)], label[len(whole) :]
    return _places(rows, label[node], pieces, label, (of_facet, of_part), parts, mesh)


def _places(
    rows: NDArray[np.int64],
    label_of_row: Ints,
    pieces: _Pieces,
    label: Ints,
    of: tuple[Ints, Ints],
    parts: FacetParts,
    mesh: Mesh,
) -> Places:
    count = int(label.max()) + 1
    order = np.argsort(label_of_row, kind="stable")
    ends = np.searchsorted(label_of_row[order], np.arange(count + 1))
    samples = [rows[order[ends[k] : ends[k + 1]]] for k in range(count)]
    of_facet, of_part = of
    _most_of_cut_facets(of_facet, of_part, parts, mesh)
    return Places(samples, np.bincount(label, pieces.area_mm2, minlength=count).astype(np.float64), of_facet, of_part)


def _most_of_cut_facets(of_facet: Ints, of_part: Ints, parts: FacetParts, mesh: Mesh) -> None:
    """Write the place of facets of which a place has more than half."""
    told = np.flatnonzero(of_part >= 0)
    key, which = np.unique(np.stack([parts.parent[told], of_part[told]], axis=1), axis=0, return_inverse=True)
    if len(key) == 0:
        return
    area = np.bincount(which.ravel(), parts.mesh.area_mm2[told])
    most = area > 0.5 * mesh.area_mm2[key[:, 0]]
    of_facet[key[most, 0]] = key[most, 1]


def _kinds(fields: ReachFields, radius_mm: float) -> NDArray[np.int64]:
    """0 not left over, 1 left over, 2 left over with no way in at all."""
    no_way = (fields.needed_ball_mm == 0.0) & (fields.leftover_mm > _NO_WAY_IN_RADII * radius_mm)
    return np.where(fields.reach == CUTTER_TOO_LARGE, np.where(no_way, 2, 1), 0)


def _samples_on(
    part: PartReach, is_asked: Flags, pieces: _Pieces, radius_mm: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], float]:
    """Samples left over, the piece that each lies on or beside, and how near neighbours are."""
    samples = part.samples
    no_way = (part.fit_mm == 0.0) & (part.leftover_mm > _NO_WAY_IN_RADII * radius_mm)
    kind = np.where(no_way, 2, 1)
    chosen = np.flatnonzero((part.by_tool[0].state == CUTTER_TOO_LARGE) & is_asked[samples.facet])
    near = _NEAR_SPACINGS * float(np.sqrt(np.quantile(samples.area_mm2[chosen], 0.95))) if len(chosen) else 0.0
    rows, node = [], []
    for one in (1, 2):
        here, own = np.flatnonzero(pieces.kind == one), chosen[kind[chosen] == one]
        if len(here) == 0 or len(own) == 0:
            continue
        away, nearest = cKDTree(pieces.middle[here]).query(samples.point[own])
        size = np.sqrt(pieces.area_mm2[here[nearest]])
        close = away <= near + 3.0 * size
        rows.append(own[close])
        node.append(here[nearest[close]])
    if not rows:
        return np.zeros(0, np.int64), np.zeros(0, np.int64), near
    return np.concatenate(rows), np.concatenate(node), near


def _near_samples(
    part: PartReach, rows: NDArray[np.int64], node: NDArray[np.int64], pieces: _Pieces, near: float
) -> NDArray[np.int64]:
    """Pairs of pieces whose samples lie next to each other: small facets between them may not have been asked."""
    if len(rows) == 0:
        return np.zeros((0, 2), np.int64)
    pairs = cKDTree(part.samples.point[rows]).query_pairs(near, output_type="ndarray")
    normal = part.samples.normal[rows]
    alike = np.einsum("kx,kx->k", normal[pairs[:, 0]], normal[pairs[:, 1]]) > _LEAST_COSINE
    ends = node[pairs[alike]]
    return np.asarray(ends[pieces.kind[ends[:, 0]] == pieces.kind[ends[:, 1]]])


def _across_edges(mesh: Mesh, parts: FacetParts, pieces: _Pieces) -> list[NDArray[np.int64]]:
    """Pairs of pieces of one kind that share an edge."""
    node = np.full(len(mesh.faces), -1, np.int64)
    node[pieces.whole] = np.arange(len(pieces.whole))
    # facets beside cut ones are parts of themselves, and the same piece
    node_of_part = np.where(parts.is_cut[parts.parent], -1, node[parts.parent])
    node_of_part[pieces.part] = len(pieces.whole) + np.arange(len(pieces.part))
    return [_pairs(mesh, node, pieces.kind), _pairs(parts.mesh, node_of_part, pieces.kind)]


def _pairs(mesh: Mesh, node: NDArray[np.int64], kind: NDArray[np.int64]) -> NDArray[np.int64]:
    if len(mesh.faces) == 0:
        return np.zeros((0, 2), np.int64)
    half = np.flatnonzero(mesh.twins > np.arange(len(mesh.twins)))
    one, other = node[half // 3], node[mesh.twins[half] // 3]
    both = (one >= 0) & (other >= 0)
    one, other = one[both], other[both]
    same = kind[one] == kind[other]
    return np.stack([one[same], other[same]], axis=1)
