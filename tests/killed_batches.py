"""Batches that are killed at random moments and run again, until one comes to its end."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import advisor
from advisor.library.ledger import LEDGER_FILE

_PROGRAM = """
import signal, sys
from pathlib import Path
import worker_jobs
from advisor.library.run import LibraryJob, plan_library
# a process that a shell has put in the background begins with Ctrl-C ignored
signal.signal(signal.SIGINT, signal.default_int_handler)
parts, out, work, workers, pictures = sys.argv[1:]
job = LibraryJob(Path(parts), Path(out), {}, {"ball": "6 mm"}, pictures=pictures == "True", workers=int(workers))
plan_library(job, None, getattr(worker_jobs, work))
"""
_LONGEST_START_SECONDS = 120.0


def start_batch(
    parts: Path, out: Path, work: str, workers: int = 2, *, pictures: bool = False
) -> subprocess.Popen[bytes]:
    """A batch in a process of its own; `work` is a function of ``worker_jobs``."""
    here = [str(Path(__file__).parent), str(Path(advisor.__file__).parents[1])]
    return subprocess.Popen(
        [sys.executable, "-c", _PROGRAM, str(parts), str(out), work, str(workers), str(pictures)],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(here)},
    )


def kill_and_resume(
    parts: Path, out: Path, work: str, kills: int, within_seconds: float, seed: int = 1, *, pictures: bool = False
) -> int:
    """Kill `kills` runs (SIGKILL), each at a random moment within so long of its start on the ledger; then let one end.

    Returns how many runs were killed before they came to their end by themselves: those count as kills.
    """
    moments = random.Random(seed)
    killed = 0
    for _ in range(kills):
        with start_batch(parts, out, work, pictures=pictures) as batch:
            deadline = time.monotonic() + _LONGEST_START_SECONDS
            while not (out / LEDGER_FILE).exists() and batch.poll() is None and time.monotonic() < deadline:
                time.sleep(0.01)
            time.sleep(moments.uniform(0.0, within_seconds))
            batch.send_signal(signal.SIGKILL)
            killed += batch.wait() == -signal.SIGKILL
    with start_batch(parts, out, work, pictures=pictures) as batch:
        if batch.wait() != 0:
            raise RuntimeError("the run after the kills did not come to its end")
    return killed
