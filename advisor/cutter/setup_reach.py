"""What of a part's surface a tool reaches along each of several axes, asked of points spread over it."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count

import numpy as np
from numpy.typing import NDArray

from advisor.cutter.cutter import Cutter
from advisor.cutter.reach import reach_of
from advisor.cutter.tool_body import ToolBody
from advisor.part.mesh import Flags, Floats, Mesh
from advisor.part.plan_tree import plan_tree
from advisor.part.samples import Samples

WANTED_SAMPLES = 20_000
# Bits a coordinate is cut to along the curve that keeps neighbours together.
_CURVE_BITS = 20
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
        The tool touches the point and goes into nothing, neck and shank neither.
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


def setup_reach(
    mesh: Mesh, body: ToolBody, cutter: Cutter, axes: Floats, samples: Samples, tolerance_mm: float
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
    """

    def along(axis: Floats) -> Flags:
        # straight above what faces down lies the other side of the solid, which is in the way before it is
        faces = mesh.faces[mesh.normal @ axis >= _DOWN] if mesh.is_closed else mesh.faces
        tree = plan_tree(mesh.vertices, faces, axis)
        rows = np.flatnonzero(samples.normal @ axis > _SEEN)
        reach = reach_of(body, cutter, tree, samples.point[rows], samples.normal[rows], tolerance_mm)
        reached = np.zeros(len(samples.facet), bool)
        reached[rows] = reach.by_cutter & reach.by_shank
        return reached

    mesh.is_closed, mesh.normal  # noqa: B018  worked out once, before threads ask for it
    # building a tree takes one thread: two axes at a time keep the others busy
    with ThreadPoolExecutor(min(cpu_count() or 1, 2)) as pool:
        reached = np.array(list(pool.map(along, axes))).reshape(len(axes), -1)
    reached.setflags(write=False)
    return SetupReach(axes, samples, reached)


def setup_samples(mesh: Mesh, wanted: int = WANTED_SAMPLES) -> Samples:
    """`wanted` points spread evenly by area, whatever the number of facets: large facets have many, small ones share.

    Every so much area has a point, counted along a curve that keeps neighbours together, at places within the facets
    that follow no pattern of theirs.
    """
    order = np.argsort(_along_curve(mesh.middle), kind="stable")
    along = np.cumsum(mesh.area_mm2[order])
    each = float(along[-1]) / wanted
    facet = order[np.minimum(np.searchsorted(along, (np.arange(wanted) + 0.5) * each), len(order) - 1)]
    # steps of the plastic number's powers fill a square evenly; folded along its diagonal, a triangle
    # (M. Roberts, "The unreasonable effectiveness of quasirandom sequences", 2018; from memory)
    u, v = np.modf(0.5 + np.arange(wanted)[:, None] * np.array([0.7548776662466927, 0.5698402909980532]))[0].T
    folded = u + v > 1.0
    u, v = np.where(folded, 1.0 - u, u), np.where(folded, 1.0 - v, v)
    corners = mesh.vertices[mesh.faces[facet]]
    point = np.einsum("pk,kpx->kx", np.stack([1.0 - u - v, u, v]), corners)
    return Samples(point, mesh.normal[facet], facet, np.full(wanted, each))


def _along_curve(points: Floats) -> NDArray[np.int64]:
    """(k,) place of points on a curve through all cells of a cube, its halves one after the other (Morton order)."""
    low = points.min(axis=0)
    cells = (points - low) / max(float(np.ptp(points, axis=0).max()), 1e-300) * ((1 << _CURVE_BITS) - 1)
    code = np.zeros(len(points), np.int64)
    whole = cells.astype(np.int64)
    for bit in range(_CURVE_BITS):
        for k in range(3):
            code |= ((whole[:, k] >> bit) & 1) << (3 * bit + k)
    return code
