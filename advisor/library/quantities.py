"""How many of each part are wanted: an optional table of the user's."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from advisor.errors import InputError

_MOST = 10**9


@dataclass(frozen=True)
class Quantities:
    """Wanted pieces by file, named as in the batch; parts that are not listed count once. ``source`` is empty without a
    table."""

    source: str = ""
    pieces: Mapping[str, int] = field(default_factory=dict)

    def of(self, file: str) -> int:
        """Pieces wanted of a part."""
        return self.pieces.get(file, 1)


ONE_EACH = Quantities()


def read_quantities(path: Path) -> Quantities:
    """A CSV file with the columns ``file`` and ``quantity``; others are passed by, and so are empty rows.

    Raises
    ------
    InputError
        Where it cannot be read, lacks a column, names a part twice, or has a quantity that is no whole number.
    """
    remedy = "give a CSV file with the columns file,quantity"
    try:
        # spreadsheets put a mark before the first column
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            names = {str(name).strip().lower(): name for name in reader.fieldnames or ()}
            if not {"file", "quantity"} <= set(names):
                raise InputError(str(path), "lacks the columns file and quantity", remedy)
            pieces: dict[str, int] = {}
            for row in reader:
                part, count = ((row[names[name]] or "").strip() for name in ("file", "quantity"))
                if not part and not count:
                    continue
                part = part.replace("\\", "/").removeprefix("./")
                if part in pieces:
                    raise InputError(str(path), f"names {part!r} twice (line {reader.line_num})", "keep one row a part")
                pieces[part] = _count(count, path, reader.line_num)
    except OSError as fault:
        raise InputError(str(path), f"cannot be read ({fault.strerror})", remedy) from fault
    except (UnicodeDecodeError, csv.Error) as fault:
        raise InputError(str(path), "is no CSV file in UTF-8", remedy) from fault
    return Quantities(path.name, pieces)


def _count(words: str, path: Path, line: int) -> int:
    if not (words.isascii() and words.isdigit()) or int(words[:12]) > _MOST:
        problem = f"has a quantity that is no whole number in line {line} ({words[:40]!r})"
        raise InputError(str(path), problem, "give 0 or more")
    return int(words)
