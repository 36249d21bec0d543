"""Cutting force: Kienzle's law, and the bound on what one tooth of a ball meets in a thin layer."""

from __future__ import annotations

import doctest

import naive
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cutter import force
from advisor.cutter.contact import effective_diameter_mm
from advisor.cutter.force import ball_finishing_force_n, specific_force_n

KC11, MC = 1500.0, 0.25
feeds = st.floats(0.005, 0.2)
depths = st.floats(0.005, 0.4)
steps = st.floats(0.01, 2.0)
radii = st.floats(0.5, 10.0)


def test_docstring_examples() -> None:
    assert doctest.testmod(force).failed == 0


def test_a_square_millimetre_of_chip_takes_the_specific_force_itself() -> None:
    """O. Kienzle 1952 (from memory): kc1.1 is defined by it; the power law by its slope."""
    assert specific_force_n(1.0, 1.0, 1850.0, 0.27) == pytest.approx(1850.0)
    thin, thick = specific_force_n(1.0, np.array([0.01, 0.1]), KC11, MC)
    assert np.log10(thick / thin) == pytest.approx(1.0 - MC)
    assert specific_force_n(2.0, 0.0, KC11, MC) == 0.0


@pytest.mark.parametrize(("radius", "depth"), [(1.0, 0.1), (3.0, 0.02), (6.0, 0.3)])
@pytest.mark.parametrize("stepover", [0.02, 0.4, 5.0])
@pytest.mark.parametrize("mc", [0.0, 0.25])
def test_no_edge_meets_more(radius: float, depth: float, stepover: float, mc: float) -> None:
    """Chips added up along edges through the cut, whatever way they lie, find about half of the bound."""
    bound = ball_finishing_force_n(0.05, depth, stepover, radius, KC11, mc)
    found = naive.naive_ball_force(0.05, depth, stepover, radius, KC11, mc, edges=600)
    assert 0.35 * bound < found < 0.7 * bound


def test_thickest_chip_is_that_of_axial_and_radial_thinning() -> None:
    """Computed independently: D 10, depth 0.2, stepover 0.4 thin the chip to 0.28 * 0.699854 = 0.1959592."""
    edge = 5.0 * (np.arccos(1 - 0.2 / 5.0) + np.arcsin(0.04))
    assert ball_finishing_force_n(0.1, 0.2, 0.4, 5.0, 1.0, 0.0) / (0.1 * edge) == pytest.approx(0.1959592, abs=1e-7)


def test_limits() -> None:
    args = (0.05, 0.1, 0.4, 3.0, KC11, MC)
    for nothing in range(3):  # no feed, no depth, no stepover
        assert ball_finishing_force_n(*[0.0 if i == nothing else value for i, value in enumerate(args)]) == 0.0
    slot = effective_diameter_mm(0.1, 6.0)
    assert ball_finishing_force_n(0.05, 0.1, slot, 3.0, KC11, MC) == ball_finishing_force_n(
        0.05, 0.1, 50.0, 3.0, KC11, MC
    )
    # half the ball in the metal: the whole feed on the half circle
    assert ball_finishing_force_n(0.05, 3.0, 6.0, 3.0, KC11, MC) == pytest.approx(
        specific_force_n(np.pi * 3.0, 0.05, KC11, MC)
    )
    assert np.isnan(ball_finishing_force_n(0.05, 3.1, 0.4, 3.0, KC11, MC))


@given(feeds, depths, steps, radii, st.floats(0.1, 10.0))
def test_scaling(feed: float, depth: float, step: float, radius: float, factor: float) -> None:
    """All lengths k times: the force k^(2 - mc) times; the feed alone k^(1 - mc); kc1.1 plainly."""
    whole = ball_finishing_force_n(feed, depth, step, radius, KC11, MC)
    larger = ball_finishing_force_n(factor * feed, factor * depth, factor * step, factor * radius, KC11, MC)
    np.testing.assert_allclose(larger, factor ** (2 - MC) * whole, rtol=1e-9)
    faster = ball_finishing_force_n(factor * feed, depth, step, radius, KC11, MC)
    np.testing.assert_allclose(faster, factor ** (1 - MC) * whole, rtol=1e-9)
    np.testing.assert_allclose(ball_finishing_force_n(feed, depth, step, radius, 2 * KC11, MC), 2 * whole)


@given(feeds, depths, steps, radii, st.floats(1.0, 3.0))
def test_more_of_anything_takes_more_force(
    feed: float, depth: float, step: float, radius: float, factor: float
) -> None:
    base = ball_finishing_force_n(feed, depth, step, radius, KC11, MC) * (1 - 1e-9)
    assert ball_finishing_force_n(feed, depth, factor * step, radius, KC11, MC) >= base
    if factor * depth <= radius:
        assert ball_finishing_force_n(feed, factor * depth, step, radius, KC11, MC) >= base


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        ((-1.0, 1.0, KC11, MC), "chip width"),
        ((1.0, -1.0, KC11, MC), "chip thickness"),
        ((1.0, 1.0, 0.0, MC), "kc1.1"),
        ((1.0, 1.0, KC11, 1.0), "mc"),
    ],
)
def test_what_is_out_of_range_is_named(arguments: tuple[float, ...], what: str) -> None:
    with pytest.raises(ValueError, match=what):
        specific_force_n(*arguments)
