"""Passes as lines: where the cutter touches, which way the surface faces there, and where the ball's centre is."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from advisor.part.mesh import Flags, Floats, Ints

# Sine of the slope below which a surface is level: there a bull-nose touches anywhere on its flat bottom.
_LEVEL = 1e-9


@dataclass(frozen=True)
class PassLines:
    """Passes of one family, laid end to end. Arrays are read-only.

    Attributes
    ----------
    contact_mm : (k, 3) float64 array
        Points of the smooth surface that the cutter touches, in order along each pass.
    normal : (k, 3) float64 array
        Unit normals there. Two points in one place with normals apart are a corner that the cutter rolls round.
    starts : (p + 1,) int64 array
        Pass ``i`` is ``contact_mm[starts[i]:starts[i + 1]]``.
    level : (p,) int32 array
        Which line of the family a pass is a piece of.
    is_closed : (p,) bool array
        The last point repeats the first.
    """

    contact_mm: Floats
    normal: Floats
    starts: NDArray[np.int64]
    level: Ints
    is_closed: Flags

    def __post_init__(self) -> None:
        for field in fields(self):
            getattr(self, field.name).setflags(write=False)

    @property
    def count(self) -> int:
        """Number of passes."""
        return len(self.level)

    @property
    def lengths_mm(self) -> Floats:
        """(p,) length of every pass along the surface, mm."""
        return chain_lengths_mm(self.contact_mm, self.starts)

    def centres_mm(self, corner_radius_mm: float, flat_radius_mm: float, axis: Floats) -> Floats:
        """(k, 3) centre of the ball; of a bull-nose, of the circle of its corner's centres.

        The centre of that circle lies `flat_radius_mm` further out from where the corner touches, square to the axis.
        """
        centres = self.contact_mm + corner_radius_mm * self.normal
        if flat_radius_mm == 0.0:
            return centres
        out = self.normal - (self.normal @ axis)[:, None] * axis
        length = np.linalg.norm(out, axis=1)
        share = np.where(length > _LEVEL, flat_radius_mm / np.maximum(length, _LEVEL), 0.0)
        return np.asarray(centres + share[:, None] * out)


def segment_lengths_mm(points_mm: Floats, starts: NDArray[np.int64]) -> Floats:
    """(k,) way from each point of chains laid end to end to the next, mm; 0 from the last of a chain."""
    steps = np.linalg.norm(np.diff(points_mm, axis=0, append=points_mm[-1:]), axis=1)
    steps[starts[1:] - 1] = 0.0
    return np.asarray(steps)


def chain_lengths_mm(points_mm: Floats, starts: NDArray[np.int64]) -> Floats:
    """(p,) length of chains of points laid end to end, mm."""
    if len(starts) < 2:
        return np.zeros(0)
    return np.asarray(np.add.reduceat(segment_lengths_mm(points_mm, starts), starts[:-1]))
