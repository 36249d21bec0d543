"""Colours of facets: each way of looking says what it claims to say."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.model import SMALL_FEATURES_SHAPE, ClassAreas, Neighbour, Plan
from advisor.pack.maps import colour_map
from advisor.pack.palette import CLASS_STYLES, NOT_ADVISED, STRATEGY_COLOURS, UNZONED, ZONE_COLOURS
from advisor.pack.zone_maps import slope_colours, zone_paints
from advisor.screen import colours


def only(rows):
    """The one colour of some facets."""
    found = {tuple(int(v) for v in row) for row in rows}
    assert len(found) == 1
    return found.pop()


def facets_of(plan, zone):
    return plan.facets.zone == zone.id


def with_zones(plan, change):
    return Plan(replace(plan.record, zones=tuple(change(zone) for zone in plan.zones)), plan.facets)


def test_class_colours_are_those_of_the_zone_map(ball_plan):
    painted = colour_map(ball_plan, "class").lit_colours
    slope_class = ball_plan.facets.slope_class
    for number, style in enumerate(CLASS_STYLES.values()):
        assert only(painted[slope_class == number]) == style.paint.lit
    dome = next(zone for zone in ball_plan.zones if zone.shape == "dome")
    assert set(slope_class[facets_of(ball_plan, dome)]) == {0, 1, 2}, "kept together, and of three colours"


def test_strategy_colours_are_grey_where_no_pass_is_usable(ball_plan):
    painted = colour_map(ball_plan, "strategy").lit_colours
    for zone in ball_plan.zones:
        usable = zone.advice.usable
        expected = STRATEGY_COLOURS[zone.advice.strategy] if usable else NOT_ADVISED
        assert only(painted[facets_of(ball_plan, zone)]) == expected
    assert len({zone.advice.usable for zone in ball_plan.zones}) == 2


def test_without_advice_every_facet_is_grey(ball_plan):
    bare = with_zones(ball_plan, lambda zone: replace(zone, advice=None))
    assert only(colour_map(bare, "strategy").lit_colours) == NOT_ADVISED


def test_zone_colours_tell_neighbours_apart(ball_plan):
    painted = colour_map(ball_plan, "zone").lit_colours
    of_zone = {zone.id: only(painted[facets_of(ball_plan, zone)]) for zone in ball_plan.zones}
    pairs = [(zone.id, near.zone) for zone in ball_plan.zones for near in zone.neighbours]
    assert pairs
    assert all(of_zone[one] != of_zone[other] for one, other in pairs)


@given(st.lists(st.tuples(st.integers(1, 12), st.integers(1, 12)), max_size=40))
def test_any_zones_with_few_neighbours_are_told_apart(pairs):
    near: dict[int, set[int]] = {k: set() for k in range(1, 13)}
    for one, other in pairs:
        if one != other and max(len(near[one]), len(near[other])) < len(ZONE_COLOURS) - 1:
            near[one].add(other)
            near[other].add(one)
    zones = tuple(
        type("Z", (), {"id": k, "shape": None, "neighbours": [Neighbour(n, 1.0, "tangent") for n in near[k]]})
        for k in near
    )
    of_zone = zone_paints(zones)
    assert all(of_zone[one] != of_zone[other] for one in near for other in near[one])


@pytest.mark.parametrize("mode", ["class", "zone"])
def test_small_features_and_facets_left_out_are_grey(ball_plan, mode):
    small = with_zones(ball_plan, lambda zone: replace(zone, shape=SMALL_FEATURES_SHAPE))
    assert only(colour_map(small, mode).lit_colours) == UNZONED.lit
    left_out = Plan(ball_plan.record, replace(ball_plan.facets, zone=np.full_like(ball_plan.facets.zone, -1)))
    assert only(colour_map(left_out, mode).lit_colours) == UNZONED.lit


def test_slope_colours_follow_the_published_scale():
    matplotlib = pytest.importorskip("matplotlib")
    table = np.array(matplotlib.colormaps["viridis"].colors)[::-1] * 255.0
    slopes = np.linspace(0.0, 90.0, 256)
    assert np.abs(slope_colours(slopes).astype(float) - table).max() < 6.0


def test_steeper_is_darker():
    lightness = slope_colours(np.linspace(0.0, 90.0, 91)).astype(float) @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(lightness) < 0.5).all()
    assert lightness[0] > 200.0
    assert lightness[-1] < 30.0


def test_undercut_facets_lie_off_the_slope_scale(ball_plan):
    painted = colour_map(ball_plan, "slope").lit_colours
    slope = ball_plan.facets.smooth_slope_deg
    assert only(painted[slope > 91.0]) == UNZONED.lit  # walls end 1 deg past vertical by default
    assert (painted[slope < 90.9] == slope_colours(slope[slope < 90.9])).all()


@given(st.integers(0, 255), st.integers(0, 255))
def test_fading_keeps_one_zone_and_greys_the_rest(kept_byte, other_byte):
    painted = np.array([[kept_byte] * 3, [other_byte] * 3], np.uint8)
    faded = colours.fade_all_but(painted, np.array([4, 9], np.int32), 4)
    assert (faded[0] == painted[0]).all()
    assert 205 <= int(faded[1].min()) <= int(faded[1].max()) <= 240


def test_legends_name_what_the_part_has_and_no_more(ball_plan):
    words = [text for _, text in colours.legend_of(colour_map(ball_plan, "class")).rows]
    assert [text.split()[0] for text in words] == ["flat", "shallow", "steep", "undercut"]
    level = with_zones(ball_plan, lambda zone: replace(zone, class_area_mm2=ClassAreas(zone.area_mm2, 0.0, 0.0, 0.0)))
    assert [text.split()[0] for _, text in colours.legend_of(colour_map(level, "class")).rows] == ["flat"]
    assert colours.legend_of(colour_map(ball_plan, "slope")).scale.ticks[-1] == (1.0, "90°")
    assert [text for _, text in colours.legend_of(colour_map(ball_plan, "strategy")).rows][
        -1
    ] == "no pass in this set-up"
