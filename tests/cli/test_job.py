"""`advisor job`: the starter is a job, says all that a job can say, and changes nothing until it is edited."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import documented
import pytest
import solids
from pydantic import BaseModel

import advisor
from advisor.advice.settings import resolve
from advisor.cli.main import run_for_code
from advisor.job import (
    HolderStep,
    Job,
    Machine,
    MaterialRow,
    Stage,
    TitleBlock,
    Tool,
    ZoneOverride,
    ZoneRules,
    load_job,
)
from advisor.pack.job_file import starter_job

DOC = Path(__file__).resolve().parents[2] / "docs" / "how-to-job.md"
# A job file spells it [material.NAME].
SPELLED_OTHERWISE = {"own_material"}


@pytest.fixture
def wedge(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "wedge.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.wedge(20)))
    return path


@pytest.fixture(params=["no part", "part", "inch", "tiny"])
def starter(request: pytest.FixtureRequest, wedge: Path) -> str:
    """Starters of all kinds; the tiny part gets the smallest ball."""
    if request.param == "no part":
        return starter_job()
    if request.param == "tiny":
        vertices, faces = solids.wedge(20)
        wedge.write_bytes(solids.to_stl_bytes(vertices * 0.02, faces))
    return starter_job(advisor.read_part(wedge, "inch" if request.param == "inch" else None))


def loaded(text: str) -> tuple[Job, Mapping[str, Any]]:
    Path("job.toml").write_text(text, encoding="utf-8")
    return load_job("job.toml")


def turned_on(text: str) -> str:
    """Every line that is off, on; alternatives stay off."""
    return re.sub(r"(?m)^#(?=[\w\[])", "", text)


def alternatives(text: str) -> Iterator[tuple[str, str]]:
    """Each alternative taken up, as the comment says: its name, and the text with it in place of the other key.

    A table takes its whole block with it.
    """
    for line in re.finditer(r"(?m)^##(\[?[\w.-]+).*in place of (\w+).*$", text):
        before, after = text[: line.start()], text[line.end() :]
        taken = line[0][2:]
        if line[1].startswith("["):
            after = after.replace("\n##", "\n")
        # the key that gives way is the nearest one above
        yield line[1], re.sub(rf"(?ms)(.*)^{line[2]} = [^\n]*\n", r"\1", before, count=1) + taken + after


def keys_of(model: type[BaseModel]) -> set[str]:
    return set(model.model_fields) - SPELLED_OTHERWISE


def test_a_starter_is_a_job_as_it_is(starter: str) -> None:
    job, _ = loaded(starter)
    assert [stage.name for stage in job.stage] == ["pre-finish", "finish"]
    assert starter.isascii() and max(map(len, starter.splitlines())) <= 120


@pytest.mark.parametrize("unit", ["mm", "inch", "m"])
def test_a_starter_changes_nothing(unit: str, wedge: Path) -> None:
    part = advisor.read_part(wedge, unit)
    _, keys = loaded(starter_job(part))
    mine, none = resolve(part.mesh, keys), resolve(part.mesh, {"unit": unit})
    assert mine.tools == none.tools
    named = {"tool": (), "stage": ()}
    assert mine.job.model_copy(update=named) == none.job.model_copy(update=named)
    assert [stage.model_copy(update={"tool": None}) for stage in mine.job.stage] == list(none.job.stage)


def test_a_starter_with_every_line_on_is_a_job(starter: str) -> None:
    job, _ = loaded(turned_on(starter))
    assert job.material == "Ti-6Al-4V" and len(job.tool) == 3 and job.zone[0].strategy == "parallel_line"


def test_lines_that_are_off_show_the_defaults(starter: str) -> None:
    """Where there is a default: examples stand for the keys that have none."""
    job, _ = loaded(turned_on(starter))
    sections = [(job, Job()), (job.zones, ZoneRules()), (job.machine, Machine()), (job.tool[0], Tool(diameter=1))]
    compared = 0
    for shown, default in sections:
        for name, field in type(shown).model_fields.items():
            value = getattr(default, name)
            if isinstance(value, BaseModel | tuple) or field.is_required() or value is None or name in ("unit", "name"):
                continue
            assert getattr(shown, name) == value, name
            compared += 1
    assert compared > 12


def test_every_alternative_is_a_job(starter: str) -> None:
    found = []
    for name, text in alternatives(turned_on(starter)):
        job, keys = loaded(text)
        found.append(name)
        assert name.startswith("[material") == (job.own_material is not None)
        taken = [*keys["stage"], keys["material"]]
        assert name.startswith("[") or any(name in section for section in taken)
    assert sorted(found) == ["[material.my-alloy", "ra", "ra", "stepover", "stepover"]


def test_every_key_there_is_stands_in_the_starter(starter: str) -> None:
    text = turned_on(starter)
    _, keys = loaded(text)
    assert set(keys) == keys_of(Job)
    assert set(keys["zones"]) == keys_of(ZoneRules)
    assert set(keys["machine"]) == keys_of(Machine)
    assert set(keys["title"]) == keys_of(TitleBlock)
    assert {key for tool in keys["tool"] for key in tool} == keys_of(Tool)
    assert set(keys["tool"][0]["holder"][0]) == keys_of(HolderStep)
    assert set(keys["zone"][0]) == keys_of(ZoneOverride)
    rows = [tomllib.loads(other) for _, other in alternatives(text)]
    assert {key for row in rows for stage in row["stage"] for key in stage} == keys_of(Stage)
    own = next(row["material"] for row in rows if isinstance(row["material"], dict))
    assert set(next(iter(own.values()))) == keys_of(MaterialRow)


def test_part_fills_in_size_unit_and_ball(wedge: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The wedge is 100 x 60 x 36.4: a tenth of 60 is 6, a shelf ball."""
    assert run_for_code(["job", "wedge.stl"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "100 x 60 x " in out and 'unit = "mm"' in out and "assumed" in out and 'diameter = "6 mm"' in out
    assert run_for_code(["job", "wedge.stl", "--unit", "inch"]) == 0
    out = capsys.readouterr().out
    assert "100 x 60 x " in out and 'unit = "inch"' in out and "assumed" not in out and 'diameter = "16 mm"' in out


def test_out_writes_a_file_and_keeps_what_is_there(wedge: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = wedge.parent / "my job.toml"
    assert run_for_code(["job", "--out", str(path)]) == 0
    out, err = capsys.readouterr()
    assert out == "" and str(path) in err
    assert path.read_text("utf-8") == starter_job()
    path.write_text("mine")
    assert run_for_code(["job", "wedge.stl", "--out", str(path)]) == 2
    err = capsys.readouterr().err
    assert err.startswith("error: ") and err.count("\n") == 1 and "--force" in err
    assert path.read_text() == "mine"
    assert run_for_code(["job", "wedge.stl", "--out", str(path), "--force"]) == 0
    assert "wedge.stl" in path.read_text("utf-8")


BAD = {
    "no such part": (["none.stl"], "none.stl"),
    "unit": (["--unit", "parsec"], "use mm, inch or m"),
    "folder": (["--out", "nowhere/job.toml"], "cannot be written"),
    "folder itself": (["--out", ".", "--force"], "cannot be written"),
}


@pytest.mark.parametrize("name", BAD)
def test_faults_are_one_line(name: str, wedge: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments, words = BAD[name]
    assert run_for_code(["job", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("error: ") and err.count("\n") == 1 and words in err


def test_odd_names_stay_comments(wedge: Path, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    odd = wedge.with_name('été\n[zones] "x" .stl')
    wedge.rename(odd)
    assert run_for_code(["job", odd.name]) == 0
    text = capsysbinary.readouterr().out.decode("utf-8")
    assert 'été_[zones] "x" .stl' in text
    loaded(text)


def test_the_plan_takes_the_starter(wedge: Path) -> None:
    for text in (starter_job(advisor.read_part(wedge)), turned_on(starter_job(advisor.read_part(wedge)))):
        Path("job.toml").write_text(text, encoding="utf-8")
        assert run_for_code(["plan", "wedge.stl", "--job", "job.toml", "--out", "p", "--quiet", "--no-pictures"]) == 0


def test_the_docs_print_what_the_command_prints(demo_parts: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(demo_parts.parent)
    document = DOC.read_text("utf-8")
    assert documented.commands_of(document)
    assert documented.renewed(document) == document, "renew with: python tests/documented.py docs/how-to-job.md"
