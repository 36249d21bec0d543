"""Work over the cores, where a process that dies takes no other work with it."""

from __future__ import annotations

import os
import signal
import threading
import warnings
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import active_children, get_context, parent_process
from typing import TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

# Each worker keeps to one core: these are read when the libraries are first imported.
_THREAD_COUNTS = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
# Windows waits for no more handles than this at once (concurrent.futures refuses more).
_MOST_WORKERS = 61
# When a process dies, all work in hand is marked as failed at once; what is not by then is taken as failed.
_LONGEST_FAIL_SECONDS = 10.0


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def over_cores(
    work: Callable[[Task], Result], tasks: Sequence[Task], workers: int, *, warmed_by: Callable[[Result], bool]
) -> Generator[tuple[Task, Result | None], None, None]:
    """Results as they come, each with its task; None where the process that worked on it died.

    Parameters
    ----------
    work : function of a module, called in worker processes
    tasks : picklable
    workers : processes at once
    warmed_by : tells a result whose work has compiled (and stored on disk) what all processes need; until the
        first one, tasks run one at a time, so that not every process compiles the same.

    Close the generator to stop: workers end at once.
    """
    waiting = deque(tasks)
    workers = max(1, min(workers, len(tasks), _MOST_WORKERS))
    while waiting:
        with _pool(workers) as pool:
            suspects = yield from _until_one_dies(pool, work, waiting, workers, warmed_by)
        for task in suspects:
            yield task, _alone(work, task)


def _until_one_dies(
    pool: ProcessPoolExecutor,
    work: Callable[[Task], Result],
    waiting: deque[Task],
    workers: int,
    warmed_by: Callable[[Result], bool],
) -> Generator[tuple[Task, Result | None], None, list[Task]]:
    """Results until nothing waits, or until a process dies: then the tasks that were in work are returned."""
    running: dict[Future[Result], Task] = {}
    suspects: list[Task] = []
    room = 1
    while not suspects and (waiting or running):
        _fill(pool, work, waiting, running, room)
        # when a process dies all that runs fails at once: wait for all of it, some may have come to its end before
        done, _ = wait(running, return_when=FIRST_COMPLETED)
        if any(_died(future) for future in done):
            wait(running, timeout=_LONGEST_FAIL_SECONDS)
            done = set(running)
        for future in done:
            task = running.pop(future)
            if not future.done() or _died(future):
                suspects.append(task)
                continue
            result = future.result()
            room = workers if warmed_by(result) else room
            yield task, result
        if not done:  # a process died with nothing in work
            break
    return suspects


def _fill(
    pool: ProcessPoolExecutor,
    work: Callable[[Task], Result],
    waiting: deque[Task],
    running: dict[Future[Result], Task],
    room: int,
) -> None:
    """Give the pool what it has room for, and no more: all that is in work when a process dies is suspect."""
    while waiting and len(running) < room:
        try:
            future = _submit(pool, work, waiting[0])
        except BrokenProcessPool:
            return  # what is in work says so too
        running[future] = waiting.popleft()


def _submit(pool: ProcessPoolExecutor, work: Callable[[Task], Result], task: Task) -> Future[Result]:
    with _interrupts_held():  # a process that starts now inherits this: Ctrl-C is for us alone
        return pool.submit(work, task)


def _died(future: Future[Result]) -> bool:
    return isinstance(future.exception(), BrokenProcessPool)


def _alone(work: Callable[[Task], Result], task: Task) -> Result | None:
    with _pool(1) as pool:
        try:
            return _submit(pool, work, task).result()
        except BrokenProcessPool:
            return None


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    strangers = set(active_children())
    pool = ProcessPoolExecutor(workers, get_context("spawn"), _start_worker)
    try:
        yield pool
    finally:
        # workers are idle here, or nobody waits for their work any more; and a broken pool waits for ever for a
        # worker that started just as another one died
        for worker in set(active_children()) - strangers:
            worker.terminate()
        pool.shutdown(cancel_futures=True)


@contextmanager
def _interrupts_held() -> Iterator[None]:
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()  # else the first process start would begin it, and let interrupts through
    held = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, held)


def _start_worker() -> None:
    os.environ.update(dict.fromkeys(_THREAD_COUNTS, "1"))
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warnings.simplefilter("ignore")  # of libraries, about one part; faults come back as results
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    # a killed parent cannot say goodbye, and workers would wait for it for ever
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
