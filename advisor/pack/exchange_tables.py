"""Tables of a plan for spreadsheets and data frames: zones, candidates and facets, as CSV or Parquet."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, Literal, get_args

import numpy as np

from advisor.errors import needs_extra
from advisor.model import Plan
from advisor.pack.candidates_csv import COLUMNS, candidate_rows
from advisor.pack.colour_map import facet_areas
from advisor.pack.exchange_fields import Field, facet_corners, facet_fields
from advisor.pack.tables import csv_text, zone_rows

TableName = Literal["zones", "candidates", "facets"]
TABLES: Final[tuple[TableName, ...]] = get_args(TableName)

Column = Sequence[Any] | Field


def table_columns(plan: Plan, table: TableName) -> dict[str, Column]:
    """A table by column; None, or NaN in the columns of facets, is not known."""
    if table == "facets":
        return facet_columns(plan)
    rows = zone_rows(plan.record) if table == "zones" else candidate_rows(plan.record)
    names = list(COLUMNS) if table == "candidates" else list(rows[0]) if rows else ["id"]
    return {name: [row[name] for row in rows] for name in names}


def facet_columns(plan: Plan) -> dict[str, Column]:
    """Number, middle, area and every field there is of each facet, in the order of ``facets.npz``."""
    middles = facet_corners(plan.facets).mean(axis=1)
    return {
        "facet": np.arange(len(middles), dtype=np.int64),
        **{f"{axis}_mm": middles[:, k] for k, axis in enumerate("xyz")},
        "area_mm2": facet_areas(plan),
        **facet_fields(plan.facets),
    }


def table_csv(plan: Plan, table: TableName) -> str:
    """A table as text: a header row, then the rows; what is not known is empty."""
    columns = table_columns(plan, table)
    if table != "facets":
        rows = zip(*columns.values(), strict=True)
        return csv_text(list(columns), (dict(zip(columns, row, strict=True)) for row in rows))
    text = io.StringIO()
    text.write(",".join(columns) + "\n")
    told = [_number_words(np.asarray(column)) for column in columns.values()]
    text.writelines(",".join(row) + "\n" for row in zip(*told, strict=True))
    return text.getvalue()


def _number_words(column: Field) -> list[str]:
    """Numbers in as few digits as tell them apart; NaN is an empty cell."""
    return ["" if is_gap else str(number) for number, is_gap in zip(column, np.isnan(column), strict=True)]


def save_parquet(plan: Plan, table: TableName, path: Path) -> None:
    """A table as a Parquet file, every column of one type; what is not known is null.

    Raises
    ------
    InputError
        Where the library that writes the format is not installed.
    """
    check_parquet_can_be_written(path)
    import pyarrow
    from pyarrow import parquet

    arrays = {name: _arrow(column) for name, column in table_columns(plan, table).items()}
    told = pyarrow.table(arrays).replace_schema_metadata(
        {"part": plan.record.part.name, "advisor": plan.record.version, "units": "in the names of the columns"}
    )
    parquet.write_table(told, path)


def check_parquet_can_be_written(path: Path) -> None:
    """Raise ``InputError`` where the library that writes the format is not installed."""
    try:
        import pyarrow  # noqa: F401
    except ImportError as fault:
        raise needs_extra(str(path), "pyarrow", "parquet", ", or write CSV") from fault


def _arrow(column: Column) -> Any:
    import pyarrow

    if isinstance(column, np.ndarray):
        return pyarrow.array(column, from_pandas=True)  # NaN becomes null
    array = pyarrow.array(column)
    # a column in which nothing is known counts as numbers: most are
    return array.cast(pyarrow.float64()) if pyarrow.types.is_null(array.type) else array
