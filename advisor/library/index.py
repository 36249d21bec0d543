"""The index of a batch: one page of its own, with every part in a row."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import PurePosixPath
from typing import TYPE_CHECKING
from urllib.parse import quote

from advisor.advice.cautions import GENERAL
from advisor.library.summary import Failure, Outcome, PartSummary
from advisor.library.work import PLANS, THUMBNAILS
from advisor.model import SLOPE_CLASSES
from advisor.pack.palette import CLASS_STYLES, FAINT_INK, INK, QUIET_INK, TOOL_AXIS, Colour
from advisor.units import MM_PER_UNIT

if TYPE_CHECKING:
    from jinja2 import Template

_MM_PER_METRE, _INCHES_PER_FOOT = 1000.0, 12.0
# Below this width, in percent of the bar, a class is drawn this wide, so that it can be seen at all.
_THINNEST_PERCENT = 1.5
# Long names may break here.
_WORD_END = re.compile(r"(?<=[_\-. ])(?=\w)")


@dataclass(frozen=True)
class IndexHead:
    """What the page says of the whole batch; ``found`` counts parts with and without an outcome."""

    title: str
    found: int
    inches: bool
    pictures: bool
    settings: tuple[str, ...]
    flat_below_deg: float
    steep_from_deg: float
    made_with: str
    made_on: str


@dataclass(frozen=True)
class _Cell:
    """A number as it is read, and as it is sorted by."""

    text: str
    value: float


@dataclass(frozen=True)
class _Share:
    """A slope class in the bar of a part."""

    name: str
    percent: float
    text: str


@dataclass(frozen=True)
class _Row:
    """A planned part in words; links are quoted."""

    file: str
    name: str
    name_pieces: tuple[str, ...]
    above: str
    plan_link: str
    map_link: str
    thumbnail_link: str
    size: _Cell
    facets: _Cell
    zones: _Cell
    area: _Cell
    shares: tuple[_Share, ...]
    cutter: _Cell
    path: _Cell
    notes: tuple[str, ...]


def index_html(head: IndexHead, outcomes: Sequence[Outcome]) -> str:
    """The page as text: no network, links relative to the folder of the batch, every name shown as plain text."""
    rows = [_row(outcome, head.inches) for outcome in outcomes if isinstance(outcome, PartSummary)]
    failures = [outcome for outcome in outcomes if isinstance(outcome, Failure)]
    return _template().render(
        head=head,
        rows=rows,
        failures=failures,
        missing=head.found - len(outcomes),
        length="in" if head.inches else "mm",
        path_unit="ft" if head.inches else "m",
        classes={name: CLASS_STYLES[name].paint for name in SLOPE_CLASSES},
        colours={"ink": INK, "quiet": QUIET_INK, "faint": FAINT_INK, "link": TOOL_AXIS},
        cautions=GENERAL,
    )


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    page.filters["css"] = _css
    return page.from_string(files("advisor.library").joinpath("index.html.jinja").read_text(encoding="utf-8"))


def _css(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _row(part: PartSummary, inches: bool) -> _Row:
    mm = MM_PER_UNIT["inch"] if inches else 1.0
    path_mm = mm * _INCHES_PER_FOOT if inches else _MM_PER_METRE
    sides = [side / mm for side in part.size_mm]
    file = PurePosixPath(part.file)
    place = part.folder.removeprefix(f"{PLANS}/")
    return _Row(
        file=part.file,
        name=file.name,
        name_pieces=tuple(_WORD_END.split(file.name)),
        above="" if file.parent == PurePosixPath() else f"in {file.parent}",
        plan_link=quote(f"{part.folder}/plan.json"),
        map_link=quote(f"{part.folder}/zone_map.png"),
        thumbnail_link=quote(f"{THUMBNAILS}/{place}.png"),
        size=_Cell(" \N{MULTIPLICATION SIGN} ".join(_number(side) for side in sides), max(sides)),
        facets=_Cell(f"{part.facets:,}", part.facets),
        zones=_Cell(f"{part.zones:,}", part.zones),
        area=_Cell(_number(part.area_mm2 / mm**2), part.area_mm2),
        shares=_shares(part),
        cutter=_Cell(part.cutter, part.cutter_diameter_mm),
        path=_Cell(_number(part.finish_path_mm / path_mm), part.finish_path_mm),
        notes=part.warnings,
    )


def _shares(part: PartSummary) -> tuple[_Share, ...]:
    areas = {name: part.class_area_mm2[name] for name in SLOPE_CLASSES if part.class_area_mm2[name] > 0}
    total = sum(areas.values())
    wide = {name: max(100.0 * area / total, _THINNEST_PERCENT) for name, area in areas.items()}
    scale = 100.0 / sum(wide.values()) if wide else 1.0
    return tuple(_Share(name, scale * wide[name], _percent(area / total)) for name, area in areas.items())


def _percent(share: float) -> str:
    return "<1 %" if share < 0.01 else f"{share:.0%}".replace("%", " %")


def _number(value: float) -> str:
    """Four digits at most before the point are cut; thousands are parted."""
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"
