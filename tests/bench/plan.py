"""Ratios against library baselines in the same run: ``python -m tests.bench.plan [facets]``.

Kernels are warm: each thing is done once before it is timed, and the fastest of three runs counts.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh

import advisor
from advisor.pack.folder import write_plan_folder
from advisor.pack.picture import draw_zone_map
from tests.bench.ratio import Ratio, show


def sculptured_block(facets: int) -> trimesh.Trimesh:
    """A closed block, 200 mm wide, whose top waves; about `facets` facets, nearly all on the top."""
    n = round((facets / 2) ** 0.5)
    x = np.linspace(0, 200, n + 1)
    grid_x, grid_y = np.meshgrid(x, x, indexing="ij")
    top = 40 + 8 * np.sin(grid_x / 15) * np.cos(grid_y / 19)
    vertices = np.stack([grid_x.ravel(), grid_y.ravel(), top.ravel()], axis=1)
    index = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    a, b, c, d = index[:-1, :-1].ravel(), index[1:, :-1].ravel(), index[1:, 1:].ravel(), index[:-1, 1:].ravel()
    rim = np.concatenate([index[:-1, 0], index[-1, :-1], index[:0:-1, -1], index[0, :0:-1]])
    foot = np.arange(len(rim)) + len(vertices)
    below = vertices[rim] * [1, 1, 0]
    following = np.roll(np.arange(len(rim)), -1)
    middle = len(vertices) + len(rim)
    faces = np.concatenate(
        [
            np.stack([a, b, c], 1), np.stack([a, c, d], 1),
            np.stack([rim, foot, foot[following]], 1), np.stack([rim, foot[following], rim[following]], 1),
            np.stack([np.full(len(rim), middle), foot[following], foot], 1),
        ]
    )  # fmt: skip
    return trimesh.Trimesh(np.concatenate([vertices, below, [[100, 100, 0]]]), faces, process=False)


def fastest(work: Callable[[], object], runs: int = 3) -> float:
    """Seconds of the fastest run, after one that does not count."""
    work()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main(facets: int = 1_000_000) -> list[Ratio]:
    """Print seconds; the ratios."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "block.stl"
        sculptured_block(facets).export(path)
        count = len(trimesh.load(path).faces)
        load = fastest(lambda: trimesh.load(path))
        whole = fastest(
            lambda: write_plan_folder(advisor.plan(path, lays_passes=False), Path(folder) / "plan", pictures=False)
        )
        zones = fastest(lambda: advisor.plan(path, only_zones=True))
        plan = advisor.plan(path, lays_passes=False)
        picture = fastest(lambda: draw_zone_map(plan))
    peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{count} facets; trimesh.load {load:.2f} s; peak memory {peak_gb:.2f} GB")
    print(
        f"read to plan.json {whole:.2f} s, of it up to the zones {zones:.2f} s; zone map, 1600 x 1200, {picture:.2f} s"
    )
    return [
        Ratio(f"read to zones, {count} facets", "trimesh.load", zones / load, 8.0, is_most=True),
        Ratio(f"read to plan.json without passes, {count} facets", "trimesh.load", whole / load, 6.0, is_most=True),
        Ratio("zone map, 1600 x 1200, seconds", "", picture, 1.5, is_most=True),
    ]


if __name__ == "__main__":
    show(main(*(int(argument) for argument in sys.argv[1:])))
