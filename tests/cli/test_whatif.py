"""`advisor whatif` as a user meets it: the table, the files, one line for every fault, and its page in the docs."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import documented
import pytest
import solids
from asked_for import few_of
from PIL import Image

import advisor
from advisor.cli.main import run_for_code

DOC = Path(__file__).resolve().parents[2] / "docs" / "how-to-whatif.md"


@pytest.fixture
def part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "wedge.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.wedge(20)))
    return path


def test_the_table_and_its_answer_are_printed(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_for_code(["whatif", str(part), "--balls", "8, 10 mm", "--material", "Ti-6Al-4V"]) == 0
    out, _ = capsys.readouterr()
    lines = out.splitlines()
    assert lines[0].startswith("wedge, all zones, finish stage, estimated; target: a cusp of 5 um")
    assert len([line for line in lines if line.endswith(("within", "over", "quickest"))]) == 10
    assert any(line.startswith("3 um instead of 5: ") and line.endswith(" min more.") for line in lines)


def test_json_has_the_rows_of_the_function(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_for_code(["whatif", str(part), "--ball", "8 mm", "--stepovers", "0.2, 0.4 mm", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    asked = advisor.what_if(part, ball="8 mm", stepovers="0.2, 0.4 mm")
    assert [row["path_mm"] for row in told["rows"]] == [row.path_mm for row in asked.rows]
    assert told["answer"][-1].startswith("No minutes")


def test_files_are_written_beside_the_table(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["whatif", str(part), "--ball", "8 mm", "--zone", "1", "--plot", "cusp.png", "--csv", "rows.csv", "--quiet"]
    assert run_for_code(words) == 0
    assert capsys.readouterr() == ("", "")
    with Image.open("cusp.png") as picture:
        assert picture.size == (1500, 1420)
    rows = list(csv.DictReader(Path("rows.csv").read_text("utf-8").splitlines()))
    # five cusps, three strategies of the zone each
    assert len(rows) == 15 and {row["zone"] for row in rows} == {"1"}
    assert [row["chosen"] for row in rows].count("True") == 5
    assert run_for_code(["whatif", str(part), "--ball", "8 mm", "--csv", "all.csv", "-q"]) == 0
    summed = list(csv.DictReader(Path("all.csv").read_text("utf-8").splitlines()))
    for row in (row for row in summed if row["zone"] == "all"):
        own = [one for one in summed if one["zone"] != "all" and one["cusp_asked_um"] == row["cusp_asked_um"]]
        assert float(row["path_mm"]) == pytest.approx(sum(float(one["path_mm"]) for one in own))


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--zone", "99"], "--zone: there is no zone 99"),
        (["--zone", "two"], "advisor whatif: invalid value"),
        (["--balls", "6 mm 8 mm"], "--balls: '6 mm 8 mm' is not a length"),
        (["--cusps", "3 deg"], "--cusps: '3 deg' is not a length"),
        (["--cusps", "3 um", "--stepovers", "1 mm"], "--stepovers and --cusps: both are given"),
        (["--plot", "cusp.jpg"], "cusp.jpg: is no name for a PNG picture"),
        (["--plot", "cusp.svg"], "cusp.svg: is no name for a PNG picture"),
        (["--plot", "none/cusp.png"], "none/cusp.png: cannot be written (no such folder)"),
        (["--csv", "none/rows.csv"], "none/rows.csv: cannot be written (no such folder)"),
        (["--csv", "."], ".: is a folder"),
    ],
)
def test_faults_are_one_line(part: Path, words: list[str], line: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_for_code(["whatif", str(part), *words]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1
    assert err.startswith(f"error: {line}"), err


def test_the_docs_print_what_the_commands_print() -> None:
    document = DOC.read_text("utf-8")
    assert len(documented.commands_of(document)) >= 3
    # the beginning of the page, with its first two commands, unless all is asked for
    shown = few_of(document[: [found.start() for found in re.finditer(r"(?m)^## ", document)][1]], document)
    assert len(documented.commands_of(shown)) >= 2
    assert documented.renewed(shown) == shown, "renew with: python tests/documented.py docs/how-to-whatif.md"
