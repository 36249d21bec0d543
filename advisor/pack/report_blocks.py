"""What a report is made of: sections of plain blocks, which the page and the PDF both set in their own way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from advisor.pack.palette import Colour

ColumnKind = Literal["text", "number", "picture"]


@dataclass(frozen=True)
class Column:
    """A column of a table: its heading, the unit under it, and what stands in its cells.

    ``share`` is what of a printed line the column asks for, beside the others.
    """

    heading: str
    unit: str = ""
    kind: ColumnKind = "text"
    share: float = 1.0


@dataclass(frozen=True)
class Row:
    """Cells of a table, a text a column (the name of a picture where the column has pictures).

    ``zone`` is the zone it tells of, or 0; ``is_sum`` is set of a row that adds up those above.
    """

    cells: tuple[str, ...]
    zone: int = 0
    is_sum: bool = False


@dataclass(frozen=True)
class Table:
    """Rows under headings."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    block: Literal["table"] = "table"


@dataclass(frozen=True)
class Facts:
    """Labels and values."""

    pairs: tuple[tuple[str, str], ...]
    block: Literal["facts"] = "facts"


@dataclass(frozen=True)
class Sentences:
    """Sentences one by one; ``is_list`` where they are points of a list."""

    lines: tuple[str, ...]
    is_list: bool = False
    block: Literal["sentences"] = "sentences"


@dataclass(frozen=True)
class LegendEntry:
    """A paint and what it means; ``lean_deg`` is the lean of its mark, None without one."""

    colour: Colour
    hatch: Colour | None
    lean_deg: float | None
    ink: Colour
    name: str
    words: str
    share: str


@dataclass(frozen=True)
class LegendScale:
    """A bar of colours with numbers along it: places are shares of its length."""

    colours: tuple[Colour, ...]
    ticks: tuple[tuple[float, str], ...]
    sign: str


@dataclass(frozen=True)
class Legend:
    """What the colours of a map mean."""

    heading: str
    scale: LegendScale | None
    entries: tuple[LegendEntry, ...]
    note: str = ""


@dataclass(frozen=True)
class Figure:
    """A picture by its name, with what it shows in words."""

    picture: str
    words: str
    caption: str = ""
    share: float = 1.0


@dataclass(frozen=True)
class Figures:
    """Pictures side by side, with the legend that they share."""

    figures: tuple[Figure, ...]
    legend: Legend | None = None
    block: Literal["figures"] = "figures"


@dataclass(frozen=True)
class ZoneCard:
    """All that is said of a zone: facts, then reasons as sentences.

    ``copied`` says of a copy which zone it is one of, and how it is moved: on paper that is enough.
    """

    zone: int
    title: str
    pairs: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]
    copied: str = ""


@dataclass(frozen=True)
class Cards:
    """Zone cards."""

    cards: tuple[ZoneCard, ...]
    block: Literal["cards"] = "cards"


@dataclass(frozen=True)
class Viewer:
    """The place of the 3D view; in print it is empty, the still pictures stand beside."""

    block: Literal["viewer"] = "viewer"


Block = Table | Facts | Sentences | Figures | Cards | Viewer


@dataclass(frozen=True)
class Section:
    """A part of the report under a heading; ``name`` is its anchor."""

    name: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Picture:
    """A picture as a PNG file, and its size in pixels."""

    png: bytes
    width: int
    height: int


@dataclass(frozen=True)
class Report:
    """The whole report.

    Attributes
    ----------
    title : str
    told : tuple of (str, str)
        Title block: what is known.
    blanks : tuple of str
        Title block: what is filled in by hand.
    note : str
        Title block: what the job says to who reads it; empty where it says nothing.
    sections : tuple of Section
    pictures : mapping of name to Picture
    foot : str
        Who made it, from what.
    """

    title: str
    told: tuple[tuple[str, str], ...]
    blanks: tuple[str, ...]
    note: str
    sections: tuple[Section, ...]
    pictures: Mapping[str, Picture]
    foot: str
