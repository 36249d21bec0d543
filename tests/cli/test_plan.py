"""`advisor plan` as a user meets it: answers, exit codes, one line for every fault."""

from __future__ import annotations

import errno
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import solids
from rich.cells import cell_len

import advisor
from advisor.cli.main import run_for_code
from advisor.cli.words import zone_lines


@pytest.fixture
def part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "wedge.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.wedge(20)))
    return path


def fault(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Run a command that must be refused; its one line."""
    code = run_for_code(list(arguments))
    out, err = capsys.readouterr()
    assert code == 2, err
    assert out == ""
    assert err.startswith("error: ") and err.count("\n") == 1, err
    return err


def test_a_plan_with_nothing_but_a_part(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_for_code(["plan", "wedge.stl"]) == 0
    out, err = capsys.readouterr()
    assert out == "", "messages go to standard error"
    assert "mm was assumed" in err and "wedge-plan" in err and "parallel lines" in err
    assert (part.parent / "wedge-plan" / "zone_map.png").stat().st_size > 10_000


def test_json_answer_is_the_plan_file(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = [
        "plan",
        str(part),
        "--json",
        "--quiet",
        "--no-pictures",
        "--out",
        "p",
        "--unit",
        "inch",
        "--ball",
        "0.5",
    ]
    assert run_for_code(arguments) == 0
    out, err = capsys.readouterr()
    assert err == ""
    answer = json.loads(out)
    assert answer["plan"] == json.loads((part.parent / "p" / "plan.json").read_text())
    assert answer["plan"]["tools"][0]["diameter_mm"] == pytest.approx(12.7), "a bare number is in the job's unit"
    assert answer["plan"]["part"]["size_mm"][0] == pytest.approx(100 * 25.4)
    assert not (part.parent / "p" / "zone_map.png").exists()


def test_the_screen_speaks_the_unit_of_the_job(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The wedge is 100 mm long, 60 wide and 5 + 100 tan 20 deg = 41.397 high."""
    for unit, size, area in (("mm", "100 x 60 x 41.4 mm, 12 facets", "6,000"), ("inch", "100 x 60 x 41.4 in", "6,000")):
        arguments = ["plan", "wedge.stl", "--unit", unit, "--no-passes", "--out", unit, "--no-pictures"]
        assert run_for_code(arguments) == 0
        err = capsys.readouterr().err
        assert size in err and area in err
        assert ("Z in names of zones is in mm" in err) == (unit == "inch")


@pytest.mark.parametrize("unit", ["mm", "inch", "m"])
def test_a_narrow_screen_shortens_names_alone(part: Path, unit: str) -> None:
    Path("job.toml").write_text('[[zone]]\nat = [50, 30, 0]\nname = "斜面 where a long name stands in full"\n')
    plan = advisor.plan(part, "job.toml", unit=unit, material="Ti-6Al-4V", lays_passes=False)
    wide = zone_lines(plan, 200)
    for width in (80, 70, 30):
        lines = zone_lines(plan, width)
        assert width == 30 or max(map(cell_len, lines)) <= width
        for zone, long, short in zip(plan.zones, wide[1:], lines[1:], strict=True):
            numbers = long.partition(zone.name)[2].split()
            assert len(numbers) >= 4 and short.split()[-len(numbers) :] == numbers


def test_only_zones_stops_before_advice(part: Path) -> None:
    assert run_for_code(["plan", str(part), "--only", "zones", "--out", "p", "--quiet", "--no-pictures"]) == 0
    record = json.loads((part.parent / "p" / "plan.json").read_text())
    assert all(zone["advice"] is None and zone["candidates"] == [] for zone in record["zones"])


def test_tool_axis_turns_the_classes(part: Path) -> None:
    """The ramp of 20 deg is shallow from above, and from the side it leans 70 deg towards or away."""
    ramp = 100 * 60 / np.cos(np.radians(20))
    for up, shallow in (("+Z", ramp), ("0,0,2", ramp), ("-Z", 0.0), ("+X", 0.0), ("-X", 0.0), ("+Y", 0.0)):
        assert (
            run_for_code(["plan", str(part), "--up", up, "--no-passes", "--out", "p", "--quiet", "--no-pictures"]) == 0
        )
        totals = json.loads((part.parent / "p" / "plan.json").read_text())["totals"]
        assert totals["by_class"]["shallow"]["area_mm2"] == pytest.approx(shallow)


JOB = """
unit = "mm"
material = "Ti-6Al-4V"
[zones]
flat_below = "2 deg"
[machine]
axes = "3+2"
[[tool]]
name = "big"
diameter = "0.5 in"
[[tool]]
name = "bull"
kind = "bull"
diameter = 10
corner_radius = 1
[[stage]]
name = "pre"
stepover = "0.75 mm"
stock_left = 0.1
tool = "bull"
[[stage]]
name = "finish"
ra = "0.8 um"
tool = "big"
[[zone]]
at = [0, 0, 23]
name = "the ramp"
strategy = "constant_cusp"
"""


def test_job_file_rules_and_options_override_it(part: Path) -> None:
    Path("job.toml").write_text(JOB)
    arguments = [
        "plan",
        str(part),
        "--job",
        "job.toml",
        "--flat-below",
        "3 deg",
        "--out",
        "p",
        "--quiet",
        "--no-pictures",
        "--no-passes",
    ]
    assert run_for_code(arguments) == 0
    record = json.loads((part.parent / "p" / "plan.json").read_text())
    sources = {s["name"]: (s["value"], s["source"]) for s in record["settings"]}
    assert sources["flat_below"] == ("3 deg", "option")
    assert sources["steep_from"] == ("45 deg", "default")
    assert sources["material"] == ("Ti-6Al-4V", "job file")
    assert [stage["tool"] for stage in record["stages"]] == [1, 0]
    assert record["stages"][0]["stepover_mm"] == 0.75 and record["stages"][0]["cusp_target_um"] is None
    # s = sqrt(Ra 18 sqrt(3) R) = 0.398 for Ra 0.8 um, R 6.35; h = s^2 / 8 R = 3.12 um: closed form
    assert record["stages"][1]["cusp_target_um"] == pytest.approx(3.118, abs=0.01)
    ramp = next(zone for zone in record["zones"] if zone["name"] == "the ramp")
    assert ramp["advice"]["strategy"] == "constant_cusp" and "as the job asks" in ramp["advice"]["why"][0]


def test_excluded_zone_is_left_out_everywhere(part: Path) -> None:
    Path("job.toml").write_text('[[zone]]\nat = [0, 0, "2.3 cm"]\nexclude = true\n')
    asked = ["--job", "job.toml", "--out", "p", "--quiet", "--no-pictures", "--no-passes"]
    assert run_for_code(["plan", str(part), *asked]) == 0
    record = json.loads((part.parent / "p" / "plan.json").read_text())
    ids = [zone["id"] for zone in record["zones"]]
    assert ids == list(range(1, len(ids) + 1)), "numbers stay whole"
    assert all(near["zone"] in ids for zone in record["zones"] for near in zone["neighbours"])
    with np.load("p/facets.npz") as arrays:
        assert set(arrays["zone"]) == {-1, *ids}


def test_a_part_of_which_nothing_is_left_still_has_a_plan(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    points = ["[0, 0, 23]", "[0, 30, 12]", "[0, 0, 0]"]
    Path("job.toml").write_text("".join(f"[[zone]]\nat = {at}\nexclude = true\n" for at in points))
    assert run_for_code(["plan", str(part), "--job", "job.toml", "--out", "p", "--no-passes"]) == 0
    record = json.loads((part.parent / "p" / "plan.json").read_text())
    assert record["zones"] == [] and record["totals"]["area_mm2"] == 0.0


def test_a_point_off_the_part_is_refused(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("job.toml").write_text('[[zone]]\nat = [50, 30, "1 m"]\nname = "far"\n')
    assert "mm off the part" in fault(capsys, "plan", str(part), "--job", "job.toml")


def test_explain_tells_what_was_weighed(
    demo_parts: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The price of the map, what a pocket kept together would cost split, and where its copies lie."""
    monkeypatch.chdir(tmp_path)
    asked = [
        "plan",
        str(demo_parts / "fruit_cup_tool.stl"),
        "--ball",
        "6",
        "--explain",
        "--no-passes",
        "--quiet",
        "--no-pictures",
    ]
    assert run_for_code([*asked, "--material", "Ti-6Al-4V", "--out", "p"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    record = json.loads(Path("p/plan.json").read_text())
    price = record["map_price"]
    assert price["least_mm"] < price["total_mm"]
    head, counted, moves, *lines = out.splitlines()
    assert all(f"{price[key]:,.0f} mm" in head for key in ("total_mm", "least_mm"))
    assert f"{price['zone_price_mm']:,.0f} mm for each zone" in head
    assert f"{price['blend_price_mm_per_mm']:g} times the length of the blend lines" in head
    assert counted.startswith("8 of the 16 zones are copies of others: 8 are left to look at.")
    assert "anticlockwise" in moves
    starts = [k for k, line in enumerate(lines) if not line.startswith(" ")]
    told = {lines[k]: lines[k + 1 : end] for k, end in zip(starts, [*starts[1:], None], strict=True)}
    assert [line.split()[0] for line in told] == [str(zone["id"]) for zone in record["zones"]]
    model, *copies = (zone for zone in record["zones"] if zone["shape"] == "pocket")
    line = next(line for line in told if line.startswith(f"{model['id']}  {model['name']}: constant-cusp offset"))
    assert line.endswith("; program this one, copy it 4 times")
    trade, words = model["trade"], " ".join(told[line])
    assert f"Kept together: {trade['whole_path_mm']:,.0f} mm of path, {trade['whole_min']:.0f} min" in words
    assert f"Cheapest split, at {trade['split_at_deg']:.0f} deg with lines below and level passes above" in words
    assert f"{trade['split_path_mm']:,.0f} mm" in words and f"{trade['split_min']:.0f} min" in words
    for zone in copies:  # what was weighed for the model holds for its copies: it is said once
        turn = zone["repeats"]["turn_deg"]
        assert told[f"{zone['id']}  {zone['name']}: copy of zone {model['id']}: turn {turn:.3f} deg"] == []


def test_explain_speaks_the_unit_of_the_job(
    demo_parts: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The mould at a 25.4th of its size, which is the same mould in inches: the same words, lengths in inches."""
    (tmp_path / "job.toml").write_text('unit = "inch"\n')
    part = tmp_path / "mould.stl"
    facet = np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    data = bytearray((demo_parts / "bottle_shoulder_mould.stl").read_bytes())
    facets = np.frombuffer(data, facet, offset=84).copy()
    facets["v"] /= 25.4
    data[84:] = facets.tobytes()
    part.write_bytes(bytes(data))
    asked = [
        "--ball",
        "6 mm",
        "--explain",
        "--no-passes",
        "--quiet",
        "--no-pictures",
        "--material",
        "Ti-6Al-4V",
        "--out",
    ]
    assert run_for_code(["plan", str(part), "--job", str(tmp_path / "job.toml"), *asked, str(tmp_path / "p")]) == 0
    out = capsys.readouterr().out
    record = json.loads((tmp_path / "p" / "plan.json").read_text())
    assert not re.search(r"\d (mm|um)\b", out)
    (bowl,) = (zone for zone in record["zones"] if zone["shape"] == "bowl")
    z = bowl["z_mm"]
    assert f"Bowl Z {z['min'] / 25.4:.3f} to {z['max'] / 25.4:.3f}: constant-cusp offset, cusp up to 0.000197 in" in out
    assert f"Kept together: {bowl['trade']['whole_path_mm'] / 25.4:,.0f} in of path" in out
    assert f"shift X {132 / 25.4:.4f}, Y {83 / 25.4:.4f} in" in out


def test_explain_keeps_out_of_the_way_of_json(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Answers on standard output stay one JSON text; without advice nothing is said of passes."""
    asked = ["plan", str(part), "--explain", "--no-passes", "--quiet", "--no-pictures", "--out", "p"]
    assert run_for_code([*asked, "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["plan"]["map_price"]["total_mm"] > 0
    assert err.startswith("The map costs ") and "parallel lines, cusp up to" in err
    assert run_for_code([*asked, "--only", "zones"]) == 0
    told = capsys.readouterr().out.splitlines()[1:]
    assert told and all(line.endswith(": not advised") for line in told)


BAD_OPTIONS = {
    "ball no length": (["--ball", "banana"], "--ball"),
    "ball negative": (["--ball", "-3"], "--ball"),
    "ball beyond any machine": (["--ball", "1e9"], "--ball: '1e9' is a length beyond any machine; give 100 m or less"),
    "cusp above ball": (["--ball", "6", "--cusp", "4 mm"], "more than the 6 mm ball can leave"),
    "step above ball": (["--ball", "6", "--stepover", "6.5"], "more than the 6 mm ball can leave"),
    "both targets": (["--cusp", "0.01", "--stepover", "0.5"], "exactly one"),
    "thresholds out of order": (["--flat-below", "50"], "--flat-below: flat_below (50 deg) must be smaller"),
    "angle no angle": (["--steep-from", "high"], "--steep-from"),
    "axis": (["--up", "Q"], "--up"),
    "zero axis": (["--up", "0,0,0"], "not a direction"),
    "unit": (["--unit", "parsec"], "--unit: 'parsec' is not a unit of part models here; use mm, inch or m"),
    "unknown option": (["--bell", "6"], "--bell"),
    "only": (["--only", "lunch"], "--only zones"),
    "job missing": (["--job", "none.toml"], "none.toml"),
}


@pytest.mark.parametrize("name", BAD_OPTIONS)
def test_bad_options_are_told_in_one_line(name: str, part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options, words = BAD_OPTIONS[name]
    assert words in fault(capsys, "plan", str(part), *options)
    assert not (part.parent / "wedge-plan").exists()


BAD_JOBS = {
    "no toml": ("unit = ", "is not TOML"),
    "unknown key": ("[zones]\nflat_bellow = 3", "did you mean 'flat_below'"),
    "unknown section": ("[zone_rules]\nx = 1", "no key of a job file"),
    "wrong type": ("[zones]\nflat_below = [1]", "zones.flat_below"),
    "wrong choice": ('[machine]\naxes = "4"', "machine.axes"),
    "infinite": ("[zones]\nflat_below = inf", "zones.flat_below"),
    "unknown tool": ('[[stage]]\nname = "a"\ncusp = 0.01\ntool = "b"', "asks for tool 'b'"),
    "no stage": ("stage = []", "stage"),
    "bull without corner": ('[[tool]]\nkind = "bull"\ndiameter = 6', "corner_radius"),
    "name in two lines": ('[[zone]]\nat = [0, 0, 0]\nname = "far\\nzone"', "zone.0.name"),
    "not text": (b"\xff\x00\xfe", "is not TOML"),
    "half a letter": (b"\xff\xfe\x00", "is not TOML"),
}


@pytest.mark.parametrize("name", BAD_JOBS)
def test_bad_jobs_are_told_in_one_line(name: str, part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text, words = BAD_JOBS[name]
    Path("job.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    line = fault(capsys, "plan", str(part), "--job", "job.toml")
    assert words in line and "job.toml" in line


def test_bad_files_and_folders_are_told_in_one_line(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "none.stl" in fault(capsys, "plan", "none.stl")
    assert "PART" in fault(capsys, "plan")
    Path("full").mkdir()
    Path("full/letter.txt").write_text("x")
    assert "full" in fault(capsys, "plan", str(part), "--out", "full")
    assert "is a file" in fault(capsys, "plan", str(part), "--out", "full/letter.txt")
    assert "no such command" in fault(capsys, "plam")


def test_odd_names_go_through(part: Path) -> None:
    odd = part.with_name("été <b>50% [red]&.stl")
    part.rename(odd)
    assert run_for_code(["plan", odd.name, "--no-passes"]) == 0
    folder = part.parent / "été <b>50% [red]&-plan"
    assert json.loads((folder / "plan.json").read_text(encoding="utf-8"))["part"]["name"] == "été <b>50% [red]&"


def test_a_fault_of_the_program_is_one_line_and_code_1(
    part: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("halves\nof nothing")

    monkeypatch.setattr("advisor.intake.door.plan", broken)
    assert run_for_code(["plan", str(part)]) == 1
    err = capsys.readouterr().err
    assert err.startswith("error: advisor: a fault of the program (ZeroDivisionError") and err.count("\n") == 1


def test_no_words_ask_for_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert run_for_code([]) == 0
    assert "plan" in capsys.readouterr().out


def test_a_job_file_in_utf_16_is_read(part: Path) -> None:
    Path("job.toml").write_text('[zones]\nflat_below = "2 deg"\n', encoding="utf-16")
    assert run_for_code(["plan", str(part), "--job", "job.toml", "--quiet", "--only", "zones", "--no-pictures"]) == 0


def test_help_and_version_need_no_geometry() -> None:
    code = (
        "import sys; from advisor.cli.main import run_for_code; "
        "assert run_for_code(['plan', '--help']) == 0; "
        "slow = {'numpy', 'numba', 'trimesh', 'scipy', 'pyvista', 'pint', 'PIL'} & set(sys.modules); "
        "assert not slow, slow"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, env={**os.environ, "COLUMNS": "200"}
    )
    assert done.returncode == 0, done.stderr
    assert "--flat-below" in done.stdout


def test_no_room_for_compiled_loops_is_told_with_where_to_make_it(
    part: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("advisor.intake.door.plan", full)
    assert run_for_code(["plan", str(part)]) == 2
    err = capsys.readouterr().err
    assert err.startswith("error: disk: no room is left (") and "NUMBA_CACHE_DIR" in err and err.count("\n") == 1
