"""Facets sunk by what they may stand over the surface they are chords of: what passes must not go into."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.part.facet_stock import bulging_mm, most_beside, standing_mm
from advisor.part.mesh import Floats, Mesh, half_edge_ends
from advisor.part.plan_tree import PlanTree, plan_tree
from advisor.part.smooth import SmoothSurface

# What a facet stands over a hollow is told from normals, and may be more by this share.
_STANDS_MORE = 0.25
# Nor do those beside it count as more than so many times its own.
_MOST_BESIDE = 2.0
# Points of hollows are given so many times as much.
_POINTS_DEEPER = 2.0
# The surface that passes are laid on follows normals alone, which along the foot of a narrow strip tell of a bend that
# is not there: up to this share of the most such facets are sunk all the same.
_LAID_DEEPER_SHARE = 0.25
# Where the surface bulges over a facet it is known to this share of the bulge.
_BULGE_SHARE = 0.15


@dataclass(frozen=True)
class SunkFacets:
    """Facets of a part along a tool axis, each sunk into the material as deep as a cutter may go into it.

    Attributes
    ----------
    of_passes : PlanTree
        What passes are asked against. In hollows facets are chords, and a cutter on the surface behind them cuts them
        by what they stand over it; elsewhere it goes into none. A face that ends in a hollow, as the land round a bore,
        ends in a polygon, where the bore is round: its facets there give way sideways as well. Neighbours may part, by
        far less than any cutter fits between.
    of_points : PlanTree
        What points are asked against, whether a cutter gets there at all: facets in hollows are sunk deeper.
        A pass is moved until it fits (``passes.eased``); a cutter that a point's own normal puts in place is not.
    """

    of_passes: PlanTree
    of_points: PlanTree


def sunk_facets(mesh: Mesh, smooth: SmoothSurface, axis: Floats, most_mm: float) -> SunkFacets:
    """Facets of a part, sunk.

    Parameters
    ----------
    mesh, smooth : a part, and the smooth surface behind it
    axis : (3,) unit vector from the part to the spindle
    most_mm : float
        No facet is sunk deeper, or moved further.
    """
    told = standing_mm(mesh, smooth.corner_normal)
    # of strips cut across, some tell less than others
    beside = np.minimum(most_beside(mesh, told), _MOST_BESIDE * told)
    laid = np.minimum(_laid_deeper_mm(mesh, smooth.corner_normal), _LAID_DEEPER_SHARE * most_mm)
    stands = np.clip((1.0 + _STANDS_MORE) * beside, laid, most_mm)
    bulge = _BULGE_SHARE * bulging_mm(mesh, smooth.corner_normal)
    return SunkFacets(
        *(
            _tree(mesh, _ways_mm(mesh, smooth, deep, np.minimum(deep + bulge, most_mm), most_mm), axis)
            for deep in (stands, np.minimum(_POINTS_DEEPER * stands, most_mm))
        )
    )


def _laid_deeper_mm(mesh: Mesh, corner_normal: Floats) -> Floats:
    """(m,) how far the surface that passes are laid on lies below edges of every facet, by normals at their ends."""
    corners = mesh.vertices[mesh.faces]
    edge, turn = (np.roll(array, -1, axis=1) - array for array in (corners, corner_normal))
    return np.asarray(np.maximum(-np.einsum("mkx,mkx->mk", edge, turn).min(axis=1), 0.0) / 8)


def _tree(mesh: Mesh, way_mm: Floats, axis: Floats) -> PlanTree:
    corners = (mesh.vertices[mesh.faces] + way_mm).reshape(-1, 3)
    return plan_tree(corners, np.arange(len(corners), dtype=np.int32).reshape(-1, 3), axis)


def _ways_mm(mesh: Mesh, smooth: SmoothSurface, stands_mm: Floats, depth_mm: Floats, most_mm: float) -> Floats:
    """(m, 3, 3) ways of the corners of facets: into the material, and away from hollows that end there in an edge."""
    edge = np.flatnonzero(smooth.is_crease & (mesh.twins >= 0))
    first, last = half_edge_ends(mesh.faces, edge).T
    vertex, hollow = np.concatenate([last, first]), np.tile(mesh.twins[edge] // 3, 2)
    # where several hollows end in a vertex the one that gives most is written last
    order = np.argsort(stands_mm[hollow], kind="stable")
    vertex, hollow = vertex[order], hollow[order]
    of_vertex = np.zeros((len(mesh.vertices), 3))
    of_vertex[vertex] = stands_mm[hollow, None] * mesh.normal[hollow]
    sideways = np.where((stands_mm > 0.0)[:, None, None], 0.0, of_vertex[mesh.faces])
    way = -(depth_mm[:, None] * mesh.normal)[:, None] - sideways
    longer = np.maximum(np.linalg.norm(way, axis=2, keepdims=True), 1e-300)
    return np.asarray(way * np.minimum(1.0, most_mm / longer))
