"""`advisor batch` as a user runs it: files, lines, exit codes."""

import csv
import io
import json
import math
import shlex
import struct
from dataclasses import replace

import pytest
import solids
import worker_jobs
from folders import folder_bytes
from PIL import Image
from rich.console import Console

from advisor.cli import batch
from advisor.cli.main import run_for_code
from advisor.intake.saved import read_plan_folder
from advisor.library.run import LibraryJob, plan_library
from advisor.library.slot import NO_LIMITS, Limits

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


def _run(library, capsys, *more, workers="1"):
    parts, out = library
    code = run_for_code(["batch", str(parts), "--out", str(out), "--ball", "6 mm", "--workers", workers, *more])
    output = capsys.readouterr()
    return code, output.out, output.err


def test_a_batch_from_nothing_to_its_files_and_again(library, capsys, monkeypatch):
    monkeypatch.setenv("TTY_COMPATIBLE", "1")  # as on a terminal: the bar must not get into the JSON
    code, out, err = _run(library, capsys, "--json", workers="2")
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
    assert "<b>bowl" not in (folder / "index.html").read_text(encoding="utf-8")

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
        [str(tmp_path), "--out", str(tmp_path / "out"), "--short", "--passes"],
    ):
        assert run_for_code(["batch", *arguments]) == 2
        error = capsys.readouterr().err
        assert error.startswith("error: ") and error.count("\n") == 1
    (tmp_path / "part.stl").write_bytes(b"x")
    for more, words in (
        (["--time-limit", "soon"], "--time-limit: 'soon' is not a time; write for example '10 min'"),
        (["--memory-limit", "-1 GB"], "--memory-limit: '-1 GB' leaves nothing; give more than 0"),
        (["--quantities", str(tmp_path / "no.csv")], "cannot be read"),
        (["--only", "other.stl"], "there is no part 'other.stl'"),
        (["--include", "*.ply"], "holds 2 part models, none of which is meant"),
    ):
        assert run_for_code(["batch", str(tmp_path), "--out", str(tmp_path / "out"), *more]) == 2
        error = capsys.readouterr().err
        assert error.startswith("error: ") and error.count("\n") == 1 and words in error
    assert not (tmp_path / "out").exists()


def test_the_command_to_try_again_does(library, tmp_path, capsys):
    parts = tmp_path / "my parts"
    parts.mkdir()
    (parts / "-odd 'name'.stl").write_bytes(b"solid cut short")
    (parts / "b.stl").write_bytes((library[0] / GOOD).read_bytes())
    out = tmp_path / "out"
    (tmp_path / "wanted.csv").write_text("file,quantity\nb.stl,3\nc.stl,2\n")
    given = [
        "--quantities",
        str(tmp_path / "wanted.csv"),
        "--ball",
        "6 mm",
        "--no-pictures",
        "--exclude",
        "old",
        "--time-limit",
        "5 min",
        "--short",
        "--workers",
        "1",
    ]
    assert run_for_code(["batch", str(parts), "--out", str(out), *given]) == 3
    assert "quantities lists 1 part that the folder does not have: c.stl" in capsys.readouterr().err
    with (out / "not_planned.csv").open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    words = shlex.split(row["command"])
    assert words[0] == "advisor"
    (parts / "-odd 'name'.stl").write_bytes((library[0] / GOOD).read_bytes())
    capsys.readouterr()
    assert run_for_code([*words[1:], "--json"]) == 0
    lines = {line["file"]: line["status"] for line in map(json.loads, capsys.readouterr().out.splitlines())}
    assert lines == {"-odd 'name'.stl": "planned", "b.stl": "unchanged"}


def test_a_copied_plan_is_what_planning_would_have_made(library, tmp_path):
    """The plan of a part with the content of another one: the same bytes as planned by itself, but for the date."""
    parts, alone = tmp_path / "parts", tmp_path / "alone"
    for folder, names in ((parts, ("a.stl", "z copy.stl")), (alone, ("z copy.stl",))):
        folder.mkdir()
        for name in names:
            (folder / name).write_bytes((library[0] / GOOD).read_bytes())
        options = ["--ball", "6 mm", "--reports", "--workers", "1", "--quiet"]
        assert run_for_code(["batch", str(folder), "--out", str(folder) + "-out", *options]) == 0
    copied, planned = (f"{folder}-out/plans/z copy" for folder in (parts, alone))
    assert folder_bytes(copied) == folder_bytes(planned)
    assert "report.html" in folder_bytes(copied)


def test_parts_that_hang_die_lie_or_meet_a_full_disk_cost_themselves_only(library, tmp_path):
    parts = tmp_path / "parts"
    parts.mkdir()
    wedge = (library[0] / GOOD).read_bytes()
    for number, name in enumerate(("a.stl", "full.stl", "hang.stl", "killed.stl", "z.stl")):
        (parts / name).write_bytes(bytes([number]) + wedge[1:])  # no two alike: the first bytes are a remark
    (parts / "lies.stl").write_bytes(wedge[:80] + struct.pack("<I", 43_000_000) + wedge[84:-500])  # of 2 GB
    ply = "ply\nformat binary_little_endian 1.0\nelement vertex 170000000\nproperty float x\nproperty float y\n"
    ply += "property float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n"
    (parts / "lies.ply").write_bytes(ply.encode() + b"\0" * 64)  # of 2 GB of corners
    job = LibraryJob(
        parts, tmp_path / "out", {}, {"ball": "6 mm"}, pictures=False, workers=2, limits=Limits(12.0, 2_500_000_000)
    )
    # kernels compile in a first run, which the limit must not count
    plan_library(replace(job, out=tmp_path / "warm", limits=NO_LIMITS, only=frozenset({"a.stl"})))
    result = plan_library(job, None, worker_jobs.plan_beside_faults)
    assert (result.planned, result.failed) == (2, 5)
    reasons = {failure.file: failure.reason for failure in result.failures}
    assert "No space left on device" in reasons["full.stl"] and "cannot be written" in reasons["full.stl"]
    assert "was ended after 12 s" in reasons["hang.stl"]
    assert "ended its process" in reasons["killed.stl"]
    assert "43000000" in reasons["lies.stl"] and reasons["lies.ply"]
    assert sorted(path.name for path in (job.out / "plans").iterdir()) == ["a", "z"]


def test_a_log_tells_how_far_the_batch_is(monkeypatch):
    log = Console(file=io.StringIO(), width=100)
    clock = iter([0.0, 0.0, 30.0, 80.0, 90.0, 160.0])
    monkeypatch.setattr(batch.time, "monotonic", lambda: next(clock))
    pace = batch._Pace(log)
    pace.begin(10)
    for _ in range(4):
        pace.advance()
    # at 30 s and 90 s no minute has gone since the line before; 2 in 80 s leave 8, 4 in 160 s leave 6
    assert log.file.getvalue().splitlines() == [
        "2 of 10 done, 1.5 parts/min, 5 min left", "4 of 10 done, 1.5 parts/min, 4 min left",
    ]  # fmt: skip


def test_interrupted_ends_with_130(tmp_path, capsys, monkeypatch):
    def interrupted(*_arguments, **_named):
        raise KeyboardInterrupt

    monkeypatch.setattr("advisor.library.run.plan_library", interrupted)
    assert run_for_code(["batch", str(tmp_path), "--out", str(tmp_path / "out")]) == 130
    assert "what was finished is kept" in capsys.readouterr().err
