"""Tasks over an executor: results as they come, where a process that dies or runs over takes no other work with it.

The executor is threads of this process (`over_cores`) or a cluster (`cluster.over_cluster`): each runs tasks by
`Slots.run`, in processes of their own with limits.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from typing import Protocol, TypeVar

from advisor.library.slot import NO_LIMITS, Limits, Lost, Slots

Task = TypeVar("Task")
Result = TypeVar("Result")
Results = Generator[tuple[Task, Result | Lost], None, None]

# Until a first result has warmed the rest, one task runs at a time; but a part that hangs must not hold up the others
# for long, nor many that fail. Compiling takes about a minute.
_LONGEST_ALONE_SECONDS = 120.0


class Crew(Protocol):
    """Who does the work: runs `work` on all tasks, and yields each with its result as they come.

    ``warmed_by`` tells a result whose work has compiled (and stored on disk) what all processes need; until the first
    one, tasks run one at a time, so that not every process compiles the same. Close the generator to stop.
    """

    def __call__(
        self, work: Callable[[Task], Result], tasks: Iterable[Task], *, warmed_by: Callable[[Result], bool]
    ) -> Results[Task, Result]:
        """Results as they come, each with its task."""


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def over_cores(workers: int, limits: Limits = NO_LIMITS) -> Crew:
    """A crew of `workers` processes on this machine; all end when its generator is closed."""

    def run(
        work: Callable[[Task], Result], tasks: Iterable[Task], *, warmed_by: Callable[[Result], bool]
    ) -> Results[Task, Result]:
        slots = Slots()
        executor = ThreadPoolExecutor(workers)
        try:
            yield from over_executor(
                executor, lambda task: slots.run(work, task, limits), tasks, workers, warmed_by=warmed_by
            )
        finally:
            slots.end()  # threads that wait for a process get to know of its end
            executor.shutdown(cancel_futures=True)

    return run


def over_executor(
    executor: Executor,
    work: Callable[[Task], Result | Lost],
    tasks: Iterable[Task],
    most: int,
    *,
    warmed_by: Callable[[Result], bool],
) -> Results[Task, Result]:
    """Results of an executor as they come; it is given `most` tasks at once, so that tasks may be drawn late."""
    waiting = iter(tasks)
    running: dict[Future[Result | Lost], Task] = {}
    began, is_warm = time.monotonic(), False
    while True:
        is_warm = is_warm or time.monotonic() - began > _LONGEST_ALONE_SECONDS
        _fill(executor, work, waiting, running, most if is_warm else 1)
        if not running:
            return
        patience = None if is_warm else _LONGEST_ALONE_SECONDS / 10
        done, _ = wait(running, patience, return_when=FIRST_COMPLETED)
        for future in done:
            task = running.pop(future)
            result = future.result()
            is_warm = is_warm or (not isinstance(result, Lost) and warmed_by(result))
            yield task, result


def _fill(
    executor: Executor,
    work: Callable[[Task], Result | Lost],
    waiting: Iterator[Task],
    running: dict[Future[Result | Lost], Task],
    room: int,
) -> None:
    while len(running) < room:
        try:
            task = next(waiting)
        except StopIteration:
            return
        running[executor.submit(work, task)] = task
