"""A batch as a whole, with pretended planning: what is planned, kept, listed, and reported."""

import csv
import io
import sqlite3
from contextlib import closing, suppress
from dataclasses import replace

import pytest
import worker_jobs

from advisor.errors import InputError
from advisor.library.ledger import LEDGER_FILE, Ledger, open_ledger
from advisor.library.quantities import Quantities
from advisor.library.run import LibraryJob, Listeners, plan_library
from advisor.library.slot import Limits


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
    assert result.planned + result.failed == len(new)
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
    (job.folder / "hang here.stl").write_bytes(b"hang")
    limits = Limits(seconds=3.0)
    result = plan_library(replace(job, workers=2, limits=limits), None, worker_jobs.pretend)
    assert (result.planned, result.unchanged, result.failed) == (3, 0, 3)
    reasons = {failure.file: failure.reason for failure in result.failures}
    assert sorted(reasons) == ["bad.stl", "deadly.stl", "hang here.stl"]
    assert reasons["bad.stl"] == "is bad; give another"
    assert "ended its process" in reasons["deadly.stl"]
    assert "was ended after 3 s, the time limit" in reasons["hang here.stl"]
    rows = list(csv.DictReader(io.StringIO((job.out / "parts.csv").read_text())))
    assert [(row["file"], row["status"]) for row in rows] == [
        ("a.stl", "planned"), ("b.stl", "planned"), ("bad.stl", "not planned"), ("c.ply", "planned"),
        ("deadly.stl", "not planned"), ("hang here.stl", "not planned"),
    ]  # fmt: skip
    listed = list(csv.DictReader(io.StringIO((job.out / "not_planned.csv").read_text())))
    assert {row["file"]: row["reason"] for row in listed} == reasons
    assert listed[0]["command"] == "advisor batch --only=bad.stl"
    assert listed[2]["command"] == "advisor batch --time-limit '6 s' '--only=hang here.stl'"
    # those that failed are tried again, those that did not are kept
    (job.folder / "hang here.stl").unlink()
    (job.folder / "bad.stl").write_bytes(b"good now")
    assert _planned_anew(job) == ["bad.stl", "deadly.stl"]


def test_the_same_content_is_planned_once_and_copied(job):
    (job.folder / "sub").mkdir()
    for name in ("sub/a again.stl", "sub/a too.STL"):
        (job.folder / name).write_bytes(b"a.stl")
    (job.folder / "sub/a.ply").write_bytes(b"a.stl")  # another format is another part
    for name in ("bad.stl", "worse.stl"):
        (job.folder / name).write_bytes(b"bad")
    result = plan_library(replace(job, workers=2), None, worker_jobs.pretend_and_log)
    assert (result.planned, result.failed) == (6, 2)
    logged = (job.out.parent / "log").read_text().splitlines()
    assert sorted(logged) == [
        "a.stl None", "b.stl None", "bad.stl None", "c.ply None", "sub/a again.stl a", "sub/a too.STL a",
        "sub/a.ply None",
    ]  # fmt: skip
    reasons = {failure.file: failure.reason for failure in result.failures}
    assert reasons["worse.stl"] == "is bad; give another (the same content as bad.stl)"
    assert (job.out / "plans/sub/a again/plan.json").read_text() == "a.stl"


def test_a_part_under_a_new_name_is_copied_from_its_old_plan(job):
    plan_library(job, None, worker_jobs.pretend_and_log)
    (job.folder / "a.stl").rename(job.folder / "z.stl")
    (job.folder / "b.stl").rename(job.folder / "y.stl")
    (job.folder / "b.stl").write_bytes(b"other content in its place")
    (job.out.parent / "log").unlink()
    plan_library(job, None, worker_jobs.pretend_and_log)
    # the plan of b gives way to a new one, so that it is no source for y
    assert sorted((job.out.parent / "log").read_text().splitlines()) == ["b.stl None", "y.stl None", "z.stl a"]
    assert (job.out / "plans/y/plan.json").read_text() == "b.stl"


