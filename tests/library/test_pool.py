"""Work over worker processes: nothing is lost, and what kills its process or runs over harms nothing else."""

import os
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import psutil
import pytest
import worker_jobs

import advisor
from advisor.errors import InputError
from advisor.library.pool import over_cores
from advisor.library.slot import Limits, Lost, Slots


def always(_result):
    return True


def no_workers_left():
    return not [
        child for child in psutil.Process().children(recursive=True) if "advisor.library.slot_child" in child.cmdline()
    ]


def test_a_process_that_dies_loses_its_own_task_only():
    results = list(over_cores(3)(worker_jobs.double_or_die, range(10), warmed_by=always))
    assert sorted(task for task, _ in results) == list(range(10))
    assert dict(results) == {n: Lost("died") if n in (3, 5) else 2 * n for n in range(10)}
    assert no_workers_left()


def test_one_at_a_time_until_a_result_has_warmed_the_rest():
    results = list(over_cores(2)(worker_jobs.clocked, range(8), warmed_by=lambda result: result[0] == 1))
    spans = {number: (began, ended) for _, (number, began, ended, _, _) in results}
    assert spans[0][1] <= spans[1][0] < spans[1][1] <= min(spans[n][0] for n in range(2, 8))
    assert {threads for _, (*_, threads, _) in results} == {"1"}
    assert len({process for _, (*_, process) in results}) == 2


def test_what_runs_over_a_limit_is_ended_with_its_children_and_the_rest_goes_on():
    tasks = ["one", "hang", "hoard", "two", "hang in a child", "hoard in a child", "print", "three"]
    limits = Limits(seconds=8.0, memory_bytes=700_000_000)
    results = dict(over_cores(3, limits)(worker_jobs.hang_or_hoard, tasks, warmed_by=always))
    assert results == {
        "hang": Lost("time"), "hang in a child": Lost("time"), "hoard": Lost("memory"),
        "hoard in a child": Lost("memory"), **{word: f"did {word}" for word in ("one", "two", "three", "print")},
    }  # fmt: skip
    assert not [child for child in psutil.Process().children(recursive=True) if "time.sleep(600)" in child.cmdline()]
    assert no_workers_left()


def test_a_process_that_was_ended_while_it_waited_is_replaced():
    slots = Slots()
    try:
        assert slots.run(worker_jobs.double_or_die, 1, Limits()) == 2
        for child in psutil.Process().children():
            if "advisor.library.slot_child" in child.cmdline():
                child.kill()
                child.wait()
        assert slots.run(worker_jobs.double_or_die, 2, Limits()) == 4
    finally:
        slots.end()


def test_tasks_are_drawn_no_earlier_than_there_is_room_for_them():
    drawn = []
    tasks = (drawn.append(number) or number for number in range(100, 150))
    for count, _ in enumerate(over_cores(2)(worker_jobs.double_or_die, tasks, warmed_by=always), 1):
        assert len(drawn) <= count + 2


def test_leaving_early_ends_the_workers_in_the_middle_of_their_work(tmp_path):
    marks = [tmp_path / name for name in ("quick one", "quick two", "slow", "never begun")]
    with closing(over_cores(2)(worker_jobs.mark_both_ends, marks, warmed_by=always)) as results:
        assert [next(results)[0], next(results)[0]] == marks[:2]
        deadline = time.monotonic() + 20.0
        while not (tmp_path / "slow-begun").exists():
            assert time.monotonic() < deadline
            time.sleep(0.01)
    assert no_workers_left()
    assert not (tmp_path / "slow").exists()


def test_workers_end_with_a_parent_that_is_killed():
    program = (
        "import worker_jobs, psutil\n"
        "from advisor.library.pool import over_cores\n"
        "results = over_cores(2)(worker_jobs.clocked, range(100000), warmed_by=lambda result: True)\n"
        "for _ in range(5): next(results)\n"
        "print(*[child.pid for child in psutil.Process().children()], flush=True)\n"
        "for _ in results: pass"
    )
    here = [str(Path(__file__).parents[1]), str(Path(advisor.__file__).parents[1])]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(here)}
    with subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, text=True, env=environment
    ) as parent:
        workers = [psutil.Process(int(number)) for number in parent.stdout.readline().split()]
        parent.kill()
    assert len(workers) == 2
    deadline = time.monotonic() + 20.0
    while any(_at_work(worker) for worker in workers):
        assert time.monotonic() < deadline
        time.sleep(0.05)


def _at_work(process):
    try:
        return process.status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def test_a_fault_of_the_work_itself_comes_out_as_it_is():
    with pytest.raises(InputError, match="part: number 0 is bad; give another"):
        list(over_cores(1)(worker_jobs.raise_input_error, [0], warmed_by=always))
    assert no_workers_left()
