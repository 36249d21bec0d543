"""Material that a cutter leaves where it does not get in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple

import numpy as np

from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import Piece
from advisor.kernels.leftover import leftover
from advisor.kernels.threads import in_chunks
from advisor.part.mesh import Floats
from advisor.part.plan_tree import PlanTree

# Points a thread takes at once.
_CHUNK = 512


def leftover_mm(
    pieces: Sequence[Piece],
    cutter: Cutter,
    tree: PlanTree,
    points_mm: Floats,
    normals: Floats,
    tolerance_mm: Floats | float,
) -> Floats:
    """Height of material that a cutter along the axis of a tree leaves at points of a surface.

    From each point the shortest way to the surface of the swept cutter: for a ball, to the nearest place at which its
    middle is clear of every facet, less the radius. In a fillet of radius r between walls at 90 deg a ball of radius
    R leaves ``(sqrt(2) - 1) (R - r)`` in the middle. The places found are all clear, so the height is never too small;
    for a ball the search is exact where one way in is nearest, for a bull-nose it goes by steps and the height is an
    upper bound.

    Parameters
    ----------
    pieces : the cutting end, ``ToolBody.cutter``; with more pieces than a ball the height is an upper bound too
    cutter : Cutter
        Its corner and ring radius.
    tree : PlanTree
        Every facet that may be in the way.
    points_mm, normals : (k, 3) points of the surface and its unit normals there
    tolerance_mm : float or (k,) array
        Stock that counts as nothing: what facets lie off their surface.

    Returns
    -------
    (k,) float64 array, mm, 0 where the cutter reaches the point but for the tolerance.
    """
    count = len(points_mm)
    height = np.zeros(count)
    if count == 0 or len(tree.facet) == 0:
        return height
    rows = np.array([astuple(piece) for piece in pieces])
    point, normal = np.ascontiguousarray(points_mm @ tree.frame.T), np.ascontiguousarray(normals @ tree.frame.T)
    off = np.array(np.broadcast_to(tolerance_mm, count), dtype=np.float64)

    def run(part: slice) -> None:
        shape = (float(cutter.ring_radius_mm), float(cutter.corner_radius_mm))
        leftover(rows, *shape, point[part], normal[part], off[part], tree.corners, tree.box, tree.levels, height[part])

    in_chunks(count, _CHUNK, run)
    return height
