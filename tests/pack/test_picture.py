"""The zone map: same bytes each time, honest projection, colours where they belong, labels that keep clear."""

from __future__ import annotations

import itertools
import math
import os
import struct
from dataclasses import replace
from fractions import Fraction

import naive
import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from advisor.kernels import picture_labels, picture_lines, raster
from advisor.model import (
    SCHEMA,
    SMALL_FEATURES_SHAPE,
    ClassAreas,
    ClassTotal,
    FacetArrays,
    MapPrice,
    Part,
    Plan,
    PlanRecord,
    Setting,
    Setup,
    Spread,
    StageRecord,
    ToolRecord,
    Totals,
    Zone,
)
from advisor.model import Range as ModelRange
from advisor.pack import labelled_view, lengths, picture, picture_key, picture_table, viewpoints
from advisor.pack import page as sheet
from advisor.pack.camera import ELEVATION_DEG, fit, fixed_view, oblique_view, setup_frame
from advisor.pack.labels import CLEARANCE_PX, Wish, place_labels
from advisor.pack.palette import CLASS_STYLES
from advisor.pack.shade import draw, make_solid, survey

CLASSES = ("flat", "shallow", "steep", "undercut")


def plan_of(mesh, name="part", tool_axis=(0.0, 0.0, 1.0), quarters=False):
    """A plan whose zones are the slope classes, or their quarters about the tool axis."""
    axis = np.asarray(tool_axis, float)
    slope = np.degrees(np.arccos(np.clip(mesh.face_normals @ axis, -1, 1)))
    sort = np.digitize(slope, [5, 45, 91])
    if quarters:
        middle = mesh.triangles_center - mesh.triangles_center.mean(0)
        sort = sort * 4 + (middle[:, 0] > 0) * 2 + (middle[:, 1] > 0)
    present = np.unique(sort)
    zone = np.searchsorted(present, sort).astype(np.int32) + 1
    zones = []
    for number, kind in enumerate(present, start=1):
        area = float(mesh.area_faces[zone == number].sum())
        facets = int((zone == number).sum())
        slope_class = CLASSES[kind // 4 if quarters else kind]
        zones.append(zone_at(number, f"zone {number}", (0, 1), area, slope_class, facets))
    size = tuple(float(side) for side in mesh.extents)
    record = PlanRecord(
        SCHEMA, "0", "2026-01-01T00:00:00Z",
        Part(name, "part.stl", "", len(zone), 0, 1, True, size, float(mesh.area), None, "mm", False, (), None, ()),
        (Setup("set-up 1", tool_axis, None),),
        (ToolRecord("ball", "ball", 10.0, 5.0, 2),),
        (StageRecord("finish", 5.0, None, 0.0, 0),),
        tuple(zones),
        Totals(float(mesh.area), None, None, None, {kind: ClassTotal(0, 0, 0, 0, None) for kind in CLASSES}),
        MapPrice(0.0, 0.0, 14.0, 500.0),
        (Setting("flat_below", "5 deg", "default"), Setting("steep_from", "45 deg", "default")),
        (),
    )  # fmt: skip
    faces, classes = mesh.faces.astype(np.int32), (sort // 4 if quarters else sort).astype(np.int8)
    return Plan(record, FacetArrays(mesh.vertices.view(np.ndarray).astype(float), faces, zone, slope, slope, classes))


def zone_at(number, name, z_mm, area_mm2=100.0, slope_class="steep", facets=1):
    """A zone of one slope class, without advice."""
    by_class = ClassAreas(*(area_mm2 if name == slope_class else 0.0 for name in CLASSES))
    return Zone(
        id=number, setup=0, name=name, slope_class=slope_class, shape=None, is_closed=None, facets=facets,
        area_mm2=area_mm2, plan_area_mm2=area_mm2, class_area_mm2=by_class, slope_deg=Spread(0, 0, 0, 0, 0),
        z_mm=ModelRange(*z_mm), concave_radius_mm=None, reachable_share=None, features=1, is_protected=False,
        repeats=None, neighbours=(), advice=None, steps=(), candidates=(),
    )  # fmt: skip


def domed_block():
    """A plate 60 x 40 x 10 with a dome on it: flat, shallow, steep and, below, undercut."""
    dome = trimesh.creation.icosphere(subdivisions=3, radius=14.0)
    dome = dome.slice_plane([0, 0, 0], [0, 0, 1])
    plate = trimesh.creation.box((60, 40, 10), trimesh.transformations.translation_matrix((0, 0, -5)))
    return trimesh.util.concatenate([plate, dome])


@pytest.fixture(scope="module")
def plan():
    return plan_of(domed_block())


def test_same_bytes_twice_whatever_the_number_of_threads(plan, tmp_path, monkeypatch):
    for name, processors in (("a", 1), ("b", 2), ("c", 7)):
        monkeypatch.setattr(os, "cpu_count", lambda processors=processors: processors)
        picture.save_zone_map(plan, tmp_path / f"{name}.png", width=640, height=480)
    first, *others = [(tmp_path / f"{name}.png").read_bytes() for name in "abc"]
    assert all(other == first for other in others)
    assert png_chunks(first) == {b"IHDR", b"IDAT", b"IEND"}  # no dates, no comments


def png_chunks(data):
    kinds, at = set(), 8
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        kinds.add(data[at + 4 : at + 8])
        at += 12 + length
    return kinds


def test_colours_cover_what_the_classes_cover_in_plan(plan):
    """Seen along the tool axis a class without undercuts covers its plan area: pixels must say the same."""
    solid = make_solid(plan)
    where = fit(fixed_view(np.eye(3), "top"), solid.vertices, 500, 500, 6.0)
    drawing = draw(solid, where)
    nearest = nearest_paint(drawing.pixels.reshape(-1, 3).astype(float))
    total_px = (drawing.zone >= 0).sum()
    dome_px2 = math.pi * (14.0 * where.pixels_per_mm) ** 2
    steep_px2 = dome_px2 * (1 - math.sin(math.radians(45)) ** 2)  # from 45 to 90 deg of slope
    flat_px2 = dome_px2 * math.sin(math.radians(5)) ** 2 + total_px - dome_px2
    shallow_px2 = dome_px2 - steep_px2 - dome_px2 * math.sin(math.radians(5)) ** 2
    assert total_px == pytest.approx(60 * 40 * where.pixels_per_mm**2, rel=0.01)
    # the dome's facets are 4 deg wide, lines take their share: a twentieth of the part is the tolerance
    for kind, expected_px2 in enumerate((flat_px2, shallow_px2, steep_px2)):
        assert (nearest == kind).sum() == pytest.approx(expected_px2, abs=0.05 * total_px)


def test_a_zone_kept_together_is_painted_by_the_class_of_every_place(plan):
    """The same paint where the dome is one zone as where every class is one: only borders differ."""
    dome = np.isin(plan.facets.slope_class, (1, 2))
    together = replace(plan, facets=replace(plan.facets, zone=np.where(dome, 2, plan.facets.zone).astype(np.int32)))
    one, other = make_solid(plan).paint, make_solid(together).paint
    np.testing.assert_array_equal(one, other)
    assert len(set(other[dome].tolist())) == 2


def nearest_paint(pixels):
    """Index of the class whose range from shade to light passes nearest to each colour; -1 for paper and ink."""
    candidates = [(style.paint.dark, style.paint.lit) for style in CLASS_STYLES.values()]
    candidates += [((255, 255, 255), (255, 255, 255)), ((27, 33, 43), (27, 33, 43))]
    gaps = []
    for dark, lit in candidates:
        start, way = np.array(dark, float), np.array(lit, float) - dark
        along = np.clip((pixels - start) @ way / max(way @ way, 1.0), 0, 1)
        gaps.append(np.linalg.norm(pixels - start - along[:, None] * way, axis=1))
    nearest = np.argmin(gaps, axis=0)
    return np.where(nearest < len(CLASS_STYLES), nearest, -1)


def test_every_page_size_and_view_and_odd_name_is_drawn(plan):
    names = ["", "x" * 200, '<b>bold</b> & "quotes"', "line\nbreak\t\u202ebackwards", "Ünïcødé форма 瓶"]
    for name, (width, height), view in zip(
        names, [(400, 300), (1600, 1200), (900, 1200), (640, 480), (1200, 500)],
        ["iso", "top", "under", "front", "left"], strict=True,
    ):  # fmt: skip
        part = replace(plan.record.part, name=name)
        image = picture.draw_zone_map(
            replace(plan, record=replace(plan.record, part=part)), width=width, height=height, view=view
        )
        assert image.size == (width, height)
        assert len(image.getcolors(maxcolors=1 << 24)) > 20


def test_the_name_is_part_of_the_picture(plan):
    def top_band(name):
        part = replace(plan.record.part, name=name)
        image = picture.draw_zone_map(replace(plan, record=replace(plan.record, part=part)), width=640, height=480)
        return image.crop((0, 0, 640, 50)).tobytes(), image.crop((0, 50, 640, 480)).tobytes()

    bold, plain = top_band("<b>a</b>"), top_band("a")
    assert bold[0] != plain[0]  # markup is text, not markup
    assert bold[1] == plain[1]


def test_thumbnail_has_the_part_and_no_words(plan):
    image = picture.draw_thumbnail(plan, (160, 120))
    assert image.size == (160, 120)
    pixels = np.asarray(image)
    frame = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    assert (frame == 255).all()
    assert len(set(nearest_paint(pixels.reshape(-1, 3).astype(float)))) >= 4


def test_small_features_get_one_label_together(plan, monkeypatch):
    placed = []
    monkeypatch.setattr(labelled_view, "place_labels", lambda *a: placed.append(place_labels(*a)) or placed[-1])
    zones = tuple(
        replace(zone, shape=SMALL_FEATURES_SHAPE, features=7) if zone.slope_class in ("shallow", "steep") else zone
        for zone in plan.zones
    )
    picture.draw_zone_map(replace(plan, record=replace(plan.record, zones=zones)))
    words = [label.wish.text for labels in placed for label in labels]
    assert words.count("14 small features") == 1
    assert len(words) == len(set(words))


# -- labels -----------------------------------------------------------------------------------------------------


def assert_labels_keep_clear(labels, zone):
    boxes = [shapely.box(*label.box) for label in labels]
    leaders = [shapely.LineString([leader[:2], leader[2:]]) for label in labels if (leader := label.leader)]
    owners = [k for k, label in enumerate(labels) if label.leader]
    height, width = zone.shape
    for label in labels:
        left, top, right, bottom = label.box
        assert left >= 0 and top >= 0 and right <= width and bottom <= height
        if label.anchor is None:
            assert (zone[int(top) : int(bottom), int(left) : int(right)] == label.wish.zone).all()
        else:
            x, y = label.anchor
            assert zone[int(y), int(x)] == label.wish.zone
    for one, other in itertools.combinations(boxes, 2):
        assert one.distance(other) >= CLEARANCE_PX - 1
    for one, other in itertools.combinations(leaders, 2):
        assert not one.intersects(other)
    for owner, leader in zip(owners, leaders, strict=True):
        assert not any(leader.intersects(box) for k, box in enumerate(boxes) if k != owner)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 40))
