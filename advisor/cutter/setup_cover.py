"""The fewest set-ups that reach what can be reached of a part, and which facets stay on which."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.cutter.setup_reach import SetupReach
from advisor.cutter.setup_share import reached_by_facet, share_out
from advisor.cutter.smallest_cover import smallest_cover
from advisor.part.mesh import Flags, Floats, Ints, Mesh

# Of a hundred samples some three lie beyond an edge by chance.
_LIKE_GAINS = 0.03


@dataclass(frozen=True)
class SetupCover:
    """Set-ups that reach all but a negligible share of what any candidate reaches.

    Attributes
    ----------
    axes : (s, 3) float64 array
        Tool axes: the job's own first where it is one of them, then that which adds most to those before it, and so on.
    candidate : (s,) int array
        Which of the candidates each is.
    reached_share : (s,) float64 array
        Share of the part's area that each reaches.
    added_share : (s,) float64 array
        Share that each reaches and none before it does: what it is worth to clamp the part once more.
    own : (k,) int array
        Set-up each sample stays on, one that reaches it; -1 where none of them does.
    facet_setup : (m,) int array
        Set-up each facet stays on, with the face it belongs to; -1 where none.
    face : (m,) int32 array
        Face of each facet (see ``setup_share``).
    is_split : (m,) bool array
        Facets of faces that no set-up reaches whole: borders between set-ups run through them.
    facet_reached : (s, m) bool array
        Whether most of each facet is reached, by set-up.
    facet_unreached : (m,) bool array
        Facets most of which no candidate reaches, though they may stay with their face: undercuts, and the edges of
        corners sharper than the cutter.
    covered_share : float
        Share of the part's area that the set-ups reach together.
    reachable_share : float
        Share that any candidate reaches.
    lower_bound : int
        No fewer of the candidates reach as much: proven.
    candidates : int
        How many axes were asked.
    """

    axes: Floats
    candidate: NDArray[np.int64]
    reached_share: Floats
    added_share: Floats
    own: NDArray[np.int64]
    facet_setup: NDArray[np.int64]
    face: Ints
    is_split: Flags
    facet_reached: Flags
    facet_unreached: Flags
    covered_share: float
    reachable_share: float
    lower_bound: int
    candidates: int

    def __post_init__(self) -> None:
        shares = (self.reached_share, self.added_share)
        by_facet = (self.facet_setup, self.face, self.is_split, self.facet_reached, self.facet_unreached)
        for array in (self.axes, self.candidate, *shares, self.own, *by_facet):
            array.setflags(write=False)


def setup_cover(
    mesh: Mesh,
    is_crease: Flags,
    is_plane: Flags,
    reach: SetupReach,
    forced: Sequence[int] = (),
    negligible_share: float = tolerances.NEGLIGIBLE_SETUP_SHARE,
) -> SetupCover:
    """The fewest of the candidates asked, and what stays on each.

    Parameters
    ----------
    mesh : Mesh
    is_crease : (3 m,) bool array
        Half-edges on an edge of the part (``SmoothSurface.is_crease``): they bound its faces.
    is_plane : (m,) bool array
        Facets of plane faces (``SmoothSurface.is_plane``).
    reach : SetupReach
        The job's own axis first.
    forced : sequence of int
        Candidates that must be among the set-ups: (0,) for the job's own.
    negligible_share : float
        Share of the part's area that may stay uncovered though a candidate reaches it.
    """
    samples, area = reach.samples, reach.samples.area_mm2
    cover = smallest_cover(reach.reached, area, negligible_share, forced)
    chosen, added = _in_order(cover.chosen, reach.reached, area)
    reached = reach.reached[chosen]
    at_all = reach.reached.any(axis=0)
    by_facet = reached_by_facet(mesh, samples, np.vstack([reached, at_all]))
    shared = share_out(mesh, is_crease, is_plane, samples, reached, by_facet[:-1])
    total = float(area.sum())
    return SetupCover(
        axes=reach.axes[chosen],
        candidate=chosen,
        reached_share=reach.share[chosen],
        added_share=added,
        own=_own_of_samples(shared.setup[samples.facet], reached),
        facet_setup=shared.setup,
        face=shared.face,
        is_split=shared.is_split,
        facet_reached=by_facet[:-1],
        facet_unreached=~by_facet[-1],
        covered_share=float(area[reached.any(axis=0)].sum()) / total,
        reachable_share=float(area[at_all].sum()) / total,
        lower_bound=cover.lower_bound,
        candidates=len(reach.axes),
    )


def _own_of_samples(of_facet: NDArray[np.int64], reached: Flags) -> NDArray[np.int64]:
    """(k,) the facet's set-up where it reaches the sample, else the first that does."""
    if len(reached) == 0:
        return np.full(len(of_facet), -1, np.int64)
    first = np.where(reached.any(axis=0), reached.argmax(axis=0), -1)
    own_reaches = (of_facet >= 0) & reached[np.maximum(of_facet, 0), np.arange(len(of_facet))]
    return np.where(own_reaches, of_facet, first)


def _in_order(chosen: Sequence[int], reached: Flags, area: Floats) -> tuple[NDArray[np.int64], Floats]:
    """The job's own axis first, then whichever adds most; with the share of the area that each adds."""
    left, order, added = list(chosen), [], []
    open_area = area / max(float(area.sum()), 1e-300)
    while left:
        gains = reached[left] @ open_area
        # gains alike but for the chance of where samples lie keep the order of the candidates
        best = 0 if left[0] == 0 else int(np.argmax(gains >= (1.0 - _LIKE_GAINS) * gains.max()))
        order.append(left.pop(best))
        added.append(float(open_area[reached[order[-1]]].sum()))
        open_area = np.where(reached[order[-1]], 0.0, open_area)
    return np.array(order, dtype=np.int64), np.array(added, dtype=np.float64)
