"""Words around numbers."""

from __future__ import annotations

from decimal import Decimal


def counted(count: int, one: str, many: str | None = None) -> str:
    """A count with its noun; `many` is the plural where it is not `one` and an s.

    >>> counted(1, "facet"), counted(35146, "facet"), counted(2, "body", "bodies")
    ('1 facet', '35146 facets', '2 bodies')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


def plain_number(value: float) -> str:
    """Three digits that count, every digit of whole numbers, and never an exponent.

    >>> plain_number(12350.4), plain_number(0.0000213), plain_number(-0.0)
    ('12,350', '0.0000213', '0')
    """
    value += 0.0  # turns -0.0 into 0.0
    return f"{value:,.0f}" if abs(value) >= 100 else f"{Decimal(f'{value:.3g}'):f}"
