"""Joining patches: never dearer than leaving them, near the best of all maps, never below the bound."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from advisor.zones.classes import SHALLOW, STEEP, UNDERCUT
from advisor.zones.merging import Prices, merge_patches
from advisor.zones.patch_graph import PatchGraph
from advisor.zones.patches import Patches
from advisor.zones.region_cost import PassSums

BINS, DIRECTIONS = 20, 2


def random_case(seed: int, count: int = 6) -> tuple[Patches, PatchGraph, PassSums, Prices]:
    """Patches in a ring with chords; each allows its own steps."""
    rng = np.random.default_rng(seed)
    kind = rng.choice([SHALLOW, STEEP], count).astype(np.int8)
    pairs = {(i, (i + 1) % count) for i in range(count)} | {(0, count // 2)}
    ordered = np.array(sorted((min(p), max(p)) for p in pairs))
    tangent = rng.uniform(5, 60, len(ordered))
    area = rng.uniform(50, 500, count)
    # the widest step anywhere is the flat one: offsets are never longer than the others
    level, line = rng.uniform(0.2, 1.0, count), rng.uniform(0.3, 1.0, (count, DIRECTIONS))
    level_area, line_area = np.zeros((count, BINS)), np.zeros((count, DIRECTIONS, BINS))
    for p in range(count):
        level_area[p, int(level[p] * BINS) - 1] = area[p]
        for d in range(DIRECTIONS):
            line_area[p, d, int(line[p, d] * BINS) - 1] = area[p]
    zeros = np.zeros(count)
    sums = PassSums(
        1.0, 0.1, 0.25, area * rng.uniform(1.0, 1.3, count), area * level, level_area, area[:, None] * line, line_area,
        np.zeros((count, DIRECTIONS)), 0.01,
    )  # fmt: skip
    graph = PatchGraph(
        ordered, tangent, np.zeros(len(ordered)), np.zeros(len(ordered)), zeros, zeros, zeros, zeros > 0, zeros > 0,
        zeros > 0,
    )  # fmt: skip
    patches = Patches(
        surface=None, patch=None, kind=kind, own=None, facet_class=None, features=np.ones(count, np.int32),
        slope_deg=None, smooth_slope_deg=None, sharp=None, line_deviation_mm=0.01,
    )  # fmt: skip
    return patches, graph, sums, Prices(float(rng.uniform(0, 10)), float(rng.uniform(0, 200)))


def partitions(members: list[int]) -> Iterator[list[list[int]]]:
    if not members:
        yield []
        return
    first, rest = members[0], members[1:]
    for smaller in partitions(rest):
        for place in range(len(smaller)):
            yield [*smaller[:place], [first, *smaller[place]], *smaller[place + 1 :]]
        yield [[first], *smaller]


def price_of(blocks: list[list[int]], case: tuple[Patches, PatchGraph, PassSums, Prices]) -> float:
    """Price of a map from its definition; infinite where a block does not hang together."""
    _, graph, sums, prices = case
    block_of = {patch: number for number, block in enumerate(blocks) for patch in block}
    total = prices.zone_mm * len(blocks)
    for block in blocks:
        reached, waiting = {block[0]}, [block[0]]
        while waiting:
            here = waiting.pop()
            for one, other in graph.pairs.tolist():
                for near, far in ((one, other), (other, one)):
                    if near == here and far in block and far not in reached:
                        reached.add(far)
                        waiting.append(far)
        if len(reached) < len(block):
            return float("inf")
        union = sums.of(block[0])
        for patch in block[1:]:
            union = union.plus(sums.of(patch))
        total += union.path_mm(may_offset=True)
    for (one, other), length in zip(graph.pairs.tolist(), graph.tangent_mm, strict=True):
        if block_of[one] != block_of[other]:
            total += prices.blend_mm_per_mm * length
    return total


def blocks_of(region: np.ndarray) -> list[list[int]]:
    return [np.flatnonzero(region == number).tolist() for number in range(region.max() + 1)]


@pytest.mark.parametrize("seed", range(40))
def test_the_map_found_is_near_the_best_of_all_maps(seed: int) -> None:
    case = random_case(seed)
    found = merge_patches(*case, keep_together=True)
    count = case[0].count
    best = min(price_of(blocks, case) for blocks in partitions(list(range(count))))
    assert found.price_mm == pytest.approx(price_of(blocks_of(found.region), case), rel=1e-12)
    assert found.least_price_mm <= best * (1 + 1e-12)
    assert best <= found.price_mm * (1 + 1e-12)
    assert found.price_mm <= 1.02 * best
    alone = price_of([[patch] for patch in range(count)], case)
    assert found.price_mm <= alone * (1 + 1e-12)


def test_what_is_not_cut_here_joins_nothing() -> None:
    patches, graph, sums, prices = random_case(3)
    patches.kind[2] = UNDERCUT
    found = merge_patches(patches, graph, sums, prices, keep_together=True)
    assert np.count_nonzero(found.region == found.region[2]) == 1
