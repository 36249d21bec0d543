"""A crew on other machines: workers of a Dask cluster that see the same folders; an optional extra."""

from __future__ import annotations

import atexit
import logging
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError, Executor, Future
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from importlib.util import find_spec
from typing import Any, TypeVar

from advisor.errors import InputError, needs_extra
from advisor.library.memory import share_of_memory_bytes
from advisor.library.pool import Crew, Results, over_executor
from advisor.library.slot import NO_LIMITS, Limits, Lost, Slots

Task = TypeVar("Task")
Result = TypeVar("Result")

# Tasks that wait at the workers, for each that is in work: so none of them waits for the next.
_AHEAD = 2
_CONNECT_SECONDS = 10.0
# A task whose workers ended, one after the other, while it was with them.
_WITH_ITS_WORKERS = Lost("died")


def over_cluster(address: str, limits: Limits = NO_LIMITS) -> Crew:
    """A crew of the workers of a Dask scheduler, each of which runs as many tasks at once as it has threads.

    Tasks run in processes of their own, as they do on the cores of this machine, with the same limits; without a limit
    of memory a task may use a core's share of its machine.

    Raises
    ------
    InputError
        Where Dask is not installed, and, once it runs, where no scheduler answers, it has no workers, or it goes away.
    """
    if find_spec("distributed") is None:
        raise needs_extra("--scheduler", "distributed", "cluster")

    def run(
        work: Callable[[Task], Result], tasks: Iterable[Task], *, warmed_by: Callable[[Result], bool]
    ) -> Results[Task, Result]:
        with _client(address) as client:
            threads = sum(client.nthreads().values())
            if not threads:
                remedy = f"start some with: dask worker {address} --nthreads 1"
                raise InputError(address, "has no workers", remedy)
            executor, apart = _Cluster(client), _Apart(work, limits)
            suspects: list[Task] = []
            try:
                for task, result in over_executor(executor, apart, tasks, _AHEAD * threads, warmed_by=warmed_by):
                    if result is _WITH_ITS_WORKERS:
                        suspects.append(task)
                    else:
                        yield task, result
                # what stood beside a part that ends workers ended with them: each gets a try of its own
                for task in suspects:
                    yield task, executor.submit(apart, task).result()
            except CancelledError as fault:
                remedy = "start it again, then run the same again to go on"
                raise InputError(address, "the scheduler has gone away", remedy) from fault

    return run


class _Cluster(Executor):
    """What `over_executor` asks of an executor, by the futures of Dask."""

    def __init__(self, client: Any) -> None:
        self._inner = client.get_executor(pure=False, retries=0)

    def submit(self, work: Callable[..., Any], /, *tasks: Any, **_options: Any) -> Future[Any]:
        """Begin; a task whose workers die with it again and again is lost."""
        outcome: Future[Any] = Future()
        outcome.set_running_or_notify_cancel()
        inner: Future[Any] = self._inner.submit(work, *tasks)
        inner.add_done_callback(lambda done: _pass_on(done, outcome))
        return outcome


def _pass_on(done: Future[Any], outcome: Future[Any]) -> None:
    from distributed.scheduler import KilledWorker

    if done.cancelled():
        outcome.set_exception(CancelledError())
        return
    fault = done.exception()
    if isinstance(fault, KilledWorker):
        outcome.set_result(_WITH_ITS_WORKERS)
    elif fault is not None:
        outcome.set_exception(fault)
    else:
        outcome.set_result(done.result())


class _Apart:
    """Runs on a worker of the cluster: the work, in a process of its own."""

    def __init__(self, work: Callable[[Any], Any], limits: Limits) -> None:
        self._work, self._limits = work, limits

    def __call__(self, task: Any) -> Any:
        limits = self._limits
        if limits.memory_bytes is None:
            limits = replace(limits, memory_bytes=share_of_memory_bytes(os.cpu_count() or 1))
        return _slots().run(self._work, task, limits)


@cache
def _slots() -> Slots:
    # kept from task to task; processes end by themselves when the worker is killed
    slots = Slots()
    atexit.register(slots.end)
    return slots


@contextmanager
def _client(address: str) -> Iterator[Any]:
    from distributed import Client

    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # faults are told in one line, without its traces
    try:
        client = Client(address, timeout=_CONNECT_SECONDS, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as fault:
        remedy = "check the address, and start one with: dask scheduler"
        raise InputError(address, "no scheduler answers there", remedy) from fault
    with client:
        yield client
