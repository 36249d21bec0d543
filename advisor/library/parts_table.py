"""The parts of a batch as rows: ``parts.csv`` and ``parts.parquet`` have the same columns, always metric."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from typing import TextIO

from advisor.library.alike import Alike
from advisor.library.quantities import Quantities
from advisor.library.summary import Outcome, PartSummary
from advisor.model import SLOPE_CLASSES
from advisor.pack.tables import Cell, safe_cell

_SIZES = ("size_x_mm", "size_y_mm", "size_z_mm")
_AREAS = tuple(f"{name}_area_mm2" for name in SLOPE_CLASSES)
# Columns by name, and their type: text, whole, number or yes (or no).
_TYPES = {
    "file": "text", "folder": "text", "status": "text", "reason": "text", **dict.fromkeys(_SIZES, "number"),
    "facets": "whole", "bodies": "whole", "watertight": "yes", "area_mm2": "number", "zones": "whole",
    **dict.fromkeys(_AREAS, "number"), "cutter": "text", "cutter_diameter_mm": "number", "smallest_ball_mm": "number",
    "cusp_um": "number", "finish_path_mm": "number", "setups": "whole", "repeats": "whole", "cutting_min": "number",
    "total_min": "number", "quantity": "whole", "quantity_min": "number", "warnings": "whole",
    "family": "whole", "like": "text", "like_difference_share": "number",
}  # fmt: skip
COLUMNS = tuple(_TYPES)
_ROWS_A_GROUP = 1000


def write_parts_csv(
    outcomes: Iterable[Outcome], quantities: Quantities, alike: Mapping[str, Alike], file: TextIO
) -> None:
    """Write a header row, then one row a part; empty cells are not computed."""
    writer = csv.DictWriter(file, fieldnames=COLUMNS, lineterminator="\n")
    writer.writeheader()
    for outcome in outcomes:
        writer.writerow({key: safe_cell(value) for key, value in part_row(outcome, quantities, alike).items()})


def can_write_parquet() -> bool:
    """Whether the library that writes Parquet is installed (the extra ``parquet``)."""
    return find_spec("pyarrow") is not None


def write_parts_parquet(
    outcomes: Iterable[Outcome], quantities: Quantities, alike: Mapping[str, Alike], path: Path
) -> None:
    """Write the rows of ``parts.csv`` as a Parquet file; what is not computed is null."""
    import pyarrow
    from pyarrow import parquet

    kinds = {"text": pyarrow.string(), "whole": pyarrow.int64(), "yes": pyarrow.bool_(), "number": pyarrow.float64()}
    schema = pyarrow.schema([(name, kinds[kind]) for name, kind in _TYPES.items()])
    rows = (part_row(outcome, quantities, alike) for outcome in outcomes)
    with parquet.ParquetWriter(path, schema) as writer:
        while group := list(islice(rows, _ROWS_A_GROUP)):
            columns = {name: [row.get(name) for row in group] for name in COLUMNS}
            writer.write_table(pyarrow.table(columns, schema))


def part_row(outcome: Outcome, quantities: Quantities, alike: Mapping[str, Alike]) -> dict[str, Cell]:
    """One row by column; columns that are left out are not computed."""
    if not isinstance(outcome, PartSummary):
        return {"file": outcome.file, "status": "not planned", "reason": outcome.reason}
    pieces = quantities.of(outcome.file)
    like = alike.get(outcome.file)
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
        **dict(zip(_AREAS, (outcome.class_area_mm2[name] for name in SLOPE_CLASSES), strict=True)),
        "cutter": outcome.cutter,
        "cutter_diameter_mm": outcome.cutter_diameter_mm,
        "smallest_ball_mm": outcome.smallest_ball_mm,
        "cusp_um": outcome.cusp_um,
        "finish_path_mm": outcome.finish_path_mm,
        "setups": outcome.setups,
        "repeats": outcome.repeats,
        "cutting_min": outcome.cutting_min,
        "total_min": outcome.total_min,
        "quantity": pieces,
        "quantity_min": None if outcome.total_min is None else pieces * outcome.total_min,
        "warnings": len(outcome.warnings),
        "family": None if like is None else like.family,
        "like": None if like is None else like.file,
        "like_difference_share": None if like is None else round(like.difference_share, 4),
    }
