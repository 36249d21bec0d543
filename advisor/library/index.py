"""The index of a batch: one page of its own with every part, its totals and plots; data first, drawn by its script.

The rows are one line of JSON each, written as they come, so that ten thousand parts cost the batch no memory; the page
shows a hundred at a time.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, TextIO
from urllib.parse import quote

from markupsafe import Markup

from advisor.advice.cautions import GENERAL
from advisor.library.summary import Failure, Outcome, PartSummary
from advisor.library.work import PLANS, THUMBNAILS
from advisor.model import SLOPE_CLASSES
from advisor.pack.palette import CLASS_STYLES, Colour
from advisor.units import MM_PER_UNIT

if TYPE_CHECKING:
    from jinja2 import Template

    from advisor.library.alike import Alike
    from advisor.library.lists import BatchHead

# Where in the page the rows go.
_ROWS, _FAILURES = "@rows@", "@failures@"
_MM_PER_METRE, _INCHES_PER_FOOT = 1000.0, 12.0
# Digits that count in the page; the tables have all of them.
_DIGITS = 5


def write_index(
    head: BatchHead,
    walk: Callable[[], Iterator[Outcome]],
    alike: Mapping[str, Alike],
    has_parquet: bool,
    file: TextIO,
) -> None:
    """Write the page: no network, links relative to the folder of the batch, every name shown as plain text."""
    style, script = _part("index.css"), _part("index.js")
    page = _template().render(
        head=head,
        has_parquet=has_parquet,
        told=Markup(_json(_told(head))),
        cautions=GENERAL,
        style=Markup(style),
        script=Markup(script),
        style_hash=_hash(style),
        script_hash=_hash(script),
    )
    before, rest = page.split(_ROWS)
    between, after = rest.split(_FAILURES)
    file.write(before)
    _write_rows(file, (_row(part, head, alike.get(part.file)) for part in walk() if isinstance(part, PartSummary)))
    file.write(between)
    _write_rows(file, (_failure(part, head) for part in walk() if isinstance(part, Failure)))
    file.write(after)


def _write_rows(file: TextIO, rows: Iterator[list[Any]]) -> None:
    file.write("[")
    for number, row in enumerate(rows):
        file.write((",\n" if number else "\n") + _json(row))
    file.write("]")


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return page.from_string(_part("index.html.jinja"))


@cache
def _part(name: str) -> str:
    text = files("advisor.library").joinpath("page", name).read_text(encoding="utf-8")
    if not name.endswith(".css"):
        return text
    paints = {slope: CLASS_STYLES[slope].paint for slope in SLOPE_CLASSES}
    return text + "".join(_paint_rule(slope, paint.lit, paint.hatch) for slope, paint in paints.items())


def _paint_rule(name: str, lit: Colour, hatch: Colour | None) -> str:
    if hatch is None:
        return f".{name} {{ background: {_css(lit)}; }}\n"
    lines = f"repeating-linear-gradient(135deg, {_css(lit)} 0 4px, {_css(hatch)} 4px 6px)"
    return f".{name} {{ background: {lines}; }}\n"


def _css(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _hash(text: str) -> str:
    """What a content policy calls a script or a style by."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}"


def _json(value: Any) -> str:
    """JSON that may stand in a script of a page: nothing in it ends the script."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _told(head: BatchHead) -> dict[str, Any]:
    mm = MM_PER_UNIT["inch"] if head.inches else 1.0
    return {
        "found": head.found,
        "pictures": head.pictures,
        "reports": head.reports,
        "lengthSign": "in" if head.inches else "mm",
        "lengthMm": mm,
        "pathSign": "ft" if head.inches else "m",
        "pathMm": mm * _INCHES_PER_FOOT if head.inches else _MM_PER_METRE,
        "cuspSign": "µin" if head.inches else "µm",
        "cuspUm": mm / 1000 if head.inches else 1.0,
        "classes": list(SLOPE_CLASSES),
        "plans": f"{PLANS}/",
        "thumbnails": f"{THUMBNAILS}/",
        "quantities": head.quantities.source,
    }


def _row(part: PartSummary, head: BatchHead, like: Alike | None) -> list[Any]:
    """In the order that ``index.js`` names."""
    return [
        part.file,
        quote(part.folder.removeprefix(f"{PLANS}/")),
        [_short(side) for side in part.size_mm],
        part.zones,
        [_short(part.class_area_mm2[name]) for name in SLOPE_CLASSES],
        part.cutter,
        _short(part.cutter_diameter_mm),
        _short(part.smallest_ball_mm),
        _short(part.cusp_um),
        _short(part.finish_path_mm),
        _short(part.total_min),
        part.setups,
        part.repeats,
        head.quantities.of(part.file),
        list(part.warnings),
        None if like is None else like.family,
        None if like is None else [like.file, _short(like.difference_share)],
    ]


def _failure(failure: Failure, head: BatchHead) -> list[Any]:
    return [failure.file, failure.reason, head.retry(failure)]


def _short(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{_DIGITS}g}")
