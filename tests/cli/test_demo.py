"""The demo parts that come with the program, from a checkout and from a wheel."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from advisor.cli.main import run_for_code
from advisor.intake.demo_parts import DEMO_PARTS

ROOT = Path(__file__).parents[2]


def test_demo_parts_are_copied_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "a b" / "demo"
    for _ in range(2):
        assert run_for_code(["demo", str(folder)]) == 0
        told = capsys.readouterr()
        assert told.out.splitlines() == [str(folder / name) for name in DEMO_PARTS]
        assert told.err == f"plan one with: advisor plan '{folder}/fruit_cup_tool.stl' --ball \"10 mm\"\n"
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == {
        name: (ROOT / "meshes" / name).read_bytes() for name in DEMO_PARTS
    }


def test_nothing_of_the_users_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mine = tmp_path / DEMO_PARTS[2]
    mine.write_bytes(b"mine")
    assert run_for_code(["demo", str(tmp_path)]) == 2
    assert capsys.readouterr().err == f"error: {mine}: is there already, and is no demo part; choose another folder\n"
    assert [path.name for path in tmp_path.iterdir()] == [mine.name] and mine.read_bytes() == b"mine"
    assert run_for_code(["demo", str(mine)]) == 2
    assert capsys.readouterr().err.startswith(f"error: {mine}: cannot be written (")


def test_a_wheel_holds_them() -> None:
    build = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert build["force-include"] == {f"meshes/{name}": f"advisor/demo_parts/{name}" for name in DEMO_PARTS}
