"""Bull-nose contact: the rolled outline of the whole cutter as the slow twin, edges and refusals."""

import numpy as np
import pytest
from bull_noses import (
    bull_nose_cusp_mm,
    bull_nose_effective_diameter_mm,
    bull_nose_floor_cusp_mm,
    bull_nose_floor_stepover_mm,
    bull_nose_stepover_mm,
    cross_feed_curvature_per_mm,
)
from scipy.optimize import brentq

from advisor.cutter.contact import cusp_height_mm


def outline_cusp(stepover, slope_deg, feed_angle_deg, tool_radius, corner_radius):
    """What an upright bull-nose leaves on a sloped plane, from its outline as seen along the feed.

    The cutter is a disc of radius a with a ball of radius r at every point; seen along the feed the disc's
    rim is an ellipse, and the outline is the lower envelope of circles about it. Two neighbouring outlines
    meet at the top of the cusp.
    """
    slope, feed = np.deg2rad([slope_deg, feed_angle_deg])
    normal = np.array([-np.sin(slope), 0.0, np.cos(slope)])
    uphill, level = np.array([np.cos(slope), 0.0, np.sin(slope)]), np.array([0.0, 1.0, 0.0])
    across = np.cos(feed) * uphill - np.sin(feed) * level
    turn = np.linspace(0.0, 2.0 * np.pi, 100_001)
    rim = (tool_radius - corner_radius) * np.stack([np.cos(turn), np.sin(turn), 0.0 * turn])
    sideways, height = across @ rim, normal @ rim
    touching = height.argmin()
    sideways, height = sideways - sideways[touching], height - height[touching]

    def outline(place):
        gap = place - sideways
        near = np.abs(gap) < corner_radius
        return (height[near] - np.sqrt(corner_radius**2 - gap[near] ** 2)).min(initial=tool_radius) + corner_radius

    return outline(brentq(lambda place: outline(place) - outline(place - stepover), 0.0, stepover))


@pytest.mark.parametrize(("tool_radius", "corner_radius"), [(5.0, 1.0), (6.0, 2.0), (5.0, 2.5)])
@pytest.mark.parametrize("slope_deg", [10.0, 30.0, 45.0, 80.0])
@pytest.mark.parametrize("feed_angle_deg", [0.0, 20.0, 45.0, 70.0, 90.0])
def test_groove_curvature_is_that_of_the_rolled_outline(tool_radius, corner_radius, slope_deg, feed_angle_deg):
    step = 0.04
    left = outline_cusp(step, slope_deg, feed_angle_deg, tool_radius, corner_radius)
    curvature = cross_feed_curvature_per_mm(slope_deg, feed_angle_deg, tool_radius, corner_radius)
    assert curvature == pytest.approx(8.0 * left / step**2, rel=3e-3)


@pytest.mark.parametrize("slope_deg", [3.0, 10.0, 30.0, 60.0, 85.0])
@pytest.mark.parametrize("feed_angle_deg", [0.0, 10.0, 30.0, 60.0, 90.0])
@pytest.mark.parametrize("tool", [(5.0, 1.0), (6.0, 2.0), (5.0, 2.5)])
def test_cusp_is_at_most_one_percent_short_of_the_rolled_outline(slope_deg, feed_angle_deg, tool):
    for stepover in (0.05 * tool[0], 0.2 * tool[0]):
        left = outline_cusp(stepover, slope_deg, feed_angle_deg, *tool)
        ours = bull_nose_cusp_mm(stepover, slope_deg, feed_angle_deg, *tool)
        assert ours >= 0.99 * left


@pytest.mark.parametrize(("slope_deg", "stepover"), [(45.0, 1.0), (30.0, 0.9), (60.0, 0.9), (80.0, 0.3)])
def test_along_the_contour_the_cusp_is_exact_while_the_corner_alone_cuts(slope_deg, stepover):
    left = outline_cusp(stepover, slope_deg, 0.0, 5.0, 1.0)
    assert bull_nose_cusp_mm(stepover, slope_deg, 0.0, 5.0, 1.0) == pytest.approx(left, rel=1e-6)


def test_curved_surface_adds_its_curvature_for_small_steps():
    step, curvature = 0.01, cross_feed_curvature_per_mm(30.0, 90.0, 5.0, 1.0)
    for surface in (0.02, -0.02):
        expected = step**2 / 8.0 * (curvature + surface)
        left = bull_nose_cusp_mm(step, 30.0, 90.0, 5.0, 1.0, surface_curvature_per_mm=surface)
        assert left == pytest.approx(expected, rel=1e-5)


def test_floor_is_the_same_for_every_feed_angle():
    steps = np.array([0.0, 1.0, 8.0, 8.4, 9.0])
    floor = bull_nose_floor_cusp_mm(steps, 5.0, 1.0)
    for feed_angle_deg in (0.0, 30.0, 90.0):
        assert cross_feed_curvature_per_mm(0.0, feed_angle_deg, 5.0, 1.0) == 0.0
        assert bull_nose_cusp_mm(steps, 0.0, feed_angle_deg, 5.0, 1.0).tolist() == floor.tolist()
    assert bull_nose_stepover_mm(0.0, 0.0, 90.0, 5.0, 1.0) == 8.0
    assert bull_nose_floor_stepover_mm(0.0, 5.0, 1.0) == 8.0


def test_no_answer_is_nan():
    assert np.isnan(bull_nose_floor_cusp_mm(np.array([10.1, 12.0]), 5.0, 1.0)).all()
    assert np.isnan(bull_nose_cusp_mm(2.1, 45.0, 0.0, 5.0, 1.0))


def test_in_a_hollow_as_tight_as_the_groove_the_flat_step_stands_in():
    flat = bull_nose_stepover_mm(0.01, 30.0, 90.0, 5.0, 1.0)
    assert bull_nose_stepover_mm(0.01, 30.0, 90.0, 5.0, 1.0, surface_curvature_per_mm=-0.2) == pytest.approx(flat)


def test_full_corner_is_a_ball_on_floor_slope_and_wall():
    slopes = np.array([0.0, 20.0, 90.0])
    assert cross_feed_curvature_per_mm(slopes, 35.0, 5.0, 5.0).tolist() == [0.2, 0.2, 0.2]
    assert bull_nose_floor_cusp_mm(1.0, 5.0, 5.0) == pytest.approx(cusp_height_mm(1.0, 5.0), rel=1e-14)


def test_deep_floor_cut_uses_the_whole_diameter():
    assert [bull_nose_effective_diameter_mm(depth, 5.0, 1.0) for depth in (0.0, 1.0, 3.0)] == [8.0, 10.0, 10.0]
