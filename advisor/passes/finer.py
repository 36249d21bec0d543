"""A pass surface in facets no larger than passes need that follow a front over it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.flip import FREE, flip_edges
from advisor.kernels.refine import split_edges
from advisor.part.mesh import Flags, Floats, Ints, Mesh, half_edge_ends
from advisor.passes.offset_steps import OffsetSteps
from advisor.passes.surface import PassSurface, curved_points

_MOST_ROUNDS = 16
# Area of a facet whose longest edge is 1: between halved equilateral ones and slivers.
_FACET_SHARE = 0.3
# At rims facets are this share of the size they have elsewhere: corners, and strips of few steps, show in the passes.
_RIM_SHARE = 0.4
# Steps within this share of each other count as one.
_LIKE_STEP_SHARE = 0.02


def finer(surface: PassSurface, steps: OffsetSteps) -> PassSurface:
    """The surface with edges halved, new vertices on the smooth surface.

    Halved are edges longer than ``tolerances.OFFSET_FACET_STEPS`` of the least step beside them, and those that join
    two vertices on rims without being rims themselves: no front could tell such a facet from the rim. Between facets
    of like steps edges are turned over where facets are thin, for each of these knows of one line in a front's way.

    Work and memory grow with the facets that come of it; there are ``tolerances.OFFSET_MOST_FACETS`` at most, but for
    what there were, and edges stay longer until there are.

    Parameters
    ----------
    surface : PassSurface
    steps : OffsetSteps
        For the facets of what the surface was made from: of ``surface.source``.
    """
    longest = tolerances.OFFSET_FACET_STEPS * steps.least_mm
    wanted = float((surface.mesh.area_mm2 / (_FACET_SHARE * longest[surface.source] ** 2)).sum())
    longest = longest * max(1.0, np.sqrt(wanted / tolerances.OFFSET_MOST_FACETS))
    for _ in range(_MOST_ROUNDS):
        surface = _turned(surface, steps)
        mesh = surface.mesh
        a, b = mesh.vertices[mesh.faces], mesh.vertices[np.roll(mesh.faces, -1, axis=1)]
        at_rim = _on_rim(mesh)[mesh.faces].any(axis=1)
        limit = np.repeat(np.where(at_rim, _RIM_SHARE, 1.0) * longest[surface.source], 3)
        limit = np.where(mesh.twins >= 0, np.minimum(limit, limit[np.maximum(mesh.twins, 0)]), limit)
        splits = np.linalg.norm(b - a, axis=2).ravel() > limit
        if not splits.any():
            break
        surface = _halved(surface, splits)
    ends = _on_rim(surface.mesh)[surface.mesh.faces]
    chords = (ends & np.roll(ends, -1, axis=1)).ravel() & (surface.mesh.twins >= 0)
    return _halved(surface, chords) if chords.any() else surface


def _on_rim(mesh: Mesh) -> Flags:
    """(n,) vertices on rims."""
    on_rim = np.zeros(len(mesh.vertices), bool)
    on_rim[half_edge_ends(mesh.faces, np.flatnonzero(mesh.twins < 0))] = True
    return on_rim


def _turned(surface: PassSurface, steps: OffsetSteps) -> PassSurface:
    """The surface with edges turned over inside pairs of thin facets of like steps."""
    mesh = surface.mesh
    beside = np.maximum(mesh.twins, 0) // 3
    own = np.repeat(np.arange(len(mesh.faces)), 3)
    alike = (mesh.twins >= 0) & (surface.is_inside[own] == surface.is_inside[beside])
    for step in (steps.least_mm[surface.source], steps.most_mm[surface.source]):
        alike &= np.abs(step[own] - step[beside]) < _LIKE_STEP_SHARE * step[own]
    # the same from both sides
    alike &= alike[np.maximum(mesh.twins, 0)]
    kind = np.where(alike, FREE, FREE + 1).astype(np.int8)
    faces, twins = mesh.faces.copy(), mesh.twins.copy()
    no_normals = np.zeros((len(faces), 3, 3))
    flip_edges(mesh.vertices.copy(), faces, no_normals, twins, kind, tolerances.PASS_FACET_SAG_MM)
    if (faces == mesh.faces).all():
        return surface
    return PassSurface(Mesh(mesh.vertices, faces), surface.normal, surface.source, surface.is_inside, surface.beyond_mm)


def _halved(surface: PassSurface, splits: Flags) -> PassSurface:
    """The surface with edges halved, both half-edges of each named."""
    twins = surface.mesh.twins
    half_edge = np.flatnonzero(splits & ((twins < 0) | (np.arange(len(twins)) < twins)))
    parts, _ = split(surface, half_edge, np.full(len(half_edge), 0.5))
    return parts


def split(surface: PassSurface, half_edge: NDArray[np.int64], share: Floats) -> tuple[PassSurface, Ints]:
    """The surface with edges split at places along them, new vertices on the smooth surface; parents of its facets.

    New vertices follow those there were, in the order given.

    Parameters
    ----------
    half_edge : (k,) int array
        The lower of each edge's half-edges, ascending.
    share : (k,) float array
        Of the way along it, between 0 and 1.
    """
    mesh = surface.mesh
    at = np.full(3 * len(mesh.faces), np.nan)
    at[half_edge] = share
    ends, both = half_edge_ends(mesh.faces, half_edge), np.stack([1.0 - share, share], axis=1)
    curved, normal = curved_points(mesh.vertices[ends], surface.normal[ends], both)
    no_normals = np.zeros((len(mesh.faces), 3, 3))
    vertices, faces, _, parent = split_edges(mesh.vertices, mesh.faces, no_normals, mesh.twins, at)
    vertices[len(mesh.vertices) :] = curved
    parts = PassSurface(
        Mesh(vertices, faces),
        np.concatenate([surface.normal, normal]),
        surface.source[parent],
        surface.is_inside[parent],
        np.concatenate([surface.beyond_mm, (both * surface.beyond_mm[ends]).sum(axis=1)]),
    )
    return parts, parent
