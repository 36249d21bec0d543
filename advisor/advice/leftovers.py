"""Places that the finishing cutter leaves over, as jobs of their own for a smaller one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.advice.conditions import StageConditions, zone_conditions
from advisor.advice.facet_parts import FacetParts, corners_within
from advisor.advice.leftover_length import length_along_mm
from advisor.advice.leftover_places import Places, connected_places
from advisor.advice.leftover_words import leftover_words
from advisor.advice.reach import CUTTER_TOO_LARGE, REACHED, SHANK_OR_HOLDER, PartReach, stick_out_at_mm
from advisor.advice.reach_fields import ReachFields, large_facets_in_parts, part_fields, reach_fields
from advisor.advice.reach_of_zones import fit_over, largest_of
from advisor.advice.zone_surface import ZoneSurface
from advisor.cutter.tool_body import cutter_of
from advisor.job import Tool
from advisor.model import Leftover, PassKind
from advisor.part.mesh import Floats, Ints
from advisor.units import UM_PER_MM
from advisor.zones.zoning import Zoning

# In a corner of two walls at right angles a ball of radius R leaves (sqrt(2) - 1) R at most, in a corner of three
# (sqrt(3) - 1) R: what stands higher over the bottom is a groove or hole that the ball does not enter.
_CORNER_SHARE_OF_RADIUS = 0.75
# A smaller tool does for a place where it reaches all but this share of what any reaches.
_SLACK = 0.05
# Passes so little over a whole number are that number.
_PASS_SLACK = 0.02
# A sharp inside edge belongs to the place whose samples lie within so many of their spacings.
_NEAR_SPACINGS = 2.0


@dataclass(frozen=True)
class Leftovers:
    """Places left over, largest first, and all that reach says of facets, by name in ``model.FacetArrays``."""

    records: tuple[Leftover, ...]
    arrays: dict[str, Any]


@dataclass(frozen=True)
class _Job:
    """What the advice for all places has in common."""

    part: PartReach
    zone_id: Ints
    tools: Sequence[Tool]
    stage: StageConditions
    surface: ZoneSurface | None


def leftovers(
    part: PartReach,
    zoning: Zoning,
    zone_id: Ints,
    tools: Sequence[Tool],
    stage: StageConditions,
    surface: ZoneSurface | None,
) -> Leftovers:
    """Connected places that the first tool is too large for, largest first, and where they lie.

    Parameters
    ----------
    part : PartReach
    zoning : Zoning
    zone_id : (z,) public number of every zone, -1 for those that are not finished
    tools : the tools asked for, the finishing one first
    stage : StageConditions
        The finishing stage: the cusp that the smaller tool must hold too, and the feeds.
    surface : ZoneSurface or None
        Of the largest zone that is cut, for the feeds.
    """
    mesh, radius = zoning.surface.mesh, tools[0].diameter / 2
    fields = reach_fields(part, mesh)
    parts = large_facets_in_parts(part, zoning.surface, fields.reach, radius)
    of_parts = part_fields(part, parts, tools[0])
    places = connected_places(part, mesh, fields, parts, of_parts, zone_id[zoning.zone] > 0, radius)
    job = _Job(part, zone_id, tools, stage, surface)
    least = tolerances.LEFTOVER_SHARE_OF_FOOTPRINT * np.pi * tools[0].diameter ** 2 / 4
    in_corners = _most_in_corners_mm(part, places)
    told = (
        (_record(job, samples, float(area), float(in_corners[number])), number)
        for number, (samples, area) in enumerate(zip(places.samples, places.area_mm2, strict=True))
        if area >= least and len(samples) > 0
    )
    # what stands no higher than passes may leave anywhere is no job for another cutter
    may_stay_um = (stage.target.cusp_mm or 0.0) * UM_PER_MM
    found = [each for each in told if each[0].max_um > may_stay_um]
    found.sort(key=lambda each: (-each[0].area_mm2, each[0].zones, each[0].middle_mm))
    records = tuple(replace(record, id=number) for number, (record, _) in enumerate(found, start=1))
    public = np.zeros(len(places.samples) + 1, np.int32)  # the last one is what belongs to none
    public[[place for _, place in found]] = np.arange(1, len(found) + 1)
    return Leftovers(records, _arrays(zoning, fields, parts, of_parts, places, public))


def _arrays(
    zoning: Zoning, fields: ReachFields, parts: FacetParts, of_parts: ReachFields, places: Places, public: Ints
) -> dict[str, Any]:
    mesh = zoning.surface.mesh
    own = np.flatnonzero(parts.is_cut[parts.parent])
    own = own[np.argsort(parts.parent[own], kind="stable")]
    arrays: dict[str, Any] = {
        **vars(fields),
        "leftover_place": public[places.of_facet],
        "parts": np.bincount(parts.parent[own], minlength=len(mesh.faces)).astype(np.int32),
        "part_corner": corners_within(parts, mesh, own),
        **{f"part_{name}": values[own] for name, values in vars(of_parts).items()},
        "part_leftover_place": public[places.of_part[own]],
    }
    for array in arrays.values():
        array.setflags(write=False)
    return arrays


def _most_in_corners_mm(part: PartReach, places: Places) -> Floats:
    """(n,) the highest that stands on the sharp inside edges of each place; 0 where there is none."""
    most = np.zeros(len(places.samples))
    rows = np.concatenate([np.zeros(0, np.int64), *places.samples])
    if len(rows) == 0 or len(part.corners.left_mm) == 0:
        return most
    label = np.repeat(np.arange(len(places.samples)), [len(samples) for samples in places.samples])
    near = _NEAR_SPACINGS * float(np.sqrt(np.quantile(part.samples.area_mm2[rows], 0.95)))
    away, nearest = cKDTree(part.samples.point[rows]).query(part.corners.point, distance_upper_bound=near)
    close = np.isfinite(away)
    np.maximum.at(most, label[nearest[close]], part.corners.left_mm[close])
    return most


def _record(job: _Job, samples: NDArray[np.int64], total: float, in_corners_mm: float) -> Leftover:
    part, tools = job.part, job.tools
    area = part.samples.area_mm2[samples]
    zones, share = np.unique(job.zone_id[part.zone[samples]], return_inverse=True)
    height = part.leftover_mm[samples]
    most = max(float(height.max()), in_corners_mm)
    middle = (area @ part.samples.point[samples]) / float(area.sum())
    enough = _that_get_in(part, samples)
    tool = tools[largest_of(enough, tools)] if enough else None
    radius = tools[0].corner_radius_mm
    fit, fit_share = fit_over(part.fit_mm[samples], area, 1.0 - _SLACK)
    if (fit_share or 0.0) < tolerances.LEAST_REACHED_SHARE:  # it fits on scraps beside what is reached
        fit = None
    kind = "corner" if most <= _CORNER_SHARE_OF_RADIUS * radius else "groove"
    place = Leftover(
        zones=tuple(int(zone) for zone in zones[np.argsort(-np.bincount(share, area), kind="stable")]),
        kind="corner" if kind == "corner" else "groove",
        middle_mm=(float(middle[0]), float(middle[1]), float(middle[2])),
        area_mm2=total,
        p95_um=float(np.quantile(height, 0.95)) * UM_PER_MM,
        max_um=most * UM_PER_MM,
        diameter_mm=None if tool is None else tool.diameter,
        path_mm=None,
        pass_kind=_pass_kind(kind, tool, fit),
        fit_diameter_mm=fit,
        depth_mm=part.top_mm - float(part.height_mm[samples].min()),
    )
    if tool is not None:
        place = _with_tool(job, place, tool, samples)
    return replace(place, why=leftover_words(place, tools[0], tool))


def _that_get_in(part: PartReach, samples: NDArray[np.int64]) -> list[int]:
    """Tools whose cutter gets to nearly as much of some samples as any, if need be with a longer stick-out."""
    area = part.samples.area_mm2[samples]
    inside = [
        float(area[(tool.state[samples] == REACHED) | (tool.state[samples] == SHANK_OR_HOLDER)].sum())
        for tool in part.by_tool
    ]
    most = max(inside, default=0.0)
    if most < tolerances.LEAST_REACHED_SHARE * float(area.sum()):
        return []
    return [number for number, found in enumerate(inside) if found >= (1.0 - _SLACK) * most]


def _pass_kind(kind: str, tool: Tool | None, fit_mm: float | None) -> PassKind:
    if tool is None and fit_mm is None:
        return "another set-up"
    return "corner pass" if kind == "corner" else "groove pass"


def _with_tool(job: _Job, place: Leftover, tool: Tool, samples: NDArray[np.int64]) -> Leftover:
    """The place with how its smaller tool goes about it: lines along the corner, as far apart as the cusp allows."""
    part = job.part
    length = length_along_mm(part.samples.point[samples], part.samples.area_mm2[samples], part.leftover_mm[samples])
    target = job.stage.target.with_cutter(cutter_of(tool))
    step = target.flat_step_mm
    passes = max(math.ceil(place.area_mm2 / length / step - _PASS_SLACK), 1)
    feed = None
    if job.surface is not None:
        stage = replace(job.stage, target=target, tool=tool)
        feed = zone_conditions(job.surface, stage, 0.0, has_inside_corner=False).feed_mm_per_min
    path = length * passes
    out, longer = _stick_out(job, tool, samples)
    return replace(
        place,
        path_mm=place.area_mm2 / step,
        tool=tool.name,
        length_mm=length,
        stepover_mm=step,
        passes=passes,
        pass_path_mm=path,
        cutting_min=None if feed is None else path / feed,
        stick_out_mm=out,
        needs_longer_stick_out=longer,
    )


def _stick_out(job: _Job, tool: Tool, samples: NDArray[np.int64]) -> tuple[float | None, bool | None]:
    """Least length out of the holder for a place, and whether it is more than the job has.

    A tool of no job stands in the finishing tool's holder.
    """
    finishing = job.tools[0]
    held = tool if tool.holder else tool.model_copy(update={"holder": finishing.holder})
    number = list(job.tools).index(tool)
    rows = samples[job.part.by_tool[number].state[samples] != CUTTER_TOO_LARGE]
    if not held.holder or len(rows) == 0:
        return None, None
    needed = stick_out_at_mm(job.part, held, rows)
    given = tool.stick_out or finishing.stick_out
    if needed is None:
        return None, None
    return needed, None if given is None else needed > given
