"""As few fixed orientations as give every zone one that is good for it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from advisor.cutter.smallest_cover import smallest_cover
from advisor.part.mesh import Flags, Floats

# Choices looked at before the best cover known is taken as it is: a second or so.
_BUDGET = 100_000
_DIGITS = 6


def fewest_orientations(is_good: Flags, tilt_deg: Floats) -> tuple[int, ...]:
    """Fewest of c orientations such that each of z zones has a good one; of as few those of least tilt in sum.

    Parameters
    ----------
    is_good : (z, c) bool array
        Every zone has one that is good for it at least; 62 orientations at most.
    tilt_deg : (c,) float64 array
        Orientations stand in order of liking: of choices alike otherwise the earlier is taken.

    Notes
    -----
    Every choice must hold one of the orientations that are good for a given zone: branching on the zone that has
    fewest finds the best choice, unless there are too many to look at; then that of ``smallest_cover`` stands.
    """
    zones = np.unique(is_good, axis=0)
    keep = _worth_asking(zones, tilt_deg)
    by_zone = [frozenset(int(c) for c in keep[row[keep]]) for row in zones]
    # what serves a zone serves those that ask less
    hard = [asked for n, asked in enumerate(by_zone) if not any(other < asked for other in by_zone)]
    hard = sorted(set(hard), key=lambda asked: (len(asked), sorted(asked)))
    known = smallest_cover(zones.T, np.ones(len(zones)), 0.0).chosen if len(zones) else ()
    for count in range(len(known) + 1):
        search = _Search(tilt_deg)
        search.look(hard, (), count)
        if search.left <= 0:
            break
        if search.best is not None:
            return search.best
    return tuple(known)


def _worth_asking(zones: Flags, tilt_deg: Floats) -> NDArray[np.int64]:
    """Orientations but for those that another of less tilt, or an earlier of the same, can stand in for everywhere."""
    place, kept = np.arange(zones.shape[1]), []
    for c in place:
        serves_all = ~(zones[:, [c]] & ~zones).any(axis=0)
        liked = (tilt_deg < tilt_deg[c]) | ((tilt_deg == tilt_deg[c]) & (place < c))
        if zones[:, c].any() and not (serves_all & liked).any():
            kept.append(c)
    return np.array(kept, dtype=np.int64)


@dataclass
class _Search:
    tilt_deg: Floats
    best: tuple[int, ...] | None = None
    key: tuple[float, tuple[int, ...]] = (np.inf, ())
    left: int = field(default=_BUDGET)

    def look(self, zones: list[frozenset[int]], chosen: tuple[int, ...], count: int) -> None:
        """All choices of at most `count` more orientations that serve the zones left, the best kept."""
        self.left -= 1
        tilt = round(float(self.tilt_deg[list(chosen)].sum()), _DIGITS) if chosen else 0.0
        if self.left <= 0 or tilt > self.key[0]:
            return
        if not zones:
            key = (tilt, tuple(sorted(chosen)))
            if self.best is None or key < self.key:
                self.best, self.key = key[1], key
            return
        if count == 0:
            return
        for c in sorted(zones[0]):
            self.look([asked for asked in zones if c not in asked], (*chosen, c), count - 1)
