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
class TiltCounts:
    """What o ways to hold a tool do to points of a zone, the first of them upright; shares of the area of the points.

    Each way may have been asked at points of its own, with what the upright tool does there.

    Attributes
    ----------
    reached, upright : (o,) float64 array
        Reached this way, and by the upright tool.
    in_way : (o, 4) float64 array
        Reached upright and not this way, by what is in the way (see ``tilt_reach``; the first is 0).
    off_tip : (o,) float64 array
        Reached and cut beside the tip; what the upright tool does not reach counts only where at least
        ``tolerances.TILT_REACH_SHARE`` of the zone is reached.
    hoped : (o,) float64 array
        The same were nothing lost that the upright tool reaches.
    """

    reached: Floats
    upright: Floats
    in_way: Floats
    off_tip: Floats
    hoped: Floats

    @property
    def arrays(self) -> tuple[Floats, ...]:
        """All five, in the order in which they are given."""
        return self.reached, self.upright, self.in_way, self.off_tip, self.hoped

    @property
    def lost(self) -> Floats:
        """(o,) share reached upright and not this way."""
        return np.asarray(self.in_way.sum(axis=1))

    def with_ways(self, rows: NDArray[np.int64], other: TiltCounts) -> TiltCounts:
        """Some ways replaced by those of other counts, in their order."""
        told = [array.copy() for array in self.arrays]
        for array, values in zip(told, other.arrays, strict=True):
            array[rows] = values
        return TiltCounts(*told)


def tilt_counts(state: _States, off_tip: Flags, area_mm2: Floats, upright: _States) -> TiltCounts:
    """What ways to hold a tool do to points of a zone.

    Parameters
    ----------
    state : (o, k) int8 array
        Of ``tilt_reach``.
    off_tip : (o, k) bool array
        Whether the contact is off the tip, reached or not.
    area_mm2 : (k,) float64 array
    upright : (k,) int8 array
        The states of the upright tool.
    """
    reached, is_up, total = state == REACHED, upright == REACHED, float(area_mm2.sum())

    def share(flags: Flags) -> Floats:
        # sums of shares may come out above 1 by rounding
        return np.asarray(np.minimum(flags @ area_mm2 / total, 1.0))

    # what only a tilted tool gets to counts where it gets to most of the zone
    helps = share(reached) >= tolerances.TILT_REACH_SHARE
    counts = reached & off_tip & (is_up | helps[:, None])
    in_way = np.stack([share((state == kind) & is_up & (kind != REACHED)) for kind in range(4)], axis=1)
    return TiltCounts(
        share(reached), np.full(len(state), share(is_up)), in_way, share(counts), share(counts | (is_up & off_tip))
    )  # fmt: skip


@dataclass(frozen=True)
class TiltShares:
    """How o ways to hold a tool serve one zone, the first of them upright.

    Attributes
    ----------
    is_clear : (o,) bool array
        Reaches all that the upright tool does, but for ``tolerances.REACH_SLACK_SHARE``.
    off_tip, reached, lost : (o,) float64 array
        As in ``TiltCounts``.
    lost_by : (o,) int array
        What is mostly in the way of what is lost; 0 where nothing is.
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
    reached: Floats
    lost: Floats
    lost_by: NDArray[np.int64]
    is_good: Flags
    is_fair: Flags
    held_back_by: int
    held_back_share: float


def tilt_shares(counts: TiltCounts) -> TiltShares:
    """How ways to hold a tool serve a zone."""
    lost, share = counts.lost, counts.off_tip
    is_clear = lost <= tolerances.REACH_SLACK_SHARE * counts.upright
    is_clear[0] = True
    best = float(share[is_clear].max())
    is_good = is_clear & (share >= best - tolerances.TILT_SLACK_SHARE)
    is_fair = is_clear & (share >= best - tolerances.TILT_WORTH_SHARE)
    is_good[0] |= is_fair[0]
    wanted = ~is_clear & (counts.hoped > best + tolerances.TILT_WORTH_SHARE)
    held_back, touched = 0, 0.0
    if wanted.any():
        touched = float(lost[wanted].min())
        held_back = int(np.argmax(counts.in_way[wanted].sum(axis=0)[1:])) + 1
    lost_by = np.where(lost > 0.0, counts.in_way.argmax(axis=1), 0)
    return TiltShares(
        is_clear, share, counts.reached, lost, lost_by, is_good, is_fair, held_back, touched
    )  # fmt: skip


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
