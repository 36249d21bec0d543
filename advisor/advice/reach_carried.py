"""What tools reach of one map, told of another map of the same part: an estimate while thresholds are moved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from advisor.advice.reach import PartReach
from advisor.advice.reach_corners import InsideCorners
from advisor.part.mesh import Ints
from advisor.zones.classes import UNDERCUT
from advisor.zones.cut_lines import CutSurface
from advisor.zones.zoning import Zoning


def carried_reach(reach: PartReach, from_surface: CutSurface, zoning: Zoning) -> PartReach:
    """Reach asked at the points of one map, in the zones of another.

    The points, and what holds for them, stay: only the zone that each lies in is found again. Small zones may hold
    none. What is left in inside corners is not carried over.

    Parameters
    ----------
    reach : PartReach
    from_surface : CutSurface
        The part as it is cut in the map that was asked.
    zoning : Zoning
        The other map.
    """
    facet = _facets_of(from_surface.parent[reach.samples.facet], reach.samples.point, zoning.surface)
    none = InsideCorners(np.zeros((0, 3)), np.zeros((0, 2), np.int64), np.zeros(0))
    return replace(
        reach,
        samples=replace(reach.samples, facet=facet),
        zone=zoning.zone[facet],
        faces_up=(zoning.zone_class[zoning.zone] != UNDERCUT) & (zoning.facet_class != UNDERCUT),
        corners=none,
    )


def _facets_of(parent: Ints, point: np.ndarray, surface: CutSurface) -> np.ndarray:
    """(k,) facet of a cut surface for points on facets of the part: of several the one whose middle is nearest."""
    first = np.searchsorted(surface.parent, parent)
    pieces = np.searchsorted(surface.parent, parent, side="right") - first
    found = first.astype(np.int64)
    middle = surface.mesh.middle
    away = np.linalg.norm(middle[found] - point, axis=1)
    for step in range(1, int(pieces.max(initial=1))):
        rows = np.flatnonzero(pieces > step)
        other = first[rows] + step
        off = np.linalg.norm(middle[other] - point[rows], axis=1)
        nearer = off < away[rows]
        found[rows[nearer]], away[rows[nearer]] = other[nearer], off[nearer]
    return found
