"""A what-if as rows of a spreadsheet, lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.advice.what_if_records import Way, WhatIf, WhatIfRow, ZoneRow
from advisor.pack.tables import Cell, csv_text

# What stands in place of a zone's number in the sums over all zones.
ALL = "all"


def what_if_csv(what_if: WhatIf) -> str:
    """Text of the file: for every ball and step the sums over all zones, then each zone; empty cells are not known.

    Of one zone alone all strategies are told, ``chosen`` says which of them is advised.
    """
    rows = what_if_rows(what_if)
    return csv_text(list(rows[0]), rows)


def what_if_rows(what_if: WhatIf) -> list[dict[str, Cell]]:
    """The rows of the file, by column; None is not known."""
    return [cells for row in what_if.rows for cells in _rows(what_if, row)]


def _rows(what_if: WhatIf, row: WhatIfRow) -> Iterator[dict[str, Cell]]:
    one_zone = what_if.zone is not None
    if not one_zone:
        yield _asked(row) | {
            "zone": ALL,
            "name": None,
            "area_mm2": row.cut_mm2,
            "strategy": row.strategy,
            "chosen": True,
            "stepover_mm": None,
            "path_mm": row.path_mm,
            "passes": row.passes,
            "lifts": row.lifts,
            "cutting_min": row.cutting_min,
            "total_min": row.total_min,
            "cusp_p95_um": row.cusp_p95_um,
            "cusp_max_um": row.cusp_max_um,
            "reachable_share": row.reachable_share,
            "leftover_mm2": row.leftover_mm2,
        }
    for zone in row.zones:
        for way in zone.ways:
            if one_zone or way == zone.chosen:
                yield _asked(row) | _of_zone(zone, way)


def _asked(row: WhatIfRow) -> dict[str, Cell]:
    return {
        "tool": row.tool,
        "ball_mm": row.ball_mm,
        "cusp_asked_um": row.cusp_asked_um,
        "stepover_asked_mm": row.stepover_asked_mm,
        "stepover_flat_mm": row.stepover_flat_mm,
        "within_target": row.within_target,
    }


def _of_zone(zone: ZoneRow, way: Way) -> dict[str, Cell]:
    return {
        "zone": zone.id,
        "name": zone.name,
        "area_mm2": zone.area_mm2,
        "strategy": way.strategy,
        "chosen": way == zone.chosen,
        "stepover_mm": way.stepover_mm,
        "path_mm": way.path_mm,
        "passes": way.passes,
        "lifts": way.lifts,
        "cutting_min": way.cutting_min,
        "total_min": way.total_min,
        "cusp_p95_um": way.cusp_p95_um,
        "cusp_max_um": way.cusp_max_um,
        "reachable_share": zone.reachable_share,
        "leftover_mm2": zone.leftover_mm2,
    }
