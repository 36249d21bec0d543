"""A move refined: points of each of two surfaces are brought onto the other, those that lie far off without a say.

Least squares of the distances along the normals (Y. Chen & G. Medioni, "Object modelling by registration of multiple
range images", 1992; from memory), both ways.
"""

from __future__ import annotations

import numpy as np

from advisor.part.mesh import Floats
from advisor.revision.motion import Motion, nearest_turn, turn_matrix
from advisor.revision.side import CompareSide
from advisor.revision.surface_tree import SurfaceTree, nearest_on

# Facets that face further than this from a point are not where it came from.
FACING_COSINE = 0.25
# Roughly: points asked among the samples of the other surface, rounds, and reach as a share of the size.
_ROUGH_POINTS, _ROUGH_ROUNDS, _ROUGH_SHARE = 300, 12, 0.1
# Finely: rounds among facets, from a reach that the rough fit keeps within.
_FINE_ROUNDS, _FINE_SHARE = 25, 0.015
# Points further off than so many times the median have no say.
_TRIM = 3.0
# Directions in which the fit holds less well than this against the best are left alone.
_LEAST_HOLD = 1e-4
# Refined as far as rounding goes; and what is too small to go by, as shares of the size.
_DONE_SHARE = 1e-13
_ROUNDING_SHARE = 1e-9

_Rows = tuple[Floats, Floats, Floats]


def roughly_fitted(a: CompareSide, b: CompareSide, motion: Motion) -> Motion:
    """A move improved by the samples of both: as near as they are to each other, or nearer."""
    size = b.mesh.reach_mm
    reach = _ROUGH_SHARE * size
    for _ in range(_ROUGH_ROUNDS):
        back = motion.inverse
        moved, turned = motion(a.samples.point[:_ROUGH_POINTS]), motion.turned(a.samples.normal[:_ROUGH_POINTS])
        tried, faced = back(b.samples.point[:_ROUGH_POINTS]), back.turned(b.samples.normal[:_ROUGH_POINTS])
        rows = _both_ways(motion, _over_samples(b, moved, turned, reach), _over_samples(a, tried, faced, reach))
        step = _step(rows, b)
        if step is None:
            return motion
        motion = _stepped(motion, step, b)
        reach = max(0.7 * reach, _FINE_SHARE * size)
        if float(np.abs(step).max()) < _FINE_SHARE * size * 1e-3:
            break
    return motion


def finely_fitted(a: CompareSide, b: CompareSide, motion: Motion) -> Motion:
    """A move that is nearly right improved by the facets of both, as far as it goes."""
    size = b.mesh.reach_mm
    reach = _FINE_SHARE * size
    for _ in range(_FINE_ROUNDS):
        back = motion.inverse
        moved, turned = motion(a.samples.point), motion.turned(a.samples.normal)
        tried, faced = back(b.samples.point), back.turned(b.samples.normal)
        rows = _both_ways(motion, _over_facets(b.tree, moved, turned, reach), _over_facets(a.tree, tried, faced, reach))
        step = _step(rows, b)
        if step is None:
            return motion
        motion = _stepped(motion, step, b)
        most = float(np.abs(step).max())
        if most < _DONE_SHARE * size:
            break
        median = float(np.median(np.abs(rows[2])))
        reach = min(reach, max(4 * _TRIM * median, 8 * most, 1e-6 * size))
    return motion


def _both_ways(motion: Motion, one: _Rows, other: _Rows) -> _Rows:
    """Places on A as moved, directions, and by how much they stand out over B along them."""
    place, normal, gap = one
    foot, its_normal, its_gap = other
    # where B stands out over A by some, A stands out over B by that less
    return (
        np.concatenate([place, motion(foot)]),
        np.concatenate([normal, motion.turned(its_normal)]),
        np.concatenate([gap, -its_gap]),
    )


def _over_facets(tree: SurfaceTree, points: Floats, normals: Floats, reach: float) -> _Rows:
    near = nearest_on(tree, points, normals, reach, FACING_COSINE)
    found = near.facet >= 0
    return points[found], near.normal[found], np.einsum("ij,ij->i", near.offset_mm[found], near.normal[found])


def _over_samples(side: CompareSide, points: Floats, normals: Floats, reach: float) -> _Rows:
    row = side.nearest_samples(points, normals, reach)
    found = row >= 0
    normal = side.samples.normal[row[found]]
    offset = points[found] - side.samples.point[row[found]]
    return points[found], normal, np.einsum("ij,ij->i", offset, normal)


def _step(rows: _Rows, b: CompareSide) -> Floats | None:
    """(6,) small turn (a vector, radians times the size) about the middle of B, and shift after it, mm."""
    place, normal, gap = rows
    if len(gap) < 6:
        return None
    size = b.mesh.reach_mm
    kept = np.abs(gap) <= max(_TRIM * float(np.median(np.abs(gap))), _ROUNDING_SHARE * size)
    arm = (place[kept] - b.middle_mm) / size
    told = np.concatenate([np.cross(arm, normal[kept]), normal[kept]], axis=1)
    step: Floats = np.linalg.lstsq(told, -gap[kept], rcond=_LEAST_HOLD)[0]
    return step


def _stepped(motion: Motion, step: Floats, b: CompareSide) -> Motion:
    turn, shift, centre = step[:3] / b.mesh.reach_mm, step[3:], b.middle_mm
    angle = float(np.linalg.norm(turn))
    small = np.eye(3) if angle == 0.0 else turn_matrix(turn / angle, float(np.degrees(angle)))
    told = Motion(small, centre - small @ centre + shift).after(motion)
    return Motion(nearest_turn(told.matrix), told.shift_mm)
