"""Shop sums of speed and feed against published and common values."""

from __future__ import annotations

import doctest

import numpy as np
import pytest

from advisor.cutter import speeds
from advisor.cutter.contact import effective_diameter_mm
from advisor.cutter.speeds import feed_mm_per_min, spindle_rpm, surface_speed_m_per_min

M_PER_FT, MM_PER_IN = 0.3048, 25.4


def test_docstring_examples() -> None:
    assert doctest.testmod(speeds).failed == 0


def test_spindle_speed_by_the_definition() -> None:
    """Computed independently: 200 m/min on 10 mm; 500 ft/min on 0.5 in."""
    assert spindle_rpm(200.0, 10.0) == pytest.approx(6366.198, abs=5e-4)
    assert spindle_rpm(500 * M_PER_FT, 0.5 * MM_PER_IN) == pytest.approx(3819.719, abs=5e-4)


def test_half_inch_ball_at_833_ft_per_min() -> None:
    """Common practice, no source: about 6,364 rev/min (a shop sheet may say 6,367)."""
    assert spindle_rpm(833 * M_PER_FT, 0.5 * MM_PER_IN) == pytest.approx(6364, abs=1)


def test_feed_of_four_flutes() -> None:
    """Common practice, no source: 0.0012 in a tooth at 6,364 rev/min is about 30 in/min, half of it about 15."""
    assert feed_mm_per_min(6364, 4, 0.0012 * MM_PER_IN) / MM_PER_IN == pytest.approx(30, abs=0.6)
    assert feed_mm_per_min(6364, 4, 0.0006 * MM_PER_IN) / MM_PER_IN == pytest.approx(15, abs=0.3)


def test_a_shallow_cut_runs_far_below_the_nominal_speed() -> None:
    """Common practice, no source: 0.005 in deep on a floor a 1/2 in ball cuts at 0.0995 in, about 166 ft/min."""
    effective_in = effective_diameter_mm(0.005 * MM_PER_IN, 0.5 * MM_PER_IN) / MM_PER_IN
    assert effective_in == pytest.approx(0.0995, abs=5e-5)
    speed = surface_speed_m_per_min(spindle_rpm(833 * M_PER_FT, 12.7), effective_in * MM_PER_IN)
    assert speed / M_PER_FT == pytest.approx(166, abs=0.5)


def test_speed_and_spindle_are_inverse_and_the_tip_stands_still() -> None:
    diameters = np.array([0.5, 3.0, 12.0])
    np.testing.assert_allclose(surface_speed_m_per_min(spindle_rpm(90.0, diameters), diameters), 90.0)
    assert surface_speed_m_per_min(20_000.0, 0.0) == 0.0


@pytest.mark.parametrize("wrong", [0.0, -1.0, np.inf])
def test_no_diameter_no_speed(wrong: float) -> None:
    with pytest.raises(ValueError, match="diameter"):
        spindle_rpm(100.0, wrong)
