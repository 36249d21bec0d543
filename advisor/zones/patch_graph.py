"""How patches lie to each other: borders by kind, bottoms and tops, which walls face each other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.patch_sums import border_sums
from advisor.part.mesh import Flags, Floats
from advisor.zones.areas import borders, numbered_pairs, spread_sample
from advisor.zones.classes import FLAT, STEEP, UNDERCUT
from advisor.zones.height_map import HeightMap, height_map_of
from advisor.zones.patches import LEVEL, SMALL, Patches

# Facets asked of every patch: shares within a few percent are enough to tell inside from outside.
_ASKED = 60
# Level share of a normal below which it points up or down.
_LEAST_LEVEL = 0.1


@dataclass(frozen=True)
class PatchGraph:
    """Patches and their borders.

    Attributes
    ----------
    pairs : (q, 2) int64 array
        Patches that touch, low number first.
    tangent_mm, corner_mm, climbing_corner_mm : (q,) float64 arrays
        Border that joins tangentially, that turns a corner, and of the corners what is upright.
    rim_mm : (p,) border of each patch with patches other than small features, mm
    rising_share, falling_share : (p,) float64 arrays
        Share of that border from which the neighbour rises, or falls away.
    is_wall : (p,) bool array
        Patches that are steep all over (``tolerances.WALL_FROM_DEG``).
    is_inside : (p,) bool array
        Steep patches most of which look at other parts of the part: walls of pockets and grooves.
    touches_undercut : (p,) bool array
    """

    pairs: NDArray[np.int64]
    tangent_mm: Floats
    corner_mm: Floats
    climbing_corner_mm: Floats
    rim_mm: Floats
    rising_share: Floats
    falling_share: Floats
    is_wall: Flags
    is_inside: Flags
    touches_undercut: Flags

    def is_bottom(self) -> Flags:
        """(p,) patches from which nearly everything rises."""
        return np.asarray(self.rising_share >= tolerances.EXTREME_SHARE)

    def is_top(self) -> Flags:
        """(p,) patches from which nearly everything falls."""
        return np.asarray((self.falling_share >= tolerances.EXTREME_SHARE) & (self.rim_mm > 0))


def patch_graph(patches: Patches, axis: Floats, heights: Callable[[], HeightMap] | None = None) -> PatchGraph:
    """The graph of patches seen along a tool axis; `heights` gives those of the part where they may be known."""
    mesh, count = patches.surface.mesh, patches.count
    edge = borders(mesh, patches.patch)
    pairs, pair = numbered_pairs(edge.one, edge.other, count)
    sums, own_rise, far_rise = border_sums(
        edge.half_edge, mesh.twins, mesh.vertices, mesh.faces, patches.surface.normal, axis, patches.sharp, pair,
        len(pairs),
    )  # fmt: skip
    beside = np.concatenate([edge.one, edge.other])
    across = np.concatenate([edge.other, edge.one])
    slopes = np.concatenate([far_rise, own_rise])
    counts = patches.kind[across] != SMALL
    length = np.concatenate([edge.length_mm, edge.length_mm]) * counts
    rim = np.asarray(np.bincount(beside, length, minlength=count), dtype=np.float64)
    rising = np.bincount(beside, length * (slopes > 0), minlength=count)
    falling = np.bincount(beside, length * (slopes < 0), minlength=count)
    share = 1.0 / np.maximum(rim, 1e-12)
    under = np.bincount(beside, patches.kind[across] == UNDERCUT, minlength=count) > 0
    return PatchGraph(
        pairs, sums[:, 0], sums[:, 1], sums[:, 2], rim, rising * share, falling * share,
        _walls(patches), _inside(patches, axis, heights or (lambda: height_map_of(mesh, axis))), under,
    )  # fmt: skip


def _walls(patches: Patches) -> Flags:
    area = patches.surface.mesh.area_mm2 * (patches.smooth_slope_deg >= tolerances.WALL_FROM_DEG)
    steep = np.bincount(patches.patch, area, minlength=patches.count)
    return np.asarray(steep >= tolerances.WALL_AREA_SHARE * patches.area_mm2)


def _inside(patches: Patches, axis: Floats, heights: Callable[[], HeightMap]) -> Flags:
    """(p,) steep patches most of which face other material when they look out level."""
    mesh = patches.surface.mesh
    steep = np.flatnonzero((patches.patch_class == STEEP)[patches.patch] & (patches.kind != SMALL)[patches.patch])
    if len(steep) == 0:
        return np.zeros(patches.count, bool)
    asked = steep[spread_sample(patches.patch[steep], _ASKED)]
    normal = patches.surface.normal[asked]
    # upright ones look nowhere
    level = np.linalg.norm(np.cross(normal, axis), axis=1) > _LEAST_LEVEL
    asked, normal = asked[level], normal[level]
    met = heights().is_faced(mesh.middle_of(asked), normal)
    area = mesh.area_mm2[asked]
    total = np.bincount(patches.patch[asked], area, minlength=patches.count)
    seen = np.bincount(patches.patch[asked], area * met, minlength=patches.count)
    return np.asarray(seen > 0.5 * total)


def extremes(patches: Patches, graph: PatchGraph) -> NDArray[np.int64]:
    """(p,) 1 for flat patches that are a bottom or a top, else 0."""
    flat = (patches.kind == FLAT) | (patches.kind == LEVEL)
    return np.asarray(flat & (graph.is_bottom() | graph.is_top()), dtype=np.int64)
