"""Heights that a million segments leave, a million points asked: ``python -m tests.bench.virtual_cut [segments]``.

A 10 mm ball on a surface that waves like a die's, passes 0.2 mm apart, along an axis and askew to it, in short and in
longer segments. The library beside it is scipy's tree of the centres, asked for the nearest one to each place of the
ball over a point: less than is asked here, for it knows nothing of the way between centres. Kernels are warm; the
fastest of three runs counts, on all cores.
"""

from __future__ import annotations

import sys
import time

import numpy as np
from scipy.spatial import cKDTree

from advisor.passes.virtual_cut import swept_passes, virtual_cut
from tests.bench.plan import fastest
from tests.bench.ratio import Ratio, show

RADIUS_MM = 5.0
STEP_MM = 0.2
LIMIT_MM = 0.05
QUERIES = 1_000_000
WANTED_A_SECOND = 500_000.0


def waves(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points and unit normals over places in plan."""
    z = 8 * np.sin(x / 15) * np.cos(y / 19)
    rise_x, rise_y = 8 / 15 * np.cos(x / 15) * np.cos(y / 19), -8 / 19 * np.sin(x / 15) * np.sin(y / 19)
    normals = np.stack([-rise_x, -rise_y, np.ones_like(x)], axis=-1)
    return np.stack([x, y, z], axis=-1), normals / np.linalg.norm(normals, axis=-1, keepdims=True)


def report(name: str, segments: int, length: float, turn: float) -> list[Ratio]:
    """Print the line of one layout; its ratios."""
    size = np.sqrt(segments * STEP_MM * length)
    count, along = int(size / STEP_MM), int(size / length)
    across = (np.arange(count) + 0.5) * STEP_MM - size / 2
    u, w = np.meshgrid(across, np.arange(along) * length - size / 2, indexing="ij")
    surface, normal = waves(np.cos(turn) * w - np.sin(turn) * u, np.sin(turn) * w + np.cos(turn) * u)
    centres, starts = (surface + RADIUS_MM * normal).reshape(-1, 3), np.arange(count + 1) * along
    points, normals = waves(*np.random.default_rng(1).uniform(-size / 3, size / 3, (2, QUERIES)))
    build = fastest(lambda: swept_passes(centres, starts, RADIUS_MM))
    passes = swept_passes(centres, starts, RADIUS_MM)
    busy = time.process_time()
    seconds = fastest(lambda: virtual_cut(passes, points, normals, LIMIT_MM))
    busy_us = (time.process_time() - busy) / 4 / QUERIES * 1e6
    got = virtual_cut(passes, points, normals, LIMIT_MM).height_mm
    tree = cKDTree(centres)
    start = time.perf_counter()
    tree.query(points + RADIUS_MM * normals, workers=-1)
    nearest = time.perf_counter() - start
    ratio, least, most = nearest / seconds, got.min() * 1000, got.max() * 1000
    print(
        f"  {name:<22} {len(centres) - count} segments, tree in {build:.2f} s; "
        f"{QUERIES / seconds:8.0f} points a second, {busy_us:.2f} us of processor each; "
        f"heights {least:.2f} to {most:.2f} um"
    )
    what = f"virtual cut, segments of {name}"
    return [
        Ratio(f"{what}, points a second", "", QUERIES / seconds, WANTED_A_SECOND),
        Ratio(what, "nearest centre by scipy.cKDTree", ratio),
    ]


def main(segments: int = 1_000_000) -> list[Ratio]:
    """Print every layout; their ratios."""
    layouts = [(length, turn) for length in (0.2, 0.5, 1.0) for turn in (0.0, 0.6)]
    return [
        ratio for length, turn in layouts for ratio in report(f"{length} mm, turned {turn}", segments, length, turn)
    ]


if __name__ == "__main__":
    show(main(*(int(argument) for argument in sys.argv[1:])))
