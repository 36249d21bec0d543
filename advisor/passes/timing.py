"""Minutes of passes in order, with the ways between them, on a machine that must speed up and take corners."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.cutter.checks import not_negative, positive
from advisor.cutter.path_time import SECONDS_PER_MINUTE
from advisor.job import Machine
from advisor.kernels.stretch_time import seconds_by_kind
from advisor.part.mesh import Floats
from advisor.passes.links import Links
from advisor.passes.order import OrderedPasses

# Kinds of stretches; the last goes down from the clearance to the next pass at the cutting feed.
_CUT, _LINK, _RAPID, _DOWN = range(4)


@dataclass(frozen=True)
class PathTotals:
    """A tool path in few numbers.

    Attributes
    ----------
    path_mm : float
        Length of the passes along the surface.
    centre_mm : float
        Length of the passes as the middle of the cutter runs them.
    link_mm, lift_mm : float
        Length of the ways along the surface, and of the lifts.
    passes, lifts : int
    cutting_min : float
        Time of the passes.
    link_min, lift_min : float
    total_min : float
        Of all, from rest to rest; the way to the first pass and from the last is not in it.
    """

    path_mm: float
    centre_mm: float
    link_mm: float
    lift_mm: float
    passes: int
    lifts: int
    cutting_min: float
    link_min: float
    lift_min: float
    total_min: float


def path_totals(
    passes: OrderedPasses,
    centres_mm: Floats,
    links: Links,
    feed_mm_per_min: float,
    machine: Machine,
    block_s: float = 0.0,
) -> PathTotals:
    """Lengths and minutes of a tool path.

    Passes and links are run at the feed, lifts at the machine's greatest but for the last way down. Along the path of
    the middle of the cutter the machine gains and loses speed at its acceleration, and takes corners within its corner
    deviation, as in ``cutter.path_time``. Points should be few: what lies within the tolerance of a straight line is a
    corner to a machine all the same (``passes.thin``).

    Parameters
    ----------
    passes : OrderedPasses
    centres_mm : (k, 3) float array
        Middle of the cutter on ``passes.lines``.
    links : Links
    feed_mm_per_min : float, above 0
    machine : Machine
        Its greatest feed stands for the rapid: jobs do not tell that.
    block_s : float, 0 or more
        Time that the control needs to read a straight piece; 0 where that is no limit.

    Raises
    ------
    ValueError
        A feed or a time out of its range.
    """
    feed = min(float(positive(feed_mm_per_min, "feed")), machine.max_feed) / SECONDS_PER_MINUTE
    rapid = machine.max_feed / SECONDS_PER_MINUTE
    block = float(not_negative(block_s, "time of a block"))
    points, kind = _stretches(passes, centres_mm, links)
    feeds = np.array([feed, feed, rapid, feed])
    seconds = seconds_by_kind(points, kind, feeds, machine.acceleration, machine.corner_deviation, block)
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    length = np.bincount(kind, steps, minlength=4)
    minutes = seconds / SECONDS_PER_MINUTE
    return PathTotals(
        path_mm=float(passes.lines.lengths_mm.sum()),
        centre_mm=float(length[_CUT]),
        link_mm=float(length[_LINK]),
        lift_mm=float(length[_RAPID] + length[_DOWN]),
        passes=passes.lines.count,
        lifts=int(links.is_lift.sum()),
        cutting_min=float(minutes[_CUT]),
        link_min=float(minutes[_LINK]),
        lift_min=float(minutes[_RAPID] + minutes[_DOWN]),
        total_min=float(minutes.sum()),
    )


def _stretches(passes: OrderedPasses, centres: Floats, links: Links) -> tuple[Floats, np.ndarray]:
    """The whole path, (n, 3) points, and (n - 1,) kinds of its segments."""
    count = passes.lines.count
    if count == 0:
        return np.zeros((0, 3)), np.zeros(0, np.int8)
    cut, way = np.diff(passes.lines.starts), np.append(np.diff(links.starts), 0)
    # pass, way, pass, way ...: both ends of a way are there twice, at no length between
    begins = np.concatenate([[0], np.cumsum(np.stack([cut, way], axis=1).ravel())])
    points, kind = np.empty((begins[-1], 3)), np.empty(begins[-1], np.int8)
    is_way = np.repeat(np.tile([False, True], count), np.stack([cut, way], axis=1).ravel())
    points[~is_way], points[is_way] = centres, links.centres_mm
    kind[~is_way] = _CUT
    kind[is_way] = np.repeat(np.where(links.is_lift, _RAPID, _LINK), way[:-1])
    # the last but one point of a lift begins the way down
    kind[begins[1::2][:-1][links.is_lift] + 3] = _DOWN
    return points, kind[:-1]
