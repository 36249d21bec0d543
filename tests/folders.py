"""What folders hold, with what may differ between two runs left out: dates, and places in a ledger."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

_DATE = re.compile(rb"\d{4}-\d\d-\d\d(T[0-9:.+]+Z?)?")
_TEXTS = (".json", ".html", ".csv")


def folder_bytes(folder: Path | str) -> dict[str, Any]:
    """Contents of all files below a folder by name; dates in texts are blank, a ledger is its rows."""
    return {
        str(path.relative_to(folder)): _content(path) for path in sorted(Path(folder).rglob("*")) if not path.is_dir()
    }


def _content(path: Path) -> Any:
    if path.suffix == ".sqlite":
        with closing(sqlite3.connect(path)) as connection:
            return connection.execute("SELECT * FROM part ORDER BY file").fetchall()
    data = path.read_bytes()
    return _DATE.sub(b"DATE", data) if path.suffix in _TEXTS else data
