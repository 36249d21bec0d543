"""Minutes of ordered passes: closed forms, the time of plain paths, and a slow twin."""

from __future__ import annotations

import numpy as np
import pytest
from family_makers import BALL, UP, one_pass, ring, zigzag
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.cutter.cutter import Cutter
from advisor.cutter.path_time import path_minutes
from advisor.job import Machine
from advisor.kernels.feed_limits import corner_radius
from advisor.kernels.stretch_time import seconds_by_kind
from advisor.part.plan_tree import PlanTree, plan_tree
from advisor.passes.lines import PassLines
from advisor.passes.links import linked
from advisor.passes.order import ordered
from advisor.passes.pieces import no_passes, together
from advisor.passes.timing import PathTotals, path_totals

FLOOR = plan_tree(np.array([(-500.0, -500, 0), (900, -500, 0), (0, 900, 0)]), np.array([(0, 1, 2)], np.int32), UP)


def machine(max_feed: float = 3000.0, acceleration: float = 1000.0, corner_deviation: float = 1e-12) -> Machine:
    return Machine(
        max_feed=max_feed, acceleration=f"{acceleration} mm/s2", corner_deviation=corner_deviation
    )  # fmt: skip


def timed(
    lines: PassLines, step: float, on: Machine, feed: float = 3000.0, tree: PlanTree = FLOOR, **more: float
) -> PathTotals:
    passes = ordered(lines, BALL, UP, step, 3 * step, levels="rising")
    centres = passes.lines.centres_mm(5.0, 0.0, UP)
    links = linked(passes, centres, Cutter(10.0, 5.0), tree, 3 * step, 0.01, 2.0)
    return path_totals(passes, centres, links, feed, on, **more)


def test_two_hundred_passes() -> None:
    """Computed independently: 200 passes of 100 mm at F3000 and 1000 mm/s2 with a stop at each end, 410 s.

    Links of a step between them, from rest to rest: 2 sqrt(s / a) each.
    """
    got = timed(zigzag(200, 100.0, 0.4), 0.4, machine())
    assert (got.passes, got.lifts) == (200, 0)
    assert got.path_mm == pytest.approx(20_000.0)
    assert got.centre_mm == pytest.approx(20_000.0)
    assert got.link_mm == pytest.approx(199 * 0.4)
    assert 60 * got.cutting_min == pytest.approx(410.0, abs=1e-3)
    assert 60 * got.link_min == pytest.approx(199 * 2 * np.sqrt(0.4 / 1000), abs=1e-3)
    assert got.total_min == pytest.approx(got.cutting_min + got.link_min)
    # what a machine gains that rounds its corners, and what it does not
    rounded = timed(zigzag(200, 100.0, 0.4), 0.4, machine(corner_deviation=0.01))
    assert 400 < 60 * rounded.cutting_min < 410
    assert rounded.link_min < got.link_min


def test_a_circle_is_run_as_fast_as_it_can_be_held() -> None:
    """v = sqrt(a rho): 1 mm and 1000 mm/s2 give 31.62 mm/s, computed independently."""
    circle = ring(50.0, 0.0, 0.0, 1.0, 0, count=4000)
    got = timed(circle, 1.0, machine(max_feed=60_000.0, corner_deviation=0.01), feed=60_000.0)
    assert 60 * got.cutting_min == pytest.approx(2 * np.pi * 50 / np.sqrt(1000.0 * 50) + np.sqrt(50 / 1000), rel=2e-3)


def test_centres_round_an_outside_edge_are_longer_than_contacts() -> None:
    """Boss of radius 10 under a ball of 5: the contact runs 20 pi, the middle 30 pi."""
    got = timed(ring(10.0, 0.0, 1.0, 0.0, 0, count=3600), 1.0, machine())
    assert got.path_mm == pytest.approx(20 * np.pi, rel=1e-5)
    assert got.centre_mm == pytest.approx(30 * np.pi, rel=1e-5)


def test_a_lift_is_rapid_but_for_its_end() -> None:
    """Two lines 60 mm apart: up 2, across 60 at 6000 mm/min, down 2 at the feed, each from rest to rest."""
    lines = together([one_pass([(0, y, 0), (100, y, 0)], UP, i) for i, y in enumerate((0.0, 60.0))])
    got = timed(lines, 1.0, machine(max_feed=6000.0), feed=600.0)
    assert got.lifts == 1
    assert got.lift_mm == pytest.approx(64.0)
    up, across, down = 2 * np.sqrt(2 / 1000), 60 / 100 + 100 / 1000, 2 / 10 + 10 / 1000
    assert 60 * got.lift_min == pytest.approx(up + across + down, abs=1e-4)
    assert 60 * got.cutting_min == pytest.approx(2 * (100 / 10 + 10 / 1000), abs=1e-4)


