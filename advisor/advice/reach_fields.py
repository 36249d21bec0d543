"""What the samples of a part's reach say of every facet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor.advice.reach import FACES_AWAY, REACHED, PartReach
from advisor.job import Tool
from advisor.part.mesh import Floats, Mesh


@dataclass(frozen=True)
class ReachFields:
    """One value a facet: (m,) arrays as in ``model.FacetArrays``."""

    reach: NDArray[np.int8]
    needed_ball_mm: NDArray[np.float32]
    leftover_mm: NDArray[np.float32]
    stick_out_mm: NDArray[np.float32]


def reach_fields(part: PartReach, mesh: Mesh, tools: tuple[Tool, ...]) -> ReachFields:
    """Facets of a mesh by what their samples, or the nearest ones, say.

    Parameters
    ----------
    part : PartReach
        Of samples on this mesh.
    mesh : Mesh
    tools : the tools asked for, in the order of ``part.by_tool``: the finishing one first
    """
    count = len(mesh.faces)
    state = np.full(count, FACES_AWAY, np.int8)
    needed, leftover, stick_out = (np.full(count, np.nan, np.float32) for _ in range(3))
    if len(part.samples.point) == 0:
        return ReachFields(state, needed, leftover, stick_out)
    own = part.by_tool[0]
    sample_of = _sample_of_facets(part, mesh)
    seen = np.flatnonzero(sample_of >= 0)
    sample = sample_of[seen]
    state[seen] = own.state[sample]
    needed[seen] = _largest_diameter_mm(part, tools)[sample]
    stick_out[seen] = own.stick_out_mm[sample]
    leftover[seen] = part.leftover_mm[sample]
    return ReachFields(state, needed, leftover, stick_out)


def _sample_of_facets(part: PartReach, mesh: Mesh) -> NDArray[np.int64]:
    """(m,) the sample that speaks for each facet: its own in the middle, else the nearest; -1 for what was not asked.

    Facets that face away have none; nor do those of zones in which nothing was asked.
    """
    facet = part.samples.facet
    sample_of = np.full(len(mesh.faces), -1, np.int64)
    # of a facet's own samples the one nearest its middle
    off = np.linalg.norm(part.samples.point - mesh.middle[facet], axis=1)
    order = np.lexsort((off, facet))
    first = order[np.flatnonzero(np.diff(facet[order], prepend=-1))]
    sample_of[facet[first]] = first
    unasked = np.flatnonzero((sample_of < 0) & part.faces_up)
    if len(unasked) > 0:
        _, nearest = cKDTree(part.samples.point).query(mesh.middle[unasked])
        sample_of[unasked] = nearest
    return sample_of


def _largest_diameter_mm(part: PartReach, tools: tuple[Tool, ...]) -> Floats:
    """(k,) diameter of the largest tool that reaches each sample; NaN where none does."""
    largest = np.full(len(part.samples.point), np.nan)
    for tool, reach in zip(tools, part.by_tool, strict=True):
        largest = np.where(reach.state == REACHED, np.fmax(largest, tool.diameter), largest)
    return largest
