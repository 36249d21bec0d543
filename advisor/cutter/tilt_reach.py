"""What a tool reaches along tilted axes, and what is in its way where it does not."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.cutter.cutter import Cutter
from advisor.cutter.reach import reach_of
from advisor.cutter.tilt_cone import TiltCone, seen_along
from advisor.cutter.tool_body import ToolBody
from advisor.kernels.threads import threads
from advisor.part.mesh import Floats, Mesh
from advisor.part.plan_tree import PlanTree, plan_tree

# What holds a tool back, the lesser trouble first: a cutter that gouges would do so with any shank.
REACHED, BY_HOLDER, BY_SHANK, BY_CUTTER = 0, 1, 2, 3
# Upright walls within rounding stay, as in ``setup_reach``.
_ROUNDING = 1e-6


@dataclass(frozen=True)
class TiltReach:
    """What a tool reaches of k points along the c axes of a cone.

    Attributes
    ----------
    state : (c, k) int8 array
        0 reached, 1 the holder would touch, 2 neck or shank, 3 the cutter (or the point faces away).
    stick_out_mm : (c, k) float64 array
        Least length out of the holder, NaN where unknown.
    """

    state: NDArray[np.int8]
    stick_out_mm: Floats


@dataclass(frozen=True)
class TiltTool:
    """A tool that may tilt, to be asked again and again what it reaches.

    Attributes
    ----------
    body, cutter : the tool
    tolerance_mm : float
        See ``cutter.reach``.
    stick_out_mm : float or None
        Of the tool; without it the holder is in nobody's way.
    tree : PlanTree
        What may be in the way along any axis of the cone, seen along the first.
    """

    body: ToolBody
    cutter: Cutter
    tolerance_mm: float
    stick_out_mm: float | None
    tree: PlanTree

    def reach(self, axes: Floats, points_mm: Floats, normals: Floats) -> TiltReach:
        """What it reaches of (k, 3) points with their unit normals along (c, 3) axes of the cone."""
        # seeing facets along another axis takes one thread: two axes at a time keep the others busy
        with ThreadPoolExecutor(min(threads(), 2)) as pool:
            told = list(pool.map(lambda axis: self._along(axis, points_mm, normals), axes))
        state, stick_out = np.array([each for each, _ in told]), np.array([each for _, each in told])
        for array in (state, stick_out):
            array.setflags(write=False)
        return TiltReach(state, stick_out)

    def _along(self, axis: Floats, points_mm: Floats, normals: Floats) -> tuple[NDArray[np.int8], Floats]:
        found = reach_of(self.body, self.cutter, seen_along(self.tree, axis), points_mm, normals, self.tolerance_mm)
        state = np.where(found.by_shank, REACHED, np.where(found.by_cutter, BY_SHANK, BY_CUTTER))
        if self.stick_out_mm is not None:
            state[(state == REACHED) & (found.stick_out_mm > self.stick_out_mm)] = BY_HOLDER
        return state.astype(np.int8), found.stick_out_mm


def tilt_tool(
    mesh: Mesh, cone: TiltCone, body: ToolBody, cutter: Cutter, tolerance_mm: float, stick_out_mm: float | None
) -> TiltTool:
    """A tool along the axes of a cone; all of the mesh may be in the way."""
    faces = mesh.faces
    if mesh.is_closed:
        # straight above what faces down along an axis lies the other side of the solid, which is in the way before it
        lean = np.sin(np.radians(max(cone.tilts_deg, default=0.0)))
        faces = faces[mesh.normal @ cone.frame[2] >= -lean - _ROUNDING]
    return TiltTool(body, cutter, tolerance_mm, stick_out_mm, plan_tree(mesh.vertices, faces, cone.frame[2]))
