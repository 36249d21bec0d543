"""The plan folder: what others rely on, whole or not at all, the same bytes twice."""

from __future__ import annotations

import csv
import dataclasses
import json
import os
import re
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import solids

import advisor
from advisor.errors import InputError
from advisor.intake.saved import read_plan_folder
from advisor.model import Plan, plan_schema
from advisor.pack.folder import write_plan_folder
from advisor.pack.tables import zones_csv

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    path = tmp_path_factory.mktemp("part") / "round pocket.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.round_pocket(chord_error_mm=0.05)))
    return advisor.plan(path, ball="10 mm", cusp="0.008 mm", lays_passes=False)


def test_plan_json_keeps_to_its_schema(plan: Plan) -> None:
    schema = json.loads((ROOT / "docs" / "plan.schema.json").read_text(encoding="utf-8"))
    # names and what must be there; the library words the rest, and may word it otherwise tomorrow
    assert outline(schema) == outline(plan_schema()), "renew it: python -m advisor.model > docs/plan.schema.json"
    jsonschema.validate(json.loads(plan.to_json()), schema)


def outline(schema: dict[str, Any]) -> dict[str, tuple[set[str], set[str]]]:
    """Of every record: its fields, and those that must be there."""
    records = {"plan": schema, **schema["$defs"]}
    return {name: (set(r.get("properties", {})), set(r.get("required", []))) for name, r in records.items()}


def test_plan_json_has_the_public_fields(plan: Plan) -> None:
    record = json.loads(plan.to_json())
    assert record["schema"] == "advisor-plan/1"
    assert set(record["part"]) >= {
        "name", "file", "sha256", "facets", "vertices", "bodies", "watertight", "size_mm", "area_mm2", "volume_mm3",
        "unit", "unit_assumed", "repairs", "chord_error_um", "warnings",
    }  # fmt: skip
    assert set(record["totals"]) >= {"area_mm2", "cutting_min", "total_min", "total_min_range", "by_class"}
    assert set(record["totals"]["by_class"]) == {"flat", "shallow", "steep", "undercut"}
    assert record["setups"][0]["tool_axis"] == [0.0, 0.0, 1.0]
    for number, zone in enumerate(record["zones"], 1):
        assert zone["id"] == number
        assert set(zone) >= {
            "setup", "name", "slope_class", "shape", "facets", "area_mm2", "plan_area_mm2", "slope_deg", "z_mm",
            "concave_radius_mm", "reachable_share", "repeats", "neighbours", "advice", "steps", "candidates",
        }  # fmt: skip
        assert set(zone["slope_deg"]) == {"min", "p05", "mean", "p95", "max"}
        assert zone["steps"][-1] == zone["advice"]
        assert [step["stage"] for step in zone["steps"]] == [stage["name"] for stage in record["stages"]]
        for advice in (zone["advice"], *zone["candidates"]):
            assert set(advice) >= {
                "strategy", "tool", "stage", "stepover_mm", "line_spacing_mm", "z_step_mm", "direction_deg", "cusp_um",
                "ra_um", "contact_diameter_mm", "tip_contact_share", "spindle_rpm", "surface_speed_m_per_min",
                "feed_mm_per_min", "passes", "path_mm", "lifts", "cutting_min", "total_min", "total_min_range",
                "usable", "why",
            }  # fmt: skip
            assert set(advice["cusp_um"]) == {"target", "p95", "max"}


def test_finish_settings_reach_the_advice(plan: Plan) -> None:
    record = plan.record
    assert record.stages[-1].cusp_target_um == pytest.approx(8.0)
    assert record.tools[0].diameter_mm == 10.0
    sources = {setting.name: setting.source for setting in record.settings}
    assert sources["stage 1"] == "option" and sources["flat_below"] == "default" and sources["tool 0"] == "option"
    floor = next(zone for zone in record.zones if zone.slope_class == "flat")
    assert floor.advice is not None
    # 2 sqrt(2 R h - h^2), R 5, h 0.008: computed from closed form
    assert floor.advice.line_spacing_mm == pytest.approx(0.5655, abs=2e-4)


def test_neighbours_are_mutual_and_joints_told(plan: Plan, tmp_path: Path) -> None:
    path = tmp_path / "part.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.round_pocket(chord_error_mm=0.05)))
    split = advisor.plan(path, {"zones": {"keep_together": False}}, ball="10 mm", cusp="0.008 mm", lays_passes=False)
    for zones in (plan.zones, split.zones):
        length = {(zone.id, near.zone, near.joint): near.length_mm for zone in zones for near in zone.neighbours}
        for (one, other, joint), length_mm in length.items():
            assert length[other, one, joint] == pytest.approx(length_mm)
    # the rim of the pocket, 2 pi 20 long, is an outside corner between the pocket, or its wall, and the land
    for zones, shape in ((plan.zones, "pocket"), (split.zones, "wall")):
        inside = next(z for z in zones if z.shape == shape and near_length(z, 2 * np.pi * 20))
        assert near_length(inside, 2 * np.pi * 20).joint == "outside corner"  # type: ignore[union-attr]
    (pocket,) = (zone for zone in plan.zones if zone.shape == "pocket")
    assert len(pocket.neighbours) == 1, "floor, fillet and wall are kept together"
    fillet = next(z for z in split.zones if z.slope_class == "shallow")
    assert [near.joint for near in fillet.neighbours] == ["tangent", "tangent"], "wall and floor"


def near_length(zone: advisor.model.Zone, length_mm: float) -> advisor.model.Neighbour | None:
    return next((near for near in zone.neighbours if abs(near.length_mm / length_mm - 1) < 0.01), None)


