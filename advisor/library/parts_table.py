"""The parts of a batch as rows of a spreadsheet: ``parts.csv``, always metric."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from advisor.library.summary import Outcome, PartSummary
from advisor.model import SLOPE_CLASSES
from advisor.pack.tables import Cell, safe_cell

_SIZES = ("size_x_mm", "size_y_mm", "size_z_mm")
COLUMNS = (
    "file", "folder", "status", "reason", *_SIZES, "facets", "bodies", "watertight", "area_mm2", "zones",
    *(f"{name}_area_mm2" for name in SLOPE_CLASSES), "cutter", "cutter_diameter_mm", "finish_path_mm", "total_min",
    "warnings",
)  # fmt: skip


def parts_csv(outcomes: Iterable[Outcome]) -> str:
    """Text of ``parts.csv``: a header row, then one row a part; empty cells are not computed."""
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows({key: safe_cell(value) for key, value in _row(outcome).items()} for outcome in outcomes)
    return text.getvalue()


def _row(outcome: Outcome) -> dict[str, Cell]:
    if not isinstance(outcome, PartSummary):
        return {"file": outcome.file, "status": "not planned", "reason": outcome.reason}
    return {
        "file": outcome.file,
        "folder": outcome.folder,
        "status": "planned",
        **dict(zip(_SIZES, outcome.size_mm, strict=True)),
        "facets": outcome.facets,
        "bodies": outcome.bodies,
        "watertight": outcome.watertight,
        "area_mm2": outcome.area_mm2,
        "zones": outcome.zones,
        **{f"{name}_area_mm2": outcome.class_area_mm2[name] for name in SLOPE_CLASSES},
        "cutter": outcome.cutter,
        "cutter_diameter_mm": outcome.cutter_diameter_mm,
        "finish_path_mm": outcome.finish_path_mm,
        "warnings": len(outcome.warnings),
    }
