"""Which tilt keeps the tip out of how much of a dome: areas of spherical caps."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.cutter.tilt import advise_tilt
from advisor.cutter.tilt_choice import is_off_tip, margins, off_tip_slope_deg, smallest_tilt, tilt_counts, tilt_shares
from advisor.cutter.tilt_cone import ASKED_AZIMUTHS, TiltCone, tilt_cone
from advisor.cutter.tilt_feed import FeedChoice, Ways, feed_counts, feed_tilt, uphill_azimuths_deg

UP = np.array([0.0, 0.0, 1.0])
LIMIT = off_tip_slope_deg(10.0, 0.1)


def cap_normals(most_deg: float, count: int) -> np.ndarray:
    """Normals of a dome, each for the same area: heights in equal steps, turns by the golden angle."""
    step = np.arange(count)
    height = 1 - (step + 0.5) / count * (1 - np.cos(np.radians(most_deg)))
    turn = step * np.pi * (3 - np.sqrt(5))
    run = np.sqrt(1 - height**2)
    return np.stack([run * np.cos(turn), run * np.sin(turn), height], axis=1)


def share_off_tip(most_deg: float, tilt_deg: float) -> float:
    """What of a cap of a sphere lies outside a circle of ``LIMIT`` round an axis that leans; integrated over slope."""
    slope = np.radians((np.arange(200_000) + 0.5) / 200_000 * most_deg)
    tilt, limit = np.radians(tilt_deg), np.radians(LIMIT)
    if tilt_deg == 0.0:
        inside = (slope < limit).astype(float)
    else:
        cosine = (np.cos(limit) - np.cos(slope) * np.cos(tilt)) / (np.sin(slope) * np.sin(tilt))
        inside = np.arccos(np.clip(cosine, -1, 1)) / np.pi
    return 1 - float((inside * np.sin(slope)).sum() / np.sin(slope).sum())


def shares_of(normals: np.ndarray):
    cone = tilt_cone(UP, 30.0)
    off = is_off_tip(normals, cone.axes[:, None], LIMIT)
    state = np.zeros(off.shape, np.int8)
    return cone, tilt_shares(tilt_counts(state, off, np.ones(len(normals)), state[0]))


def turned_with(cone: TiltCone, state: np.ndarray, normals: np.ndarray, area: np.ndarray, ways: Ways) -> FeedChoice:
    rings = range(len(cone.tilts_deg))
    return feed_tilt(
        cone, [feed_counts(cone, n, state[cone.rows(n)], state[0], normals, area, LIMIT, ways) for n in rings]
    )


@pytest.mark.parametrize("most_deg", [15.0, 25.0, 60.0])
def test_a_fixed_tilt_moves_the_tip_to_another_side_of_a_dome(most_deg: float) -> None:
    cone, shares = shares_of(cap_normals(most_deg, 20_000))
    expected = {tilt: share_off_tip(most_deg, tilt) for tilt in (0.0, *cone.tilts_deg)}
    np.testing.assert_allclose(shares.off_tip, [expected[tilt] for tilt in cone.tilt_deg], atol=4e-3)
    best = smallest_tilt(cone, shares)
    most = max(expected.values())
    least = min(tilt for tilt, share in expected.items() if share > most - (0.05 if tilt else 0.1))
    assert cone.tilt_deg[best] == least
    # closed form while the circle lies within the cap: no tilt changes anything there
    if most_deg > 30 + LIMIT:
        whole = (1 - np.cos(np.radians(LIMIT))) / (1 - np.cos(np.radians(most_deg)))
        np.testing.assert_allclose(1 - shares.off_tip, whole, atol=2e-3)
        assert best == 0 and shares.held_back_by == 0


def test_a_plane_floor_takes_the_tilt_that_clears_the_tip_towards_anywhere() -> None:
    cone, shares = shares_of(np.tile(UP, (50, 1)))
    best = smallest_tilt(cone, shares)
    assert cone.tilt_deg[best] == advise_tilt(0.0, 10.0, 0.1, 30.0).tilt_deg == 15.0
    assert shares.is_clear.all()
    assert (shares.off_tip == (cone.tilt_deg > LIMIT)).all()
    assert (margins(cone, shares.is_clear)[1:] == ASKED_AZIMUTHS // 2).all()


def test_a_cut_as_deep_as_the_ball_has_its_tip_in_it_at_any_tilt() -> None:
    assert off_tip_slope_deg(10.0, 6.0) == 90.0
    assert off_tip_slope_deg(10.0, 0.2) == pytest.approx(16.2602, abs=1e-4)  # acos(1 - 2 ap / D)
    assert off_tip_slope_deg(10.0, 0.01) == pytest.approx(np.degrees(np.arcsin(0.2)))


def test_level_passes_round_a_dome_lean_uphill_and_clear_the_tip_all_over() -> None:
    normals = cap_normals(25.0, 2000)
    points, area = 50 * normals, np.ones(len(normals))
    cone = tilt_cone(UP, 30.0)
    uphill = uphill_azimuths_deg(points, normals, cone.frame)
    np.testing.assert_allclose(np.cos(np.radians(uphill)) * np.hypot(*normals.T[:2]), -normals[:, 0], atol=0.02)
    clear = np.zeros((len(cone.axes), len(normals)), np.int8)
    lean = turned_with(cone, clear, normals, area, ((uphill,), (uphill + 180,)))
    # leaning uphill adds to the slope: at 10 deg all but a cap of LIMIT - 10 is off the tip, which is as good as all
    left = (1 - np.cos(np.radians(LIMIT - 10))) / (1 - np.cos(np.radians(25)))
    assert (lean.tilt_deg, lean.way, lean.held_back_by) == (10.0, 0, 0)
    assert lean.off_tip_share == pytest.approx(1 - left, abs=2e-3)
    # along a level pass cosines multiply: no place is nearer to the tip than the tilt, and 10 deg leave 5 % at it
    lead = turned_with(cone, clear, normals, area, ((uphill + 90, uphill - 90),))
    assert (lead.tilt_deg, lead.off_tip_share) == (15.0, 1.0)


def test_lines_there_and_back_must_be_clear_both_ways() -> None:
    cone = tilt_cone(UP, 30.0)
    normals, area = np.tile(UP, (10, 1)), np.ones(10)
    state = np.zeros((len(cone.axes), 10), np.int8)
    state[(cone.axes[:, 0] > 1e-9), 0] = 1  # one point stands beside a wall at +X
    feed = np.zeros(10)
    lead = turned_with(cone, state, normals, area, ((feed, feed + 180),))
    lean = turned_with(cone, state, normals, area, ((feed + 90, feed - 90),))
    assert (lead.tilt_deg, lead.held_back_by) == (0.0, 1)
    assert (lean.tilt_deg, lean.off_tip_share, lean.held_back_by) == (15.0, 1.0, 0)
    # a feed between two azimuths that were asked needs both, an unknown one all
    assert turned_with(cone, state, normals, area, ((feed + 85, feed - 85),)).tilt_deg == 0.0
    assert turned_with(cone, state, normals, area, ((feed + np.nan,),)).tilt_deg == 0.0
