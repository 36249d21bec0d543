"""Facets found by their place in plan: what lies above a point, what a cutter may touch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.plan_tree import boxes, halve, is_covered
from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Ints

# Facets a leaf holds at most: below it, opening a box costs more than asking its facets. Of many facets the boxes would
# take more room than the facets do.
_LEAF, _LEAF_OF_MANY, _MANY = 2, 8, 2_000_000


@dataclass(frozen=True)
class PlanTree:
    """Facets in a tree of plan boxes.

    Attributes
    ----------
    frame : (3, 3) float64 array
        Rows are X, Y of the set-up and the tool axis; points of the tree are ``part @ frame.T``.
    corners : (m, 3, 3) float64 array
        Corners of the facets in that frame, in the order of the tree.
    facet : (m,) int array
        Which facet each is.
    box : (n, 9) float64 array
        Low x, low y, high x, high y, top z of every node and a plane above it: see ``kernels.plan_tree.boxes``.
    levels : int
        Times the facets are halved.
    """

    frame: Floats
    corners: Floats
    facet: NDArray[np.int64]
    box: Floats
    levels: int

    def is_covered(self, points_mm: Floats) -> Flags:
        """(k,) whether a facet of the tree lies straight above each of (k, 3) points of the part."""
        if len(self.facet) == 0:
            return np.zeros(len(points_mm), bool)
        return np.asarray(is_covered(points_mm @ self.frame.T, self.corners, self.box, self.levels))


def plan_tree(vertices_mm: Floats, faces: Ints, axis: Floats) -> PlanTree:
    """The tree of (m, 3) facets of (n, 3) vertices seen along a tool axis, (3,) unit vector."""
    frame = np.vstack([plan_axes(axis), axis])
    seen = vertices_mm @ frame.T
    x, y, z = (along[faces].mean(axis=1) for along in seen.T)
    leaf = _LEAF_OF_MANY if len(faces) > _MANY else _LEAF
    levels = max(int(np.ceil(np.log2(max(len(faces), 1) / leaf))), 0)
    order = halve(x, y, z, levels)
    corners = seen[faces[order]]
    return PlanTree(frame, corners, order, boxes(corners, levels), levels)
