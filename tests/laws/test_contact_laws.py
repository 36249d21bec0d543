"""Laws that contact geometry obeys for every cutter, step and surface."""

import numpy as np
import pytest
from bull_noses import (
    bull_nose_cusp_mm,
    bull_nose_floor_cusp_mm,
    bull_nose_floor_stepover_mm,
    bull_nose_stepover_mm,
    cross_feed_curvature_per_mm,
)
from hypothesis import assume, given
from hypothesis import strategies as st

from advisor.cutter.contact import (
    contact_diameter_mm,
    cusp_height_mm,
    effective_diameter_mm,
    effective_radius_mm,
    line_spacing_mm,
    stepover_mm,
    surface_spacing_mm,
    surface_spacing_of_z_step_mm,
    tip_clear_tilt_deg,
    z_step_mm,
)
from advisor.cutter.roughness import ra_um, rz_um, stepover_for_ra_mm

ball_radii = st.floats(0.05, 50.0)
shares = st.floats(1e-8, 0.9)
curve_sizes = st.one_of(st.floats(1.02, 1e9), st.just(np.inf))
signs = st.sampled_from([-1.0, 1.0])
scales = st.floats(1e-3, 1e3)
slopes = st.floats(0.5, 89.5)
azimuths = st.floats(-360.0, 360.0)
corners = st.floats(0.02, 1.0)


@given(ball_radii, shares, curve_sizes, signs)
def test_cusp_and_stepover_undo_each_other(radius, share, size, sign):
    surface_radius = sign * size * radius
    step = stepover_mm(share * radius, radius, surface_radius)
    assume(np.isfinite(step))
    cusp = cusp_height_mm(step, radius, surface_radius)
    # where the balls barely overlap the cusp runs away from its step: 1e-9 of a step is more than 1e-9 of a cusp
    nudged = cusp_height_mm(step * (1.0 - 1e-9), radius, surface_radius)
    assert cusp == pytest.approx(share * radius, rel=1e-9) or abs(cusp - share * radius) < cusp - nudged
    assert stepover_mm(cusp, radius, surface_radius) == pytest.approx(step, rel=1e-9)


@given(ball_radii, shares, shares, curve_sizes, signs)
def test_higher_cusp_is_longer_step(radius, one, other, size, sign):
    low, high = sorted((one, other))
    assume(high > low * (1.0 + 1e-9))
    steps = stepover_mm(np.array([low, high]) * radius, radius, sign * size * radius)
    assert not steps[0] >= steps[1]


@given(ball_radii, st.floats(1e-3, 0.5), st.floats(1.5, 1e6))
def test_dome_leaves_more_than_floor_and_bowl_less(radius, share, size):
    dome, floor, bowl = cusp_height_mm(share * radius, radius, np.array([1.0, np.inf, -1.0]) * size * radius)
    assert dome > floor > bowl
    dome, floor, bowl = stepover_mm(0.01 * share * radius, radius, np.array([1.0, np.inf, -1.0]) * size * radius)
    assert dome < floor < bowl


@given(ball_radii, st.floats(1e-5, 0.1), st.floats(1e6, 1e9), signs)
def test_large_surface_radius_joins_the_flat(radius, share, size, sign):
    """Away from flat by R / rho of the cusp, half that of the step, and by nothing that rounding adds."""
    surface_radius = sign * size * radius
    cusp, flat_cusp = cusp_height_mm(share * radius, radius, np.array([surface_radius, np.inf]))
    assert cusp / flat_cusp - 1.0 == pytest.approx(1.0 / (sign * size), rel=0.02, abs=2e-15)
    step, flat_step = stepover_mm(share * radius, radius, np.array([surface_radius, np.inf]))
    # the step is shorter by (1 + h / R) R / (2 rho)
    assert 1.0 - step / flat_step == pytest.approx(0.5 * (1.0 + share) / (sign * size), rel=1e-3, abs=2e-15)


@given(ball_radii, shares, curve_sizes, signs, scales)
def test_lengths_scale_together(radius, share, size, sign, scale):
    surface_radius = sign * size * radius
    step = stepover_mm(share * radius, radius, surface_radius)
    assume(np.isfinite(step))
    scaled = stepover_mm(scale * share * radius, scale * radius, scale * surface_radius)
    assert scaled == pytest.approx(scale * step, rel=1e-9)
    part = 0.5 * step
    cusp = cusp_height_mm(part, radius, surface_radius)
    assert cusp_height_mm(scale * part, scale * radius, scale * surface_radius) == pytest.approx(scale * cusp, rel=1e-9)
    assert ra_um(scale * share * radius, scale * radius) == pytest.approx(
        scale * ra_um(share * radius, radius), rel=1e-9
    )


@given(ball_radii, st.floats(1.1, 1e6), signs)
def test_effective_radius_leaves_the_same_cusp_for_small_steps(radius, size, sign):
    surface_radius, step = sign * size * radius, 1e-5 * radius
    flat = cusp_height_mm(step, effective_radius_mm(radius, surface_radius))
    assert cusp_height_mm(step, radius, surface_radius) == pytest.approx(flat, rel=1e-8)


