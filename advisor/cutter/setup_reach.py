"""What of a part's surface a tool reaches along each of several axes, asked of points spread over it."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from advisor.cutter.cutter import Cutter
from advisor.cutter.reach import reach_of
from advisor.cutter.tool_body import ToolBody
from advisor.kernels.threads import threads
from advisor.part.mesh import Flags, Floats, Mesh
from advisor.part.plan_tree import PlanTree, plan_tree
from advisor.part.samples import Samples

# What leans over by more than this (a sine) no tool along the axis touches; as ``reach_of`` has it.
_SEEN = -np.sqrt(0.5)
# Of a closed mesh only what does not face down is in the way from above; upright walls within rounding stay.
_DOWN = -1e-6


@dataclass(frozen=True)
class SetupReach:
    """What a tool reaches along several axes.

    Attributes
    ----------
    axes : (c, 3) float64 array
        Unit vectors from the part to the spindle.
    samples : Samples
        k points of the surface.
    reached : (c, k) bool array
        The tool touches the point and goes into nothing, nor do neck, shank and the holder at its stick-out.
    """

    axes: Floats
    samples: Samples
    reached: Flags

    @property
    def share(self) -> Floats:
        """(c,) share of the surface that each reaches."""
        return np.asarray(self.reached @ self.samples.area_mm2 / self.samples.area_mm2.sum())

    def slope_deg(self, candidate: int) -> Floats:
        """(k,) slope of the points along one axis: 0 a floor that the tip meets, 90 a wall that its side meets."""
        return np.asarray(np.degrees(np.arccos(np.clip(self.samples.normal @ self.axes[candidate], -1.0, 1.0))))


@dataclass(frozen=True)
class AxisTool:
    """A tool along some axes of a part, to be asked again and again what it reaches.

    Attributes
    ----------
    body, cutter : the tool
    tolerance_mm : float
        Stock that may be left; at least what facets lie off their surface.
    stick_out_mm : float or None
        Out of its holder; without it the holder is in nobody's way.
    trees : sequence of PlanTree
        What may be in the way, along each axis.
    """

    body: ToolBody
    cutter: Cutter
    tolerance_mm: float
    stick_out_mm: float | None
    trees: Sequence[PlanTree]

    @property
    def axes(self) -> Floats:
        """(c, 3) unit vectors from the part to the spindle."""
        return np.array([tree.frame[2] for tree in self.trees]).reshape(-1, 3)

    def reached(self, points_mm: Floats, normals: Floats) -> Flags:
        """(c, k) whether (k, 3) points of the surface with their unit normals are reached along each axis."""
        rows = [_reached(self, tree, points_mm, normals) for tree in self.trees]
        return np.array(rows, dtype=bool).reshape(len(self.trees), len(points_mm))


def axis_tool(
    mesh: Mesh, body: ToolBody, cutter: Cutter, axes: Floats, tolerance_mm: float, stick_out_mm: float | None = None
) -> AxisTool:
    """A tool along (c, 3) axes of a part; all of its mesh may be in the way."""
    return AxisTool(body, cutter, tolerance_mm, stick_out_mm, [_in_the_way(mesh, axis) for axis in axes])


def setup_reach(
    mesh: Mesh,
    body: ToolBody,
    cutter: Cutter,
    axes: Floats,
    samples: Samples,
    tolerance_mm: float,
    stick_out_mm: float | None = None,
) -> SetupReach:
    """What a tool reaches of samples of a part along (c, 3) axes.

    Parameters
    ----------
    mesh : Mesh
        All of the part: what may be in the way.
    body, cutter : the tool
    axes : (c, 3) unit vectors
    samples : Samples
    tolerance_mm : float
        Stock that may be left; at least what facets lie off their surface.
    stick_out_mm : float, optional
        Of the tool; without it the holder is in nobody's way.
    """
    tool = AxisTool(body, cutter, tolerance_mm, stick_out_mm, ())

    def along(axis: Floats) -> Flags:
        return _reached(tool, _in_the_way(mesh, axis), samples.point, samples.normal)

    mesh.is_closed, mesh.normal  # noqa: B018  worked out once, before threads ask for it
    # building a tree takes one thread: two axes at a time keep the others busy
    with ThreadPoolExecutor(min(threads(), 2)) as pool:
        reached = np.array(list(pool.map(along, axes))).reshape(len(axes), -1)
    reached.setflags(write=False)
    return SetupReach(axes, samples, reached)


def _in_the_way(mesh: Mesh, axis: Floats) -> PlanTree:
    # straight above what faces down lies the other side of the solid, which is in the way before it is
    faces = mesh.faces[mesh.normal @ axis >= _DOWN] if mesh.is_closed else mesh.faces
    return plan_tree(mesh.vertices, faces, axis)


def _reached(tool: AxisTool, tree: PlanTree, points_mm: Floats, normals: Floats) -> Flags:
    rows = np.flatnonzero(normals @ tree.frame[2] > _SEEN)
    # a holder whose place the job does not tell is not asked
    out_mm = tool.stick_out_mm
    body = tool.body if out_mm is not None else replace(tool.body, holder=())
    reach = reach_of(body, tool.cutter, tree, points_mm[rows], normals[rows], tool.tolerance_mm)
    reached = np.zeros(len(points_mm), bool)
    reached[rows] = reach.by_cutter & reach.by_shank
    if out_mm is not None:
        reached[rows] &= ~(reach.stick_out_mm > out_mm)
    return reached
