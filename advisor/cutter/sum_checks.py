"""Arguments of the shop sums: plain numbers, checked one by one; faults name the argument and the remedy."""

from __future__ import annotations

import math

from advisor.cutter.contact import DOWNWARD_DEG, FLOOR_DEG
from advisor.errors import InputError


def exactly_one(given: dict[str, float | None]) -> tuple[str, float]:
    """Name and value of the one that was given; raises ``InputError`` for none and for several."""
    values = [(name, value) for name, value in given.items() if value is not None]
    if len(values) != 1:
        *others, last = given
        wanted = f"exactly one of {', '.join(others)} and {last} is needed"
        raise InputError(others[0], wanted, "give one of them, and no other")
    return values[0]


def above_zero(value: float, subject: str) -> float:
    """The value itself; raises ``InputError`` where it is not above zero and finite."""
    if not (value > 0.0 and math.isfinite(value)):
        raise InputError(subject, f"{value:g} is not above zero", "give a positive, finite value")
    return value


def check_angle(angle_deg: float, lowest_deg: float, highest_deg: float, subject: str) -> None:
    """Raise ``InputError`` for an angle outside its limits, which are allowed."""
    if not lowest_deg <= angle_deg <= highest_deg:
        raise InputError(
            subject, f"{angle_deg:g} deg is out of range", f"give {lowest_deg:g} to {highest_deg:g} degrees"
        )


def check_slope(slope_deg: float) -> None:
    """Raise ``InputError`` for a slope below 0 or above 180."""
    check_angle(slope_deg, FLOOR_DEG, DOWNWARD_DEG, "slope")


def ball_radius_of_mm(ball_mm: float) -> float:
    """Radius of a ball from its diameter, mm; raises ``InputError`` for one of no size."""
    return 0.5 * above_zero(ball_mm, "ball")


def check_fit(ball_radius_mm: float, surface_radius_mm: float) -> None:
    """Raise ``InputError`` where a ball cannot touch: a hollow as tight as the ball or tighter, a radius of 0."""
    if surface_radius_mm == 0.0 or math.isnan(surface_radius_mm):
        raise InputError("surface radius", "is that of a sharp edge", "give above or below 0, or none for a flat")
    if -ball_radius_mm <= surface_radius_mm < 0.0:
        raise InputError(
            "surface radius",
            "the ball does not fit a hollow of that radius",
            "use a ball whose radius is smaller than the hollow's",
        )
