"""Chip thickness of a ball against published values, a cut ball sampled point by point, and laws."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cutter import chips
from advisor.cutter.chips import (
    MOST_COMPENSATION,
    axial_factor,
    compensated_feed_per_tooth_mm,
    cusp_along_feed_um,
    thinning_factor,
)
from advisor.cutter.contact import effective_diameter_mm

diameters = st.floats(0.1, 100.0)
shares = st.floats(0.0, 1.5)


def printed(text: str) -> object:
    """A printed number, to within one unit in its last digit."""
    return pytest.approx(float(text), rel=0.0, abs=10.0 ** -len(text.partition(".")[2]))


def radial_factor(width: float, diameter: float) -> float:
    """Of a cut as deep as the ball's radius: nothing thins its chips but how narrow it is."""
    return float(thinning_factor(diameter / 2, width, diameter))


def test_docstring_examples() -> None:
    assert doctest.testmod(chips).failed == 0


@pytest.mark.parametrize(("width", "chip"), [(0.5, "0.0435890"), (1, "0.06"), (2.5, "0.0866025"), (5, "0.1")])
def test_thickest_chip_of_a_narrow_cut(width: float, chip: str) -> None:
    """Computed independently: cos(phi) = 1 - 2 ae / D, D 10, 0.1 mm a tooth."""
    assert 0.1 * radial_factor(width, 10.0) == printed(chip)


@pytest.mark.parametrize(("width", "feed"), [(0.5, "0.1147079"), (1.0, "0.0833333")])
def test_feed_that_makes_up_for_a_narrow_cut(width: float, feed: str) -> None:
    """Computed independently: a chip of 0.05 mm, D 10."""
    assert compensated_feed_per_tooth_mm(0.05, radial_factor(width, 10.0)) == printed(feed)


def test_feed_that_makes_up_for_a_shallow_cut() -> None:
    """Computed independently: D 10, 0.2 mm deep; a chip of 0.03 mm wants 3.6 times as much feed, which is too much."""
    factor = axial_factor(0.2, 10.0)
    assert factor == printed("0.28")
    assert compensated_feed_per_tooth_mm(0.03, factor, most_times=4.0) == printed("0.1071429")
    assert compensated_feed_per_tooth_mm(0.03, factor) == pytest.approx(0.03 * MOST_COMPENSATION)


def test_both_together() -> None:
    """Computed independently: D 10, 0.2 mm deep, 0.4 mm wide: 0.28 times 0.699854."""
    assert thinning_factor(0.2, 0.4, 10.0) == printed("0.1959592")


def test_marks_along_the_feed() -> None:
    """Computed independently, R 5: fz^2 / (8 R)."""
    assert cusp_along_feed_um(np.array([0.1, 0.2]), 5.0) == pytest.approx([0.25, 1.0], rel=2e-4)


def thickest_by_sampling(depth: float, width: float, diameter: float) -> float:
    """Largest cosine between normal and feed (+Y) on the ball, where it stands in stock that the last pass left."""
    radius = diameter / 2
    top = np.arccos(1.0 - depth / radius)
    polar, around = np.meshgrid(np.linspace(0.0, top, 1200), np.linspace(-np.pi, np.pi, 2401), indexing="ij")
    x, y = radius * np.sin(polar) * np.cos(around), radius * np.sin(polar) * np.sin(around)
    z = radius * (1.0 - np.cos(polar))
    in_metal = np.hypot(x + width, z - radius) >= radius
    return float(np.where(in_metal, y / radius, 0.0).max())


@pytest.mark.parametrize(("depth", "width"), [(0.2, 0.4), (0.2, 1.3), (0.2, 1.5), (0.02, 0.6), (2.0, 0.5), (5.0, 1.0)])
def test_thickest_spot_of_a_ball_found_by_sampling_it(depth: float, width: float) -> None:
    """The form is exact for an ideal ball on a plane: nothing about it is fitted."""
    assert thinning_factor(depth, width, 10.0) == pytest.approx(thickest_by_sampling(depth, width, 10.0), rel=3e-3)


@given(diameters, shares, shares)
def test_the_two_together_thin_more_than_either_and_less_than_their_product(
    diameter: float, deep: float, wide: float
) -> None:
    both = thinning_factor(deep * diameter, wide * diameter, diameter)
    radial, axial = radial_factor(wide * diameter, diameter), axial_factor(deep * diameter, diameter)
    assert radial * axial * (1.0 - 1e-9) <= both <= min(radial, axial) * (1.0 + 1e-9)
    if deep >= 0.5:
        assert both == radial
    if 2.0 * wide * diameter >= effective_diameter_mm(deep * diameter, diameter):
        assert both == axial


@given(st.floats(0.001, 1.0), st.floats(0.0, 1.0), st.floats(1.0, 5.0))
def test_made_up_feed_gives_the_wanted_chip_or_stops_at_the_cap(chip: float, factor: float, most: float) -> None:
    feed = compensated_feed_per_tooth_mm(chip, factor, most)
    assert chip * (1.0 - 1e-12) <= feed <= chip * most * (1.0 + 1e-12)
    assert feed * factor == pytest.approx(chip) or feed == pytest.approx(chip * most)


def test_nothing_cut_is_no_chip() -> None:
    assert thinning_factor(0.0, 0.4, 10.0) == 0.0
    assert thinning_factor(np.array([0.2, 0.2]), np.array([0.0, 99.0]), 10.0).tolist() == [0.0, axial_factor(0.2, 10.0)]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: radial_factor(-0.1, 10.0), "radial width"),
        (lambda: radial_factor(0.1, 0.0), "diameter"),
        (lambda: axial_factor(-0.1, 10.0), "depth"),
        (lambda: compensated_feed_per_tooth_mm(0.1, 1.1), "not be more than 1, but 1.1"),
        (lambda: compensated_feed_per_tooth_mm(0.1, 0.5, 0.9), "1 or more, but 0.9"),
        (lambda: cusp_along_feed_um(-0.1, 5.0), "feed per tooth"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words) -> None:
    with pytest.raises(ValueError, match=words):
        call()
