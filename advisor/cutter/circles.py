"""A circle stepped along an arc: the section of every cusp, whatever cutter left it.

Curvatures (1/mm) rather than radii, so that flat is a plain 0; the surface's is positive where it is convex,
negative where it is concave. Arrays broadcast together; no checks, which are the callers'.
"""

from __future__ import annotations

import numpy as np

from advisor.cutter.checks import Numbers, Values


def cusp_between_circles_mm(stepover_mm: Numbers, tool_per_mm: Numbers, surface_per_mm: Numbers) -> Values:
    """Height left between two circles that touch one arc, from the curvatures (1/mm) of tool and surface.

    With t, k the curvatures of tool and surface, s the step along the arc and b = s k / 2 half the angle
    between the contacts (sinc x = sin x / x)::

        c = (t + k) (s/2)^2 sinc(b/2)^2
        h = c / (1 - c k / 2 + sqrt(1 - ((t + k) (s/2) sinc b)^2))

    which is R - sqrt(R^2 - s^2/4) for k = 0, and nowhere subtracts nearly equal numbers. NaN where the
    surface is as hollow as the tool or more, where the circles do not overlap, where the contacts are half
    a turn apart, and where the height would reach the tool radius.

    Derived here from the triangle of the arc's centre, the tool's centre and the top of the cusp; checked
    against rolled circles.
    """
    step, tool, surface = np.broadcast_arrays(stepover_mm, tool_per_mm, surface_per_mm)
    relative = tool + surface
    half_angle = 0.5 * step * surface
    half_chord_share = relative * 0.5 * step * np.sinc(half_angle / np.pi)
    rise_mm2 = 0.25 * (step * np.sinc(0.5 * half_angle / np.pi)) ** 2
    touches = (relative > 0.0) | (surface == 0.0)
    overlaps = (half_chord_share < 1.0) & (np.abs(half_angle) < 0.5 * np.pi)
    root = np.sqrt(np.maximum(1.0 - half_chord_share, 0.0) * (1.0 + half_chord_share.clip(min=0.0)))
    height = np.full(step.shape, np.nan)
    below_centres = 1.0 - 0.5 * relative * surface * rise_mm2 + root
    np.divide(relative * rise_mm2, below_centres, out=height, where=touches & overlaps)
    return np.where(height * tool < 1.0, height, np.nan)


def step_between_circles_mm(cusp_mm: Numbers, tool_per_mm: Numbers, surface_per_mm: Numbers) -> Values:
    """Inverse of :func:`cusp_between_circles_mm`: the step along the arc that leaves a height.

    With y = sqrt(h (2 - h t) / (4 (t + k) (1 + h k)))::

        s = 4 y asin(k y) / (k y)

    which is 2 sqrt(h (2R - h)) for k = 0. Infinite where both curvatures are 0. NaN as for the inverse, and
    where every step leaves less than the height asked for (a bowl that the ball all but fills).
    """
    height, tool, surface = np.broadcast_arrays(cusp_mm, tool_per_mm, surface_per_mm)
    relative = tool + surface
    square = np.where((relative == 0.0) & (surface == 0.0), np.inf, np.nan)
    sharpness = 4.0 * relative * (1.0 + height * surface)
    np.divide(height * (2.0 - height * tool), sharpness, out=square, where=sharpness > 0.0)
    overlaps = tool * height * (1.0 + 0.5 * height * surface) < 1.0
    length = np.sqrt(np.where(overlaps & (relative >= 0.0), square, np.nan))
    quarter_sine = np.multiply(surface, length, out=np.zeros(height.shape), where=surface != 0.0)
    within_half_turn = np.abs(quarter_sine) < np.sqrt(0.5)
    stretch = np.ones(height.shape)
    curved = within_half_turn & (quarter_sine != 0.0)
    np.divide(np.arcsin(np.where(curved, quarter_sine, 0.0)), quarter_sine, out=stretch, where=curved)
    return np.where(within_half_turn, 4.0 * length * stretch, np.nan)