def test_labels_never_cover_labels_or_leaders(seed, count):
    """Zones are the cells of random points in a disc: large ones and slivers, crowded and not."""
    rng = np.random.default_rng(seed)
    height, width = 300, 420
    y, x = np.mgrid[0:height, 0:width]
    seeds = rng.uniform(0.2, 0.8, (count, 2)) * (width, height)
    cells = np.argmin((x[..., None] - seeds[:, 0]) ** 2 + (y[..., None] - seeds[:, 1]) ** 2, axis=2) + 1
    on_part = np.hypot(x - width / 2, y - height / 2) < 120
    zone = np.where(on_part, cells, -1).astype(np.int32)
    lines = np.zeros(zone.shape, bool)
    lines[:, 1:] = zone[:, 1:] != zone[:, :-1]
    wishes = [Wish(k, str(k), int(rng.integers(24, 60)), 21) for k in range(1, count + 1)]
    labels = place_labels(zone, lines, wishes)
    assert_labels_keep_clear(labels, zone)
    assert len({label.wish.zone for label in labels}) == len(labels)
    if count <= 12:  # plenty of room: every zone that shows enough is named
        room = picture_labels.depth_in_zone(zone, lines)
        named = {label.wish.zone for label in labels}
        assert all(k in named for k in range(1, count + 1) if (room[zone == k] > 6).any())


