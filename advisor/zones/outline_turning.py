"""How much outlines turn, and how much of that is saw-teeth."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from advisor import tolerances
from advisor.part.mesh import Floats
from advisor.zones.joints import TANGENT
from advisor.zones.outline import Outline

_LEAST_STEPS = 2 * tolerances.SAW_TEETH_COARSER


@dataclass(frozen=True)
class SawTeeth:
    """Turning along tangent stretches of outlines, looked at twice.

    Attributes
    ----------
    step_mm : float
    length_mm : float
        Of the stretches long enough to be looked at.
    turning_deg : float
        All turns added up without sign, in steps of the length stated.
    coarse_turning_deg : float
        The same in steps ``tolerances.SAW_TEETH_COARSER`` times longer: a smooth curve turns as much in these, teeth
        are passed over.
    """

    step_mm: float
    length_mm: float
    turning_deg: float
    coarse_turning_deg: float

    @property
    def lost_deg_per_step(self) -> float:
        """Turning that leads nowhere, degrees a step whatever the size; NaN where no stretch is long enough."""
        if self.length_mm == 0.0:
            return float("nan")
        return (self.turning_deg - self.coarse_turning_deg) * self.step_mm / self.length_mm


def turning_deg(outline: Outline, step_mm: float) -> Floats:
    """(k,) angles without sign between steps along the tangent stretches of an outline, degrees.

    A stretch lasts while the neighbour is one and joins tangentially; turns from one stretch to the next are
    corners, and not counted. Each is divided into equal steps of about `step_mm`; stretches of fewer than
    two steps have no turns.
    """
    turns = [_turns(points, is_closed, step_mm) for points, is_closed in _tangent_stretches(outline)]
    return np.concatenate([np.empty(0), *turns])


def saw_teeth(outlines: Iterable[Outline], step_mm: float) -> SawTeeth:
    """Turning in steps of `step_mm` against turning in longer ones, over stretches with room for both."""
    length = fine = coarse = 0.0
    for outline in outlines:
        for points, is_closed in _tangent_stretches(outline):
            size = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
            if size < _LEAST_STEPS * step_mm:
                continue
            length += size
            fine += float(_turns(points, is_closed, step_mm).sum())
            coarse += float(_turns(points, is_closed, tolerances.SAW_TEETH_COARSER * step_mm).sum())
    return SawTeeth(step_mm, length, fine, coarse)


def _tangent_stretches(outline: Outline) -> list[tuple[Floats, bool]]:
    """Points of each stretch, both ends with it, and whether it is the whole loop."""
    joint, neighbour = outline.joint, outline.neighbour
    begins = np.flatnonzero((joint != np.roll(joint, 1)) | (neighbour != np.roll(neighbour, 1)))
    if len(begins) == 0:
        ring = np.concatenate([outline.points, outline.points[:1]])
        return [(ring, True)] if joint[0] == TANGENT else []
    points = np.roll(outline.points, -begins[0], axis=0)
    points = np.concatenate([points, points[:1]])
    bounds = np.append(begins - begins[0], len(joint))
    return [
        (points[begin : end + 1], False)
        for begin, end, place in zip(bounds[:-1], bounds[1:], begins, strict=True)
        if joint[place] == TANGENT
    ]


def _turns(points: Floats, is_closed: bool, step_mm: float) -> Floats:
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    steps = round(float(along[-1]) / step_mm)
    if steps < 2:
        return np.empty(0)
    at = np.linspace(0.0, along[-1], steps + 1)
    even = np.stack([np.interp(at, along, points[:, k]) for k in range(3)], axis=1)
    way = np.diff(even, axis=0)
    if is_closed:
        way = np.concatenate([way, way[:1]])
    cross = np.linalg.norm(np.cross(way[:-1], way[1:]), axis=1)
    turns: Floats = np.degrees(np.arctan2(cross, np.einsum("ij,ij->i", way[:-1], way[1:])))
    return turns
