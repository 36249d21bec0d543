"""What the samples of a part's reach say of every facet, and of the parts of large ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor.advice.facet_parts import FacetParts, cut_into_parts
from advisor.advice.reach import (
    CUTTER_TOO_LARGE,
    FACES_AWAY,
    GREATEST_BALL_MM,
    REACHED,
    SHANK_OR_HOLDER,
    PartReach,
    asked_at,
)
from advisor.job import Tool
from advisor.part.mesh import Floats, Mesh
from advisor.zones.cut_lines import CutSurface

# Parts of large facets are no longer than this share of the part; where the reach of the finishing tool changes, than
# this share of its radius as well.
_PART_OF_SIZE = 0.01
_PART_OF_RADIUS = 0.34
# A part has what these nearest samples say, the near ones more, of a surface that leans no further from it than this.
_NEAREST = 5
_LEAST_COSINE = 0.7
# Parts within so many spacings of samples that something is left at are asked themselves, no more than so
# many, and of those left over what height is left at so many.
_NEAR_SPACINGS = 2.0
_MOST_ASKED = 60_000
_MOST_HEIGHTS = 2_500
# Of one facet, what differs by less of the largest ball that fits is no reason to cut it.
_LIKE_BALLS = 0.05


@dataclass(frozen=True)
class ReachFields:
    """One value a facet: (m,) arrays as in ``model.FacetArrays``, or a part of one."""

    reach: NDArray[np.int8]
    needed_ball_mm: NDArray[np.float32]
    leftover_mm: NDArray[np.float32]
    stick_out_mm: NDArray[np.float32]


def reach_fields(part: PartReach, mesh: Mesh) -> ReachFields:
    """Facets of a mesh by what their samples, or the nearest ones, say.

    Parameters
    ----------
    part : PartReach
        Of samples on this mesh.
    mesh : Mesh
    """
    fields = _unknown(len(mesh.faces))
    if len(part.samples.point) == 0:
        return fields
    own = part.by_tool[0]
    sample_of = _sample_of_facets(part, mesh)
    seen = np.flatnonzero(sample_of >= 0)
    sample = sample_of[seen]
    fields.reach[seen] = own.state[sample]
    fields.needed_ball_mm[seen] = part.fit_mm[sample]
    fields.stick_out_mm[seen] = own.stick_out_mm[sample]
    fields.leftover_mm[seen] = part.leftover_mm[sample]
    return fields


def _unknown(count: int) -> ReachFields:
    return ReachFields(
        np.full(count, FACES_AWAY, np.int8), *(np.full(count, np.nan, np.float32) for _ in range(3))
    )  # fmt: skip


def _sample_of_facets(part: PartReach, mesh: Mesh) -> NDArray[np.int64]:
    """(m,) the sample that speaks for each facet: its own in the middle, else the nearest; -1 for what was not asked.

    Facets that face away have none; nor do those of zones in which nothing was asked.
    """
    facet = part.samples.facet
    sample_of = np.full(len(mesh.faces), -1, np.int64)
    # of a facet's own samples the one nearest its middle
    off = np.linalg.norm(part.samples.point - mesh.middle_of(facet), axis=1)
    order = np.lexsort((off, facet))
    first = order[np.flatnonzero(np.diff(facet[order], prepend=-1))]
    sample_of[facet[first]] = first
    unasked = np.flatnonzero((sample_of < 0) & part.faces_up)
    if len(unasked) > 0:
        _, nearest = cKDTree(part.samples.point).query(mesh.middle_of(unasked))
        sample_of[unasked] = nearest
    return sample_of


def large_facets_in_parts(
    part: PartReach, surface: CutSurface, reach: NDArray[np.int8], radius_mm: float
) -> FacetParts:
    """Facets on which the samples do not all say the same, or beside such, cut finely enough to draw it.

    Parameters
    ----------
    reach : (m,) int8 array
        What is told of whole facets.
    radius_mm : float
        Of the finishing tool.
    """
    mesh = surface.mesh
    count, facet = len(mesh.faces), part.samples.facet
    state = part.by_tool[0].state
    ball = np.minimum(part.fit_mm, GREATEST_BALL_MM)
    stick_out = part.by_tool[0].stick_out_mm
    size = mesh.reach_mm
    varied = _spread(facet, state.astype(np.float64), count) > 0.0
    partner = mesh.twins.reshape(-1, 3)
    other = reach[np.maximum(partner, 0) // 3]
    beside = ((other == CUTTER_TOO_LARGE) & (partner >= 0)).any(axis=1) & (reach == REACHED)
    varied |= beside | (varied[np.maximum(partner, 0) // 3] & (partner >= 0)).any(axis=1) & (reach == REACHED)
    differs = varied.copy()
    differs |= _spread(facet, ball, count) > _LIKE_BALLS * _greatest(facet, ball, count)
    differs |= _spread(facet, part.leftover_mm, count) > _LIKE_BALLS * radius_mm
    differs |= _spread(facet, stick_out, count) > _LIKE_BALLS * size
    longest = np.where(differs, _PART_OF_SIZE * size, np.inf)
    longest = np.where(varied, np.minimum(longest, _PART_OF_RADIUS * radius_mm), longest)
    return cut_into_parts(mesh, surface.corner_normal, longest)


def _greatest(facet: NDArray[np.int64], values: Floats, count: int) -> Floats:
    most = np.full(count, -np.inf)
    np.fmax.at(most, facet, values)
    return np.where(np.isfinite(most), most, 0.0)


def _spread(facet: NDArray[np.int64], values: Floats, count: int) -> Floats:
    """(m,) how much the samples of each facet differ; 0 where it has none that is known."""
    most, least = np.full(count, -np.inf), np.full(count, np.inf)
    np.fmax.at(most, facet, values)
    np.fmin.at(least, facet, values)
    return np.where(most >= least, most - least, 0.0)


def part_fields(part: PartReach, parts: FacetParts, tool: Tool) -> ReachFields:
    """The same of parts of facets, by the samples round them; near what is left over the finishing tool is asked."""
    fields = _unknown(len(parts.parent))
    rows = np.flatnonzero(part.faces_up[parts.parent])
    if len(rows) == 0 or len(part.samples.point) == 0:
        return fields
    near = min(_NEAREST, len(part.samples.point))
    away, sample = cKDTree(part.samples.point).query(parts.mesh.middle_of(rows), k=near)
    away, sample = away.reshape(len(rows), near), sample.reshape(len(rows), near)
    like = np.einsum("rkx,rx->rk", part.samples.normal[sample], parts.mesh.normal[rows]) > _LEAST_COSINE
    like |= ~like.any(axis=1)[:, None] & (np.arange(near) == 0)
    weight = like / np.maximum(away, 1e-9 * parts.mesh.reach_mm) ** 2
    own = part.by_tool[0]
    state = own.state[sample]
    votes = np.stack([(weight * (state == kind)).sum(axis=1) for kind in range(FACES_AWAY + 1)], axis=1)
    reach = votes.argmax(axis=1).astype(np.int8)
    left = _mean(weight * (state == CUTTER_TOO_LARGE), part.leftover_mm[sample])
    _ask_near_leftovers(part, parts, tool, rows, (reach, left))
    fields.reach[rows] = reach
    fields.leftover_mm[rows] = np.where(reach == CUTTER_TOO_LARGE, left, np.where(reach == FACES_AWAY, np.nan, 0.0))
    fit = _mean(weight, np.minimum(part.fit_mm[sample], GREATEST_BALL_MM))
    fields.needed_ball_mm[rows] = np.where(fit >= GREATEST_BALL_MM * (1.0 - 1e-6), np.inf, fit)
    fields.stick_out_mm[rows] = _mean(weight, own.stick_out_mm[sample])
    return fields


def _ask_near_leftovers(
    part: PartReach,
    parts: FacetParts,
    tool: Tool,
    rows: NDArray[np.int64],
    told: tuple[NDArray[np.int8], Floats],
) -> None:
    """Write whether the finishing tool gets to parts, and what it leaves, near samples that it leaves something at.

    Samples lie too far apart to tell where a place ends.
    """
    reach, left = told
    seeds = np.flatnonzero((part.by_tool[0].state == CUTTER_TOO_LARGE) & (part.leftover_mm > 0.0))
    if len(seeds) == 0:
        return
    near = _NEAR_SPACINGS * float(np.sqrt(np.quantile(part.samples.area_mm2, 0.95)))
    open_question = np.flatnonzero(reach != FACES_AWAY)
    away, _ = cKDTree(part.samples.point[seeds]).query(
        parts.mesh.middle_of(rows[open_question]), distance_upper_bound=near
    )  # fmt: skip
    asked = open_question[np.isfinite(away)][:_MOST_ASKED]
    normal = parts.corner_normal[rows[asked]].sum(axis=1)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    state, left[asked] = asked_at(part, tool, parts.mesh.middle_of(rows[asked]), normal, _MOST_HEIGHTS)
    reach[asked] = np.where(left[asked] > 0.0, CUTTER_TOO_LARGE, state)
    # where the cutter gets in but for a trace, shank and holder hold it back as they do nearby
    sure = ((reach == REACHED) | (reach == SHANK_OR_HOLDER)).nonzero()[0]
    traces = asked[(left[asked] <= 0.0) & (state != REACHED) & (state != SHANK_OR_HOLDER)]
    sure = np.setdiff1d(sure, traces)
    if len(sure) > 0 and len(traces) > 0:
        _, nearest = cKDTree(parts.mesh.middle_of(rows[sure])).query(parts.mesh.middle_of(rows[traces]))
        reach[traces] = reach[sure[nearest]]
    else:
        reach[traces] = REACHED


def _mean(weight: Floats, values: Floats) -> Floats:
    """(r,) weighted means over what is known, NaN where nothing is."""
    known = np.where(np.isnan(values), 0.0, weight)
    total = known.sum(axis=1)
    summed = (known * np.nan_to_num(values)).sum(axis=1)
    return np.where(total > 0.0, summed / np.maximum(total, 1e-300), np.nan)
