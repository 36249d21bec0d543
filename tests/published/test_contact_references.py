"""Contact geometry against values worked out elsewhere: the project's table of check values.

Each value carries its digits as printed there, and a tolerance of one unit in the last of them. "Computed
independently" stands for a closed form evaluated outside this package; "and brute force" where a numerical
experiment outside this package agreed.
"""

import numpy as np
import pytest
from bull_noses import (
    bull_nose_cusp_mm,
    bull_nose_effective_diameter_mm,
    bull_nose_floor_cusp_mm,
    cross_feed_curvature_per_mm,
)

from advisor.cutter.contact import (
    contact_diameter_mm,
    cusp_height_mm,
    effective_diameter_mm,
    line_spacing_mm,
    stepover_mm,
    surface_spacing_mm,
    surface_spacing_of_z_step_mm,
    tip_clear_tilt_deg,
    z_step_mm,
)
from advisor.cutter.roughness import ra_um, rz_um, stepover_for_ra_mm

MM_PER_IN = 25.4


def printed(text):
    """A printed number, to within one unit in its last digit."""
    digits = len(text.partition(".")[2])
    return pytest.approx(float(text), rel=0.0, abs=10.0**-digits)


def arc_of_chord(chord, surface_radius):
    return 2.0 * surface_radius * np.arcsin(chord / (2.0 * surface_radius))


@pytest.mark.parametrize(
    ("radius", "step", "height"),
    [
        (5.0, 0.5, "0.00625391"),
        (5.0, 1.0, "0.0250628"),
        (5.0, 2.0, "0.1010205"),
        (3.0, 0.5, "0.01043481"),
        (1.0, 0.1, "0.00125078"),
    ],
)
def test_flat_cusp(radius, step, height):
    """Computed independently (closed form); textbook geometry (Choi and Jerard 1998, from memory)."""
    assert cusp_height_mm(step, radius) == printed(height)


@pytest.mark.parametrize(
    ("radius", "height", "step"),
    [
        (5.0, 0.01, "0.6321392"),
        (5.0, 0.005, "0.4471018"),
        (3.0, 0.005, "0.3462658"),
        (3.0, 0.001, "0.1549064"),
        (6.0 / 2.0, 0.001, "0.154906"),
    ],
)
def test_flat_stepover(radius, height, step):
    """Computed independently (closed form)."""
    assert stepover_mm(height, radius) == printed(step)


def test_flat_stepover_in_inches():
    """Computed independently (closed form): a 1/4 in ball, 0.0005 in cusp."""
    step = stepover_mm(0.0005 * MM_PER_IN, 0.125 * MM_PER_IN)
    assert step / MM_PER_IN == printed("0.0223383")


@pytest.mark.parametrize(
    ("diameter", "step", "height_um"),
    [(12.7, 0.762, "11.4403"), (12.7, 0.127, "0.3175"), (12.0, 0.5, "5.2106")],
)
def test_flat_cusp_in_micrometres(diameter, step, height_um):
    """Computed independently (closed form)."""
    assert 1000.0 * cusp_height_mm(step, diameter / 2.0) == printed(height_um)


def test_half_inch_ball_rule_of_the_shop():
    """Common practice, no source: 0.030 in leaves about 0.00045 in, 0.005 in about 0.0000125 in."""
    ball = 0.25 * MM_PER_IN
    assert cusp_height_mm(0.030 * MM_PER_IN, ball) / MM_PER_IN == pytest.approx(0.00045, abs=5e-6)
    assert cusp_height_mm(0.005 * MM_PER_IN, ball) / MM_PER_IN == pytest.approx(0.0000125, abs=5e-8)


@pytest.mark.parametrize(
    ("radius", "surface_radius", "arc", "height"),
    [
        (5.0, 25.0, 1.0, "0.03012591"),
        (5.0, 25.0, arc_of_chord(1.0, 25.0), "0.03012994"),
        (5.0, -25.0, 1.0, "0.02002341"),
        (5.0, -25.0, arc_of_chord(1.0, 25.0), "0.02002608"),
        (3.0, 10.0, arc_of_chord(0.4, 10.0), "0.00868764"),
        (3.0, -10.0, arc_of_chord(0.4, 10.0), "0.00466859"),
    ],
)
def test_curved_cusp(radius, surface_radius, arc, height):
    """Computed independently (closed form and brute force)."""
    assert cusp_height_mm(arc, radius, surface_radius) == printed(height)


