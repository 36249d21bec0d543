"""How much of every zone a tool gets to, what holds it back, and what it leaves over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor.advice.reach_corners import InsideCorners, inside_corners
from advisor.cutter.fit_radius import largest_ball_behind_facets_mm
from advisor.cutter.leftover import leftover_mm
from advisor.cutter.reach import reach_of
from advisor.cutter.tool_body import cutter_of, tool_body
from advisor.job import Tool
from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.part.plan_tree import PlanTree, plan_tree
from advisor.part.samples import Samples, spread_samples
from advisor.zones.areas import spread_sample
from advisor.zones.classes import UNDERCUT
from advisor.zones.zoning import Zoning

# Values between those points follow the so many nearest; a normal that leans by a radian counts as so many radii of
# the finishing tool.
_NEAREST = 3
_ROUNDING = 1e-9
_RADII_A_RADIAN = 3.0
# Larger balls limit no finishing (common practice, no source); smaller ones than this are not made for it.
GREATEST_BALL_MM, LEAST_BALL_MM = 50.0, 0.1
# What holds a tool back, as ``facets.npz`` has it.
REACHED, CUTTER_TOO_LARGE, SHANK_OR_HOLDER, FACES_AWAY = 0, 1, 2, 3
# Lengths out of the holder that are told serve this share of what is asked.
TOP_SHARE = 0.999


@dataclass(frozen=True)
class Fineness:
    """How many points of the surface are asked.

    Attributes
    ----------
    points : int
        Of the surface that is finished, that every tool is asked for, about.
    facets_of_a_zone : int
        Most facets of a zone that have points.
    leftover : int
        Points whose leftover is worked out: what stands over varies slowly along a fillet.
    fit : int
        Points at which the largest ball that fits is measured; what tools reach bounds it at all of them.
    corners : int
        Points along all sharp inside corners.
    """

    points: int
    facets_of_a_zone: int
    leftover: int
    fit: int
    corners: int


OF_A_PLAN = Fineness(24_000, 4_000, 3_000, 10_000, 1_000)
OF_A_QUOTE = Fineness(4_000, 120, 400, 1_200, 200)


@dataclass(frozen=True)
class ToolReach:
    """What one tool reaches of the samples: ``state`` is one of the four above, lengths are mm, NaN where unknown.

    ``shank_short_mm`` is by how much flutes or neck are too short, 0 where the shank is clear.
    """

    state: NDArray[np.int8]
    stick_out_mm: Floats
    shank_short_mm: Floats


@dataclass(frozen=True)
class PartReach:
    """What the tools reach of a part in one set-up.

    Attributes
    ----------
    samples : points of what faces the spindle
    zone : (k,) zone of each point
    by_tool : one entry a tool asked for, in that order, the finishing one first
    leftover_mm : (k,) height of material that the finishing tool leaves, NaN where it was not asked
    fit_mm : (k,) diameter of the largest ball that touches the point and goes into nothing: 0 where not even
        ``LEAST_BALL_MM`` does, inf where ``GREATEST_BALL_MM`` does, NaN where the surface leans over
    faces_up : (m,) facets that face the spindle, asked or not
    top_mm : height of the part's highest point along the tool axis
    height_mm : (k,) of the points
    tree : everything that may be in the way
    clearance_mm : air kept round shank and holder
    off_mm : stock that counts as nothing
    corners : what the finishing tool leaves on sharp inside edges
    """

    samples: Samples
    zone: Ints
    by_tool: tuple[ToolReach, ...]
    leftover_mm: Floats
    fit_mm: Floats
    faces_up: Flags
    top_mm: float
    height_mm: Floats
    tree: PlanTree
    clearance_mm: float
    off_mm: float
    corners: InsideCorners


def part_reach(
    mesh: Mesh,
    zoning: Zoning,
    is_finished: Flags,
    axis: Floats,
    tools: Sequence[Tool],
    off_mm: float,
    clearance_mm: float,
    fineness: Fineness = OF_A_PLAN,
) -> PartReach:
    """What every tool reaches of the zones that face the spindle.

    Parameters
    ----------
    mesh : Mesh
        The whole part: everything that may be in the way.
    zoning : Zoning
    is_finished : (z,) bool array
        Zones that a ball is to finish: of others no leftover is worked out.
    axis : (3,) unit vector from the part to the spindle
    tools : tools to ask for
        The first is the finishing one: its leftover is worked out.
    off_mm : float
        Stock that may be left: chord error of the facets, or the path tolerance.
    clearance_mm : float
        Air kept round shank and holder.
    fineness : Fineness
    """
    cut = zoning.surface.mesh
    is_up = (zoning.zone_class[zoning.zone] != UNDERCUT) & (zoning.facet_class != UNDERCUT)
    faces_up = np.flatnonzero(is_up)
    asked = faces_up[spread_sample(zoning.zone[faces_up], fineness.facets_of_a_zone)]
    samples = spread_samples(cut, asked, fineness.points, zoning.surface.corner_normal)
    tree = plan_tree(mesh.vertices, mesh.faces, axis)
    by_tool = _by_tool(tools, tree, samples, off_mm, clearance_mm)
    most = fineness.leftover
    leftover = _leftover(tools[0], by_tool[0], tree, samples, zoning.zone[samples.facet], is_finished, off_mm, most)
    by_tool = (_without_traces(by_tool[0], leftover, samples.point), *by_tool[1:])
    fit = _fit(tools, by_tool, tree, samples, zoning, fineness.fit)
    height = mesh.vertices @ axis
    asked_up = is_up & is_finished[zoning.zone]
    corners = inside_corners(cut, zoning.zone, asked_up, tools[0], tree, off_mm, fineness.corners)
    return PartReach(
        samples, zoning.zone[samples.facet], by_tool, leftover, fit, is_up, float(height.max()), samples.point @ axis,
        tree, clearance_mm, off_mm, corners,
    )  # fmt: skip


def _by_tool(
    tools: Sequence[Tool], tree: PlanTree, samples: Samples, off_mm: float, clearance_mm: float
) -> tuple[ToolReach, ...]:
    """Every tool's reach, large ones first: where a ball touches without gouging, so does every smaller one in it."""
    told: dict[int, ToolReach] = {}
    known = np.zeros(len(samples.point), bool)
    for number in sorted(range(len(tools)), key=lambda n: -tools[n].diameter):
        tool = tools[number]
        alone = tool.kind == "ball" and not tool.holder and tool.shank_diameter is None and tool.neck_diameter is None
        rows = np.flatnonzero(~known) if alone else np.arange(len(samples.point))
        state, stick_out = np.full(len(samples.point), REACHED, np.int8), np.full(len(samples.point), np.nan)
        short = np.zeros(len(samples.point))
        found = _reach(tool, tree, samples.point[rows], samples.normal[rows], off_mm, clearance_mm)
        state[rows], stick_out[rows], short[rows] = found.state, found.stick_out_mm, found.shank_short_mm
        told[number] = ToolReach(state, stick_out, short)
        if tool.kind == "ball":
            known |= state == REACHED
    return tuple(told[number] for number in range(len(tools)))


