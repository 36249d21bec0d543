"""Which files of a folder are parts."""

import os

import pytest

from advisor.errors import InputError
from advisor.intake import step
from advisor.library.patterns import Patterns
from advisor.library.scan import scan_folder


def _make(root, *names):
    for name in names:
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")


def _found(folder, out):
    return [part.file for part in scan_folder(folder, out).parts]


@pytest.fixture(params=[True, False], ids=["step", "no step"])
def reads_step(request, monkeypatch):
    monkeypatch.setattr(step, "can_read_step", lambda: request.param)
    return request.param


def test_models_below_a_folder_in_order_and_nothing_else(tmp_path, reads_step):
    models = [
        "B.STL",
        "a.ply",
        "a/b/c.obj",
        "a/b/d.Off",
        "z.3mf",
        "z/y.glb",
        "plan.json",
        "odd/plan.json",
        "odd/x.stl",
    ]
    _make(tmp_path, *models, "n.txt", ".hidden/a.stl", "._a.stl", "out/plans/a.stl", "t.step", "a/u.IGS")
    _make(tmp_path, "old/plan.json", "old/facets.npz", "old/deep/part.stl")
    scan = scan_folder(tmp_path, tmp_path / "out")
    files = [name for name in models if not name.endswith(".json")] + ["t.step"] * reads_step
    assert [part.file for part in scan.parts] == sorted(files)
    assert [part.way for part in scan.parts] == sorted(files)
    assert (scan.exact_models, scan.unreadable) == (2 - reads_step, ())


def test_links_round_in_a_circle_end_and_dead_ones_are_kept_to_be_reported(tmp_path):
    _make(tmp_path, "b/part.stl")
    (tmp_path / "b" / "up").symlink_to("..")
    (tmp_path / "c").symlink_to("b")
    (tmp_path / "gone.stl").symlink_to("nowhere")
    os.mkfifo(tmp_path / "pipe.stl")
    assert _found(tmp_path, tmp_path / "out") == ["b/part.stl", "gone.stl"]


def test_a_name_that_is_no_text_is_spelled_out(tmp_path):
    try:
        _make(tmp_path, os.fsdecode(b"\xff.stl"))
    except OSError:
        pytest.skip("this file system takes text only")
    assert _found(tmp_path, tmp_path / "out") == ["\\xff.stl"]


@pytest.mark.parametrize(
    ("names", "problem"),
    [
        ([], "there is no such folder"),
        (["parts/a.txt"], "holds no part models; give a folder that holds .stl"),
        (["parts/a.igs", "parts/b.iges"], "holds no part models; export its 2 STEP or IGES models as STL"),
        (["parts"], "is a file, not a folder"),
    ],
)
def test_a_folder_without_parts_is_refused_in_one_line(tmp_path, names, problem):
    _make(tmp_path, *names)
    with pytest.raises(InputError) as fault:
        scan_folder(tmp_path / "parts", tmp_path / "out")
    assert str(fault.value).startswith(f"{tmp_path / 'parts'}: {problem}")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_folder_that_cannot_be_read_is_told(tmp_path):
    _make(tmp_path, "a.stl", "locked/b.stl")
    (tmp_path / "locked").chmod(0)
    try:
        scan = scan_folder(tmp_path, tmp_path / "out")
    finally:
        (tmp_path / "locked").chmod(0o700)
    assert [failure.file for failure in scan.unreadable] == ["locked/"]


def test_what_is_not_meant_is_as_if_it_were_not_there(tmp_path):
    _make(tmp_path, "a.stl", "a.ply", "old/a.stl", "jobs/old.stl", "jobs/7/deep/B.STL", "jobs/7/a.igs")

    def found(*include, exclude=()):
        patterns = Patterns(include, tuple(exclude))
        return [part.file for part in scan_folder(tmp_path, tmp_path / "out", patterns).parts]

    assert found("*.stl") == ["a.stl", "jobs/7/deep/B.STL", "jobs/old.stl", "old/a.stl"]
    assert found("*.stl", exclude=["old"]) == ["a.stl", "jobs/7/deep/B.STL", "jobs/old.stl"]
    assert found("a.*", exclude=["*.ply", "old/"]) == ["a.stl"]
    assert found("jobs/*") == ["jobs/7/deep/B.STL", "jobs/old.stl"]  # a folder is meant with all in it
    assert found("jobs/*.stl") == ["jobs/old.stl"]
    assert found("/a.stl") == ["a.stl"]
    assert found("**/deep/*") == found("jobs/**/b.stl") == ["jobs/7/deep/B.STL"]
    assert scan_folder(tmp_path, tmp_path / "out", Patterns(exclude=("jobs/7/*.igs",))).exact_models == 0
    with pytest.raises(InputError, match="holds 6 part models, none of which is meant; check --include"):
        found("*.obj")
