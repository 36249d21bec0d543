"""The virtual cut: what a cutter that follows given passes leaves of a surface, point by point."""

from __future__ import annotations

from dataclasses import dataclass, fields
from math import nan

import numpy as np
from numpy.typing import NDArray

from advisor.cutter.cutter import Cutter
from advisor.kernels.morton import interleaved
from advisor.kernels.plan_tree import halve
from advisor.kernels.quantiles import weighted_quantiles
from advisor.kernels.threads import in_chunks
from advisor.kernels.virtual_cut import boxes, cut, group_starts, in_order, pieces
from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Ints

# Neighbouring segments that stand together in the tree, and groups in a leaf.
_IN_GROUP = 4
_IN_LEAF = 2
# Segments longer than this share of the ball's radius are cut, for the tree only, and no group is longer: a box about
# a long slanted one would hold half the part.
_LONGEST_SHARE_OF_RADIUS = 0.5
# Points a thread takes at once.
_CHUNK = 4096
# Bits of the cells by which points are put in order.
_CELL_BITS = 10


@dataclass(frozen=True)
class SweptPasses:
    """A cutter's passes in a tree, made once and asked often. Arrays are read-only.

    Attributes
    ----------
    ball_radius_mm : float
        Of the ball, or of a bull-nose's corner.
    ring_radius_mm : float
        Of the ring that the corner runs on; 0 for a ball.
    frame : (3, 3) float64 array
        Rows are the directions that coordinates of the pieces are measured along, the tool axis last.
    piece : (s, 6) float64 array, mm
        Segments of centres, long ones cut, in the order of the tree.
    owner : (s,) int32 array
        Point of the passes at which the segment of each piece begins.
    group : (g + 1,) int64 array
        First piece of every group of neighbours.
    box : (n, 12) float64 array, mm
        Box and slab of the centres in each node of the tree: see ``kernels.virtual_cut.boxes``.
    levels : int
        Times the groups are halved.
    """

    ball_radius_mm: float
    ring_radius_mm: float
    frame: Floats
    piece: Floats
    owner: Ints
    group: NDArray[np.int64]
    box: Floats
    levels: int

    def __post_init__(self) -> None:
        _lock(self)


@dataclass(frozen=True)
class VirtualCut:
    """Heights left over points of a surface. Arrays are read-only.

    Attributes
    ----------
    height_mm : (q,) float64 array, mm
        Along the normal; negative where the ball cuts below the surface, infinite where none passes within the limit.
    segment : (q,) int32 array
        Point of the passes at which the segment that decides begins (the first of equals); -1 where none does. Its
        pass is ``np.searchsorted(starts, segment, side="right") - 1``.
    """

    height_mm: Floats
    segment: Ints

    def __post_init__(self) -> None:
        _lock(self)


@dataclass(frozen=True)
class CutSummary:
    """Heights over an area in few numbers. NaN where no area is left to speak of.

    Attributes
    ----------
    area_mm2 : float
        Area that is summed up.
    max_mm, p95_mm, mean_mm : float
        Greatest height, the height that 95 % of the area stays within, and the mean, where passes come near.
    uniformity : float
        Standard deviation of the height over its mean: 0 where the same is left everywhere. NaN unless the mean is
        above 0.
    above_target_share : float
        Share of the area on which more is left than the target, what no pass comes near included.
    uncut_share : float
        Share of the area that no pass comes near.
    max_gouge_mm : float
        Deepest cut below the surface, 0 for none.
    """

    area_mm2: float
    max_mm: float
    p95_mm: float
    mean_mm: float
    uniformity: float
    above_target_share: float
    uncut_share: float
    max_gouge_mm: float


def _lock(record: SweptPasses | VirtualCut) -> None:
    for field in fields(record):
        value = getattr(record, field.name)
        if isinstance(value, np.ndarray):
            value.setflags(write=False)


def swept_passes(centres_mm: Floats, starts: NDArray[np.integer], ball_radius_mm: float) -> SweptPasses:
    """A ball swept along polylines of its centre, ready to be asked what it leaves.

    Links between passes are not swept: give only the lines on which the ball cuts.

    Parameters
    ----------
    centres_mm : (k, 3) float array, mm
        Chains laid end to end; a closed one repeats its first point as its last. A lone point is a ball at rest.
    starts : (p + 1,) int array
        Chain ``c`` is ``centres_mm[starts[c]:starts[c + 1]]``.
    ball_radius_mm : float, above 0

    Raises
    ------
    ValueError
        A radius that is not above 0, centres that are not finite.
    """
    return _swept(centres_mm, starts, ball_radius_mm, 0.0, np.eye(3))


def swept_by(
    cutter: Cutter, stock_left_mm: float, centres_mm: Floats, starts: NDArray[np.integer], axis: Floats
) -> SweptPasses:
    """A ball or bull-nose swept along polylines of its middle, as far from the part as the stock that it leaves.

    Of a bull-nose the corner and the flat inside it cut. What it leaves on purpose is taken for part of the cutter:
    corner and flat are that much nearer.

    Parameters
    ----------
    cutter : Cutter
    stock_left_mm : float, 0 or more
    centres_mm, starts
        As for ``swept_passes``; of a bull-nose the middle of the ring (``PassLines.centres_mm``).
    axis : (3,) unit vector from the part to the spindle
    """
    radius, ring = cutter.corner_radius_mm + stock_left_mm, cutter.ring_radius_mm
    frame = np.eye(3) if ring == 0.0 else np.vstack([plan_axes(axis), axis])
    return _swept(centres_mm, starts, radius, ring, frame)


