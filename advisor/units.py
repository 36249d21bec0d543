"""Units at the edge: what a person types becomes mm, degrees, um; nothing inside carries a unit object."""

from __future__ import annotations

import math
import re
from functools import cache
from typing import Any

from advisor.errors import InputError

MM_PER_UNIT = {"mm": 1.0, "inch": 25.4, "m": 1000.0}

_NUMBER = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")

# Spellings of the trade that need no library; all else goes to pint.
_LENGTHS_MM = {
    "mm": 1.0,
    "um": 1e-3,
    "uin": 2.54e-5,
    "µin": 2.54e-5,
    "µm": 1e-3,
    "μm": 1e-3,
    "cm": 10.0,
    "m": 1000.0,
    "in": 25.4,
    "inch": 25.4,
    '"': 25.4,
}
_AREAS_MM2 = {"mm2": 1.0, "mm^2": 1.0, "in2": 645.16, "in^2": 645.16}
_ANGLES_DEG = {"deg": 1.0, "°": 1.0, "degree": 1.0, "degrees": 1.0}
_SPEEDS_MM_PER_MIN = {"mm/min": 1.0, "m/min": 1000.0, "in/min": 25.4, "ft/min": 304.8}
_SURFACE_SPEEDS_M_PER_MIN = {"m/min": 1.0, "ft/min": 0.3048, "sfm": 0.3048, "m/s": 60.0}
_STRESSES_N_PER_MM2 = {"N/mm2": 1.0, "N/mm^2": 1.0, "MPa": 1.0, "GPa": 1000.0, "psi": 0.006894757293168}
_RPM = {"rpm": 1.0, "rev/min": 1.0}
_ACCELERATIONS_MM_PER_S2 = {"mm/s2": 1.0, "m/s2": 1000.0, "mm/s^2": 1.0, "m/s^2": 1000.0}


@cache
def _registry() -> Any:
    # pint needs half a second to load its definitions: only unusual spellings pay for it
    import pint

    registry: Any = pint.UnitRegistry(cache_folder=":auto:")
    registry.define("microinch = 1e-6 inch = uin = µin")
    return registry


def _to(value: float | str, known: dict[str, float], bare: float, target: str, what: str, example: str) -> float:
    """`value` as a number of `target` units; a bare number is multiplied by `bare`."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise ValueError(f"{what} must be a number or text such as {example!r}")
    if not isinstance(value, str):
        return _finite(float(value) * bare, value, what)
    match = _NUMBER.match(value)
    if not match:
        raise ValueError(f"{value!r} is not {what}; write for example {example!r}")
    number, unit = float(match[1]), match[2]
    if not unit:
        return _finite(number * bare, value, what)
    if unit in known:
        return _finite(number * known[unit], value, what)
    return _finite(_by_pint(number, unit, target, value, what, example), value, what)


def _by_pint(number: float, unit: str, target: str, value: str, what: str, example: str) -> float:
    import pint

    try:
        return float(_registry().Quantity(number, unit).to(target).magnitude)
    except (pint.PintError, AttributeError, ValueError, TypeError, AssertionError) as fault:
        raise ValueError(f"{value!r} is not {what}; write for example {example!r}") from fault


def _finite(number: float, value: float | str, what: str) -> float:
    if not math.isfinite(number):
        raise ValueError(f"{value!r} is not a finite {what}")
    return number


def length_mm(value: float | str, unit: str = "mm") -> float:
    """A length in mm; a bare number is in `unit` ("mm" or "inch").

    >>> length_mm("0.005 in"), length_mm(0.5, "inch"), length_mm("8 um")
    (0.127, 12.7, 0.008)
    """
    return _to(value, _LENGTHS_MM, MM_PER_UNIT[unit], "millimeter", "a length", "0.1 mm")


def area_mm2(value: float | str, unit: str = "mm") -> float:
    """An area in mm2; a bare number is in the square of `unit`."""
    return _to(value, _AREAS_MM2, MM_PER_UNIT[unit] ** 2, "millimeter**2", "an area", "4 mm2")


def angle_deg(value: float | str) -> float:
    """An angle in degrees; a bare number is in degrees."""
    return _to(value, _ANGLES_DEG, 1.0, "degree", "an angle", "15 deg")


def feed_mm_per_min(value: float | str, unit: str = "mm") -> float:
    """A feed in mm/min; a bare number is in `unit` per minute."""
    return _to(value, _SPEEDS_MM_PER_MIN, MM_PER_UNIT[unit], "millimeter/minute", "a feed", "10 m/min")


def surface_speed_m_per_min(value: float | str, unit: str = "mm") -> float:
    """A cutting speed in m/min; a bare number is in ft/min where the job's unit is inch, else in m/min."""
    bare = _SURFACE_SPEEDS_M_PER_MIN["ft/min"] if unit == "inch" else 1.0
    return _to(value, _SURFACE_SPEEDS_M_PER_MIN, bare, "meter/minute", "a cutting speed", "120 m/min")


def stress_n_per_mm2(value: float | str) -> float:
    """A stress, specific force or modulus in N/mm2; a bare number is in N/mm2."""
    return _to(value, _STRESSES_N_PER_MM2, 1.0, "newton/millimeter**2", "a stress", "1400 N/mm2")


def spindle_rpm(value: float | str) -> float:
    """A spindle speed in revolutions per minute."""
    return _to(value, _RPM, 1.0, "revolution/minute", "a spindle speed", "12000 rpm")


def acceleration_mm_per_s2(value: float | str) -> float:
    """An acceleration in mm/s2; a bare number is in m/s2, as machine builders state it."""
    return _to(value, _ACCELERATIONS_MM_PER_S2, 1000.0, "millimeter/second**2", "an acceleration", "3 m/s2")


def unit_name(value: str) -> str:
    """`mm` or `inch` from what a person may write; raises ``InputError`` for anything else."""
    spelled = {
        "m": "m",
        "metre": "m",
        "meter": "m",
        "mm": "mm",
        "millimetre": "mm",
        "millimeter": "mm",
        "in": "inch",
        "inch": "inch",
        "inches": "inch",
    }
    unit = spelled.get(str(value).strip().lower())
    if unit is None:
        raise InputError("unit", f"{value!r} is not a unit of part models here", "use mm, inch or m")
    return unit