@pytest.mark.parametrize(
    ("radius", "surface_radius", "height", "arc"),
    [
        (5.0, 25.0, 0.01, "0.5769493"),
        (5.0, -25.0, 0.01, "0.7069004"),
        (5.0, 50.0, 0.01, "0.6026618"),
        (3.0, 10.0, 0.01, "0.429104"),
        (3.0, -10.0, 0.01, "0.585366"),
        (3.0, 50.0, 0.01, "0.475387"),
        (3.0, -50.0, 0.01, "0.504921"),
        (6.0, 20.0, 0.005, "0.429528"),
        (6.0, -20.0, 0.005, "0.585496"),
    ],
)
def test_curved_stepover(radius, surface_radius, height, arc):
    """Computed independently (closed form)."""
    assert stepover_mm(height, radius, surface_radius) == printed(arc)


@pytest.mark.parametrize(("surface_radius", "chord"), [(25.0, "0.5769365"), (-25.0, "0.7068769")])
def test_curved_stepover_as_a_chord(surface_radius, chord):
    """Computed independently (closed form); the convex expression is laid to Lin and Koren 1996, from memory."""
    arc = stepover_mm(0.01, 5.0, surface_radius)
    assert 50.0 * np.sin(arc / 50.0) == printed(chord)


SLOPES_DEG = np.array([15.0, 30.0, 45.0, 60.0, 75.0, 90.0])
STEP_SHARES_MM = ("0.1636097", "0.3160696", "0.4469899", "0.5474486", "0.6105996", "0.6321392")


def test_z_step_of_a_slope():
    """Computed independently (closed form)."""
    for height, printed_height in zip(z_step_mm(0.6321392, SLOPES_DEG), STEP_SHARES_MM, strict=True):
        assert height == printed(printed_height)


def test_line_spacing_of_a_slope():
    """Computed independently (closed form): the Z-step table read backwards, and 0 on a wall."""
    spacings = line_spacing_mm(0.6321392, 90.0 - SLOPES_DEG)
    for spacing, printed_spacing in zip(spacings, STEP_SHARES_MM, strict=True):
        assert spacing == printed(printed_spacing)
    assert line_spacing_mm(0.6321392, 90.0) == 0.0


@pytest.mark.parametrize(
    ("azimuth", "factor"),
    [(0.0, "1.4142136"), (30.0, "1.2649111"), (45.0, "1.1547005"), (60.0, "1.0690450"), (90.0, "1")],
)
def test_surface_spacing_of_skew_lines(azimuth, factor):
    """Computed independently (closed form): a slope of 45 degrees."""
    digits = max(len(factor.partition(".")[2]), 7)
    assert surface_spacing_mm(1.0, 45.0, azimuth) == pytest.approx(float(factor), abs=10.0**-digits)


CUSPS_OF_SLOPE = [
    (0.0, "0.0040016"),
    (30.0, "0.0053362"),
    (45.0, "0.0080064"),
    (60.0, "0.0160257"),
    (75.0, "0.0600737"),
    (85.0, "0.557686"),
]


@pytest.mark.parametrize(("slope", "height"), CUSPS_OF_SLOPE)
def test_cusp_of_evenly_spaced_passes(slope, height):
    """Computed independently (closed form): ball radius 5, lines or Z-steps 0.4 apart; one mirrors the other."""
    assert cusp_height_mm(surface_spacing_mm(0.4, slope), 5.0) == printed(height)
    assert cusp_height_mm(surface_spacing_of_z_step_mm(0.4, 90.0 - slope), 5.0) == printed(height)


def test_constant_z_leaves_gentle_slopes_uncut():
    """Computed independently (closed form): ball radius 5, Z-step 0.4, uncut below 2.2924 degrees."""
    assert np.isnan(cusp_height_mm(surface_spacing_of_z_step_mm(0.4, 2.2923), 5.0))
    assert np.isfinite(cusp_height_mm(surface_spacing_of_z_step_mm(0.4, 2.2925), 5.0))


