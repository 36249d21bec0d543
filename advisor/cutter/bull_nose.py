"""Where a bull-nose cutter touches a surface, and what it leaves between neighbouring passes.

The corner of the cutter is a torus: tool radius Rt, corner radius r, and a = Rt - r from the axis to the
centre of the corner. Tool axis upright; slope 0 floor to 90 wall, NaN above (an upright cutter does not touch
there). Feed angle is that between the feed and the contour (the level line), measured on the surface: 0
constant-Z, 90 up or down the slope. Unlike a ball's, the cusp hangs on both.

Lengths are mm, angles degrees; numbers or arrays in, the broadcast shape out; NaN means no such answer.
"""

from __future__ import annotations

import numpy as np

from advisor.cutter.checks import Numbers, Values, angle_between, below, not_negative, plain, positive
from advisor.cutter.circles import cusp_between_circles_mm, step_between_circles_mm

FLOOR_DEG = 0.0
WALL_DEG = 90.0
DOWNWARD_DEG = 180.0


def _radii_mm(tool_radius_mm: Numbers, corner_radius_mm: Numbers) -> tuple[Values, Values]:
    tool = positive(tool_radius_mm, "tool radius")
    corner = positive(corner_radius_mm, "corner radius")
    if (corner > tool).any():
        raise ValueError("corner radius must not be more than the tool radius")
    return tool, corner


def bull_nose_effective_diameter_mm(depth_mm: Numbers, tool_radius_mm: Numbers, corner_radius_mm: Numbers) -> Values:
    """Largest diameter that cuts on a level floor, for a cut of some depth, axis upright.

    2 a + 2 sqrt(depth (2 r - depth)); 2 Rt for a cut deeper than the corner radius.

    ``depth_mm`` 0 or more, ``tool_radius_mm`` above 0, ``corner_radius_mm`` above 0 and up to the tool
    radius; raises ``ValueError`` elsewhere. Derived here.

    >>> print(round(bull_nose_effective_diameter_mm(0.5, 5.0, 1.0), 6))
    9.732051
    """
    tool, corner = _radii_mm(tool_radius_mm, corner_radius_mm)
    depth = np.minimum(not_negative(depth_mm, "depth"), corner)
    return plain(np.asarray(2.0 * (tool - corner + np.sqrt(depth * (2.0 * corner - depth)))))


def cross_feed_curvature_per_mm(
    slope_deg: Numbers, feed_angle_deg: Numbers, tool_radius_mm: Numbers, corner_radius_mm: Numbers
) -> Values:
    """Curvature across the feed of the groove that the moving cutter leaves, in 1/mm: that of a ball's equal.

    1 / (r + a sin(feed)^2 / sin(slope)): the outline of the cutter seen along the feed, at the contact. Along
    the contour r, up the slope r + a / sin(slope), and in between the radii add up, not the curvatures: a
    plain section of the cutter across the feed (Euler's theorem on the torus) is sharper than the groove,
    because the circles before and behind the contact widen it.

    Parameters
    ----------
    slope_deg : float or array, 0 to 180
        On a floor the flat bottom makes the groove: the curvature is 0, whatever the feed angle.
    feed_angle_deg : float or array
        From the contour, on the surface; any angle.
    tool_radius_mm, corner_radius_mm : float or array, mm
        Above 0; the corner radius up to the tool radius (a ball: 1/r at every angle).

    Returns
    -------
    float64 or array, 1/mm
        NaN for slopes above 90.

    Raises
    ------
    ValueError
        An argument out of its range.

    Notes
    -----
    Derived here: the curvature of an outline is the Gauss curvature over the section curvature along the line
    of sight. Checked against the rolled outline. That tilted bull-nose paths are hard in closed form is the
    subject of T. Sekine and R. Kameya, *J. Europeen des Systemes Automatises* 54(3), 461-468, 2021 (an
    excerpt read).

    Examples
    --------
    >>> print(round(1.0 / cross_feed_curvature_per_mm(30.0, 90.0, 5.0, 1.0), 6))
    9.0
    >>> print(round(1.0 / cross_feed_curvature_per_mm(30.0, 60.0, 5.0, 1.0), 6))
    7.0
    """
    tool, corner = _radii_mm(tool_radius_mm, corner_radius_mm)
    slope = angle_between(slope_deg, FLOOR_DEG, DOWNWARD_DEG, "slope")
    sine = np.sin(np.deg2rad(np.where(slope <= WALL_DEG, slope, np.nan)))
    across = (tool - corner) * np.sin(np.deg2rad(np.asarray(feed_angle_deg, dtype=np.float64))) ** 2
    ball = tool == corner
    # a ball touches a floor at its tip, where the form below is 0 / 0
    share = np.where(ball, 1.0, sine)
    width = np.where(share > 0.0, share * corner + np.where(ball, 0.0, across), 1.0)
    return plain(np.where(np.isnan(sine + across), np.nan, share / width))


def bull_nose_floor_cusp_mm(stepover_mm: Numbers, tool_radius_mm: Numbers, corner_radius_mm: Numbers) -> Values:
    """Cusp height left on a level floor, axis upright. Exact.

    0 for a stepover up to 2 a, the width of the flat bottom; else r - sqrt(r^2 - ((s - 2 a) / 2)^2).

    ``stepover_mm`` 0 or more; radii as in :func:`cross_feed_curvature_per_mm`; raises ``ValueError``
    elsewhere. NaN for a stepover of the tool diameter or more. Derived here.

    >>> print(bull_nose_floor_cusp_mm(7.9, 5.0, 1.0), round(bull_nose_floor_cusp_mm(9.0, 5.0, 1.0), 7))
    0.0 0.1339746
    """
    tool, corner = _radii_mm(tool_radius_mm, corner_radius_mm)
    reach = np.maximum(0.5 * not_negative(stepover_mm, "stepover") - (tool - corner), 0.0)
    root = np.sqrt(np.maximum(corner - reach, 0.0) * (corner + reach))
    return plain(np.where(reach < corner, reach**2 / (corner + root), np.nan))


