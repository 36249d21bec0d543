"""What a turn about the tool axis, a shift or a mirror leaves unchanged in a zone, and by which turn two zones agree.

All lengths are in a frame with Z along the tool axis and its origin in the middle of the part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.label_bounds import bounds_by_label
from advisor.kernels.registration import farthest_by_label, moments_by_label
from advisor.part.mesh import Flags, Floats, Ints

# Directions told apart in the plan signature, and the waves of it that count: finer ones are sampling.
_DIRECTIONS = 720
_WAVES = 64
# Turns worth a trial agree nearly as well as the best; a shape of many like lobes has many.
_PEAK_SHARE = 0.8
_MOST_TRIALS = 12


@dataclass(frozen=True)
class Measures:
    """Measures of zones.

    Attributes
    ----------
    area_mm2, border_mm : (z,) float64 array
    centre_mm : (z, 3) float64 array
        Area centroid.
    spread_mm : (z, 3) float64 array
        Root mean square distance from the centroid along the two main directions in plan, and in height.
    height_mm : (z,) float64 array
        From the lowest to the highest point.
    facing : (z, 4) float64 array
        Mean of the normal's height and of its square; the mean normal's height and its length in plan.
    reach_mm : (z,) float64 array
        Twice the distance of the furthest corner from the centroid.
    """

    area_mm2: Floats
    border_mm: Floats
    centre_mm: Floats
    spread_mm: Floats
    height_mm: Floats
    facing: Floats
    reach_mm: Floats


def measure(vertices: Floats, faces: Ints, area: Floats, normal: Floats, zone: Ints, border_mm: Floats) -> Measures:
    """Measures of all zones.

    Parameters
    ----------
    vertices : (n, 3), normal : (m, 3) float64 array
        In the frame of this module.
    faces : (m, 3), zone : (m,) int32 array
    area : (m,) float64 array
    border_mm : (z,) float64 array
        Length of each zone's border.
    """
    count = len(border_mm)
    sums = moments_by_label(vertices, faces, area, normal, zone, count)
    whole = np.where(sums[:, 0] > 0, sums[:, 0], 1.0)
    mean = sums / whole[:, None]
    x, y, z = centre = mean[:, 1:4].T
    xx, yy, zz, xy = mean[:, 4] - x * x, mean[:, 5] - y * y, mean[:, 6] - z * z, mean[:, 7] - x * y
    half_sum, half_gap = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    squares = np.stack([half_sum + half_gap, half_sum - half_gap, zz], axis=1)
    facing = np.stack([mean[:, 8], mean[:, 9], mean[:, 12], np.hypot(mean[:, 10], mean[:, 11])], axis=1)
    bounds = bounds_by_label(np.ascontiguousarray(vertices[:, 2]), faces, zone, count)
    has_facets = sums[:, 0] > 0
    height = np.where(has_facets, bounds[:, 1], 0.0) - np.where(has_facets, bounds[:, 0], 0.0)
    middle = np.ascontiguousarray(centre.T)
    reach = 2 * farthest_by_label(vertices, faces, zone, middle)
    return Measures(sums[:, 0], border_mm, middle, np.sqrt(np.maximum(squares, 0.0)), height, facing, reach)


def measures_agree(
    measures: Measures,
    one: int,
    others: NDArray[np.int64],
    distance_mm: float,
    share: float = tolerances.REPEAT_MEASURE_SHARE,
) -> Flags:
    """(k,) whether zones may be congruent with zone `one`, turned or mirrored, as far as their measures tell.

    Parameters
    ----------
    measures : Measures
    one : int
    others : (k,) int array
    distance_mm : float
        Within which copies lie.
    share : float
        By which means may differ, and borders, with their zigzag, by ten times. Heights may differ by what it is
        more than the share for copies.
    """
    slack = tolerances.REPEAT_MEASURE_SHARE_OF_DISTANCE * distance_mm
    more = share - tolerances.REPEAT_MEASURE_SHARE
    area, border, height = measures.area_mm2, measures.border_mm, measures.height_mm
    agree: Flags = np.abs(area[others] - area[one]) <= share * area[one] + slack * border[one]
    spread = np.abs(measures.spread_mm[others] - measures.spread_mm[one])
    agree &= (spread <= share * measures.spread_mm[one] + slack).all(axis=1)
    agree &= np.abs(height[others] - height[one]) <= more * height[one] + distance_mm
    agree &= (np.abs(measures.facing[others] - measures.facing[one]) <= 2 * share).all(axis=1)
    agree &= np.abs(border[others] - border[one]) <= 10 * share * border[one] + distance_mm
    return agree


def plan_waves(points: Floats, directions: Floats, border_points: Floats, centre: Floats) -> NDArray[np.complex128]:
    """Waves of a zone's plan signature: what lies in each direction from its centroid.

    Parameters
    ----------
    points, directions : (k, 3) float64 arrays
        Spread evenly over the zone's area.
    border_points : (b, 3) float64 array
        Spread evenly over its border.
    centre : (3,) float64 array

    Returns
    -------
    waves : (4, w) complex128 array
        Of the distance and of the height seen in each direction, of the directions the surface faces, and of the
        distance of the border; each against the most it could be, so that what is level has no say.
    """
    from_centre, border = points - centre, border_points - centre
    distance, far = np.hypot(from_centre[:, 0], from_centre[:, 1]), np.hypot(border[:, 0], border[:, 1])
    reach = np.linalg.norm(from_centre, axis=1).max(initial=0.0)
    seen = (
        (from_centre, distance, distance.sum()),
        (from_centre, from_centre[:, 2] * distance, reach * distance.sum()),
        (directions, np.hypot(directions[:, 0], directions[:, 1]), float(len(directions))),
        (border, far, far.sum()),
    )
    waves = np.zeros((len(seen), _WAVES + 1), np.complex128)
    for row, (towards, weight, size) in zip(waves, seen, strict=True):
        if size > 0:
            turn = np.arctan2(towards[:, 1], towards[:, 0]) / (2 * np.pi) * _DIRECTIONS
            bins = np.round(turn).astype(np.int64) % _DIRECTIONS
            row[:] = np.fft.rfft(np.bincount(bins, weight, minlength=_DIRECTIONS))[: _WAVES + 1] / size
    waves[:, 0] = 0.0
    return waves


def likely_turns_deg(one: NDArray[np.complex128], other: NDArray[np.complex128], *, mirrored: bool) -> Floats:
    """Turns that may carry a zone onto another, those of least angle first; by circular correlation of waves.

    Parameters
    ----------
    one, other : (4, w) complex128 array
        From ``plan_waves``.
    mirrored : bool
        Whether the first is mirrored in the plane of X and Z before it is turned.
    """
    cross = ((one if mirrored else one.conj()) * other).sum(axis=0)
    fit = np.fft.irfft(np.concatenate([cross, np.zeros(_DIRECTIONS // 2 - _WAVES)]), _DIRECTIONS)
    top = (fit >= np.roll(fit, 1)) & (fit > np.roll(fit, -1)) & (fit >= _PEAK_SHARE * fit.max())
    peaks = np.flatnonzero(top)
    peaks = peaks[np.argsort(-fit[peaks], kind="stable")[:_MOST_TRIALS]]
    turns = (peaks * 360.0 / _DIRECTIONS + 180.0) % 360.0 - 180.0
    # of two turns of one size the positive one
    return turns[np.lexsort((-turns, np.round(np.abs(turns))))]
