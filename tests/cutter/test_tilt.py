"""Tilt that keeps a ball off its tip: published values, and laws of the advice."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cutter import tilt
from advisor.cutter.contact import TIP_DIAMETER_SHARE, contact_diameter_mm
from advisor.cutter.tilt import TILTS_DEG, advise_tilt, tilt_for_contact_deg

diameters = st.floats(0.5, 50.0)
slopes = st.floats(0.0, 180.0)


def test_docstring_examples() -> None:
    assert doctest.testmod(tilt).failed == 0


@pytest.mark.parametrize(("degrees", "contact"), [(10.0, 2.2053), (15.0, 3.2870), (20.0, 4.3437)])
def test_common_tilts_of_a_half_inch_ball(degrees: float, contact: float) -> None:
    """Computed independently: contact diameter of a 12.7 mm ball on a floor, tilted 10, 15 and 20 degrees."""
    assert degrees in TILTS_DEG
    assert tilt_for_contact_deg(contact, 12.7) == pytest.approx(degrees, abs=5e-4)
    assert contact_diameter_mm(12.7, 0.0, degrees) == pytest.approx(contact, abs=5e-5)


@pytest.mark.parametrize(
    ("diameter", "depth", "clear", "advised"),
    [(10.0, 0.1, 11.4783, 15.0), (10.0, 0.2, 16.2602, 20.0), (10.0, 0.5, 25.8419, None), (6.0, 0.1, 14.8351, 15.0)],
)
def test_tip_leaves_the_cut(diameter: float, depth: float, clear: float, advised: float | None) -> None:
    """Computed independently: the tip is out of the cut above acos(1 - 2 ap / D)."""
    told = advise_tilt(0.0, diameter, depth, 90.0)
    assert told.tilt_deg == (pytest.approx(clear, abs=5e-5) if advised is None else advised)
    # a zone that slopes as much needs no tilt, and one that slopes a little less needs the first
    assert advise_tilt(max(clear + 1e-3, 12.0), diameter, depth, 90.0).tilt_deg == 0.0
    assert advise_tilt(min(clear, 11.5) - 1e-3, diameter, depth, 90.0).tilt_deg >= TILTS_DEG[0]


@given(st.floats(0.0, 1.0), diameters, slopes)
def test_smallest_tilt_reaches_the_wanted_contact_and_a_smaller_one_does_not(
    share: float, diameter: float, slope: float
) -> None:
    wanted = share * diameter
    degrees = float(tilt_for_contact_deg(wanted, diameter, slope))
    assert 0.0 <= degrees <= 90.0
    assert contact_diameter_mm(diameter, slope, degrees) >= wanted - 1e-9 * diameter
    if degrees > 0.0:
        assert contact_diameter_mm(diameter, slope, 0.99 * degrees) < wanted


@given(slopes, diameters, st.floats(0.0, 0.49), st.floats(0.0, 120.0))
def test_advice_does_what_it_promises_and_no_smaller_common_tilt_would(
    slope: float, diameter: float, depth_share: float, most: float
) -> None:
    told = advise_tilt(slope, diameter, depth_share * diameter, most)
    tip_in_cut_below = np.degrees(np.arccos(1.0 - 2.0 * depth_share))

    def enough(degrees: float, slack: float) -> bool:
        near_tip = contact_diameter_mm(diameter, slope, degrees) < (TIP_DIAMETER_SHARE - slack) * diameter
        return slope + degrees >= tip_in_cut_below - slack and not near_tip

    assert enough(told.tilt_deg, 1e-6)
    assert not any(enough(smaller, -1e-6) for smaller in (0.0, *TILTS_DEG) if smaller < told.tilt_deg)
    assert told.contact_diameter_after_mm >= told.contact_diameter_before_mm
    assert told.allowed == (told.tilt_deg <= most)


def test_three_axes_are_told_what_they_miss() -> None:
    told = advise_tilt(0.0, 12.7, 0.1, 0.0)
    assert not told.allowed
    assert (told.contact_diameter_before_mm, told.contact_diameter_after_mm) == (0.0, pytest.approx(3.2870, abs=5e-5))
    assert advise_tilt(30.0, 12.7, 0.1, 0.0).allowed


@pytest.mark.parametrize("depth", [5.0, 80.0])
def test_no_tilt_saves_the_tip_of_a_cut_as_deep_as_the_ball(depth: float) -> None:
    told = advise_tilt(5.0, 10.0, depth, 120.0)
    assert (told.tilt_deg, told.allowed) == (pytest.approx(85.0), False)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: tilt_for_contact_deg(10.1, 10.0), "wanted contact diameter must not be more"),
        (lambda: tilt_for_contact_deg(1.0, 0.0), "diameter"),
        (lambda: advise_tilt(-1.0, 10.0, 0.1, 20.0), "slope"),
        (lambda: advise_tilt(0.0, 10.0, -0.1, 20.0), "depth"),
        (lambda: advise_tilt(0.0, 10.0, 0.1, -1.0), "largest tilt of the machine"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words) -> None:
    with pytest.raises(ValueError, match=words):
        call()
