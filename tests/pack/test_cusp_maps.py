"""Maps of what passes leave: bands of the target, gouges apart from all else, and a relief that is lit aright."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_picture import domed_block, plan_of
from test_reach_maps import facet_middles, in_inches

from advisor.errors import InputError
from advisor.model import PassArrays
from advisor.pack import cut_close_up, picture
from advisor.pack.cusp_maps import GOUGE
from advisor.pack.maps import check_can_colour, colour_map, modes_of
from advisor.pack.palette import UNKNOWN, UNZONED
from advisor.pack.scales import ramp


@pytest.fixture(scope="module")
def plan():
    """The domed plate: what is left grows along x from 0 to 6 um, a gouge at one end, a strip that no pass reaches."""
    made = plan_of(domed_block().subdivide_to_size(1.5), quarters=True)
    x, y, _ = facet_middles(made).T
    cusp = np.select(
        [made.facets.slope_class == 3, x < -25, y > 15], [np.nan, -12.0, np.inf], 3.0 + x / 10
    ).astype(np.float32)  # fmt: skip
    return replace(made, facets=replace(made.facets, cusp_um=cusp))


def with_close_up(plan, heights, side_mm=3.0):
    one = np.array([plan.zones[0].id], np.int32)
    ends = np.array([[0.0, 0, 0], [1, 0, 0]])
    told = (
        np.asarray(heights, np.float32)[None], np.concatenate([np.zeros((1, 3)), np.eye(3)])[None],
        np.array([side_mm]), np.zeros(1, np.int32),
    )  # fmt: skip
    names = (np.array(["parallel_line"]), np.array(["finish"]), np.zeros(1, np.int32), np.zeros(1, bool))
    passes = PassArrays(ends, np.array([0, 2]), one, *names, ends.astype(np.float32), np.zeros(1, np.int32), *told)
    return replace(plan, passes=passes)


def test_bands_are_quarters_of_the_target_and_the_rest_is_named(plan):
    made, cusp = colour_map(plan, "cusp"), plan.facets.cusp_um
    assert [words for _, words in made.scale.ticks] == ["0", "1.25", "2.5", "3.75", "5", "6.25"]
    lit = made.lit_colours
    for here, paint in ((cusp < 0, GOUGE), (np.isinf(cusp), UNKNOWN), (np.isnan(cusp), UNZONED)):
        assert here.any() and {tuple(c) for c in lit[here].tolist()} == {paint.lit}
    told = np.isfinite(cusp) & (cusp >= 0)
    expected = np.array(ramp(5))[np.floor(cusp[told] / 1.25).astype(int)]
    np.testing.assert_array_equal(lit[told], expected)
    assert sum(row.share for row in made.rows) + sum(made.scale.shares) == pytest.approx(1.0)


def test_without_a_target_edges_are_round_and_inches_have_their_own_unit(plan):
    stages = (replace(plan.record.stages[-1], cusp_target_um=None, stepover_mm=0.4),)
    free = replace(plan, record=replace(plan.record, stages=stages))
    assert colour_map(free, "cusp").scale.ticks[1][1] == "1"
    inch = colour_map(in_inches(plan), "cusp")
    # 5 um are 196.85 millionths of an inch
    assert inch.scale.sign == "µin" and float(inch.scale.ticks[4][1]) == pytest.approx(196.85, rel=1e-3)


def test_a_plan_without_passes_says_what_to_do(plan):
    bare = replace(plan, facets=replace(plan.facets, cusp_um=None))
    assert "cusp" in modes_of(plan) and "cusp" not in modes_of(bare)
    with pytest.raises(InputError, match=r"--colour cusp: .*none were laid") as told:
        check_can_colour(bare, "cusp")
    assert "\n" not in str(told.value)
    nothing = np.full_like(plan.facets.cusp_um, np.nan)
    made = colour_map(replace(plan, facets=replace(plan.facets, cusp_um=nothing)), "cusp")
    assert made.scale is None and made.rows[-1].share == pytest.approx(1.0)


def test_the_map_does_not_hang_on_the_order_of_facets(plan):
    order = np.random.default_rng(5).permutation(len(plan.facets.faces))
    names = ("faces", "zone", "slope_deg", "smooth_slope_deg", "slope_class", "cusp_um")
    shuffled = replace(plan.facets, **{name: getattr(plan.facets, name)[order] for name in names})
    one, other = colour_map(plan, "cusp"), colour_map(replace(plan, facets=shuffled), "cusp")
    np.testing.assert_array_equal(one.index[order], other.index)
    assert one.scale.ticks == other.scale.ticks


def test_flanks_towards_the_light_are_brighter():
    """One ridge upright: its left flank looks to the light, its right one away; the ridge is where colours are dark."""
    n = 80
    x = (np.arange(n) + 0.5) / n - 0.5
    heights = np.broadcast_to(10.0 * np.maximum(0.0, 1.0 - np.abs(x) / 0.3), (n, n)).copy()
    heights[:10, :10], heights[-10:, :10] = np.nan, np.inf
    relief = cut_close_up.relief_of(heights, 3.0, 20.0, 10.0, 5.0).astype(int).sum(axis=2)
    assert relief[40, 30] > relief[40, 50] + 15
    assert (relief[:10, :10] == sum(UNZONED.lit)).all() and (relief[-10:, :10] == sum(UNKNOWN.lit)).all()
    below = cut_close_up.relief_of(np.full((n, n), -6.0), 3.0, 20.0, 10.0, 5.0)
    np.testing.assert_allclose(below[n // 2, n // 2], GOUGE.lit, atol=1)


@pytest.mark.parametrize("factor", [1.0, 3.0, 40.0])
def test_heights_are_drawn_a_round_number_of_times_near_45_degrees(factor):
    x = np.linspace(0, 12 * np.pi, 192)
    heights = np.broadcast_to(factor * np.sin(x) ** 2, (192, 192))
    times = cut_close_up.exaggeration(heights, 3.0)
    slopes = np.abs(np.diff(heights[0])) * times / (3000 / 192)
    assert 0.3 < np.quantile(slopes, 0.9) <= 0.91
    assert f"{times:.0e}"[0] in "125"
    assert cut_close_up.exaggeration(np.zeros((9, 9)), 3.0) == 1.0


def test_a_page_shows_the_close_up_of_its_own_zones_only(plan):
    size = {"width": 1200, "height": 900, "colour": "cusp"}
    x = np.linspace(0, 6 * np.pi, 64)
    seen = with_close_up(plan, np.broadcast_to(5 * np.sin(x) ** 2, (64, 64)))
    bare, page = picture.draw_zone_map(plan, **size), picture.draw_zone_map(seen, **size)
    assert page.tobytes() != bare.tobytes()
    assert page.tobytes() == picture.draw_zone_map(seen, **size).tobytes()
    other = replace(seen, passes=replace(seen.passes, zone=np.array([999], np.int32)))
    assert picture.draw_zone_map(other, **size).tobytes() == bare.tobytes()
    blank = with_close_up(plan, np.full((64, 64), np.nan))
    assert picture.draw_zone_map(blank, **size).tobytes() == bare.tobytes()
    colours = colour_map(seen, "class")
    assert cut_close_up.close_up_height(seen, colours) == 0
