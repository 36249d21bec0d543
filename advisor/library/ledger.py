"""What a batch has done and has to do: a small database in its folder, so that nothing is done twice.

One row a part, also of parts that have gone since: a part keeps its folder. Rows are read a page at a time, so that the
memory of the batch does not grow with the parts. Each outcome is on the disk before `enter` or `fail` returns; where
the disk takes no more, the part counts as not planned, and the batch goes on.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from advisor.errors import InputError
from advisor.library.places import assign_folders
from advisor.library.scan import FoundPart
from advisor.library.summary import Failure, Outcome, PartSummary, summary_from_json, summary_to_json

LEDGER_FILE = "ledger.sqlite"
# Held while a batch is at work; the system lets go of it when the process ends, however it does.
LOCK_FILE = ".in-use"
# Changes whenever the table or the summary does; a ledger of another form counts as empty.
_FORM = 3
_OTHER_FOLDER = "choose another folder with --out"
_PAGE = 500
# So many plans of the same content are looked at for one that is still there.
_MOST_SETTLED = 10
# A reader of the ledger may be in the way for a moment.
_PATIENCE_SECONDS = 30.0

# to do: waits to be planned; twin: waits for the plan of a part with the same content; left: not asked for in this run
State = Literal["to do", "twin", "left", "planned", "failed"]

_TABLE = """
CREATE TABLE part (
    file TEXT PRIMARY KEY, way BLOB NOT NULL, place TEXT NOT NULL, size_bytes INTEGER NOT NULL, found INTEGER NOT NULL,
    state TEXT NOT NULL, reason TEXT, more TEXT, wanted TEXT, key TEXT, summary TEXT
) WITHOUT ROWID
"""
_COLUMNS = "file, way, place, size_bytes, state, reason, more, wanted, key, summary"


@dataclass(frozen=True, slots=True)
class LedgerPart:
    """A part as the ledger has it.

    ``wanted`` is the key of its content with the settings of this run, ``key`` that of the plan in its ``place``; None
    where there is none.
    """

    file: str
    way: str
    place: str
    size_bytes: int
    state: State
    reason: str | None
    more: tuple[str, ...]
    wanted: str | None
    key: str | None
    summary: str | None

    def outcome(self) -> Outcome | None:
        """What has become of the part; None where it is still to do."""
        if self.state == "failed":
            return Failure(self.file, self.reason or "", self.more)
        if self.state == "planned" and self.summary is not None:
            return summary_from_json(self.summary)
        return None


class Ledger:
    """The parts of a batch, by file."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection, self._path = connection, path
        # what the disk did not take; it is tried again with the next outcome
        self._unsaved: dict[str, Failure] = {}

    def begin(self, parts: Iterable[FoundPart], *, again: bool) -> None:
        """Note what was found, and give a folder to what is new; `again` forgets which plans hold."""
        with self._whole():
            self._run("UPDATE part SET found = 0")
            if again:
                self._run("UPDATE part SET key = NULL")
            found = list(parts)
            kept = dict(self._rows("SELECT file, place FROM part"))
            places = assign_folders([part.file for part in found], kept)
            self._connection.executemany(
                "INSERT INTO part (file, way, place, size_bytes, found, state) VALUES (?, ?, ?, ?, 1, 'to do') "
                "ON CONFLICT (file) DO UPDATE SET way = excluded.way, size_bytes = excluded.size_bytes, found = 1",
                ((part.file, os.fsencode(part.way), places[part.file], part.size_bytes) for part in found),
            )

    def found(self) -> Iterator[list[LedgerPart]]:
        """Parts of this run in order of file, a page at a time; what changes behind the page does not matter."""
        return self._pages("found")

    def in_state(self, state: State) -> Iterator[LedgerPart]:
        """Parts of this run that are in a state when their turn comes, in order of file."""
        for page in self._pages(f"found AND state = '{state}'"):
            yield from page

    def quickest(self) -> LedgerPart | None:
        """The smallest part to do."""
        told = f"SELECT {_COLUMNS} FROM part WHERE found AND state = 'to do' ORDER BY size_bytes, file LIMIT 1"
        rows = self._rows(told)
        return _part(rows[0]) if rows else None

    def count(self, *states: State) -> int:
        """Parts of this run in any of these states; all without a state."""
        marks = ", ".join("?" * len(states))
        where = f"AND state IN ({marks})" if states else ""
        return int(self._rows(f"SELECT count(*) FROM part WHERE found {where}", *states)[0][0])

    def sort_out(self, told: Iterable[tuple[LedgerPart, State, str | None]]) -> None:
        """Note the state and the wanted key of parts."""
        with self._whole():
            self._connection.executemany(
                "UPDATE part SET state = ?, wanted = ? WHERE file = ?",
                ((state, wanted, part.file) for part, state, wanted in told),
            )

    def find_twins(self) -> None:
        """Of parts to do with the same content only the first stays to do."""
        with self._whole():
            self._run(
                "UPDATE part SET state = 'twin' WHERE found AND state = 'to do' AND EXISTS "
                "(SELECT 1 FROM part AS first WHERE first.wanted = part.wanted AND first.found "
                "AND first.state = 'to do' AND first.file < part.file)"
            )

    def settled(self, wanted: str) -> Iterator[LedgerPart]:
        """Some parts whose plan is that of a key, and stays as it is in this run."""
        where = "key = ? AND (NOT found OR state = 'planned')"
        told = f"SELECT {_COLUMNS} FROM part WHERE {where} ORDER BY file LIMIT {_MOST_SETTLED}"
        return map(_part, self._rows(told, wanted))

    def failed(self, wanted: str) -> LedgerPart | None:
        """The first part of a key that could not be planned in this run."""
        told = f"SELECT {_COLUMNS} FROM part WHERE found AND wanted = ? AND state = 'failed' ORDER BY file LIMIT 1"
        rows = self._rows(told, wanted)
        return _part(rows[0]) if rows else None

    def enter(self, summary: PartSummary, key: str) -> Outcome:
        """Note a plan. What comes back is the outcome: a failure where the disk took no more."""
        told = (
            "UPDATE part SET state = 'planned', reason = NULL, more = NULL, wanted = ?, key = ?, summary = ? "
            "WHERE file = ?"
        )
        return self._save(told, (key, key, summary_to_json(summary), summary.file), summary)

    def fail(self, failure: Failure) -> Failure:
        """Note that a part has no plan."""
        told = "UPDATE part SET state = 'failed', reason = ?, more = ? WHERE file = ?"
        kept = self._save(told, (failure.reason, json.dumps(failure.more), failure.file), failure)
        return failure if isinstance(kept, PartSummary) else kept

    def outcomes(self) -> Iterator[Outcome]:
        """What has become of the parts of this run, in order of file."""
        for page in self.found():
            for part in page:
                outcome = self._unsaved.get(part.file) or part.outcome()
                if outcome is not None:
                    yield outcome

    def _save(self, words: str, values: tuple[str | None, ...], outcome: Outcome) -> Outcome:
        try:
            self._connection.execute(words, values)
        except sqlite3.Error as fault:
            if isinstance(outcome, PartSummary):
                reason = f"was planned, but {LEDGER_FILE} could not be written ({fault}); free the disk"
                outcome = Failure(outcome.file, reason)
            self._unsaved[outcome.file] = outcome
            return outcome
        self._unsaved.pop(outcome.file, None)
        return outcome

    def save_rest(self) -> None:
        """Try once more to note what the disk did not take."""
        for failure in list(self._unsaved.values()):
            self.fail(failure)

    def _pages(self, where: str) -> Iterator[list[LedgerPart]]:
        last = ""
        while True:
            told = f"SELECT {_COLUMNS} FROM part WHERE {where} AND file > ? ORDER BY file LIMIT {_PAGE}"
            page = [_part(row) for row in self._rows(told, last)]
            if not page:
                return
            yield page
            last = page[-1].file

    def _rows(self, words: str, *values: str) -> list[tuple]:  # type: ignore[type-arg]
        try:
            return self._connection.execute(words, values).fetchall()
        except sqlite3.OperationalError as fault:
            raise _unwritable(self._path, fault) from fault
        except sqlite3.DatabaseError as fault:
            raise _damaged(self._path) from fault

    def _run(self, words: str) -> None:
        self._connection.execute(words)

    @contextmanager
    def _whole(self) -> Iterator[None]:
        """All changes within, or none."""
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            self._connection.execute("COMMIT")
        except sqlite3.OperationalError as fault:
            raise _unwritable(self._path, fault) from fault
        except sqlite3.DatabaseError as fault:
            raise _damaged(self._path) from fault


