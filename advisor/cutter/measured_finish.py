"""A finish as drawings name it and instruments measure it: grade numbers, cut-off, and what a filter shows."""

from __future__ import annotations

import math
from typing import Final

from advisor.errors import InputError

UM_PER_UIN: Final = 0.0254

# Ra grade numbers of older drawings, um and uin (each nominal: 32 uin is 0.8128 um). ISO 1302:1992, as listed by
# roymech.org and finishing.com (excerpts read).
RA_GRADES: Final = {
    "N1": (0.025, 1.0), "N2": (0.05, 2.0), "N3": (0.1, 4.0), "N4": (0.2, 8.0), "N5": (0.4, 16.0), "N6": (0.8, 32.0),
    "N7": (1.6, 63.0), "N8": (3.2, 125.0), "N9": (6.3, 250.0), "N10": (12.5, 500.0), "N11": (25.0, 1000.0),
    "N12": (50.0, 2000.0),
}  # fmt: skip

# Cut-off of the roughness filter by the spacing of the marks, as (largest spacing, cut-off). ISO 4288:1996, from
# memory.
_CUT_OFF_BY_SPACING_MM: Final = ((0.04, 0.08), (0.13, 0.25), (0.4, 0.8), (1.3, 2.5), (4.0, 8.0))
# The cut-off that measuring instruments are set to unless told otherwise (common practice, no source).
COMMON_CUT_OFF_MM: Final = 0.8
# Half of a wave as long as the cut-off passes: sqrt(ln 2 / pi). ISO 16610-21, from memory.
_GAUSSIAN_FILTER_CONSTANT: Final = math.sqrt(math.log(2.0) / math.pi)

# A grade holds heights this near its own: rounding must not make a finish rougher.
_ROUNDING: Final = 1e-9


def ra_of_grade_um(grade: str) -> float:
    """Ra of a grade number such as ``N6``, um; raises ``InputError`` for any other text.

    >>> ra_of_grade_um("n6")
    0.8
    """
    row = RA_GRADES.get(grade.strip().upper())
    if row is None:
        raise InputError("ra", f"{grade!r} is no Ra grade", "use N1 to N12, or a height such as '0.8 um' or '32 uin'")
    return row[0]


def ra_grade(ra_um: float, *, in_uin: bool = False) -> str | None:
    """Grade number that an Ra holds: between two grades the rougher one (ceil, not nearest); None above N12.

    ``in_uin`` reads the table's column of microinches, as an inch drawing does. The rule is that of an answer on
    finishing.com (an excerpt read).

    >>> ra_grade(7.4), ra_grade(0.8), ra_grade(0.8128), ra_grade(0.8128, in_uin=True)
    ('N10', 'N6', 'N7', 'N6')
    """
    height = ra_um / UM_PER_UIN if in_uin else ra_um
    return next((name for name, row in RA_GRADES.items() if height <= row[in_uin] * (1.0 + _ROUNDING)), None)


def usual_cut_off_mm(spacing_mm: float) -> float | None:
    """Cut-off that is usual for marks of a spacing (RSm), mm; None where they are coarser than roughness is measured.

    ISO 4288:1996, from memory. Marks finer than its table take its finest cut-off.

    >>> usual_cut_off_mm(0.5), usual_cut_off_mm(5.0)
    (2.5, None)
    """
    return next((cut_off for largest, cut_off in _CUT_OFF_BY_SPACING_MM if spacing_mm <= largest), None)


def filter_share(spacing_mm: float, cut_off_mm: float) -> float:
    """Share of a wave that a Gaussian roughness filter lets through: 1 - exp(-pi (alpha cut-off / spacing)^2).

    alpha = sqrt(ln 2 / pi), so that half passes where the two are equal. ISO 16610-21, from memory.

    >>> round(filter_share(0.5, 0.8), 4)
    0.8304
    """
    return -math.expm1(-math.pi * (_GAUSSIAN_FILTER_CONSTANT * cut_off_mm / spacing_mm) ** 2)