def _swept(
    centres_mm: Floats, starts: NDArray[np.integer], ball_radius_mm: float, ring_radius_mm: float, frame: Floats
) -> SweptPasses:
    if not ball_radius_mm > 0.0:
        raise ValueError("ball radius must be above 0")
    centres = np.ascontiguousarray(centres_mm, dtype=np.float64).reshape(-1, 3)
    if not np.isfinite(centres).all():
        raise ValueError("ball centres must be finite")
    if ring_radius_mm > 0.0:
        centres = np.ascontiguousarray(centres @ frame.T)
    longest = _LONGEST_SHARE_OF_RADIUS * ball_radius_mm
    piece, owner, is_first = pieces(centres, np.asarray(starts, dtype=np.int64), longest)
    group = group_starts(piece, is_first, _IN_GROUP, longest)
    groups = len(group) - 1
    levels = max(int(np.ceil(np.log2(max(groups, 1) / _IN_LEAF))), 0)
    begin, end = piece[group[:-1], :3], piece[group[1:] - 1, 3:]
    x, y, z = np.ascontiguousarray((begin + end).T) / 2
    piece, owner, group = in_order(piece, owner, group, halve(x, y, z, levels))
    box = boxes(piece, group, levels, float(ring_radius_mm))
    return SweptPasses(ball_radius_mm, float(ring_radius_mm), frame, piece, owner, group, box, levels)


def virtual_cut(passes: SweptPasses, points_mm: Floats, normals: Floats, limit_mm: float) -> VirtualCut:
    """Height of material that passes leave over points of a surface, along the outward normals. Exact.

    What lies under a swept ball's first entry along the normal is left. Where a ball covers the point the cut goes
    below the surface, and the height is negative: down to where material begins. Balls that stay behind the surface,
    with material between (on the far side of a thin wall), do not count.

    Parameters
    ----------
    passes : SweptPasses
    points_mm, normals : (q, 3) float arrays
        Unit normals.
    limit_mm : float, 0 or more
        Height above which nothing is looked for. The nearer it is to what is expected, the quicker.

    Raises
    ------
    ValueError
        A limit below 0.
    """
    if not limit_mm >= 0.0:
        raise ValueError("limit must be 0 or more")
    point = np.ascontiguousarray(points_mm, dtype=np.float64)
    normal = np.ascontiguousarray(normals, dtype=np.float64)
    if passes.ring_radius_mm > 0.0:
        point, normal = (np.ascontiguousarray(given @ passes.frame.T) for given in (point, normal))
    height, segment = np.full(len(point), np.inf), np.full(len(point), -1, np.int32)
    if len(point) == 0 or len(passes.owner) == 0:
        return VirtualCut(height, segment)
    order = _near_by_near(point)

    def run(part: slice) -> None:
        cut(
            point, normal, order[part], passes.ball_radius_mm, passes.ring_radius_mm, float(limit_mm),
            passes.piece, passes.owner, passes.group, passes.box, passes.levels, height, segment,
        )  # fmt: skip

    in_chunks(len(point), _CHUNK, run)
    return VirtualCut(height, segment)


def _near_by_near(points: Floats) -> NDArray[np.int64]:
    """An order in which points near in space are near: they meet the same segments, which are at hand then."""
    low = points.min(axis=0)
    cell = float((points.max(axis=0) - low).max()) / ((1 << _CELL_BITS) - 1)
    if not cell > 0.0:
        return np.arange(len(points))
    cells = ((points - low) / cell).astype(np.int64)
    return np.asarray(np.argsort(interleaved(cells, _CELL_BITS), kind="stable"))


def cut_summary(height_mm: Floats, area_mm2: Floats, target_mm: float, left_out: Flags | None = None) -> CutSummary:
    """Heights summed up over the area that their points stand for.

    Parameters
    ----------
    height_mm : (q,) float array, mm
        Of ``VirtualCut``.
    area_mm2 : (q,) float array, 0 or more
        Surface that each point stands for.
    target_mm : float
        Height that passes are to keep within.
    left_out : (q,) bool array, optional
        Points that are not asked, as those near the rim of a zone.
    """
    used = np.ones(len(height_mm), bool) if left_out is None else ~np.asarray(left_out, dtype=bool)
    height, area = height_mm[used], area_mm2[used]
    total, cut_here = float(area.sum()), np.isfinite(height)
    if not total > 0.0:
        return CutSummary(0.0, nan, nan, nan, nan, nan, nan, nan)
    uncut = float(area[~cut_here].sum()) / total
    above = float(area[height > target_mm].sum()) / total
    height, area = height[cut_here], area[cut_here]
    weight = float(area.sum())
    if not weight > 0.0:
        return CutSummary(total, nan, nan, nan, nan, above, uncut, nan)
    mean = float(area @ height) / weight
    spread = float(np.sqrt(area @ (height - mean) ** 2 / weight))
    p95 = float(weighted_quantiles(height, area, np.array([0.95]))[0])
    uniformity = spread / mean if mean > 0.0 else nan
    gouge = max(-float(height.min()), 0.0)
    return CutSummary(total, float(height.max()), p95, mean, uniformity, above, uncut, gouge)
