"""A pass surface in facets no larger than passes need that follow a front over it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.curved import curved
from advisor.kernels.flip import flip_edges
from advisor.kernels.halve import chords, long_edges, split_facets, turnable
from advisor.part.mesh import Floats, Ints, half_edge_ends, mesh_with_twins
from advisor.passes.offset_steps import OffsetSteps
from advisor.passes.surface import PassSurface

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
        point, count = long_edges(mesh.vertices, mesh.faces, mesh.twins, longest[surface.source], _RIM_SHARE)
        if count == 0:
            break
        surface, _ = _parted(surface, point, count, None)
    mesh = surface.mesh
    point, count = chords(mesh.faces, mesh.twins, len(mesh.vertices))
    return _parted(surface, point, count, None)[0] if count else surface


def _turned(surface: PassSurface, steps: OffsetSteps) -> PassSurface:
    """The surface with edges turned over inside pairs of thin facets of like steps."""
    mesh, source = surface.mesh, surface.source
    kind = turnable(mesh.twins, surface.is_inside, steps.least_mm[source], steps.most_mm[source], _LIKE_STEP_SHARE)
    faces, twins = mesh.faces.copy(), mesh.twins.copy()
    off = tolerances.PASS_FACET_SAG_MM
    flip_edges(mesh.vertices, faces, surface.normal[faces], twins, kind, off, off)
    turned = mesh_with_twins(mesh.vertices, faces, twins)
    return PassSurface(turned, surface.normal, source, surface.is_inside, surface.beyond_mm)


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
    twins = surface.mesh.twins
    point = np.full(len(twins), -1, np.int32)
    point[half_edge] = len(surface.mesh.vertices) + np.arange(len(half_edge))
    paired = twins[half_edge] >= 0
    point[twins[half_edge][paired]] = point[half_edge[paired]]
    return _parted(surface, point, len(half_edge), share)


def _parted(surface: PassSurface, point: Ints, count: int, share: Floats | None) -> tuple[PassSurface, Ints]:
    """The surface with so many vertices on its edges, numbered; half way along, or at shares."""
    mesh, first = surface.mesh, len(surface.mesh.vertices)
    edge = point - first
    half_edge = np.empty(count, np.int64)
    # the lower half-edge comes last, and stays
    on_edge = np.flatnonzero(point >= 0)[::-1]
    half_edge[edge[on_edge]] = on_edge
    ends = half_edge_ends(mesh.faces, half_edge)
    at = np.full(count, 0.5) if share is None else share
    both = np.stack([1.0 - at, at], axis=1)
    place, normal = curved(mesh.vertices, surface.normal, ends, both)
    vertices = np.concatenate([mesh.vertices, place])
    faces, twins, parent = split_facets(vertices, mesh.faces, mesh.twins, point)
    parts = PassSurface(
        mesh_with_twins(vertices, faces, twins),
        np.concatenate([surface.normal, normal]),
        surface.source[parent],
        surface.is_inside[parent],
        np.concatenate([surface.beyond_mm, (both * surface.beyond_mm[ends]).sum(axis=1)]),
    )
    return parts, parent
