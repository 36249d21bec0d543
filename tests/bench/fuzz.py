"""Files gone wrong, many: ``python -m tests.bench.fuzz [count] [kind ...] [--from number]``.

Of each kind (formats of part models, ``job``, ``plan``) so many files are made from a good one, the same every time,
and read; what can be read is taken to its zones. Each must end as a plan, or in one line that names the file. Printed
are the ends, the slowest file, the most memory, and every file that ended otherwise, with the number to make it again.
"""

from __future__ import annotations

import argparse
import faulthandler
import sys
import tempfile
import time
import tracemalloc
import warnings
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import mutated
from mutants import FORMATS

# A file that takes longer is a hang: the process ends with a trace of where it hangs.
_HANG_SECONDS = 60.0


def run(kind: str, count: int, first: int) -> int:
    """Print how files of a kind end; how many end otherwise than they may."""
    ends: Counter[str] = Counter()
    slowest, most_memory = (0.0, -1), (0, -1)
    with tempfile.TemporaryDirectory() as name:
        for number in range(first, first + count):
            faulthandler.dump_traceback_later(_HANG_SECONDS, exit=True)
            tracemalloc.reset_peak()
            before, began = tracemalloc.get_traced_memory()[0], time.monotonic()
            end = mutated.end_of(kind, number, Path(name))
            slowest = max(slowest, (time.monotonic() - began, number))
            most_memory = max(most_memory, (tracemalloc.get_traced_memory()[1] - before, number))
            ends[end.kind] += 1
            if end.kind == "fault":
                print(f"  {kind} {number}: {end.words}", flush=True)
    faulthandler.cancel_dump_traceback_later()
    print(
        f"{kind:10s} {dict(sorted(ends.items()))}; slowest {slowest[0]:.2f} s (number {slowest[1]}), "
        f"most memory {most_memory[0] / 1e6:.1f} MB (number {most_memory[1]})",
        flush=True,
    )
    return ends["fault"]


def main() -> None:
    """Run what is asked for; exit code 1 where any file ended otherwise than it may."""
    asked = argparse.ArgumentParser()
    asked.add_argument("count", type=int, nargs="?", default=10_000)
    asked.add_argument("kinds", nargs="*", default=[*FORMATS, "job", "plan"])
    asked.add_argument("--from", type=int, default=0, dest="first")
    told = asked.parse_args()
    warnings.simplefilter("ignore")
    tracemalloc.start()
    faults = sum(run(kind, told.count, told.first) for kind in told.kinds)
    raise SystemExit(1 if faults else 0)


if __name__ == "__main__":
    main()
