"""Patches become zones: joined while that makes the whole map cheaper.

The price of a map is the path of every zone's passes, a price for every mm of blend line (border that joins
tangentially, where two sets of passes must meet unseen), and a price for every zone. Joining two zones saves the
blend between them and costs what a common spacing loses. Pairs are joined in order of what they save, as long as
anything is saved.

Path is superadditive: a family of passes over a union is no shorter than the families over its parts, for it must
hold the tightest step of both. So the sum of every patch's own shortest path, with one zone, is below the
price of any map, and how far the map found lies above it is told with it.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.zones.classes import FLAT, SHALLOW, STEEP, UNDERCUT
from advisor.zones.patch_graph import PatchGraph, extremes
from advisor.zones.patches import LEVEL, SMALL, TIGHT, Patches
from advisor.zones.region_cost import PassSums


@dataclass(frozen=True)
class Prices:
    """What blends and zones are worth, in mm of path, and the share that must be saved before a habit is left.

    A zone that is gentle all over, or steep all over, is cut as such are (with lines, with level passes) unless another
    family saves more than the share; its path counts so.
    """

    blend_mm_per_mm: float
    zone_mm: float
    habit_share: float = 0.0


@dataclass(frozen=True)
class Regions:
    """Patches joined into zones.

    Attributes
    ----------
    region : (p,) int64 array
        Region of every patch, from 0 in order of their first patch.
    price_mm, least_price_mm : float
        Price of the map, and a bound below which no map allowed by the rules can lie.
    """

    region: NDArray[np.int64]
    price_mm: float
    least_price_mm: float


@dataclass
class _Region:
    patches: list[int]
    sums: PassSums
    extremes: int
    kinds: frozenset[int]
    path_mm: float
    near: dict[int, tuple[float, float, float]] = field(default_factory=dict)

    @property
    def is_hub(self) -> bool:
        return self.kinds == {LEVEL}


_FIXED = frozenset({UNDERCUT, SMALL, TIGHT})
_CLASS_OF_KIND = {FLAT: FLAT, SHALLOW: SHALLOW, STEEP: STEEP, LEVEL: FLAT}


def merge_patches(
    patches: Patches, graph: PatchGraph, sums: PassSums, prices: Prices, *, keep_together: bool
) -> Regions:
    """Zones as sets of patches.

    Parameters
    ----------
    patches, graph : the patches and how they lie to each other
    sums : PassSums
        One row a patch, of the finishing stage.
    prices : Prices
    keep_together : bool
        Whether areas of several slope classes may be one zone, walked down by constant-cusp offsets.
    """
    merger = _Merger(patches, graph, sums, prices, keep_together)
    least = merger.least_price_mm()
    # bottoms and tops join last: what a floor is the bottom of is known when its walls are whole
    merger.run(with_hubs=False)
    merger.run(with_hubs=True)
    region = merger.labels()
    return Regions(region, float(merger.price_mm()), float(least))


def price_of_map_mm(
    patches: Patches,
    graph: PatchGraph,
    sums: PassSums,
    region: NDArray[np.signedinteger[Any]],
    prices: Prices,
    not_cut: Collection[int] = (),
) -> tuple[float, float]:
    """Price of patches joined in a given way, and the least, in mm of path; what is not cut costs nothing.

    Parameters
    ----------
    patches, graph, sums, prices : as for ``merge_patches``
    region : (p,) int array
    not_cut : regions that are not cut, beside undercuts, small features and tight hollows
    """
    merger = _Merger(patches, graph, sums, prices, keep_together=True)
    for number in np.flatnonzero(np.isin(region, list(not_cut))).tolist():
        merger.leave_out(number)
    least = merger.least_price_mm()
    order = np.argsort(region, kind="stable")
    for members in np.split(order, np.flatnonzero(np.diff(region[order])) + 1):
        joined = int(members[0])
        for patch in members[1:].tolist():
            joined = merger.join(joined, patch)
        merger.allow(joined)
    return float(merger.price_mm()), float(least)


class _Merger:
    """The state of a merge: regions by number, and the heap of what pairs would save."""

    def __init__(
        self, patches: Patches, graph: PatchGraph, sums: PassSums, prices: Prices, keep_together: bool
    ) -> None:
        self.graph, self.prices, self.keep_together = graph, prices, keep_together
        is_extreme = extremes(patches, graph)
        self.regions: dict[int, _Region] = {}
        for number in range(patches.count):
            own = sums.of(number)
            kinds = frozenset({int(patches.kind[number])})
            region = _Region([number], own, int(is_extreme[number]), kinds, 0.0)
            region.path_mm = self._path_mm(region)
            self.regions[number] = region
        lengths = zip(graph.tangent_mm, graph.corner_mm, graph.climbing_corner_mm, strict=True)
        for (one, other), border in zip(graph.pairs.tolist(), lengths, strict=True):
            told = tuple(float(value) for value in border)
            self.regions[one].near[other] = told  # type: ignore[assignment]
            self.regions[other].near[one] = told  # type: ignore[assignment]
        self.top_numbers = patches.count

    def _path_mm(self, region: _Region) -> float:
        """Shortest path over a region; 0 for what is not cut here."""
        if region.kinds & _FIXED:
            return 0.0
        return self._path_of(region.sums, region.kinds, region.extremes)

    def _path_of(self, sums: PassSums, kinds: frozenset[int], extremes_in_it: int) -> float:
        """Path over a set of patches. Offsets walk down one hill or one hollow; over several they meet in ridges."""
        classes = {_CLASS_OF_KIND[kind] for kind in kinds}
        if len(classes) == 1 or STEEP not in classes:
            return sums.habit_path_mm(is_steep=STEEP in classes, habit_share=self.prices.habit_share)
        return sums.path_mm(may_offset=self.keep_together and extremes_in_it <= 1)

    def run(self, *, with_hubs: bool) -> None:
        """Join pairs, the one that saves most first, until none saves anything."""
        heap: list[tuple[float, int, int]] = []
        for one in sorted(self.regions):
            for other in self.regions[one].near:
                if one < other:
                    self._offer(heap, one, other, with_hubs)
        while heap:
            _, one, other = heapq.heappop(heap)
            if one not in self.regions or other not in self.regions:
                continue
            joined = self.join(one, other)
            for near in sorted(self.regions[joined].near):
                self._offer(heap, near, joined, with_hubs)

    def _offer(self, heap: list[tuple[float, int, int]], one: int, other: int, with_hubs: bool) -> None:
        saved = self._saved_mm(self.regions[one], self.regions[other], self.regions[one].near[other], with_hubs)
        if saved > 0:
            heapq.heappush(heap, (-saved, one, other))

    def _saved_mm(self, one: _Region, other: _Region, border: tuple[float, float, float], with_hubs: bool) -> float:
        """What joining two regions saves; 0 where they may not be joined."""
        if not self._may_join(one, other, border, with_hubs):
            return 0.0
        union = one.sums.plus(other.sums)
        path = self._path_of(union, one.kinds | other.kinds, one.extremes + other.extremes)
        return one.path_mm + other.path_mm - path + self.prices.blend_mm_per_mm * border[0] + self.prices.zone_mm

    def _may_join(self, one: _Region, other: _Region, border: tuple[float, float, float], with_hubs: bool) -> bool:
        kinds = one.kinds | other.kinds
        if kinds & _FIXED or (not with_hubs and LEVEL in kinds):
            return False
        tangent, corner, climbing = border
        if tangent < tolerances.TANGENT_SHARE_OF_BORDER * (tangent + corner):
            return self._same_wall(one, other, kinds) and climbing >= tolerances.TANGENT_SHARE_OF_BORDER * corner
        if one.is_hub or other.is_hub:
            hub, around = (one, other) if one.is_hub else (other, one)
            return not around.is_hub and self._encloses(around, hub, tangent)
        return True

    def _same_wall(self, one: _Region, other: _Region, kinds: frozenset[int]) -> bool:
        """Walls around an upright corner, both inside a hollow or both outside."""
        walls = self.graph.is_wall[one.patches].all() and self.graph.is_wall[other.patches].all()
        return bool(kinds == {STEEP} and walls) and not (
            (self._is_outside(one) and self._is_inside(other)) or (self._is_inside(one) and self._is_outside(other))
        )

    def _is_outside(self, region: _Region) -> bool:
        """The outer walls of the part: they come down to what faces down, and look at nothing."""
        under, inside = self.graph.touches_undercut, self.graph.is_inside
        return bool(under[region.patches].any()) and not bool(inside[region.patches].all())

    def _is_inside(self, region: _Region) -> bool:
        return bool(self.graph.is_inside[region.patches].all())

    def _encloses(self, around: _Region, hub: _Region, tangent_mm: float) -> bool:
        """Whether a level plane is the bottom or the top of a region that lies all around it.

        The outside of a part is no boss, however round its upper edge: it stands on nothing.
        """
        (number,) = hub.patches
        if not self.keep_together or tangent_mm < tolerances.ENCLOSED_SHARE * self.graph.rim_mm[number]:
            return False
        is_bottom, is_top = self.graph.is_bottom()[number], self.graph.is_top()[number]
        outside = bool(self.graph.touches_undercut[around.patches].any())
        return bool(is_bottom or (is_top and not outside))

    def join(self, one: int, other: int) -> int:
        """Make one region of two; its number."""
        a, b = self.regions.pop(one), self.regions.pop(other)
        union = _Region(a.patches + b.patches, a.sums.plus(b.sums), a.extremes + b.extremes, a.kinds | b.kinds, 0.0)
        union.path_mm = self._path_mm(union)
        for near in (a.near, b.near):
            for number, border in near.items():
                if number in (one, other):
                    continue
                so_far = union.near.get(number, (0.0, 0.0, 0.0))
                union.near[number] = tuple(x + y for x, y in zip(so_far, border, strict=True))  # type: ignore[assignment]
        number = self.top_numbers
        self.top_numbers += 1
        self.regions[number] = union
        for near_number, border in union.near.items():
            others = self.regions[near_number].near
            others.pop(one, None)
            others.pop(other, None)
            others[number] = border
        return number

    def leave_out(self, number: int) -> None:
        """Count a region among those that are not cut."""
        self.regions[number].kinds |= {SMALL}

    def allow(self, number: int) -> None:
        """Let offsets walk over a region that the rules would not have made: someone wanted it."""
        region = self.regions[number]
        if np.isinf(region.path_mm):
            region.path_mm = region.sums.path_mm(may_offset=True)

    def labels(self) -> NDArray[np.int64]:
        """(p,) region of every patch."""
        region = np.zeros(sum(len(r.patches) for r in self.regions.values()), np.int64)
        ordered = sorted(self.regions.values(), key=lambda r: min(r.patches))
        for number, members in enumerate(ordered):
            region[members.patches] = number
        return region

    def _borders(self) -> Iterator[float]:
        for one, region in self.regions.items():
            if region.kinds & _FIXED:
                continue
            for other, border in region.near.items():
                if one < other and not self.regions[other].kinds & _FIXED:
                    yield border[0]

    def price_mm(self) -> float:
        """Price of the map as it stands: paths, blends, zones; what is not cut here costs nothing."""
        cut = [region for region in self.regions.values() if not region.kinds & _FIXED]
        path = sum(region.path_mm for region in cut)
        return path + self.prices.blend_mm_per_mm * sum(self._borders()) + self.prices.zone_mm * len(cut)

    def least_price_mm(self) -> float:
        """No map costs less: every patch by its own shortest passes, and at least one zone."""
        cut = [region for region in self.regions.values() if not region.kinds & _FIXED]
        shortest = sum(region.sums.path_mm(may_offset=True) for region in cut)
        return shortest + (self.prices.zone_mm if cut else 0.0)
