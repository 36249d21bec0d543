"""What a stage asks of the surface, and the step along it that follows."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from advisor.advice.zone_surface import ZoneSurface
from advisor.cutter.cutter import Cutter
from advisor.part.mesh import Flags, Floats

# A zone of one slope still has rounding in its normals: less turn than this is none.
_LEAST_TURN_RAD = 1e-3


@dataclass(frozen=True)
class StageTarget:
    """What a stage asks of the surface: a cusp to hold, or a step along the surface to keep.

    Exactly one of `cusp_mm` and `step_mm` is set.
    """

    name: str
    cutter: Cutter
    tool: int
    cusp_mm: float | None
    step_mm: float | None

    def steps_mm(self, tool_per_mm: Floats, surface_per_mm: Floats) -> Floats:
        """Allowed step along the surface at every facet."""
        if self.step_mm is not None:
            return np.full(len(surface_per_mm), self.step_mm)
        assert self.cusp_mm is not None
        return self.cutter.step_mm(self.cusp_mm, tool_per_mm, surface_per_mm)

    def with_cutter(self, cutter: Cutter) -> StageTarget:
        """The same asked of another cutter."""
        return replace(self, cutter=cutter)

    @property
    def flat_step_mm(self) -> float:
        """Step on a flat surface, mm."""
        corner = np.array([self.cutter.corner_per_mm])
        return float(self.steps_mm(corner, np.zeros(1))[0])

    @property
    def flat_cusp_mm(self) -> float:
        """Cusp on a flat surface, mm."""
        if self.cusp_mm is not None:
            return self.cusp_mm
        corner = np.array([self.cutter.corner_per_mm])
        return float(self.cutter.cusp_mm(np.array([self.flat_step_mm]), corner, np.zeros(1))[0])

    def edges(self, surface: ZoneSurface) -> Flags:
        """(m,) facets on a bend so sharp that all the turn of the zone fits in one step: an edge, not a surface.

        Passes do not lie on such a bend but beside it, so it does not set their spacing.
        """
        turn = max(float(np.radians(np.ptp(surface.slope_deg))), _LEAST_TURN_RAD)
        return surface.sharpest_bend_per_mm > turn / self.flat_step_mm