def test_labels_of_a_real_page_keep_clear(monkeypatch):
    seen = []

    def watched(zone, *rest):
        labels = place_labels(zone, *rest)
        seen.append((labels, zone))
        return labels

    monkeypatch.setattr(labelled_view, "place_labels", watched)
    picture.draw_zone_map(plan_of(domed_block(), quarters=True))
    assert sum(len(labels) for labels, _ in seen) >= 12
    for labels, zone in seen:
        assert_labels_keep_clear(labels, zone)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_room_in_a_zone_against_the_slow_twin(seed):
    rng = np.random.default_rng(seed)
    zone = np.kron(rng.integers(1, 4, (3, 3)), np.ones((7, 9), int)).astype(np.int32)
    barrier = rng.random(zone.shape) < 0.03
    room = picture_labels.depth_in_zone(zone, barrier)
    exact = naive.naive_raster_room(zone, barrier)
    assert np.abs(room - exact).max() <= 0.08 * exact.max() + 1e-6
    half = np.array([0, 3, 2, 4], np.int32)
    fits = picture_labels.box_fits(zone, half, 2)
    for row, column in np.ndindex(zone.shape):
        wide = half[zone[row, column]]
        inside = wide <= column < zone.shape[1] - wide and 2 <= row < zone.shape[0] - 2
        box = zone[row - 2 : row + 3, column - wide : column + wide + 1]
        assert fits[row, column] == (inside and (box == zone[row, column]).all())


