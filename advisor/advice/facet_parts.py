"""Large facets in parts: what holds on a piece of a wide plane face can be drawn, measured and taken out as an area."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.refine import split_edges
from advisor.kernels.topology import match_half_edges
from advisor.model import FacetArrays
from advisor.part.mesh import Flags, Floats, Ints, Mesh

# A facet is halved so many times at most along each edge, and parts are no more than this.
_MOST_ROUNDS = 12
_MOST_PARTS = 120_000
# Places of corners within a facet are told in so many steps a side: halves of halves, each of them exactly.
STEPS = 1 << 15
# Corners of parts of neighbours that are this share of the part's size apart are one.
_WELD_SHARE = 1e-6
_CELLS_A_SIDE = 1_000_003


@dataclass(frozen=True)
class FacetParts:
    """Some facets of a mesh, the large ones cut into parts that meet corner to corner.

    Attributes
    ----------
    mesh : Mesh
        The parts, and facets beside them that stay whole.
    corner_normal : (p, 3, 3) float64 array
        Normals of the smooth surface at their corners, not of unit length.
    parent : (p,) int64 array
        Facet that each is part of.
    is_cut : (m,) bool array
        Facets of the whole mesh that fall into parts.
    """

    mesh: Mesh
    corner_normal: Floats
    parent: NDArray[np.int64]
    is_cut: Flags


def cut_into_parts(mesh: Mesh, corner_normal: Floats, longest_mm: Floats) -> FacetParts:
    """Facets cut until no edge of their parts is longer than asked; those beside them follow along the shared edge.

    Parameters
    ----------
    mesh : Mesh
    corner_normal : (m, 3, 3) float array
    longest_mm : (m,) float array
        inf for facets that need no cut.
    """
    chosen = np.isfinite(longest_mm)
    for _ in range(2):  # the facets beside, which may be cut as well, and those beside them, which tell they are not
        chosen = chosen | _beside(mesh, chosen)
    facet = np.flatnonzero(chosen)
    ids, corner = np.unique(mesh.faces[facet], return_inverse=True)
    vertices: Floats = mesh.vertices[ids]
    faces: Ints = corner.reshape(-1, 3).astype(np.int32)
    parent, normal = np.arange(len(facet)), np.ascontiguousarray(corner_normal[facet])
    for _ in range(_MOST_ROUNDS):
        edge = np.linalg.norm(vertices[np.roll(faces, -1, axis=1)] - vertices[faces], axis=2)
        long = edge > longest_mm[facet[parent], None]
        if not long.any() or len(faces) > len(facet) + _MOST_PARTS:
            break
        twins = match_half_edges(faces, len(vertices))
        at = np.where(long.ravel(), 0.5, np.nan)
        vertices, faces, normal, part_of = split_edges(vertices, faces, normal, twins, at)
        parent = parent[part_of]
    counts = np.bincount(facet[parent], minlength=len(mesh.faces))
    return FacetParts(Mesh(vertices, faces), normal, facet[parent].astype(np.int64), counts > 1)


def _beside(mesh: Mesh, chosen: Flags) -> Flags:
    partner = mesh.twins.reshape(-1, 3)
    return np.asarray((chosen[np.maximum(partner, 0) // 3] & (partner >= 0)).any(axis=1))


def corners_within(parts: FacetParts, whole: Mesh, rows: NDArray[np.int64]) -> NDArray[np.uint16]:
    """(p, 3, 2) places of the corners of some parts within their facet, see ``FacetArrays.part_corner``."""
    parent = whole.faces[parts.parent[rows]]
    origin = whole.vertices[parent[:, 0]]
    one, two = whole.vertices[parent[:, 1]] - origin, whole.vertices[parent[:, 2]] - origin
    at = parts.mesh.vertices[parts.mesh.faces[rows]] - origin[:, None]
    aa, ab, bb = ((x * y).sum(axis=1) for x, y in ((one, one), (one, two), (two, two)))
    pa, pb = np.einsum("pkx,px->pk", at, one), np.einsum("pkx,px->pk", at, two)
    det = np.maximum(aa * bb - ab * ab, 1e-300)[:, None]
    u, v = (bb[:, None] * pa - ab[:, None] * pb) / det, (aa[:, None] * pb - ab[:, None] * pa) / det
    return np.asarray(np.rint(np.clip(np.stack([u, v], axis=-1), 0.0, 1.0) * STEPS), dtype=np.uint16)


# Arrays of a part, and the array of whole facets that each refines.
_OF_PARTS = ("reach", "needed_ball_mm", "leftover_mm", "stick_out_mm", "leftover_place")


def with_parts(facets: FacetArrays) -> FacetArrays:
    """The facets with large ones replaced by their parts, each with its own numbers; as they are where none has parts.

    The parts of a facet lie in its plane and cover it; what is told of whole facets (zone, slopes) is their facet's.
    """
    if facets.parts is None or facets.part_corner is None or len(facets.part_corner) == 0:
        return facets
    whole = np.flatnonzero(facets.parts == 0)
    parent = np.repeat(np.arange(len(facets.faces)), facets.parts)
    corners = facets.vertices[facets.faces[parent]]
    u, v = (facets.part_corner / STEPS).transpose(2, 0, 1)
    weights = np.stack([1.0 - u - v, u, v], axis=-1)
    points = np.einsum("pck,pkx->pcx", weights, corners).reshape(-1, 3)
    told: dict[str, Any] = {
        each.name: getattr(facets, each.name)[np.concatenate([whole, parent])]
        for each in fields(FacetArrays)
        if each.name not in ("vertices", "parts", "part_corner") and not each.name.startswith("part_")
        and getattr(facets, each.name) is not None
    }  # fmt: skip
    for name in _OF_PARTS:
        own = getattr(facets, f"part_{name}")
        if own is not None and name in told:
            told[name] = np.concatenate([getattr(facets, name)[whole], own])
    vertices, corner = _welded(facets.vertices, points)
    told["faces"] = np.concatenate([facets.faces[whole], corner.reshape(-1, 3)]).astype(np.int32)
    bare: dict[str, Any] = dict.fromkeys(("parts", "part_corner", *(f"part_{name}" for name in _OF_PARTS)))
    return replace(facets, vertices=vertices, **told, **bare)


def _welded(vertices: Floats, points: Floats) -> tuple[Floats, Ints]:
    """Vertices with new points added, those that fall on one another once; and the vertex of each point."""
    together = np.concatenate([vertices, points])
    cell = max(float(np.ptp(vertices, axis=0).max()), 1e-300) * _WELD_SHARE
    grid = np.rint((together - vertices.min(axis=0)) / cell).astype(np.int64)
    key = (grid[:, 0] * _CELLS_A_SIDE + grid[:, 1]) * _CELLS_A_SIDE + grid[:, 2]
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    place = np.where(first < len(vertices), first, -1)
    added = np.flatnonzero(place < 0)
    place[added] = len(vertices) + np.arange(len(added))
    return np.concatenate([vertices, together[first[added]]]), place[number[len(vertices) :]].astype(np.int32)
