"""Lines on a mesh along which a value given at its vertices stays the same, at many levels at once.

Parallel passes follow levels of the coordinate across them, constant-Z passes levels of height, constant-cusp passes
levels of the time at which a front arrives.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.levels import beginnings, lay_out, places, ranks, spans, trace
from advisor.kernels.threads import threads
from advisor.part.mesh import Flags, Floats, Ints, Mesh, reach_of


@dataclass(frozen=True)
class LevelLines:
    """Chains of points on the edges of a mesh, laid end to end. Arrays are read-only.

    Seen from outside, what is above the level lies on the left. Chains come in the order of their levels, then of the
    coordinates of their first point; a closed one begins at its least point (by x, then y, then z). None of this
    depends on the order of facets or vertices.

    Attributes
    ----------
    points_mm : (k, 3) float64 array, mm
    half_edge : (k,) int32 array
        Half-edge ``3 f + c`` each point lies on, from corner c of facet f to the next.
    fraction : (k,) float64 array
        Share of the way along it, 0..1.
    facet : (k,) int32 array
        Facet of the segment from each point to the next; -1 at the last point of a chain.
    starts : (p + 1,) int64 array
        Chain ``c`` is ``points_mm[starts[c]:starts[c + 1]]``.
    level : (p,) int32 array
        Which of the levels each chain lies on.
    is_closed : (p,) bool array
        The last point repeats the first. Other chains end on rims, on crowded edges, or where no facet takes part.
    """

    points_mm: Floats
    half_edge: Ints
    fraction: Floats
    facet: Ints
    starts: NDArray[np.int64]
    level: Ints
    is_closed: Flags

    def __post_init__(self) -> None:
        for field in fields(self):
            getattr(self, field.name).setflags(write=False)

    def interpolated(self, at_corners: Floats) -> Floats:
        """(k, ...) what (m, 3, ...) values at the corners of facets are at the points, between the ends of the edge.

        An edge has two facets: the values are those of the facet of ``half_edge``.
        """
        f, corner = np.divmod(self.half_edge, 3)
        share = self.fraction.reshape(-1, *[1] * (at_corners.ndim - 2))
        blend: Floats = (1.0 - share) * at_corners[f, corner] + share * at_corners[f, (corner + 1) % 3]
        return blend

    @property
    def lengths_mm(self) -> Floats:
        """(p,) length of every chain, mm."""
        if len(self.level) == 0:
            return np.zeros(0)
        steps = np.linalg.norm(np.diff(self.points_mm, axis=0, append=self.points_mm[-1:]), axis=1)
        lengths: Floats = np.add.reduceat(np.where(self.facet >= 0, steps, 0.0), self.starts[:-1])
        return lengths


def level_lines(mesh: Mesh, value: Floats, levels: Floats, takes_part: Flags | None = None) -> LevelLines:
    """Lines on which a value, linear on every facet, has each of the levels.

    A value equal to a level counts as above it. Points nearer than rounding to the one before are left out, and
    chains that are no longer than that. Work and memory grow with the facets and with the points found.

    Parameters
    ----------
    mesh : Mesh
    value : (n,) float array
        At the vertices; facets with a corner at which it is infinite or NaN take no part.
    levels : (l,) float array, finite and ascending
    takes_part : (m,) bool array, optional
        Facets to draw lines on; all where it is not given.

    Raises
    ------
    ValueError
        Levels that are not finite or do not ascend.
    """
    at = np.ascontiguousarray(levels, dtype=np.float64)
    if not np.isfinite(at).all() or (np.diff(at) <= 0.0).any():
        raise ValueError("levels must be finite and ascend")
    height = np.ascontiguousarray(value, dtype=np.float64)
    part = np.ones(len(mesh.faces), bool) if takes_part is None else np.ascontiguousarray(takes_part)
    rank = ranks(height, at)
    span, crossings = spans(mesh.faces, rank, part, len(at))
    # shorter segments have no direction of their own
    gap = tolerances.NEEDLE_HEIGHT_SHARE_OF_SIZE * (reach_of(mesh.vertices) if len(mesh.vertices) else 0.0)
    ends = _shares(crossings)

    def run(k: int) -> LevelLines:
        return _between_levels(mesh, height, at, rank, span, int(ends[k]), int(ends[k + 1]), gap)

    if len(ends) == 2:
        return run(0)
    with ThreadPoolExecutor(len(ends) - 1) as pool:
        return _joined(list(pool.map(run, range(len(ends) - 1))))


def _shares(crossings: NDArray[np.int64]) -> NDArray[np.int64]:
    """Levels at which the work of one thread ends and that of the next begins."""
    total = np.cumsum(crossings)
    wanted = np.arange(1, threads()) * (total[-1] if len(total) else 0) / threads()
    inner = np.searchsorted(total, wanted, side="right")
    return np.unique(np.concatenate([[0], inner, [len(crossings)]])) if len(crossings) else np.array([0, 0])


def _between_levels(
    mesh: Mesh, value: Floats, levels: Floats, rank: Ints, span: Ints, first: int, last: int, gap: float
) -> LevelLines:
    exits, starts, level, is_closed = trace(mesh.faces, mesh.twins, rank, span, first, last)
    point, half_edge, fraction, begin = places(
        mesh.vertices, mesh.faces, value, levels, exits, starts, level, is_closed
    )
    begins_at, key = beginnings(point, begin, is_closed)
    order = np.lexsort((key[:, 3], key[:, 2], key[:, 1], key[:, 0], level))
    kept, facet, begins, chain = lay_out(point, begin, begins_at, exits, starts, is_closed, order, gap)
    return LevelLines(point[kept], half_edge[kept], fraction[kept], facet, begins, level[chain], is_closed[chain])


def _joined(parts: list[LevelLines]) -> LevelLines:
    """Lines of one range of levels after another."""
    before = np.cumsum([0] + [len(part.points_mm) for part in parts])
    starts = [part.starts[:-1] + shift for part, shift in zip(parts, before[:-1], strict=True)]
    return LevelLines(
        np.concatenate([part.points_mm for part in parts]),
        np.concatenate([part.half_edge for part in parts]),
        np.concatenate([part.fraction for part in parts]),
        np.concatenate([part.facet for part in parts]),
        np.concatenate([*starts, before[-1:]]),
        np.concatenate([part.level for part in parts]),
        np.concatenate([part.is_closed for part in parts]),
    )