def bull_nose_floor_stepover_mm(cusp_mm: Numbers, tool_radius_mm: Numbers, corner_radius_mm: Numbers) -> Values:
    """Largest stepover on a level floor that leaves a cusp no higher: 2 a + 2 sqrt(h (2 r - h)).

    Inverse of :func:`bull_nose_floor_cusp_mm`. ``cusp_mm`` 0 or more and below the corner radius; radii as in
    :func:`cross_feed_curvature_per_mm`; raises ``ValueError`` elsewhere. Derived here.

    >>> print(round(bull_nose_floor_stepover_mm(0.1339746, 5.0, 1.0), 6))
    9.0
    """
    tool, corner = _radii_mm(tool_radius_mm, corner_radius_mm)
    cusp = not_negative(cusp_mm, "cusp height")
    below(cusp, corner, "cusp height", "the corner radius")
    return plain(np.asarray(2.0 * (tool - corner + np.sqrt(cusp * (2.0 * corner - cusp)))))


def bull_nose_cusp_mm(
    stepover_mm: Numbers,
    slope_deg: Numbers,
    feed_angle_deg: Numbers,
    tool_radius_mm: Numbers,
    corner_radius_mm: Numbers,
    *,
    surface_curvature_per_mm: Numbers = 0.0,
) -> Values:
    """Cusp height between two neighbouring passes on a surface, normal to it. Small steps.

    That of the ball of equal curvature across the feed, (s^2/8)(1/R_eff + k) for small steps; but not less
    than the corners alone leave at either side of the flat bottom, which are s - 2 a apart.

    Parameters
    ----------
    stepover_mm : float or array, mm, 0 or more
        Along the surface.
    slope_deg, feed_angle_deg, tool_radius_mm, corner_radius_mm : float or array
        As in :func:`cross_feed_curvature_per_mm`.
    surface_curvature_per_mm : float or array, 1/mm
        Across the feed, positive convex.

    Returns
    -------
    float64 or array, mm
        Exact for a ball, on a flat floor, and along the contour of a plane while asin(s / 2r) is at most the
        slope and at most 90 - slope. Elsewhere on a plane, for slopes from 3 degrees, corner radii up to half
        the tool radius and stepovers up to a fifth of it, at most 1 % below the exact height, and often above
        it (near the contour the flat bottom and the side cut more away than this form knows). Where a surface
        bends along a feed askew to the contour, that bend is left out.
        NaN where the circles do not overlap, the cutter cannot touch (a section as hollow as the groove or
        more, a slope above 90) or the cusp would reach the corner radius.

    Raises
    ------
    ValueError
        An argument out of its range.

    Notes
    -----
    Derived here; checked against the rolled outline of the cutter.

    Examples
    --------
    >>> print(round(bull_nose_cusp_mm(1.0, 30.0, 0.0, 5.0, 1.0), 7))
    0.1339746
    """
    step = not_negative(stepover_mm, "stepover")
    cutter = cross_feed_curvature_per_mm(slope_deg, feed_angle_deg, tool_radius_mm, corner_radius_mm)
    surface = np.asarray(surface_curvature_per_mm, dtype=np.float64)
    tool, corner = _radii_mm(tool_radius_mm, corner_radius_mm)
    groove = cusp_between_circles_mm(step, cutter, surface)
    past_flat = np.maximum(step - 2.0 * (tool - corner), 0.0)
    height = np.maximum(groove, cusp_between_circles_mm(past_flat, np.asarray(1.0 / corner), surface))
    return plain(np.where(height < corner, height, np.nan))


def bull_nose_stepover_mm(
    cusp_mm: Numbers,
    slope_deg: Numbers,
    feed_angle_deg: Numbers,
    tool_radius_mm: Numbers,
    corner_radius_mm: Numbers,
    *,
    surface_curvature_per_mm: Numbers = 0.0,
) -> Values:
    """Stepover along the surface that leaves a cusp: inverse of :func:`bull_nose_cusp_mm`, as exact as that.

    ``cusp_mm`` 0 or more and below the corner radius, the rest as there; raises ``ValueError`` elsewhere. NaN
    where no step leaves such a cusp.

    >>> print(round(bull_nose_stepover_mm(0.1339746, 30.0, 0.0, 5.0, 1.0), 6))
    1.0
    """
    tool, corner = _radii_mm(tool_radius_mm, corner_radius_mm)
    cusp = not_negative(cusp_mm, "cusp height")
    below(cusp, corner, "cusp height", "the corner radius")
    cutter = cross_feed_curvature_per_mm(slope_deg, feed_angle_deg, tool_radius_mm, corner_radius_mm)
    surface = np.asarray(surface_curvature_per_mm, dtype=np.float64)
    past_flat = step_between_circles_mm(cusp, np.asarray(1.0 / corner), surface)
    groove = step_between_circles_mm(cusp, cutter, surface)
    return plain(np.asarray(np.minimum(groove, 2.0 * (tool - corner) + past_flat)))
