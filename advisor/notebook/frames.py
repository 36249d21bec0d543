"""Tables of a plan as pandas data frames: columns are named as in ``plan.json`` and the CSV files, units and all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import cached_property
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import numpy as np

from advisor.advice.what_if_records import WhatIf
from advisor.errors import needs_extra
from advisor.model import Leftover, Plan
from advisor.pack.exchange_tables import Column, TableName, table_columns
from advisor.pack.what_if_csv import what_if_rows
from advisor.pack.work_order import stage_sums, work_order

if TYPE_CHECKING:
    from pandas import DataFrame


def check_pandas() -> None:
    """Raise ``InputError`` where pandas is not installed."""
    if find_spec("pandas") is None:
        raise needs_extra("tables", "pandas", "notebook")


class Tables:
    """Data frames of a plan, each made when first asked for. What is not known is NaN or None.

    Raises
    ------
    InputError
        Where pandas is not installed.
    """

    def __init__(self, plan: Plan) -> None:
        check_pandas()
        self._plan = plan

    def __repr__(self) -> str:
        names = [name for name, value in vars(type(self)).items() if isinstance(value, cached_property)]
        return f"Tables({', '.join(names)})"

    @cached_property
    def zones(self) -> DataFrame:
        """A row a zone, by ``id``: the columns of ``zones.csv``."""
        return self._of("zones", "id")

    @cached_property
    def candidates(self) -> DataFrame:
        """A row a zone and strategy: the columns of ``candidates.csv``."""
        return self._of("candidates", None)

    @cached_property
    def facets(self) -> DataFrame:
        """A row a facet, in the order of ``facets.npz``: zone, middle, area and every number there is of it."""
        return self._of("facets", "facet")

    @cached_property
    def tools(self) -> DataFrame:
        """A row a cutter, by its place in the plan."""
        return _frame([asdict(tool) for tool in self._plan.record.tools], None)

    @cached_property
    def stages(self) -> DataFrame:
        """A row a stage: what it is asked for, its tool's name, zones that are cut, path and minutes."""
        record, rows = self._plan.record, []
        for number, stage in enumerate(record.stages):
            rows.append({**asdict(stage), "tool": record.tools[stage.tool].name, **asdict(stage_sums(record, number))})
        return _frame(rows, None)

    @cached_property
    def work(self) -> DataFrame:
        """The order of work, a row a step: set-up, stage, tool, tilt, strategy, zones in their order, path, minutes."""
        record = self._plan.record
        rows = [
            {
                "setup": record.setups[step.setup].name, "stage": step.stage, "tool": step.tool,
                "tilt_deg": step.orientation.tilt_deg if step.orientation else None,
                "azimuth_deg": step.orientation.azimuth_deg if step.orientation else None, "strategy": step.strategy,
                "zones": step.zones, "places": step.places, "path_mm": step.path_mm,
                "total_min": step.total_min,
            }
            for step in work_order(record)
        ]  # fmt: skip
        names = (
            "setup", "stage", "tool", "tilt_deg", "azimuth_deg", "strategy", "zones", "places", "path_mm", "total_min",
        )  # fmt: skip
        return _frame(rows, None, names)

    @cached_property
    def repeats(self) -> DataFrame:
        """A row a zone that is one of several copies: its group, its model, and the turn and shift from there."""
        rows = []
        for zone in self._plan.zones:
            if zone.repeats is None:
                continue
            told = asdict(zone.repeats)
            shift = dict(zip(("shift_x_mm", "shift_y_mm", "shift_z_mm"), told.pop("shift_mm"), strict=True))
            told.pop("centre_mm")
            rows.append({"zone": zone.id, "name": zone.name, **told, **shift})
        names = (
            "zone", "name", "group", "of", "turn_deg", "model", "is_mirrored", "pattern", "pitch_deg", "shift_x_mm",
            "shift_y_mm", "shift_z_mm",
        )  # fmt: skip
        return _frame(rows, None, names)

    @cached_property
    def leftovers(self) -> DataFrame:
        """A row a place that the finishing cutter is too large for, by ``id``, largest first."""
        return _frame([_place(place) for place in self._plan.record.leftovers], "id", tuple(_place(_NO_PLACE)))

    @cached_property
    def bare_places(self) -> DataFrame:
        """A row a place where the passes of the last stage leave more than is asked for; none where none were laid."""
        rows = [
            {"zone": place.zone, "area_mm2": place.area_mm2, "max_um": place.max_um, **_middle(place.middle_mm)}
            for place in self._plan.record.bare_places
        ]
        return _frame(rows, None, ("zone", "area_mm2", "max_um", "x_mm", "y_mm", "z_mm"))

    def _of(self, table: TableName, index: str | None) -> DataFrame:
        return _frame_of(table_columns(self._plan, table), index)


_NO_PLACE = Leftover((), "corner", (0.0, 0.0, 0.0), 0.0, 0.0, 0.0, None, None)


def _place(place: Leftover) -> dict[str, Any]:
    told = asdict(place)
    middle, why = told.pop("middle_mm"), " ".join(told.pop("why"))
    return {"id": told.pop("id"), **told, **_middle(middle), "why": why}


def _middle(middle_mm: tuple[float, float, float]) -> dict[str, float]:
    return dict(zip(("x_mm", "y_mm", "z_mm"), middle_mm, strict=True))


def what_if_frame(what_if: WhatIf) -> DataFrame:
    """Rows of a what-if: the columns of its CSV file."""
    check_pandas()
    return _frame(what_if_rows(what_if), None)


def _frame(rows: Sequence[Mapping[str, Any]], index: str | None, columns: Sequence[str] = ()) -> DataFrame:
    names = list(rows[0]) if rows else list(columns)
    return _frame_of({name: [row[name] for row in rows] for name in names}, index)


def _frame_of(columns: Mapping[str, Column], index: str | None) -> DataFrame:
    import pandas

    frame = pandas.DataFrame({name: _known(column) for name, column in columns.items()})
    return frame if index is None else frame.set_index(index)


def _known(column: Column) -> Any:
    """Numbers as numbers with NaN for gaps, also where nothing is known; all else as it is."""
    if isinstance(column, np.ndarray):
        return column
    if all(value is None or (isinstance(value, int | float) and not isinstance(value, bool)) for value in column):
        has_gaps = not column or any(value is None for value in column)
        return np.array([np.nan if value is None else value for value in column], float) if has_gaps else list(column)
    return list(column)
