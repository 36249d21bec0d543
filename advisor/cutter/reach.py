"""Whether a tool gets to a point of the surface: without gouging, and with how much of it out of the holder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import dropped, is_blocked
from advisor.cutter.tool_body import ToolBody, cutter_pieces
from advisor.part.mesh import Flags, Floats
from advisor.part.plan_tree import PlanTree

# A normal that rises less than this is level: the cutter touches with its side.
_LEVEL_RISE = 1e-9
# A ball in a fillet of its own radius touches all over: rounding must not decide.
_ROUNDING_MM = 1e-9


@dataclass(frozen=True)
class Reach:
    """What a tool reaches of (k,) points.

    Attributes
    ----------
    by_cutter : (k,) bool array
        The cutter touches the point and goes into nothing, but for a tolerance.
    by_shank : (k,) bool array
        Neck and shank are clear as well.
    stick_out_mm : (k,) float64 array
        Least length out of the holder that keeps it clear, mm; NaN where the cutter does not get there, or the job
        describes no holder.
    too_low_mm : (k,) float64 array
        By how much the cutter would have to rise to be clear, 0 where it reaches; NaN where the surface faces down.
    shank_short_mm : (k,) float64 array
        By how much flutes or neck would have to be longer for the shank to be clear as well, 0 where it is; NaN where
        the cutter does not get there.
    """

    by_cutter: Flags
    by_shank: Flags
    stick_out_mm: Floats
    too_low_mm: Floats
    shank_short_mm: Floats


def tip_places(cutter: Cutter, points_mm: Floats, normals: Floats, axis: Floats, off_mm: float | Floats) -> Floats:
    """(k, 3) places of the tip, in the part, at which a cutter touches points of a surface.

    Its corner's middle stands a corner radius and `off_mm` from the point along the normal, its axis a ring radius
    further out. What leans over is touched as a wall is.

    Parameters
    ----------
    cutter : Cutter
    points_mm, normals : (k, 3)
    axis : (3,) unit vector from the part to the spindle
    off_mm : float or (k,) array
        Stock left between cutter and point.
    """
    rise = np.maximum(normals @ axis, 0.0)
    level = normals - (normals @ axis)[:, None] * axis
    run = np.linalg.norm(level, axis=1)
    outward = np.where(run[:, None] > _LEVEL_RISE, level / np.maximum(run, 1e-300)[:, None], 0.0)
    seen = outward * np.sqrt(np.maximum(1.0 - rise**2, 0.0))[:, None] + rise[:, None] * axis
    corner = points_mm + (cutter.corner_radius_mm + np.asarray(off_mm))[..., None] * seen
    return np.asarray(corner + cutter.ring_radius_mm * outward - cutter.corner_radius_mm * axis)


def reach_of(
    body: ToolBody, cutter: Cutter, tree: PlanTree, points_mm: Floats, normals: Floats, tolerance_mm: float
) -> Reach:
    """What a tool along the axis of a tree reaches.

    Parameters
    ----------
    body, cutter : the tool
    tree : PlanTree
        Every facet that may be in the way.
    points_mm, normals : (k, 3) points of the surface and its unit normals there
    tolerance_mm : float
        How far facets may lie off their surface: a ball in a fillet of its own radius touches all of it, and cuts the
        facets, which are chords, by so much. The cutter is let go so deep, no deeper.
    """
    faces_up, shrunk, tip = _let_in(cutter, tree, points_mm, normals, tolerance_mm)
    lowest = dropped(cutter_pieces(shrunk), tree, tip[:, :2])
    too_low = np.where(faces_up, np.maximum(lowest.height_mm - tip[:, 2], 0.0), np.nan)
    by_cutter = faces_up & (lowest.height_mm <= tip[:, 2] + _ROUNDING_MM)
    by_shank, short = by_cutter.copy(), np.where(by_cutter, 0.0, np.nan)
    rows = np.flatnonzero(by_cutter)
    if body.shank:
        rests = dropped(body.shank, tree, tip[rows, :2], tip[rows, 2])
        by_shank[rows] = rests.facet < 0
        # the tip would have to stand so much higher: raising neck and shank over it by as much does as well
        short[rows] = np.where(rests.facet < 0, 0.0, rests.height_mm - tip[rows, 2])
    stick_out = np.full(len(points_mm), np.nan)
    if body.holder:
        nose = dropped(body.holder, tree, tip[rows, :2]).height_mm
        stick_out[rows] = np.maximum(nose - tip[rows, 2], 0.0)
    return Reach(by_cutter, by_shank, stick_out, too_low, short)


def gets_to(
    body: ToolBody, cutter: Cutter, tree: PlanTree, points_mm: Floats, normals: Floats, tolerance_mm: float
) -> Flags:
    """(k,) whether the tool gets to points, as ``reach_of`` says it, and sooner: with its holder at its stick-out."""
    faces_up, shrunk, tip = _let_in(cutter, tree, points_mm, normals, tolerance_mm)
    gets = faces_up.copy()
    gets[faces_up] = stands_clear(body, shrunk, tree, tip[faces_up], _ROUNDING_MM)
    return gets


def stands_clear(body: ToolBody, shrunk: Cutter, tree: PlanTree, tip_mm: Floats, rounding_mm: float) -> Flags:
    """(k,) whether a tool goes into nothing with its tip at places in the frame of a tree.

    Parameters
    ----------
    body : the tool; what is behind its cutter is asked where the cutter is clear
    shrunk : its cutter, let in
    tree : PlanTree
    tip_mm : (k, 3)
    rounding_mm : float
        By which the cutter may stand too low.
    """
    clear = ~is_blocked(cutter_pieces(shrunk), tree, tip_mm[:, :2], tip_mm[:, 2] + rounding_mm)
    if body.behind:
        rows = np.flatnonzero(clear)
        clear[rows] = ~is_blocked(body.behind, tree, tip_mm[rows, :2], tip_mm[rows, 2])
    return np.asarray(clear)


def _let_in(
    cutter: Cutter, tree: PlanTree, points_mm: Floats, normals: Floats, tolerance_mm: float
) -> tuple[Flags, Cutter, Floats]:
    """What faces the spindle enough to be asked, the cutter let in by a tolerance, and its tip in the tree's frame."""
    axis = tree.frame[2]
    shrunk = cutter.let_in(tolerance_mm)
    off_mm = cutter.corner_radius_mm - shrunk.corner_radius_mm
    tip = tip_places(shrunk, points_mm, normals, axis, off_mm) @ tree.frame.T
    return np.asarray(normals @ axis > -np.sqrt(0.5)), shrunk, tip
