"""A batch as a whole, with pretended planning: what is planned, kept, listed, and reported."""

import csv
import io
import sqlite3
from contextlib import closing
from dataclasses import replace
from multiprocessing import active_children

import pytest
import worker_jobs

from advisor.errors import InputError
from advisor.library.ledger import LEDGER_FILE, open_ledger
from advisor.library.run import LibraryJob, Listeners, plan_library


@pytest.fixture
def job(tmp_path):
    parts = tmp_path / "parts"
    parts.mkdir()
    for name in ("a.stl", "b.stl", "c.ply"):
        (parts / name).write_bytes(name.encode())
    return LibraryJob(parts, tmp_path / "out", {}, {"ball": "6 mm"}, pictures=False)


def _planned_anew(job):
    new = []
    listeners = Listeners(told=lambda outcome, is_new: new.append(outcome.file) if is_new else None)
    result = plan_library(job, listeners, worker_jobs.pretend)
    assert result.planned + len(result.failures) == len(new)
    return sorted(new)


def test_what_is_unchanged_is_not_planned_again(job):
    everything = ["a.stl", "b.stl", "c.ply"]
    assert _planned_anew(job) == everything
    table = (job.out / "parts.csv").read_bytes()
    assert _planned_anew(job) == []
    assert (job.out / "parts.csv").read_bytes() == table

    (job.folder / "b.stl").write_bytes(b"new content")
    (job.out / "plans/c/plan.json").unlink()
    (job.folder / "d.stl").write_bytes(b"a new part")
    assert _planned_anew(job) == ["b.stl", "c.ply", "d.stl"]
    (job.folder / "d.stl").unlink()

    for other in (
        replace(job, options={"ball": "8 mm"}),
        replace(job, options={"ball": "8 mm"}, keys={"zones": {"smallest": 9}}),
        replace(job, again=True),
    ):
        assert _planned_anew(other) == everything


def test_a_new_version_of_the_program_plans_anew(job, monkeypatch):
    _planned_anew(job)
    monkeypatch.setattr("advisor.library.run.package_version", lambda: "99")
    assert len(_planned_anew(job)) == 3


def test_bad_and_deadly_parts_among_good_ones_are_reported_alone(job):
    (job.folder / "bad.stl").write_bytes(b"bad")
    (job.folder / "deadly.stl").write_bytes(b"deadly")
    result = plan_library(replace(job, workers=2), None, worker_jobs.pretend)
    assert (result.planned, result.unchanged) == (3, 0)
    assert [failure.file for failure in result.failures] == ["bad.stl", "deadly.stl"]
    assert result.failures[0].reason == "is bad; give another"
    assert "ended its process" in result.failures[1].reason
    rows = list(csv.DictReader(io.StringIO((job.out / "parts.csv").read_text())))
    assert [(row["file"], row["status"]) for row in rows] == [
        ("a.stl", "planned"), ("b.stl", "planned"), ("bad.stl", "not planned"), ("c.ply", "planned"),
        ("deadly.stl", "not planned"),
    ]  # fmt: skip
    # those that failed are tried again, those that did not are kept
    (job.folder / "bad.stl").write_bytes(b"good now")
    assert _planned_anew(job) == ["bad.stl", "deadly.stl"]


def test_what_a_killed_process_left_half_written_is_swept(job):
    result = plan_library(job, None, worker_jobs.leave_a_desk_and_die)
    assert len(result.failures) == 3
    assert list((job.out / "plans").iterdir()) == []


def test_stopped_by_the_user_finished_parts_stay_and_are_listed(job):
    def stop(_outcome, _new):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        plan_library(job, Listeners(told=stop), worker_jobs.pretend)
    assert not active_children()
    page = (job.out / "index.html").read_text()
    assert "1 of 3 parts planned" in page and "2 still to do" in page
    assert len(_planned_anew(job)) == 2


def test_settings_that_suit_no_part_are_refused_before_the_work(job):
    with pytest.raises(InputError, match="more than the 6 mm ball can leave"):
        plan_library(replace(job, options={"ball": "6 mm", "cusp": "4 mm"}), None, worker_jobs.pretend)
    assert not job.out.exists()


def test_a_folder_of_other_files_is_left_alone(job):
    job.out.mkdir()
    (job.out / "index.html").write_text("mine")
    with pytest.raises(InputError, match="holds files that are no batch"):
        plan_library(job, None, worker_jobs.pretend)
    assert (job.out / "index.html").read_text() == "mine"


def test_a_second_batch_in_the_same_folder_is_refused(job):
    for _ in range(2):  # in a new ledger, and in one that is there
        with (
            open_ledger(job.out),
            pytest.raises(InputError, match="in use by another batch"),
            open_ledger(job.out),
        ):
            pass


def test_a_damaged_ledger_is_named_and_one_of_another_form_counts_as_empty(job):
    _planned_anew(job)
    with closing(sqlite3.connect(job.out / LEDGER_FILE)) as connection:
        connection.execute("PRAGMA user_version = 0")
    assert len(_planned_anew(job)) == 3
    (job.out / LEDGER_FILE).write_bytes(b"no database " * 1000)
    with pytest.raises(InputError, match="is damaged; delete it"):
        plan_library(job, None, worker_jobs.pretend)
