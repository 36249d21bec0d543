"""Outlines of zones: parts with exact outlines, laws over random labels, and pushing out by exact distances."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import solids
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay
from scipy.spatial.transform import Rotation

from advisor import tolerances
from advisor.intake.read import read_part
from advisor.kernels.loops import border_half_edges, border_loops, kept_points
from advisor.kernels.slope_lines import corner_slopes
from advisor.part.heal import heal
from advisor.part.mesh import Mesh
from advisor.part.smooth import smooth_surface
from advisor.zones.areas import absorb_specks, connected_areas
from advisor.zones.classes import FLAT, SHALLOW, STEEP, Thresholds, class_of_facets, slope_deg
from advisor.zones.cut_lines import CutSurface, cut_at_slopes
from advisor.zones.joints import INSIDE_CORNER, NO_JOINT, OUTSIDE_CORNER, TANGENT, sharp_half_edges
from advisor.zones.outline import NO_ZONE, Outline, outline_arrays, zone_outlines
from advisor.zones.outline_turning import saw_teeth, turning_deg
from advisor.zones.pushed_outline import pushed_outlines

UP = np.array([0.0, 0.0, 1.0])
THRESHOLDS = Thresholds(5.0, 45.0, 1.0)
FINE_MM = tolerances.OUTLINE_DEVIATION_MM


def by_slope(vertices: np.ndarray, faces: np.ndarray | None) -> tuple[CutSurface, np.ndarray, np.ndarray]:
    """A part cut at the slopes of its classes, connected areas as zones, and the class of each."""
    mesh = heal(vertices, faces, "part").mesh
    smooth = smooth_surface(mesh)
    surface = cut_at_slopes(mesh, smooth.corner_normal, UP, THRESHOLDS.between_classes_deg, 0.1)
    uncut_deg = corner_slopes(smooth.corner_normal, UP)[surface.parent]
    facet_class = class_of_facets(slope_deg(surface.normal, UP), uncut_deg, THRESHOLDS)
    label = connected_areas(surface.mesh, facet_class)
    speck = min(4.0, 5e-4 * surface.mesh.area_mm2.sum())
    zone, facet_class = absorb_specks(surface.mesh, label, facet_class, sharp_half_edges(surface), speck, is_clean=True)
    zone_class = np.zeros(zone.max() + 1, np.int8)
    zone_class[zone] = facet_class
    return surface, zone.astype(np.int32), zone_class


def as_surface(vertices: np.ndarray, faces: np.ndarray) -> CutSurface:
    """A mesh whose facets are all there is: their own normals at their corners."""
    mesh = Mesh(np.ascontiguousarray(vertices, dtype=float), faces.astype(np.int32))
    return CutSurface(mesh, np.repeat(mesh.normal[:, None], 3, axis=1), np.arange(len(faces), dtype=np.int32))


def smooth_sphere(radius_mm: float, chord_mm: float) -> CutSurface:
    vertices, faces = solids.sphere(radius_mm, chord_mm, pattern="ico")
    surface = as_surface(vertices, faces)
    return CutSurface(surface.mesh, surface.mesh.vertices[surface.mesh.faces] / radius_mm, surface.parent)


def grid(columns: int, rows: int) -> CutSurface:
    """Unit squares in a plane, two facets each; facets 2 i and 2 i + 1 are square i."""
    number = np.arange((columns + 1) * (rows + 1)).reshape(rows + 1, columns + 1)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    faces = np.stack([a, b, c, a, c, d], axis=2).reshape(-1, 3)
    y, x = np.divmod(np.arange(number.size), columns + 1)
    return as_surface(np.c_[x, y, np.zeros(number.size)], faces)


def squares(rows: list[str]) -> tuple[CutSurface, np.ndarray]:
    """A plane of unit squares with a zone each, drawn from the top down."""
    surface = grid(len(rows[0]), len(rows))
    return surface, np.repeat([int(digit) for row in rows[::-1] for digit in row], 2).astype(np.int32)


def pushed_out(
    surface: CutSurface, zone: np.ndarray, number: int, axis: np.ndarray, distance: float, deviation: float
) -> list[Outline]:
    """One zone pushed out over all others."""
    count = int(zone.max()) + 1
    distances = np.where(np.arange(count) == number, distance, np.nan)
    boundaries = zone_outlines(surface, zone, axis, deviation)
    return pushed_outlines(surface, zone, boundaries, axis, distances, np.ones(count, bool), deviation)[number]


def plane_area(outline: Outline) -> float:
    x, y = outline.points[:, 0], outline.points[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def every(outlines: list[list[Outline]]) -> list[Outline]:
    return [outline for of_zone in outlines for outline in of_zone]


def rough_distance(points: np.ndarray, line: np.ndarray) -> float:
    """Furthest of points from a closed line, the slow and obvious way."""
    a, b = line, np.roll(line, -1, axis=0)
    worst = 0.0
    for point in points:
        share = np.einsum("ij,ij->i", point - a, b - a) / np.einsum("ij,ij->i", b - a, b - a)
        foot = a + np.clip(share, 0, 1)[:, None] * (b - a)
        worst = max(worst, float(np.linalg.norm(point - foot, axis=1).min()))
    return worst


def along(outline: Outline) -> np.ndarray:
    """Points on all segments of an outline, five a segment."""
    ends = np.roll(outline.points, -1, axis=0)
    return np.concatenate([outline.points + share * (ends - outline.points) for share in np.arange(5) / 5])


# ---------------------------------------------------------------------------------------- exact outlines


def test_a_dome_below_45_deg_has_a_circle_for_outline() -> None:
    surface, zone, zone_class = by_slope(*solids.hemisphere(25.0))
    shallow = int(np.flatnonzero(zone_class == SHALLOW)[0])
    outer, hole = zone_outlines(surface, zone, UP, FINE_MM)[shallow]
    assert (outer.is_hole, hole.is_hole) == (False, True)
    assert outer.length_mm == pytest.approx(2 * np.pi * 25.0 * np.sin(np.pi / 4), rel=5e-4)
    assert hole.length_mm == pytest.approx(2 * np.pi * 25.0 * np.sin(np.radians(5)), rel=2e-3)
    on_sphere = np.linalg.norm(outer.points, axis=1)
    np.testing.assert_allclose(on_sphere, 25.0, atol=0.02 + FINE_MM)
    np.testing.assert_allclose(outer.points[:, 2], 25.0 * np.cos(np.pi / 4), atol=0.02 + FINE_MM)
    assert turning_deg(outer, 1.0).sum() == pytest.approx(360.0, rel=0.01)
    assert saw_teeth([outer], 1.0).lost_deg_per_step < 0.05
    assert set(outer.joint) == set(hole.joint) == {TANGENT}
    assert plane_area(outer) > 0 > plane_area(hole)


def test_a_pocket_of_floors_fillets_walls_and_land() -> None:
    surface, zone, zone_class = by_slope(*solids.round_pocket())
    outlines = zone_outlines(surface, zone, UP, FINE_MM)
    # floor, two bands of its fillet, wall and land around it, outside walls, base
    assert sorted(len(of_zone) for of_zone in outlines) == [1, 1, 2, 2, 2, 2]
    floor = next(o for o in outlines if len(o) == 1 and zone_class[o[0].zone] == FLAT)[0]
    assert floor.length_mm == pytest.approx(2 * np.pi * (14 + 6 * np.sin(np.radians(5))), rel=1e-3)
    land_outer, land_hole = next(o for o in outlines if len(o) == 2 and zone_class[o[0].zone] == FLAT)
    assert land_outer.length_mm == pytest.approx(240.0)
    assert land_hole.length_mm == pytest.approx(2 * np.pi * 20.0, rel=1e-3)
    assert set(land_hole.joint) == set(land_outer.joint) == {OUTSIDE_CORNER}
    assert len(land_outer.points) == 4, "points on straight creases go"
    walls = next(o for o in outlines if {*o[0].neighbour} == {land_hole.zone} and zone_class[o[0].zone] == STEEP)
    assert [o.is_hole for o in walls] == [False, True], "of walls all round, the longest loop is the outer one"
    for of_zone in outlines:
        assert [o.is_hole for o in of_zone] == sorted(o.is_hole for o in of_zone)


def test_steps_meet_at_inside_and_outside_corners() -> None:
    surface, zone, zone_class = by_slope(*solids.stepped_block())
    floors = [o for o in every(zone_outlines(surface, zone, UP, FINE_MM)) if zone_class[o.zone] == FLAT]
    found = {round(float(o.points[0, 2])): sorted(o.joint.tolist()) for o in floors}
    low, high = [INSIDE_CORNER, *[OUTSIDE_CORNER] * 3], [OUTSIDE_CORNER] * 4
    assert found == {10: low, 25: high, 15: low}


def test_a_wave_falls_into_strips_with_straight_outlines() -> None:
    surface, zone, zone_class = by_slope(*solids.wave())
    for outline in every(zone_outlines(surface, zone, UP, FINE_MM)):
        if zone_class[outline.zone] == SHALLOW:
            stretches = outline.joint == TANGENT
            way = (np.roll(outline.points, -1, axis=0) - outline.points)[stretches]
            assert len(way) == 2, "one straight piece on either side"
            np.testing.assert_allclose(np.abs(way), np.array([[0, 40.0, 0]] * 2), atol=FINE_MM)


# ---------------------------------------------------------------------------------------- loops


def random_labels(seed: int, zones: int) -> tuple[CutSurface, np.ndarray]:
    surface = smooth_sphere(10.0, 0.3)
    return surface, np.random.default_rng(seed).integers(0, zones, len(surface.mesh.faces)).astype(np.int32)


@given(st.integers(0, 2**31), st.integers(2, 6))
def test_loops_are_simple_and_hold_every_border_once(seed: int, zones: int) -> None:
    surface, zone = random_labels(seed, zones)
    mesh = surface.mesh
    is_border = border_half_edges(mesh.faces, mesh.twins, zone)
    half_edge, starts = border_loops(mesh.faces, mesh.twins, is_border, len(mesh.vertices))
    assert sorted(half_edge) == np.flatnonzero(is_border).tolist()
    for begin, end in pairwise(starts):
        loop = half_edge[begin:end]
        first = mesh.faces[loop // 3, loop % 3]
        last = mesh.faces[loop // 3, (loop % 3 + 1) % 3]
        assert (np.roll(last, 1) == first).all()
        assert len(set(first)) == len(first) >= 3
        assert len(set(zone[loop // 3])) == 1


@given(st.integers(0, 2**31), st.integers(2, 6))
def test_loops_enclose_what_their_facets_cover_and_neighbours_share_them(seed: int, zones: int) -> None:
    surface, zone = random_labels(seed, zones)
    outlines = zone_outlines(surface, zone, UP, 1e-9)
    segments: Counter[tuple[object, ...]] = Counter()
    for number, of_zone in enumerate(outlines):
        # Stokes: the vector area inside loops is that of any surface in them
        area = sum(0.5 * np.cross(o.points, np.roll(o.points, -1, axis=0)).sum(axis=0) for o in of_zone)
        mesh, here = surface.mesh, zone == number
        np.testing.assert_allclose(area, (mesh.area_mm2[:, None] * mesh.normal)[here].sum(axis=0), atol=1e-6)
    for outline in every(zone_outlines(surface, zone, UP, 0.5)):
        assert len(outline.points) >= 3
        ends = np.roll(outline.points, -1, axis=0)
        for a, b, other in zip(outline.points.tolist(), ends.tolist(), outline.neighbour.tolist(), strict=True):
            segments[(*a, *b, outline.zone, other)] += 1
    for a0, a1, a2, b0, b1, b2, one, other in segments:
        assert (b0, b1, b2, a0, a1, a2, other, one) in segments


def test_areas_that_touch_in_a_point_are_walked_round_one_by_one() -> None:
    surface, zone = squares(["00000", "01000", "00100", "00000"])
    outlines = zone_outlines(surface, zone, UP, 1e-12)
    assert [(len(o.points), o.is_hole, round(plane_area(o), 9)) for o in outlines[1]] == [(4, False, 1.0)] * 2
    # around them one hole of two squares would pass the point twice: it is two
    assert [(o.is_hole, round(plane_area(o), 9)) for o in outlines[0]] == [(False, 20.0), (True, -1.0), (True, -1.0)]


def test_a_hole_that_touches_the_outline_is_a_loop_of_its_own() -> None:
    surface, zone = squares(["0000000", "0011110", "0110110", "0111110", "0000000"])
    outlines = zone_outlines(surface, zone, UP, 1e-12)
    assert [(o.is_hole, round(plane_area(o), 9)) for o in outlines[1]] == [(False, 14.0), (True, -1.0)]
    surface, zone = squares(["000000", "001110", "010110", "011110", "000000"])
    outlines = zone_outlines(surface, zone, UP, 1e-12)
    assert sum(plane_area(o) for o in outlines[1]) == pytest.approx(10.0)
    assert all(len({tuple(p) for p in o.points}) == len(o.points) for o in every(outlines))


def test_rims_have_no_neighbour_and_no_joint() -> None:
    surface, zone = squares(["0011", "0011"])
    left, right = (of_zone[0] for of_zone in zone_outlines(surface, zone, UP, FINE_MM))
    for outline, other in ((left, 1), (right, 0)):
        assert plane_area(outline) == 4.0
        assert len(outline.points) == 4
        assert sorted(outline.neighbour) == sorted([NO_ZONE] * 3 + [other])
        assert sorted(outline.joint) == [NO_JOINT] * 3 + [TANGENT]


def test_a_part_of_one_zone_and_zones_without_facets_have_no_outline() -> None:
    surface = smooth_sphere(10.0, 0.3)
    one = np.full(len(surface.mesh.faces), 2, np.int32)
    assert zone_outlines(surface, one, UP, FINE_MM) == [[], [], []]
    assert pushed_out(surface, one, 2, UP, 1.0, FINE_MM) == []
    arrays = outline_arrays([], np.array([1, 2, 3], np.int32))
    assert (len(arrays.points), arrays.starts.tolist(), len(arrays.zone)) == (0, [0], 0)


def test_outlines_laid_end_to_end_for_the_files() -> None:
    surface, zone = squares(["00000", "01020", "00000"])
    listed = every(zone_outlines(surface, zone, UP, FINE_MM))
    ids = np.array([1, 2, -1], np.int32)
    arrays = outline_arrays(listed, ids)
    assert arrays.starts[-1] == len(arrays.points) == len(arrays.neighbour) == len(arrays.joint)
    for i, outline in enumerate(listed):
        part = slice(arrays.starts[i], arrays.starts[i + 1])
        np.testing.assert_array_equal(arrays.points[part], outline.points)
        assert (arrays.zone[i], arrays.is_hole[i], arrays.kind[i]) == (ids[outline.zone], outline.is_hole, "boundary")
    # a rim has no neighbour, what the job leaves out is told
    assert set(arrays.neighbour[arrays.starts[0] : arrays.starts[1]]) == {0}
    assert set(arrays.neighbour[arrays.starts[1] : arrays.starts[3]]) == {2, -1}


# ---------------------------------------------------------------------------------------- saw-teeth


def naive_kept(points: np.ndarray, within: float) -> list[int]:
    if len(points) < 3:
        return [0, len(points) - 1]
    a, b = points[0], points[-1]
    share = np.clip((points - a) @ (b - a) / max((b - a) @ (b - a), 1e-300), 0, 1)
    off = np.linalg.norm(points - a - share[:, None] * (b - a), axis=1)[1:-1]
    worst = int(np.argmax(off)) + 1
    if off[worst - 1] <= within:
        return [0, len(points) - 1]
    return naive_kept(points[: worst + 1], within)[:-1] + [worst + i for i in naive_kept(points[worst:], within)]


@given(st.integers(0, 2**31), st.integers(2, 60), st.floats(0.0, 1.0))
def test_spare_points_are_those_of_the_rule_read_out(seed: int, count: int, within: float) -> None:
    points = np.cumsum(np.random.default_rng(seed).normal(size=(count, 3)), axis=0)
    keep, _ = kept_points(points, np.array([0, count]), np.array([within]))
    assert np.flatnonzero(keep).tolist() == naive_kept(points, within)


@given(st.floats(0.005, 1.0), st.integers(0, 2**31))
@settings(max_examples=25)
def test_an_outline_and_its_border_keep_within_the_deviation_of_each_other(deviation: float, seed: int) -> None:
    surface = smooth_sphere(10.0, 0.05)
    normal = np.random.default_rng(seed).normal(size=3)
    zone = (surface.mesh.middle @ normal / np.linalg.norm(normal) > 4.0).astype(np.int32)
    for rough, clean in zip(
        every(zone_outlines(surface, zone, UP, 1e-9)), every(zone_outlines(surface, zone, UP, deviation)), strict=True
    ):
        assert clean.deviation_mm <= deviation * (1 + 1e-9)
        assert rough_distance(along(clean), rough.points) <= clean.deviation_mm + 2e-9
        assert rough_distance(along(rough), clean.points) <= clean.deviation_mm + 2e-9


def test_teeth_of_facets_go_where_the_deviation_allows() -> None:
    surface = smooth_sphere(25.0, 0.02)
    zone = (surface.mesh.middle[:, 2] > 10.0).astype(np.int32)
    edge = float(np.sqrt(surface.mesh.area_mm2.mean() * 4 / np.sqrt(3)))
    rough = saw_teeth(every(zone_outlines(surface, zone, UP, 1e-9)), edge)
    clean = saw_teeth(every(zone_outlines(surface, zone, UP, edge)), edge)
    assert rough.lost_deg_per_step > 10.0
    assert clean.lost_deg_per_step < 1.0
    assert clean.coarse_turning_deg == pytest.approx(720.0, rel=0.05), "once round for either zone"


def test_creases_stay_as_they_are() -> None:
    surface, zone, _ = by_slope(*solids.cylinder(10, 30))
    outlines = every(zone_outlines(surface, zone, UP, 0.5))
    assert {len(o.points) for o in outlines} == {len(solids.cylinder(10, 30)[0]) // 2 - 1}
    assert all(set(np.round(np.hypot(*o.points[:, :2].T), 9)) == {10.0} for o in outlines)
    assert turning_deg(outlines[0], 1.0).size == 0
    assert np.isnan(saw_teeth(outlines, 1.0).lost_deg_per_step)


@pytest.mark.parametrize("name", ["fruit_cup_tool", "bottle_shoulder_mould", "paddle_blade", "egg_tray_tool"])
def test_lines_of_constant_slope_on_demo_parts_have_no_teeth(demo_parts: Path, name: str) -> None:
    mesh = read_part(demo_parts / f"{name}.stl").mesh
    surface, zone, _ = by_slope(mesh.vertices, mesh.faces)
    found = saw_teeth(every(zone_outlines(surface, zone, UP, FINE_MM)), 1.0)
    assert found.length_mm > 1000.0
    assert found.lost_deg_per_step < 0.5, "facets alone turn by tens of degrees a step"


def test_a_line_over_a_surface_that_hardly_turns_has_no_teeth() -> None:
    """A sphere of 300 mm turns by 0.2 degrees a facet of 1 mm: its 5 degree line is a circle all the same."""
    rng = np.random.default_rng(1)
    place = np.stack(np.meshgrid(np.arange(-34, 35.0), np.arange(-34, 35.0)), axis=2).reshape(-1, 2)
    place += rng.uniform(-0.25, 0.25, place.shape)
    vertices = np.column_stack([place, np.sqrt(300.0**2 - (place**2).sum(axis=1))])
    mesh = heal(vertices, Delaunay(place).simplices, "part").mesh
    normal = mesh.vertices[mesh.faces] / 300.0
    surface = cut_at_slopes(mesh, normal, UP, THRESHOLDS.between_classes_deg, 0.1)
    uncut_deg = corner_slopes(normal, UP)[surface.parent]
    zone = class_of_facets(slope_deg(surface.normal, UP), uncut_deg, THRESHOLDS).astype(np.int32)
    assert len(surface.mesh.faces) < 1.15 * len(mesh.faces), "pieces along the line are not cut again and again"
    circle = next(o for o in every(zone_outlines(surface, zone, UP, 1e-9)) if o.neighbour.min() >= 0)
    radius = 300.0 * np.sin(np.radians(5.0))
    assert np.abs(np.hypot(*circle.points[:, :2].T) - radius).max() < 0.02
    assert saw_teeth([circle], 1.0).lost_deg_per_step < 0.1


# ---------------------------------------------------------------------------------------- laws


@given(st.integers(0, 2**31))
@settings(max_examples=20)
def test_turning_the_part_turns_the_loops(seed: int) -> None:
    turn = Rotation.random(random_state=seed).as_matrix()
    surface, zone, zone_class = by_slope(*solids.hemisphere(25.0, 0.05))
    turned = CutSurface(
        Mesh(surface.mesh.vertices @ turn.T, surface.mesh.faces), surface.corner_normal @ turn.T, surface.parent
    )
    flat = int(np.flatnonzero(zone_class == FLAT)[0])
    pairs = [
        (zone_outlines(surface, zone, UP, 0.05), zone_outlines(turned, zone, turn @ UP, 0.05)),
        ([pushed_out(surface, zone, flat, UP, 1.5, 0.05)], [pushed_out(turned, zone, flat, turn @ UP, 1.5, 0.05)]),
    ]
    for before, after in pairs:
        for one, other in zip(every(before), every(after), strict=True):
            assert (one.zone, one.is_hole) == (other.zone, other.is_hole)
            assert other.length_mm == pytest.approx(one.length_mm, rel=2e-3)
            assert rough_distance(other.points @ turn, one.points) < 0.06


@given(st.integers(0, 2**31))
@settings(max_examples=10)
def test_the_order_of_facets_leaves_no_trace(seed: int) -> None:
    vertices, faces = solids.round_pocket()
    shuffled = solids.permuted(vertices, faces, seed)
    (one, zone, _), (other, other_zone, _) = by_slope(vertices, faces), by_slope(*shuffled)
    for a, b in zip(
        every(zone_outlines(one, zone, UP, 0.05)), every(zone_outlines(other, other_zone, UP, 0.05)), strict=True
    ):
        np.testing.assert_array_equal(a.points, b.points)


# ---------------------------------------------------------------------------------------- pushing out


@pytest.mark.parametrize("distance", [0.3, 1.0, 4.0])
@pytest.mark.parametrize("pattern", ["uv", "ico"])
def test_a_cap_grows_by_its_distance_over_the_sphere(distance: float, pattern: str) -> None:
    surface, zone, zone_class = by_slope(*solids.sphere(25.0, pattern=pattern))  # type: ignore[arg-type]
    cap = int(np.flatnonzero(zone_class == FLAT)[0])
    (outline,) = pushed_out(surface, zone, cap, UP, distance, FINE_MM)
    slope = np.arctan2(np.hypot(*outline.points[:, :2].T), outline.points[:, 2])
    found = 25.0 * (slope - np.radians(5.0))
    assert outline.kind == "overlap"
    assert not outline.is_hole
    assert np.abs(found - distance).mean() < 0.01 * distance + 0.3 * FINE_MM
    assert np.abs(found - distance).max() < 0.01 * distance + 2 * FINE_MM
    assert set(outline.joint) == {TANGENT}


def test_a_floor_grows_over_its_fillet_and_no_crease_is_crossed() -> None:
    surface, zone, zone_class = by_slope(*solids.round_pocket())
    before = zone_outlines(surface, zone, UP, FINE_MM)
    for number, of_zone in enumerate(before):
        grown = pushed_out(surface, zone, number, UP, 2.0, FINE_MM)
        assert len(grown) == len(of_zone)
        if all(set(o.joint) <= {INSIDE_CORNER, OUTSIDE_CORNER} for o in of_zone):
            for one, other in zip(of_zone, grown, strict=True):
                assert other.length_mm == pytest.approx(one.length_mm, rel=1e-9)
        elif zone_class[number] == FLAT:
            angle = np.radians(5.0) + 2.0 / 6.0
            np.testing.assert_allclose(np.hypot(*grown[0].points[:, :2].T), 14 + 6 * np.sin(angle), atol=0.02)
            np.testing.assert_allclose(grown[0].points[:, 2], 10 + 6 * (1 - np.cos(angle)), atol=0.02)


def in_plane(seed: int, half_mm: float, spread_mm: float) -> tuple[CutSurface, np.ndarray]:
    """A square zone in a plane of random facets."""
    side = np.linspace(-half_mm, half_mm, 21)
    rim = np.concatenate([np.c_[side, np.full(21, s * half_mm)] for s in (-1, 1)])
    rim = np.unique(np.concatenate([rim, rim[:, ::-1]]), axis=0)
    inner = np.random.default_rng(seed).uniform(-spread_mm, spread_mm, (60, 2))
    # no point so near the border that Delaunay's edges would leave it
    inner = inner[np.abs(np.abs(inner).max(axis=1) - half_mm) > 0.06 * half_mm]
    far = 3 * half_mm * np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])
    points = np.concatenate([rim, far, inner])
    faces = Delaunay(points).simplices
    surface = as_surface(np.c_[points, np.zeros(len(points))], faces)
    middle = np.abs(surface.mesh.middle[:, :2]).max(axis=1)
    return surface, np.where(middle < half_mm, 1, 0).astype(np.int32)


@given(st.integers(0, 2**31), st.floats(0.2, 6.0))
@settings(max_examples=30)
def test_a_square_in_a_plane_grows_round_corners(seed: int, distance: float) -> None:
    surface, zone = in_plane(seed, 10.0, 25.0)
    (outline,) = pushed_out(surface, zone, 1, UP, distance, 1e-4)
    # Steiner's formula for the parallel of a convex area
    assert outline.length_mm == pytest.approx(80.0 + 2 * np.pi * distance, rel=0.004)
    assert plane_area(outline) == pytest.approx(400.0 + 80.0 * distance + np.pi * distance**2, rel=0.004)
    apart = np.linalg.norm(np.maximum(np.abs(outline.points[:, :2]) - 10.0, 0.0), axis=1)
    assert np.abs(apart - distance).mean() < 0.01 * distance


@given(st.integers(0, 2**31))
@settings(max_examples=10)
def test_a_hole_narrower_than_the_distance_closes(seed: int) -> None:
    surface, zone = in_plane(seed, 3.0, 8.0)
    outer, hole = pushed_out(surface, zone, 0, UP, 1.0, 1e-4)
    assert (outer.is_hole, hole.is_hole) == (False, True)
    assert set(outer.neighbour) == {NO_ZONE}
    assert plane_area(hole) == pytest.approx(-16.0, rel=0.02)
    (alone,) = pushed_out(surface, zone, 0, UP, 3.3, 1e-4)
    assert plane_area(alone) == pytest.approx(18.0**2)


def test_coarse_long_facets_do_not_dent_the_line() -> None:
    """Found on 2026-11-25: fans of long facets from a far hole to a fine border bent the line by a third."""
    turn = np.radians(np.arange(0, 360, 2.0))
    ring = 40.0 * np.c_[np.cos(turn), np.sin(turn)]
    few = np.radians(np.arange(0, 360, 30.0))
    hole = [46.0, 0.0] + 2.0 * np.c_[np.cos(few), np.sin(few)]
    points = np.concatenate([ring, hole, [[0.0, 0.0], [90, 90], [-90, 90], [-90, -90], [90, -90]]])
    surface = as_surface(np.c_[points, np.zeros(len(points))], Delaunay(points).simplices)
    zone = (np.linalg.norm(surface.mesh.middle, axis=1) < 40.0).astype(np.int32)
    (outline,) = pushed_out(surface, zone, 1, UP, 1.5, 1e-3)
    np.testing.assert_allclose(np.linalg.norm(outline.points, axis=1), 41.5, atol=0.03)


def test_zones_that_are_not_to_be_grown_over_are_not() -> None:
    surface, zone = squares(["0012", "0012", "0012"])
    outlines = zone_outlines(surface, zone, UP, FINE_MM)
    takes, distance = np.array([True, True, False]), np.array([np.nan, 0.5, np.nan])
    pushed = pushed_outlines(surface, zone, outlines, UP, distance, takes, FINE_MM)
    assert [len(of_zone) for of_zone in pushed] == [0, 1, 0]
    (middle,) = pushed[1]
    assert (middle.points[:, 0].min(), middle.points[:, 0].max()) == pytest.approx((1.5, 3.0), abs=0.01)
    assert set(middle.neighbour) == {NO_ZONE, 0, 2}


def test_distances_that_lead_nowhere_are_refused() -> None:
    surface, zone = squares(["01"])
    with pytest.raises(ValueError, match="above 0"):
        pushed_out(surface, zone, 0, UP, 0.0, FINE_MM)
