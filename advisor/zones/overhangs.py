"""An undercut is an overhang that hides something from the tool; a wall that leans a hair over is a wall."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.label_bounds import bounds_by_label
from advisor.part.mesh import Floats, Mesh
from advisor.zones.areas import connected_areas
from advisor.zones.classes import STEEP, UNDERCUT


def without_idle_overhangs(
    mesh: Mesh, facet_class: NDArray[np.int8], slopes_deg: Floats, axis: Floats
) -> NDArray[np.int8]:
    """Classes in which overhangs that hide less than a tolerance count as steep.

    What an area hides is at most its height times the tangent of its lean. Coarse facets between two polygons of
    a round wall lean both ways by chance; a drafted face leans one way over its whole height.
    """
    if not (facet_class == UNDERCUT).any():
        return facet_class
    label = connected_areas(mesh, facet_class)
    count = int(label.max()) + 1
    height = np.diff(bounds_by_label(mesh.vertices @ axis, mesh.faces, label, count), axis=1)[:, 0]
    area = np.bincount(label, mesh.area_mm2, minlength=count)
    lean_deg = np.bincount(label, mesh.area_mm2 * slopes_deg, minlength=count) / area - 90.0
    hidden = height * np.tan(np.radians(np.clip(lean_deg, 0.0, 89.0)))
    limit = max(tolerances.HIDDEN_MM, tolerances.HIDDEN_SHARE_OF_SIZE * mesh.reach_mm)
    idle = (hidden < limit) & (lean_deg < tolerances.IDLE_LEAN_DEG)
    return np.where((facet_class == UNDERCUT) & idle[label], np.int8(STEEP), facet_class)
