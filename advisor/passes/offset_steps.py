"""How far apart neighbouring passes may lie along the surface, by the direction across them: a metric of facets."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from advisor import tolerances
from advisor.cutter.cutter import Cutter
from advisor.part.mesh import Floats


@dataclass(frozen=True)
class OffsetSteps:
    """Steps that leave the cusp asked for, facet by facet. Arrays are read-only.

    The height of the surface under a ball beside the contact, at w along the surface, is ``(T(w, w) + K(w, w)) / 2``,
    with the forms of curvature of cutter and part. Half way between two passes it is least at their nearest point by
    that form, not by length; so passes are level lines of distance in the metric that is 1 over a step (T. Kim, CAD 39,
    2007; R. Sarma, D. Dutta, ASME J. Mech. Des. 119, 1997; both from memory). The step of passes askew to the main
    directions follows: ``step^2 = (least cos)^2 + (most sin)^2`` of the angle between the way across them and
    `direction`: radii of curvature relative to the cutter add up, where a plain section (Euler) adds curvatures.

    Attributes
    ----------
    least_mm, most_mm : (m,) float64 arrays
    direction : (m, 3) float64 array
        Unit vectors in the plane of the facet: the way across passes for which the step is least. Any of them where
        the two are equal.
    """

    least_mm: Floats
    most_mm: Floats
    direction: Floats

    def __post_init__(self) -> None:
        for field in fields(self):
            getattr(self, field.name).setflags(write=False)


def even_steps(normal: Floats, step_mm: float) -> OffsetSteps:
    """The same step everywhere and in all directions.

    Parameters
    ----------
    normal : (m, 3) unit normals of the facets
    step_mm : float, above 0
    """
    if not step_mm > 0.0:
        raise ValueError("step must be above 0")
    step = np.full(len(normal), float(step_mm))
    return OffsetSteps(step, step.copy(), _any_across(normal))


def cusp_steps(
    cutter: Cutter,
    cusp_mm: float,
    axis: Floats,
    normal: Floats,
    k_max_per_mm: Floats,
    k_min_per_mm: Floats,
    k_max_direction: Floats,
) -> OffsetSteps:
    """Steps that leave a cusp under an upright cutter.

    Hollows count as no tighter than ``tolerances.OFFSET_TIGHTEST_SHARE`` of the cutter: near its own radius the step
    would hang on the last hundredth of a curvature. In one tighter than the cutter by ``TIGHT_SHARE`` the step is that
    of the corner on a flat: whether the cutter fits is a question of its own.

    A bull-nose has the curvatures of its torus; where it stands on its flat, but for a small share of the cusp, passes
    are the flat and a step of its corner apart.

    Parameters
    ----------
    cutter : Cutter
    cusp_mm : float, above 0
    axis : (3,) unit vector from the part to the spindle
    normal : (m, 3) unit normals of the facets
    k_max_per_mm, k_min_per_mm : (m,) float arrays
    k_max_direction : (m, 3) float array
        As in ``part.curvature.Curvature``; NaN where both are alike.
    """
    one = np.where(np.isnan(k_max_direction), _any_across(normal), k_max_direction)
    two = np.cross(normal, one)
    sine = np.sqrt(np.clip(1.0 - (normal @ axis) ** 2, 0.0, 1.0))
    uphill = axis - (normal @ axis)[:, None] * normal
    uphill /= np.maximum(sine, 1e-12)[:, None]
    along_one, along_two = np.einsum("mx,mx->m", uphill, one), np.einsum("mx,mx->m", uphill, two)
    # the cutter: the corner's curvature up the slope, that of its ring along the contour
    ring, corner = cutter.ring_radius_mm, cutter.corner_radius_mm
    around = np.full(len(sine), 1.0 / corner) if ring == 0.0 else sine / (ring + corner * sine)
    more = 1.0 / corner - around
    tool = around + more * along_one**2, more * along_one * along_two, around + more * along_two**2
    relative_half = 0.5 * (tool[0] + k_max_per_mm - tool[2] - k_min_per_mm)
    angle = 0.5 * np.arctan2(tool[1], relative_half)
    cosine, sine_of = np.cos(angle), np.sin(angle)
    first = _step_mm(cutter, cusp_mm, tool, k_max_per_mm, k_min_per_mm, cosine, sine_of)
    second = _step_mm(cutter, cusp_mm, tool, k_max_per_mm, k_min_per_mm, -sine_of, cosine)
    if ring > 0.0:
        on_flat = _on_flat_step_mm(cutter, cusp_mm, sine, np.maximum(np.abs(k_max_per_mm), np.abs(k_min_per_mm)))
        first, second = np.maximum(first, on_flat), np.maximum(second, on_flat)
    turned = first > second
    across = cosine[:, None] * one + sine_of[:, None] * two
    across[turned] = np.cross(normal[turned], across[turned])
    return OffsetSteps(np.minimum(first, second), np.maximum(first, second), across)


def _step_mm(
    cutter: Cutter,
    cusp_mm: float,
    tool: tuple[Floats, Floats, Floats],
    k_max_per_mm: Floats,
    k_min_per_mm: Floats,
    cosine: Floats,
    sine: Floats,
) -> Floats:
    """(m,) step across passes, the way across them given by its angle to the largest curvature."""
    tool_per_mm = tool[0] * cosine**2 + 2.0 * tool[1] * sine * cosine + tool[2] * sine**2
    surface_per_mm = k_max_per_mm * cosine**2 + k_min_per_mm * sine**2
    share = tolerances.OFFSET_TIGHTEST_SHARE
    fits = surface_per_mm > -(1.0 + tolerances.TIGHT_SHARE) * tool_per_mm
    step = cutter.step_mm(cusp_mm, tool_per_mm, np.maximum(surface_per_mm, -share * tool_per_mm))
    corner = np.full(len(step), cutter.corner_per_mm)
    of_corner = cutter.step_mm(cusp_mm, corner, np.maximum(surface_per_mm, 0.0))
    return np.asarray(np.where(fits, step, of_corner))


def _on_flat_step_mm(cutter: Cutter, cusp_mm: float, sine: Floats, sharpest_per_mm: Floats) -> Floats:
    """(m,) step of a bull-nose that stands on its flat; 0 where the surface falls off under it by half the cusp."""
    ring, corner = cutter.ring_radius_mm, np.float64(cutter.corner_per_mm)
    falls = 2.0 * ring * sine + 0.5 * ring**2 * sharpest_per_mm
    left = np.maximum(cusp_mm - falls, 0.0)
    # 2 sqrt(h (2 r - h)), the step of two circles on a flat
    step = 2.0 * ring + 2.0 * np.sqrt(left * np.maximum(2.0 / corner - left, 0.0))
    return np.asarray(np.where(falls <= 0.5 * cusp_mm, step, 0.0))


def _any_across(normal: Floats) -> Floats:
    """(m, 3) unit vectors square to normals: across the axis of which the normal has least."""
    least = np.zeros_like(normal)
    least[np.arange(len(normal)), np.argmin(np.abs(normal), axis=1)] = 1.0
    across = np.cross(normal, least)
    return np.asarray(across / np.maximum(np.linalg.norm(across, axis=1), 1e-300)[:, None])
