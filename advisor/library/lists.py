"""What a batch leaves beside the plans: the index page, tables of all parts, like zones, and what has no plan.

All are written from one walk each over the ledger, so that memory hardly grows with the parts, beside their place and
moved in: readers find the old one or the new one, whole.
"""

from __future__ import annotations

import csv
import heapq
import shlex
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from advisor.errors import InputError
from advisor.library.alike import Alike, alike_parts, shelf_of, write_alike_zones
from advisor.library.parts_table import can_write_parquet, write_parts_csv, write_parts_parquet
from advisor.library.quantities import Quantities
from advisor.library.summary import Failure, Outcome, PartSummary
from advisor.pack.tables import safe_cell

INDEX, PARTS_CSV, PARTS_PARQUET, NOT_PLANNED = "index.html", "parts.csv", "parts.parquet", "not_planned.csv"
ALIKE_ZONES = "alike_zones.csv"
LISTS = (INDEX, PARTS_CSV, PARTS_PARQUET, NOT_PLANNED, ALIKE_ZONES)


@dataclass(frozen=True)
class BatchHead:
    """What is said of the whole batch; ``found`` counts parts with and without an outcome.

    ``retry`` tells the command that tries a part again.
    """

    title: str
    found: int
    inches: bool
    pictures: bool
    reports: bool
    settings: tuple[str, ...]
    flat_below_deg: float
    steep_from_deg: float
    made_with: str
    made_on: str
    quantities: Quantities
    retry: Callable[[Failure], str]


def write_lists(
    out: Path, head: BatchHead, outcomes: Callable[[], Iterator[Outcome]], unreadable: Iterable[Failure]
) -> list[str]:
    """Write all lists into `out`.

    Parameters
    ----------
    out : folder of the batch
    head : BatchHead
    outcomes : begins a walk over the outcomes of parts, in order of file
    unreadable : folders that could not be read

    Returns
    -------
    list of str
        A line for each list that could not be written; the others are.
    """
    folders = sorted(unreadable, key=_file)

    def walk() -> Iterator[Outcome]:
        return heapq.merge(outcomes(), folders, key=_file)

    def write_index(desk: Path) -> None:
        from advisor.library.index import write_index

        with desk.open("w", encoding="utf-8", newline="\n") as file:
            write_index(head, walk, alike, (out / PARTS_PARQUET).is_file(), file)

    def write_zones(desk: Path) -> None:
        with desk.open("w", encoding="utf-8", newline="") as file:
            write_alike_zones(shelf, file)

    shelf = shelf_of(walk())
    alike = alike_parts(shelf)
    faults = [
        _written(out / ALIKE_ZONES, write_zones),
        _written(out / PARTS_CSV, lambda desk: _write_csv(walk(), head, alike, desk)),
        _written(out / NOT_PLANNED, lambda desk: _write_not_planned(walk(), head, desk)),
    ]
    if can_write_parquet():
        faults.append(
            _written(out / PARTS_PARQUET, lambda desk: write_parts_parquet(walk(), head.quantities, alike, desk))
        )
    else:
        (out / PARTS_PARQUET).unlink(missing_ok=True)  # of an earlier run, and old
    faults.append(_written(out / INDEX, write_index))
    return [fault for fault in faults if fault is not None]


def retry_command(command: Iterable[str], failure: Failure) -> str:
    """The words that plan a part again, for a shell; a later option takes the place of an earlier one.

    A folder that could not be read is tried by the whole batch.

    >>> retry_command(["advisor", "batch", "my parts"], Failure("a b.stl", "", ("--time-limit", "2 h")))
    "advisor batch 'my parts' --time-limit '2 h' '--only=a b.stl'"
    >>> retry_command(["advisor", "batch", "parts"], Failure("locked/", ""))
    'advisor batch parts'
    """
    only = [] if failure.file.endswith("/") else [f"--only={failure.file}"]
    return shlex.join([*command, *failure.more, *only])


def _file(outcome: Outcome) -> str:
    return outcome.file


def _write_csv(outcomes: Iterator[Outcome], head: BatchHead, alike: Mapping[str, Alike], desk: Path) -> None:
    with desk.open("w", encoding="utf-8", newline="") as file:
        write_parts_csv(outcomes, head.quantities, alike, file)


def _write_not_planned(outcomes: Iterator[Outcome], head: BatchHead, desk: Path) -> None:
    with desk.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["file", "reason", "command"])
        for outcome in outcomes:
            if not isinstance(outcome, PartSummary):
                cells = (outcome.file, outcome.reason, head.retry(outcome))
                writer.writerow([safe_cell(cell) for cell in cells])


def _written(path: Path, write: Callable[[Path], None]) -> str | None:
    """Write a file beside its place and move it in; a line where that does not go."""
    desk = path.with_name(f".{path.name}.part")
    try:
        write(desk)
        desk.replace(path)
    except OSError as fault:
        desk.unlink(missing_ok=True)
        return str(InputError(str(path), f"cannot be written ({fault.strerror})", "close or free it, then run again"))
    return None