@given(st.floats(1e-3, 10.0), st.floats(0.0, 89.5), azimuths)
def test_spacings_undo_each_other(step, slope, azimuth):
    assert surface_spacing_mm(line_spacing_mm(step, slope, azimuth), slope, azimuth) == pytest.approx(step, rel=1e-12)
    steep = 90.0 - slope
    assert surface_spacing_of_z_step_mm(z_step_mm(step, steep), steep) == pytest.approx(step, rel=1e-12)


@given(st.floats(0.1, 50.0), st.floats(1e-4, 0.5))
def test_tilt_that_clears_the_tip_is_the_half_angle_of_the_cut(diameter, share):
    """A chord at the depth: its half angle, seen from the ball centre, gives the effective diameter."""
    angle = np.deg2rad(tip_clear_tilt_deg(share * diameter, diameter))
    assert effective_diameter_mm(share * diameter, diameter) == pytest.approx(diameter * np.sin(angle), rel=1e-9)
    assert 0.5 * diameter * (1.0 - np.cos(angle)) == pytest.approx(share * diameter, rel=1e-9)


@given(st.floats(0.1, 50.0), st.floats(0.0, 180.0), st.floats(-90.0, 90.0))
def test_full_corner_touches_like_a_ball(diameter, slope, tilt):
    ball = contact_diameter_mm(diameter, slope, tilt)
    bull = contact_diameter_mm(diameter, slope, tilt, 0.5 * diameter)
    assert bull == pytest.approx(ball, abs=1e-12 * diameter)
    assert 0.0 <= ball <= diameter


@given(ball_radii, st.floats(1e-6, 0.999))
def test_roughness_and_step_undo_each_other(radius, share):
    step = 2.0 * share * radius
    assert stepover_for_ra_mm(ra_um(step, radius), radius) == pytest.approx(step, rel=1e-9)


@given(ball_radii, st.floats(1e-6, 0.9), st.floats(1.01, 1.1))
def test_height_outgrows_mean_roughness(radius, share, more):
    """Height over mean is 9 sqrt(3) / 4 for shallow arcs, and rises as the flanks stand up."""
    steps = 2.0 * radius * share * np.array([1.0, more])
    ratio, larger = rz_um(steps, radius) / ra_um(steps, radius)
    assert 9.0 * np.sqrt(3.0) / 4.0 <= ratio * (1.0 + 1e-12)
    assert ratio <= larger * (1.0 + 1e-12)


@given(ball_radii, shares, st.floats(0.0, 90.0), azimuths, st.floats(-0.9, 5.0))
def test_full_corner_is_a_ball(radius, share, slope, feed_angle, bend):
    assert cross_feed_curvature_per_mm(slope, feed_angle, radius, radius) == pytest.approx(1.0 / radius, rel=1e-12)
    curvature = bend / radius
    surface_radius = radius / bend if abs(bend) > 1e-12 else np.inf
    ball = cusp_height_mm(share * radius, radius, surface_radius)
    bull = bull_nose_cusp_mm(share * radius, slope, feed_angle, radius, radius, surface_curvature_per_mm=curvature)
    assert bull == pytest.approx(ball, rel=1e-9, nan_ok=True)


@given(ball_radii, corners, shares, st.tuples(slopes, azimuths), st.floats(-0.5, 2.0))
def test_bull_nose_cusp_and_stepover_undo_each_other(radius, corner, share, angles, bend):
    slope, feed_angle = angles
    corner_radius = corner * radius
    cusp = 0.2 * share * corner_radius
    where = (slope, feed_angle, radius, corner_radius)
    # in hollows as tight as the groove a step of the flat stands in
    assume(bend / radius > -0.9 * cross_feed_curvature_per_mm(*where))
    step = bull_nose_stepover_mm(cusp, *where, surface_curvature_per_mm=bend / radius)
    assert bull_nose_cusp_mm(step, *where, surface_curvature_per_mm=bend / radius) == pytest.approx(cusp, rel=1e-6)


@given(ball_radii, corners, st.floats(1e-4, 0.9), st.tuples(slopes, azimuths), st.floats(0.0, 2.0))
def test_bull_nose_floor_is_the_best_case_and_undoes_itself(radius, corner, share, angles, bend):
    corner_radius = corner * radius
    cusp = share * corner_radius
    widest = bull_nose_floor_stepover_mm(cusp, radius, corner_radius)
    assert bull_nose_floor_cusp_mm(widest, radius, corner_radius) == pytest.approx(cusp, rel=1e-6)
    step = bull_nose_stepover_mm(cusp, *angles, radius, corner_radius, surface_curvature_per_mm=bend / radius)
    assert not step > widest * (1.0 + 1e-12)


@given(ball_radii, corners, slopes, azimuths)
def test_bull_nose_groove_lies_between_corner_and_up_the_slope(radius, corner, slope, feed_angle):
    along, askew, up = cross_feed_curvature_per_mm(slope, np.array([0.0, feed_angle, 90.0]), radius, corner * radius)
    assert along * (1.0 + 1e-12) >= askew >= up * (1.0 - 1e-12)
    assert along == pytest.approx(1.0 / (corner * radius), rel=1e-12)
