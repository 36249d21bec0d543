"""The table and the picture of candidates: what ``plan.json`` says, each number where it belongs."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import solids

import advisor
from advisor.advice.choose import IN_WORDS
from advisor.model import Plan, PlanRecord, Repeats, Setting
from advisor.pack import candidates_plot
from advisor.pack.candidates_csv import COLUMNS, candidates_csv
from advisor.pack.candidates_plot import MOST_ZONES, candidates_page, ranked_zones
from advisor.pack.folder import write_plan_folder
from advisor.pack.plot import Axis, Curve, Level
from advisor.part.heal import heal
from advisor.part.measured import measure_part

MM_PER_INCH = 25.4
# Columns under other names than their fields have in the file.
NESTED = {
    "cusp_target_um": ("cusp_um", "target"), "cusp_p95_um": ("cusp_um", "p95"), "cusp_max_um": ("cusp_um", "max"),
    "total_min_least": ("total_min_range", 0), "total_min_most": ("total_min_range", 1),
}  # fmt: skip


@cache
def plan_of(*, is_laid: bool = False, material: str | None = "Ti-6Al-4V", only_zones: bool = False) -> Plan:
    """A round pocket: walls, floor and fillet, land, and an underside that is not cut."""
    healed = heal(*solids.round_pocket(20.0, 4.0, 15.0, chord_error_mm=0.02), "part")
    part = measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)
    return advisor.plan(
        part, ball="6 mm", cusp="0.01 mm", material=material, lays_passes=is_laid, only_zones=only_zones
    )


def in_inches(record: PlanRecord) -> PlanRecord:
    return replace(record, settings=(Setting("unit", "inch", "job file"),))


@pytest.mark.parametrize("is_laid", [False, True])
def test_every_cell_is_what_the_plan_file_says(is_laid: bool) -> None:
    plan = plan_of(is_laid=is_laid)
    rows = list(csv.DictReader(io.StringIO(candidates_csv(plan.record))))
    told = json.loads(plan.to_json())
    pairs = [(zone, candidate) for zone in told["zones"] for candidate in zone["candidates"]]
    assert len(rows) == len(pairs) == 3 * len(plan.zones)
    for row, (zone, candidate) in zip(rows, pairs, strict=True):
        assert tuple(row) == COLUMNS
        assert (int(row["zone"]), row["name"], row["strategy"]) == (zone["id"], zone["name"], candidate["strategy"])
        advised = zone["advice"]["usable"] and zone["advice"]["strategy"] == candidate["strategy"]
        assert row["advised"] == str(advised)
        assert row["tool"] == told["tools"][candidate["tool"]]["name"]
        assert row["why"] == " ".join(candidate["why"])
        for name in set(COLUMNS) - {"zone", "setup", "name", "area_mm2", "advised", "tool", "why"}:
            assert row[name] == as_cell(value_of(candidate, name)), name
    laid = [row for row in rows if row["is_laid"] == "True"]
    assert bool(laid) == is_laid and all(row["cusp_uniformity"] and row["link_mm"] for row in laid)
    assert sum(row["advised"] == "True" for row in rows) == sum(zone.advice.usable for zone in plan.zones)


def value_of(candidate: dict[str, Any], name: str) -> Any:
    field, part = NESTED.get(name, (name, None))
    value = candidate[field]
    return value if part is None or value is None else value[part]


def as_cell(value: Any) -> str:
    return "" if value is None else str(value)


def test_names_cannot_become_formulas_and_no_candidates_are_a_header() -> None:
    record = plan_of().record
    spoilt = replace(record, zones=(replace(record.zones[0], name="=cmd|'/c calc'!A1"),))
    assert ",'=cmd" in candidates_csv(spoilt)
    assert candidates_csv(plan_of(only_zones=True).record) == ",".join(COLUMNS) + "\n"


def test_a_folder_has_table_and_picture_where_there_are_candidates(tmp_path: Path) -> None:
    folder = write_plan_folder(plan_of(), tmp_path / "plan")
    assert (folder / "candidates.csv").read_text("utf-8") == candidates_csv(plan_of().record)
    assert (folder / "candidates.png").read_bytes().startswith(b"\x89PNG")
    write_plan_folder(plan_of(), folder, pictures=False)
    assert {path.name for path in folder.glob("candidates*")} == {"candidates.csv"}
    write_plan_folder(plan_of(only_zones=True), folder)
    assert not list(folder.glob("candidates*"))


def drawn(record: PlanRecord, monkeypatch: pytest.MonkeyPatch) -> list[tuple[Axis, Axis, list[Curve], Level | None]]:
    """What each panel is asked to show."""
    panels = []

    def kept(page: Any, box: Any, across: Axis, up: Axis, curves: Any, level: Any, **_: Any) -> None:
        panels.append((across, up, list(curves), level))

    monkeypatch.setattr(candidates_plot, "draw_panel", kept)
    candidates_page(record)
    return panels


@pytest.mark.parametrize(("material", "inches"), [("Ti-6Al-4V", False), (None, False), ("Ti-6Al-4V", True)])
def test_panels_show_the_curves_of_their_zones(
    material: str | None, inches: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = plan_of(material=material).record
    panels = drawn(in_inches(record) if inches else record, monkeypatch)
    zones = ranked_zones(record)
    assert len(panels) == len(zones) >= 3
    per_um = 1 / 1000 / MM_PER_INCH if inches else 1.0
    for zone, (across, up, curves, level) in zip(zones, panels, strict=True):
        assert level is not None and level.y == pytest.approx(10.0 * per_um)
        assert up == panels[0][1], "one scale of cusps"
        told = {IN_WORDS[advice.strategy]: advice for advice in zone.candidates if advice.usable}
        assert sorted(curve.name for curve in curves) == sorted(told)
        for curve in curves:
            advice = told[curve.name]
            points = advice.step_curve
            assert [dot.x for dot in curve.dots] == costs(points, material)
            assert [dot.y for dot in curve.dots] == pytest.approx([point.cusp_p95_um * per_um for point in points])
            own = [point.stepover_mm == advice.stepover_mm for point in points]
            assert [dot.is_full for dot in curve.dots] == own and sum(own) == 1
            advised = advice.strategy == zone.advice.strategy
            assert [dot.is_ringed for dot in curve.dots] == [advised and is_own for is_own in own]
            assert all(0 <= across.share(dot.x) <= 1 and 0 <= up.share(dot.y) <= 1 for dot in curve.dots)
        assert curves[-1].dots[0].label and not any(dot.label for curve in curves[:-1] for dot in curve.dots)


def costs(points: Any, material: str | None) -> list[float]:
    return [point.path_mm / 1000 if material is None else point.total_min for point in points]


def test_zones_that_take_longest_come_first_and_copies_stand_for_one_another(monkeypatch: pytest.MonkeyPatch) -> None:
    record = plan_of().record
    first, *rest = ranked_zones(record)
    minutes = [zone.advice.total_min for zone in (first, *rest)]
    assert minutes == sorted(minutes, reverse=True)
    last = rest[-1]
    family = Repeats(1, 1000, 0.0, (0.0, 0.0, 0.0), last.id, False, "free", None, None)
    copies = [replace(last, id=100 + n, repeats=family) for n in range(2)]
    model = replace(last, repeats=family)
    zones = (*(model if zone is last else zone for zone in record.zones), *copies)
    assert ranked_zones(replace(record, zones=zones))[0] == model
    assert len(ranked_zones(replace(record, zones=zones))) == len(minutes)
    many = tuple(replace(first, id=n) for n in range(1, 30))
    assert len(drawn(replace(record, zones=many), monkeypatch)) == MOST_ZONES


def test_the_same_plan_draws_the_same_page_and_nothing_to_draw_is_told() -> None:
    record = plan_of().record
    one, again = (np.asarray(candidates_page(record).image) for _ in range(2))
    np.testing.assert_array_equal(one, again)
    uncut = tuple(zone for zone in record.zones if not zone.advice.usable)
    page = np.asarray(candidates_page(replace(record, zones=uncut)).image)
    assert len(uncut) >= 1 and (page[200:] == 255).all() and (page[:200] < 100).any()


def test_a_stage_that_keeps_a_step_has_no_level(monkeypatch: pytest.MonkeyPatch) -> None:
    record = plan_of().record
    stage = replace(record.stages[-1], cusp_target_um=None, stepover_mm=0.4)
    stepped = replace(record, stages=(stage,))
    assert all(level is None for *_, level in drawn(stepped, monkeypatch))
    monkeypatch.undo()
    assert candidates_page(stepped).image.size == candidates_page(record).image.size
