"""Time along paths: published values, a march in small steps, and laws."""

from __future__ import annotations

import doctest
from itertools import pairwise

import naive
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.cutter import path_time
from advisor.cutter.path_time import (
    family_minutes,
    minutes_range,
    path_minutes,
    paths_minutes,
    straight_pass_minutes,
)
from advisor.kernels.feed_limits import corner_radius

seeds = st.integers(0, 2**31)
feeds = st.floats(200, 20_000)
accelerations = st.floats(200, 10_000)
deviations = st.floats(0.0, 0.1)


def wander(seed: int, longest: int = 20) -> np.ndarray:
    """A path with long and short pieces, sharp and blunt corners, and ways back on itself."""
    rng = np.random.default_rng(seed)
    pieces = rng.normal(size=(rng.integers(1, longest), 3)) * np.exp(rng.uniform(-2, 3, (1, 1)))
    pieces *= np.exp(rng.uniform(-1, 1, (len(pieces), 1)))
    for i in range(1, len(pieces)):
        pieces[i] += rng.choice([0.0, 0.5, 3.0, -0.5]) * pieces[i - 1]
    return np.vstack([np.zeros((1, 3)), np.cumsum(pieces, axis=0)])


def seconds_straight(length: float, feed: float, acceleration: float) -> tuple[float, float]:
    """By the closed form, and by the march over the two end points."""
    points = np.array([[0.0, 0.0, 0.0], [0.6 * length, 0.0, 0.8 * length]])
    return (
        60 * float(straight_pass_minutes(length, feed, acceleration)),
        60 * path_minutes(points, feed, acceleration, 0.01),
    )


def test_docstring_examples() -> None:
    assert doctest.testmod(path_time).failed == 0


@pytest.mark.parametrize(
    ("length", "feed", "acceleration", "seconds"),
    [
        (100.0, 3000.0, 1000.0, 2.05),
        (2.5, 3000.0, 1000.0, 0.1),
        (1.0, 3000.0, 1000.0, 0.0632456),
        (10.0, 6000.0, 2000.0, 0.15),
        (50.0, 1200.0, 500.0, 2.54),
    ],
)
def test_straight_passes_from_rest_to_rest(length: float, feed: float, acceleration: float, seconds: float) -> None:
    """Computed independently (trapezoid and triangle of speed)."""
    assert seconds_straight(length, feed, acceleration) == pytest.approx((seconds, seconds), abs=5e-8)


def test_two_hundred_passes() -> None:
    """Computed independently: 100 mm at F3000 and 1000 mm/s2 with a stop at each end, 410 s."""
    assert 60 * family_minutes(20_000.0, 200, 0.0, 3000.0, 1000.0) == pytest.approx(410.0)


@pytest.mark.parametrize(("inner_deg", "speed"), [(90, 4.91346), (120, 8.03996), (150, 16.8368), (170, 51.1655)])
def test_speed_in_a_corner(inner_deg: float, speed: float) -> None:
    """Computed independently (arc that touches both sides): deviation 0.01 mm, 1000 mm/s2."""
    radius = corner_radius(np.cos(np.radians(inner_deg / 2)), 0.01, np.inf)
    assert np.sqrt(1000 * radius) == pytest.approx(speed, rel=2e-6)
    # the time: both sides are left and entered at that speed
    way = np.radians(180 - inner_deg)
    points = np.array([[-100.0, 0.0, 0.0], [0.0, 0.0, 0.0], [100 * np.cos(way), 100 * np.sin(way), 0.0]])
    feed, acceleration = 60.0, 1000.0
    corner = min(speed, feed)
    side = 100 / feed + feed / acceleration / 2 + (feed - corner) ** 2 / (2 * acceleration * feed)
    assert 60 * path_minutes(points, 60 * feed, acceleration, 0.01) == pytest.approx(2 * side, rel=1e-6)


def test_a_fine_circle_is_run_at_the_speed_that_its_radius_allows() -> None:
    """Computed independently: sqrt(a rho), radius 1 and 1000 mm/s2 give 31.6228 mm/s."""
    turn = np.linspace(0, 40 * np.pi, 40_001)
    points = np.column_stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)])
    seconds = 60 * path_minutes(points, 60_000.0, 1000.0, 0.01)
    to_speed_and_back = 31.6228 / 1000
    assert seconds == pytest.approx(40 * np.pi / 31.6228 + to_speed_and_back, rel=2e-3)


@settings(max_examples=40)
@given(seeds, feeds, accelerations, deviations)
def test_a_march_in_small_steps_takes_as_long(seed: int, feed: float, acceleration: float, deviation: float) -> None:
    points = wander(seed)
    found = path_minutes(points, feed, acceleration, deviation)
    assert found == pytest.approx(naive.naive_path_minutes(points, feed, acceleration, deviation), rel=0.02)


