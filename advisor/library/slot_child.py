"""What a worker process does: takes work and a task from its standard input, hands the result back, until that ends."""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import threading
import warnings
from queue import SimpleQueue
from typing import Any, BinaryIO


def main() -> None:
    """Serve until standard input ends, which it also does when the process that started this one is killed."""
    # what libraries print must not get among the results
    results = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    tasks = os.fdopen(os.dup(0), "rb")
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that started this one
    warnings.simplefilter("ignore")  # of libraries, about one part; faults come back as results
    waiting: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=_read, args=(tasks, waiting), daemon=True).start()
    while True:
        results.write(_answer(waiting.get()))
        results.flush()


def _read(tasks: BinaryIO, waiting: SimpleQueue[bytes]) -> None:
    with contextlib.suppress(EOFError, OSError, pickle.UnpicklingError):
        while True:
            waiting.put(pickle.load(tasks))
    if hasattr(os, "killpg") and os.getpgrp() == os.getpid():
        os.killpg(os.getpid(), signal.SIGKILL)  # with processes of its own, such as readers of exact models
    os._exit(1)


def _answer(message: bytes) -> bytes:
    answer: tuple[bool, Any]
    try:
        work, task = pickle.loads(message)
        answer = (True, work(task))
        return pickle.dumps(answer)
    except Exception as fault:  # it is the caller's, who raises it again
        try:
            told = pickle.dumps((False, fault))
            pickle.loads(told)
        except Exception:  # faults of libraries that cannot be carried over are told in words
            told = pickle.dumps((False, RuntimeError(f"{type(fault).__name__}: {fault}")))
        return told


if __name__ == "__main__":
    main()
