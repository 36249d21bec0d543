"""The zones as rows of a spreadsheet: the numbers of ``plan.json``, one row a zone."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from advisor.model import Advice, PlanRecord, Range, Zone

Cell = str | int | float | bool | None


def zones_csv(record: PlanRecord) -> str:
    """Text of ``zones.csv``: a header row, then one row a zone; empty cells are not computed."""
    rows = zone_rows(record)
    return csv_text(list(rows[0]) if rows else ["id"], rows)


def zone_rows(record: PlanRecord) -> list[dict[str, Cell]]:
    """One row a zone, by column; None is not computed."""
    return [_row(zone, record) for zone in record.zones]


def csv_text(columns: Sequence[str], rows: Iterable[Mapping[str, Cell]]) -> str:
    """Text of a spreadsheet with these columns: a header row, then the rows; None is an empty cell."""
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows({key: safe_cell(value) for key, value in row.items()} for row in rows)
    return text.getvalue()


# A spreadsheet runs a cell that begins with one of these; names come from files and jobs of other people.
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


def safe_cell(value: Cell) -> Cell:
    """The value, or, where a spreadsheet would run it as a formula, the same text that it only shows."""
    if isinstance(value, str) and value.startswith(_FORMULA_SIGNS):
        return "'" + value
    return value


def _row(zone: Zone, record: PlanRecord) -> dict[str, Cell]:
    row: dict[str, Cell] = {
        "id": zone.id,
        "setup": zone.setup,
        "name": zone.name,
        "slope_class": zone.slope_class,
        "shape": zone.shape,
        "features": zone.features,
        "facets": zone.facets,
        "area_mm2": zone.area_mm2,
        "plan_area_mm2": zone.plan_area_mm2,
        "slope_min_deg": zone.slope_deg.min,
        "slope_p05_deg": zone.slope_deg.p05,
        "slope_mean_deg": zone.slope_deg.mean,
        "slope_p95_deg": zone.slope_deg.p95,
        "slope_max_deg": zone.slope_deg.max,
        "z_min_mm": zone.z_mm.min,
        "z_max_mm": zone.z_mm.max,
        "flat_mm2": zone.class_area_mm2.flat,
        "shallow_mm2": zone.class_area_mm2.shallow,
        "steep_mm2": zone.class_area_mm2.steep,
        "undercut_mm2": zone.class_area_mm2.undercut,
        "is_closed": zone.is_closed,
        "concave_radius_mm": zone.concave_radius_mm,
        "reachable_share": zone.reachable_share,
        "held_back_by": zone.reach.held_back_by if zone.reach else None,
        "cutter_share": zone.reach.cutter_share if zone.reach else None,
        "shank_share": zone.reach.shank_share if zone.reach else None,
        "holder_share": zone.reach.holder_share if zone.reach else None,
        "shank_short_mm": zone.reach.shank_short_mm if zone.reach else None,
        "stick_out_mm": zone.reach.stick_out_mm if zone.reach else None,
        "largest_diameter_mm": zone.reach.largest_diameter_mm if zone.reach else None,
        "fit_diameter_mm": zone.reach.fit_diameter_mm if zone.reach else None,
        "fit_share": zone.reach.fit_share if zone.reach else None,
        "leftover_mm2": zone.reach.leftover.area_mm2 if zone.reach and zone.reach.leftover else None,
        "leftover_max_um": zone.reach.leftover.max_um if zone.reach and zone.reach.leftover else None,
        "leftover_places": " ".join(str(place.id) for place in record.leftovers if zone.id in place.zones),
        "repeats_group": zone.repeats.group if zone.repeats else None,
        "repeats_of": zone.repeats.of if zone.repeats else None,
        "repeats_turn_deg": zone.repeats.turn_deg if zone.repeats else None,
        "surface": zone.surface.kind if zone.surface else None,
        "surface_radius_mm": zone.surface.radius_mm if zone.surface else None,
        "outline_mm": zone.outline.length_mm if zone.outline else None,
        "overlap_mm": zone.outline.overlap_mm if zone.outline else None,
        "neighbours": " ".join(str(neighbour.zone) for neighbour in zone.neighbours),
    }
    row.update(_advice_cells(zone.advice, record))
    return row


def _advice_cells(advice: Advice | None, record: PlanRecord) -> Mapping[str, Cell]:
    def of(name: str) -> Any:
        return None if advice is None else getattr(advice, name)

    def span(name: str) -> Range:
        return of(name) or Range(None, None)  # type: ignore[arg-type]

    return {
        "strategy": of("strategy"),
        "usable": of("usable"),
        "tool": record.tools[advice.tool].name if advice else None,
        "stage": of("stage"),
        "stepover_mm": of("stepover_mm"),
        "line_spacing_mm": of("line_spacing_mm"),
        "z_step_mm": of("z_step_mm"),
        "direction_deg": of("direction_deg"),
        "cusp_target_um": advice.cusp_um.target if advice else None,
        "cusp_p95_um": advice.cusp_um.p95 if advice else None,
        "cusp_max_um": advice.cusp_um.max if advice else None,
        "ra_um": of("ra_um"),
        "contact_diameter_min_mm": span("contact_diameter_mm").min,
        "contact_diameter_max_mm": span("contact_diameter_mm").max,
        "tip_contact_share": of("tip_contact_share"),
        "cusp_along_feed_um": of("cusp_along_feed_um"),
        "spindle_rpm": of("spindle_rpm"),
        "surface_speed_min_m_per_min": span("surface_speed_m_per_min").min,
        "surface_speed_max_m_per_min": span("surface_speed_m_per_min").max,
        "mean_surface_speed_m_per_min": of("mean_surface_speed_m_per_min"),
        "feed_per_tooth_mm": of("feed_per_tooth_mm"),
        "feed_mm_per_min": of("feed_mm_per_min"),
        "corner_feed_mm_per_min": of("corner_feed_mm_per_min"),
        "tilt_deg": advice.tilt.tilt_deg if advice and advice.tilt else None,
        "tilt_allowed": advice.tilt.allowed if advice and advice.tilt else None,
        "error_total_um": advice.error_budget.total_um if advice and advice.error_budget else None,
        "error_within": advice.error_budget.within if advice and advice.error_budget else None,
        "passes": of("passes"),
        "path_mm": of("path_mm"),
        "lifts": of("lifts"),
        "cutting_min": of("cutting_min"),
        "total_min": of("total_min"),
        "why": " ".join(advice.why) if advice else None,
    }
