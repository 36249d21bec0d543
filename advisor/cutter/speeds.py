"""Spindle speed, feed, and the cutting speed that is really there: the shop sums, metric.

Numbers or arrays in, the broadcast shape out, as everywhere in this folder.
"""

from __future__ import annotations

import numpy as np

from advisor.cutter.checks import Numbers, Values, not_negative, plain, positive

MM_PER_M = 1000.0


def spindle_rpm(surface_speed_m_per_min: Numbers, diameter_mm: Numbers) -> Values:
    """Spindle speed at which a diameter runs with a surface speed: ``n = 1000 v / (pi d)``, rev/min.

    Textbook definition (Machinery's Handbook, "Speeds and feeds"; from memory).

    >>> round(float(spindle_rpm(200.0, 10.0)), 3)
    6366.198
    """
    speed = not_negative(surface_speed_m_per_min, "surface speed")
    return plain(MM_PER_M * speed / (np.pi * positive(diameter_mm, "diameter")))


def surface_speed_m_per_min(spindle_speed_rpm: Numbers, diameter_mm: Numbers) -> Values:
    """Speed of a point on a diameter: ``v = pi d n / 1000``, m/min. Zero at the tip of a ball, whatever the spindle.

    >>> round(float(surface_speed_m_per_min(4774.65, 2.8)), 1)
    42.0
    """
    diameter = not_negative(diameter_mm, "diameter")
    return plain(np.pi * diameter * not_negative(spindle_speed_rpm, "spindle speed") / MM_PER_M)


def feed_mm_per_min(spindle_speed_rpm: Numbers, flutes: Numbers, feed_per_tooth_mm: Numbers) -> Values:
    """Table feed of a cutter: ``vf = n z fz``, mm/min.

    >>> float(feed_mm_per_min(6000.0, 2, 0.08))
    960.0
    """
    rpm = not_negative(spindle_speed_rpm, "spindle speed")
    return plain(rpm * positive(flutes, "number of flutes") * not_negative(feed_per_tooth_mm, "feed per tooth"))
