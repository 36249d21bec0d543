"""Passes in pictures: where they lie, none that is hidden, as many as can be told apart; and files read with care."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from test_picture import plan_of

from advisor.errors import InputError
from advisor.intake.saved import read_plan_folder
from advisor.kernels import picture_passes
from advisor.model import PassArrays
from advisor.pack import picture
from advisor.pack.camera import fit, fixed_view
from advisor.pack.folder import write_plan_folder
from advisor.pack.pass_pictures import PassInk, drawn_passes, stride_words
from advisor.pack.shade import draw, make_solid

RADIUS = 5.0


def passes_of(zone, lines, level=None, stage="finish"):
    """Passes from polylines of contacts with the normal along Z."""
    contacts = np.concatenate(lines).astype(float)
    starts = np.concatenate([[0], np.cumsum([len(line) for line in lines])])
    count = len(lines)
    return PassArrays(
        contacts + [0, 0, RADIUS], starts, np.full(count, zone, np.int32), np.full(count, "parallel_line"),
        np.full(count, stage), np.zeros(count, np.int32), np.zeros(count, bool), contacts.astype(np.float32),
        np.arange(count, dtype=np.int32) if level is None else np.asarray(level, np.int32),
        turns=np.zeros(0, np.int64),
    )  # fmt: skip


def across_plate(step, z=5.0, half=(30.0, 20.0)):
    ys = np.arange(-half[1] + step / 2, half[1], step)
    return [np.array([[-half[0], y, z], [half[0], y, z]]) for y in ys]


@pytest.fixture(scope="module")
def plate():
    """A plate 60 by 40 by 10 mm about the origin, its top one zone."""
    return plan_of(trimesh.creation.box((60, 40, 10)))


def top_zone(plan):
    return int(plan.facets.zone[np.argmin(plan.facets.slope_deg)])


def inked(plan, name="top", size=(600, 420)):
    """Where a view changes when passes are drawn, the view, and the strides."""
    solid = make_solid(plan)
    where = fit(fixed_view(np.eye(3), name), solid.vertices, *size, 8.0)
    ink = PassInk(drawn_passes(plan), solid, 1.0)
    with_ink, bare = draw(solid, where, 1.0, ink), draw(solid, where, 1.0)
    np.testing.assert_array_equal(with_ink.lines, bare.lines)
    return np.abs(with_ink.pixels.astype(int) - bare.pixels).sum(axis=2), where, ink.strides


def test_every_pass_is_drawn_where_it_lies_when_there_is_room(plate):
    step = 2.0
    plan = replace(plate, passes=passes_of(top_zone(plate), across_plate(step)))
    dark, where, strides = inked(plan)
    assert strides == {top_zone(plate): 1}
    column = dark[:, dark.shape[1] // 2].astype(float)
    middles = where.top - np.array([line[0, 1] for line in across_plate(step)]) * where.pixels_per_mm
    peaks = [np.average(np.arange(a, b) + 0.5, weights=column[a:b]) for a, b in runs(column > 0)]
    np.testing.assert_allclose(peaks, np.sort(middles), atol=0.35)


def runs(flags):
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(int), [0]])))
    return list(zip(edges[::2], edges[1::2], strict=True))


@pytest.mark.parametrize("step", [0.05, 0.1, 0.21])
def test_crowded_passes_are_thinned_evenly(plate, step):
    plan = replace(plate, passes=passes_of(top_zone(plate), across_plate(step)))
    dark, where, strides = inked(plan)
    stride = strides[top_zone(plate)]
    rows = np.array([(a + b) / 2 for a, b in runs(dark[:, dark.shape[1] // 2] > 0)])
    apart = stride * step * where.pixels_per_mm
    assert 3.3 <= apart <= 3.5 * 1.7
    assert np.diff(rows).std() < 0.5 and np.diff(rows).mean() == pytest.approx(apart, rel=0.02)


def test_pieces_of_one_line_are_drawn_or_left_out_together(plate):
    lines = across_plate(0.1)
    halves = [line * [0.5, 1, 1] + [side * 15.0, 0, 0] for line in lines for side in (-1, 1)]
    level = np.repeat(np.arange(len(lines)), 2)
    dark, _, _ = inked(replace(plate, passes=passes_of(top_zone(plate), halves, level)))
    quarter = dark.shape[1] // 4
    np.testing.assert_array_equal(dark[:, quarter] > 0, dark[:, 3 * quarter] > 0)


def test_turns_of_a_spiral_are_thinned_as_loops_are(plate):
    lines = across_plate(0.1)
    alone = passes_of(top_zone(plate), lines)
    to_and_fro = [line[:: (-1) ** k] for k, line in enumerate(lines)]
    wound = passes_of(top_zone(plate), [np.concatenate(to_and_fro)])
    wound = replace(wound, turns=np.asarray(alone.starts[1:-1]))
    loops, one = (inked(replace(plate, passes=passes)) for passes in (alone, wound))
    middle = loops[0].shape[1] // 2
    np.testing.assert_array_equal(loops[0][:, middle] > 0, one[0][:, middle] > 0)
    assert one[2] == loops[2]
    assert one[2][top_zone(plate)] > 1


def test_what_is_hidden_is_not_drawn(plate):
    """A ridge hides what lies behind it; passes of the side away are not seen from the front."""
    ridge = trimesh.creation.box((60, 4, 30), trimesh.transformations.translation_matrix((0, 0, 20)))
    block = trimesh.util.concatenate(trimesh.creation.box((60, 40, 10)), ridge)
    plan = plan_of(block)
    plan = replace(plan, passes=passes_of(top_zone(plan), across_plate(2.0)))
    solid = make_solid(plan)
    front = fixed_view(np.eye(3), "front").rows
    tilt = np.radians(30)
    rows = np.stack([
        front[0], np.cos(tilt) * front[1] - np.sin(tilt) * front[2], np.cos(tilt) * front[2] + np.sin(tilt) * front[1],
    ])  # fmt: skip
    where = fit(replace(fixed_view(np.eye(3), "front"), rows=rows), solid.vertices, 600, 420, 8.0)
    ink = PassInk(drawn_passes(plan), solid, 1.0)
    dark = np.abs(draw(solid, where, 1.0, ink).pixels.astype(int) - draw(solid, where).pixels).sum(axis=2)
    seen = dark[:, dark.shape[1] // 2] > 0
    # in front of the ridge lie y of -20 to -2; behind it 17.3 mm of height hide more than the plate is deep
    expected = [y for y in (line[0, 1] for line in across_plate(2.0)) if y < -2]
    assert len(runs(seen)) == len(expected)
    for (first, last), y in zip(runs(seen), sorted(expected, reverse=True), strict=True):
        up = rows[1] @ [0.0, y, 5.0]
        assert abs((first + last) / 2 - (where.top - up * where.pixels_per_mm)) < 1.5
    under, _, _ = inked(plan, "under")
    assert not under.any()


def test_lengths_are_those_of_a_slow_twin():
    rng = np.random.default_rng(11)
    facet, depth = np.zeros((40, 60), np.int32), np.zeros((40, 60), np.float32)
    points = np.column_stack([rng.uniform(2, 58, 12), rng.uniform(2, 38, 12), np.zeros(12)]).astype(np.float32)
    starts, zone, facing = np.array([0, 5, 12]), np.array([1, 2]), np.ones(12)
    got = picture_passes.lengths_in_tiles(
        points, facing, starts, zone, facet, depth, np.ones(1, np.float32), 0.0, 10, 3
    ).reshape(4, 6, 3)
    expected = np.zeros((4, 6, 3))
    for p, (a, b) in enumerate(itertools.pairwise(starts)):
        for i in range(a, b - 1):
            way = np.linalg.norm(points[i + 1] - points[i])
            for t in (np.arange(400) + 0.5) / 400:
                x, y, _ = points[i] + t * (points[i + 1] - points[i])
                expected[int(y // 10), int(x // 10), zone[p]] += way / 400
    # samples 3 apart: each border of tiles may be off by one
    np.testing.assert_allclose(got, expected, atol=6.5)
    assert got.sum() == pytest.approx(expected.sum(), rel=1e-6)
    depth += 100
    hidden = picture_passes.lengths_in_tiles(
        points, facing, starts, zone, facet, depth, np.ones(1, np.float32), 0.0, 10, 3
    )
    assert hidden.sum() == 0.0


def test_a_page_with_passes_says_which_are_drawn_and_is_the_same_each_time(plate):
    plan = replace(plate, passes=passes_of(top_zone(plate), across_plate(0.1)))
    size = {"width": 640, "height": 480}
    page = picture.draw_zone_map(plan, passes=True, **size)
    assert page.tobytes() == picture.draw_zone_map(plan, passes=True, **size).tobytes()
    assert page.tobytes() != picture.draw_zone_map(plan, **size).tobytes()
    assert picture.draw_zone_map(plan, **size).tobytes() == picture.draw_zone_map(plate, **size).tobytes()
    assert stride_words({4: 2, 5: 11}) == "every 2nd to 11th" and stride_words({1: 22}) == "every 22nd is drawn"


def test_only_the_last_stage_is_drawn_and_none_is_an_error(plate):
    assert not inked(replace(plate, passes=passes_of(top_zone(plate), across_plate(2.0), stage="rough")))[0].any()
    with pytest.raises(InputError, match=r"--passes: .*none were laid"):
        picture.draw_zone_map(plate, passes=True)


def test_without_contacts_the_middle_of_the_cutter_is_drawn(plate):
    passes = passes_of(top_zone(plate), across_plate(2.0))
    old = replace(plate, passes=replace(passes, contacts=None, level=None))
    new = replace(plate, passes=passes)
    np.testing.assert_array_equal(inked(old)[0] > 0, inked(new)[0] > 0)


# -- the file ---------------------------------------------------------------------------------------------------


@pytest.fixture
def folder(plate, tmp_path):
    heights = np.zeros((1, 8, 8), np.float32)
    seen = {
        "close_up_um": heights, "close_up_frame": np.zeros((1, 4, 3)), "close_up_mm": np.ones(1),
        "close_up_pass": np.zeros(1, np.int32),
    }  # fmt: skip
    passes = replace(passes_of(top_zone(plate), across_plate(2.0)), **seen)
    return write_plan_folder(replace(plate, passes=passes), tmp_path / "plan", pictures=False)


def test_passes_come_back_bit_for_bit(folder):
    back = read_plan_folder(folder).passes
    with np.load(folder / "passes.npz", allow_pickle=False) as stored:
        assert set(stored) == set(vars(back))
        for name, array in vars(back).items():
            assert array.dtype == stored[name].dtype and array.tobytes() == stored[name].tobytes()
            assert not array.flags.writeable
    (folder / "passes.npz").unlink()
    assert read_plan_folder(folder).passes is None


def wrong(**changes):
    return lambda told: {**told, **{name: change(told[name]) for name, change in changes.items()}}


@pytest.mark.parametrize("spoil", [
    wrong(points=lambda a: a[:, :2]), wrong(points=lambda a: a[:-1]), wrong(points=lambda a: a * np.nan),
    wrong(points=lambda a: a.astype(object)), wrong(starts=lambda a: a[::-1]), wrong(starts=lambda a: a + 1),
    wrong(starts=lambda a: a.astype(float)), wrong(starts=lambda a: a[0]), wrong(starts=lambda a: a[:0]),
    wrong(zone=lambda a: a + 900), wrong(zone=lambda a: a * 0), wrong(tool=lambda a: a + 9),
    wrong(tool=lambda a: a - 1), wrong(stage=lambda a: a[1:]), wrong(closed=lambda a: a.astype(int)),
    wrong(contacts=lambda a: a[1:]), wrong(level=lambda a: a[:, None]), wrong(close_up_um=lambda a: a[..., :5]),
    wrong(close_up_um=lambda a: a[0, 0, 0]), wrong(close_up_mm=lambda a: -a), wrong(close_up_pass=lambda a: a + 10_000),
    lambda told: {name: array for name, array in told.items() if name != "close_up_mm"},
    lambda told: {name: array for name, array in told.items() if name != "zone"},
])  # fmt: skip
def test_malformed_arrays_are_refused_in_one_line(folder, spoil):
    path = folder / "passes.npz"
    with np.load(path) as stored:
        told = dict(stored)
    np.savez(path, **spoil(told))
    with pytest.raises(InputError, match=r"passes\.npz: is .*damaged.*plan the part again") as fault:
        read_plan_folder(folder)
    assert "\n" not in str(fault.value)


@pytest.mark.parametrize(
    "bytes_of", [lambda whole: b"", lambda whole: whole[: len(whole) // 2], lambda whole: b"x" * 99]
)
def test_a_file_cut_short_is_refused(folder, bytes_of):
    path = folder / "passes.npz"
    path.write_bytes(bytes_of(path.read_bytes()))
    with pytest.raises(InputError, match="missing or damaged"):
        read_plan_folder(folder)