# -- the rasteriser ---------------------------------------------------------------------------------------------


def rasterised(points, faces, width, height):
    facet, depth = np.empty((height, width), np.int32), np.empty((height, width), np.float32)
    raster.rasterise(points, faces, 0, height, facet, depth)
    return facet, depth


# halves of a pixel: corners and edges often fall right on pixel centres, where the rules matter
coordinates = st.integers(-4, 26).map(lambda half: half / 2)
corner = st.tuples(coordinates, coordinates, st.integers(-20, 20).map(float))


@settings(max_examples=120, deadline=None)
@given(points=st.lists(corner, min_size=3, max_size=9), data=st.data())
def test_rasteriser_against_the_slow_twin(points, data):
    points = np.array(points, np.float32)
    number = st.integers(0, len(points) - 1)
    face = st.lists(number, min_size=3, max_size=3, unique=True)
    faces = np.array(data.draw(st.lists(face, min_size=1, max_size=5)), np.int32)
    facet, depth = rasterised(points, faces, 13, 11)
    expected_facet, expected_depth = naive.naive_raster(points, faces, 13, 11)
    hit = expected_facet >= 0
    assert (hit == (facet >= 0)).all()
    np.testing.assert_allclose(depth[hit], expected_depth[hit], atol=1e-4)
    # where two facets come within rounding of each other either may be named
    differ = hit & (facet != expected_facet)
    for row, column in zip(*np.nonzero(differ), strict=True):
        mine = naive.naive_raster_depth(
            [[Fraction(float(v)) for v in points[k]] for k in faces[facet[row, column]]],
            Fraction(2 * int(column) + 1, 2), Fraction(2 * int(row) + 1, 2),
        )  # fmt: skip
        assert mine is not None and float(mine) == pytest.approx(expected_depth[row, column], abs=1e-4)


@pytest.mark.parametrize("turned_over", [False, True])
def test_facets_with_a_common_edge_leave_no_gap_and_no_overlap(turned_over):
    """A fan about a pixel centre, with level, upright and slanting edges: every pixel is covered once."""
    rim = [(9, 4.5), (9, 9), (4.5, 9), (0, 9), (0, 4.5), (0, 0), (4.5, 0), (9, 0)]
    points = np.array([(4.5, 4.5, 0), *((x, y, 0) for x, y in rim)], np.float32)
    covered = np.zeros((9, 9), int)
    for k in range(8):
        face = [0, 1 + k, 1 + (k + 1) % 8]
        facet, _ = rasterised(points, np.array([face[::-1] if turned_over else face], np.int32), 9, 9)
        covered += facet >= 0
    assert (covered == 1).all()


