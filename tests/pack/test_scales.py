"""Colours of the reach maps: even, told apart by every eye and in grey; round numbers that hold the part."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.pack import picture_legend, scales
from advisor.pack.colour_map import SHADE_OF_SCALES
from advisor.pack.colour_space import bytes_of, linear_rgb, oklab_of, shaded
from advisor.pack.page import blank_page, text_width
from advisor.pack.palette import CLASS_STYLES, REACH_PAINTS, UNKNOWN

# sRGB to XYZ: IEC 61966-2-1, D65. CIE L*a*b*: ISO/CIE 11664-4:2019. Numbers from memory; rows sum to D65's white.
XYZ_OF_RGB = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip  # noqa: E501

# Full loss of one kind of cone, on amounts of light: Machado, Oliveira & Fernandes 2009, doi 10.1109/TVCG.2009.113,
# from memory; greys stay grey, so rows sum to 1.
EYES = {
    "all cones": np.eye(3),
    "protan": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),  # noqa: E501
    "deutan": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),  # noqa: E501
    "tritan": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),  # noqa: E501
}  # fmt: skip


def cielab(colours, eye="all cones"):
    """(n, 3) L*a*b* of (n, 3) bytes as an eye sees them."""
    light = np.clip(linear_rgb(np.asarray(colours, float) / 255.0) @ EYES[eye].T, 0.0, 1.0)
    ratio = light @ XYZ_OF_RGB.T / XYZ_OF_RGB.sum(axis=1)
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)


def ciede2000(one, other):
    """Colour difference of L*a*b* rows: Sharma, Wu & Dalal 2005, doi 10.1002/col.20070."""
    (l1, a1, b1), (l2, a2, b2) = np.asarray(one, float).T, np.asarray(other, float).T
    chroma7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    more = 1 + 0.5 * (1 - np.sqrt(chroma7 / (chroma7 + 25.0**7)))
    c1, c2 = np.hypot(a1 * more, b1), np.hypot(a2 * more, b2)
    h1, h2 = (np.degrees(np.arctan2(b, a * more)) % 360 for a, b in ((a1, b1), (a2, b2)))
    grey = c1 * c2 == 0
    turn = np.where(grey, 0.0, (h2 - h1 + 180) % 360 - 180)
    hue = np.where(grey, h1 + h2, np.where(abs(h1 - h2) <= 180, (h1 + h2) / 2, (h1 + h2 + 360) / 2))
    wide = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    light, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    t = 1.0
    for size, times, shift in ((-0.17, 1, -30), (0.24, 2, 0), (0.32, 3, 6), (-0.20, 4, -63)):
        t = t + size * np.cos(np.radians(times * hue + shift))
    s_light = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    s_chroma, s_hue = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    blue = 60 * np.exp(-(((hue - 275) / 25) ** 2))
    twist = -2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * np.sin(np.radians(blue))
    dl, dc, dh = (l2 - l1) / s_light, (c2 - c1) / s_chroma, wide / s_hue
    return np.sqrt(dl**2 + dc**2 + dh**2 + twist * dc * dh)


@pytest.mark.parametrize(
    ("one", "other", "difference"),
    [
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, 3.1571, -77.2803), (50, 0, -82.7485), 2.8615),
        ((50, 0, 0), (50, -1, 2), 2.3669),
        ((50, 2.5, 0), (73, 25, -18), 27.1492),
        ((50, 2.5, 0), (61, -5, 29), 22.8977),
        ((50, 2.5, 0), (56, -27, -3), 31.9030),
        ((50, 2.5, 0), (58, 24, 15), 19.4535),
    ],
)
def test_colour_difference_of_sharma_wu_dalal_table_1(one, other, difference):
    """Rows of the published table, from memory."""
    assert ciede2000([one], [other])[0] == pytest.approx(difference, abs=5e-5)


def test_eyes_keep_greys():
    for matrix in EYES.values():
        np.testing.assert_allclose(matrix.sum(axis=1), 1.0, atol=2e-6)


# -- OKLab ------------------------------------------------------------------------------------------------------


def test_oklab_of_white_grey_and_the_published_primaries():
    """White is 1, 0, 0, greys have no hue; red 0.628, 0.225, 0.126 as in samples of CSS Color 4, from memory."""
    lab = oklab_of(np.array([[255.0, 255.0, 255.0], [119.0, 119.0, 119.0], [255.0, 0.0, 0.0]]))
    np.testing.assert_allclose(lab[0], [1.0, 0.0, 0.0], atol=1e-6)
    np.testing.assert_allclose(lab[1, 1:], 0.0, atol=1e-6)
    np.testing.assert_allclose(lab[2], [0.628, 0.225, 0.126], atol=5e-4)


@given(st.lists(st.tuples(*[st.integers(0, 255)] * 3), min_size=1, max_size=20))
def test_oklab_comes_back(colours):
    colours = np.array(colours, float)
    np.testing.assert_allclose(bytes_of(oklab_of(colours)), colours, atol=1e-3)


@given(st.tuples(*[st.integers(30, 255)] * 3))
def test_shade_is_darker_and_of_the_same_hue(colour):
    one, other = oklab_of(np.array([colour, shaded(colour, 0.8)], float))
    assert other[0] == pytest.approx(0.8 * one[0], abs=0.006)
    np.testing.assert_allclose(other[1:], 0.8 * one[1:], atol=0.012)


# -- the ramp ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("eye", EYES)
def test_the_ramp_falls_in_lightness_for_every_eye(eye):
    lightness = cielab(scales.ramp(64), eye)[:, 0]
    assert (np.diff(lightness) < -0.3).all()
    assert lightness[0] > 85.0 and lightness[-1] < 25.0


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("count", range(2, scales.MOST_BANDS + 1))
def test_neighbours_of_a_legend_are_told_apart(eye, count):
    lab = cielab(scales.ramp(count), eye)
    assert ciede2000(lab[:-1], lab[1:]).min() >= 10.0


def test_the_ramp_is_even_and_every_screen_shows_it():
    # lightness is what every eye sees of the ramp: even steps of it, by the formula of the difference of greys
    lightness = np.stack([cielab(scales.ramp(24))[:, 0], np.zeros(24), np.zeros(24)], axis=1)
    steps = ciede2000(lightness[:-1], lightness[1:])
    assert steps.max() / steps.min() < 1.2  # rounding to bytes
    assert all(0 <= value <= 255 for colour in scales.ramp(256) for value in colour)
    assert len(set(scales.ramp(200))) == 200


def test_no_hue_of_the_ramp_is_that_of_a_slope_class():
    def hue_deg(colours):
        lab = oklab_of(np.array(colours, float))
        return np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))

    classes = hue_deg([style.paint.lit for style in CLASS_STYLES.values()])
    apart = np.abs((hue_deg(scales.ramp(16))[:, None] - classes + 180) % 360 - 180)
    assert apart.min() > 35.0


def test_shade_of_a_band_is_nearer_to_it_than_the_second_next_band():
    colours = scales.ramp(scales.MOST_BANDS)
    lightness = cielab(colours)[:, 0]
    shade = cielab([shaded(colour, SHADE_OF_SCALES) for colour in colours])[:, 0]
    assert (shade[:-2] > lightness[2:]).all()


# -- the four kinds of reach ------------------------------------------------------------------------------------


@pytest.mark.parametrize("eye", EYES)
def test_kinds_of_reach_are_told_apart_by_every_eye(eye):
    lab = cielab([paint.lit for paint in REACH_PAINTS], eye)
    for one, other in itertools.combinations(range(len(lab)), 2):
        assert ciede2000(lab[[one]], lab[[other]])[0] >= 15.0, (one, other)


def test_kinds_of_reach_are_told_apart_in_a_grey_copy_in_light_and_shade():
    spans = sorted((cielab([p.dark])[0, 0], cielab([p.lit])[0, 0]) for p in REACH_PAINTS)
    for (_, lit), (dark, _) in itertools.pairwise(spans):
        assert dark - lit >= 4.0
    assert REACH_PAINTS[2].hatch is not None and UNKNOWN.hatch is not None


# -- round numbers ----------------------------------------------------------------------------------------------


@given(st.floats(0.0, 1e4), st.floats(0.0, 1e4))
def test_round_edges_hold_the_values_in_few_even_bands(low, span):
    edges = scales.round_edges(low, low + span)
    slack = 2e-6 * (edges[1] - edges[0]) + 1e-9 * low
    assert edges[0] <= low + slack and edges[-1] >= low + span - slack
    assert 1 <= len(edges) - 1 <= scales.MOST_BANDS
    step = edges[-1] - edges[0]
    np.testing.assert_allclose(np.diff(edges), step / (len(edges) - 1), rtol=1e-4)
    if span > 0.1 * low + 1e-3:
        assert len(edges) - 1 >= 3
        assert f"{(edges[1] - edges[0]):.3e}"[:3] in ("1.0", "2.0", "2.5", "5.0")


@given(st.floats(0.0, 60.0), st.floats(0.0, 60.0))
def test_edges_of_a_shelf_hold_the_values(one, other):
    shelf = (0.0, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 32.0, 50.0)
    low, high = sorted((one, other))
    edges = scales.edges_among(shelf, low, high)
    assert set(edges) <= set(shelf) and list(edges) == sorted(set(edges))
    assert 1 <= len(edges) - 1 <= scales.MOST_BANDS
    assert edges[0] <= low or low > 32.0
    assert edges[-1] > high or edges[-1] == 50.0


@given(st.lists(st.tuples(st.floats(0, 9), st.floats(0.01, 5)), min_size=1, max_size=30), st.floats(0.01, 1.0))
def test_a_robust_end_counts_area_not_facets(rows, share):
    values, areas = np.array(rows).T
    end = scales.share_below(values, areas, share)
    assert areas[values <= end].sum() >= share * areas.sum() * (1 - 1e-9)
    assert areas[values < end].sum() <= share * areas.sum() * (1 + 1e-9)
    # the same surface in halves, in another order
    assert scales.share_below(np.tile(values, 2)[::-1], np.tile(areas / 2, 2)[::-1], share) == end


def test_one_bad_spot_does_not_squeeze_the_rest():
    values, areas = np.append(np.linspace(0.0, 0.4, 500), 7.5), np.append(np.ones(500), 0.1)
    assert scales.round_edges(0.0, scales.share_below(values, areas, 0.99))[-1] == 0.4


def test_values_fall_into_their_band_and_edges_into_the_one_above():
    edges = (1.0, 2.0, 3.0, 4.0)
    values = np.array([-5.0, 1.0, 1.99, 2.0, 2.5, 3.0, 4.0, 99.0, np.inf])
    assert scales.bands_of(values, edges).tolist() == [0, 0, 0, 1, 1, 2, 2, 2, 2]


@given(st.lists(st.floats(0, 1e5), min_size=2, max_size=9, unique=True), st.floats(30, 500))
def test_numbers_below_a_bar_never_touch(numbers, width):
    page = blank_page(4, 4, 1.0)
    count = len(numbers) - 1
    ticks = tuple((k / count, f"{number:.4g}") for k, number in enumerate(sorted(numbers)))
    kept = picture_legend.spaced_ticks(page, scales.Scale(scales.ramp(count), ticks, "mm"), width)
    assert kept and kept[0][0] == 0.0
    spans = []
    for place, words, anchor in kept:
        wide = text_width(page, words, 13)
        start = place * width - {"l": 0.0, "m": wide / 2, "r": wide}[anchor[0]]
        spans.append((start, start + wide))
    assert all(one[1] < other[0] for one, other in itertools.pairwise(spans))
