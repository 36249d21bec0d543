"""Plans in an object store: the bytes of a folder, whole or not there, and faults in one line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import solids
from folders import folder_bytes

from advisor.cli.main import run_for_code
from advisor.errors import InputError
from advisor.library.run import LibraryJob, plan_library
from advisor.library.store import ObjectStore

fsspec = pytest.importorskip(
    "fsspec", reason="fsspec is not installed (the extra store, in advisor-surface-finishing[dev])"
)


@pytest.fixture
def parts(tmp_path: Path) -> Path:
    folder = tmp_path / "parts"
    folder.mkdir()
    for tilt_deg in (20.0, 30.0):
        (folder / f"wedge {tilt_deg:g}.stl").write_bytes(solids.to_stl_bytes(*solids.wedge(tilt_deg)))
    (folder / "bad.stl").write_bytes(b"solid nothing")
    return folder


@pytest.fixture
def memory(tmp_path: Path):
    """A store that is nowhere but in this process."""
    system = fsspec.filesystem("memory")
    yield system, f"memory://{tmp_path.name}"
    system.rm(f"/{tmp_path.name}", recursive=True)


def here(work, tasks, *, warmed_by):
    for task in tasks:
        yield task, work(task)


def job_of(parts: Path, url: str, **more: object) -> LibraryJob:
    return LibraryJob(
        parts, parts.parent / "out", {}, {"ball": "6 mm"}, pictures=False, short=True, store_url=url, **more
    )


def test_a_store_holds_what_a_folder_would(parts: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Worker processes and all, in a store of folders; changed, lost and like parts too."""
    shutil.copy(parts / "wedge 20.stl", parts / "wedge too.stl")
    words = ["batch", str(parts), "--ball", "6 mm", "--short", "--workers", "2", "--out"]
    assert run_for_code([*words, str(tmp_path / "out")]) == 3
    store = tmp_path / "store"
    one_worker = ["1" if word == "2" else word for word in words]
    stored = [*one_worker, str(tmp_path / "beside"), "--store", store.as_uri()]
    assert run_for_code(stored) == 3
    held, folder = folder_bytes(store), folder_bytes(tmp_path / "out")
    # the last two tell the command, which is another one
    of_the_run = {"ledger.sqlite", ".in-use", "not_planned.csv", "index.html"}
    assert {name: held[name] for name in folder if name not in of_the_run} == {
        name: folder[name] for name in folder if name not in of_the_run
    }
    assert set(held) ^ set(folder) == {"advisor-batch.txt", "ledger.sqlite", ".in-use"}
    assert "--store=file://" in (store / "not_planned.csv").read_text()
    assert not (tmp_path / "beside/plans").exists() and not (tmp_path / "beside/thumbnails").exists()

    (store / "plans/wedge 30/plan.json").unlink()
    (store / "thumbnails/wedge too.png").write_bytes(b"")
    capsys.readouterr()
    assert run_for_code(stored) == 3
    assert "2 planned, 1 unchanged, 1 not planned" in capsys.readouterr().err
    assert folder_bytes(store) == held


def test_half_a_plan_is_none(parts: Path, memory, monkeypatch: pytest.MonkeyPatch) -> None:
    """A store breaks down in the middle of a plan: neither the old one nor half the new one is told to be there."""
    system, url = memory
    result = plan_library(job_of(parts, url), crew=here)
    assert (result.planned, result.failed) == (2, 1)
    put, root = type(system).put_file, f"/{parts.parent.name}"

    def breaks(self, local, target, *more, **named):
        if target.endswith("wedge 20/zones.csv"):
            raise OSError("no more of you")
        return put(self, local, target, *more, **named)

    monkeypatch.setattr(type(system), "put_file", breaks)
    result = plan_library(job_of(parts, url, again=True), crew=here)
    assert (result.planned, result.failed) == (1, 2)
    reason = next(failure.reason for failure in result.failures if failure.file == "wedge 20.stl")
    assert reason.startswith(f"{url}: cannot be used (OSError: no more of you); check the address")
    assert not system.exists(f"{root}/plans/wedge 20/plan.json") and system.exists(f"{root}/plans/wedge 30/plan.json")

    monkeypatch.undo()
    result = plan_library(job_of(parts, url), crew=here)
    assert (result.planned, result.unchanged) == (1, 1)


def test_what_is_no_store_of_plans_is_one_line(
    parts: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ["batch", str(parts), "--out", str(tmp_path / "out"), "--ball", "6 mm", "--store"]
    for url, problem in (
        (parts.as_uri(), "holds other files ("),
        ("nowhere://at/all", "cannot be used (ValueError: Protocol not known: nowhere)"),
    ):
        assert run_for_code([*words, url]) == 2
        assert capsys.readouterr().err.startswith(f"error: {url}: {problem}")
    assert sorted(path.name for path in parts.iterdir()) == ["bad.stl", "wedge 20.stl", "wedge 30.stl"]

    monkeypatch.setattr("advisor.library.store.find_spec", lambda _name: None)
    assert run_for_code([*words, "memory://elsewhere"]) == 2
    remedy = "install it with: pip install 'advisor-surface-finishing[store]'"
    assert capsys.readouterr().err == f"error: --store: needs fsspec, not installed here; {remedy}\n"


def test_no_bucket_is_made_by_a_slip(monkeypatch: pytest.MonkeyPatch) -> None:
    class Buckets:
        def exists(self, _way: str) -> bool:
            return False

    monkeypatch.setattr("advisor.library.store._system", lambda _url: (Buckets(), "no-such/quotes"))
    with pytest.raises(InputError, match="there is no no-such; make it first"):
        ObjectStore("s3://no-such/quotes").begin()
