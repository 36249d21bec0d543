"""Arrays that a plan speaks of: facets, outlines and passes, as their ``.npz`` files have them. Lengths are mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

OutlineKind = Literal["boundary", "overlap"]


@dataclass(frozen=True)
class FacetArrays:
    """The cleaned mesh, cut along zone lines, in part coordinates. Arrays are read-only.

    Attributes
    ----------
    vertices : (n, 3) float64 array, mm
    faces : (m, 3) int32 array
    zone : (m,) int32 array
        Zone id of each facet, -1 where the job leaves the facet out.
    slope_deg : (m,) float64 array
        Angle between the facet's outward normal and the tool axis.
    smooth_slope_deg : (m,) float64 array
        The same of the smooth surface that the facets stand for: what the zone lines follow.
    slope_class : (m,) int8 array
        Index in ``SLOPE_CLASSES`` of the area that the facet lies in; a zone kept together has several.
    reach : (m,) int8 array or None
        Whether the finishing cutter gets there: 0 reached, 1 the cutter is too large or cannot get in, 2 shank or
        holder would touch, 3 faces away or hidden from the spindle. This and what follows is None where not worked out.
    needed_ball_mm : (m,) float32 array or None
        Diameter of the largest ball that fits there, whatever the job's tools: measured, 0 where not even one of 0.1 mm
        does, inf where one of 50 mm does, NaN where unknown. (Plans of earlier versions: the largest tool asked for.)
    leftover_mm : (m,) float32 array or None
        Height of material that the finishing cutter leaves there, 0 where it reaches, NaN where unknown.
    stick_out_mm : (m,) float32 array or None
        Least length out of the holder, NaN where unknown.
    leftover_place : (m,) int32 array or None
        ``id`` of the place left over that most of the facet belongs to, 0 for none.
    cusp_um : (m,) float32 array or None
        Height that the passes of the last stage leave, by the virtual cut: what 95 % of the place around stays within.
        Negative where they go below the surface by more than they may, inf where none of the zone's passes gets, NaN in
        zones without passes. None where none were laid.
    parts : (m,) int32 array or None
        Into how many parts a large facet falls on which not all is alike; 0 for facets that are told of as a whole.
    part_corner : (p, 3, 2) uint16 array or None
        Corners of the parts, facet by facet: the first is ``a + u (b - a) + v (c - a)`` with (u, v) the first row over
        32768 and a, b, c the facet's corners. ``advice.facet_parts.with_parts`` makes facets of them.
    part_reach, part_needed_ball_mm, part_leftover_mm, part_stick_out_mm, part_leftover_place : (p,) arrays or None
        The same as above of each part.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    zone: NDArray[np.int32]
    slope_deg: NDArray[np.float64]
    smooth_slope_deg: NDArray[np.float64]
    slope_class: NDArray[np.int8]
    reach: NDArray[np.int8] | None = None
    needed_ball_mm: NDArray[np.float32] | None = None
    leftover_mm: NDArray[np.float32] | None = None
    stick_out_mm: NDArray[np.float32] | None = None
    leftover_place: NDArray[np.int32] | None = None
    parts: NDArray[np.int32] | None = None
    part_corner: NDArray[np.uint16] | None = None
    part_reach: NDArray[np.int8] | None = None
    part_needed_ball_mm: NDArray[np.float32] | None = None
    part_leftover_mm: NDArray[np.float32] | None = None
    part_stick_out_mm: NDArray[np.float32] | None = None
    part_leftover_place: NDArray[np.int32] | None = None
    cusp_um: NDArray[np.float32] | None = None


@dataclass(frozen=True)
class OutlineArrays:
    """Outlines of zones: closed loops laid end to end. Arrays are read-only.

    Attributes
    ----------
    points : (k, 3) float64 array, mm
        The zone lies on the left hand seen from outside the part. A loop's last point joins its first.
    starts : (p + 1,) int64 array
        Loop ``i`` is ``points[starts[i]:starts[i + 1]]``.
    zone : (p,) int32 array
        Zone id.
    kind : (p,) str array
        ``boundary``, or ``overlap``: pushed out along the surface, for passes that blend.
    is_hole : (p,) bool array
        Whether the zone lies around the loop.
    neighbour : (k,) int32 array
        Zone beyond the segment from each point to the next; 0 on an open rim, -1 what the job leaves out.
    joint : (k,) int8 array
        How the two meet there: 0 tangent, 1 inside corner, 2 outside corner, -1 open rim.
    """

    points: NDArray[np.float64]
    starts: NDArray[np.int64]
    zone: NDArray[np.int32]
    kind: NDArray[np.str_]
    is_hole: NDArray[np.bool_]
    neighbour: NDArray[np.int32]
    joint: NDArray[np.int8]


@dataclass(frozen=True)
class PassArrays:
    """Passes of the strategies advised, laid end to end: ``passes.npz``. Arrays are read-only.

    Attributes
    ----------
    points : (k, 3) float64 array, mm
        Centre of the ball along every pass, in part coordinates; of a bull-nose, of the ring of its corner. A closed
        pass repeats its first point. Ways between passes are not in it.
    starts : (p + 1,) int64 array
        Pass ``i`` is ``points[starts[i]:starts[i + 1]]``; passes of a zone and stage come in the order of cutting.
    zone : (p,) int32 array
        Zone id.
    strategy, stage : (p,) str arrays
    tool : (p,) int32 array
        Index in ``PlanRecord.tools``.
    closed : (p,) bool array
    contacts : (k, 3) float32 array or None, mm
        Where the cutter touches the surface, point by point.
    level : (p,) int32 array or None
        Which line of its zone's family a pass is a piece of; a spiral begins with it.
    close_up_um : (c, n, n) float32 array or None
        Heights that passes leave on small squares of the surface, seen along its normal: row by row from above, each
        from left to right, at the middles of the cells. Negative below the surface, inf where no pass comes near, NaN
        off the zone.
    close_up_frame : (c, 4, 3) float64 array or None
        Of each square, in part coordinates: its middle (mm), and unit vectors to the right, up, and out of the part.
    close_up_mm : (c,) float64 array or None
        Side of each square.
    close_up_pass : (c,) int32 array or None
        A pass that cuts there; the others are those of its zone and stage.
    turns : (t,) int64 array or None
        Points at which the second and further turns of spirals begin: passes wound from closed loops, one turn a loop.
    """

    points: NDArray[np.float64]
    starts: NDArray[np.int64]
    zone: NDArray[np.int32]
    strategy: NDArray[np.str_]
    stage: NDArray[np.str_]
    tool: NDArray[np.int32]
    closed: NDArray[np.bool_]
    contacts: NDArray[np.float32] | None = None
    level: NDArray[np.int32] | None = None
    close_up_um: NDArray[np.float32] | None = None
    close_up_frame: NDArray[np.float64] | None = None
    close_up_mm: NDArray[np.float64] | None = None
    close_up_pass: NDArray[np.int32] | None = None
    turns: NDArray[np.int64] | None = None
