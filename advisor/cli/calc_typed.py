"""What a person types after `advisor calc`: text with units becomes plain numbers, and faults name their option."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from advisor import units
from advisor.errors import InputError
from advisor.units import UM_PER_MM


def answer_unit(text: str) -> str:
    """`mm` or `inch`; raises ``InputError`` for any other ``--unit``."""
    try:
        unit = units.unit_name(text)
    except InputError:
        unit = "m"
    if unit == "m":
        raise InputError("--unit", f"{text!r} is no unit of these sums", "use mm or inch")
    return unit


@contextmanager
def faults_name_options() -> Iterator[None]:
    """Faults of the sums name an argument ("surface radius"): turn it into its option (``--surface-radius``)."""
    try:
        yield
    except InputError as fault:
        if fault.subject.startswith("--"):
            raise
        raise InputError(f"--{fault.subject.replace(' ', '-')}", fault.problem, fault.remedy) from fault


@dataclass(frozen=True)
class Typed:
    """Readers of typed values; a bare number is in ``unit``."""

    unit: str

    def length_mm(self, option: str, text: str) -> float:
        """A length."""
        return _read(option, text, lambda value: units.length_mm(value, self.unit))

    def length_or_none_mm(self, option: str, text: str | None) -> float | None:
        """A length, where it was given."""
        return None if text is None else self.length_mm(option, text)

    def angle_deg(self, option: str, text: str) -> float:
        """An angle."""
        return _read(option, text, units.angle_deg)

    def surface_speed_m_per_min(self, option: str, text: str) -> float:
        """A cutting speed; a bare number is in m/min, or ft/min with inch."""
        return _read(option, text, lambda value: units.surface_speed_m_per_min(value, self.unit))

    def surface_radius_mm(self, option: str, text: str | None) -> float:
        """Radius of the surface across the feed; infinite (flat) where it was not given."""
        return float("inf") if text is None else self.length_mm(option, text)

    def ra_um(self, option: str, text: str | None) -> float | None:
        """An Ra with its unit, or a grade such as N6, where it was given."""
        if text is not None and text.strip()[:1].upper() == "N":
            from advisor.cutter.measured_finish import ra_of_grade_um

            return ra_of_grade_um(text)
        return self.rz_um(option, text)

    def rz_um(self, option: str, text: str | None) -> float | None:
        """A roughness with its unit, where it was given.

        Bare numbers are refused: those who write them mean um or uin, never the unit of lengths.
        """
        if text is None:
            return None
        if _is_bare(text):
            raise InputError(option, f"{text!r} has no unit", "write for example '0.8 um' or '32 uin'")
        return UM_PER_MM * self.length_mm(option, text)


def _is_bare(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _read(option: str, text: str, convert: Callable[[str], float]) -> float:
    try:
        return convert(text)
    except ValueError as fault:
        problem, _, remedy = str(fault).partition("; ")
        raise InputError(option, problem, remedy or "correct this value") from fault
