"""Ball contact: rolled circles as the slow twin, edges of the answers, refusals, docstring examples."""

import doctest

import numpy as np
import pytest

from advisor.cutter import contact, roughness
from advisor.cutter.contact import (
    TIP_DIAMETER_SHARE,
    contact_diameter_mm,
    cusp_height_mm,
    effective_diameter_mm,
    effective_radius_mm,
    is_near_tip,
    line_spacing_mm,
    stepover_mm,
    surface_spacing_mm,
    surface_spacing_of_z_step_mm,
    tip_clear_tilt_deg,
    z_step_mm,
)


def surface_and_normal(arc, surface_radius):
    """Point and outward normal at an arc length from the origin, along a section of constant curvature."""
    if np.isinf(surface_radius):
        return np.stack([arc, 0.0 * arc], axis=-1), np.stack([0.0 * arc, 0.0 * arc + 1.0], axis=-1)
    angle = arc / surface_radius
    normal = np.stack([np.sin(angle), np.cos(angle)], axis=-1)
    return surface_radius * (normal - [0.0, 1.0]), normal


def rolled_cusp(stepover, ball_radius, surface_radius):
    """Most that is left between passes: march from the surface along its normal until a ball is met."""
    feet, up = surface_and_normal(np.arange(-1.0, 3.0) * stepover, surface_radius)
    centres = feet + ball_radius * up
    start, direction = surface_and_normal(np.linspace(0.0, stepover, 201), surface_radius)
    left = np.zeros(len(start))
    for _ in range(400):
        here = start + left[:, None] * direction
        gap = np.linalg.norm(here[:, None] - centres, axis=2).min(axis=1) - ball_radius
        left += np.maximum(gap, 0.0)
    return left.max()


@pytest.mark.parametrize("surface_radius", [np.inf, 400.0, 25.0, 3.0, -400.0, -25.0, -9.0, -5.5])
@pytest.mark.parametrize("stepover", [0.05, 0.5, 2.0, 4.0])
def test_cusp_is_what_rolled_balls_leave(stepover, surface_radius):
    expected = rolled_cusp(stepover, 5.0, surface_radius)
    assert cusp_height_mm(stepover, 5.0, surface_radius) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_stepover_is_what_leaves_the_cusp_when_rolled():
    for surface_radius in (np.inf, 12.0, -12.0, -5.2):
        step = stepover_mm(0.02, 5.0, surface_radius)
        assert rolled_cusp(step, 5.0, surface_radius) == pytest.approx(0.02, rel=1e-9)


def test_balls_that_do_not_overlap_leave_no_cusp_height():
    assert np.isnan(cusp_height_mm(np.array([10.0, 10.1, 1e6]), 5.0)).all()
    assert cusp_height_mm(np.nextafter(10.0, 0.0), 5.0) == pytest.approx(5.0, rel=1e-6)
    # on a ridge of 1 mm radius the balls part at an angle of 2 asin(5/6), an arc of 1.97 mm
    parting = 2.0 * np.arcsin(5.0 / 6.0)
    assert np.isfinite(cusp_height_mm(0.999999 * parting, 5.0, 1.0))
    assert np.isnan(cusp_height_mm(1.000001 * parting, 5.0, 1.0))


def test_bowl_as_tight_as_the_ball_is_not_reached():
    radii = np.array([-5.0, -4.0, -0.1, -5.001])
    assert np.isnan(cusp_height_mm(0.5, 5.0, radii)).tolist() == [True, True, True, False]
    assert np.isnan(stepover_mm(0.0001, 5.0, radii)).tolist() == [True, True, True, False]
    assert np.isnan(effective_radius_mm(5.0, radii)).tolist() == [True, True, True, False]


def test_cusp_that_no_overlap_leaves_has_no_stepover():
    # the balls part when the cusp is sqrt(rho^2 + 2 rho R) - rho = 2.3166 mm high
    highest = np.sqrt(1.0 + 2.0 * 5.0) - 1.0
    assert np.isfinite(stepover_mm(0.999 * highest, 5.0, 1.0))
    assert np.isnan(stepover_mm(1.001 * highest, 5.0, 1.0))


def test_bowl_that_the_ball_all_but_fills_has_no_stepover_for_a_high_cusp():
    assert np.isnan(stepover_mm(0.01, 5.0, -5.001))
    assert np.isnan(cusp_height_mm(5.001 * np.pi, 5.0, -5.001))


def test_cusp_as_high_as_the_ball_is_no_answer():
    # in a bowl of 12 mm the balls still overlap here, but above their centres: 4.6 and 5.4 mm
    assert np.isnan(cusp_height_mm(np.array([17.0, 18.0]), 5.0, -12.0)).tolist() == [False, True]


def test_no_step_no_cusp():
    assert cusp_height_mm(0.0, 5.0, np.array([np.inf, 7.0, -7.0])).tolist() == [0.0, 0.0, 0.0]
    assert stepover_mm(0.0, 5.0, np.array([np.inf, 7.0, -7.0])).tolist() == [0.0, 0.0, 0.0]


