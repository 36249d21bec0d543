"""How thick the chips of a lightly engaged ball are, the feed that makes up for it, and the marks along the feed.

A tooth that cuts with little of its round takes a chip thinner than the feed per tooth: less than the edge is
sharp, and it rubs. Radial width ae is the step to the neighbouring pass, depth that of the cut, square to the
surface. Ideal ball: no runout, no bending.

Lengths are mm unless a name says um; numbers or arrays in, the broadcast shape out.
"""

from __future__ import annotations

import numpy as np

from advisor.cutter.checks import Numbers, Values, not_negative, plain
from advisor.cutter.contact import effective_diameter_mm
from advisor.cutter.roughness import rz_um

# The most that a feed per tooth is raised to make up for thin chips (common practice, no source).
MOST_COMPENSATION = 2.5


def _width_share(ae_mm: Numbers, diameter_mm: Numbers) -> Values:
    """Radial width over diameter; more than the diameter is a slot, and so is a cut on no diameter at all."""
    width, diameter = not_negative(ae_mm, "radial width"), not_negative(diameter_mm, "diameter")
    width, diameter = np.broadcast_arrays(np.minimum(width, diameter), diameter)
    return np.divide(width, diameter, out=np.ones(width.shape), where=diameter != 0.0)


def _sine_of_engagement(share: Values) -> Values:
    # sin(acos(1 - 2x)) without the difference; past half the diameter the tooth has been at its thickest
    share = np.minimum(share, 0.5)
    return np.asarray(2.0 * np.sqrt(share * (1.0 - share)))


def axial_factor(depth_mm: Numbers, diameter_mm: Numbers) -> Values:
    """Thickest chip over feed per tooth, for a ball that cuts a full groove of some depth: sin(kappa) = De / D.

    1 from the ball radius down.

    ``depth_mm`` 0 or more, ``diameter_mm`` above 0; raises ``ValueError`` elsewhere. Derived here.

    >>> print(round(axial_factor(0.2, 10.0), 6))
    0.28
    """
    return plain(np.asarray(effective_diameter_mm(depth_mm, diameter_mm) / np.asarray(diameter_mm, dtype=np.float64)))


def thinning_factor(depth_mm: Numbers, ae_mm: Numbers, diameter_mm: Numbers) -> Values:
    """Thickest chip over feed per tooth, for a ball beside its last pass: sin(kappa) sin(phi). An estimate.

    Radial and axial factor together, with phi on the diameter De of the cut instead of D.

    Parameters
    ----------
    depth_mm : float or array, mm, 0 or more
        Of the cut, square to the surface.
    ae_mm : float or array, mm, 0 or more
        Step to the last pass, along the surface.
    diameter_mm : float or array, mm, above 0

    Returns
    -------
    float64 or array, 0 to 1
        The thickest spot of an ideal ball on a plane surface; the rest of the edge takes less, and runout, bending
        and flutes that end before the tip give more to some teeth.

    Raises
    ------
    ValueError
        An argument out of its range.

    Notes
    -----
    Derived here. A spot of the ball cuts the feed times the cosine between its normal and the feed; the form is the
    largest such cosine over the part of the ball that meets metal. A ball is round: slope and tilt do not count.

    Examples
    --------
    >>> print(round(thinning_factor(0.2, 0.4, 10.0), 7))
    0.1959592
    """
    groove_mm = effective_diameter_mm(depth_mm, diameter_mm)
    return plain(np.asarray(axial_factor(depth_mm, diameter_mm) * _sine_of_engagement(_width_share(ae_mm, groove_mm))))


def compensated_feed_per_tooth_mm(
    wanted_chip_mm: Numbers, factor: Numbers, most_times: float = MOST_COMPENSATION
) -> Values:
    """Feed per tooth whose thickest chip is the wanted one, h / factor, but at most `most_times` the wanted chip.

    The tool maker's own limit on the feed per tooth still stands above it.

    ``wanted_chip_mm`` 0 or more, ``factor`` 0 to 1 (of the functions above), ``most_times`` 1 or more; raises
    ``ValueError`` elsewhere.

    >>> print(round(compensated_feed_per_tooth_mm(0.05, thinning_factor(5.0, 1.0, 10.0)), 7))
    0.0833333
    >>> print(round(compensated_feed_per_tooth_mm(0.02, 0.1), 7))
    0.05
    """
    chip, share = not_negative(wanted_chip_mm, "wanted chip"), not_negative(factor, "thinning factor")
    if (share > 1.0).any():
        raise ValueError(f"thinning factor must not be more than 1, but {share.max():g} was given")
    if not most_times >= 1.0:
        raise ValueError(f"the most that a feed is raised must be 1 or more, but {most_times:g} was given")
    return plain(np.asarray(chip / np.maximum(share, 1.0 / most_times)))


def cusp_along_feed_um(feed_per_tooth_mm: Numbers, ball_radius_mm: Numbers) -> Values:
    """Height of the marks that teeth leave behind each other along the feed, um: about fz^2 / (8 R). Exact.

    With runout one tooth may leave them all: give the feed per revolution. Arguments, errors and NaN as in
    :func:`advisor.cutter.roughness.rz_um`. Textbook geometry.

    >>> print(round(cusp_along_feed_um(0.1, 5.0), 3), round(cusp_along_feed_um(0.2, 5.0), 3))
    0.25 1.0
    """
    return rz_um(not_negative(feed_per_tooth_mm, "feed per tooth"), ball_radius_mm)
