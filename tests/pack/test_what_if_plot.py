"""The plot of a what-if: points where they belong, styles that need no colour, the same bytes each time."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import solids
from hypothesis import given
from hypothesis import strategies as st

import advisor
from advisor.advice.what_if_records import WhatIf
from advisor.pack.page import Page, blank_page
from advisor.pack.palette import FAINT_INK, INK, PAPER
from advisor.pack.plot import DASHES, Curve, Dot, Level, axis_of, draw_marker, draw_panel
from advisor.pack.what_if_csv import what_if_csv
from advisor.pack.what_if_plot import what_if_page
from advisor.part.heal import heal
from advisor.part.measured import measure_part

BOX = (60.0, 20.0, 460.0, 320.0)
TEAL = (0, 120, 120)


@cache
def asked(zone: int | None = None, balls: str = "6, 10 mm") -> WhatIf:
    vertices, faces = solids.round_pocket(20.0, 8.0, 15.0)
    healed = heal(np.asarray(vertices, float), np.asarray(faces), "part")
    part = measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)
    return advisor.what_if(part, balls=balls, zone=zone, cusps="2, 5, 12 um", material="Ti-6Al-4V")


def pixels(page: Page) -> np.ndarray:
    return np.asarray(page.image).astype(int)


@given(st.lists(st.floats(1e-3, 1e5), min_size=1, max_size=8))
def test_an_axis_holds_its_values_and_has_ticks_inside(values: list[float]) -> None:
    axis = axis_of(values)
    assert axis.is_log == (max(values) / min(values) >= 4.0)
    shares = [axis.share(value) for value in sorted(values)]
    assert all(0.0 <= share <= 1.0 for share in shares)
    assert shares == sorted(shares)
    assert 1 <= len(axis.ticks) <= 16
    assert all(axis.low <= tick <= axis.high for tick in axis.ticks)


def test_a_power_law_is_a_straight_line_on_logarithmic_axes() -> None:
    steps = np.geomspace(0.1, 2.0, 7)
    across, up = axis_of([float(1 / step) for step in steps]), axis_of([float(step**2) for step in steps])
    assert across.is_log and up.is_log
    places = np.array([(across.share(float(1 / step)), up.share(float(step**2))) for step in steps])
    slope = np.diff(places[:, 1]) / np.diff(places[:, 0])
    np.testing.assert_allclose(slope, slope[0], rtol=1e-9)


def test_markers_stand_where_their_values_are_and_the_level_goes_right_across() -> None:
    page = blank_page(500, 360, 1.0)
    across, up = axis_of([10.0, 20.0]), axis_of([2.0, 12.0])
    dots = (Dot(10.0, 12.0, "a"), Dot(20.0, 2.0, "b", is_full=False))
    draw_panel(page, BOX, across, up, [Curve("one", dots, 0, TEAL)], Level(5.0, "target"))
    image = pixels(page)

    def at(x: float, y: float) -> tuple[int, ...]:
        left, top, right, bottom = BOX
        column = left + (right - left) * across.share(x)
        row = bottom - (bottom - top) * up.share(y)
        return tuple(image[math.floor(row), math.floor(column)])

    assert at(10.0, 12.0) == TEAL, "full"
    assert at(20.0, 2.0) == PAPER, "hollow"
    row = math.floor(BOX[3] - (BOX[3] - BOX[1]) * up.share(5.0))
    dark = (image[row, 61:459].sum(axis=1) < sum(FAINT_INK)).reshape(-1, 2).any(axis=1)
    assert dark.mean() > 0.6 and dark[:10].any() and dark[-10:].any()


def test_styles_differ_in_black_and_white() -> None:
    def shape(style: int) -> np.ndarray:
        page = blank_page(40, 40, 1.5)
        draw_marker(page, (20.0, 20.0), style, INK)
        return pixels(page).sum(axis=2) < 380

    shapes = [shape(style) for style in range(len(DASHES))]
    for one, other in itertools.combinations(shapes, 2):
        assert (one ^ other).sum() > 0.15 * (one | other).sum()
    assert len(set(DASHES)) == len(DASHES)


@pytest.mark.parametrize("zone", [None, 3])
def test_the_same_question_draws_the_same_page(zone: int | None) -> None:
    one, again = (pixels(what_if_page(asked(zone))) for _ in range(2))
    np.testing.assert_array_equal(one, again)
    assert (one.sum(axis=2) < 700).mean() > 0.01
    grey = one @ np.array([0.299, 0.587, 0.114])
    assert grey.min() < 60, "dark ink on paper"


def test_what_finishes_nothing_is_told() -> None:
    whole = asked()
    rows = tuple(replace(row, path_mm=None, total_min=None, cusp_p95_um=None) for row in whole.rows)
    page = pixels(what_if_page(replace(whole, rows=rows, quickest=None)))
    assert (page[200:] == 255).all()


def test_names_that_a_spreadsheet_would_run_are_only_shown() -> None:
    whole = asked()
    row = whole.rows[0]
    zones = (replace(row.zones[0], name="=1+1"), *row.zones[1:])
    text = what_if_csv(replace(whole, rows=(replace(row, zones=zones),)))
    assert ",'=1+1," in text and ",=1+1," not in text