@settings(max_examples=40, deadline=None)
@given(rows=st.lists(st.tuples(st.integers(0, 8), st.integers(-2, 70)), min_size=3, max_size=6), data=st.data())
def test_slender_facets_against_the_slow_twin(rows, data):
    """Long facets a fraction of a pixel high: the leap into a row and the stop within it must miss no pixel."""
    points = np.array([(x, 3.0 + row / 8.0, k) for k, (row, x) in enumerate(rows)], np.float32)
    points[0, 0], points[1, 0] = -3.0, 66.0
    number = st.integers(0, len(points) - 1)
    faces = np.array([data.draw(st.lists(number, min_size=3, max_size=3, unique=True))], np.int32)
    facet, _ = rasterised(points, faces, 64, 7)
    expected, _ = naive.naive_raster(points, faces, 64, 7)
    np.testing.assert_array_equal(facet >= 0, expected >= 0)


def test_bands_of_rows_make_the_same_buffers_as_one_pass(plan):
    solid = make_solid(plan)
    where = fit(oblique_view(np.eye(3), -60.0, 38.0), solid.vertices, 200, 150, 2.0)
    points = raster.project(solid.vertices, where.view.rows, where.pixels_per_mm, where.left, where.top)
    facet, depth = rasterised(points, solid.faces, where.width, where.height)
    parts = np.empty_like(facet), np.empty_like(depth)
    for first, last in itertools.pairwise([0, 1, 40, 41, where.height]):
        raster.rasterise(points, solid.faces, first, last, *parts)
    np.testing.assert_array_equal(parts[0], facet)
    np.testing.assert_array_equal(parts[1], depth)


def test_a_cube_shows_three_sides_and_hides_three():
    cube = trimesh.creation.box((10, 10, 10))
    for fineness in (1, 6):  # large facets are counted, small ones judged by their centroids
        mesh = trimesh.Trimesh(*trimesh.remesh.subdivide_to_size(cube.vertices, cube.faces, 10 / fineness))
        solid = make_solid(plan_of(mesh))
        (share,) = survey(solid, [oblique_view(np.eye(3), -60.0, ELEVATION_DEG)])
        turned_to_us = solid.normals @ oblique_view(np.eye(3), -60.0, ELEVATION_DEG).rows[2] > 0
        # pixels are whole: single facets come out a few pixels short, all of them together must not
        assert np.average(share[turned_to_us], weights=solid.areas[turned_to_us]) > 0.97
        assert share[~turned_to_us].max() == 0.0


def test_what_stands_behind_is_not_seen():
    """A wall before a floor, seen from the front: of the floor nothing, of the wall all."""
    wall = trimesh.creation.box((20, 1, 20), trimesh.transformations.translation_matrix((0, -10, 0)))
    small = trimesh.creation.icosphere(subdivisions=4, radius=4.0)
    solid = make_solid(plan_of(trimesh.util.concatenate([wall, small])))
    (share,) = survey(solid, [fixed_view(np.eye(3), "front")])
    assert share[12:].max() == 0.0
    assert share[:12][solid.normals[:12, 1] < -0.5].min() > 0.97


# -- lines ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("around", [6, 5000])
def test_the_tip_of_a_cone_is_smooth_however_many_facets_meet_there(around):
    """The mean of a ring of normals about the axis is the axis; of a steep cone each keeps to its like."""
    turn = np.linspace(0, 2 * np.pi, around, endpoint=False)
    for height, rises in ((2.0, True), (60.0, False)):
        rim = np.column_stack([20 * np.cos(turn), 20 * np.sin(turn), np.full(around, -height)])
        k = np.arange(around)
        faces = np.column_stack([np.zeros(around, int), 1 + k, 1 + (k + 1) % around])
        solid = make_solid(plan_of(trimesh.Trimesh(np.vstack([[0, 0, 0], rim]), faces, process=False)))
        at_tip = solid.corners[:, 0, 2]
        if rises:
            assert at_tip.min() > 0.99999
        else:
            assert at_tip.max() < 0.5


