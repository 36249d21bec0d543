"""Ideal roughness: quadrature as the slow twin, small steps, edges and refusals."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from advisor.cutter.roughness import ra_um, rz_um, stepover_for_ra_mm


def measured_ra_um(stepover, radius):
    """Mean distance of the arcs from their mean line, by numerical quadrature."""
    half = 0.5 * stepover

    def profile(place):
        return radius - np.sqrt(radius**2 - place**2)

    mean = quad(profile, 0.0, half, epsabs=0.0, epsrel=1e-12)[0] / half
    crossing = brentq(lambda place: profile(place) - mean, 0.0, half, xtol=1e-15)
    below = quad(lambda place: mean - profile(place), 0.0, crossing, epsabs=0.0, epsrel=1e-12)[0]
    above = quad(lambda place: profile(place) - mean, crossing, half, epsabs=0.0, epsrel=1e-12)[0]
    return 1000.0 * (below + above) / half


@pytest.mark.parametrize("stepover", [0.3, 1.0, 4.0, 8.0, 9.9])
def test_ra_is_what_quadrature_measures(stepover):
    assert ra_um(stepover, 5.0) == pytest.approx(measured_ra_um(stepover, 5.0), rel=1e-9)


@pytest.mark.parametrize("stepover", [1e-6, 1e-4, 1e-2])
def test_small_steps_keep_their_digits(stepover):
    # next term of the series: the relative excess over s^2 / (18 sqrt(3) R) is about s^2 / (20 R^2)
    shallow = 1000.0 * stepover**2 / (18.0 * np.sqrt(3.0) * 5.0)
    assert ra_um(stepover, 5.0) == pytest.approx(shallow * (1.0 + stepover**2 / (20.0 * 5.0**2)), rel=1e-12)


def test_ends_of_the_range():
    assert ra_um(0.0, 5.0) == 0.0
    assert stepover_for_ra_mm(0.0, 5.0) == 0.0
    assert np.isnan(ra_um(np.array([10.0, 11.0]), 5.0)).all()
    assert np.isnan(rz_um(np.array([10.0, 11.0]), 5.0)).all()
    highest = ra_um(np.nextafter(10.0, 0.0), 5.0)
    assert stepover_for_ra_mm(0.999999 * highest, 5.0) == pytest.approx(10.0, rel=1e-5)
    assert np.isnan(stepover_for_ra_mm(1.000001 * highest, 5.0))
    assert np.isnan(ra_um(np.nan, 5.0))
    assert np.isnan(stepover_for_ra_mm(np.nan, 5.0))


def test_shape_in_is_shape_out():
    steps = np.array([[0.1], [12.0]])
    assert np.isnan(ra_um(steps, np.array([5.0, 5.5]))).tolist() == [[False, False], [True, True]]
    assert isinstance(ra_um(0.1, 5.0), np.float64)
    assert isinstance(stepover_for_ra_mm(0.1, 5.0), np.float64)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ra_um(-0.1, 5.0), "stepover must be zero or more"),
        (lambda: ra_um(0.1, -5.0), "ball radius must be above zero"),
        (lambda: stepover_for_ra_mm(-0.1, 5.0), "Ra must be zero or more"),
        (lambda: rz_um(-0.1, 5.0), "stepover"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()
