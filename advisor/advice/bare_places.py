"""Places that the last stage's passes do not bring down to the cusp asked for, though the cutter would get there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from advisor.advice.laid_numbers import Laid
from advisor.model import Advice, BarePlace
from advisor.units import UM_PER_MM

# Points of one place lie no further apart than so many of their spacings.
_NEAR_SPACINGS = 2.0
# Fewer points than this are chance: beside a sharp edge one may seem high by its normal alone.
_FEWEST_POINTS = 4


def bare_places(kept: Sequence[tuple[int, Advice, Laid]], path_tolerance_mm: float) -> tuple[BarePlace, ...]:
    """Places where more is left than the cusp asked for and the path tolerance, largest first.

    Parameters
    ----------
    kept : sequence of (zone, advice, passes)
        Public numbers of the zones that the last stage cuts.
    path_tolerance_mm : float
    """
    found = [place for zone, advice, laid in kept for place in _of_zone(zone, advice, laid, path_tolerance_mm)]
    return tuple(sorted(found, key=lambda place: (-place.area_mm2, place.zone, place.middle_mm)))


def _of_zone(zone: int, advice: Advice, laid: Laid, path_tolerance_mm: float) -> Iterator[BarePlace]:
    points, height = laid.points, laid.proof.height_mm
    cusp_um = advice.cusp_um
    asked_mm = (cusp_um.p95 or 0.0 if cusp_um.target is None else cusp_um.target) / UM_PER_MM
    rows = np.flatnonzero((height > asked_mm + path_tolerance_mm) & ~points.out_of_reach)
    if len(rows) < _FEWEST_POINTS:
        return
    place, area = points.point_mm[rows], points.area_mm2[rows]
    pairs = cKDTree(place).query_pairs(_NEAR_SPACINGS * float(np.sqrt(area.mean())), output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs), bool), pairs.T), (len(rows), len(rows)))
    count, label = connected_components(links, directed=False)
    for number in range(count):
        own = np.flatnonzero(label == number)
        if len(own) < _FEWEST_POINTS:
            continue
        middle = place[own].mean(axis=0)
        nearest = place[own[np.argmin(np.linalg.norm(place[own] - middle, axis=1))]]
        most = float(height[rows[own]].max())
        at = (float(nearest[0]), float(nearest[1]), float(nearest[2]))
        yield BarePlace(zone, float(area[own].sum()), at, most * UM_PER_MM if np.isfinite(most) else None)