def test_folder_holds_what_the_plan_says(plan: Plan, tmp_path: Path) -> None:
    folder = write_plan_folder(plan, tmp_path / "a folder" / "plan")
    assert {path.name for path in folder.iterdir()} == {
        "plan.json",
        "zones.csv",
        "candidates.csv",
        "candidates.png",
        "facets.npz",
        "outlines.npz",
        "zone_map.png",
        "boundaries.dxf",
        "report.html",
    }
    assert [path.name for path in folder.parent.iterdir()] == ["plan"], "nothing of the making is left"
    with np.load(folder / "facets.npz", allow_pickle=False) as arrays:
        assert arrays["vertices"].dtype == np.float64 and arrays["slope_deg"].dtype == np.float64
        assert np.issubdtype(arrays["faces"].dtype, np.integer) and np.issubdtype(arrays["zone"].dtype, np.integer)
        corners = arrays["vertices"][arrays["faces"]]
        cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        area = np.linalg.norm(cross, axis=1) / 2
        slope = np.degrees(np.arccos(np.clip(cross[:, 2] / (2 * area), -1, 1)))
        np.testing.assert_allclose(arrays["slope_deg"], slope, atol=1e-5)
        for zone in plan.zones:
            assert area[arrays["zone"] == zone.id].sum() == pytest.approx(zone.area_mm2, rel=1e-9)
    with (folder / "zones.csv").open(newline="") as text:
        rows = list(csv.DictReader(text))
    assert [int(row["id"]) for row in rows] == [zone.id for zone in plan.zones]
    assert [float(row["area_mm2"]) for row in rows] == [zone.area_mm2 for zone in plan.zones]
    back = read_plan_folder(folder)
    assert back.record == plan.record
    assert np.array_equal(back.facets.zone, plan.facets.zone)


def test_two_runs_give_the_same_bytes_but_for_the_date(tmp_path: Path) -> None:
    part = tmp_path / "part.stl"
    part.write_bytes(solids.to_stl_bytes(*solids.bowl(chord_error_mm=0.1)))
    folders = [write_plan_folder(advisor.plan(part, lays_passes=False), tmp_path / name) for name in ("one", "two")]
    for name in (
        "plan.json",
        "zones.csv",
        "candidates.csv",
        "facets.npz",
        "boundaries.dxf",
        "candidates.png",
        "zone_map.png",
    ):
        one, other = ((folder / name).read_bytes() for folder in folders)
        if name == "plan.json":
            one, other = (re.sub(rb'"created": "[^"]*"', b"", text) for text in (one, other))
        assert one == other, name


def test_an_earlier_plan_is_replaced_and_other_things_are_not(plan: Plan, tmp_path: Path) -> None:
    folder = tmp_path / "plan"
    write_plan_folder(plan, folder, pictures=True)
    write_plan_folder(plan, folder, pictures=False)
    assert not (folder / "zone_map.png").exists(), "the folder is the new plan's alone"
    letters = tmp_path / "letters"
    letters.mkdir()
    (letters / "dear.txt").write_text("keep me")
    with pytest.raises(InputError, match=r"'dear\.txt', which is no part of a plan"):
        write_plan_folder(plan, letters)
    (letters / "plan.json").write_text('{"my": "project"}')
    with pytest.raises(InputError, match="no part of a plan"):
        write_plan_folder(plan, letters)
    (folder / "notes of mine.txt").write_text("keep me too")
    with pytest.raises(InputError, match="notes of mine"):
        write_plan_folder(plan, folder)
    assert (letters / "dear.txt").read_text() == "keep me"
    assert (folder / "notes of mine.txt").read_text() == "keep me too"
    (letters / "dear.txt").rename(tmp_path / "dear.txt")
    with pytest.raises(InputError, match="files that are no plan"):
        write_plan_folder(plan, letters)
    (tmp_path / "dear.txt").rename(letters / "dear.txt")
    with pytest.raises(InputError, match="is a file"):
        write_plan_folder(plan, letters / "dear.txt")


def test_a_plan_that_fails_on_the_way_leaves_the_earlier_one(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_plan_folder(plan, tmp_path / "plan", pictures=False)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(np, "savez", full)
    with pytest.raises(InputError, match="No space left"):
        write_plan_folder(plan, folder, pictures=False)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_an_unwritable_place_is_told_before_the_work(plan: Plan, tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(InputError, match="no right to write"):
        write_plan_folder(plan, tmp_path / "plan")


def test_names_cannot_become_formulas(plan: Plan) -> None:
    zone = dataclasses.replace(plan.zones[0], name="=cmd|'/c calc'!A1")
    text = zones_csv(dataclasses.replace(plan.record, zones=(zone,)))
    assert "'=cmd" in text


def test_a_damaged_plan_folder_is_told_in_one_line(plan: Plan, tmp_path: Path) -> None:
    folder = write_plan_folder(plan, tmp_path / "plan", pictures=False)
    whole = (folder / "facets.npz").read_bytes()
    for spoil in (whole[: len(whole) // 2], b"", b"not a zip"):
        (folder / "facets.npz").write_bytes(spoil)
        with pytest.raises(InputError, match=r"facets\.npz: is missing or damaged"):
            read_plan_folder(folder)
    (folder / "plan.json").write_text('{"schema": "something else"}')
    with pytest.raises(InputError, match="no plan of this version"):
        read_plan_folder(folder)
    with pytest.raises(InputError, match=r"no plan\.json"):
        read_plan_folder(tmp_path / "nowhere")
