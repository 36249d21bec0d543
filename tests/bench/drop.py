"""Drops of a ball on a million facets, beside first hits of Embree's rays: ``python -m tests.bench.drop [facets]``.

The block's top waves like a die's or mould's, 94 mm from crest to crest one way and 119 mm the other, 8 mm high: its
tightest hollow, 15 to 20 mm in radius, is wider than the 12.7 mm ball, which is why such a ball would be chosen to
finish it (common practice, no source). The harder block has hollows of a third of the ball's radius: it rests on many
crests at once. Both run on two threads in one process, kernels warm, the fastest of three runs counts.
"""

from __future__ import annotations

import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import trimesh

from advisor.cutter.drop import ball_pieces, dropped
from advisor.part.plan_tree import plan_tree
from tests.bench.plan import fastest, sculptured_block
from tests.bench.ratio import Ratio, show

DIAMETER_MM = 12.7
QUERIES = 200_000
THREADS = 2
WANTED_A_SECOND, WANTED_OF_RAYS = 150_000.0, 0.04
UP = np.array([0.0, 0.0, 1.0])


def rays_a_second(block: trimesh.Trimesh, places: np.ndarray) -> float | None:
    """First hits of rays from above, none where Embree is not installed."""
    try:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene
    except ImportError:
        return None
    scene = EmbreeScene()
    TriangleMesh(scene, block.triangles.astype(np.float32))
    origins = np.column_stack([places, np.full(len(places), 100.0)]).astype(np.float32)
    down = np.tile(np.array([0, 0, -1], np.float32), (len(places), 1))
    halves = np.array_split(np.arange(len(places)), THREADS)

    def run(rows: np.ndarray) -> None:
        scene.run(origins[rows], down[rows])

    def all_rays() -> None:
        with ThreadPoolExecutor(THREADS) as pool:
            list(pool.map(run, halves))

    return len(places) / fastest(all_rays)


def report(name: str, block: trimesh.Trimesh) -> list[Ratio]:
    """Print the lines of one block; its ratios."""
    ratios = []
    rng = np.random.default_rng(1)
    scattered = rng.uniform(5, 195, (QUERIES, 2))
    side = int(QUERIES**0.5)
    line = np.linspace(5, 195, side)
    rows = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2)
    vertices, faces = np.asarray(block.vertices), np.asarray(block.faces)
    build = fastest(lambda: plan_tree(vertices, faces, UP))
    tree = plan_tree(vertices, faces, UP)
    pieces = ball_pieces(DIAMETER_MM)
    print(f"{name}: {len(faces)} facets, tree in {build:.2f} s")
    for how, places in (("scattered", scattered), ("in rows", rows)):
        start = time.process_time()
        a_second = len(places) / fastest(lambda places=places: dropped(pieces, tree, places))
        busy_us = (time.process_time() - start) / 4 / len(places) * 1e6
        rays = rays_a_second(block, places)
        beside = "no embreex here, so no ratio" if rays is None else f"{a_second / rays:.3f} x {rays:.0f} rays a second"
        print(f"  {how:<9}  {a_second:8.0f} drops a second, {busy_us:.1f} us of processor each; {beside}")
        what = f"drops of a ball, {name}, {how}"
        ratios.append(Ratio(f"{what}, a second", "", a_second, WANTED_A_SECOND))
        if rays is not None:
            ratios.append(Ratio(what, "Embree's rays", a_second / rays, WANTED_OF_RAYS))
    return ratios


def harder_block(facets: int) -> trimesh.Trimesh:
    """The same block with ripples whose hollows are about 2 mm in radius."""
    block = sculptured_block(facets)
    vertices = np.array(block.vertices)
    top = vertices[:, 2] > 0
    x, y = vertices[top, 0], vertices[top, 1]
    vertices[top, 2] += 0.5 * np.sin(x / 1.0) * np.cos(y / 1.3)
    return trimesh.Trimesh(vertices, block.faces, process=False)


def main(facets: int = 1_000_000) -> list[Ratio]:
    """Print both blocks; their ratios."""
    print(f"ball of {DIAMETER_MM} mm, {THREADS} threads")
    ratios = report("sculptured block", sculptured_block(facets))
    return ratios + report("with hollows tighter than the ball", harder_block(facets))


if __name__ == "__main__":
    show(main(*(int(argument) for argument in sys.argv[1:])))
