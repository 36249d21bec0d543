"""The plane, cylinder, sphere, cone or torus that a zone stands for, where one holds."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from advisor import tolerances
from advisor.model import FittedSurface
from advisor.part.mesh import Flags, Floats, Ints
from advisor.units import UM_PER_MM
from advisor.zones.analytic import Fit, distances_mm
from advisor.zones.areas import spread_sample
from advisor.zones.fits import fit_surface
from advisor.zones.zoning import Zoning

# Facets of a zone that a fit starts from: enough for any of its numbers; all of them are then asked whether it holds.
_FACETS_ASKED = 400
# Numbers are told to a nanometre and to a millionth of a degree: what lies below is the machine's, not the part's.
_PLACES, _PLACES_UM, _PLACES_OF_AXIS = 6, 3, 9
# Directions this near to level have no sense by height.
_LEVEL = 1e-6


def fit_tolerance_mm(chord_error_um: float | None) -> float:
    """How far corners of a zone's facets may lie from its surface, rms: those on zone lines are off by the chord error
    of the mesh, the others by its rounding."""
    chord_mm = 0.0 if chord_error_um is None else chord_error_um / UM_PER_MM
    return min(max(tolerances.ZONE_FIT_MM, chord_mm), tolerances.ZONE_FIT_MOST_MM)


def zone_fits(zoning: Zoning, is_one: Flags, axis: Floats, tolerance_mm: float) -> list[FittedSurface | None]:
    """The surface of every zone, in the order of their numbers; None where none holds within the tolerance.

    Parameters
    ----------
    zoning : Zoning
    is_one : (z,) bool array
        Zones that are one surface, not many small features.
    axis : (3,) unit vector from the part to the spindle
    tolerance_mm : float
        Of the rms; no corner of any facet lies further off than four times that.
    """
    zone, count = zoning.zone, len(zoning.zone_class)
    asked = spread_sample(zone, _FACETS_ASKED)
    order = np.argsort(zone, kind="stable")
    ends = np.searchsorted(zone[order], np.arange(count + 1))
    asked_ends = np.searchsorted(zone[asked], np.arange(count + 1))
    fits: list[FittedSurface | None] = []
    for number, ((a, b), (c, d)) in enumerate(zip(pairwise(ends), pairwise(asked_ends), strict=True)):
        fit = _fit(zoning, asked[c:d].astype(np.int32), tolerance_mm) if is_one[number] else None
        fits.append(None if fit is None else _record(fit, zoning, order[a:b].astype(np.int32), axis, tolerance_mm))
    return fits


def _fit(zoning: Zoning, facets: Ints, tolerance_mm: float) -> Fit | None:
    normal = zoning.surface.corner_normal[facets].reshape(-1, 3)
    normal = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    area = zoning.surface.mesh.area_mm2[facets]
    return fit_surface(_corners(zoning, facets), normal, np.repeat(area, 3), tolerance_mm)


def _corners(zoning: Zoning, facets: Ints) -> Floats:
    """(3 k, 3) corners of facets: unlike their middles they lie on the surface that the facets stand for."""
    mesh = zoning.surface.mesh
    corners: Floats = mesh.vertices[mesh.faces[facets].ravel()]
    return corners


def _record(fit: Fit, zoning: Zoning, facets: Ints, axis: Floats, tolerance_mm: float) -> FittedSurface | None:
    """The record, if the fit holds on all facets."""
    area = zoning.surface.mesh.area_mm2[facets]
    off = distances_mm(fit, _corners(zoning, facets))
    weights = np.repeat(area, 3) / (3.0 * area.sum())
    rms, most = float(np.sqrt(weights @ (off * off))), float(np.abs(off).max())
    if rms > tolerance_mm or most > tolerances.FIT_MOST_OVER_TOLERANCE * tolerance_mm:
        return None
    return FittedSurface(
        kind=fit.kind,
        point_mm=_three(fit.point_mm, _PLACES),
        axis=None if np.isnan(fit.axis).any() else _three(_sense(fit, axis), _PLACES_OF_AXIS),
        radius_mm=_told(fit.radius_mm),
        ring_radius_mm=_told(fit.ring_radius_mm),
        half_angle_deg=_told(fit.half_apex_deg),
        is_hollow=fit.is_hollow,
        rms_um=round(rms * UM_PER_MM, _PLACES_UM),
        max_um=round(most * UM_PER_MM, _PLACES_UM),
        tolerance_um=round(tolerance_mm * UM_PER_MM, _PLACES_UM),
    )


def _sense(fit: Fit, tool_axis: Floats) -> Floats:
    """The axis of a fit; of those that have no sense of their own, the one towards the spindle."""
    if fit.kind in ("plane", "cone"):
        return fit.axis
    for along in (fit.axis @ tool_axis, *fit.axis):
        if abs(along) > _LEVEL:
            return fit.axis if along > 0 else -fit.axis
    return fit.axis


def _three(vector: Floats, places: int) -> tuple[float, float, float]:
    # + 0.0: no negative zero
    x, y, z = (round(float(value), places) + 0.0 for value in vector)
    return x, y, z


def _told(value: float) -> float | None:
    return None if np.isnan(value) else round(value, _PLACES)
