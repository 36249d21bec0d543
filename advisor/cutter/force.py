"""Cutting force of one tooth, from the specific force of the metal (O. Kienzle 1952).

An upper estimate, fit to say whether a tool bends too much; no more than that: tables of kc1.1 differ by a
third between makers, and a worn edge doubles the force (common practice, no source).

Lengths are mm, forces N; numbers or arrays in, the broadcast shape out; NaN means no such answer.
"""

from __future__ import annotations

import numpy as np

from advisor.cutter.checks import Numbers, Values, below, not_negative, plain, positive
from advisor.cutter.contact import effective_diameter_mm, tip_clear_tilt_deg


def specific_force_n(
    chip_width_mm: Numbers, chip_thickness_mm: Numbers, kc11_n_per_mm2: Numbers, mc: Numbers
) -> Values:
    """Cutting force on an edge: F = kc1.1 b h^(1 - mc), in N.

    Parameters
    ----------
    chip_width_mm, chip_thickness_mm : float or array, mm, 0 or more
        b along the edge, h square to it, of the chip before it is cut.
    kc11_n_per_mm2 : float or array, N/mm2, above 0
        Force on a chip 1 mm wide and 1 mm thick.
    mc : float or array, 0 or more and below 1
        How much thin chips cost more than thick ones; 0.2 to 0.3 for most metals.

    Raises
    ------
    ValueError
        An argument out of its range.

    Notes
    -----
    O. Kienzle, "Die Bestimmung von Kraeften und Leistungen an spanenden Werkzeugen und Werkzeugmaschinen",
    VDI-Z 94, 1952 (from memory). Measured for chips from about 0.05 mm up: thinner ones cost more.

    Examples
    --------
    >>> print(specific_force_n(2.0, 1.0, 1500.0, 0.25), round(specific_force_n(2.0, 0.1, 1500.0, 0.25), 2))
    3000.0 533.48
    """
    exponent = not_negative(mc, "mc")
    below(exponent, np.ones(()), "mc", "one")
    width = not_negative(chip_width_mm, "chip width")
    thickness = not_negative(chip_thickness_mm, "chip thickness")
    return plain(np.asarray(positive(kc11_n_per_mm2, "kc1.1") * width * thickness ** (1.0 - exponent)))


def _thickest_chip_mm(feed_per_tooth: Values, effective: Values, stepover: Values, radius: Values) -> Values:
    # the furthest that the uncut rim of the cap reaches ahead of the contact is sqrt(s (De - s)), or De/2 from a
    # stepover of De/2 on; there the ball faces the feed with the sine of that over R
    across = np.minimum(stepover, 0.5 * effective)
    return np.asarray(feed_per_tooth * np.sqrt(across * (effective - across)) / radius)


def _longest_edge_mm(depth: Values, effective: Values, stepover: Values, radius: Values) -> Values:
    across = np.minimum(stepover, effective)
    rim = np.deg2rad(tip_clear_tilt_deg(depth, 2.0 * radius))
    return np.asarray(radius * (rim + np.arcsin(0.5 * across / radius)))


def ball_finishing_force_n(
    feed_per_tooth_mm: Numbers,
    depth_mm: Numbers,
    stepover_mm: Numbers,
    ball_radius_mm: Numbers,
    kc11_n_per_mm2: Numbers,
    mc: Numbers,
) -> Values:
    """Upper estimate of the peak force on one tooth of a ball that takes a thin layer off, in N.

    The ball touches the new surface; what it cuts is the cap of it up to the depth, ahead of the contact and
    beside the groove of the pass before. With De = 2 sqrt(depth (2 R - depth)) the rim of that cap::

        h = fz (De / 2R) sin(phi),  cos(phi) = 1 - 2 s / De,  sin(phi) = 1 from s = De/2 on
        b = R (acos(1 - depth / R) + asin(s / 2R)),  s no more than De
        F = kc1.1 b h^(1 - mc)

    h is the thickest chip: a point of the ball takes fz times the cosine between its normal and the feed, most
    where the rim meets that groove. It is also the feed with axial and radial thinning, the latter on De. b is
    the longest edge in the cut: the arc across the feed from the cusp to the rim.

    Parameters
    ----------
    feed_per_tooth_mm : float or array, mm, 0 or more
    depth_mm : float or array, mm, 0 or more
        Of the layer, square to the surface: the stock left by the stage before, with its cusps.
    stepover_mm : float or array, mm, 0 or more
        Along the surface.
    ball_radius_mm : float or array, mm, above 0
    kc11_n_per_mm2, mc : float or array
        As in :func:`specific_force_n`.

    Returns
    -------
    float64 or array, N
        NaN for a layer thicker than the ball radius, which is no finishing.

    Raises
    ------
    ValueError
        An argument out of its range.

    Notes
    -----
    Derived here; holds at any slope and tilt, for both limits hang on the layer alone. Assumed: a surface flat
    over the cap, one tooth in the cut at a time, no run-out, an edge without helix. No edge has h all along b:
    chips added up along every edge there can be come to 0.5 to 0.65 of this.

    Examples
    --------
    >>> print(round(ball_finishing_force_n(0.05, 0.1, 0.4, 3.0, 1500.0, 0.25), 2))
    50.57
    """
    feed = not_negative(feed_per_tooth_mm, "feed per tooth")
    stepover = not_negative(stepover_mm, "stepover")
    radius = positive(ball_radius_mm, "ball radius")
    depth = not_negative(depth_mm, "depth")
    effective = effective_diameter_mm(depth, 2.0 * radius)
    thickness = _thickest_chip_mm(feed, effective, stepover, radius)
    width = _longest_edge_mm(depth, effective, stepover, radius)
    return specific_force_n(width, thickness, kc11_n_per_mm2, mc)