@given(seeds, feeds, accelerations, deviations, st.floats(1.0, 4.0))
def test_better_machines_are_no_slower(
    seed: int, feed: float, acceleration: float, deviation: float, factor: float
) -> None:
    points = wander(seed)
    minutes = path_minutes(points, feed, acceleration, deviation) * (1 + 1e-12)
    assert path_minutes(points, factor * feed, acceleration, deviation) <= minutes
    assert path_minutes(points, feed, factor * acceleration, deviation) <= minutes
    assert path_minutes(points, feed, acceleration, factor * deviation) <= minutes


@given(seeds, feeds, accelerations, deviations)
def test_the_way_back_takes_as_long(seed: int, feed: float, acceleration: float, deviation: float) -> None:
    points = wander(seed)
    there = path_minutes(points, feed, acceleration, deviation)
    assert path_minutes(points[::-1], feed, acceleration, deviation) == pytest.approx(there, rel=1e-9)


@given(seeds, feeds, accelerations, deviations)
def test_straight_pieces_may_be_divided(seed: int, feed: float, acceleration: float, deviation: float) -> None:
    points = wander(seed)
    rng = np.random.default_rng(seed)
    finer = [points[:1]]
    for a, b in pairwise(points):
        shares = np.sort(rng.random(rng.integers(0, 5)))
        finer += [a + share * (b - a)[None] for share in [*shares, 1.0, 1.0]]  # and every corner twice
    divided = path_minutes(np.vstack(finer), feed, acceleration, deviation)
    assert divided == pytest.approx(path_minutes(points, feed, acceleration, deviation), rel=1e-6)


@given(seeds, feeds, accelerations, deviations, st.floats(0.05, 20.0))
def test_scaling(seed: int, feed: float, acceleration: float, deviation: float, factor: float) -> None:
    points = wander(seed)
    minutes = path_minutes(points, feed, acceleration, deviation)
    longer = path_minutes(factor * points, factor * feed, factor * acceleration, factor * deviation)
    quicker = path_minutes(points, factor * feed, factor**2 * acceleration, deviation)
    assert (longer, factor * quicker) == pytest.approx((minutes, minutes), rel=1e-9)


@given(seeds, feeds, accelerations, deviations)
def test_bounds(seed: int, feed: float, acceleration: float, deviation: float) -> None:
    """Not quicker than one straight pass of the length, not slower than a stop at every corner."""
    points = wander(seed)
    lengths = np.linalg.norm(np.diff(points, axis=0), axis=1)
    minutes = path_minutes(points, feed, acceleration, deviation)
    assert minutes >= straight_pass_minutes(lengths.sum(), feed, acceleration) * (1 - 1e-9)
    stops = straight_pass_minutes(lengths, feed, acceleration).sum()
    assert minutes <= stops * (1 + 1e-9)
    assert path_minutes(points, feed, acceleration, 0.0) == pytest.approx(stops, rel=1e-9)


def test_many_paths_are_timed_one_by_one() -> None:
    paths = [wander(seed) for seed in range(6)] + [np.zeros((0, 3)), np.ones((1, 3)), np.ones((3, 3))]
    starts = np.cumsum([0] + [len(path) for path in paths])
    together = paths_minutes(np.vstack(paths), starts, 3000.0, 2000.0, 0.01)
    np.testing.assert_array_equal(together, [path_minutes(path, 3000.0, 2000.0, 0.01) for path in paths])
    assert together[-3:].tolist() == [0.0, 0.0, 0.0]


@given(seeds, feeds, accelerations, st.floats(0.0, 5.0))
def test_no_family_of_straight_passes_takes_longer(seed: int, feed: float, acceleration: float, link: float) -> None:
    lengths = np.random.default_rng(seed).exponential(5.0, 30)
    links = 29 * straight_pass_minutes(link, feed, acceleration)
    single = straight_pass_minutes(lengths, feed, acceleration).sum() + links
    family = family_minutes(lengths.sum(), 30, link, feed, acceleration)
    assert family >= single * (1 - 1e-9)
    assert family_minutes(30 * 5.0, 30, link, feed, acceleration) == pytest.approx(
        30 * straight_pass_minutes(5.0, feed, acceleration) + links
    )


def test_range_holds_the_sum() -> None:
    """Common practice, no source: a tenth less to about a third more."""
    assert minutes_range(20.0) == pytest.approx((18.0, 27.0))


@pytest.mark.parametrize(
    ("points", "starts", "limits", "message"),
    [
        (np.zeros((4, 2)), [0, 4], (1.0, 1.0, 0.0), "shape"),
        (np.zeros((4, 3)), [0, 5], (1.0, 1.0, 0.0), "starts"),
        (np.zeros((4, 3)), [0, 3, 2], (1.0, 1.0, 0.0), "starts"),
        (np.zeros((4, 3)), [0, 4], (0.0, 1.0, 0.0), "feed"),
        (np.zeros((4, 3)), [0, 4], (1.0, np.inf, 0.0), "acceleration"),
        (np.zeros((4, 3)), [0, 4], (1.0, 1.0, -0.1), "corner deviation"),
    ],
)
def test_what_is_out_of_range_is_named(
    points: np.ndarray, starts: list[int], limits: tuple[float, float, float], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        paths_minutes(points, np.array(starts), *limits)
