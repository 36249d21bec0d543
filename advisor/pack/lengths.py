"""Lengths of a plan in the unit its job is written in: mm, or inches."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from advisor.model import PlanRecord, Zone
from advisor.pack.page import plain_words
from advisor.part.frame import AXES, LEANING
from advisor.units import UM_PER_MM
from advisor.words import plain_number

MM_PER_INCH: Final = 25.4
_NUMBER: Final = r"(-?\d[\d.,]*(?:e-?\d+)?)"
_HEIGHTS: Final = re.compile(rf"\b({'|'.join((*AXES, LEANING))}) {_NUMBER}(?: to {_NUMBER})?$")
_LENGTH_IN_WORDS: Final = re.compile(r"(?<![\w.])(\d[\d,]*(?:\.\d+)?) (mm|um)\b")
_INCH_DECIMALS: Final = 3
# Nearer to zero than this a height is rounding.
_ROUNDING_MM: Final = 1e-6


@dataclass(frozen=True)
class LengthUnit:
    """A unit of length for the page: its sign, and mm in one."""

    sign: str
    mm: float

    @property
    def is_inch(self) -> bool:
        """Whether lengths are told in inches."""
        return self.sign == "in"

    def words(self, length_mm: float) -> str:
        """A length in as many digits as are told of a tool or a part."""
        return f"{length_mm / self.mm:.4g}"

    def height_words(self, zone: Zone) -> str:
        """Name of a zone with the heights in it in this unit."""
        name = plain_words(zone.name)
        match = _HEIGHTS.search(name)
        if match is None:
            return name
        if not self.is_inch:
            return " ".join(_without_rounding(word) for word in name.split())
        told = [self._exactly(words, zone) for words in match.groups()[1:] if words]
        return f"{name[: match.start()]}{match[1]} {' to '.join(told)}"

    def _exactly(self, told_mm: str, zone: Zone) -> str:
        """A rounded height in this unit, from the exact one; heights may count against the tool axis."""
        low, high = zone.z_mm.min, zone.z_mm.max
        exact = min((low, high, -low, -high), key=lambda z: abs(z - float(told_mm.replace(",", ""))))
        # adding nothing makes a negative zero a plain one
        return f"{round(exact / self.mm, _INCH_DECIMALS) + 0.0:g}"


MM: Final = LengthUnit("mm", 1.0)
INCH: Final = LengthUnit("in", MM_PER_INCH)


def length_unit(record: PlanRecord) -> LengthUnit:
    """The unit of the job; where none is recorded, inches for a model in inches."""
    unit = next((setting.value for setting in record.settings if setting.name == "unit"), record.part.unit)
    return INCH if unit.startswith("in") else MM


def fixed(number: float, decimals: int) -> str:
    """A number with thousands separated and no negative zero.

    >>> fixed(-0.04, 1), fixed(1234.5, 0)
    ('0.0', '1,234')
    """
    words = f"{number:,.{decimals}f}"
    return words if any(digit in words for digit in "123456789") else words.lstrip("-")


def decimals_of(smallest: float, digits: int, most: int) -> int:
    """Decimals, ``most`` at the utmost, that show ``digits`` digits of the smallest number of a column.

    >>> decimals_of(35.2, 2, 3), decimals_of(4.0, 2, 3), decimals_of(0.0, 2, 3)
    (0, 1, 3)
    """
    if not smallest > 0.0:
        return most
    return min(most, max(0, digits - 1 - math.floor(math.log10(smallest))))


def _without_rounding(word: str) -> str:
    try:
        number = float(word)
    except ValueError:
        return word
    if abs(number) > _ROUNDING_MM:
        return word
    return "0.0" if word.endswith(".0") else "0"


def in_unit(line: str, unit: LengthUnit) -> str:
    """A line with its lengths, which are told in mm and um, in the job's unit."""
    if not unit.is_inch:
        return line

    def inches(match: re.Match[str]) -> str:
        length_mm = float(match[1].replace(",", "")) / (UM_PER_MM if match[2] == "um" else 1.0)
        return f"{plain_number(length_mm / unit.mm)} {unit.sign}"

    return _LENGTH_IN_WORDS.sub(inches, line)
