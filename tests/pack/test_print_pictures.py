"""Pictures for print and for other pages: patterns in black, nothing in place of paper; and the map of minutes."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import solids
from PIL import Image
from test_picture import domed_block, plan_of

import advisor
from advisor.errors import InputError
from advisor.model import STRATEGIES, Plan
from advisor.pack import picture
from advisor.pack.camera import fit, fixed_view
from advisor.pack.colour_map import facet_areas
from advisor.pack.hatched import in_hatching, tone
from advisor.pack.maps import COLOUR_MODES, check_can_colour, colour_map, modes_of
from advisor.pack.minutes_map import zone_minutes
from advisor.pack.page import blank_page, clear_page, draw_line, fill_box, fill_pattern, paste, without_paper, write
from advisor.pack.palette import STRATEGY_COLOURS, Paint, Pattern
from advisor.pack.shade import draw, make_solid, painted

SIZE = {"width": 640, "height": 480}


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    """A pocket with advice and minutes, its floor, fillet and wall apart."""
    part = tmp_path_factory.mktemp("print") / "pocket.stl"
    part.write_bytes(solids.to_stl_bytes(*solids.round_pocket(chord_error_mm=0.1)))
    job = {"zones": {"keep_together": False}}
    return advisor.plan(part, job, ball="6 mm", material="Ti-6Al-4V", lays_passes=False)


# -- patterns ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mode", [mode for mode in COLOUR_MODES if mode not in ("cusp", "stick_out")])
def test_a_hatched_page_has_no_colour_and_no_two_patterns_alike(told: Plan, mode: Any) -> None:
    image = np.asarray(picture.draw_zone_map(told, colour=mode, hatch=True, **SIZE))
    assert (image == image[:, :, :1]).all()
    assert (np.asarray(picture.draw_zone_map(told, colour=mode, **SIZE)) != image).any()
    plain = colour_map(told, mode)
    hatched = in_hatching(plain)
    np.testing.assert_array_equal(hatched.index, plain.index)
    looks = [(paint.lit, paint.hatch and paint.pattern) for paint in hatched.paints]
    assert len(set(looks)) == len(set(plain.paints))
    if mode != "slope":  # whose steps are finer than any eye tells
        for one, other in itertools.combinations(hatched.paints, 2):
            assert differ(one, other), (one, other)


def differ(one: Paint, other: Paint) -> bool:
    """Whether two patterns differ in what is told at a glance: lean, crossing, ground, or how dense they are."""
    if one.lit != other.lit or (one.hatch is None) != (other.hatch is None):
        return True
    a, b = one.pattern, other.pattern
    return (a.lean_deg, a.is_crossed) != (b.lean_deg, b.is_crossed) or abs(tone(one)[0] - tone(other)[0]) >= 20


def test_bands_in_hatching_grow_denser_as_their_colours_grow_darker(told: Plan) -> None:
    plain = colour_map(told, "minutes")
    hatched = in_hatching(plain)
    assert plain.scale is not None and hatched.scale is not None
    tones = [colour[0] for colour in hatched.scale.colours]
    assert all(one - other >= 20 for one, other in itertools.pairwise(tones))
    assert hatched.paints[: len(tones)] == hatched.scale.paints
    assert "enser" in hatched.caption and "arker" not in hatched.caption


def test_a_strategy_has_one_pattern_whatever_others_the_plan_has(told: Plan) -> None:
    paints = colour_map(told, "strategy").paints
    of_name = {name: Paint(lit, lit) for name, lit in STRATEGY_COLOURS.items()}
    for kept in itertools.combinations(STRATEGIES, 2):
        some = replace(colour_map(told, "strategy"), paints=(*(of_name[name] for name in kept), paints[-1]))
        alone = in_hatching(replace(some, rows=(), marks={}))
        every = in_hatching(replace(some, paints=tuple(of_name.values()), rows=(), marks={}))
        places = [list(STRATEGY_COLOURS).index(name) for name in kept]
        assert [paint.pattern for paint in alone.paints[:2]] == [every.paints[k].pattern for k in places]


@pytest.mark.parametrize("is_crossed", [False, True])
@pytest.mark.parametrize("lean_deg", [0.0, 25.0, 90.0, 135.0])
def test_as_much_of_the_part_and_of_the_legend_is_line_as_the_pattern_says(lean_deg: float, is_crossed: bool) -> None:
    """A level plate seen from above: all of it in one light, so pixels tell lines from ground."""
    share = 0.3
    paint = Paint((255, 255, 255), (255, 255, 255), (0, 0, 0), Pattern(lean_deg, 10.0, share, is_crossed))
    wanted = 1 - (1 - share) ** 2 if is_crossed else share
    page = blank_page(400, 300, 1.0)
    fill_pattern(page, (0, 0, 400, 300), paint)
    assert 1 - np.asarray(page.image).mean() / 255 == pytest.approx(wanted, abs=0.02)
    plan = plan_of(domed_block())
    solid = make_solid(plan)
    solid = replace(solid, paint=np.zeros(len(solid.faces), np.uint8), paints=(paint,))
    drawing = draw(solid, fit(fixed_view(np.eye(3), "top"), solid.vertices, 900, 700, 6.0))
    deep = (drawing.zone > 0) & ~drawing.lines
    assert 1 - drawing.pixels[deep].mean() / 255 == pytest.approx(wanted, abs=0.04)
    assert tone(paint)[0] == pytest.approx(255 - wanted * (255 - 27), abs=1)


def test_borders_of_zones_are_black_in_hatching_and_white_in_colour() -> None:
    plan = plan_of(domed_block().subdivide_to_size(2.0), quarters=True)
    solid, colours = make_solid(plan), colour_map(plan, "class")
    where = fit(fixed_view(np.eye(3), "top"), solid.vertices, 500, 400, 6.0)
    # the border of two quarters of the land, along X: beyond the dome, short of the rim
    row, off = round(where.top), round(2.5 * where.pixels_per_mm)
    columns = slice(round(where.left + 17 * where.pixels_per_mm), round(where.left + 27 * where.pixels_per_mm))
    plain = draw(painted(solid, colours), where).pixels[row - off : row + off, columns]
    hatched = draw(painted(solid, in_hatching(colours)), where).pixels[row - off : row + off, columns]
    assert (plain.min(axis=2).max(axis=0) > 200).all() and (hatched.max(axis=2).min(axis=0) < 110).all()


# -- nothing in place of paper ----------------------------------------------------------------------------------


@pytest.mark.parametrize("options", [{}, {"hatch": True}, {"colour": "zone", "view": "top"}])
def test_laid_on_white_a_transparent_picture_is_the_page(told: Plan, options: Any) -> None:
    page = picture.draw_zone_map(told, **SIZE, **options)
    clear = picture.draw_zone_map(told, transparent=True, **SIZE, **options)
    assert clear.mode == "RGBA" and clear.size == page.size
    laid = Image.new("RGBA", page.size, "white")
    laid.alpha_composite(clear)
    off = np.abs(np.asarray(laid.convert("RGB"), int) - np.asarray(page, int))
    assert off.max() <= 2  # rounding, twice
    alpha = np.asarray(clear)[:, :, 3]
    assert alpha[0].max() == 0 and alpha[-1].max() == 0 and 0.15 < (alpha == 255).mean() < 0.8
    assert (np.asarray(page)[alpha == 0] == 255).all(), "what is clear was bare paper"


def test_white_that_was_drawn_stays_white_and_edges_are_clean() -> None:
    page = clear_page(60, 40, 1.0)
    draw_line(page, (5, 5, 55, 20), (200, 0, 0), 3.0)
    fill_box(page, (10, 22, 50, 38), (255, 255, 255), 4.0)
    write(page, (20, 34), "7", 12)
    paste(page, Image.new("RGB", (4, 4), (0, 0, 255)), (52, 30), Image.new("L", (4, 4), 128))
    clear = np.asarray(without_paper(page))
    assert tuple(clear[30, 40]) == (255, 255, 255, 255)
    edge = (clear[:21, :, 3] > 20) & (clear[:21, :, 3] < 235)
    assert edge.sum() > 20
    # half covered pixels of a red line are red, not pink: no paper shines through on another ground
    np.testing.assert_allclose(clear[:21][edge][:, :3], np.broadcast_to([200, 0, 0], (edge.sum(), 3)), atol=14)


# -- minutes ----------------------------------------------------------------------------------------------------


def test_a_zone_has_the_band_of_its_minutes(told: Plan) -> None:
    made = colour_map(told, "minutes")
    assert made.scale is not None and "minutes" in modes_of(told)
    edges = [float(words) for _, words in made.scale.ticks]
    areas = facet_areas(told)
    for zone in told.zones:
        (band,) = set(made.index[told.facets.zone == zone.id].tolist())
        minutes = zone_minutes(zone)
        if np.isnan(minutes):
            assert band == len(made.paints) - 1
            continue
        assert minutes == pytest.approx(sum(step.total_min for step in zone.steps))
        assert edges[band] <= minutes <= edges[band + 1]
    cut = [zone for zone in told.zones if not np.isnan(zone_minutes(zone))]
    assert sum(zone_minutes(zone) for zone in cut) == pytest.approx(told.record.totals.total_min)
    assert sum(made.scale.shares) == pytest.approx(sum(zone.area_mm2 for zone in cut) / areas.sum())


def test_a_plan_without_a_material_says_what_to_do() -> None:
    plan = plan_of(domed_block())
    assert "minutes" not in modes_of(plan)
    for ask in (check_can_colour, colour_map):
        with pytest.raises(InputError, match=r"--colour minutes: this plan knows no minutes: .* with --material"):
            ask(plan, "minutes")
