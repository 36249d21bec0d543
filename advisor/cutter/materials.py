"""Cutting data of materials: the table shipped with the package, and rows of the user's own.

Where the job names no material there is no data, and no guess: speeds and feeds stay undefined.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Annotated, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from advisor.errors import InputError
from advisor.job import MaterialRow, Stress

Group: TypeAlias = Literal["P", "M", "K", "N", "S", "H"]

_TABLE = "materials.toml"
_OWN_DATA = "give its own data as [material.NAME] in the job file"
_MOST_SUGGESTIONS = 3
# Likeness from which a misspelt name is worth a question, and length from which a name found inside another tells.
_LIKE_ENOUGH = 0.7
_TELLING_LETTERS = 3


@dataclass(frozen=True)
class Material:
    """What is known of cutting a material with a carbide ball in light finishing.

    Attributes
    ----------
    name : str
    group : str
        Of ISO 513: P steel, M stainless, K cast iron, N non-ferrous, S heat-resistant and titanium, H hardened.
    surface_speed_m_per_min : (lowest, highest)
        At the diameter that really cuts.
    feed_per_tooth_of_diameter : (lowest, highest)
        Feed per tooth over nominal diameter.
    kc11_n_per_mm2, mc : float or None
        Specific cutting force of a chip 1 mm by 1 mm, and its exponent (O. Kienzle, 1952, from memory).
    combustible : bool
        Chips and fines can burn.
    source : str
        Where the numbers come from, and which of them are the group's.
    """

    name: str
    group: Group
    surface_speed_m_per_min: tuple[float, float]
    feed_per_tooth_of_diameter: tuple[float, float]
    kc11_n_per_mm2: float | None
    mc: float | None
    combustible: bool
    source: str


class _TableSection(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class GroupRow(_TableSection):
    """Specific cutting force of a group, for materials that give none."""

    kc11: Stress
    mc: Annotated[float, Field(ge=0, lt=1)]


class ShippedRow(MaterialRow):
    """A row of the shipped table: a user's row and what the table alone says of a material."""

    aliases: tuple[str, ...] = ()
    combustible: bool
    source: str


class RefusedRow(_TableSection):
    """A material that is known, and for which no data are given."""

    aliases: tuple[str, ...] = ()
    combustible: bool
    why: str


class MaterialTable(_TableSection):
    """All of ``materials.toml``, checked."""

    combustible_words: tuple[str, ...]
    group: Mapping[Group, GroupRow]
    material: Mapping[str, ShippedRow]
    refused: Mapping[str, RefusedRow]

    def spellings(self) -> Iterator[tuple[str, str]]:
        """Every way to write a material, and the name that it stands for."""
        for rows in (self.material, self.refused):
            for name, row in rows.items():
                yield from ((spelling, name) for spelling in (name, *row.aliases))


def read_table(text: str, subject: str = _TABLE) -> MaterialTable:
    """A table of materials from the text of a TOML file; `subject` opens the error line.

    Raises
    ------
    InputError
        Text that is not TOML, a wrong key or value, or a name that two materials claim.
    """
    try:
        table = MaterialTable.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as fault:
        raise InputError(subject, f"is not TOML ({fault})", "mend the line") from fault
    except ValidationError as fault:
        first = fault.errors()[0]
        place = ".".join(str(step) for step in first["loc"])
        message = str(first["msg"]).removeprefix("Value error, ")
        raise InputError(f"{subject}: {place}", message, "the head of the table says what goes in a row") from fault
    owner: dict[str, str] = {}
    for spelling, name in table.spellings():
        other = owner.setdefault(_plain_name(spelling), name)
        if other != name:
            raise InputError(subject, f"{spelling!r} stands for both {other!r} and {name!r}", "drop one of them")
    return table


@cache
def _shipped() -> MaterialTable:
    return read_table((files("advisor.cutter") / _TABLE).read_text("utf-8"))


