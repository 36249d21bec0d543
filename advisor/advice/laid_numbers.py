"""Passes laid for a candidate of a zone, and the candidate with their numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from advisor import tolerances
from advisor.advice.choose import spiral_words
from advisor.cutter.path_time import minutes_range
from advisor.cutter.roughness import SHALLOW_ARC_RA
from advisor.model import Advice, Cusp, StepPoint
from advisor.part.mesh import Flags, Floats, Ints
from advisor.passes.laid import LaidPasses, Proof, ProofPoints
from advisor.passes.timing import PathTotals
from advisor.units import UM_PER_MM

# Mean height over arithmetic mean roughness of a row of shallow arcs: a third of the cusp over it.
_MEAN_OVER_RA = SHALLOW_ARC_RA / 8.0 / 3.0


@dataclass(frozen=True)
class CopyOf:
    """Which zone another is a copy of, and how that is moved here: turned about the axis, then shifted."""

    model: int
    turn_deg: float
    shift_mm: tuple[float, float, float]


@dataclass(frozen=True)
class Laid:
    """A candidate's passes and what they leave: the cutter's middle along them, sums, and heights at points.

    ``turns`` and ``spirals`` tell of passes wound from loops: see ``passes.order`` and ``passes.laid``.
    """

    centres_mm: Floats
    contacts_mm: Floats
    level: Ints
    starts: NDArray[np.int64]
    is_closed: Flags
    turns: NDArray[np.int64]
    spirals: int
    totals: PathTotals
    proof: Proof
    points: ProofPoints

    def moved(self, copy: CopyOf, axis: Floats) -> Laid:
        """The same on a copy of the zone."""
        turn = Rotation.from_rotvec(np.radians(copy.turn_deg) * axis)
        matrix, shift = turn.as_matrix().T, np.array(copy.shift_mm)
        points = replace(
            self.points, point_mm=self.points.point_mm @ matrix + shift, normal=self.points.normal @ matrix
        )
        return replace(
            self,
            centres_mm=self.centres_mm @ matrix + shift,
            contacts_mm=self.contacts_mm @ matrix + shift,
            points=points,
        )


def laid_of(passes: LaidPasses, proof: Proof, points: ProofPoints) -> Laid:
    """Passes with what they leave at points of their zone."""
    lines = passes.passes.lines
    return Laid(
        passes.centres_mm, lines.contact_mm, lines.level, lines.starts, lines.is_closed, passes.passes.turns,
        passes.spirals, passes.totals, proof, points,
    )  # fmt: skip


def with_laid_numbers(advice: Advice, found: Laid) -> Advice:
    """A candidate with what its laid passes need and leave instead of estimates."""
    totals, summary, unevenness = found.totals, found.proof.summary, found.proof.unevenness
    timed = advice.feed_mm_per_min is not None
    gets_there = summary.area_mm2 > 0.0
    is_cut = summary.uncut_share <= tolerances.TAIL_SHARE_OF_AREA
    mean_um = _um(summary.mean_mm)
    return replace(
        advice,
        cusp_um=Cusp(advice.cusp_um.target, _um(summary.p95_mm), _um(found.proof.most_mm) if is_cut else None),
        ra_um=None if mean_um is None else mean_um / _MEAN_OVER_RA,
        passes=totals.passes,
        path_mm=totals.path_mm,
        lifts=totals.lifts,
        cutting_min=totals.cutting_min if timed else None,
        total_min=totals.total_min if timed else None,
        total_min_range=minutes_range(totals.total_min) if timed else None,
        centre_path_mm=totals.centre_mm,
        link_mm=totals.link_mm,
        lift_mm=totals.lift_mm,
        cusp_mean_um=mean_um,
        cusp_uniformity=None if np.isnan(unevenness) else unevenness,
        above_target_share=summary.above_target_share if gets_there else None,
        uncut_share=summary.uncut_share if gets_there else 1.0,
        out_of_reach_share=found.points.out_of_reach_share,
        gouge_um=_um(found.proof.gouge_mm),
        spirals=found.spirals,
        is_laid=True,
    )


def with_spirals(advice: Advice, found: Laid) -> Advice:
    """A candidate whose laid passes have been wound into spirals; as it is where none have."""
    if not found.spirals:
        return advice
    told = with_laid_numbers(advice, found)
    curve = tuple(_as_laid(point, told) for point in advice.step_curve)
    return replace(told, step_curve=curve, why=(*told.why, spiral_words(found.spirals)))


def _as_laid(point: StepPoint, advice: Advice) -> StepPoint:
    """The point of a candidate's own stepover with the numbers of its passes."""
    if not point.is_laid or advice.cusp_um.p95 is None or advice.path_mm is None:
        return point
    return replace(point, cusp_p95_um=advice.cusp_um.p95, path_mm=advice.path_mm, total_min=advice.total_min)


def _um(height_mm: float) -> float | None:
    return None if np.isnan(height_mm) else height_mm * UM_PER_MM
