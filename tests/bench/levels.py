"""Sections of a million facets at many planes, beside those of trimesh: ``python -m tests.bench.levels [facets]``.

The same planes are cut by ``trimesh.Trimesh.section_multiplane``, and the total lengths must agree. Kernels are warm,
the fastest of three runs counts (of trimesh's long ones the only one).
"""

from __future__ import annotations

import sys
import time

import numpy as np
import trimesh

from advisor.part.mesh import Mesh
from advisor.passes.levels import level_lines
from tests.bench.plan import fastest, sculptured_block
from tests.bench.ratio import Ratio, show

WANTED = 5.0
ONE_RUN_FROM = 50


def theirs(block: trimesh.Trimesh, axis: np.ndarray, planes: np.ndarray) -> tuple[float, float]:
    """Seconds, and the length of all lines."""

    def work() -> list[trimesh.path.Path2D | None]:
        return block.section_multiplane(np.zeros(3), axis, planes)

    if len(planes) < ONE_RUN_FROM:
        seconds = fastest(work)
        paths = work()
    else:
        start = time.perf_counter()
        paths = work()
        seconds = time.perf_counter() - start
    return seconds, sum(path.length for path in paths if path is not None)


def main(facets: int = 1_000_000) -> list[Ratio]:
    """Print seconds; the ratios."""
    ratios = []
    block = sculptured_block(facets)
    mesh = Mesh(np.array(block.vertices), np.array(block.faces, np.int32))
    _ = mesh.twins  # kept with the mesh, as the merged edges are with theirs
    print(f"{len(block.faces)} facets")
    for name, axis in (("lines along y", np.array([1.0, 0, 0])), ("heights", np.array([0.0, 0, 1.0]))):
        value = mesh.vertices @ axis
        for count in (10, 100, 1000):
            span = np.ptp(value)
            planes = value.min() + span * (np.arange(count) + 0.513) / count
            seconds = fastest(lambda value=value, planes=planes: level_lines(mesh, value, planes))
            lines = level_lines(mesh, value, planes)
            told = f"  {name:<14} {count:5d} planes: {seconds:6.3f} s, {len(lines.points_mm):8d} points"
            if count < 1000:
                other, length = theirs(block, axis, planes)
                off = abs(lines.lengths_mm.sum() / length - 1)
                told += f"; trimesh {other:.2f} s, lengths agree to {off:.0e}"
                ratios.append(Ratio(f"{count} sections, {name}", "trimesh.section_multiplane", other / seconds, WANTED))
            print(told)
    return ratios


if __name__ == "__main__":
    show(main(*(int(argument) for argument in sys.argv[1:])))