def lines_of(*strokes, size=(30, 40)):
    """Lines along pixel sides: strokes are (kind, (row, column), (row, column)) between pixel corners."""
    right_of, below = np.zeros(size, np.uint8), np.zeros(size, np.uint8)
    for kind, (row, column), (last_row, last_column) in strokes:
        if column == last_column:
            right_of[row:last_row, column - 1] = kind
        else:
            below[row - 1, column:last_column] = kind
    return right_of, below


def test_short_loose_strokes_go_and_what_hangs_together_stays():
    border, crease, outline = picture_lines.BORDER, picture_lines.CREASE, picture_lines.OUTLINE
    kept = [
        (outline, (2, 5), (28, 5)),
        (outline, (2, 11), (28, 11)),
        (crease, (6, 5), (6, 11)),  # a bridge from outline to outline
        (crease, (4, 20), (4, 24)), (crease, (8, 20), (8, 24)),  # a small ring
        (crease, (4, 20), (8, 20)), (crease, (4, 24), (8, 24)),
        (crease, (20, 14), (20, 26)),  # long
    ]  # fmt: skip
    loose = [
        (crease, (12, 5), (12, 9)),  # from an outline into nowhere
        (crease, (12, 30), (17, 30)),  # from nowhere to nowhere
        (crease, (8, 24), (8, 28)), (crease, (8, 28), (11, 28)),  # round a corner, off the ring
    ]  # fmt: skip
    one_zone = np.zeros((30, 40), np.int32), np.zeros(1, np.int32)
    lines = lines_of(*kept, *loose)
    picture_lines.drop_loose_ends(*lines, *one_zone, crease, 2, 8)
    np.testing.assert_array_equal(lines, lines_of(*kept))
    # ten sides along as many facets are an edge, unless even that is short
    facets = np.arange(30 * 40, dtype=np.int32).reshape(30, 40), np.zeros(30 * 40, np.int32)
    edge = (crease, (12, 20), (12, 30))
    for short, stays in ((10, [edge]), (11, [])):
        lines = lines_of(edge)
        picture_lines.drop_loose_ends(*lines, *facets, crease, short, 14)
        np.testing.assert_array_equal(lines, lines_of(*stays))
    # between two zones a loose crease leaves the border it hid
    two_zones = np.repeat(np.arange(2, dtype=np.int32), 15)[:, None].repeat(40, 1), np.array([3, 4], np.int32)
    lines = lines_of((crease, (15, 10), (15, 14)))
    picture_lines.drop_loose_ends(*lines, *two_zones, crease, 2, 8)
    np.testing.assert_array_equal(lines, lines_of((border, (15, 10), (15, 14))))


def test_no_border_along_a_needle_of_a_zone():
    """Zone 2 fills the right half and reaches into zone 1 with a needle one pixel high."""
    zone = np.ones((40, 60), np.int32)
    zone[:, 30:] = 2
    zone[20, 10:30] = 2
    solid_zone = np.array([0, 1, 2], np.int32)
    right_of, below = np.zeros(zone.shape, np.uint8), np.zeros(zone.shape, np.uint8)
    right_of[:, :-1] = zone[:, 1:] != zone[:, :-1]
    below[:-1] = zone[1:] != zone[:-1]
    wide = picture_labels.depth_in_zone(zone, np.zeros(zone.shape, bool)) > 1.5
    picture_lines.drop_narrow(right_of, below, zone, solid_zone, zone, wide, 1, 3)
    assert below[:, :25].sum() == 0 and right_of[:, :25].sum() == 0
    assert right_of[:, 29].sum() == 39  # all of the straight border but the foot of the needle


# -- where the viewer stands ------------------------------------------------------------------------------------

directions = st.tuples(*[st.floats(-1, 1) for _ in range(3)]).filter(lambda v: sum(c * c for c in v) > 0.01)


@given(tool_axis=directions, azimuth=st.floats(-180, 180), elevation=st.floats(-80, 80))
def test_the_tool_axis_points_up_the_page(tool_axis, azimuth, elevation):
    frame = setup_frame(tool_axis)
    rows = oblique_view(frame, azimuth, elevation).rows
    for axes in (frame, rows):
        np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-9)
        assert np.linalg.det(axes) == pytest.approx(1.0)
    axis = np.array(tool_axis) / np.linalg.norm(tool_axis)
    right, up, near = rows @ axis
    assert right == pytest.approx(0.0, abs=1e-9)
    assert up == pytest.approx(math.cos(math.radians(elevation)), abs=1e-9)
    assert near == pytest.approx(math.sin(math.radians(elevation)), abs=1e-9)


