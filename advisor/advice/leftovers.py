"""Places that the finishing cutter leaves over, as jobs of their own for a smaller one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.advice.reach import CUTTER_TOO_LARGE, PartReach, largest_of, tools_that_reach
from advisor.advice.target import StageTarget
from advisor.cutter.tool_body import cutter_of
from advisor.job import Tool
from advisor.model import Leftover
from advisor.part.mesh import Ints
from advisor.units import UM_PER_MM

# In a corner of two walls at right angles a ball of radius R leaves (sqrt(2) - 1) R at most, in a corner of three
# (sqrt(3) - 1) R: what stands higher over the bottom is a groove or hole that the ball does not enter.
_CORNER_SHARE_OF_RADIUS = 0.75
# Samples within so many spacings of each other belong to one place.
_NEAR_SPACINGS = 2.0
# A smaller tool does for a place where it reaches all but this share of what any reaches.
_SLACK = 0.05


def leftovers(part: PartReach, zone_id: Ints, tools: Sequence[Tool], target: StageTarget) -> tuple[Leftover, ...]:
    """Connected places that the first tool is too large for, largest first.

    Parameters
    ----------
    part : PartReach
    zone_id : (z,) public number of every zone, -1 for those that are not finished
    tools : the tools asked for, the finishing one first
    target : StageTarget
        Of the finishing stage: the cusp the smaller tool must hold too.
    """
    rows = np.flatnonzero((part.by_tool[0].state == CUTTER_TOO_LARGE) & (zone_id[part.zone] > 0))
    if len(rows) == 0:
        return ()
    least = tolerances.LEFTOVER_SHARE_OF_FOOTPRINT * np.pi * tools[0].diameter ** 2 / 4
    found = []
    for members in _places(part, rows):
        if part.samples.area_mm2[members].sum() >= least:
            found.append(_record(part, zone_id, tools, target, members))
    found.sort(key=lambda each: (-each.area_mm2, each.zones, each.middle_mm))
    return tuple(found)


def _places(part: PartReach, rows: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """The samples in groups that lie next to each other."""
    point, area = part.samples.point[rows], part.samples.area_mm2[rows]
    near = _NEAR_SPACINGS * float(np.sqrt(np.quantile(area, 0.95)))
    facet = part.samples.facet[rows]
    along = np.flatnonzero(np.diff(facet) == 0)  # samples of one facet, however long that is
    pairs = np.vstack([cKDTree(point).query_pairs(near, output_type="ndarray"), np.stack([along, along + 1], axis=1)])
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(rows), len(rows)))
    label = connected_components(graph, directed=False)[1]
    order = np.argsort(label, kind="stable")
    return [rows[members] for members in np.split(order, np.flatnonzero(np.diff(label[order])) + 1)]


def _record(
    part: PartReach,
    zone_id: Ints,
    tools: Sequence[Tool],
    target: StageTarget,
    samples: NDArray[np.int64],
) -> Leftover:
    area = part.samples.area_mm2[samples]
    total = float(area.sum())
    zones, share = np.unique(zone_id[part.zone[samples]], return_inverse=True)
    by_zone = np.bincount(share, area)
    height = part.leftover_mm[samples]
    middle = (area @ part.samples.point[samples]) / total
    enough = tools_that_reach(part, samples, _SLACK)
    tool = largest_of(enough, tools) if enough else None
    step = None if tool is None else target.with_cutter(cutter_of(tools[tool])).flat_step_mm
    radius = tools[0].corner_radius_mm
    return Leftover(
        zones=tuple(int(zone) for zone in zones[np.argsort(-by_zone, kind="stable")]),
        kind="corner" if height.max() <= _CORNER_SHARE_OF_RADIUS * radius else "groove",
        middle_mm=(float(middle[0]), float(middle[1]), float(middle[2])),
        area_mm2=total,
        p95_um=float(np.quantile(height, 0.95)) * UM_PER_MM,
        max_um=float(height.max()) * UM_PER_MM,
        diameter_mm=None if tool is None else tools[tool].diameter,
        path_mm=None if step is None else total / step,
    )
