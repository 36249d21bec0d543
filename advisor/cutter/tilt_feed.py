"""Tilts that turn with the feed: lead in its direction, lean across it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor.cutter.tilt_choice import TiltCounts, is_off_tip, tilt_counts, tilt_shares
from advisor.cutter.tilt_cone import ASKED_AZIMUTHS, TiltCone, leaning
from advisor.part.mesh import Flags, Floats

# Below this slope, as a sine, uphill is anywhere.
_LEVEL_SINE = 0.02
# Azimuths are told apart by steps of so many digits.
_DIGITS = 6

_States = NDArray[np.int8]
Ways = tuple[tuple[Floats, ...], ...]


@dataclass(frozen=True)
class FeedChoice:
    """The smallest clear tilt that turns with the feed; 0 where none is clear, or none is better than upright.

    `tilt` is its place in the cone's tilts, -1 upright; `way` the chosen one of the ways asked, by place. `lost_share`
    is what of the zone is reached upright and not so.
    """

    tilt: int
    tilt_deg: float
    off_tip_share: float
    lost_share: float
    way: int
    held_back_by: int
    held_back_share: float


def uphill_azimuths_deg(points_mm: Floats, normals: Floats, frame: Floats) -> Floats:
    """(k,) which way the surface climbs; on level places as at the nearest that is not, NaN where there is none."""
    plan = normals @ frame[:2].T
    azimuth = np.degrees(np.arctan2(-plan[:, 1], -plan[:, 0]))
    level = np.linalg.norm(plan, axis=1) < _LEVEL_SINE
    if level.all():
        return np.full(len(azimuth), np.nan)
    if level.any():
        _, nearest = cKDTree(points_mm[~level]).query(points_mm[level])
        azimuth[level] = azimuth[~level][nearest]
    return azimuth


def feed_counts(
    cone: TiltCone,
    tilt: int,
    state: _States,
    upright: _States,
    normals: Floats,
    area_mm2: Floats,
    limit_deg: float,
    ways_deg: Ways,
) -> TiltCounts:
    """What a tilt towards azimuths that differ from point to point does: upright first, then way by way.

    Parameters
    ----------
    cone : TiltCone
    tilt : int
        Place in its tilts.
    state : (a, k) int8 array
        What the tool reaches of the points at that tilt towards the azimuths of the cone.
    upright : (k,) int8 array
        What the upright tool does.
    normals, area_mm2 : (k, 3), (k,)
    limit_deg : float
        From which slope on the contact is off the tip.
    ways_deg : tuple of tuples of (k,) arrays
        Ways to choose from; each is azimuths at every point that must all be clear (a pass there and one back). NaN
        asks for all azimuths.
    """
    local = normals @ cone.frame.T
    states, off = [upright], [is_off_tip(local, np.array([0.0, 0.0, 1.0]), limit_deg)]
    for azimuths in ways_deg:
        each = [_towards(state, local, azimuth, cone.tilts_deg[tilt], limit_deg) for azimuth in azimuths]
        states.append(np.max([found for found, _ in each], axis=0))
        off.append(np.all([off_tip for _, off_tip in each], axis=0))
    return tilt_counts(np.array(states), np.array(off), area_mm2, upright)


def feed_tilt(cone: TiltCone, counts: Sequence[TiltCounts]) -> FeedChoice:
    """The smallest good tilt of those that turn with the feed.

    Parameters
    ----------
    cone : TiltCone
    counts : of ``feed_counts``, one for each of the cone's tilts
    """
    # upright is asked with every tilt: the first of these stands for all
    joined = TiltCounts(*(
        np.concatenate([same[0][:1], *(array[1:] for array in same)])
        for same in zip(*(each.arrays for each in counts), strict=True)
    ))  # fmt: skip
    told = [(-1, 0), *((tilt, way) for tilt, each in enumerate(counts) for way in range(len(each.lost) - 1))]
    shares = tilt_shares(joined)
    degrees = np.array([cone.tilts_deg[tilt] if tilt >= 0 else 0.0 for tilt, _ in told])
    order = np.lexsort((-np.round(shares.off_tip, _DIGITS), degrees))
    best = int(order[shares.is_good[order]][0])
    tilt, way = told[best]
    return FeedChoice(
        tilt, float(degrees[best]), float(shares.off_tip[best]), float(shares.lost[best]), way, shares.held_back_by,
        shares.held_back_share,
    )  # fmt: skip


def _towards(
    ring: _States, local: Floats, azimuth_deg: Floats, tilt_deg: float, limit_deg: float
) -> tuple[_States, Flags]:
    """The worse state of the two axes asked on either side of each point's azimuth, and whether it is off the tip."""
    unknown = np.isnan(azimuth_deg)
    azimuth = np.where(unknown, 0.0, azimuth_deg)
    place = np.round(azimuth * ASKED_AZIMUTHS / 360.0, _DIGITS)
    low, high = np.floor(place).astype(np.int64) % ASKED_AZIMUTHS, np.ceil(place).astype(np.int64) % ASKED_AZIMUTHS
    points = np.arange(ring.shape[1])
    state = np.where(unknown, ring.max(axis=0), np.maximum(ring[low, points], ring[high, points]))
    off = is_off_tip(local, leaning(tilt_deg, azimuth), limit_deg)
    # whichever way it leans over an unknown feed, the contact is no nearer to the tip than downhill
    downhill = np.degrees(np.arctan2(local[:, 1], local[:, 0]))
    worst = is_off_tip(local, leaning(tilt_deg, downhill), limit_deg)
    return state.astype(np.int8), np.where(unknown, worst, off)
