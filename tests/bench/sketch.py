"""How a batch of a million parts would go: ``python -m tests.bench.sketch [parts]``.

A simulation of what the program does, by numbers measured with it: workers plan parts one after the other, each plan is
written through one shared store, and the process that leads takes results in, enters them and gives out the next part,
one at a time. It tells hours, what waits for what, and bytes; no machine is modelled but by these numbers.
"""

from __future__ import annotations

import heapq
import sys
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Measured:
    """What one part costs, measured on this project's own parts of 5,000 to 50,000 facets; see docs/how-to-batch.md.

    ``part_s`` is the mean of one core's seconds, ``spread`` the standard deviation of their logarithm; ``leader_s``
    what the leading process works for each; ``store_mb_per_s`` what the shared store takes.
    """

    part_s: float = 6.0
    spread: float = 0.7
    leader_s: float = 0.004
    plan_mb: float = 6.9
    store_mb_per_s: float = 400.0


@dataclass(frozen=True)
class Outcome:
    """Hours by the clock, and the shares of it that cores, leader and store are busy."""

    hours: float
    cores_busy: float
    leader_busy: float
    store_busy: float


def simulate(parts: int, cores: int, measured: Measured, seed: int = 1) -> Outcome:
    """Go through all parts in the order in which cores become free; what waits, waits in the order it came."""
    mean_of_log = np.log(measured.part_s) - measured.spread**2 / 2
    work = np.random.default_rng(seed).lognormal(mean_of_log, measured.spread, parts).tolist()
    store_s = measured.plan_mb / measured.store_mb_per_s
    running = work[:cores]
    heapq.heapify(running)  # when each core is done
    store_free = leader_free = 0.0
    for seconds in [*work[cores:], *[np.inf] * len(running)]:  # as many as are running end with no next one
        store_free = max(running[0], store_free) + store_s
        leader_free = max(store_free, leader_free) + measured.leader_s
        heapq.heapreplace(running, leader_free + seconds)
    end = leader_free
    return Outcome(
        end / 3600, sum(work) / (end * cores), parts * measured.leader_s / end, parts * store_s / end
    )  # fmt: skip


def main(parts: int = 1_000_000) -> None:
    """Print a row for every number of cores."""
    measured = Measured()
    print(
        f"{parts:,} parts, {measured.part_s:g} s of a core each: {parts * measured.part_s / 3600:,.0f} core hours, "
        f"{parts * measured.plan_mb / 1e6:.1f} TB of plans"
    )
    print(" cores     hours  cores busy  leader busy  store busy")
    for cores in (2, 16, 64, 256, 1024, 4096):
        told = simulate(parts, cores, measured)
        print(
            f"{cores:6d} {told.hours:9,.1f}  {told.cores_busy:9.0%}  {told.leader_busy:11.0%}  {told.store_busy:10.0%}"
        )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