def test_the_length_scale_holds_in_the_picture_plane(plan):
    solid = make_solid(plan)
    where = fit(oblique_view(setup_frame((0.3, -0.5, 0.8)), 30.0, 38.0), solid.vertices, 900, 700, 10.0)
    ends = np.array([[0.0, 0.0, 0.0], 7.0 * where.view.rows[0] - 4.0 * where.view.rows[1]])
    points = raster.project(ends, where.view.rows, where.pixels_per_mm, where.left, where.top)
    length_px = float(np.hypot(*(points[1, :2] - points[0, :2])))
    assert length_px / where.pixels_per_mm == pytest.approx(math.hypot(7.0, 4.0), abs=0.01)
    box = raster.project(solid.vertices, where.view.rows, where.pixels_per_mm, where.left, where.top)
    assert box[:, 0].min() >= 9.9 and box[:, 1].min() >= 9.9
    assert box[:, 0].max() <= where.width - 9.9 and box[:, 1].max() <= where.height - 9.9


@given(longest=st.floats(1e-6, 1e6))
def test_the_scale_is_a_round_length_that_fits(longest):
    length = picture_key._round_length(longest)
    assert longest / 2.5 * 0.999 <= length <= longest * 1.001
    assert f"{length:e}"[0] in "125"


def test_a_hidden_underside_gets_a_view_of_its_own(plan):
    views = viewpoints.choose_views(make_solid(plan), (0.0, 0.0, 1.0), "iso")
    assert [view.title for view in views.small] == ["FROM THE SPINDLE", "FROM BELOW"]
    lid = trimesh.creation.box((50, 40, 0.1)).slice_plane([0, 0, 0.049], [0, 0, 1])
    views = viewpoints.choose_views(make_solid(plan_of(lid)), (0.0, 0.0, 1.0), "iso")
    assert [view.title for view in views.small] == ["FROM THE SPINDLE"]


# -- words ------------------------------------------------------------------------------------------------------


@given(words=st.text(max_size=120), width=st.floats(20, 400))
def test_shortened_words_fit_and_begin_alike(words, width):
    page = sheet.Page(Image.new("RGB", (1, 1)), 1.0)
    words = sheet.plain_words(words)
    short = sheet.shortened(page, words, 13, width)
    assert sheet.text_width(page, short, 13) <= max(width, sheet.text_width(page, sheet.ELLIPSIS, 13))
    assert short == words or (short.endswith(sheet.ELLIPSIS) and words.startswith(short[:-1]))
    assert "\n" not in short


def test_names_are_one_line_of_plain_letters():
    assert sheet.plain_words("line\nbreak\t\u202ebackwards\x00 <b>e\u0301</b>") == "line break backwards <b>é</b>"


def test_class_ranges_come_from_the_settings_in_force(plan):
    assert picture_key.class_ranges(plan.record)["shallow"] == "5° to 45°"
    walls = (*plan.record.settings, Setting("wall_tolerance", "1.5 deg", "option"))
    assert picture_key.class_ranges(replace(plan.record, settings=walls))["undercut"] == "over 91.5°, or hidden"
    assert set(picture_key.class_ranges(replace(plan.record, settings=())).values()) == {""}


