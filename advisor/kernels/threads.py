"""Kernels on several cores: they let go of the interpreter's lock, so that plain threads run them side by side."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor


def threads() -> int:
    """How many at once: one for each core, or fewer where several processes share them (see ``library.pool``)."""
    asked = os.environ.get("NUMBA_NUM_THREADS", "")
    cores = os.cpu_count() or 1
    return max(min(int(asked) if asked.isdigit() else cores, cores), 1)


def in_chunks(count: int, chunk: int, work: Callable[[slice], None]) -> None:
    """Have rows worked on, `chunk` of them at once, each written by the call that is given them.

    Parameters
    ----------
    count, chunk : int
        Rows in all and in a call; the last call gets what is left.
    work : callable
        Takes a slice of rows, and must not hang on what other calls write.
    """
    parts = [slice(start, min(start + chunk, count)) for start in range(0, count, chunk)]
    at_once = min(threads(), len(parts))
    if at_once <= 1:
        for part in parts:
            work(part)
        return
    with ThreadPoolExecutor(at_once) as pool:
        for _ in pool.map(work, parts):
            pass
