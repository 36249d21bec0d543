"""Every way to cut every zone as rows of a spreadsheet: the candidates of ``plan.json``, one row each."""

from __future__ import annotations

from advisor.model import Advice, PlanRecord, Zone
from advisor.pack.tables import Cell, csv_text

COLUMNS = (
    "zone", "setup", "name", "area_mm2", "strategy", "usable", "advised", "is_laid", "stage", "tool",
    "stepover_mm", "line_spacing_mm", "z_step_mm", "direction_deg",
    "cusp_target_um", "cusp_p95_um", "cusp_max_um", "cusp_mean_um", "cusp_uniformity", "above_target_share", "ra_um",
    "passes", "spirals", "path_mm", "centre_path_mm", "lifts", "link_mm", "lift_mm",
    "feed_mm_per_min", "cutting_min", "total_min", "total_min_least", "total_min_most",
    "tip_contact_share", "uncut_share", "out_of_reach_share", "gouge_um", "why",
)  # fmt: skip
# Columns that are a candidate's own fields, under their own names.
_OWN = (
    "strategy", "usable", "is_laid", "stage", "stepover_mm", "line_spacing_mm", "z_step_mm", "direction_deg",
    "cusp_mean_um", "cusp_uniformity", "above_target_share", "ra_um", "passes", "spirals", "path_mm",
    "centre_path_mm", "lifts", "link_mm", "lift_mm", "feed_mm_per_min", "cutting_min", "total_min",
    "tip_contact_share", "uncut_share", "out_of_reach_share", "gouge_um",
)  # fmt: skip


def candidates_csv(record: PlanRecord) -> str:
    """Text of ``candidates.csv``: a header row, then one row a zone and strategy; empty cells are not known."""
    return csv_text(COLUMNS, candidate_rows(record))


def candidate_rows(record: PlanRecord) -> list[dict[str, Cell]]:
    """One row a zone and strategy, by column; None is not known."""
    return [_row(zone, told, record) for zone in record.zones for told in zone.candidates]


def is_advised(zone: Zone, candidate: Advice) -> bool:
    """Whether a candidate is what the plan advises for its zone."""
    advice = zone.advice
    return advice is not None and advice.usable and advice.strategy == candidate.strategy


def _row(zone: Zone, told: Advice, record: PlanRecord) -> dict[str, Cell]:
    least, most = told.total_min_range or (None, None)
    return {
        "zone": zone.id,
        "setup": zone.setup,
        "name": zone.name,
        "area_mm2": zone.area_mm2,
        "advised": is_advised(zone, told),
        "tool": record.tools[told.tool].name,
        "cusp_target_um": told.cusp_um.target,
        "cusp_p95_um": told.cusp_um.p95,
        "cusp_max_um": told.cusp_um.max,
        "total_min_least": least,
        "total_min_most": most,
        "why": " ".join(told.why),
        **{name: getattr(told, name) for name in _OWN},
    }
