"""Thinned passes keep within the tolerance, in the fewest points where theory knows them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cutter.cutter import Cutter
from advisor.passes.lines import PassLines
from advisor.passes.thin import thinned

UP = np.array([0.0, 0.0, 1.0])
BALL = Cutter(10.0, 5.0)


def one_pass(contact: np.ndarray, normal: np.ndarray, closed: bool = False) -> PassLines:
    starts, level = np.array([0, len(contact)]), np.zeros(1, np.int32)
    return PassLines(np.array(contact, float), np.array(normal, float), starts, level, np.array([closed]))


def distance(places: np.ndarray, chain: np.ndarray) -> np.ndarray:
    """Of places from a polyline."""
    a, u = chain[:-1], np.diff(chain, axis=0)
    share = np.einsum("qsk,sk->qs", places[:, None] - a, u) / np.maximum(np.einsum("sk,sk->s", u, u), 1e-300)
    foot = a + np.clip(share, 0, 1)[..., None] * u
    return np.linalg.norm(places[:, None] - foot, axis=2).min(axis=1)


def circle(count: int, radius: float, most: float = 2 * np.pi) -> tuple[np.ndarray, np.ndarray]:
    turn = np.linspace(0, most, count)
    out = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    return radius * out, out


@given(
    st.integers(0, 10**6), st.sampled_from([1e-3, 0.01, 0.2]), st.booleans(),
    st.sampled_from([Cutter(10.0, 5.0), Cutter(6.0, 1.0)]),
)  # fmt: skip
def test_what_is_left_out_lies_within_the_tolerance(seed: int, tolerance: float, closed: bool, cutter: Cutter) -> None:
    rng = np.random.default_rng(seed)
    passes, count = [], 0
    for _ in range(3):
        steps = rng.integers(2, 120)
        way = np.cumsum(rng.normal(size=(steps, 3)) * rng.choice([0.001, 0.02, 0.5], (steps, 1)), axis=0)
        turn = np.cumsum(rng.normal(size=(steps, 3)) * rng.choice([1e-4, 0.02, 0.3]), axis=0) + rng.normal(size=3)
        if closed and steps > 3:
            way[-1], turn[-1] = way[0], turn[0]
        normal = turn / np.maximum(np.linalg.norm(turn, axis=1, keepdims=True), 1e-9)
        passes.append((way, normal))
        count += steps
    starts = np.concatenate([[0], np.cumsum([len(p) for p, _ in passes])])
    is_closed = np.array([closed and len(p) > 3 for p, _ in passes])
    lines = PassLines(
        np.concatenate([p for p, _ in passes]), np.concatenate([n for _, n in passes]), starts,
        np.arange(3, dtype=np.int32), is_closed,
    )  # fmt: skip
    got = thinned(lines, cutter, UP, tolerance)
    radii = (cutter.corner_radius_mm, cutter.ring_radius_mm, UP)
    assert got.count == 3
    assert got.level.tolist() == [0, 1, 2]
    assert got.is_closed.tolist() == is_closed.tolist()
    for i in range(3):
        old, new = slice(starts[i], starts[i + 1]), slice(got.starts[i], got.starts[i + 1])
        for before, after in (
            (lines.contact_mm[old], got.contact_mm[new]),
            (lines.centres_mm(*radii)[old], got.centres_mm(*radii)[new]),
        ):
            assert distance(before, after).max() <= tolerance + 1e-12
            np.testing.assert_array_equal(before[[0, -1]], after[[0, -1]])


@pytest.mark.parametrize("radius", [0.5, 20.0])
def test_an_arc_in_the_fewest_chords(radius: float) -> None:
    """Outside arcs are led by the middle, whose circle is larger: chords of 2 acos(1 - t / (rho + R)) at most."""
    contact, normal = circle(20001, radius, np.pi)
    got = thinned(one_pass(contact, normal), BALL, UP, 0.01)
    assert len(got.contact_mm) - 1 == np.ceil(np.pi / (2 * np.arccos(1 - 0.01 / (radius + 5))) - 1e-3)


def test_in_a_fillet_of_the_balls_own_radius_the_contact_leads() -> None:
    contact, normal = circle(20001, 5.0, np.pi)
    got = thinned(one_pass(contact, -normal), BALL, UP, 0.01)
    assert len(got.contact_mm) - 1 == np.ceil(np.pi / (2 * np.arccos(1 - 0.01 / 5)) - 1e-3)


def test_straight_closed_and_tiny_passes() -> None:
    straight = np.outer(np.linspace(0, 1, 1001), [30.0, 40.0, 5.0])
    assert len(thinned(one_pass(straight, np.tile(UP, (1001, 1))), BALL, UP, 1e-9).contact_mm) == 2
    loop = one_pass(*circle(5001, 20.0), True)
    got = thinned(loop, BALL, UP, 0.01)
    assert got.is_closed[0]
    np.testing.assert_allclose(got.contact_mm[0], got.contact_mm[-1], atol=1e-12)
    # chords of 3.24 deg round the circle of 25, in two halves: 2 * 55.5
    assert len(got.contact_mm) - 1 == 2 * 56
    tiny = thinned(one_pass(circle(101, 0.001)[0], np.tile(UP, (101, 1)), True), BALL, UP, 1.0)
    assert len(tiny.contact_mm) == 3
    lone = thinned(one_pass(np.zeros((1, 3)), UP[None]), BALL, UP, 0.01)
    assert len(lone.contact_mm) == 1


def test_corners_stay() -> None:
    sides = np.array([[0, 0, 0], [10.0, 0, 0], [10.0, 0.005, 0], [20.0, 0.005, 0], [20.0, 10, 0]])
    dense = np.concatenate([np.linspace(a, b, 50)[:-1] for a, b in pairwise(sides)] + [sides[-1:]])
    got = thinned(one_pass(dense, np.tile(UP, (len(dense), 1))), BALL, UP, 0.05)
    np.testing.assert_allclose(got.contact_mm, sides[[0, 3, 4]], atol=0.006)
    np.testing.assert_array_equal(got.contact_mm[1], sides[3])
