"""Ideal roughness across the passes of a ball: a profile of equal circular arcs, cusp to cusp.

Ideal geometry is a lower bound: tool, machine and metal add to it. On a curved surface give
:func:`advisor.cutter.contact.effective_radius_mm` for the ball radius (small steps).

Lengths are mm, roughness um; numbers or arrays in, the broadcast shape out; NaN means no such answer.
"""

from __future__ import annotations

import numpy as np

from advisor.cutter.checks import Numbers, Values, not_negative, plain, positive
from advisor.cutter.contact import cusp_height_mm
from advisor.units import UM_PER_MM

# Ra of shallow arcs is s^2 / (18 sqrt(3) R)
SHALLOW_ARC_RA = 18.0 * np.sqrt(3.0)

# n (n + 1) for the terms of x - sin(x) = x^3/6 (1 - x^2/(4 5) (1 - x^2/(6 7) (...))), last term first;
# enough of them for a relative error below 1e-16 up to a right angle
ODD_FACTORS = tuple(float(n * (n + 1)) for n in range(24, 2, -2))

# Newton from above on a convex function: doubles the right digits a step, and never overshoots
NEWTON_STEPS = 12


def _less_its_sine(angle: Values) -> Values:
    square = angle**2
    value = np.ones_like(angle)
    for factor in ODD_FACTORS:
        value = 1.0 - square / factor * value
    return np.asarray(angle * square / 6.0 * value)


def _area_under_arc(angle: Values) -> Values:
    """Area between a circle of radius 1 and its lowest tangent, from the contact to an angle (radians).

    sin(x) - x/2 - sin(2x)/4, written so that small angles keep their digits.
    """
    return np.asarray(np.sin(angle) * np.sin(0.5 * angle) ** 2 - 0.5 * _less_its_sine(angle))


def _mean_deviation(half_step: Values) -> tuple[Values, Values]:
    """Ra of arcs of radius 1, and its growth with half the step (above 0 and up to 1).

    With b half the step, z(x) = 1 - sqrt(1 - x^2) the profile and A(x) its area from 0 to x: mean line
    m = A(b) / b; the profile crosses it at c = sqrt(m (2 - m)); as much lies above the line as below, so
    Ra = 2 (m c - A(c)) / b, and since z(c) = m, dRa/db = (2 c (z(b) - m) / b - Ra) / b.
    """
    angle = np.arcsin(half_step)
    mean = _area_under_arc(angle) / half_step
    crossing = 2.0 * np.arcsin(np.sqrt(0.5 * mean))
    width = np.sin(crossing)
    deviation = 2.0 * (mean * width - _area_under_arc(crossing)) / half_step
    rise = 2.0 * np.sin(0.5 * angle) ** 2
    growth = (2.0 * width * (rise - mean) / half_step - deviation) / half_step
    return np.asarray(deviation), np.asarray(growth)


def rz_um(stepover_mm: Numbers, ball_radius_mm: Numbers) -> Values:
    """Total height Rz = Rt of the ideal profile: the cusp height, R - sqrt(R^2 - s^2/4), in um. Exact.

    About s^2 / (8 R). Arguments, errors and NaN as in :func:`advisor.cutter.contact.cusp_height_mm`.

    >>> print(round(rz_um(0.5, 5.0), 6))
    6.253911
    """
    return plain(np.asarray(UM_PER_MM * cusp_height_mm(stepover_mm, ball_radius_mm)))


def ra_um(stepover_mm: Numbers, ball_radius_mm: Numbers) -> Values:
    """Arithmetic mean deviation Ra of the ideal profile, in um. Exact.

    With b = s/2, z(x) = R - sqrt(R^2 - x^2) and A(x) = R x - (x sqrt(R^2 - x^2) + R^2 asin(x/R)) / 2::

        m = A(b) / b,  c = sqrt(m (2 R - m)),  Ra = 2 (m c - A(c)) / b

    About s^2 / (18 sqrt(3) R).

    Parameters
    ----------
    stepover_mm : float or array, mm, 0 or more
    ball_radius_mm : float or array, mm, above 0

    Returns
    -------
    float64 or array, um
        NaN for a stepover of the ball diameter or more.

    Raises
    ------
    ValueError
        An argument out of its range.

    Notes
    -----
    Derived here, checked against numerical quadrature. The shallow form is textbook (M. C. Shaw, *Metal
    Cutting Principles*, from memory).

    Examples
    --------
    >>> print(round(ra_um(0.5, 5.0), 6), ra_um(10.0, 5.0))
    1.604553 nan
    """
    radius = positive(ball_radius_mm, "ball radius")
    half_step = np.asarray(0.5 * not_negative(stepover_mm, "stepover") / radius)
    cut = (half_step > 0.0) & (half_step < 1.0)
    deviation, _ = _mean_deviation(np.where(cut, half_step, 1.0))
    deviation = np.where(cut, deviation, np.where(half_step == 0.0, 0.0, np.nan))
    return plain(np.asarray(UM_PER_MM * radius * deviation))


def stepover_for_ra_mm(ra_um: Numbers, ball_radius_mm: Numbers) -> Values:
    """Stepover that leaves an ideal profile of a given Ra: inverse of :func:`ra_um`. Exact.

    Newton's method from the shallow form, s = sqrt(18 sqrt(3) R Ra).

    ``ra_um`` um, 0 or more; ``ball_radius_mm`` mm, above 0; raises ``ValueError`` elsewhere. NaN where no
    overlap of balls leaves so high a Ra.

    Derived here, checked by putting the answer back.

    >>> print(round(stepover_for_ra_mm(1.604553, 5.0), 6))
    0.5
    """
    radius = positive(ball_radius_mm, "ball radius")
    target = np.asarray(not_negative(ra_um, "Ra") / (UM_PER_MM * radius))
    highest, _ = _mean_deviation(np.ones(()))
    wanted = np.where((target > 0.0) & (target < highest), target, highest)
    half_step = np.minimum(0.5 * np.sqrt(SHALLOW_ARC_RA * wanted), 1.0)
    for _ in range(NEWTON_STEPS):
        deviation, growth = _mean_deviation(half_step)
        half_step = np.clip(half_step - (deviation - wanted) / growth, 0.5 * half_step, 1.0)
    step = np.where(target < highest, 2.0 * radius * half_step, np.nan)
    return plain(np.where(target == 0.0, 0.0, step))
