"""What a set of patches costs as one zone: the shortest of its three families of passes, by sums that add up.

Lengths are area integrals over the spacing that the tightest part of the set allows; a histogram of allowed spacings
tells that part without going back to the facets (within one bin, a hundredth of the step).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from advisor import tolerances
from advisor.part.mesh import Floats


@dataclass(frozen=True)
class PassSums:
    """Sums of passes over patches; rows add up when patches join.

    Attributes
    ----------
    flat_step_mm : float
        Step along a flat surface that holds the target.
    least_level_share, least_line_share : float
        Families with a Z-step or spacing below this share of the flat step are not used.
    offset_mm : (p,) path of constant-cusp offsets
    level_mm2 : (p,) area integral of sin(slope)
    level_area : (p, b) area by the Z-step it allows, in shares of the flat step
    line_mm2 : (p, k) area over plan spacing, for lines in each of k directions
    line_area : (p, k, b) area by the plan spacing it allows
    plunge_mm2 : (p, k) area that runs too steeply along the lines
    most_plunging_share : float
        Lines with more of their area running so are not used.
    """

    flat_step_mm: float
    least_level_share: float
    least_line_share: float
    offset_mm: Floats
    level_mm2: Floats
    level_area: Floats
    line_mm2: Floats
    line_area: Floats
    plunge_mm2: Floats
    most_plunging_share: float

    def of(self, row: int) -> PassSums:
        """The sums of one patch, as a table of one row."""
        at = slice(row, row + 1)
        return replace(
            self, offset_mm=self.offset_mm[at], level_mm2=self.level_mm2[at], level_area=self.level_area[at],
            line_mm2=self.line_mm2[at], line_area=self.line_area[at], plunge_mm2=self.plunge_mm2[at],
        )  # fmt: skip

    def plus(self, other: PassSums) -> PassSums:
        """Rows added, one by one."""
        return replace(
            self, offset_mm=self.offset_mm + other.offset_mm, level_mm2=self.level_mm2 + other.level_mm2,
            level_area=self.level_area + other.level_area, line_mm2=self.line_mm2 + other.line_mm2,
            line_area=self.line_area + other.line_area, plunge_mm2=self.plunge_mm2 + other.plunge_mm2,
        )  # fmt: skip

    def level_path_mm(self) -> float:
        """Path of level passes over the first row; infinite where they cannot hold the target."""
        share = float(_tight_end(self.level_area[0], tolerances.TAIL_SHARE_OF_AREA))
        if share < self.least_level_share:
            return float("inf")
        return float(self.level_mm2[0]) / (share * self.flat_step_mm)

    def line_path_mm(self) -> float:
        """The same for parallel lines in their best direction."""
        share = _tight_end(self.line_area[0], tolerances.TAIL_OF_LINES)
        total = float(self.level_area[0].sum())
        usable = (share >= self.least_line_share) & (self.plunge_mm2[0] <= self.most_plunging_share * total)
        if not usable.any():
            return float("inf")
        return float((self.line_mm2[0][usable] / (share[usable] * self.flat_step_mm)).min())

    def path_mm(self, *, may_offset: bool) -> float:
        """The shortest of the families, constant-cusp offsets among them where they may be."""
        offset = float(self.offset_mm[0]) if may_offset else float("inf")
        return min(offset, self.level_path_mm(), self.line_path_mm())

    def habit_path_mm(self, *, is_steep: bool, habit_share: float) -> float:
        """Path of what a zone of one class is cut with: the habit of its class unless another saves a share of it."""
        shortest = self.path_mm(may_offset=True)
        habit = self.level_path_mm() if is_steep else self.line_path_mm()
        return habit if habit * (1.0 - habit_share) <= shortest else shortest


def _tight_end(area: Floats, tail_share: float) -> Any:
    """Upper edge of the bin below which no more than a tail of the area lies, as a share of the flat step.

    The upper edge: a value right on it (a plane's whole area) must not lose a bin.
    """
    bins = area.shape[-1]
    below = np.cumsum(area, axis=-1)
    first = (below <= tail_share * below[..., -1:]).sum(axis=-1)
    return np.minimum(first + 1, bins) / bins