def test_walls_and_floors():
    assert line_spacing_mm(0.5, 90.0) == 0.0
    assert np.isnan(surface_spacing_mm(0.5, 90.0, np.array([0.0, 180.0, 360.0]))).all()
    assert surface_spacing_mm(0.5, 90.0, 90.0) == 0.5
    assert z_step_mm(0.5, np.array([0.0, 90.0, 180.0])).tolist() == [0.0, 0.5, 0.0]
    assert np.isnan(surface_spacing_of_z_step_mm(0.5, np.array([0.0, 180.0]))).all()


@pytest.mark.parametrize("azimuth", [0.0, 25.0, 80.0, 90.0, 140.0])
def test_surface_spacing_is_the_gap_between_cuts_of_a_plane(azimuth):
    """Twin: cut a sloped plane by two upright planes; measure square to the cuts, within the slope."""
    slope, spacing = np.deg2rad(50.0), 0.4
    normal = np.array([-np.sin(slope), 0.0, np.cos(slope)])
    step = np.array([np.cos(np.deg2rad(azimuth)), np.sin(np.deg2rad(azimuth)), 0.0])
    along = np.cross(normal, step)
    across = np.cross(along / np.linalg.norm(along), normal)
    assert surface_spacing_mm(spacing, 50.0, azimuth) == pytest.approx(spacing / abs(across @ step), rel=1e-12)


def test_contact_diameter_past_wall_and_past_normal():
    assert contact_diameter_mm(10.0, np.array([90.0, 95.0, 180.0])).tolist() == [10.0, 10.0, 10.0]
    assert contact_diameter_mm(10.0, 80.0, 30.0) == 10.0
    assert contact_diameter_mm(10.0, 100.0, -20.0) == pytest.approx(10.0 * np.sin(np.deg2rad(80.0)))
    assert contact_diameter_mm(10.0, 10.0, -40.0) == pytest.approx(5.0)
    assert contact_diameter_mm(10.0, 0.0) == 0.0
    assert contact_diameter_mm(10.0, 0.0, corner_radius_mm=1.0) == 8.0
    assert contact_diameter_mm(10.0, 90.0, corner_radius_mm=1.0) == 10.0


def test_deep_cuts_use_the_whole_ball():
    assert effective_diameter_mm(np.array([5.0, 7.0, 20.0]), 10.0).tolist() == [10.0, 10.0, 10.0]
    assert tip_clear_tilt_deg(5.0, 10.0) == pytest.approx(90.0)
    assert np.isnan(tip_clear_tilt_deg(5.1, 10.0))
    assert effective_diameter_mm(0.0, 10.0) == 0.0


def test_near_tip():
    nominal = 8.0
    contact_mm = np.array([0.0, 0.999, 1.001, np.nan]) * TIP_DIAMETER_SHARE * nominal
    assert is_near_tip(contact_mm, nominal).tolist() == [True, True, False, False]


def test_shape_in_is_shape_out():
    steps = np.array([[0.1], [0.2]])
    radii = np.array([5.0, np.nan, 3.0])
    table = cusp_height_mm(steps, radii)
    assert table.shape == (2, 3)
    assert np.isnan(table[:, 1]).all()
    assert table[1, 2] == cusp_height_mm(0.2, 3.0)
    assert isinstance(cusp_height_mm(0.2, 3.0), np.float64)
    assert isinstance(stepover_mm(0.2, 3.0), np.float64)
    assert isinstance(surface_spacing_mm(0.2, 3.0), np.float64)
    assert isinstance(contact_diameter_mm(10.0, 3.0), np.float64)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: cusp_height_mm(-0.1, 5.0), "stepover must be zero or more"),
        (lambda: cusp_height_mm(np.inf, 5.0), "stepover must be zero or more and finite"),
        (lambda: cusp_height_mm(0.1, 0.0), "ball radius must be above zero"),
        (lambda: cusp_height_mm(0.1, np.array([5.0, -5.0])), "-5 was given"),
        (lambda: cusp_height_mm(0.1, 5.0, 0.0), "surface radius must not be zero"),
        (lambda: stepover_mm(-0.1, 5.0), "cusp height must be zero or more"),
        (lambda: stepover_mm(5.0, 5.0), "cusp height must stay below the ball radius"),
        (lambda: effective_radius_mm(-1.0, 5.0), "ball radius"),
        (lambda: surface_spacing_mm(0.1, 181.0), "slope must lie within 0 to 180 degrees"),
        (lambda: line_spacing_mm(-0.1, 10.0), "stepover"),
        (lambda: z_step_mm(0.1, -1.0), "slope"),
        (lambda: surface_spacing_of_z_step_mm(-0.1, 10.0), "Z-step"),
        (lambda: contact_diameter_mm(10.0, 10.0, 91.0), "tilt must lie within -90 to 90 degrees"),
        (lambda: contact_diameter_mm(10.0, 10.0, corner_radius_mm=5.1), "corner radius"),
        (lambda: effective_diameter_mm(-0.1, 10.0), "depth"),
        (lambda: effective_diameter_mm(0.1, 10.0, -1.0), "tilt"),
        (lambda: tip_clear_tilt_deg(0.1, 0.0), "diameter"),
        (lambda: is_near_tip(-0.1, 10.0), "contact diameter"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


@pytest.mark.parametrize("module", [contact, roughness], ids=lambda module: module.__name__)
def test_docstring_examples_hold(module):
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
