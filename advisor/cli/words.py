"""What the screen says of a plan: a table of zones and the lines around it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from advisor.advice.choose import in_words
from advisor.model import Part, Plan, Zone
from advisor.units import MM_PER_UNIT

if TYPE_CHECKING:
    from rich.table import Table

_MOST_ROWS = 20


def mend_lines(part: Part) -> list[str]:
    """Repairs and warnings, a line each."""
    mended = [f"mended: {repair.what}: {repair.count}" for repair in part.repairs]
    return mended + [f"note: {warning}" for warning in part.warnings]


def zone_table(plan: Plan) -> Table:
    """Zones with their advice, largest first, in the job's unit; fits 80 columns."""
    from rich.markup import escape
    from rich.table import Table

    unit = next(setting.value for setting in plan.record.settings if setting.name == "unit")
    short, per_mm = ("in", 1 / MM_PER_UNIT["inch"]) if unit == "inch" else ("mm", 1.0)
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    columns: tuple[tuple[str, Literal["left", "right"]], ...] = (
        ("zone", "right"), ("class", "left"), ("name", "left"), (f"area {short}2", "right"), ("strategy", "left"),
        (f"apart {short}", "right"), ("min", "right"),
    )  # fmt: skip
    for heading, justify in columns:
        table.add_column(heading, justify=justify, no_wrap=True)
    for zone in plan.zones[:_MOST_ROWS]:
        area = _area_words(zone.area_mm2 * per_mm**2)
        cells = (escape(zone.name), area, in_words(zone), _apart(zone, per_mm), _minutes(zone))
        table.add_row(str(zone.id), zone.slope_class, *cells)
    if len(plan.zones) > _MOST_ROWS:
        table.add_row("", "", f"+ {len(plan.zones) - _MOST_ROWS} in zones.csv")
    return table


def total_line(plan: Plan) -> str | None:
    """Minutes of all stages, as a range; nothing where they are not known."""
    span = plan.record.totals.total_min_range
    if span is None:
        return None
    return f"About {span[0]:.0f} to {span[1]:.0f} minutes in all stages, part handling and tool changes not counted."


def _minutes(zone: Zone) -> str:
    known = [step.total_min for step in zone.steps if step.usable and step.total_min is not None]
    minutes = sum(known)
    return (f"{minutes:.0f}" if minutes >= 10 else f"{minutes:.1f}") if known else "-"


def _area_words(area: float) -> str:
    return f"{area:,.0f}" if area >= 100 else f"{area:.3g}"


def _apart(zone: Zone, per_mm: float) -> str:
    """How far passes are apart: Z along the tool axis, XY in plan, or along the surface."""
    advice = zone.advice
    if advice is None or not advice.usable:
        return "-"
    if advice.z_step_mm is not None:
        return f"Z {advice.z_step_mm * per_mm:.3g}"
    if advice.line_spacing_mm is not None:
        return f"XY {advice.line_spacing_mm * per_mm:.3g}"
    return f"{(advice.stepover_mm or 0.0) * per_mm:.3g}"
