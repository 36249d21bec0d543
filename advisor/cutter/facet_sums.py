"""The facets of a round: the chord error to export a model with, and what a file's facets are off by.

As :mod:`~advisor.cutter.sums`: plain numbers in, a frozen record out, ``InputError`` where there is no answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from advisor.cutter.sum_checks import above_zero, check_angle, exactly_one
from advisor.errors import InputError

# Chord error of a model against the cusp that is to be cut: facets as high as cusps look like cusps (rule of thumb,
# from memory).
BEST_CHORD_SHARE_OF_CUSP: Final = 0.1
MOST_CHORD_SHARE_OF_CUSP: Final = 0.2

# A number this near a whole one is whole: rounding must not add a facet to a circle.
_ROUNDING: Final = 1e-9


@dataclass(frozen=True)
class FacetSum:
    """The facets of a round: chord error, angle between neighbours, chord length.

    ``most_chord_error_mm`` stands only in the answer to a cusp: the coarsest export that still serves it.
    """

    chord_error_mm: float
    most_chord_error_mm: float | None
    facet_angle_deg: float | None
    normal_error_deg: float | None
    facets_per_circle: int | None
    chord_mm: float | None


def facet_sum(
    *,
    radius_mm: float | None = None,
    chord_error_mm: float | None = None,
    angle_deg: float | None = None,
    cusp_mm: float | None = None,
) -> FacetSum:
    """Facets of a round, from exactly one of chord error, angle between neighbouring facets and cusp.

    angle = 2 acos(1 - t / R), chord = 2 sqrt(2 R t - t^2), and facet normals lie within half that angle of the true
    ones. From a cusp follows the chord error to export the model with: a tenth of it, a fifth at most (rule of thumb,
    from memory). Without a radius the answer is that tolerance alone.

    Derived from the sagitta of a chord.

    >>> print(round(facet_sum(radius_mm=25.0, chord_error_mm=0.01).facet_angle_deg, 6))
    3.241247
    """
    subject, asked = exactly_one({"chord error": chord_error_mm, "angle": angle_deg, "cusp": cusp_mm})
    if subject == "angle":
        check_angle(above_zero(asked, subject), 0.0, 180.0, subject)
        return _facets_of_round(math.radians(asked / 2.0), _radius_mm(radius_mm))
    if subject == "chord error":
        radius = _radius_mm(radius_mm)
        return _facets_of_round(_half_angle_rad(asked, radius, subject), radius)
    best, most = (share * above_zero(asked, subject) for share in (BEST_CHORD_SHARE_OF_CUSP, MOST_CHORD_SHARE_OF_CUSP))
    if radius_mm is None:
        return FacetSum(best, most, None, None, None, None)
    radius = _radius_mm(radius_mm)
    return replace(_facets_of_round(_half_angle_rad(best, radius, subject), radius), most_chord_error_mm=most)


def _radius_mm(radius_mm: float | None) -> float:
    if radius_mm is None:
        raise InputError("radius", "is missing", "give the radius of the round that the facets stand for")
    return above_zero(radius_mm, "radius")


def _half_angle_rad(chord_error_mm: float, radius_mm: float, subject: str) -> float:
    if above_zero(chord_error_mm, subject) >= radius_mm:
        raise InputError(subject, "is too much for a round of that radius", "ask for less, and check its unit")
    # acos(1 - t / R), without the loss of digits at small errors
    return 2.0 * math.asin(math.sqrt(chord_error_mm / (2.0 * radius_mm)))


def _facets_of_round(half_angle_rad: float, radius_mm: float) -> FacetSum:
    angle_deg = math.degrees(2.0 * half_angle_rad)
    return FacetSum(
        # R (1 - cos), without the loss of digits at small angles
        chord_error_mm=2.0 * radius_mm * math.sin(half_angle_rad / 2.0) ** 2,
        most_chord_error_mm=None,
        facet_angle_deg=angle_deg,
        normal_error_deg=angle_deg / 2.0,
        facets_per_circle=math.ceil(360.0 / angle_deg * (1.0 - _ROUNDING)),
        chord_mm=2.0 * radius_mm * math.sin(half_angle_rad),
    )
