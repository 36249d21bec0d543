"""Which parts of a library are alike, and which zones of different parts: what was planned once helps the next time."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TextIO

import numpy as np

from advisor.library.likeness import Marks, families, most_alike, rows_of
from advisor.library.summary import Outcome, PartSummary
from advisor.pack.tables import safe_cell

# So many near zones are looked at for one of a part that helps: another one, or the one most alike.
NEAR_ZONES = 12
ZONE_COLUMNS = (
    "file", "zone", "zone_name", "like_file", "like_zone", "like_zone_name", "difference_share",
)  # fmt: skip


@dataclass(frozen=True)
class Alike:
    """The part most like another one: by what share they differ, and the number of the family both are of."""

    file: str
    difference_share: float
    family: int


@dataclass
class Shelf:
    """What parts and their zones of a library are known by; one row of marks each.

    Attributes
    ----------
    files, folders : of the parts
    part_marks : one row a part
    zone_part, zone_number, zone_name : of the zones of all parts
    zone_marks : one row a zone
    """

    files: list[str] = field(default_factory=list)
    folders: list[str] = field(default_factory=list)
    part_marks: Marks = field(default_factory=lambda: rows_of([]))
    zone_part: list[int] = field(default_factory=list)
    zone_number: list[int] = field(default_factory=list)
    zone_name: list[str] = field(default_factory=list)
    zone_marks: Marks = field(default_factory=lambda: rows_of([]))


def shelf_of(outcomes: Iterable[Outcome]) -> Shelf:
    """The planned parts among outcomes."""
    shelf = Shelf()
    parts: list[Marks] = []
    zones: list[Marks] = []
    for outcome in outcomes:
        if not isinstance(outcome, PartSummary) or outcome.marks is None:
            continue
        number = len(shelf.files)
        shelf.files.append(outcome.file)
        shelf.folders.append(outcome.folder)
        parts.append(np.array(outcome.marks.marks, np.float32))
        for zone in outcome.marks.zones:
            shelf.zone_part.append(number)
            shelf.zone_number.append(zone.zone)
            shelf.zone_name.append(zone.name)
            zones.append(np.array(zone.marks, np.float32))
    shelf.part_marks = np.stack(parts) if parts else rows_of([])
    shelf.zone_marks = np.stack(zones) if zones else rows_of([])
    return shelf


def alike_parts(shelf: Shelf) -> Mapping[str, Alike]:
    """By file, of each part that has any like it, the one most like it."""
    near = most_alike(shelf.part_marks, shelf.part_marks, 1, same=True)
    family = families(shelf.part_marks)
    return {
        shelf.files[row]: Alike(shelf.files[found[0].other], found[0].difference_share, int(family[row]))
        for row, found in enumerate(near)
        if found
    }


def write_alike_zones(shelf: Shelf, file: TextIO) -> None:
    """Write a row for each zone that another part has one like, with the zone of another part that is most like it."""
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(ZONE_COLUMNS)
    for row, found in enumerate(most_alike(shelf.zone_marks, shelf.zone_marks, NEAR_ZONES, same=True)):
        part = shelf.zone_part[row]
        other = next((each for each in found if shelf.zone_part[each.other] != part), None)
        if other is not None:
            cells = (
                shelf.files[part], shelf.zone_number[row], shelf.zone_name[row],
                shelf.files[shelf.zone_part[other.other]], shelf.zone_number[other.other],
                shelf.zone_name[other.other], round(other.difference_share, 4),
            )  # fmt: skip
            writer.writerow([safe_cell(cell) for cell in cells])
