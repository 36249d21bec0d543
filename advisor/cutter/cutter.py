"""A cutter as the contact sums see it: the curvature it shows across the feed, and the step that holds a cusp."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.cutter.checks import Values
from advisor.cutter.circles import cusp_between_circles_mm, step_between_circles_mm
from advisor.cutter.contact import contact_diameter_mm, cusp_height_mm
from advisor.cutter.roughness import stepover_for_ra_mm
from advisor.units import UM_PER_MM


@dataclass(frozen=True)
class Cutter:
    """Ball or bull-nose: a corner of `corner_radius_mm` that runs on a ring of `ring_radius_mm` (0 for a ball)."""

    diameter_mm: float
    corner_radius_mm: float

    @property
    def ring_radius_mm(self) -> float:
        """Radius of the ring on which the centre of the rounded corner runs, mm."""
        return self.diameter_mm / 2 - self.corner_radius_mm

    @property
    def corner_per_mm(self) -> float:
        """Curvature of the rounded corner, 1/mm: the most a cutter shows across any feed."""
        return 1.0 / self.corner_radius_mm

    def thicker(self, more_mm: float) -> Cutter:
        """The cutter with so much all round it: what must keep clear where stock is left."""
        return Cutter(self.diameter_mm + 2 * more_mm, self.corner_radius_mm + more_mm)

    def let_in(self, depth_mm: float) -> Cutter:
        """The cutter thinner by how deep it may go into facets, by half its corner at most: what must keep clear."""
        corner = max(self.corner_radius_mm - depth_mm, self.corner_radius_mm / 2)
        return Cutter(2 * (self.ring_radius_mm + corner), corner)

    def contact_diameter_mm(self, slope_deg: Values) -> Values:
        """Diameter on which the cutter touches a surface of a slope, tool axis untilted, mm."""
        corner = None if self.ring_radius_mm == 0 else self.corner_radius_mm
        return np.asarray(contact_diameter_mm(self.diameter_mm, np.clip(slope_deg, 0.0, 90.0), corner_radius_mm=corner))

    def step_mm(self, cusp_mm: float, tool_per_mm: Values, surface_per_mm: Values) -> Values:
        """Step along the surface that leaves a cusp, by the curvatures across the feed.

        Where the hollow is as tight as the cutter no step is defined and the flat one stands in: whether the
        cutter fits there at all is a question of its own.
        """
        step = step_between_circles_mm(np.float64(cusp_mm), tool_per_mm, surface_per_mm)
        of_corner = np.float64(self.corner_per_mm)
        corner = step_between_circles_mm(np.float64(cusp_mm), of_corner, np.float64(0.0))
        if self.ring_radius_mm == 0:
            return np.where(np.isfinite(step), step, corner)
        flat = step_between_circles_mm(np.float64(cusp_mm), tool_per_mm, np.float64(0.0))
        # a bull-nose on a floor: neighbouring rings may not part by more than their flat and two corners
        bent = step_between_circles_mm(np.float64(cusp_mm), of_corner, surface_per_mm)
        past_flat = np.where(np.isfinite(bent), bent, corner)
        return np.minimum(np.where(np.isfinite(step), step, flat), 2 * self.ring_radius_mm + past_flat)

    def cusp_mm(self, step_mm: Values, tool_per_mm: Values, surface_per_mm: Values) -> Values:
        """Cusp that a step along the surface leaves; NaN where neighbouring passes do not meet.

        Of a bull-nose no less than its corners leave at either side of the flat, past that.
        """
        tight = tool_per_mm + surface_per_mm <= 0
        surface = np.where(tight, 0.0, surface_per_mm)
        groove = cusp_between_circles_mm(step_mm, tool_per_mm, surface)
        if self.ring_radius_mm == 0:
            return groove
        past_flat = np.maximum(step_mm - 2 * self.ring_radius_mm, 0.0)
        return np.maximum(groove, cusp_between_circles_mm(past_flat, np.float64(self.corner_per_mm), surface))


def cusp_for_ra_mm(ra_mm: float, cutter: Cutter) -> float:
    """Cusp on a flat surface whose profile has an arithmetic mean roughness, mm."""
    step = stepover_for_ra_mm(ra_mm * UM_PER_MM, cutter.corner_radius_mm)
    return float(cusp_height_mm(step, cutter.corner_radius_mm))
