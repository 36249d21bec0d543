"""Units at the edge: what a person types becomes mm, degrees, um; nothing inside carries a unit object."""

from __future__ import annotations

import hashlib
import math
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tokenize import TokenError
from typing import Any

from advisor.errors import InputError

UM_PER_MM = 1000.0
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
_TIMES_S = {"s": 1.0, "min": 60.0, "h": 3600.0}
_MEMORIES_BYTES = {"MB": 1e6, "GB": 1e9, "MiB": 2.0**20, "GiB": 2.0**30}

# What a person can mean on any machine there is; beyond, a digit or a unit has slipped.
LONGEST_MM = 1e5  # 100 m
LARGEST_AREA_MM2 = LONGEST_MM**2
WIDEST_DEG = 360.0
FASTEST_FEED_MM_PER_MIN = 1e7  # 10 km/min
FASTEST_SURFACE_SPEED_M_PER_MIN = 1e5
LARGEST_STRESS_N_PER_MM2 = 1e7  # eight times the modulus of diamond
FASTEST_SPINDLE_RPM = 2e6
LARGEST_ACCELERATION_MM_PER_S2 = 1e6  # a hundred times that of gravity
LONGEST_TIME_S = 1e7  # some hundred days
LARGEST_MEMORY_BYTES = 1e15  # a thousand TB

# Names with signs between them, and small powers: what else a unit library would reckon with may take it for ever.
_PLAIN_UNIT = re.compile(r"(?:[^\W\d]|[°·\s*/()]|(?:\*\*|\^)\s*-?[1-4](?!\d|\s*(?:\*\*|\^)))+")
_LONGEST_UNIT_LETTERS = 40
_LONGEST_TOLD = 60


@dataclass(frozen=True)
class _Quantity:
    """What a person may type for one kind of value."""

    what: str
    target: str
    known: dict[str, float]
    most: float
    most_words: str
    example: str


_LENGTH = _Quantity("a length", "millimeter", _LENGTHS_MM, LONGEST_MM, "100 m", "0.1 mm")
_AREA = _Quantity("an area", "millimeter**2", _AREAS_MM2, LARGEST_AREA_MM2, "10000 m^2", "4 mm2")
_ANGLE = _Quantity("an angle", "degree", _ANGLES_DEG, WIDEST_DEG, "360 deg", "15 deg")
_FEED = _Quantity("a feed", "millimeter/minute", _SPEEDS_MM_PER_MIN, FASTEST_FEED_MM_PER_MIN, "10000 m/min", "10 m/min")
_SURFACE_SPEED = _Quantity(
    "a cutting speed", "meter/minute", _SURFACE_SPEEDS_M_PER_MIN, FASTEST_SURFACE_SPEED_M_PER_MIN, "100000 m/min",
    "120 m/min",
)  # fmt: skip
_STRESS = _Quantity(
    "a stress", "newton/millimeter**2", _STRESSES_N_PER_MM2, LARGEST_STRESS_N_PER_MM2, "10000 GPa", "1400 N/mm2"
)
_SPINDLE = _Quantity("a spindle speed", "revolution/minute", _RPM, FASTEST_SPINDLE_RPM, "2000000 rpm", "12000 rpm")
_ACCELERATION = _Quantity(
    "an acceleration", "millimeter/second**2", _ACCELERATIONS_MM_PER_S2, LARGEST_ACCELERATION_MM_PER_S2, "1000 m/s2",
    "3 m/s2",
)  # fmt: skip
_TIME = _Quantity("a time", "second", _TIMES_S, LONGEST_TIME_S, "100 days", "10 min")
_MEMORY = _Quantity("a size of memory", "byte", _MEMORIES_BYTES, LARGEST_MEMORY_BYTES, "1000 TB", "4 GB")


@cache
def _registry() -> Any:
    # pint needs half a second to load its definitions: only unusual spellings pay for it
    import pint
    import platformdirs

    # what is kept names files of the pint that it was read from: another one, or one that is gone, is not to be asked
    place = hashlib.sha256(str(Path(pint.__file__).resolve()).encode()).hexdigest()[:16]
    folder = Path(platformdirs.user_cache_dir("advisor")) / "units" / place
    try:
        registry: Any = pint.UnitRegistry(cache_folder=folder)
    except OSError:  # no room to keep anything
        registry = pint.UnitRegistry()
    registry.define("microinch = 1e-6 inch = uin = µin")
    return registry


