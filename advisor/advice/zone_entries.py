"""The ``[[zone]]`` entries of a job as plain keys, changed by hand: one entry a zone, by a point on it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

Keys = Mapping[str, Any]
Entry = Mapping[str, Any]
Point = tuple[float, float, float]

# Points are written to a tenth of a micrometre: deep inside a zone, that is on it.
_DECIMALS = 4


def with_entry(entries: Sequence[Entry], at: Point, places: Sequence[int], change: Mapping[str, Any]) -> list[Entry]:
    """Entries after a change for one zone.

    Parameters
    ----------
    entries : sequence of entries
    at : (x, y, z)
        A point inside the zone, mm: where it is entered if it has no entry.
    places : places of the entries that speak of the zone
    change : keys to set; None takes a key out of all of them
    """
    taken_out = [name for name, value in change.items() if value is None]
    added = {name: value for name, value in change.items() if value is not None}
    told = [_without(entry, taken_out) if place in places else entry for place, entry in enumerate(entries)]
    if added:
        if places:
            told[places[-1]] = {**told[places[-1]], **added}
        else:
            told.append({"at": point_words(at), **added})
    return [entry for entry in told if _says_something(entry)]


def joined(entries: Sequence[Entry], zones: Sequence[tuple[Point, Sequence[int]]]) -> list[Entry]:
    """Entries after several zones have become one: the first keeps what it says, of the others points alone are kept.

    Parameters
    ----------
    zones : point and places of the entries of every zone
    """
    (first_at, first_places), *others = zones
    points: list[Any] = []
    for at, places in others:
        points.append(point_words(at))
        points += [point for place in places for point in entries[place].get("merge", ())]
    gone = {place for _, places in others for place in places}
    # an entry that splits a zone is what the parts to be joined come from
    split = [entry for place, entry in enumerate(entries) if place in gone and entry.get("split")]
    own = [entries[place] for place in first_places]
    base = own[-1] if own else {"at": point_words(first_at)}
    told = {**base, "merge": [*base.get("merge", ()), *points]}
    rest = [
        entry
        for place, entry in enumerate(entries)
        if place not in gone and not (first_places and place == first_places[-1])
    ]
    return [*rest, *({"at": entry["at"], "split": True} for entry in split), told]


def without_entry(entries: Sequence[Entry], place: int) -> list[Entry]:
    """Entries without one."""
    return [entry for number, entry in enumerate(entries) if number != place]


def point_words(at: Iterable[float]) -> list[str]:
    """A point as a job file has it, whatever its unit."""
    return [f"{round(value, _DECIMALS) + 0.0:.{_DECIMALS}f} mm" for value in at]


def _without(entry: Entry, names: Sequence[str]) -> Entry:
    return {name: value for name, value in entry.items() if name not in names}


def _says_something(entry: Entry) -> bool:
    return any(value not in (False, None, []) for name, value in entry.items() if name not in ("at", "shape"))