def test_a_control_that_reads_slowly() -> None:
    """0.05 mm pieces at 1 ms a block: 3000 mm/min at most, computed independently."""
    arc = ring(500.0, 0.0, 0.0, 1.0, 0, count=round(2 * np.pi * 500 / 0.05))
    free = machine(max_feed=9000.0, acceleration=9e5, corner_deviation=0.01)
    assert timed(arc, 1.0, free, feed=9000.0).cutting_min == pytest.approx(1000 * np.pi / 9000, rel=1e-3)
    got = timed(arc, 1.0, free, feed=9000.0, block_s=0.001)
    assert got.cutting_min == pytest.approx(1000 * np.pi / 3000, rel=1e-3)


def wander(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    pieces = rng.normal(size=(rng.integers(1, 15), 3)) * np.exp(rng.uniform(-2, 3))
    for i in range(1, len(pieces)):
        pieces[i] += rng.choice([0.0, 0.5, 3.0, -0.5]) * pieces[i - 1]
        if rng.uniform() < 0.2:
            pieces[i] = rng.uniform(0, 2) * pieces[i - 1]
    return np.vstack([np.zeros((1, 3)), np.cumsum(pieces, axis=0)])


@settings(max_examples=100)
@given(st.integers(0, 10**6), st.floats(200, 20_000), st.floats(200, 10_000), st.floats(0.0, 0.1))
def test_one_feed_takes_what_a_plain_path_takes(seed: int, feed: float, acceleration: float, deviation: float) -> None:
    points = wander(seed)
    kind = np.zeros(len(points) - 1, np.int8)
    got = seconds_by_kind(points, kind, np.array([feed / 60]), acceleration, deviation, 0.0)
    assert got[0] == pytest.approx(60 * path_minutes(points, feed, acceleration, deviation), rel=1e-9)


def naive_seconds(points: np.ndarray, kind: np.ndarray, feed: np.ndarray, a: float, deviation: float, block: float):
    """Piece by piece: speeds at corners are lowered until each can be had from its neighbours; then times by hand."""
    way = np.diff(points, axis=0)
    length = np.linalg.norm(way, axis=1)
    unit = way / length[:, None]
    limit = np.minimum(feed[kind], length / block if block else np.inf)
    speed = np.zeros(len(points))
    for i in range(1, len(way)):
        half = min(1.0, np.linalg.norm(unit[i] - unit[i - 1]) / 2)
        arc = np.sqrt(a * corner_radius(half, deviation, min(length[i - 1], length[i])))
        speed[i] = min(limit[i - 1], limit[i], arc)
    for _ in range(2 * len(points)):
        for i in range(len(way)):
            speed[i + 1] = min(speed[i + 1], np.sqrt(speed[i] ** 2 + 2 * a * length[i]))
            speed[i] = min(speed[i], np.sqrt(speed[i + 1] ** 2 + 2 * a * length[i]))
    out = np.zeros(len(feed))
    for i in range(len(way)):
        one, two = speed[i], speed[i + 1]
        top = min(limit[i], np.sqrt((one**2 + two**2) / 2 + a * length[i]))
        cruise = length[i] - (2 * top**2 - one**2 - two**2) / (2 * a)
        out[kind[i]] += (2 * top - one - two) / a + max(cruise, 0) / top
    return out


@settings(max_examples=100)
@given(st.integers(0, 10**6), st.floats(200, 10_000), st.floats(0.0, 0.1), st.sampled_from([0.0, 0.001, 0.05]))
def test_kinds_take_what_the_slow_twin_says(seed: int, acceleration: float, deviation: float, block: float) -> None:
    rng = np.random.default_rng(seed)
    way = rng.normal(size=(rng.integers(1, 12), 3)) * np.exp(rng.uniform(-2, 3))
    points = np.vstack([np.zeros((1, 3)), np.cumsum(way, axis=0)])
    kind, feed = rng.integers(0, 3, len(way)).astype(np.int8), rng.uniform(3, 300, 3)
    got = seconds_by_kind(points, kind, feed, acceleration, deviation, block)
    np.testing.assert_allclose(
        got, naive_seconds(points, kind, feed, acceleration, deviation, block), rtol=1e-7, atol=1e-9
    )


def test_nothing_to_run_and_faults() -> None:
    got = timed(no_passes(), 1.0, machine())
    assert (got.total_min, got.path_mm, got.passes, got.lifts) == (0.0, 0.0, 0, 0)
    with pytest.raises(ValueError, match="feed"):
        timed(zigzag(2, 9.0, 1.0), 1.0, machine(), feed=0.0)
