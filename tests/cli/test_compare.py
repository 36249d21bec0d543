"""`advisor compare` as a user meets it: text, JSON, picture, exit codes, one line for every fault, and its page."""

from __future__ import annotations

import json
from pathlib import Path

import documented
import numpy as np
import pytest
import solids
from PIL import Image

import advisor
from advisor.cli.main import run_for_code

DOC = Path(__file__).resolve().parents[2] / "docs" / "how-to-compare.md"
OPTIONS = ["--ball", "6 mm", "--material", "Ti-6Al-4V"]


@pytest.fixture
def parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for name, low_mm in (("a", 5.0), ("b", 6.0)):
        vertices, faces = solids.wedge(20, low_mm=low_mm)
        (tmp_path / f"{name}.stl").write_bytes(solids.to_stl_bytes(vertices, faces))
        (tmp_path / f"{name}_moved.stl").write_bytes(solids.to_stl_bytes(vertices + [7.0, -3.0, 0.5], faces))
    return tmp_path


def test_a_revision_is_told_in_text_json_picture_and_exit_code(parts: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_for_code(["plan", "a.stl", *OPTIONS, "--no-passes", "--no-pictures", "-q", "--out", "old"]) == 0
    assert run_for_code(["compare", "old", "b_moved.stl", "--as-they-lie", "--picture", "what.png"]) == 4
    out, err = capsys.readouterr()
    lines = out.splitlines()
    assert lines[:2] == ["A: old", "B: b_moved.stl"] and err == "Picture: what.png\n"
    # the plan's own ball and material are asked of the model too
    assert "Settings: the same." in lines
    with Image.open("what.png") as picture:
        assert picture.size == (1600, 1200)
        assert len(picture.getcolors(2_000_000)) > 100
    assert run_for_code(["compare", "old/plan.json", "a_moved.stl", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["registration"]["shift_mm"] == pytest.approx([7.0, -3.0, 0.5], abs=1e-4)
    assert not told["is_changed"] and told["surface"]["places"] == []
    same = advisor.compare("old", "a_moved.stl")
    assert [zone.total_min_b for zone in same.zones] == [zone["total_min_b"] for zone in told["zones"]]
    assert same.picture.size == (1600, 1200)
    assert run_for_code(["compare", "a.stl", "b.stl", *OPTIONS, "--tolerance", "2 mm", "-q"]) in (0, 4)
    assert capsys.readouterr() == ("", "")


def test_inches_are_told_in_inches(parts: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_for_code(["compare", "a.stl", "b.stl", "--unit", "inch", "--ball", "0.25"]) == 4
    out = capsys.readouterr().out
    assert " in2" in out and " mm" not in out


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["nix", "a.stl"], "error: nix: is not there; give a plan folder or a part model"),
        (["empty", "a.stl"], "error: empty: is a folder without a plan.json; give a plan folder or a part model"),
        (["a.txt", "a.stl"], "error: a.txt: "),
        (["plan", "plan", "--ball", "3"], "error: --ball: changes nothing in plans that are made already"),
        (["plan", "a.stl", "--tolerance", "wide"], "error: --tolerance: "),
        (["plan", "a.stl", "--tolerance", "0"], "error: --tolerance: 0 is not above zero"),
        (["plan", "a.stl", "--picture", "a.jpg"], "error: a.jpg: is no name for a PNG picture"),
        (["cut", "a.stl"], f"error: {Path('cut') / 'plan.json'}: is no plan of this version"),
        (["foreign", "a.stl"], f"error: {Path('foreign') / 'plan.json'}: is no plan of this version"),
        (["bare", "a.stl"], f"error: {Path('bare') / 'facets.npz'}: is missing or damaged"),
        (["stray", "a.stl"], f"error: {Path('stray') / 'facets.npz'}: is damaged (faces: no vertices)"),
        (["nan", "a.stl"], f"error: {Path('nan') / 'facets.npz'}: is damaged (vertices: not finite)"),
        (["lost", "a.stl"], f"error: {Path('lost') / 'facets.npz'}: is damaged (zone: "),
    ],
)
def test_what_is_no_plan_and_no_part_is_one_line(
    words: list[str], line: str, parts: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_for_code(["plan", "a.stl", *OPTIONS, "--no-passes", "--no-pictures", "-q", "--out", "plan"]) == 0
    text, arrays = Path("plan/plan.json").read_text("utf-8"), dict(np.load("plan/facets.npz"))
    hostile = {
        "cut": (text[:500], arrays),
        "foreign": ('{"schema": "something else"}', arrays),
        "bare": (text, None),
        "stray": (text, {**arrays, "faces": arrays["faces"] + 10**6}),
        "nan": (text, {**arrays, "vertices": arrays["vertices"] * np.nan}),
        "lost": (text, {**arrays, "zone": arrays["zone"] + 100}),
    }
    Path("empty").mkdir()
    Path("a.txt").write_text("no part")
    for name, (words_of_plan, its_arrays) in hostile.items():
        Path(name).mkdir()
        (Path(name) / "plan.json").write_text(words_of_plan, encoding="utf-8")
        if its_arrays is not None:
            np.savez(Path(name) / "facets.npz", **its_arrays)
    capsys.readouterr()
    assert run_for_code(["compare", *words]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith(line) and err.count("\n") == 1


def test_the_page_prints_what_the_command_prints() -> None:
    document = DOC.read_text("utf-8")
    assert len(documented.commands_of(document)) == 3
    assert documented.renewed(document) == document, "renew with: python tests/documented.py docs/how-to-compare.md"
