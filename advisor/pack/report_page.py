"""``report.html``: the whole report in one page that needs no network, with its pictures and its 3D view inside."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from advisor.model import Plan
from advisor.pack.maps import COLOUR_MODES
from advisor.pack.palette import Colour
from advisor.pack.report_blocks import Legend, Report
from advisor.pack.report_mesh import ViewerData, viewer_data
from advisor.pack.report_numbers import numbers_of
from advisor.pack.report_pictures import SetupViews, first_map, legend_of, still_of
from advisor.words import plain_number

if TYPE_CHECKING:
    from jinja2 import Environment

_MODE_WORDS: Final = {
    "class": "slope class", "zone": "zone", "strategy": "strategy", "slope": "slope", "cusp": "cusp of the passes",
    "reach": "where the cutter gets", "ball": "largest ball that fits", "leftover": "material left over",
    "stick_out": "stick-out needed",
}  # fmt: skip


def report_page(plan: Plan, report: Report, setups: list[SetupViews]) -> str:
    """The page as text: nothing in it is fetched, and every name from a file or a job shows as plain text."""
    data = viewer_data(plan, setups)
    pictures = {**report.pictures, "still": still_of(report.pictures[first_map(setups)])}
    report = replace(report, pictures=pictures)
    style, script = _part("page.css"), _part("viewer.min.js")
    return (
        _environment()
        .get_template("page.html.jinja")
        .render(
            report=report,
            viewer=data,
            view_words=_view_words(plan, data),
            legends={mode: legend_of(colours) for mode, colours in data.maps.items()},
            modes=[(mode, _MODE_WORDS[mode]) for mode in COLOUR_MODES if mode in data.maps],
            zones=[(zone.id, numbers_of(plan.record).unit.height_words(zone)) for zone in plan.zones],
            setups=[setup.name for setup in plan.record.setups],
            pictures={name: _data_url(picture.png) for name, picture in report.pictures.items()},
            style=Markup(style),
            script=Markup(script),
            told=Markup(_safe_in_script(data.told)),
            licence=Markup(_part("three-license.txt").replace("--", "- -")),
            style_hash=_hash(style),
            script_hash=_hash(script),
        )
    )


def _view_words(plan: Plan, data: ViewerData) -> str:
    """What of the part the 3D view shows."""
    shown = f"{data.facets:,} facets"
    if data.deviation_mm is None:
        parts = data.facets > len(plan.facets.faces)
        return f"The model as planned, {shown}{', large ones shown in parts' if parts else ''}."
    numbers = numbers_of(plan.record)
    off = plain_number(data.deviation_mm / numbers.unit.mm)
    return (
        f"Simplified for the screen to {shown} of {len(plan.facets.faces):,}: no corner of the model lies more than "
        f"{off} {numbers.length_sign} off what is shown. Numbers, tables and still pictures are of the whole model."
    )


def _data_url(png: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"


def _hash(text: str) -> str:
    """What a content policy calls a script or a style by."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}"


def _safe_in_script(text: str) -> str:
    """JSON that cannot end the element it stands in."""
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


@cache
def _part(name: str) -> str:
    return files("advisor.pack").joinpath("report", name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    page = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, loader=FunctionLoader(_part)
    )
    page.filters["css"] = _css
    page.filters["stripes"] = _stripes
    return page


def _css(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _stripes(legend: Legend) -> list[tuple[str, float, float]]:
    """Colours of a bar with where each begins and how long it is, in hundredths of the bar."""
    colours = legend.scale.colours if legend.scale else ()
    # neighbours of one colour are one stripe; a fine scale needs no more stripes than a screen shows
    stride = max(1, len(colours) // 60)
    wide = 100.0 / max(1, len(colours))
    return [(_css(colours[k]), k * wide, min(stride, len(colours) - k) * wide) for k in range(0, len(colours), stride)]