def _part(row: tuple) -> LedgerPart:  # type: ignore[type-arg]
    file, way, place, size_bytes, state, reason, more, wanted, key, summary = row
    options = tuple(json.loads(more)) if more else ()
    return LedgerPart(file, os.fsdecode(way), place, size_bytes, state, reason, options, wanted, key, summary)


@contextmanager
def open_ledger(out: Path) -> Iterator[Ledger]:
    """The ledger in `out`, which is made where it does not exist; one batch at a time holds it, others may read it.

    Raises
    ------
    InputError
        Where the folder cannot be written, holds other files, or is in use by another batch.
    """
    path = out / LEDGER_FILE
    _check_free(out, path)
    with _held(out), closing(_connect(path)) as connection:
        yield Ledger(connection, path)


def read_ledger(out: Path) -> Iterator[Outcome]:
    """What the last batch in `out` did, in order of file, without holding it.

    Raises
    ------
    InputError
        Where there is no batch, or it cannot be read.
    """
    path = out / LEDGER_FILE
    remedy = "name the folder that a batch wrote with --out"
    if not path.is_file():
        raise InputError(str(out), f"holds no batch ({LEDGER_FILE} is not there)", remedy)
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=_PATIENCE_SECONDS)
        with closing(connection):
            (form,) = connection.execute("PRAGMA user_version").fetchone()
            if form != _FORM:
                raise InputError(str(path), "is of another version of the program", "run the batch again")
            yield from Ledger(connection, path).outcomes()
    except sqlite3.OperationalError as fault:
        raise InputError(str(path), f"cannot be read ({fault})", remedy) from fault
    except (sqlite3.DatabaseError, ValueError) as fault:
        raise _damaged(path) from fault


