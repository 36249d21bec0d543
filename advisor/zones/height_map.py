"""Greatest heights of a part over a grid in plan: who looks out level from a wall sees by it what is in the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.kernels.patch_sums import faces_material, height_map
from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Mesh

# Cells along the longer side of the part in plan: a wall that faces another across a gap sees it at this grain.
_CELLS = 400
_CLEAR_CELLS = 2.0


@dataclass(frozen=True)
class HeightMap:
    """Heights along an axis.

    Attributes
    ----------
    axis : (3,) unit vector
    top : (rows, columns) float64 array, mm
        Minus infinity where nothing is.
    low_mm : (2,) float64 array
        Corner of the grid in the plan of the axis.
    cell_mm : float
    """

    axis: Floats
    top: Floats
    low_mm: Floats
    cell_mm: float

    def is_faced(self, points_mm: Floats, normals: Floats) -> Flags:
        """(k,) points from which someone who looks level, along a normal that is not upright, meets material.

        Parameters
        ----------
        points_mm, normals : (k, 3) float64 arrays
        """
        frame = plan_axes(self.axis)
        out = normals @ frame.T
        out /= np.linalg.norm(out, axis=1)[:, None]
        start = (points_mm @ frame.T - self.low_mm) / self.cell_mm
        return np.asarray(faces_material(self.top, start, out, points_mm @ self.axis, _CLEAR_CELLS))


def height_map_of(mesh: Mesh, axis: Floats) -> HeightMap:
    """The heights of a mesh along an axis."""
    plan, height = mesh.vertices @ plan_axes(axis).T, mesh.vertices @ axis
    low, size = plan.min(axis=0), np.ptp(plan, axis=0)
    cell = float(size.max()) / _CELLS
    columns, rows = (size / cell).astype(int) + 1
    return HeightMap(axis, height_map(plan, height, mesh.faces, low, cell, rows, columns), low, cell)
