"""How time and memory of a whole plan grow with facets: ``python -m tests.bench.growth [facets ...]``.

Each size in a process of its own, with kernels that are compiled: read, zones, advice, reach, leftovers, files without
pictures, no passes. Memory is read from /proc: on Linux alone. The exponent is the slope of the straight line of least
squares through the logarithms.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.bench.plan import sculptured_block
from tests.bench.ratio import Ratio, show

SIZES = (100_000, 1_000_000, 10_000_000)
MOST_EXPONENT, MOST_GB = 1.1, 8.0
_ONE = """
import json, resource, sys, time
from pathlib import Path
import advisor
from advisor.pack.folder import write_plan_folder
start = time.perf_counter()
plan = advisor.plan(sys.argv[1], lays_passes=False)
planned = time.perf_counter()
write_plan_folder(plan, Path(sys.argv[2]), pictures=False)
ended = time.perf_counter()
# the most that this process held; what getrusage tells may be of the one that started it
held = [line for line in open("/proc/self/status") if line.startswith("VmHWM")]
peak = int(held[0].split()[1]) / 1e6
facets = plan.record.part.facets
print(json.dumps([facets, planned - start, ended - planned, sum(resource.getrusage(resource.RUSAGE_SELF)[:2]), peak]))
"""


def measured(facets: int, folder: Path) -> tuple[int, float, float, float, float]:
    """Facets, seconds of the plan and of its files, of processor in all, and peak memory in GB."""
    path = folder / f"block {facets}.stl"
    sculptured_block(facets).export(path)
    asked = [sys.executable, "-c", _ONE, str(path), str(folder / f"plan {facets}")]
    told = json.loads(subprocess.run(asked, check=True, capture_output=True, text=True).stdout.splitlines()[-1])
    path.unlink()
    return tuple(told)


def main(*sizes: int) -> list[Ratio]:
    """Print the table."""
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        measured(2_000, Path(folder))  # compiles what is not compiled yet
        for facets in sizes or SIZES:
            rows.append(measured(facets, Path(folder)))
            count, plan, files, busy, peak = rows[-1]
            print(
                f"{count:9d} facets: plan {plan:7.2f} s, files {files:6.2f} s, processor {busy:7.2f} s, {peak:5.2f} GB"
            )
    count, plan, files, _, peak = np.array(rows).T
    exponent = float(np.polyfit(np.log(count), np.log(plan + files), 1)[0])
    return [
        Ratio("whole plan without passes, exponent of growth", "facets", exponent, MOST_EXPONENT, is_most=True),
        Ratio(f"peak memory at {int(count[-1])} facets, GB", "", float(peak[-1]), MOST_GB, is_most=True),
    ]


if __name__ == "__main__":
    show(main(*(int(argument) for argument in sys.argv[1:])))
