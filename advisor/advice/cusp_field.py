"""What the passes of the last stage leave, facet by facet: the virtual cut at the proof points, carried to facets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor.advice.laid_numbers import Laid
from advisor.part.mesh import Floats, Ints, Mesh
from advisor.passes.laid import ProofPoints
from advisor.units import UM_PER_MM

# A cusp is told of so many points that lie near: they fall on all of it, from its foot to its ridge.
POINTS_OF_A_PLACE = 32
# Where fewer of them are cut the cusp is not known: the place counts as not cut.
_FEWEST_CUT = 8
_SHARE_WITHIN = 0.95
# Points that face apart lie apart: normals square to each other by so many distances of neighbours, so that the two
# sides of a rib are two places.
_SPACINGS_OF_A_TURN = 8.0
# Facets larger than so many points stand for are asked in the middles of 25 parts alike, as shares of their corners.
_LARGE = 4.0
_PARTS = np.array(
    [
        ((3 * i + 1 + up) / 15, (3 * j + 1 + up) / 15, 1.0 - (3 * (i + j) + 2 + 2 * up) / 15)
        for up in (0, 1)
        for i in range(5 - up)
        for j in range(5 - up - i)
    ]
)


@dataclass(frozen=True)
class ZonePlaces:
    """What is left of a zone, told at its proof points.

    Attributes
    ----------
    zone : int
        Public number.
    laid : Laid
    place_mm : (q,) float64 array
        Height that 95 % of the place around a point stays within; the depth of a gouge at that point, negative; inf
        where no pass gets.
    """

    zone: int
    laid: Laid
    place_mm: Floats


def zone_places(zone: int, laid: Laid, gouge_mm: float) -> ZonePlaces:
    """What passes leave around each proof point.

    Parameters
    ----------
    gouge_mm : float
        Cuts below the part (``Proof.depth_mm``) that are deeper are gouges; others are what chords are off it.
    """
    points, height = laid.points, laid.proof.height_mm
    cut = np.isfinite(height) & ~points.out_of_reach
    place = np.full(len(height), np.inf)
    rows = np.flatnonzero(cut)
    if len(rows) >= _FEWEST_CUT:
        placed = _spread(points)
        many = min(POINTS_OF_A_PLACE, len(height))
        near = np.atleast_2d(cKDTree(placed).query(placed[rows], many, workers=-1)[1])
        place[rows] = _within(np.where(cut, height, np.nan)[near])
    depth = laid.proof.depth_mm
    gouged = cut & (depth > gouge_mm)
    place[gouged] = -depth[gouged]
    place.setflags(write=False)
    return ZonePlaces(zone, laid, place)


def _within(heights: Floats) -> Floats:
    """(n,) height that 95 % of each row stays within, no less than 0; inf where too few are known."""
    known = np.isfinite(heights)
    counts = known.sum(axis=1)
    ranked = np.sort(np.where(known, heights, np.inf), axis=1)
    rank = np.maximum(np.ceil(_SHARE_WITHIN * counts).astype(np.int64) - 1, 0)
    told = np.maximum(ranked[np.arange(len(ranked)), rank], 0.0)
    return np.where(counts >= min(_FEWEST_CUT, heights.shape[1]), told, np.inf)


def _spread(points: ProofPoints) -> Floats:
    """(q, 6) places and ways they face, as one place."""
    return np.concatenate([points.point_mm, _turn_mm(points) * points.normal], axis=1)


def _turn_mm(points: ProofPoints) -> float:
    return _SPACINGS_OF_A_TURN * float(np.sqrt(points.area_mm2.mean()))


def cusp_field(mesh: Mesh, normal: Floats, zone: Ints, places: Sequence[ZonePlaces]) -> NDArray[np.float32]:
    """What passes leave on every facet, um: see ``FacetArrays.cusp_um``.

    Parameters
    ----------
    mesh : Mesh
    normal : (m, 3) float64 array
        Unit normals of the smooth surface at the middles of the facets.
    zone : (m,) int array
        Public number of the zone of each facet.
    places : sequence of ZonePlaces
        Of the zones that are cut. A facet takes the nearest of its own zone; a large one the middle one of what its
        parts take, so that it counts as cut, as not cut, or as gouged where most of it is.
    """
    told = np.full(len(zone), np.nan, np.float32)
    order = np.argsort(zone, kind="stable")
    middle, ranked = mesh.middle, zone[order]
    for each in places:
        begin, end = np.searchsorted(ranked, (each.zone, each.zone + 1))
        rows = order[begin:end]
        points = each.laid.points
        tree, turn_mm = cKDTree(_spread(points)), _turn_mm(points)
        facing = turn_mm * normal[rows]
        nearest = tree.query(np.concatenate([middle[rows], facing], axis=1), workers=-1)[1]
        told[rows] = each.place_mm[nearest] * UM_PER_MM
        large = mesh.area_mm2[rows] > _LARGE * points.area_mm2.mean()
        if large.any():
            parts = np.einsum("pk,mkx->mpx", _PARTS, mesh.vertices[mesh.faces[rows[large]]])
            at = np.concatenate([parts, np.broadcast_to(facing[large, None], parts.shape)], axis=2)
            found = np.sort(each.place_mm[tree.query(at.reshape(-1, 6), workers=-1)[1]].reshape(len(at), -1), axis=1)
            told[rows[large]] = found[:, len(_PARTS) // 2] * UM_PER_MM
    told.setflags(write=False)
    return told
