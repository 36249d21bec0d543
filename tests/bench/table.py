"""Every ratio that is promised, in one table: ``python -m tests.bench.table [facets]``; about a quarter of an hour.

Each from its own benchmark in this folder, which prints the seconds behind it. Run it on a machine that does nothing
else: a ratio is of two times of the same run, but a crowded cache does not weigh on both alike.
"""

from __future__ import annotations

import os
import platform
import sys

from tests.bench import arrival, curvature, drop, growth, levels, plan, virtual_cut
from tests.bench.ratio import show


def main(facets: int = 1_000_000) -> None:
    """Print what the benchmarks print, and the table."""
    ratios = []
    for name, bench in (
        ("whole plan", lambda: plan.main(facets)),
        ("drops", lambda: drop.main(facets)),
        ("sections", lambda: levels.main(facets)),
        ("virtual cut", lambda: virtual_cut.main(facets)),
        ("arrival", lambda: arrival.main(facets)),
        ("curvature", curvature.main),
        ("growth", lambda: growth.main(facets // 10, facets)),
    ):
        print(f"-- {name}", flush=True)
        ratios += bench()
    print(f"\n{os.cpu_count()} cores ({platform.machine()}), Python {platform.python_version()}\n")
    show(ratios)


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
