"""Arguments of the cutter sums: numbers or arrays in, checked, and the same shape out."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Numbers: TypeAlias = float | NDArray[np.float64]
Values: TypeAlias = NDArray[np.float64]


def positive(values: Numbers, what: str) -> Values:
    """``values`` as a float array; raises ``ValueError`` where one is not above zero, or is infinite."""
    array = np.asarray(values, dtype=np.float64)
    wrong = (array <= 0.0) | np.isinf(array)
    if wrong.any():
        raise ValueError(f"{what} must be above zero and finite, but {array[wrong][0]:g} was given")
    return array


def not_negative(values: Numbers, what: str) -> Values:
    """``values`` as a float array; raises ``ValueError`` where one is below zero, or is infinite."""
    array = np.asarray(values, dtype=np.float64)
    wrong = (array < 0.0) | np.isinf(array)
    if wrong.any():
        raise ValueError(f"{what} must be zero or more and finite, but {array[wrong][0]:g} was given")
    return array


def angle_between(values_deg: Numbers, lowest_deg: float, highest_deg: float, what: str) -> Values:
    """``values_deg`` as a float array; raises ``ValueError`` where one lies outside the two limits."""
    array = np.asarray(values_deg, dtype=np.float64)
    wrong = (array < lowest_deg) | (array > highest_deg)
    if wrong.any():
        limits = f"{lowest_deg:g} to {highest_deg:g} degrees"
        raise ValueError(f"{what} must lie within {limits}, but {array[wrong][0]:g} was given")
    return array


def below(values: Values, limits: Values, what: str, limit: str) -> None:
    """Raise ``ValueError`` where a value reaches its limit; the two broadcast together."""
    given, ends = np.broadcast_arrays(values, limits)
    wrong = given >= ends
    if wrong.any():
        first, end = given[wrong][0], ends[wrong][0]
        raise ValueError(f"{what} must stay below {limit} ({end:g}), but {first:g} was given")


def plain(values: Values) -> Values:
    """The array itself; a numpy float64, which behaves as an array of no dimensions, where it has none."""
    result: Values = values[()]
    return result
