"""How far a cutter bends: a cantilever of stacked cylinders and cones, held at the top and pushed at the tip.

The spindle, the holder and the clamping give as well, often as much as the tool does (common practice, no
source): what is worked out here is the tool's own share.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from advisor.cutter.checks import Numbers, Values, angle_between, not_negative, plain, positive
from advisor.job import Tool
from advisor.units import UM_PER_MM

# A fluted length bends like a plain bar of this share of its diameter (common practice, no source).
FLUTE_CORE_SHARE = 0.8
# Flutes of a ball cutter, in diameters, where the job does not say (common practice, no source).
FLUTE_LENGTH_OF_DIAMETER = 2.0
# Stick-out in diameters from which bending shows in the work (common practice, no source).
STICK_OUT_LIMIT = 4.0


@dataclass(frozen=True)
class Section:
    """A cylinder, or a cone where the top differs, mm; the top is the end nearer to the holder."""

    length_mm: float
    diameter_mm: float
    top_diameter_mm: float | None = None


def compliance_mm_per_n(sections: Sequence[Section], modulus_n_per_mm2: float) -> float:
    """How far the tip gives sideways for each newton that pushes it there, mm/N. Exact for slender bars.

    The sum over the sections of the integral of x^2 / (E I) with I = pi d^4 / 64, x from the tip. For a section
    from x1 to x2 whose diameter runs from d1 to d2, with p = x1 / d1 and q = x2 / d2::

        64 (x2 - x1) (p^2 + p q + q^2) / (3 pi E d1 d2)

    which for a cylinder is (x2^3 - x1^3) / (3 E I). Shear is left out: below 3 % from a length of 4 diameters on.

    Parameters
    ----------
    sections : sequence of Section
        From the tip up to the holder; none: a rigid tool, 0.
    modulus_n_per_mm2 : float, above 0
        Young's modulus; about 600 000 for cemented carbide.

    Raises
    ------
    ValueError
        A length, diameter or modulus that is not above zero.

    Notes
    -----
    Textbook beam (F L^3 / 3 E I). The cone: derived here with w = t d2 / d(t), t from 0 to 1 along the section,
    for which x / d runs straight from p to q and dw = d1 d2 / d^2 dt.

    Examples
    --------
    >>> print(round(20 * 1000 * compliance_mm_per_n([Section(40, 6)], 600_000), 3))
    11.178
    """
    modulus = float(positive(modulus_n_per_mm2, "modulus"))
    total, lower = 0.0, 0.0
    for section in sections:
        length = float(positive(section.length_mm, "length of a section"))
        bottom = float(positive(section.diameter_mm, "diameter of a section"))
        top = bottom if section.top_diameter_mm is None else float(positive(section.top_diameter_mm, "top diameter"))
        upper = lower + length
        p, q = lower / bottom, upper / top
        total += length * (p * p + p * q + q * q) / (bottom * top)
        lower = upper
    return 64.0 * total / (3.0 * math.pi * modulus)


def sections_of_tool(tool: Tool, stick_out_mm: float) -> tuple[Section, ...]:
    """The bar that stands for a cutter, from the tip up: fluted length, neck, shank, as far as they stick out.

    The fluted length counts with ``FLUTE_CORE_SHARE`` of the diameter, down to the tip. Where the job does not
    say: flutes of ``FLUTE_LENGTH_OF_DIAMETER`` diameters, no neck, neck and shank as thick as the cutter, and a
    neck without a length goes up to the holder.

    Raises
    ------
    ValueError
        A stick-out that is not above zero.

    >>> from advisor.job import Tool
    >>> for section in sections_of_tool(Tool(diameter=6, flute_length=9, neck_length=11, neck_diameter=5.6), 30):
    ...     print(round(section.length_mm, 3), round(section.diameter_mm, 3))
    9.0 4.8
    11.0 5.6
    10.0 6.0
    """
    left = float(positive(stick_out_mm, "stick-out"))
    flutes = FLUTE_LENGTH_OF_DIAMETER * tool.diameter if tool.flute_length is None else tool.flute_length
    no_neck = 0.0 if tool.neck_diameter is None else math.inf
    stack = (
        (flutes, FLUTE_CORE_SHARE * tool.diameter),
        (no_neck if tool.neck_length is None else tool.neck_length, tool.neck_diameter or tool.diameter),
        (math.inf, tool.shank_diameter or tool.diameter),
    )
    sections: list[Section] = []
    for length, diameter in stack:
        out = min(length, left)
        if out > 0.0:
            sections.append(Section(out, diameter))
        left -= out
    return tuple(sections)


def tool_compliance_mm_per_n(tool: Tool) -> float | None:
    """Compliance of a tool of the job at its stick-out, mm/N; ``None`` where the job does not give one.

    >>> from advisor.job import Tool
    >>> tool_compliance_mm_per_n(Tool(diameter=6)) is None
    True
    """
    if tool.stick_out is None:
        return None
    return compliance_mm_per_n(sections_of_tool(tool, tool.stick_out), tool.modulus)


def slenderness(tool: Tool) -> float | None:
    """Stick-out over diameter: see ``STICK_OUT_LIMIT``; ``None`` where the job does not give a stick-out.

    >>> from advisor.job import Tool
    >>> slenderness(Tool(diameter=6, stick_out=30))
    5.0
    """
    return None if tool.stick_out is None else tool.stick_out / tool.diameter


def deflection_normal_um(force_n: Numbers, compliance_mm_per_n: Numbers, slope_deg: Numbers) -> Values:
    """How far a cutter gives way square to the surface under a force square to the surface: F C sin(slope)^2, um.

    At a slope F has the share sin(slope) across the tool; the tip moves F C sin(slope) that way, of which again
    sin(slope) is square to the surface: all of it on a wall, nothing on a floor. Along its axis the tool is
    taken as rigid: it is some hundred times stiffer that way.

    Parameters
    ----------
    force_n : float or array, N, 0 or more
        The cutting force in full is an upper estimate: its share square to the surface is smaller.
    compliance_mm_per_n : float or array, mm/N, 0 or more
        Of :func:`compliance_mm_per_n`.
    slope_deg : float or array, 0 to 180
        Between surface normal and tool axis.

    Raises
    ------
    ValueError
        An argument out of its range.

    Notes
    -----
    Derived here.

    Examples
    --------
    >>> print(round(deflection_normal_um(20.0, 0.0005589, 90.0), 3), round(deflection_normal_um(20.0, 0.001, 30.0), 3))
    11.178 5.0
    """
    force = not_negative(force_n, "force")
    compliance = not_negative(compliance_mm_per_n, "compliance")
    sine = np.sin(np.deg2rad(angle_between(slope_deg, 0.0, 180.0, "slope")))
    return plain(np.asarray(UM_PER_MM * force * compliance * sine**2))