def _reach(
    tool: Tool, tree: PlanTree, points_mm: Floats, normals: Floats, off_mm: float, clearance_mm: float
) -> ToolReach:
    found = reach_of(tool_body(tool, clearance_mm), cutter_of(tool), tree, points_mm, normals, off_mm)
    state = np.where(np.isnan(found.too_low_mm), FACES_AWAY, np.where(found.by_cutter, REACHED, CUTTER_TOO_LARGE))
    held = found.by_cutter & ~found.by_shank
    if tool.stick_out is not None:
        held |= found.by_cutter & (found.stick_out_mm > tool.stick_out)
    state = np.where(held, SHANK_OR_HOLDER, state).astype(np.int8)
    return ToolReach(state, found.stick_out_mm, found.shank_short_mm)


def _leftover(
    tool: Tool,
    reach: ToolReach,
    tree: PlanTree,
    samples: Samples,
    zone: Ints,
    is_finished: Flags,
    off_mm: float,
    most: int,
) -> Floats:
    """(k,) height left at every point: 0 where the tool reaches, asked at some of the others, NaN for faces away.

    Points that were not asked take the height of the nearest that were.
    """
    told = np.where(reach.state == CUTTER_TOO_LARGE, np.nan, 0.0)
    told[reach.state == FACES_AWAY] = np.nan
    rows = np.flatnonzero((reach.state == CUTTER_TOO_LARGE) & is_finished[zone])
    if len(rows) == 0:
        return told
    share = max(1, len(np.unique(zone[rows])))
    some = rows[spread_sample(zone[rows], max(most // share, 20))]
    told[some] = leftover_mm(
        tool_body(tool, 0.0).cutter, cutter_of(tool), tree, samples.point[some], samples.normal[some], off_mm
    )  # fmt: skip
    told[rows] = _between(samples.point, samples.normal, some, rows, told[some], tool.diameter / 2)
    return told


def _fit(
    tools: Sequence[Tool],
    by_tool: Sequence[ToolReach],
    tree: PlanTree,
    samples: Samples,
    zoning: Zoning,
    most: int,
) -> Floats:
    """(k,) diameter of the largest ball that fits at every point: between the largest that reaches and the next."""
    zone = zoning.zone[samples.facet]
    if len(zone) == 0:  # nothing faces the spindle
        return np.zeros(0)
    low, high = np.zeros(len(zone)), np.full(len(zone), GREATEST_BALL_MM)
    for tool, reach in zip(tools, by_tool, strict=True):
        if tool.kind != "ball":
            continue
        gets_in = (reach.state == REACHED) | (reach.state == SHANK_OR_HOLDER)
        low = np.where(gets_in, np.maximum(low, tool.diameter), low)
        high = np.where(reach.state == CUTTER_TOO_LARGE, np.minimum(high, tool.diameter), high)
    high = np.maximum(low, high)
    share = max(1, len(np.unique(zone)))
    some = spread_sample(zone, max(most // share, 20)) if len(zone) > most else np.arange(len(zone))
    stock = zoning.surface.stock_at(samples.facet[some], samples.point[some])
    radius = largest_ball_behind_facets_mm(
        samples.point[some], _not_over(samples.normal[some], tree.frame[2]), tree, stock, LEAST_BALL_MM / 2,
        high[some] / 2,
    )  # fmt: skip
    fit = _between(samples.point, samples.normal, some, np.arange(len(zone)), 2.0 * radius, tools[0].diameter / 2)
    fit = np.clip(fit, low, high)
    return np.where(fit >= GREATEST_BALL_MM * (1.0 - _ROUNDING), np.inf, fit)


def _between(
    points_mm: Floats,
    normals: Floats,
    asked: NDArray[np.int64],
    rows: NDArray[np.int64],
    values: Floats,
    radius_mm: float,
) -> Floats:
    """Values at some points by those of the nearest that were asked; of these their own, and 0 where the nearest is.

    Across a fillet values change with the normal, along it hardly: what leans alike is nearer than it lies.
    """

    def placed(numbers: NDArray[np.int64]) -> Floats:
        return np.hstack([points_mm[numbers] / (_RADII_A_RADIAN * radius_mm), normals[numbers]])

    near = min(_NEAREST, len(asked))
    away, nearest = cKDTree(placed(asked)).query(placed(rows), k=near)
    away, nearest = away.reshape(len(rows), near), nearest.reshape(len(rows), near)
    weight = 1.0 / np.maximum(away, 1e-9) ** 2
    mean = (weight * values[nearest]).sum(axis=1) / weight.sum(axis=1)
    return np.where(values[nearest[:, 0]] == 0.0, 0.0, mean)


def _not_over(normals: Floats, axis: Floats) -> Floats:
    """Normals that do not point away from the spindle: what leans over is touched as a wall is."""
    level = normals - np.minimum(normals @ axis, 0.0)[:, None] * axis
    return np.asarray(level / np.maximum(np.linalg.norm(level, axis=1), 1e-300)[:, None])


def asked_at(
    part: PartReach, tool: Tool, points_mm: Floats, normals: Floats, most: int
) -> tuple[NDArray[np.int8], Floats]:
    """(k,) what holds a tool back at points of the surface, and what height it leaves, 0 but for the tolerance.

    It is worked out at `most` of the points that the tool is too large for; the others take it from the nearest.
    """
    state = _reach(tool, part.tree, points_mm, normals, part.off_mm, part.clearance_mm).state
    left = np.zeros(len(points_mm))
    rows = np.flatnonzero(state == CUTTER_TOO_LARGE)
    if len(rows) == 0:
        return state, left
    some = rows[np.linspace(0, len(rows) - 1, min(most, len(rows))).astype(np.int64)]
    height = leftover_mm(
        tool_body(tool, 0.0).cutter, cutter_of(tool), part.tree, points_mm[some], normals[some], part.off_mm
    )  # fmt: skip
    left[rows] = _between(points_mm, normals, some, rows, height, tool.diameter / 2)
    return state, left


def stick_out_at_mm(part: PartReach, tool: Tool, rows: NDArray[np.int64]) -> float | None:
    """Least length out of its holder with which a tool touches some samples; None where it touches none."""
    found = reach_of(
        tool_body(tool, part.clearance_mm), cutter_of(tool), part.tree, part.samples.point[rows],
        part.samples.normal[rows], part.off_mm,
    )  # fmt: skip
    known = found.stick_out_mm[~np.isnan(found.stick_out_mm)]
    return float(np.quantile(known, TOP_SHARE)) if len(known) else None


def _without_traces(reach: ToolReach, leftover: Floats, points_mm: Floats) -> ToolReach:
    """Points over which nothing is left but for the tolerance are reached after all, as those beside them are."""
    state, short = reach.state.copy(), reach.shank_short_mm.copy()
    traces = np.flatnonzero((state == CUTTER_TOO_LARGE) & (leftover <= 0.0))
    sure = np.flatnonzero((state == REACHED) | (state == SHANK_OR_HOLDER))
    state[traces], short[traces] = REACHED, 0.0
    if len(traces) > 0 and (state == SHANK_OR_HOLDER).any():
        _, nearest = cKDTree(points_mm[sure]).query(points_mm[traces])
        state[traces], short[traces] = state[sure[nearest]], short[sure[nearest]]
    return ToolReach(state, reach.stick_out_mm, short)
