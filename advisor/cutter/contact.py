"""Where a ball-nose cutter touches a surface, and what it leaves between neighbouring passes.

Lengths are mm, angles degrees. Slope is the angle between surface normal and tool axis: 0 floor, 90 wall.
Stepover is measured along the surface, as an arc where the surface is curved; line spacing in plan, square
to the passes; Z-step along the tool axis. Surface radius is that of the section across the feed: positive
where the surface is convex, negative where it is concave, infinite where it is flat.

Every function takes numbers or arrays that broadcast together, and answers in the broadcast shape (a numpy
float64 for plain numbers). NaN means that there is no such answer; a NaN that comes in goes out again.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor.cutter.checks import Numbers, Values, angle_between, below, not_negative, plain, positive
from advisor.cutter.circles import cusp_between_circles_mm, step_between_circles_mm

# Contact below this share of the nominal diameter counts as cutting near the tip, where the metal is rubbed
# more than cut (common practice, no source).
TIP_DIAMETER_SHARE = 0.2

FLOOR_DEG = 0.0
WALL_DEG = 90.0
DOWNWARD_DEG = 180.0


def _curvature_per_mm(surface_radius_mm: Numbers) -> Values:
    radius = np.asarray(surface_radius_mm, dtype=np.float64)
    if (radius == 0.0).any():
        raise ValueError("surface radius must not be zero; a flat surface has an infinite one")
    return np.asarray(1.0 / radius)


def _angle_from_line_deg(angle_deg: Numbers) -> Values:
    # folded to 0..90, so that the sine is exactly 0 along the line and the cosine exactly 0 across it
    turned = np.remainder(np.asarray(angle_deg, dtype=np.float64), DOWNWARD_DEG)
    return np.asarray(np.minimum(turned, DOWNWARD_DEG - turned))


def _sine(angle_deg: Numbers) -> Values:
    return np.asarray(np.sin(np.deg2rad(_angle_from_line_deg(angle_deg))))


def _cosine_size(angle_deg: Numbers) -> Values:
    return np.asarray(np.sin(np.deg2rad(WALL_DEG - _angle_from_line_deg(angle_deg))))


def cusp_height_mm(stepover_mm: Numbers, ball_radius_mm: Numbers, surface_radius_mm: Numbers = np.inf) -> Values:
    """Height of the cusp between two neighbouring passes of a ball, normal to the surface. Exact.

    Flat: h = R - sqrt(R^2 - s^2/4). Curved, with a = s / rho the angle between the contacts::

        convex   h = (rho + R) cos(a/2) - sqrt(R^2 - (rho + R)^2 sin(a/2)^2) - rho
        concave  h = rho - (rho - R) cos(a/2) - sqrt(R^2 - (rho - R)^2 sin(a/2)^2)

    Parameters
    ----------
    stepover_mm : float or array, mm, 0 or more
        Along the surface, as an arc.
    ball_radius_mm : float or array, mm, above 0
    surface_radius_mm : float or array, mm
        Positive convex, negative concave, infinite flat; across the feed.

    Returns
    -------
    float64 or array, mm
        NaN where the balls do not overlap (flat: a stepover of the ball diameter or more), where the ball
        cannot touch (concave radius down to the ball radius or less), and where a pair of contacts is half
        a turn apart or the cusp would reach the ball radius.

    Raises
    ------
    ValueError
        A negative stepover, a ball radius of 0 or less, a surface radius of 0.

    Notes
    -----
    Flat form: textbook geometry (B. K. Choi and R. B. Jerard, *Sculptured Surface Machining*, 1998, from
    memory). Curved forms: derived here, checked against rolled circles.

    Examples
    --------
    >>> print(round(cusp_height_mm(0.5, 5.0), 8))
    0.00625391
    >>> print(round(cusp_height_mm(1.0, 5.0, -25.0), 8))
    0.02002341
    >>> print(cusp_height_mm(10.0, 5.0), cusp_height_mm(0.5, 5.0, -5.0))
    nan nan
    """
    step = not_negative(stepover_mm, "stepover")
    tool = np.asarray(1.0 / positive(ball_radius_mm, "ball radius"))
    return plain(cusp_between_circles_mm(step, tool, _curvature_per_mm(surface_radius_mm)))


def stepover_mm(cusp_mm: Numbers, ball_radius_mm: Numbers, surface_radius_mm: Numbers = np.inf) -> Values:
    """Stepover along the surface that leaves a cusp of the given height: inverse of :func:`cusp_height_mm`.

    Flat: s = 2 sqrt(2 R h - h^2). Curved, + convex and - concave, s = rho a with::

        cos(a/2) = ((rho +- R)^2 + (rho +- h)^2 - R^2) / (2 (rho +- R) (rho +- h))

    Parameters
    ----------
    cusp_mm : float or array, mm, 0 or more and below the ball radius
    ball_radius_mm : float or array, mm, above 0
    surface_radius_mm : float or array, mm
        Positive convex, negative concave, infinite flat; across the feed.

    Returns
    -------
    float64 or array, mm
        NaN where the ball cannot touch (concave radius down to the ball radius or less), where no overlap of
        balls leaves so high a cusp (a sharply convex surface), and where no step up to half a turn does (a
        bowl that the ball all but fills: any stepover will do).

    Raises
    ------
    ValueError
        A negative cusp, a cusp of the ball radius or more, a ball radius of 0 or less, a surface radius of 0.

    Notes
    -----
    Derived here, checked against rolled circles.

    Examples
    --------
    >>> print(round(stepover_mm(0.01, 5.0), 7))
    0.6321392
    >>> print(round(stepover_mm(0.01, 5.0, 25.0), 7), round(stepover_mm(0.01, 5.0, -25.0), 7))
    0.5769493 0.7069004
    """
    cusp = not_negative(cusp_mm, "cusp height")
    radius = positive(ball_radius_mm, "ball radius")
    below(cusp, radius, "cusp height", "the ball radius")
    surface = _curvature_per_mm(surface_radius_mm)
    return plain(step_between_circles_mm(cusp, np.asarray(1.0 / radius), surface))


def effective_radius_mm(ball_radius_mm: Numbers, surface_radius_mm: Numbers) -> Values:
    """Radius of the ball that leaves on a flat, for small steps, what this one leaves on a curved surface.

    1 / (1/R + 1/rho), rho positive convex, negative concave, infinite flat; mm. NaN where the ball cannot
    touch (concave radius down to the ball radius or less). Raises ``ValueError`` for a ball radius of 0 or
    less and a surface radius of 0.

    From h = (s^2/8)(1/R + 1/rho), the small-step form used by K. Suresh and D. C. H. Yang, 1994, and R. Lin
    and Y. Koren, 1996 (both from memory).

    >>> print(effective_radius_mm(5.0, 20.0), effective_radius_mm(5.0, -10.0), effective_radius_mm(5.0, -5.0))
    4.0 10.0 nan
    """
    tool = np.asarray(1.0 / positive(ball_radius_mm, "ball radius"))
    relative = tool + _curvature_per_mm(surface_radius_mm)
    return plain(np.divide(1.0, relative, out=np.full(relative.shape, np.nan), where=relative > 0.0))


def surface_spacing_mm(line_spacing_mm: Numbers, slope_deg: Numbers, azimuth_deg: Numbers = 0.0) -> Values:
    """Stepover along a plane of some slope between parallel lines that are equally spaced in plan.

    s = p / sqrt(1 - sin(slope)^2 cos(azimuth)^2)

    ``line_spacing_mm`` 0 or more; ``slope_deg`` 0 to 180; ``azimuth_deg`` any, the angle in plan between the
    direction of stepping and the uphill direction (0: the worst case). NaN for a wall stepped straight into:
    no line but one meets it. Raises ``ValueError`` for a negative spacing and a slope out of range.

    Derived here, checked against planes met by planes.

    >>> print(round(surface_spacing_mm(1.0, 45.0), 7), round(surface_spacing_mm(1.0, 45.0, 30.0), 7))
    1.4142136 1.2649111
    """
    spacing = not_negative(line_spacing_mm, "line spacing")
    foreshortened = _plan_share(slope_deg, azimuth_deg)
    spacing, foreshortened = np.broadcast_arrays(spacing, foreshortened)
    uncrossed = np.full(spacing.shape, np.nan)
    return plain(np.divide(spacing, foreshortened, out=uncrossed, where=foreshortened > 0.0))


def line_spacing_mm(stepover_mm: Numbers, slope_deg: Numbers, azimuth_deg: Numbers = 0.0) -> Values:
    """Line spacing in plan that gives a stepover along the surface: inverse of :func:`surface_spacing_mm`.

    p = s sqrt(1 - sin(slope)^2 cos(azimuth)^2); 0 for a wall stepped straight into. Arguments and errors as
    there, with ``stepover_mm`` 0 or more.

    >>> print(round(line_spacing_mm(0.6321392, 30.0), 7))
    0.5474486
    """
    return plain(np.asarray(not_negative(stepover_mm, "stepover") * _plan_share(slope_deg, azimuth_deg)))


def _plan_share(slope_deg: Numbers, azimuth_deg: Numbers) -> Values:
    slope = angle_between(slope_deg, FLOOR_DEG, DOWNWARD_DEG, "slope")
    return np.asarray(np.hypot(_cosine_size(slope), _sine(slope) * _sine(azimuth_deg)))


def surface_spacing_of_z_step_mm(z_step_mm: Numbers, slope_deg: Numbers) -> Values:
    """Stepover along a plane of some slope between constant-Z passes: s = dz / sin(slope).

    ``z_step_mm`` 0 or more, ``slope_deg`` 0 to 180. NaN on a level surface, which no second pass meets.
    Raises ``ValueError`` for a negative step and a slope out of range. Derived here.

    >>> print(round(surface_spacing_of_z_step_mm(0.1636097, 15.0), 6), surface_spacing_of_z_step_mm(0.1, 0.0))
    0.632139 nan
    """
    step = not_negative(z_step_mm, "Z-step")
    sine = _sine(angle_between(slope_deg, FLOOR_DEG, DOWNWARD_DEG, "slope"))
    step, sine = np.broadcast_arrays(step, sine)
    return plain(np.divide(step, sine, out=np.full(step.shape, np.nan), where=sine > 0.0))


def z_step_mm(stepover_mm: Numbers, slope_deg: Numbers) -> Values:
    """Z-step that gives a stepover along the surface: dz = s sin(slope); 0 on a level surface.

    Inverse of :func:`surface_spacing_of_z_step_mm`; ``stepover_mm`` 0 or more, the rest as there.

    >>> print(round(z_step_mm(0.6321392, 15.0), 7))
    0.1636097
    """
    sine = _sine(angle_between(slope_deg, FLOOR_DEG, DOWNWARD_DEG, "slope"))
    return plain(np.asarray(not_negative(stepover_mm, "stepover") * sine))


def contact_diameter_mm(
    diameter_mm: Numbers,
    slope_deg: Numbers,
    tilt_deg: Numbers = 0.0,
    corner_radius_mm: Numbers | None = None,
) -> Values:
    """Diameter of the circle on which the cutter touches the surface: what the true cutting speed hangs on.

    Ball: D sin(angle); bull-nose: 2 (a + r sin(angle)) with a = D/2 - r; angle between tool axis and surface
    normal = slope + tilt.

    Parameters
    ----------
    diameter_mm : float or array, mm, above 0
    slope_deg : float or array, 0 to 180
        From the axis that the passes were laid out for. Beyond 90 degrees from the tool axis the cutter
        touches with its side: the answer is the full diameter.
    tilt_deg : float or array, -90 to 90
        Of the tool axis, in the plane of slope, away from the surface normal. A negative tilt turns the axis
        towards the normal; past the normal the contact comes out on the other side of the tip.
    corner_radius_mm : float or array, mm, or None
        0 to D/2; None for a ball.

    Returns
    -------
    float64 or array, mm
        0 for a ball upright on a floor; for a bull-nose there, the rim of its flat bottom.

    Raises
    ------
    ValueError
        An argument out of its range.

    Notes
    -----
    Derived here from the section of the cutter through its axis.

    Examples
    --------
    >>> print(round(contact_diameter_mm(12.7, 15.0), 4), round(contact_diameter_mm(10.0, 0.0, 15.0), 6))
    3.287 2.58819
    >>> print(round(contact_diameter_mm(10.0, 30.0, corner_radius_mm=1.0), 6))
    9.0
    """
    diameter = positive(diameter_mm, "diameter")
    slope = angle_between(slope_deg, FLOOR_DEG, DOWNWARD_DEG, "slope")
    tilt = angle_between(tilt_deg, -WALL_DEG, WALL_DEG, "tilt")
    sine = _sine(np.minimum(np.abs(slope + tilt), WALL_DEG))
    if corner_radius_mm is None:
        return plain(np.asarray(diameter * sine))
    corner = not_negative(corner_radius_mm, "corner radius")
    if (corner > 0.5 * diameter).any():
        raise ValueError("corner radius must not be more than half the diameter")
    return plain(np.asarray(diameter - 2.0 * corner * (1.0 - sine)))


def _engagement_deg(depth_mm: Numbers, diameter: Values) -> Values:
    # angle at the ball centre from the tip to the top of the cut, acos(1 - 2 depth / D) in a form that is
    # exact for light cuts; NaN above the ball centre
    share = not_negative(depth_mm, "depth") / diameter
    return np.asarray(2.0 * np.rad2deg(np.arcsin(np.sqrt(np.where(share <= 0.5, share, np.nan)))))


def tip_clear_tilt_deg(depth_mm: Numbers, diameter_mm: Numbers) -> Values:
    """Tilt of a ball above which its tip stays out of a cut of some depth: acos(1 - 2 depth / D).

    ``depth_mm`` 0 or more, ``diameter_mm`` above 0. NaN for a cut deeper than the ball radius, which no tilt
    keeps off the tip. Raises ``ValueError`` for an argument out of range. Derived here.

    >>> print(round(tip_clear_tilt_deg(0.2, 10.0), 4))
    16.2602
    """
    return plain(_engagement_deg(depth_mm, positive(diameter_mm, "diameter")))


def effective_diameter_mm(depth_mm: Numbers, diameter_mm: Numbers, tilt_deg: Numbers = 0.0) -> Values:
    """Largest diameter of a ball that cuts, for a cut of some depth square to the surface.

    D sin(tilt + acos(1 - 2 depth / D)); for tilt 0, 2 sqrt(depth (D - depth)). D where the sum passes 90
    degrees, or the cut is deeper than the ball radius.

    ``depth_mm`` 0 or more, ``diameter_mm`` above 0, ``tilt_deg`` 0 to 90 (from the surface normal, the cut on
    the outer side of the contact). Raises ``ValueError`` for an argument out of range.

    Derived here; the untilted form is that of "Basic math for ballnose tools", Modern Machine Shop, November
    2003 (an excerpt read).

    >>> print(round(effective_diameter_mm(0.2, 10.0), 6), round(effective_diameter_mm(0.2, 10.0, 15.0), 6))
    2.8 5.189255
    """
    diameter = positive(diameter_mm, "diameter")
    tilt = angle_between(tilt_deg, 0.0, WALL_DEG, "tilt")
    depth = np.minimum(not_negative(depth_mm, "depth"), 0.5 * diameter)
    return plain(np.asarray(diameter * _sine(np.minimum(tilt + _engagement_deg(depth, diameter), WALL_DEG))))


def is_near_tip(contact_diameter_mm: Numbers, diameter_mm: Numbers) -> NDArray[np.bool_]:
    """True where the contact diameter is below ``TIP_DIAMETER_SHARE`` of the nominal one (False where NaN).

    >>> print(is_near_tip(1.9, 10.0), is_near_tip(2.0, 10.0))
    True False
    """
    contact = not_negative(contact_diameter_mm, "contact diameter")
    near: NDArray[np.bool_] = np.asarray(contact < TIP_DIAMETER_SHARE * positive(diameter_mm, "diameter"))[()]
    return near
