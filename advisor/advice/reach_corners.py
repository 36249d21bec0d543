"""What a tool leaves on the very edge of sharp inside corners: samples lie beside it, and most stands there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.cutter.leftover import leftover_mm
from advisor.cutter.tool_body import cutter_of, tool_body
from advisor.job import Tool
from advisor.part.mesh import Flags, Floats, Ints, Mesh, edge_lengths_mm, half_edge_ends
from advisor.part.plan_tree import PlanTree

# How near to one another points along inside corners lie at most, in radii of the tool.
_APART_RADII = 0.25


@dataclass(frozen=True)
class InsideCorners:
    """Points on sharp inside edges, over which the finishing tool leaves something.

    Attributes
    ----------
    point : (k, 3) float64 array
    zone : (k, 2) int array
        Zones on either side.
    left_mm : (k,) float64 array
        Height of material over the point.
    """

    point: Floats
    zone: NDArray[np.int64]
    left_mm: Floats

    def most_mm(self, zone: int) -> float:
        """The highest on the edges of a zone; 0 where nothing is left there."""
        return float(self.left_mm[(self.zone == zone).any(axis=1)].max(initial=0.0))


def inside_corners(
    mesh: Mesh, zone: Ints, is_asked: Flags, tool: Tool, tree: PlanTree, off_mm: float, most: int
) -> InsideCorners:
    """Heights along the inside edges between facets that are asked.

    Parameters
    ----------
    mesh : Mesh
    zone : (m,) zone of each facet
    is_asked : (m,) bool array
        Facets that face the spindle and are finished.
    tool : Tool
    tree : PlanTree
        Every facet that may be in the way.
    off_mm : float
        Stock that counts as nothing.
    most : int
        Points along all of them.
    """
    half = _inside_edges(mesh, is_asked)
    at, share = _places_along(edge_lengths_mm(mesh, half), _APART_RADII * tool.diameter / 2, most)
    half = half[at]
    one, other = half // 3, mesh.twins[half] // 3
    ends = mesh.vertices[half_edge_ends(mesh.faces, half)]
    point = ends[:, 0] + share[:, None] * (ends[:, 1] - ends[:, 0])
    normal = mesh.normal[one] + mesh.normal[other]
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    left = leftover_mm(tool_body(tool, 0.0).cutter, cutter_of(tool), tree, point, normal, off_mm)
    stands = left > 0.0
    return InsideCorners(
        point[stands], np.stack([zone[one], zone[other]], axis=1)[stands].astype(np.int64), left[stands]
    )


def _inside_edges(mesh: Mesh, is_asked: Flags) -> NDArray[np.int64]:
    """Half-edges, one of each two, between facets that meet at a sharp edge and rise over one another."""
    half = np.flatnonzero(mesh.twins > np.arange(len(mesh.twins)))
    one, other = half // 3, mesh.twins[half] // 3
    half = half[is_asked[one] & is_asked[other]]
    one, other = half // 3, mesh.twins[half] // 3
    bends = np.einsum("kx,kx->k", mesh.normal[one], mesh.normal[other]) < np.cos(np.radians(tolerances.CREASE_DEG))
    half, one, other = half[bends], one[bends], other[bends]
    edge = mesh.vertices[half_edge_ends(mesh.faces, half)[:, 0]]
    rises = np.einsum("kx,kx->k", mesh.middle_of(other) - edge, mesh.normal[one]) > 0.0
    return np.asarray(half[rises], dtype=np.int64)


def _places_along(length_mm: Floats, apart_mm: float, most: int) -> tuple[NDArray[np.int64], Floats]:
    """Places evenly spread over edges laid end to end: which edge, and what share of it."""
    if len(length_mm) == 0:
        return np.zeros(0, np.int64), np.zeros(0)
    along = np.cumsum(length_mm)
    count = int(np.clip(np.ceil(along[-1] / apart_mm), 1, most))
    at = (np.arange(count) + 0.5) * float(along[-1]) / count
    edge = np.minimum(np.searchsorted(along, at), len(along) - 1)
    share = 1.0 - (along[edge] - at) / np.maximum(length_mm[edge], 1e-300)
    return edge.astype(np.int64), np.clip(share, 0.0, 1.0)