def test_heights_and_lengths_are_told_in_the_unit_of_the_job(plan):
    inch = replace(plan.record, settings=(Setting("unit", "inch", "option"),))
    assert lengths.length_unit(plan.record) == lengths.MM
    assert lengths.length_unit(inch) == lengths.INCH
    wall, floor = zone_at(1, "Wall Z -7e-15 to 19.05", (-7e-15, 19.05)), zone_at(2, "Floor Z 6.3", (1, 6.35), 1, "flat")
    assert lengths.INCH.height_words(wall) == "Wall Z 0 to 0.75"
    assert lengths.INCH.height_words(floor) == "Floor Z 0.25"
    assert lengths.MM.height_words(wall) == "Wall Z 0 to 19.05"
    assert lengths.MM.height_words(zone_at(3, "Underside Z -0.0", (-1e-17, 5))) == "Underside Z 0.0"
    assert lengths.INCH.height_words(zone_at(4, "Slope 7° to 43°", (0, 9))) == "Slope 7° to 43°"
    # along -X heights are told in X of the part; along an axis that leans they are what they are
    assert lengths.INCH.height_words(zone_at(5, "Wall X 0 to 19.1", (-19.05, 0))) == "Wall X 0 to 0.75"
    assert lengths.INCH.height_words(zone_at(6, "Floor height 6.3", (1, 6.35))) == "Floor height 0.25"
    assert lengths.INCH.height_words(zone_at(7, "Pad Z top", (0, 9))) == "Pad Z top"
    assert picture._part_words(inch, "Zone map").split("   ·   ")[1].endswith(" in")


@given(number=st.floats(-1e6, 1e6), decimals=st.integers(0, 4))
def test_fixed_numbers_keep_their_value_and_no_sign_on_zero(number, decimals):
    words = lengths.fixed(number, decimals)
    assert float(words.replace(",", "")) == pytest.approx(number, abs=0.5001 * 10.0**-decimals)
    assert words.partition(".")[2] == words.partition(".")[2][:decimals]
    assert not (words.startswith("-") and float(words.replace(",", "")) == 0.0)


def test_the_head_tells_what_each_stage_was_asked_for(plan):
    stages = tuple(StageRecord(name, 6.237331, None, 0.0, 0) for name in ("rough", "pre", "finish"))
    asked = (Setting("stage 2", "finish: Ra 0.8 um, 0 mm left", "job file"),)
    lines = picture._cutter_words(replace(plan.record, stages=stages, settings=asked))
    assert [line.rpartition(", ")[2] for line in lines] == ["cusp 6.24 µm", "cusp 6.24 µm", "Ra 0.8 µm"]
    inch = replace(plan.record, stages=stages, settings=(*asked, Setting("unit", "inch", "option")))
    assert [line.rpartition(", ")[2] for line in picture._cutter_words(inch)] == ["cusp 246 µin"] * 2 + ["Ra 31.5 µin"]
    coarse = replace(inch, stages=(StageRecord("rough", 50.8, None, 0.0, 0),))
    assert picture._cutter_words(coarse) == ["rough: ball Ø 0.3937 in, cusp 2000 µin"]
    five = picture._cutter_words(replace(plan.record, stages=stages + stages[:2]))
    assert len(five) == picture.MOST_STAGES and five[0] == "+ 3 stages before"


def marks(count):
    return dict.fromkeys(range(count), picture_key.class_mark("steep"))


def test_every_zone_that_fits_has_a_row_with_one_number_of_decimals(plan, monkeypatch):
    told = []
    monkeypatch.setattr(picture_table, "write", lambda page, at, words, *rest, **options: told.append((at, words)))
    zones = (zone_at(1, "Wall", (0, 1), 76.94), zone_at(2, "Floor", (0, 1), 77.0))
    small = replace(zone_at(3, "9 small steep features", (0, 1), 5.0), shape=SMALL_FEATURES_SHAPE, features=9)
    page = sheet.blank_page(800, 800, 1.0)
    picture_table.draw_table(page, (0, 0, 496, 700), replace(plan.record, zones=(*zones, small)), marks(4))
    words = [text for _, text in told]
    assert {"76.9", "77.0", "5.0", "9 small steep features"} <= set(words)
    told.clear()
    many = tuple(zone_at(k, "Wall", (0, 1)) for k in range(1, 90))
    picture_table.draw_table(page, (0, 0, 496, 400), replace(plan.record, zones=many), marks(90))
    rows = [text for _, text in told if text.isdigit() and text != "100"]
    assert f"+ {89 - len(rows)} more, see zones.csv" in [text for _, text in told]
    assert max(y for (_, y), _ in told) < 400
    told.clear()
    picture_table.draw_table(page, (0, 0, 496, 400), replace(plan.record, zones=()), {})
    assert told == []
