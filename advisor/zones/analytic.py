"""Analytic surfaces: plane, cylinder, sphere, cone and torus, and how far points lie from them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.model import SurfaceKind
from advisor.part.mesh import Floats


@dataclass(frozen=True)
class Fit:
    """An analytic surface; what a kind has not is NaN.

    Attributes
    ----------
    kind : str
    point_mm : (3,)
        On the plane; on the axis beside the middle of the patch (cylinder, cone); the centre (sphere, torus).
    axis : (3,)
        Outward normal of a plane; of a cone towards its tip; of cylinder and torus of either sense.
    radius_mm : float
        Of a cone at `point_mm`; of a torus that of its tube.
    ring_radius_mm : float
        Of a torus: from its centre to the middle of the tube.
    half_apex_deg : float
        Between a cone and its axis.
    is_hollow : bool
        Concave seen from outside the part: a hole, a bowl, a fillet. Of a torus: its tube is.
    residual_rms_mm, residual_max_mm : float
        Of the points, weighted and largest.
    normals_rms_deg : float
        Between the given normals and those of the fit, weighted.
    """

    kind: SurfaceKind
    point_mm: Floats
    axis: Floats
    radius_mm: float
    ring_radius_mm: float
    half_apex_deg: float
    is_hollow: bool
    residual_rms_mm: float
    residual_max_mm: float
    normals_rms_deg: float


def distances_mm(fit: Fit, points_mm: Floats) -> Floats:
    """(k,) signed distance of points from a fit, positive on the side away from its axis or centre."""
    away = points_mm - fit.point_mm
    square = np.einsum("ij,ij->i", away, away)
    if fit.kind == "sphere":
        from_centre: Floats = np.sqrt(square) - fit.radius_mm
        return from_centre
    along: Floats = away @ fit.axis
    if fit.kind == "plane":
        return along
    across = np.sqrt(np.maximum(square - along * along, 0.0))
    if fit.kind == "cylinder":
        from_wall: Floats = across - fit.radius_mm
        return from_wall
    if fit.kind == "cone":
        half = np.radians(fit.half_apex_deg)
        from_cone: Floats = (across - fit.radius_mm + along * np.tan(half)) * np.cos(half)
        return from_cone
    from_tube: Floats = np.hypot(across - fit.ring_radius_mm, along) - fit.radius_mm
    return from_tube
