"""What a batch has done: a small database in its folder, so that nothing is done twice."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from advisor.errors import InputError
from advisor.library.summary import PartSummary, summary_from_json, summary_to_json

LEDGER_FILE = "ledger.sqlite"
# Changes whenever the table or the summary does; a ledger of another form counts as empty.
_FORM = 1
_OTHER_FOLDER = "choose another folder with --out"


@dataclass(frozen=True)
class Entry:
    """A part that has a plan: what it was made with (a digest of settings and version), and the plan in short."""

    settings: str
    summary: PartSummary


class Ledger:
    """The entries of a batch, by file; each new one is on the disk before `enter` returns."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection, self._path = connection, path
        rows = connection.execute("SELECT settings, summary FROM part").fetchall()
        entries = (Entry(settings, summary_from_json(summary)) for settings, summary in rows)
        self.entries = {entry.summary.file: entry for entry in entries}

    def enter(self, entry: Entry) -> None:
        """Add a part, or replace what was known of it."""
        self.entries[entry.summary.file] = entry
        row = (entry.summary.file, entry.settings, summary_to_json(entry.summary))
        try:
            self._connection.execute("INSERT OR REPLACE INTO part VALUES (?, ?, ?)", row)
        except sqlite3.Error as fault:
            raise _unwritable(self._path, fault) from fault


@contextmanager
def open_ledger(out: Path) -> Iterator[Ledger]:
    """The ledger in `out`, which is made where it does not exist; one process at a time holds it.

    Raises
    ------
    InputError
        Where the folder cannot be written, holds other files, or is in use by another batch.
    """
    path = out / LEDGER_FILE
    _check_free(out, path)
    with closing(_connect(path)) as connection:
        try:
            ledger = Ledger(connection, path)
        except (sqlite3.DatabaseError, ValueError) as fault:
            raise _damaged(path) from fault
        yield ledger


def _connect(path: Path) -> sqlite3.Connection:
    try:
        connection = sqlite3.connect(path, timeout=0.0, isolation_level=None)
    except sqlite3.Error as fault:
        raise _unwritable(path, fault) from fault
    try:
        _prepare(connection)
    except sqlite3.OperationalError as fault:
        connection.close()
        if "locked" in str(fault):
            raise InputError(
                str(path.parent), "is in use by another batch", f"wait for its end, or {_OTHER_FOLDER}"
            ) from fault
        raise _unwritable(path, fault) from fault
    except sqlite3.DatabaseError as fault:
        connection.close()
        raise _damaged(path) from fault
    return connection


def _damaged(path: Path) -> InputError:
    return InputError(str(path), "is damaged", "delete it: all parts are then planned again")


def _unwritable(path: Path, fault: sqlite3.Error) -> InputError:
    return InputError(str(path), f"cannot be written ({fault})", f"free the place, or {_OTHER_FOLDER}")


def _check_free(out: Path, path: Path) -> None:
    try:
        out.mkdir(parents=True, exist_ok=True)
        strange = not path.is_file() and any(out.iterdir())
    except FileExistsError as fault:
        raise InputError(str(out), "is a file, not a folder", _OTHER_FOLDER) from fault
    except OSError as fault:
        raise InputError(str(out), f"cannot be written ({fault.strerror})", _OTHER_FOLDER) from fault
    if strange:
        raise InputError(str(out), "holds files that are no batch", _OTHER_FOLDER)


def _prepare(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA locking_mode = EXCLUSIVE")
    connection.execute("BEGIN EXCLUSIVE")
    (form,) = connection.execute("PRAGMA user_version").fetchone()
    if form != _FORM:
        connection.execute("DROP TABLE IF EXISTS part")
        connection.execute("CREATE TABLE part (file TEXT PRIMARY KEY, settings TEXT NOT NULL, summary TEXT NOT NULL)")
        connection.execute(f"PRAGMA user_version = {_FORM}")
    connection.execute("COMMIT")
