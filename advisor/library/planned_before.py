"""What of a part was planned before: parts and zones of a batch that are like it and its zones."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from advisor.before_model import AlikePart, AlikeZone, PlannedBefore
from advisor.library.alike import NEAR_ZONES, Shelf, shelf_of
from advisor.library.ledger import read_ledger
from advisor.library.likeness import marks_of, most_alike, rows_of
from advisor.library.summary import PartMarks
from advisor.model import Plan

# Parts told.
_MOST_PARTS = 5
_DIGITS = 4


def read_shelf(library: Path) -> Shelf:
    """What a batch in a folder has planned.

    Raises
    ------
    InputError
        Where the folder holds no batch that can be read.
    """
    return shelf_of(read_ledger(library))


def with_planned_before(plan: Plan, library: Path, shelf: Shelf) -> Plan:
    """The plan with what a library has that is like it."""
    told = planned_before(marks_of(plan), library, shelf)
    return replace(plan, record=replace(plan.record, planned_before=told))


def planned_before(marks: PartMarks, library: Path, shelf: Shelf) -> PlannedBefore:
    """What a library has that is like a part: parts, and for each of its zones one like it.

    That is one of the part most alike where it has any, else the one most like it.
    """
    parts = next(most_alike(rows_of([marks.marks]), shelf.part_marks, _MOST_PARTS))
    zones = most_alike(rows_of([zone.marks for zone in marks.zones]), shelf.zone_marks, NEAR_ZONES)
    first = parts[0].other if parts else -1
    pairs = [
        (zone, next((like for like in found if shelf.zone_part[like.other] == first), found[0]))
        for zone, found in zip(marks.zones, zones, strict=True)
        if found
    ]
    return PlannedBefore(
        library=library.as_posix(),
        parts=tuple(
            AlikePart(shelf.files[like.other], shelf.folders[like.other], round(like.difference_share, _DIGITS))
            for like in parts
        ),
        zones=tuple(
            AlikeZone(
                zone=zone.zone,
                file=shelf.files[shelf.zone_part[like.other]],
                folder=shelf.folders[shelf.zone_part[like.other]],
                like_zone=shelf.zone_number[like.other],
                like_zone_name=shelf.zone_name[like.other],
                difference_share=round(like.difference_share, _DIGITS),
            )
            for zone, like in pairs
        ),
    )