def _plain_name(name: str) -> str:
    """Letters and digits only, in small letters: what makes two spellings of a name the same."""
    return "".join(character for character in name.casefold() if character.isalnum())


def all_materials() -> tuple[Material, ...]:
    """Every material of the shipped table that has data, in the order of the table."""
    return tuple(material_named(name) for name in _shipped().material)


def material_named(name: str) -> Material:
    """A material of the shipped table by its name or an alias; capitals, spaces and hyphens do not matter.

    Raises
    ------
    InputError
        An unknown name, with the nearest known ones; or a material for which no data are given, with the reason.

    Examples
    --------
    >>> material_named("ti 6al 4v").name, material_named("1.2311").group
    ('Ti-6Al-4V', 'P')
    >>> material_named("H13")
    Traceback (most recent call last):
    advisor.errors.InputError: material: 'H13' is not in the table; did you mean 'H13 annealed' or 'H13 48 HRC'? \
Otherwise give its own data as [material.NAME] in the job file
    """
    table = _shipped()
    known = _name_in_table(name)
    if known is None:
        raise InputError("material", f"{name!r} is not in the table", _remedy(name))
    if known in table.refused:
        raise InputError("material", f"{name!r} has no data in the table: {table.refused[known].why}", _OWN_DATA)
    row = table.material[known]
    return _material(known, row, row.combustible)


def material_from_row(name: str, row: MaterialRow) -> Material:
    """A material of the user's own; a specific force that the row leaves out is the group's, and `source` says so.

    Whether its chips burn is told by the name.
    """
    return _material(name, row, is_combustible(name))


def is_combustible(name: str) -> bool:
    """Whether chips of a material can burn, by its name: the table's word for it, or a telling part of the name.

    >>> is_combustible("AZ91D"), is_combustible("Ti-6242"), is_combustible("4140")
    (True, True, False)
    """
    table, known, plain = _shipped(), _name_in_table(name), _plain_name(name)
    if known is not None:
        return (table.material.get(known) or table.refused[known]).combustible
    return any(_plain_name(word) in plain for word in table.combustible_words)


def _material(name: str, row: MaterialRow, combustible: bool) -> Material:
    group = _shipped().group.get(row.group)
    lent = [column for column in ("kc11", "mc") if getattr(row, column) is None]
    lender = f"{' and '.join(lent)} of group {row.group}"
    return Material(
        name=name,
        group=row.group,
        surface_speed_m_per_min=row.surface_speed,
        feed_per_tooth_of_diameter=row.feed_per_tooth_of_diameter,
        kc11_n_per_mm2=group.kc11 if row.kc11 is None and group else row.kc11,
        mc=group.mc if row.mc is None and group else row.mc,
        combustible=combustible,
        source=f"{row.source}; {lender}" if lent and group else row.source,
    )


def _name_in_table(name: str) -> str | None:
    plain = _plain_name(name)
    return next((known for spelling, known in _shipped().spellings() if _plain_name(spelling) == plain), None)


def _remedy(name: str) -> str:
    near = _nearest(name)
    if not near:
        return f"known are {', '.join(_shipped().material)}; otherwise {_OWN_DATA}"
    return f"did you mean {' or '.join(repr(known) for known in near)}? Otherwise {_OWN_DATA}"


def _nearest(name: str) -> list[str]:
    """Names of which `name` is a part or the other way round, else those spelled much alike; best first."""
    plain = _plain_name(name)
    owner = {_plain_name(spelling): known for spelling, known in _shipped().spellings()}
    kin = [
        spelling
        for spelling in owner
        if (plain and plain in spelling) or (len(spelling) >= _TELLING_LETTERS and spelling in plain)
    ]
    alike = kin or difflib.get_close_matches(plain, owner, n=2 * _MOST_SUGGESTIONS, cutoff=_LIKE_ENOUGH)
    return list(dict.fromkeys(owner[spelling] for spelling in alike))[:_MOST_SUGGESTIONS]
