"""`advisor export` as a user meets it: a file or a folder, and one line for every fault."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import documented
import pytest
import solids

import advisor
from advisor.cli.main import run_for_code
from advisor.pack.folder import write_plan_folder

DOC = Path(__file__).resolve().parents[2] / "docs" / "how-to-export.md"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    where = tmp_path_factory.mktemp("export")
    part = where / "wedge.stl"
    part.write_bytes(solids.to_stl_bytes(*solids.wedge(20)))
    return write_plan_folder(advisor.plan(part, ball="8 mm", lays_passes=False), where / "plan", pictures=False)


def export(*words: object) -> int:
    return run_for_code(["export", *(str(word) for word in words)])


def test_the_ending_says_the_kind(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    heads = {"dxf": b"  0\n", "svg": b"<?xml", "stl": b"advisor zones", "glb": b"glTF", "ply": b"ply\n", "3mf": b"PK",
             "vtp": b"<?xml", "csv": b"id,", "parquet": b"PAR1"}  # fmt: skip
    for kind, head in heads.items():
        target = tmp_path / f"wedge.{kind}"
        assert export(folder / "plan.json" if kind == "glb" else folder, "--to", target) == 0
        assert target.read_bytes().startswith(head), kind
        assert str(target) in capsys.readouterr().err
    assert len(list(tmp_path.iterdir())) == len(heads), "nothing of the making is left"


def test_a_folder_gets_the_kinds_asked_for(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        export(folder, "--to", tmp_path / "out", "--as", "stl, dxf", "--zone", "1", "--zone", "2", "--json", "-q") == 0
    )
    told = json.loads(capsys.readouterr().out)
    assert sorted(told["files"]) == sorted(str(path) for path in (tmp_path / "out").rglob("*") if path.is_file())
    assert [Path(path).name[:8] for path in told["files"]] == ["wedge.dx", "zone-001", "zone-002"]
    assert export(folder, "--to", tmp_path / "every") == 0
    assert {path.suffix[1:] for path in (tmp_path / "every").rglob("*.*")} == {
        "dxf", "svg", "stl", "glb", "ply", "3mf", "vtp", "csv", "parquet",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--to", "part.xyz"), "no kind that is written here; end it in .dxf, .svg"),
        (("--to", "missing/part.dxf"), "no such folder"),
        (("--to", "."), "is a plan folder, which holds nothing else"),
        (("--to", "plan.json/out"), "cannot be made"),
        (("--to", "part.dxf", "--as", "dxf"), "--as"),
        (("--to", "out", "--as", "dxf,bmp"), "'bmp' is no kind of file"),
        (("--to", "part.stl", "--zone", "77"), "no zone 77"),
        (("--to", "part.ply", "--colour", "mood"), "nothing to colour by"),
        (("--to", "part.ply", "--colour", "cusp"), "none were laid"),
        (("--to", "part.csv", "--table", "chairs"), "use one of zones, candidates, facets"),
    ],
)
def test_what_cannot_be_written_is_told_in_one_line(
    folder: Path, words: tuple[str, ...], said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folder)
    before = sorted(path.name for path in folder.iterdir())
    assert export(".", *words) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("error: ") and said in line
    assert sorted(path.name for path in folder.iterdir()) == before


def test_a_folder_without_a_plan_and_one_without_outlines(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert export(tmp_path, "--to", tmp_path / "part.dxf") == 2
    assert "plan the part first" in capsys.readouterr().err
    for name in ("plan.json", "facets.npz"):
        (tmp_path / name).write_bytes((folder / name).read_bytes())
    assert export(tmp_path, "--to", tmp_path.parent / "part.dxf") == 2
    assert (
        "needs the outlines of the zones, which this plan folder lacks; plan the part again" in capsys.readouterr().err
    )
    (tmp_path / "outlines.npz").write_bytes(b"not a zip")
    assert export(tmp_path, "--to", tmp_path.parent / "part.svg") == 2
    assert "outlines.npz: is missing or damaged" in capsys.readouterr().err


def test_without_the_parquet_library_a_folder_gets_the_rest(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert export(folder, "--to", tmp_path / "out") == 0
    assert "note: no Parquet files: needs pyarrow" in capsys.readouterr().err
    assert not list(tmp_path.rglob("*.parquet")) and len(list(tmp_path.rglob("*.glb"))) == 1
    assert export(folder, "--to", tmp_path / "more", "--as", "parquet") == 2
    assert "pip install 'advisor-surface-finishing[parquet]'" in capsys.readouterr().err


def test_help_waits_for_nothing_heavy() -> None:
    words = "import sys; from advisor.cli.main import run_for_code; run_for_code(['export', '--help']); "
    words += "print([m for m in ('numpy', 'numba', 'pyvista', 'ezdxf', 'PIL') if m in sys.modules])"
    child = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert child.stdout.splitlines()[-1] == "[]"


def test_the_page_in_the_docs_prints_what_the_commands_print() -> None:
    document = DOC.read_text("utf-8")
    assert len(documented.commands_of(document)) == 2
    assert documented.renewed(document) == document, "renew with: python tests/documented.py docs/how-to-export.md"