def _to(value: float | str, quantity: _Quantity, bare: float = 1.0) -> float:
    """`value` as a number of the quantity's target units; a bare number is multiplied by `bare`."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise ValueError(f"{quantity.what} must be a number or text such as {quantity.example!r}")
    return _within(_number_of(value, quantity, bare), value, quantity)


def _number_of(value: float | str, quantity: _Quantity, bare: float) -> float:
    if not isinstance(value, str):
        try:
            return float(value) * bare
        except OverflowError:  # an integer of more digits than a float can hold
            return math.inf
    match = _NUMBER.match(value)
    if not match:
        raise _no_such(value, quantity)
    number, unit = float(match[1]), match[2]
    if not unit:
        return number * bare
    if unit in quantity.known:
        return number * quantity.known[unit]
    return _by_pint(number, unit, value, quantity)


def _by_pint(number: float, unit: str, value: str, quantity: _Quantity) -> float:
    import pint

    if len(unit) > _LONGEST_UNIT_LETTERS or not _PLAIN_UNIT.fullmatch(unit):
        raise _no_such(value, quantity)
    try:
        return float(_registry().Quantity(number, unit).to(quantity.target).magnitude)
    except OverflowError:
        return math.inf
    except (pint.PintError, TokenError, SyntaxError, AttributeError, ValueError, TypeError, AssertionError) as fault:
        raise _no_such(value, quantity) from fault


def _no_such(value: float | str, quantity: _Quantity) -> ValueError:
    return ValueError(f"{_short(value)} is not {quantity.what}; write for example {quantity.example!r}")


def _within(number: float, value: float | str, quantity: _Quantity) -> float:
    if math.isnan(number):
        raise _no_such(value, quantity)
    if abs(number) > quantity.most:
        raise ValueError(f"{_short(value)} is {quantity.what} beyond any machine; give {quantity.most_words} or less")
    return number


def _short(value: float | str) -> str:
    """The value as typed, cut where no screen could hold it."""
    try:
        words = repr(value)
    except ValueError:  # Python writes no integers of thousands of digits
        return "a number of so many digits"
    return words if len(words) <= _LONGEST_TOLD else f"{words[:_LONGEST_TOLD]}..."


def length_mm(value: float | str, unit: str = "mm") -> float:
    """A length in mm; a bare number is in `unit` ("mm" or "inch").

    >>> length_mm("0.005 in"), length_mm(0.5, "inch"), length_mm("8 um")
    (0.127, 12.7, 0.008)
    """
    return _to(value, _LENGTH, MM_PER_UNIT[unit])


def area_mm2(value: float | str, unit: str = "mm") -> float:
    """An area in mm2; a bare number is in the square of `unit`."""
    return _to(value, _AREA, MM_PER_UNIT[unit] ** 2)


def angle_deg(value: float | str) -> float:
    """An angle in degrees; a bare number is in degrees."""
    return _to(value, _ANGLE)


def feed_mm_per_min(value: float | str, unit: str = "mm") -> float:
    """A feed in mm/min; a bare number is in `unit` per minute."""
    return _to(value, _FEED, MM_PER_UNIT[unit])


def surface_speed_m_per_min(value: float | str, unit: str = "mm") -> float:
    """A cutting speed in m/min; a bare number is in ft/min where the job's unit is inch, else in m/min."""
    bare = _SURFACE_SPEEDS_M_PER_MIN["ft/min"] if unit == "inch" else 1.0
    return _to(value, _SURFACE_SPEED, bare)


def stress_n_per_mm2(value: float | str) -> float:
    """A stress, specific force or modulus in N/mm2; a bare number is in N/mm2."""
    return _to(value, _STRESS)


def spindle_rpm(value: float | str) -> float:
    """A spindle speed in revolutions per minute."""
    return _to(value, _SPINDLE)


def acceleration_mm_per_s2(value: float | str) -> float:
    """An acceleration in mm/s2; a bare number is in m/s2, as machine builders state it."""
    return _to(value, _ACCELERATION, 1000.0)


def time_s(value: float | str) -> float:
    """A time in seconds; a bare number is in minutes.

    >>> time_s("90 s"), time_s("2 h"), time_s(10)
    (90.0, 7200.0, 600.0)
    """
    return _to(value, _TIME, 60.0)


def memory_bytes(value: float | str) -> float:
    """A size of memory in bytes; a bare number is in GB.

    >>> memory_bytes("500 MB"), memory_bytes(4)
    (500000000.0, 4000000000.0)
    """
    return _to(value, _MEMORY, 1e9)


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
