"""`advisor batch` as a user runs it: files, lines, exit codes."""

import csv
import io
import json
import math

import pytest
import solids
from PIL import Image

from advisor.cli.main import run_for_code
from advisor.intake.saved import read_plan_folder

GOOD, DEEP, CUT_SHORT, EMPTY = "wedge.stl", "sub/<b>bowl #1.STL", "cut.stl", "wedge.ply"


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    """Good and bad parts, planned once by two processes."""
    root = tmp_path_factory.mktemp("library")
    parts = root / "parts"
    (parts / "sub").mkdir(parents=True)
    wedge = solids.to_stl_bytes(*solids.wedge(30.0))
    (parts / GOOD).write_bytes(wedge)
    (parts / DEEP).write_bytes(solids.to_stl_bytes(*solids.spherical_cap(chord_error_mm=0.1)))
    (parts / CUT_SHORT).write_bytes(wedge[: len(wedge) // 2])
    (parts / EMPTY).write_bytes(b"")
    return parts, root / "out"


def _run(library, capsys, *more):
    parts, out = library
    code = run_for_code(["batch", str(parts), "--out", str(out), "--ball", "6 mm", "--workers", "2", *more])
    output = capsys.readouterr()
    return code, output.out, output.err


def test_a_batch_from_nothing_to_its_files_and_again(library, capsys, monkeypatch):
    monkeypatch.setenv("TTY_COMPATIBLE", "1")  # as on a terminal: the bar must not get into the JSON
    code, out, err = _run(library, capsys, "--json")
    folder = library[1]
    assert code == 3
    lines = {line["file"]: line for line in map(json.loads, out.splitlines())}
    assert set(lines) == {GOOD, DEEP, CUT_SHORT, EMPTY}
    assert lines[EMPTY]["error"] and lines[CUT_SHORT]["error"] and lines[EMPTY]["folder"] is None
    assert "2 planned, 0 unchanged, 2 not planned" in err
    assert f"not planned: {CUT_SHORT}: {lines[CUT_SHORT]['error']}" in err

    rows = {row["file"]: row for row in csv.DictReader(io.StringIO((folder / "parts.csv").read_text(encoding="utf-8")))}
    for file in (GOOD, DEEP):
        plan = read_plan_folder(folder / lines[file]["folder"])
        assert lines[file]["zones"] == len(plan.zones) == int(rows[file]["zones"])
        path_mm = math.fsum(zone.advice.path_mm for zone in plan.zones if zone.advice.usable)
        assert float(rows[file]["finish_path_mm"]) == path_mm > 0
        assert float(rows[file]["shallow_area_mm2"]) == plan.record.totals.by_class["shallow"].area_mm2
        place = lines[file]["folder"].removeprefix("plans/")
        with Image.open(folder / "thumbnails" / f"{place}.png") as thumbnail:
            assert thumbnail.size == (320, 240)
        assert (folder / "plans" / place / "zone_map.png").is_file()
    # wedge of 30 deg, 100 by 60 mm in plan: its sloping face is shallow (elementary geometry)
    assert float(rows[GOOD]["shallow_area_mm2"]) == pytest.approx(6000 / 0.8660254037844387, rel=1e-6)
    assert "&lt;b&gt;" in (folder / "index.html").read_text(encoding="utf-8")

    table = (folder / "parts.csv").read_bytes()
    code, out, err = _run(library, capsys, "--quiet")
    assert (code, out) == (3, "")
    assert [line.split(": ")[1] for line in err.splitlines()] == [CUT_SHORT, EMPTY]
    assert (folder / "parts.csv").read_bytes() == table
    _, _, err = _run(library, capsys)
    assert "0 planned, 2 unchanged, 2 not planned" in err

    for bad in (CUT_SHORT, EMPTY):
        (library[0] / bad).unlink()
    assert _run(library, capsys, "--quiet") == (0, "", "")


def test_unusable_input_ends_with_one_line(tmp_path, capsys):
    (tmp_path / "part.iges").write_text("x")
    for arguments in (
        [str(tmp_path / "nowhere"), "--out", str(tmp_path / "out")],
        [str(tmp_path), "--out", str(tmp_path / "out")],
        [str(tmp_path)],
        [str(tmp_path), "--out", str(tmp_path / "out"), "--workers", "0"],
    ):
        assert run_for_code(["batch", *arguments]) == 2
        error = capsys.readouterr().err
        assert error.startswith("error: ") and error.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_interrupted_ends_with_130(tmp_path, capsys, monkeypatch):
    def interrupted(*_arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr("advisor.library.run.plan_library", interrupted)
    assert run_for_code(["batch", str(tmp_path), "--out", str(tmp_path / "out")]) == 130
    assert "what was finished is kept" in capsys.readouterr().err
