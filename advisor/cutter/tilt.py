"""How far to tilt a ball so that it cuts with its side instead of its tip.

The tilt is that of the tool axis in the plane of slope, away from the surface normal: it adds to the slope.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.cutter.checks import Numbers, Values, angle_between, not_negative, plain, positive
from advisor.cutter.contact import (
    DOWNWARD_DEG,
    FLOOR_DEG,
    TIP_DIAMETER_SHARE,
    WALL_DEG,
    contact_diameter_mm,
    tip_clear_tilt_deg,
)

# Tilts that people set (common practice, no source).
TILTS_DEG = (10.0, 15.0, 20.0)


@dataclass(frozen=True)
class TiltAdvice:
    """Tilt that keeps a ball off its tip, and what it changes where the zone slopes least.

    Attributes
    ----------
    tilt_deg : float
        0 where none is needed.
    contact_diameter_before_mm, contact_diameter_after_mm : float
        Without and with that tilt, whether the machine can set it or not.
    allowed : bool
        False where the machine cannot tilt that far, or the cut is so deep that no tilt will do.
    """

    tilt_deg: float
    contact_diameter_before_mm: float
    contact_diameter_after_mm: float
    allowed: bool


def tilt_for_contact_deg(wanted_contact_diameter_mm: Numbers, diameter_mm: Numbers, slope_deg: Numbers = 0.0) -> Values:
    """Smallest tilt with which a ball touches a slope on a wanted diameter or more: asin(wanted / D) - slope.

    Parameters
    ----------
    wanted_contact_diameter_mm : float or array, mm
        0 to the diameter.
    diameter_mm : float or array, mm, above 0
    slope_deg : float or array, 0 to 180

    Returns
    -------
    float64 or array, degrees
        0 where the slope alone is enough.

    Raises
    ------
    ValueError
        An argument out of its range.

    Notes
    -----
    Inverse of :func:`advisor.cutter.contact.contact_diameter_mm`.

    Examples
    --------
    >>> print(round(tilt_for_contact_deg(2.2053, 12.7), 2), tilt_for_contact_deg(2.2053, 12.7, 30.0))
    10.0 0.0
    """
    wanted = not_negative(wanted_contact_diameter_mm, "wanted contact diameter")
    share = np.asarray(wanted / positive(diameter_mm, "diameter"))
    if (share > 1.0).any():
        raise ValueError("wanted contact diameter must not be more than the diameter")
    slope = angle_between(slope_deg, FLOOR_DEG, DOWNWARD_DEG, "slope")
    return plain(np.asarray(np.maximum(np.rad2deg(np.arcsin(share)) - slope, 0.0)))


def advise_tilt(slope_deg: float, diameter_mm: float, depth_mm: float, max_tilt_deg: float) -> TiltAdvice:
    """Tilt for a zone, from the least slope in it: 10, 15 or 20 degrees where that will do, else the exact one.

    Enough is what keeps the tip out of the cut, slope + tilt of acos(1 - 2 depth / D), and the contact on at least
    ``TIP_DIAMETER_SHARE`` of the diameter.

    Parameters
    ----------
    slope_deg : float, 0 to 180
        Least slope of the zone.
    diameter_mm : float, mm, above 0
        Of the ball.
    depth_mm : float, mm
        Of the cut, square to the surface; 0 or more. From the ball radius down the tip is in the cut at any tilt.
    max_tilt_deg : float, 0 or more
        What the machine can do; 0 with three axes.

    Raises
    ------
    ValueError
        An argument out of its range.

    Examples
    --------
    >>> advice = advise_tilt(0.0, 12.7, 0.1, max_tilt_deg=20.0)
    >>> advice.tilt_deg, round(advice.contact_diameter_after_mm, 4), advice.allowed
    (15.0, 3.287, True)
    """
    diameter = positive(diameter_mm, "diameter")
    depth = not_negative(depth_mm, "depth")
    not_negative(max_tilt_deg, "largest tilt of the machine")
    slope = angle_between(slope_deg, FLOOR_DEG, DOWNWARD_DEG, "slope")
    for_contact = tilt_for_contact_deg(TIP_DIAMETER_SHARE * diameter, diameter, slope)
    for_tip = tip_clear_tilt_deg(np.minimum(depth, diameter / 2), diameter) - slope
    tilt = _common_tilt_deg(max(float(for_contact), float(for_tip)))
    return TiltAdvice(
        tilt_deg=tilt,
        contact_diameter_before_mm=float(contact_diameter_mm(diameter, slope)),
        contact_diameter_after_mm=float(contact_diameter_mm(diameter, slope, min(tilt, WALL_DEG))),
        allowed=bool(tilt <= max_tilt_deg and depth < diameter / 2),
    )


def _common_tilt_deg(least_deg: float) -> float:
    if least_deg <= 0.0:
        return 0.0
    return next((tilt for tilt in TILTS_DEG if tilt >= least_deg), least_deg)