@pytest.mark.parametrize(
    ("tool_radius", "corner_radius", "step", "height"),
    [
        (5.0, 1.0, 7.9, "0.0000000"),
        (5.0, 1.0, 8.4, "0.0202041"),
        (5.0, 1.0, 9.0, "0.1339746"),
        (6.0, 2.0, 9.0, "0.0635083"),
    ],
)
def test_bull_nose_on_a_floor(tool_radius, corner_radius, step, height):
    """Computed independently (closed form)."""
    assert bull_nose_floor_cusp_mm(step, tool_radius, corner_radius) == printed(height)


def test_bull_nose_along_the_contour():
    """Computed independently (closed form): tool radius 5, corner radius 1, step 1."""
    assert bull_nose_cusp_mm(1.0, 45.0, 0.0, 5.0, 1.0) == printed("0.1339746")


@pytest.mark.parametrize(
    ("tool", "slope", "step", "groove_radius", "height"),
    [
        ((5.0, 1.0), 10.0, 1.0, "24.0351", 0.00521876),
        ((5.0, 1.0), 30.0, 1.0, "9.0000", 0.01392839),
        ((5.0, 1.0), 45.0, 1.0, "6.656854", 0.01882688),
        ((5.0, 1.0), 90.0, 1.0, "5.0000", 0.0250628),
        ((6.0, 2.0), 20.0, 1.5, "13.6952", 0.0206521),
    ],
)
def test_bull_nose_up_the_slope(tool, slope, step, groove_radius, height):
    """Computed independently (outline of the tool along the feed); our cusp is the small-step form, to 0.5 %."""
    radius = 1.0 / cross_feed_curvature_per_mm(slope, 90.0, *tool)
    assert radius == printed(groove_radius)
    assert bull_nose_cusp_mm(step, slope, 90.0, *tool) == pytest.approx(height, rel=5e-3)


@pytest.mark.parametrize(("feed_angle", "radius"), [(0.0, 1.0), (90.0, 9.0)])
def test_bull_nose_groove_along_and_up_the_slope(feed_angle, radius):
    """Computed independently (Euler's theorem on the torus): tool radius 5, corner radius 1, slope 30."""
    assert 1.0 / cross_feed_curvature_per_mm(30.0, feed_angle, 5.0, 1.0) == pytest.approx(radius)


@pytest.mark.parametrize(("feed_angle", "section_radius"), [(30.0, 1.285714), (45.0, 1.8), (60.0, 3.0)])
def test_bull_nose_groove_askew_is_wider_than_the_section_of_the_torus(feed_angle, section_radius):
    """Radii of the plain section, computed independently by Euler's theorem, are not what a moving cutter leaves.

    The table gives them for the groove; the rolled outline (see the bull-nose twin) has radii 3, 5 and 7.
    """
    along, up, feed = 1.0, 9.0, np.deg2rad(feed_angle)
    assert 1.0 / (np.cos(feed) ** 2 / along + np.sin(feed) ** 2 / up) == pytest.approx(section_radius, abs=1e-6)
    groove = 1.0 / cross_feed_curvature_per_mm(30.0, feed_angle, 5.0, 1.0)
    assert groove == pytest.approx(along * np.cos(feed) ** 2 + up * np.sin(feed) ** 2)
    assert groove > 2.0 * section_radius


@pytest.mark.parametrize(
    ("radius", "step", "height_um", "mean_um"),
    [
        (5.0, 0.5, "6.253911", "1.604553"),
        (5.0, 1.0, None, "6.427884"),
        (3.0, 0.3, None, "0.962732"),
        (5.0, 4.0, None, "106.151"),
    ],
)
def test_ideal_roughness(radius, step, height_um, mean_um):
    """Computed independently (closed form and numerical quadrature)."""
    assert ra_um(step, radius) == printed(mean_um)
    if height_um is not None:
        assert rz_um(step, radius) == printed(height_um)


def test_ratio_of_height_to_mean_of_shallow_arcs():
    """Computed independently (closed form): 9 sqrt(3) / 4 = 3.897114."""
    assert rz_um(0.001, 5.0) / ra_um(0.001, 5.0) == printed("3.897114")


