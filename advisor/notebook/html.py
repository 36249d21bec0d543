"""A plan as a piece of HTML for a notebook's cell: a small map, what the part is, and the zones."""

from __future__ import annotations

import base64
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from advisor.model import Plan, Zone
from advisor.pack.lengths import in_unit
from advisor.pack.page import plain_words
from advisor.pack.palette import CLASS_STYLES, UNZONED
from advisor.pack.picture_key import is_small
from advisor.pack.report_blocks import Table
from advisor.pack.report_numbers import minute_span, numbers_of
from advisor.pack.report_zones import zone_section

if TYPE_CHECKING:
    from jinja2 import Template

# Zones that a cell shows; the others stand in the tables.
MOST_ZONES: Final = 20
# Cautions that a cell shows.
_MOST_CAUTIONS: Final = 3
_MAP_SIZE: Final = (480, 360)
# Cells of notebooks are dark or light as the reader likes: text takes the colour that is there, and has no ground.
_PAGE: Final = """\
<div style="display:flex;flex-wrap:wrap;gap:1.5em;align-items:flex-start">
<img src="data:image/png;base64,{{ picture }}" width="{{ size[0] }}" height="{{ size[1] }}" alt="the part in its zones">
<div style="flex:1 1 20em;max-width:50em"><p><b>{{ title }}</b><br>{{ size_words }}<br>{{ sums }}</p>
<ul>{% for line in cautions %}<li>{{ line }}</li>{% endfor %}</ul></div>
</div>
<table><thead><tr>{% for column in columns %}
<th style="text-align:{{ 'right' if column.kind == 'number' else 'left' }}">{{ column.heading }}\
{% if column.unit %} ({{ column.unit }}){% endif %}</th>{% endfor %}
</tr></thead><tbody>{% for row, paint in rows %}
<tr>{% for cell in row.cells %}{% set column = columns[loop.index0] %}
<td style="text-align:{{ 'right' if column.kind == 'number' else 'left' }}">\
{% if loop.first and paint %}<span style="display:inline-block;width:0.8em;height:0.8em;border:1px solid #888;\
background:{{ paint }}"></span> {% endif %}{{ cell }}</td>{% endfor %}
</tr>{% endfor %}
</tbody></table>
{% if more %}<p>{{ more }} more zones: see <code>tables.zones</code>.</p>{% endif %}
"""


def plan_html(plan: Plan) -> str:
    """The piece of HTML; every name from a file or a job shows as plain text, and nothing is fetched."""
    record, numbers = plan.record, numbers_of(plan.record)
    table = zone_section(plan, {}).blocks[0]
    assert isinstance(table, Table)
    paints = {zone.id: _css_of(zone) for zone in plan.zones}
    zones = [row for row in table.rows if not row.is_sum]
    shown = [*zones[:MOST_ZONES], *(row for row in table.rows if row.is_sum)]
    size = " \N{MULTIPLICATION SIGN} ".join(numbers.unit.words(side) for side in record.part.size_mm)
    span = record.totals.total_min_range
    return _template().render(
        picture=_thumbnail(plan),
        size=_MAP_SIZE,
        title=plain_words(record.title.part or record.part.name),
        size_words=f"{size} {numbers.length_sign}",
        sums=f"{len(record.zones)} zones" + ("" if span is None else f", {minute_span(span)} min in all stages"),
        cautions=[in_unit(plain_words(line), numbers.unit) for line in record.cautions[:_MOST_CAUTIONS]],
        columns=table.columns,
        rows=[(row, paints.get(row.zone)) for row in shown],
        more=max(0, len(zones) - MOST_ZONES),
    )


def _css_of(zone: Zone) -> str:
    """The colour that most of a zone has in the map."""
    paint = UNZONED if is_small(zone) else CLASS_STYLES[zone.slope_class].paint
    return "#{:02x}{:02x}{:02x}".format(*paint.lit)


def _thumbnail(plan: Plan) -> str:
    import io

    from advisor.pack.picture import draw_thumbnail

    file = io.BytesIO()
    draw_thumbnail(plan, _MAP_SIZE).save(file, "PNG")
    return base64.b64encode(file.getvalue()).decode("ascii")


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    # a template from a string has no name to tell markup by
    page: Any = Environment(autoescape=True, undefined=StrictUndefined)
    template: Template = page.from_string(_PAGE)
    return template
