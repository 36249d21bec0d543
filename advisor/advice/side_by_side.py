"""Work on several zones at once, as far as cores and memory go; answers come in the order asked for."""

from __future__ import annotations

import contextvars
import threading
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

from advisor.kernels.threads import threads

_Answer = TypeVar("_Answer")

# Between the kernels, which run side by side, work on a zone takes turns with others: more threads gain nothing.
_MOST_THREADS = 4


class StoppedError(Exception):
    """Nobody waits for an answer any more."""


class _Room:
    """Work in hand is no larger than 1 in all, but for a single piece that is larger by itself."""

    def __init__(self) -> None:
        self._changed, self._held, self._is_closed = threading.Condition(), 0.0, False

    @contextmanager
    def holding(self, size: float) -> Iterator[None]:
        with self._changed:
            self._changed.wait_for(lambda: self._is_closed or self._held == 0.0 or self._held + size <= 1.0)
            self.check()
            self._held += size
        try:
            yield
        finally:
            with self._changed:
                self._held = max(self._held - size, 0.0)
                self._changed.notify_all()

    def check(self) -> None:
        if self._is_closed:
            raise StoppedError

    def close(self) -> None:
        with self._changed:
            self._is_closed = True
            self._changed.notify_all()


def side_by_side(
    numbers: Sequence[int],
    work: Callable[[int, Callable[[], None]], _Answer],
    size: Callable[[int], float],
    after: Mapping[int, int],
) -> Generator[_Answer, None, None]:
    """Answers for numbers, in their order.

    Parameters
    ----------
    numbers : sequence of int
    work : callable
        Takes a number, and what it is to call now and then: that raises where whoever asked has gone.
    size : callable
        Of the work on a number: the sum over all that is in hand is no more than 1, unless a single one is.
    after : mapping
        Numbers that wait for another to be done, which comes before them.
    """
    room, done = _Room(), dict[int, Future[_Answer]]()

    def run(number: int) -> _Answer:
        if number in after and after[number] in done:
            done[after[number]].exception()  # a fault is told where that one's answer is asked for
        with room.holding(size(number)):
            return work(number, room.check)

    pool = ThreadPoolExecutor(min(threads(), _MOST_THREADS))
    try:
        for number in numbers:
            # each with settings of its own for number faults, as they are here
            done[number] = pool.submit(contextvars.copy_context().run, run, number)
        for number in numbers:
            yield done[number].result()
    finally:
        room.close()
        pool.shutdown(cancel_futures=True)