@pytest.mark.parametrize(("mean_um", "radius", "step"), [(0.8, 5.0, 0.3531397), (0.4, 3.0, 0.1934226)])
def test_stepover_for_a_mean_roughness(mean_um, radius, step):
    """Computed independently (shallow-arc form, which is high by about s^2 / (40 R^2), here 1.2e-4)."""
    exact = stepover_for_ra_mm(mean_um, radius)
    assert exact < step
    assert exact == pytest.approx(step, rel=1.5e-4)


def test_stepover_for_a_height():
    """Computed independently (exact form): Rz 4 um under a ball of radius 5."""
    assert stepover_mm(0.004, 5.0) == printed("0.3999200")


@pytest.mark.parametrize(
    ("diameter", "depth", "effective"),
    [
        (10.0, 0.1, "1.989975"),
        (10.0, 0.2, "2.8"),
        (10.0, 0.5, "4.358899"),
        (10.0, 5.0, "10"),
        (6.0, 0.1, "1.536229"),
        (12.0, 0.3, "3.746999"),
        (0.5, 0.010, "0.14"),
    ],
)
def test_effective_diameter(diameter, depth, effective):
    """Computed independently; "Basic math for ballnose tools", Modern Machine Shop, Nov 2003 (excerpt)."""
    assert effective_diameter_mm(depth, diameter) == pytest.approx(float(effective), abs=1e-6)


@pytest.mark.parametrize(
    ("tilt", "effective"),
    [
        (0.0, "2.800000"),
        (5.0, "3.626040"),
        (10.0, "4.424484"),
        (15.0, "5.189255"),
        (20.0, "5.914533"),
        (30.0, "7.224871"),
        (45.0, "8.768124"),
        (60.0, "9.713844"),
        (75.0, "10.000000"),
    ],
)
def test_effective_diameter_of_a_tilted_ball(tilt, effective):
    """Computed independently; common trade formula (from memory, not read): diameter 10, depth 0.2."""
    assert effective_diameter_mm(0.2, 10.0, tilt) == printed(effective)


@pytest.mark.parametrize(
    ("diameter", "angle", "circle"),
    [
        (10.0, 0.0, "0.000000"),
        (10.0, 5.0, "0.871557"),
        (10.0, 15.0, "2.588190"),
        (10.0, 30.0, "5.000000"),
        (10.0, 45.0, "7.071068"),
        (12.7, 10.0, "2.2053"),
        (12.7, 15.0, "3.2870"),
        (12.7, 20.0, "4.3437"),
        (6.0, 45.0, "4.2426"),
    ],
)
def test_contact_diameter(diameter, angle, circle):
    """Computed independently (closed form)."""
    assert contact_diameter_mm(diameter, angle) == printed(circle)
    assert contact_diameter_mm(diameter, 0.0, angle) == printed(circle)


@pytest.mark.parametrize(
    ("diameter", "depth", "tilt"),
    [(10.0, 0.1, "11.4783"), (10.0, 0.2, "16.2602"), (10.0, 0.5, "25.8419"), (6.0, 0.1, "14.8351")],
)
def test_tilt_that_clears_the_tip(diameter, depth, tilt):
    """Computed independently (closed form)."""
    assert tip_clear_tilt_deg(depth, diameter) == printed(tilt)


def test_true_speed_of_a_light_cut():
    """Computed independently (closed form): diameter 10, depth 0.2; 150 m/min nominal is 42 m/min true."""
    assert 150.0 * effective_diameter_mm(0.2, 10.0) / 10.0 == pytest.approx(42.0)
    assert 150_000.0 / (np.pi * effective_diameter_mm(0.2, 10.0)) == printed("17052.3")
    assert 150_000.0 / (np.pi * effective_diameter_mm(0.2, 10.0, 15.0)) == printed("9201.03")


@pytest.mark.parametrize(
    ("tool_radius", "corner_radius", "depth", "effective"),
    [(5.0, 1.0, 0.2, "9.200000"), (5.0, 1.0, 0.5, "9.732051"), (6.0, 2.0, 0.3, "10.107131")],
)
def test_effective_diameter_of_a_bull_nose(tool_radius, corner_radius, depth, effective):
    """Computed independently (closed form)."""
    assert bull_nose_effective_diameter_mm(depth, tool_radius, corner_radius) == printed(effective)