def test_one_part_alone_leaves_the_others_as_they_are(job):
    (job.folder / "bad.stl").write_bytes(b"bad")
    plan_library(job, None, worker_jobs.pretend)
    (job.folder / "a.stl").write_bytes(b"changed")
    (job.folder / "b.stl").write_bytes(b"changed too")
    assert _planned_anew(replace(job, only=frozenset({"b.stl"}))) == ["b.stl"]
    rows = list(csv.DictReader(io.StringIO((job.out / "parts.csv").read_text())))
    assert [(row["file"], row["status"]) for row in rows] == [
        ("b.stl", "planned"), ("bad.stl", "not planned"), ("c.ply", "planned"),
    ]  # fmt: skip
    with pytest.raises(InputError, match=r"--only: there is no part 'd.stl'"):
        plan_library(replace(job, only=frozenset({"d.stl"})), None, worker_jobs.pretend)


def test_quantities_multiply_the_minutes(job):
    quantities = Quantities("wanted.csv", {"a.stl": 3, "b.stl": 0, "gone.stl": 2})
    assert plan_library(replace(job, quantities=quantities), None, worker_jobs.pretend).not_there == ("gone.stl",)
    rows = {row["file"]: row for row in csv.DictReader(io.StringIO((job.out / "parts.csv").read_text()))}
    for file, pieces in (("a.stl", 3), ("b.stl", 0), ("c.ply", 1)):
        assert float(rows[file]["quantity_min"]) == pieces * float(rows[file]["total_min"])
    assert float(rows["a.stl"]["total_min"]) > 0


def test_what_a_killed_process_left_half_written_is_swept(job):
    pictures = job.out / "thumbnails"
    pictures.mkdir(parents=True)
    (job.out / LEDGER_FILE).touch()
    (pictures / ".a-ab12_xyz.part.png").touch()
    (pictures / "a.png").touch()
    result = plan_library(job, None, worker_jobs.leave_a_desk_and_die)
    assert result.failed == 3
    assert list((job.out / "plans").iterdir()) == []
    assert [file.name for file in pictures.iterdir()] == ["a.png"]


def test_a_full_disk_costs_no_more_than_the_parts_it_did_not_take(job, monkeypatch):
    """The ledger takes no more after two plans: SQLite says so as it does on a full disk."""
    planned = []

    def fill_the_disk(outcome, _new):
        planned.append(outcome)
        if len(planned) == 2:
            (ledger,) = held
            ledger._connection.execute("CREATE TABLE filler (words TEXT)")
            with suppress(sqlite3.OperationalError):
                ledger._connection.execute("PRAGMA max_page_count = 1")  # no less than there are
                while True:
                    ledger._connection.execute("INSERT INTO filler VALUES (?)", ("x" * 100,))

    held = []
    opened = Ledger.__init__
    monkeypatch.setattr(Ledger, "__init__", lambda self, *told: (held.append(self), opened(self, *told))[1])
    for number in range(40):  # more than the rest of a page holds
        (job.folder / f"more {number}.stl").write_bytes(str(number).encode())
    result = plan_library(job, Listeners(told=fill_the_disk), worker_jobs.pretend)
    assert result.planned + result.failed == 43 and result.failed > 30
    assert all("ledger.sqlite could not be written" in failure.reason for failure in result.failures)
    rows = list(csv.DictReader(io.StringIO((job.out / "parts.csv").read_text())))
    assert len(rows) == 43 and sum(row["status"] == "planned" for row in rows) == result.planned
    assert len(_planned_anew(job)) == result.failed


def test_a_list_that_cannot_be_written_is_told_and_the_others_are_there(job):
    plan_library(job, None, worker_jobs.pretend)
    (job.out / "parts.csv").unlink()
    (job.out / "parts.csv").mkdir()
    (job.out / "index.html").unlink()
    result = plan_library(job, None, worker_jobs.pretend)
    assert len(result.unwritten) == 1 and "parts.csv: cannot be written" in result.unwritten[0]
    assert (job.out / "index.html").is_file()


def test_others_may_read_the_ledger_while_the_batch_works(job):
    counts = []

    def look(_outcome, _new):
        with closing(sqlite3.connect(job.out / LEDGER_FILE)) as connection:
            counts.append(connection.execute("SELECT count(*) FROM part WHERE state = 'planned'").fetchone()[0])

    plan_library(job, Listeners(told=look), worker_jobs.pretend)
    assert counts == [1, 2, 3]


def test_stopped_by_the_user_finished_parts_stay_and_are_listed(job):
    def stop(_outcome, _new):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        plan_library(job, Listeners(told=stop), worker_jobs.pretend)
    rows = list(csv.DictReader(io.StringIO((job.out / "parts.csv").read_text())))
    assert [row["status"] for row in rows] == ["planned"]
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
