"""Areas that the spindle cannot see, whatever their slope: they are undercuts as well."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.part.mesh import Flags, Floats, Mesh
from advisor.part.plan_tree import plan_tree
from advisor.part.samples import part_middles
from advisor.zones.areas import connected_areas, spread_sample
from advisor.zones.classes import STEEP, UNDERCUT

# Facets asked of every area, and into how many parts a side each is cut: long facets are hidden in part.
_ASKED = 60
_PARTS = 3


def with_hidden_areas(
    mesh: Mesh, facet_class: NDArray[np.int8], sharp: Flags, axis: Floats, in_the_way: Mesh | None = None
) -> NDArray[np.int8]:
    """Classes in which areas that overhangs hide from the spindle all over are undercuts.

    The floor of a hole drilled from the side has no slope that says so. An area is what corners and changes of class
    bound; one that is hidden in part stays what it is.

    Parameters
    ----------
    mesh : Mesh
    facet_class : (m,) int8 array
    sharp : (3 m,) bool array
        Half-edges across which the surface turns a corner.
    axis : (3,) unit vector from the part to the spindle
    in_the_way : Mesh, optional
        The whole part, where the mesh is what one set-up of several finishes: what the others finish hides as well.
    """
    vertices, roof = _roof(mesh, facet_class, axis, in_the_way)
    if len(roof) == 0:
        return facet_class
    is_undercut = facet_class == UNDERCUT
    label = connected_areas(mesh, facet_class, sharp)
    asked = np.flatnonzero(~is_undercut)
    asked = asked[spread_sample(label[asked], _ASKED)]
    clear = max(tolerances.HIDDEN_MM, tolerances.HIDDEN_SHARE_OF_SIZE * mesh.reach_mm)
    points = (
        np.einsum("pc,kcx->kpx", part_middles(_PARTS), mesh.vertices[mesh.faces[asked]])
        + clear * mesh.normal[asked, None]
    )
    tree = plan_tree(vertices, roof, axis)
    covered = tree.is_covered(points.reshape(-1, 3)).reshape(points.shape[:2]).mean(axis=1)
    count = int(label.max()) + 1
    total = np.bincount(label[asked], mesh.area_mm2[asked], minlength=count)
    hidden = np.bincount(label[asked], mesh.area_mm2[asked] * covered, minlength=count)
    is_hidden = hidden > tolerances.HIDDEN_AREA_SHARE * np.maximum(total, 1e-300)
    return np.where(is_hidden[label] & (facet_class <= STEEP), np.int8(UNDERCUT), facet_class)


def _roof(
    mesh: Mesh, facet_class: NDArray[np.int8], axis: Floats, in_the_way: Mesh | None
) -> tuple[Floats, NDArray[np.int32]]:
    """Vertices and facets of what may hide: undercuts of the mesh, and of the rest what is no wall."""
    own = mesh.faces[facet_class == UNDERCUT]
    if in_the_way is None:
        return mesh.vertices, own
    leans = in_the_way.normal @ axis < -np.sin(np.radians(tolerances.IDLE_LEAN_DEG))
    others = in_the_way.faces[leans] + np.int32(len(mesh.vertices))
    return np.concatenate([mesh.vertices, in_the_way.vertices]), np.concatenate([own, others])
