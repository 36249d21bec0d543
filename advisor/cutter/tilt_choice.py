"""The smallest tilt of a fixed tool axis that keeps a ball's tip out of the cut and the tool clear."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.cutter.contact import TIP_DIAMETER_SHARE, WALL_DEG, tip_clear_tilt_deg
from advisor.cutter.tilt import tilt_for_contact_deg
from advisor.cutter.tilt_cone import ASKED_AZIMUTHS, TiltCone
from advisor.cutter.tilt_reach import REACHED
from advisor.part.mesh import Flags, Floats

_States = NDArray[np.int8]


def off_tip_slope_deg(diameter_mm: float, depth_mm: float) -> float:
    """Angle between normal and tool axis from which the ball cuts beside its tip: see ``tilt.advise_tilt``.

    90 where the cut is as deep as the ball's radius: the tip is then in it at any tilt.
    """
    if depth_mm >= diameter_mm / 2:
        return WALL_DEG
    for_contact = float(tilt_for_contact_deg(TIP_DIAMETER_SHARE * diameter_mm, diameter_mm))
    return max(for_contact, float(tip_clear_tilt_deg(depth_mm, diameter_mm)))


def is_off_tip(normals: Floats, axes: Floats, limit_deg: float) -> Flags:
    """Whether points are touched beside the tip: ``(..., k)`` for (k, 3) normals and (..., k, 3) or (c, 1, 3) axes."""
    cosine = np.einsum("...i,...i->...", normals, axes)
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) >= limit_deg - tolerances.ON_THRESHOLD_DEG)


@dataclass(frozen=True)
class TiltShares:
    """How o ways to hold a tool serve one zone, the first of them upright.

    Attributes
    ----------
    is_clear : (o,) bool array
        Reaches all that the upright tool does, but for ``tolerances.REACH_SLACK_SHARE``.
    off_tip : (o,) float64 array
        Share of the zone's area that is reached and cut beside the tip; what the upright tool does not reach counts
        only where at least ``tolerances.TILT_REACH_SHARE`` of the zone is reached.
    is_good : (o,) bool array
        Clear, and off the tip on as much as any clear way, but for ``tolerances.TILT_SLACK_SHARE``; upright also but
        for ``tolerances.TILT_WORTH_SHARE``.
    is_fair : (o,) bool array
        Clear, and off the tip on as much as any clear way, but for ``tolerances.TILT_WORTH_SHARE``.
    held_back_by : int
        What is mostly in the way where another way would be better by more than that; 0 where none would.
    held_back_share : float
        Share of the zone that the clearest of those other ways would touch on, or not get to; 0 where there is none.
    """

    is_clear: Flags
    off_tip: Floats
    is_good: Flags
    is_fair: Flags
    held_back_by: int
    held_back_share: float


def tilt_shares(state: _States, off_tip: Flags, area_mm2: Floats) -> TiltShares:
    """How ways to hold a tool serve a zone.

    Parameters
    ----------
    state : (o, k) int8 array
        Of ``tilt_reach``, the upright tool's first.
    off_tip : (o, k) bool array
        Whether the contact is off the tip, reached or not.
    area_mm2 : (k,) float64 array
    """
    reached, total = state == REACHED, float(area_mm2.sum())
    lost = (reached[0] & ~reached) @ area_mm2
    is_clear = lost <= tolerances.REACH_SLACK_SHARE * float(area_mm2[reached[0]].sum())
    # what only a tilted tool gets to counts where it gets to most of the zone
    helps = reached @ area_mm2 >= tolerances.TILT_REACH_SHARE * total
    counts = reached & off_tip & (reached[0] | helps[:, None])
    share = np.minimum(counts @ area_mm2 / total, 1.0)
    best = float(share[is_clear].max())
    is_good = is_clear & (share >= best - tolerances.TILT_SLACK_SHARE)
    is_fair = is_clear & (share >= best - tolerances.TILT_WORTH_SHARE)
    is_good[0] |= is_fair[0]
    hoped = (counts | (reached[0] & off_tip)) @ area_mm2 / total
    wanted = ~is_clear & (hoped > best + tolerances.TILT_WORTH_SHARE)
    held_back, touched = 0, 0.0
    if wanted.any():
        touched = float(lost[wanted].min()) / total
        in_way = np.where(reached[0], state[wanted], REACHED).astype(np.int64)
        by_kind = np.bincount(in_way.ravel(), np.tile(area_mm2, int(wanted.sum())), minlength=4)
        held_back = int(np.argmax(by_kind[1:])) + 1
    return TiltShares(is_clear, share, is_good, is_fair, held_back, touched)


def margins(cone: TiltCone, is_clear: Flags) -> NDArray[np.int64]:
    """(c,) steps of azimuth from each clear axis to the nearest that is not, of one tilt; half the circle at most."""
    steps = np.zeros(len(cone.axes), np.int64)
    ways = np.arange(ASKED_AZIMUTHS)
    apart = np.abs(ways[:, None] - ways)
    apart = np.minimum(apart, ASKED_AZIMUTHS - apart)
    for tilt in range(len(cone.tilts_deg)):
        rows = cone.rows(tilt)
        steps[rows] = np.where(is_clear[rows], ASKED_AZIMUTHS // 2, apart).min(axis=1)
    return steps


def smallest_tilt(cone: TiltCone, shares: TiltShares) -> int:
    """The good axis of least tilt; of equal ones that farthest from what is not clear, then by share and azimuth."""
    keys = np.lexsort((
        cone.azimuth_deg, -np.round(shares.off_tip, 6), -margins(cone, shares.is_clear), cone.tilt_deg,
    ))  # fmt: skip
    return int(keys[shares.is_good[keys]][0])