@contextmanager
def _held(out: Path) -> Iterator[None]:
    # an empty database under an exclusive lock: no byte of it is written, and every system knows the lock
    path = out / LOCK_FILE
    try:
        connection = sqlite3.connect(path, timeout=0.0, isolation_level=None)
    except sqlite3.Error as fault:
        raise _unwritable(path, fault) from fault
    with closing(connection):
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.Error as fault:
            if "locked" not in str(fault):
                raise _unwritable(path, fault) from fault
            remedy = f"wait for its end, or {_OTHER_FOLDER}"
            raise InputError(str(out), "is in use by another batch", remedy) from fault
        yield


def _connect(path: Path) -> sqlite3.Connection:
    try:
        connection = sqlite3.connect(path, timeout=_PATIENCE_SECONDS, isolation_level=None)
    except sqlite3.Error as fault:
        raise _unwritable(path, fault) from fault
    try:
        _prepare(connection)
    except sqlite3.OperationalError as fault:
        connection.close()
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
        strange = not path.is_file() and any(file.name != LOCK_FILE for file in out.iterdir())
    except FileExistsError as fault:
        raise InputError(str(out), "is a file, not a folder", _OTHER_FOLDER) from fault
    except OSError as fault:
        raise InputError(str(out), f"cannot be written ({fault.strerror})", _OTHER_FOLDER) from fault
    if strange:
        raise InputError(str(out), "holds files that are no batch", _OTHER_FOLDER)


def _prepare(connection: sqlite3.Connection) -> None:
    (form,) = connection.execute("PRAGMA user_version").fetchone()
    if form == _FORM:
        return
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("DROP TABLE IF EXISTS part")
    connection.execute(_TABLE)
    connection.execute("CREATE INDEX by_wanted ON part (wanted)")
    connection.execute("CREATE INDEX by_key ON part (key)")
    connection.execute(f"PRAGMA user_version = {_FORM}")
    connection.execute("COMMIT")
