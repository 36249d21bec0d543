"""Maps of reach: the right paint in the right place, honest legends, arrays kept bit for bit."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from test_picture import assert_labels_keep_clear, domed_block, plan_of

from advisor.advice.facet_parts import STEPS, with_parts
from advisor.errors import InputError
from advisor.intake.saved import read_plan_folder
from advisor.model import Setting
from advisor.pack import labelled_view, picture, picture_key, picture_legend
from advisor.pack import page as sheet
from advisor.pack.camera import fit, fixed_view
from advisor.pack.folder import write_plan_folder
from advisor.pack.labels import place_labels
from advisor.pack.lengths import INCH
from advisor.pack.maps import COLOUR_MODES, check_can_colour, colour_map, modes_of
from advisor.pack.palette import FREE, REACH_PAINTS, UNKNOWN, UNZONED
from advisor.pack.reach_maps import _size, drawn_plan
from advisor.pack.scales import ramp
from advisor.pack.shade import draw, make_solid, painted

ARRAYS = ("reach", "needed_ball_mm", "leftover_mm", "stick_out_mm")
MODE_OF = dict(zip(ARRAYS, ("reach", "ball", "leftover", "stick_out"), strict=True))
OF_REACH = tuple(MODE_OF.values())
# What passes leave, and minutes, have tests of their own.
KNOWN_MODES = tuple(mode for mode in COLOUR_MODES if mode not in ("cusp", "minutes"))


def facet_middles(plan):
    return plan.facets.vertices[plan.facets.faces].mean(axis=1)


@pytest.fixture(scope="module")
def plan():
    """The domed plate in small facets, with numbers that are plain functions of the place."""
    mesh = domed_block().subdivide_to_size(1.5)
    made = plan_of(mesh, quarters=True)
    x, y, z = facet_middles(made).T
    under = made.facets.slope_class == 3
    reach = np.where(under, 3, np.where(x < -10, 1, np.where(x > 10, 2, 0))).astype(np.int8)
    ball = np.where(under, np.nan, np.where(z > 1, np.inf, 1.0 + (x + 30) / 6)).astype(np.float32)
    left = np.where(under, np.nan, np.where(x < 0, 0.0, x / 100)).astype(np.float32)
    stick_out = np.where(under, np.nan, 40.0 - z + y / 10).astype(np.float32)
    arrays = dict(zip(ARRAYS, (reach, ball, left, stick_out), strict=True))
    return replace(made, facets=replace(made.facets, **arrays))


def in_inches(plan):
    return replace(
        plan, record=replace(plan.record, settings=(*plan.record.settings, Setting("unit", "inch", "job file")))
    )


def from_above(plan, mode):
    """Pixels from the spindle, with the x and y (mm) of each, and where no line runs."""
    solid = painted(make_solid(plan), colour_map(plan, mode))
    drawing = draw(solid, fit(fixed_view(np.eye(3), "top"), solid.vertices, 600, 500, 6.0))
    row, column = np.mgrid[0 : drawing.fit.height, 0 : drawing.fit.width] + 0.5
    x = (column - drawing.fit.left) / drawing.fit.pixels_per_mm
    y = (drawing.fit.top - row) / drawing.fit.pixels_per_mm
    clear = (drawing.zone > 0) & ~drawing.lines
    for turn, axis in itertools.product((1, -1), (0, 1)):
        clear &= ~np.roll(drawing.lines, turn, axis)
    return drawing.pixels.astype(float), x, y, clear


def is_of(pixels, paint):
    """Whether colours lie between light and shade of a paint, or on its hatch lines."""
    lit, dark = np.array(paint.lit, float), np.array(paint.dark, float)
    ends = [(dark, lit)] + (
        [] if paint.hatch is None else [(dark, np.array(paint.hatch, float)), (lit, np.array(paint.hatch, float))]
    )
    gaps = []
    for start, end in ends:
        way = end - start
        along = np.clip((pixels - start) @ way / (way @ way), 0, 1)
        gaps.append(np.abs(pixels - start - along[..., None] * way).max(axis=-1))
    return np.minimum.reduce(gaps) < (3.0 if paint.hatch is None else 12.0)


def test_reach_has_its_four_paints_where_they_belong(plan):
    pixels, x, _, clear = from_above(plan, "reach")
    margin = 2.5  # mm, more than a facet
    for paint, here in (
        (REACH_PAINTS[1], x < -10 - margin),
        (REACH_PAINTS[0], np.abs(x) < 10 - margin),
        (REACH_PAINTS[2], x > 10 + margin),
    ):
        assert (clear & here).sum() > 5000
        # a pixel or two lie half on a line
        assert is_of(pixels[clear & here], paint).mean() > 0.998
        others = [other for other in REACH_PAINTS if other is not paint]
        assert not any(is_of(pixels[clear & here], other).mean() > 0.02 for other in others)


def test_leftover_grows_band_by_band_along_x(plan):
    made = colour_map(plan, "leftover")
    assert made.scale.ticks[0] == (0.0, "0") and made.scale.ticks[-1] == (1.0, "0.3")
    colours = ramp(len(made.scale.colours))
    assert made.scale.colours == colours
    pixels, x, _, clear = from_above(plan, "leftover")
    assert is_of(pixels[clear & (x < -2)], FREE).mean() > 0.998
    width = 30.0 / len(colours)
    for k in range(len(colours)):
        here = clear & (np.abs(x - (k + 0.5) * width) < 0.5)
        assert is_of(pixels[here], made.paints[k]).mean() > 0.97
        assert made.paints[k].lit == colours[k]


def test_a_tighter_place_is_darker_and_any_ball_is_free(plan):
    made = colour_map(plan, "ball")
    assert made.scale.colours == ramp(len(made.scale.colours))[::-1]
    assert [words for _, words in made.scale.ticks][:3] == ["1", "2", "3"]
    facets = plan.facets
    free = np.isinf(facets.needed_ball_mm)
    unknown = np.isnan(facets.needed_ball_mm)
    lit = made.lit_colours
    assert {tuple(colour) for colour in lit[free].tolist()} == {FREE.lit}
    assert {tuple(colour) for colour in lit[unknown].tolist()} == {UNKNOWN.lit}
    told = ~free & ~unknown
    order = np.argsort(facets.needed_ball_mm[told])
    assert (np.diff(lit[told][order].sum(axis=1).astype(int)) >= 0).all()


def test_balls_larger_than_the_shelf_set_no_limit(plan):
    """Bands end where anything fits; of balls of a list, as earlier versions have it, the largest is a band."""
    x = facet_middles(plan)[:, 0]
    ball = np.select([x < -10, x < 10], [8.0, 10.0], 55.0).astype(np.float32)
    made = colour_map(replace(plan, facets=replace(plan.facets, needed_ball_mm=ball)), "ball")
    assert [words for _, words in made.scale.ticks] == ["8", "10", "12"]
    assert {tuple(colour) for colour in made.lit_colours[ball == 55.0].tolist()} == {FREE.lit}
    assert made.rows[0].words == "of 50 mm and more"
    assert made.lit_colours[ball == 8.0].max() < made.lit_colours[ball == 10.0].max()
    listed = colour_map(replace(plan, facets=replace(plan.facets, needed_ball_mm=np.minimum(ball, 16.0))), "ball")
    assert listed.rows[0].share == 0.0 and listed.scale.ticks[-1][1] == "20"


def test_a_large_facet_is_drawn_in_its_parts():
    """A plate of a dozen facets, half of whose top is left over: the picture has the line."""
    made = plan_of(trimesh.creation.box((60, 40, 10)))
    facets, top = made.facets, made.facets.slope_deg < 1
    cuts = 1 << 5
    u, v = np.meshgrid(np.arange(cuts), np.arange(cuts), indexing="ij")
    below = (u + v < cuts).ravel()
    corner = np.stack([u, v], axis=-1).reshape(-1, 1, 2)
    up = (corner + np.array([(0, 0), (1, 0), (0, 1)]))[below]
    down = (corner + np.array([(1, 0), (1, 1), (0, 1)]))[below & (u + v + 1 < cuts).ravel()]
    one = np.concatenate([up, down]) * (STEPS // cuts)
    corners = np.concatenate([one] * int(top.sum())).astype(np.uint16)
    bare = replace(
        facets, parts=np.where(top, len(one), 0).astype(np.int32), part_corner=corners,
        reach=np.where(top, 0, 3).astype(np.int8),
    )  # fmt: skip
    middles = facet_middles(replace(made, facets=with_parts(replace(bare, reach=None))))[-len(corners) :]
    reach = np.where(middles[:, 0] < 7, 0, 1).astype(np.int8)
    whole = replace(made, facets=replace(bare, part_reach=reach))
    drawn = drawn_plan(whole, "reach")
    assert drawn_plan(whole, "class") is whole and len(drawn.facets.faces) > 1000
    pixels, x, y, clear = from_above(drawn, "reach")
    clear &= np.abs(y) < 18
    for paint, here in ((REACH_PAINTS[0], x < 7 - 3), (REACH_PAINTS[1], (x > 7 + 3) & (x < 28))):
        assert is_of(pixels[clear & here], paint).mean() > 0.99


def test_what_the_job_leaves_out_is_plain(plan):
    zone = plan.facets.zone.copy()
    zone[zone == 1] = -1
    bare = replace(plan, facets=replace(plan.facets, zone=zone))
    for mode in OF_REACH:
        made = colour_map(bare, mode)
        assert {tuple(colour) for colour in made.lit_colours[zone == -1].tolist()} == {UNZONED.lit}
        assert made.rows[-1].name == "left out" and made.rows[-1].share > 0
        assert "left out" not in [row.name for row in colour_map(plan, mode).rows]


@pytest.mark.parametrize("mode", KNOWN_MODES)
def test_a_map_does_not_hang_on_the_order_of_facets(plan, mode):
    order = np.random.default_rng(3).permutation(len(plan.facets.faces))
    names = ("faces", "zone", "slope_deg", "smooth_slope_deg", "slope_class", *ARRAYS)
    shuffled = {name: getattr(plan.facets, name)[order] for name in names}
    one = colour_map(plan, mode)
    other = colour_map(replace(plan, facets=replace(plan.facets, **shuffled)), mode)
    np.testing.assert_array_equal(one.index[order], other.index)
    assert [row.name for row in one.rows] == [row.name for row in other.rows]
    for mine, theirs in zip(one.rows, other.rows, strict=True):
        assert mine.share == pytest.approx(theirs.share, abs=1e-12)


@pytest.mark.parametrize("mode", OF_REACH)
def test_shares_of_a_legend_are_those_of_the_area(plan, mode):
    made = colour_map(plan, mode)
    bands = () if made.scale is None else made.scale.shares
    assert sum(row.share for row in made.rows) + sum(bands) == pytest.approx(1.0)
    for zone, mark in made.marks.items():
        here = plan.facets.zone == zone
        assert {colour for colour, _ in mark.strip} <= {tuple(c) for c in made.lit_colours[here].tolist()}


def test_a_plan_without_numbers_still_has_a_legend(plan):
    empty = np.full(len(plan.facets.faces), np.nan, np.float32)
    for name in ARRAYS[1:]:
        made = colour_map(replace(plan, facets=replace(plan.facets, **{name: empty})), MODE_OF[name])
        assert made.scale is None and made.rows[-1].share == pytest.approx(1.0)
        picture.draw_zone_map(
            replace(plan, facets=replace(plan.facets, **{name: empty})), width=640, height=480, colour=MODE_OF[name]
        )
    zero = np.zeros_like(empty)
    made = colour_map(replace(plan, facets=replace(plan.facets, leftover_mm=zero)), "leftover")
    assert made.scale is None and made.rows[0].share == pytest.approx(1.0)
    same = np.full_like(empty, 40.0)
    made = colour_map(replace(plan, facets=replace(plan.facets, stick_out_mm=same)), "stick_out")
    assert made.scale.ticks[0][1] == "40" and made.note == "least 40 mm, greatest 40 mm"


def test_one_bad_spot_is_told_and_does_not_make_the_scale(plan):
    left = plan.facets.leftover_mm.copy()
    left[np.nanargmax(left)] = 7.5
    made = colour_map(replace(plan, facets=replace(plan.facets, leftover_mm=left)), "leftover")
    assert made.scale.ticks[-1] == (1.0, "0.3") and made.scale.open_high
    assert made.note.endswith("greatest 7.5 mm")


def test_scales_are_in_the_unit_of_the_job(plan):
    inch = colour_map(in_inches(plan), "stick_out")
    assert inch.scale.sign == "in" and inch.note.split()[2] == "in,"
    assert 1.0 <= float(inch.scale.ticks[0][1]) <= 26.0 / 25.4 * 1.6
    assert colour_map(in_inches(plan), "ball").scale.ticks[0][1] == "1/32"
    assert [_size(size, INCH) for size in (0.0, 0.1875, 1.0, 1.25)] == ["0", "3/16", "1", "1 1/4"]


# -- the page ---------------------------------------------------------------------------------------------------


def words_on_paper(monkeypatch, width_of):
    """What is written, as boxes in pixels."""
    boxes = []

    def watch(page, at, words, size=14, colour=None, *, bold=False, anchor="ls"):
        wide = width_of(page, words, size, bold)
        left = at[0] - {"l": 0.0, "m": wide / 2, "r": wide}[anchor[0]]
        top = at[1] - (size * 0.75 if anchor[1] == "s" else size / 2) * page.scale
        boxes.append((words, left, top, left + wide, top + size * 0.75 * page.scale))

    for module in (picture_legend, picture_key):
        monkeypatch.setattr(module, "write", watch)
    return boxes


@pytest.mark.parametrize("scale", [0.5, 1.0, 2.3])
@pytest.mark.parametrize("mode", KNOWN_MODES)
@pytest.mark.parametrize("inches", [False, True])
def test_words_of_a_legend_never_overlap(plan, mode, scale, inches, monkeypatch):
    boxes = words_on_paper(monkeypatch, sheet.text_width)
    made = colour_map(in_inches(plan) if inches else plan, mode)
    page = sheet.blank_page(round(520 * scale), round(420 * scale), scale)
    end = picture_legend.draw_legend(page, (10 * scale, 30 * scale, 506 * scale, 420 * scale), made)
    assert end == pytest.approx((30 + picture_legend.legend_height(made)) * scale)
    for one, other in itertools.combinations([box for box in boxes if box[0]], 2):
        assert one[3] <= other[1] or other[3] <= one[1] or one[4] <= other[2] or other[4] <= one[2], (one, other)
    for words, left, _, right, bottom in boxes:
        assert left >= 10 * scale - 1 and right <= 506 * scale + 1 and bottom <= end + 1, words


@pytest.mark.parametrize("mode", OF_REACH)
def test_labels_of_a_reach_page_keep_clear(plan, mode, monkeypatch):
    seen = []

    def watched(zone, *rest):
        labels = place_labels(zone, *rest)
        seen.append((labels, zone))
        return labels

    monkeypatch.setattr(labelled_view, "place_labels", watched)
    page = np.asarray(picture.draw_zone_map(plan, colour=mode))
    assert sum(len(labels) for labels, _ in seen) >= 12
    for labels, zone in seen:
        assert_labels_keep_clear(labels, zone)
    made = colour_map(plan, mode)
    column = page[:, -picture.COLUMN - picture.MARGIN :].reshape(-1, 3)
    of_scale = () if made.scale is None else made.scale.colours
    for colour in (*of_scale, *(row.mark.paint.lit for row in made.rows if row.share > 0)):
        assert (column == colour).all(axis=1).sum() > 100, colour


def test_the_class_map_is_what_is_drawn_when_nothing_is_asked(plan):
    bare = replace(plan, facets=replace(plan.facets, **dict.fromkeys(ARRAYS)))
    options = {"width": 640, "height": 480}
    expected = picture.draw_zone_map(bare, **options).tobytes()
    assert picture.draw_zone_map(plan, **options).tobytes() == expected
    assert picture.draw_zone_map(plan, colour="class", **options).tobytes() == expected


# -- arrays -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kept", [ARRAYS, ARRAYS[:1], ARRAYS[2:], ()])
def test_arrays_come_back_bit_for_bit_and_only_those_there_are(plan, kept, tmp_path):
    gone = dict.fromkeys(name for name in ARRAYS if name not in kept)
    some = replace(plan, facets=replace(plan.facets, **gone))
    folder = write_plan_folder(some, tmp_path / "plan", pictures=False)
    with np.load(folder / "facets.npz", allow_pickle=False) as stored:
        assert set(stored) & set(ARRAYS) == set(kept)
    back = read_plan_folder(folder)
    for name in ARRAYS:
        mine, theirs = getattr(some.facets, name), getattr(back.facets, name)
        if name in kept:
            assert theirs.dtype == mine.dtype and theirs.tobytes() == mine.tobytes()
        else:
            assert theirs is None
    assert set(modes_of(back)) == {"class", "slope", "strategy", "zone", *(MODE_OF[name] for name in kept)}


@pytest.mark.parametrize("mode", OF_REACH)
def test_a_plan_that_does_not_know_says_what_to_do(plan, mode):
    bare = replace(plan, facets=replace(plan.facets, **dict.fromkeys(ARRAYS)))
    for ask in (check_can_colour, colour_map):
        with pytest.raises(InputError, match=f"--colour {mode}: .*--only zones") as told:
            ask(bare, mode)
        assert "\n" not in str(told.value)
