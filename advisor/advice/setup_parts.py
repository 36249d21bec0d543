"""Meshes taken from a part for its set-ups, with the smooth surface and the curvatures of the whole carried along.

Worked out anew they would change: facets that a border was drawn through look like strips of another surface, and
normals at the edge of an open piece know one side only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.model import Part
from advisor.part.curvature import Curvature
from advisor.part.measured import MeasuredPart
from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.part.smooth import SmoothSurface


@dataclass(frozen=True)
class SetupPart:
    """What a set-up finishes, or the whole part with facets cut along the borders of its set-ups.

    Attributes
    ----------
    mesh : Mesh
    record : Part
        Of the whole part.
    smooth, bends : the smooth surface behind the facets and its curvatures, those of the whole part
    """

    mesh: Mesh
    record: Part
    smooth: SmoothSurface
    bends: Curvature


@dataclass(frozen=True)
class CutFacets:
    """Facets of a part, some of them cut into several.

    Attributes
    ----------
    mesh : Mesh
        The first vertices are those of the part.
    parent : (m,) int array
        The facet of the part that each is of.
    weights : (m, 3, 3) float64 array
        Place of each corner in that facet, as shares of its three corners.
    """

    mesh: Mesh
    parent: Ints
    weights: Floats


def cut_part(part: MeasuredPart, cut: CutFacets) -> SetupPart:
    """The part with its facets cut, its smooth surface as it was."""
    smooth, bends, parent, weights = part.smooth, part.bends, cut.parent, cut.weights
    edge, is_on_edge = _parent_edges(parent, weights)
    is_held = ((weights == 0.0) | smooth.is_held[parent][:, None, :]).all(axis=2)
    added = np.full(len(cut.mesh.vertices) - len(part.mesh.vertices), np.nan)
    return SetupPart(
        cut.mesh,
        part.record,
        SmoothSurface(
            _carried(smooth.corner_normal, cut), smooth.is_crease[edge] & is_on_edge,
            np.where(is_on_edge, smooth.bend_deg[edge], 0.0), smooth.is_plane[parent], is_held,
            smooth.noise_share_of_edge,
        ),
        Curvature(
            bends.k_max_per_mm[parent], bends.k_min_per_mm[parent], bends.k_max_direction[parent], bends.normal[parent],
            np.concatenate([bends.vertex_k_max_per_mm, added]), np.concatenate([bends.vertex_k_min_per_mm, added]),
        ),
    )  # fmt: skip


def taken_from(whole: SetupPart, chosen: Flags) -> tuple[SetupPart, Ints]:
    """The chosen facets as an open mesh of their own, and (n,) which vertex of the whole each of its vertices is."""
    smooth, bends = whole.smooth, whole.bends
    rows = np.flatnonzero(chosen)
    used, corners = np.unique(whole.mesh.faces[rows], return_inverse=True)
    mesh = Mesh(whole.mesh.vertices[used], corners.reshape(-1, 3).astype(np.int32))
    half = (3 * rows[:, None] + np.arange(3)).ravel()
    is_rim = mesh.twins < 0
    own = SetupPart(
        mesh,
        whole.record,
        SmoothSurface(
            smooth.corner_normal[rows], smooth.is_crease[half] | is_rim, np.where(is_rim, 0.0, smooth.bend_deg[half]),
            smooth.is_plane[rows], smooth.is_held[rows], smooth.noise_share_of_edge,
        ),
        Curvature(
            bends.k_max_per_mm[rows], bends.k_min_per_mm[rows], bends.k_max_direction[rows], bends.normal[rows],
            bends.vertex_k_max_per_mm[used], bends.vertex_k_min_per_mm[used],
        ),
    )  # fmt: skip
    return own, used.astype(np.int32)


def _carried(corner_normal: Floats, cut: CutFacets) -> Floats:
    """(m, 3, 3) unit normals at corners, linear in the facet that was cut; those of facets left whole as they were."""
    carried = corner_normal[cut.parent]
    is_cut = ~(cut.weights == np.eye(3)).all(axis=(1, 2))
    between = cut.weights[is_cut] @ carried[is_cut]
    carried[is_cut] = between / np.linalg.norm(between, axis=2, keepdims=True)
    return carried


def _parent_edges(parent: Ints, weights: Floats) -> tuple[Ints, Flags]:
    """(3 m,) half-edge of the part that each half-edge lies on, and whether it lies on one at all."""
    ends = np.stack([weights, np.roll(weights, -1, axis=1)], axis=2)
    # on the edge from corner k to the next the third corner has no share
    without = (ends == 0.0).all(axis=2)
    place = (without.argmax(axis=2) + 1) % 3
    return (3 * parent[:, None] + place).ravel(), without.any(axis=2).ravel()
