"""Repeats: copies are found wherever they lie and however they are cut into facets, and near-copies are not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
import shapely
import solids
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import advisor
from advisor.kernels.registration import PADDING, moments_by_label, nearest_alike
from advisor.model import SLOPE_CLASSES
from advisor.part.mesh import Mesh
from advisor.zones.classes import FLAT, STEEP, UNDERCUT
from advisor.zones.repeats import Family, find_repeats, repeat_tolerance_mm

UP = np.array([0.0, 0.0, 1.0])
TOLERANCE_MM = 0.02
L_SHAPE = np.array([(0, 0), (30, 0), (30, 8), (8, 8), (8, 18), (0, 18)], float)
MIRRORED_L = (L_SHAPE * [1, -1])[::-1]
SLOT = np.array([(-12, -3), (12, -3), (12, 3), (-12, 3)], float)


def circle(radius_mm: float, steps: int) -> np.ndarray:
    turn = 2 * np.pi / steps * np.arange(steps)
    return radius_mm * np.column_stack([np.cos(turn), np.sin(turn)])


@dataclass(frozen=True)
class Pocket:
    """A sharp pocket: its outline, where it lies, and into how many pieces its sides and depth are cut."""

    outline: np.ndarray
    turn_deg: float = 0.0
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    depth_mm: float = 10.0
    cuts: tuple[int, int] = (2, 2)


@dataclass(frozen=True)
class Plate:
    """Pockets, two zones each: 0 and 1 are floor and wall of the first, 2 and 3 of the second."""

    mesh: Mesh
    zone: np.ndarray
    zone_class: np.ndarray
    axis: np.ndarray = field(default_factory=lambda: UP)

    def families(self, tolerance_mm: float = TOLERANCE_MM, left_out: Iterable[int] = ()) -> tuple[Family, ...]:
        flags = np.isin(np.arange(len(self.zone_class)), list(left_out))
        return find_repeats(self.mesh, self.zone, self.zone_class, self.axis, tolerance_mm, flags)

    def turned(self, rotation: np.ndarray) -> Plate:
        mesh = Mesh(self.mesh.vertices @ rotation.T, self.mesh.faces)
        return Plate(mesh, self.zone, self.zone_class, rotation @ UP)


def pocket_triangles(pocket: Pocket) -> list[np.ndarray]:
    """Triangles of floor and wall."""
    along, down = pocket.cuts
    corners = pocket.outline
    share = np.arange(along)[None, :, None] / along
    ring = (corners[:, None] * (1 - share) + np.roll(corners, -1, axis=0)[:, None] * share).reshape(-1, 2)
    c, s = np.cos(np.radians(pocket.turn_deg)), np.sin(np.radians(pocket.turn_deg))
    ring = ring @ np.array([(c, s), (-s, c)])
    cover = shapely.constrained_delaunay_triangles(shapely.Polygon(ring))
    floor = np.array([shapely.get_coordinates(piece)[:3] for piece in cover.geoms])
    edges = floor[:, 1:] - floor[:, :1]
    clockwise = edges[:, 0, 0] * edges[:, 1, 1] < edges[:, 0, 1] * edges[:, 1, 0]
    floor[clockwise] = floor[clockwise][:, ::-1]
    floor = np.concatenate([floor, np.full((len(floor), 3, 1), -pocket.depth_mm)], axis=2)
    levels = -pocket.depth_mm * np.arange(down + 1) / down
    wall = np.stack([np.column_stack([ring, np.full(len(ring), z)]) for z in levels])
    a, b = wall, np.roll(wall, -1, axis=1)
    quads = [part.reshape(-1, 3) for part in (a[:-1], b[:-1], b[1:], a[1:])]
    wall = np.concatenate([np.stack([quads[0], quads[1], quads[2]], 1), np.stack([quads[0], quads[2], quads[3]], 1)])
    return [triangles + np.array(pocket.shift) for triangles in (floor, wall)]


def plate(*pockets: Pocket) -> Plate:
    parts = [triangles for pocket in pockets for triangles in pocket_triangles(pocket)]
    corners = np.concatenate(parts).reshape(-1, 3)
    _, first, number = np.unique(np.round(corners, 7), axis=0, return_index=True, return_inverse=True)
    zone = np.repeat(np.arange(len(parts)), [len(part) for part in parts]).astype(np.int32)
    classes = np.tile([FLAT, STEEP], len(pockets)).astype(np.int8)
    return Plate(Mesh(corners[first], number.reshape(-1, 3).astype(np.int32)), zone, classes)


def moved(points: np.ndarray, family: Family, copy: int, axis: np.ndarray = UP) -> np.ndarray:
    """Points of the model carried to a copy, as the record says."""
    turn = Rotation.from_rotvec(np.radians(family.turn_deg[copy]) * axis)
    return turn.apply(points) + family.shift_mm[copy]


def off_the_copy(part: Plate, family: Family, copy: int) -> float:
    """Largest distance of the model's corners, carried over, from the facets of a copy: by another library."""
    points = part.mesh.vertices[np.unique(part.mesh.faces[np.isin(part.zone, family.members[0])])]
    facets = part.mesh.faces[np.isin(part.zone, family.members[copy])]
    target = trimesh.Trimesh(part.mesh.vertices, facets, process=False)
    return float(trimesh.proximity.closest_point(target, moved(points, family, copy, part.axis))[1].max())


def apart_deg(one: float, other: float) -> float:
    return abs((one - other + 180.0) % 360.0 - 180.0)


# ---------------------------------------------------------------------------------------- copies are found

cuts = st.tuples(st.integers(1, 4), st.integers(1, 3))
turns = st.floats(-180, 180)


@settings(max_examples=25)
@given(st.lists(st.tuples(turns, cuts, st.floats(-5, 5)), min_size=1, max_size=4), st.integers(0, 2**31))
def test_law_copies_turned_and_shifted_are_found_again(copies: list, chance: int) -> None:
    pockets = [Pocket(L_SHAPE, 20.0, (5, 5, 0))]
    pockets += [Pocket(L_SHAPE, turn, (90.0 * k, 17.0, z), 10, cut) for k, (turn, cut, z) in enumerate(copies, 1)]
    rotation = Rotation.from_quat(np.random.default_rng(chance).normal(size=4)).as_matrix()
    part = plate(*pockets).turned(rotation)
    (family,) = part.families()
    assert family.members == tuple((2 * k, 2 * k + 1) for k in range(len(pockets)))
    assert not any(family.is_mirrored)
    assert family.residual_mm < 1e-3
    for k, pocket in enumerate(pockets):
        assert apart_deg(family.turn_deg[k], pocket.turn_deg - 20.0) < 0.01
        assert off_the_copy(part, family, k) < 1e-3


def test_facets_do_not_matter_on_a_round_shape() -> None:
    pockets = [Pocket(circle(20, steps), 0.0, (50.0 * k, 0, 0)) for k, steps in enumerate((90, 97, 101))]
    part = plate(*pockets)
    chord_error = 20 * (1 - np.cos(np.pi / 90))
    (family,) = part.families(repeat_tolerance_mm(part.mesh, chord_error))
    assert family.members == ((0, 1), (2, 3), (4, 5))
    assert family.turn_deg == (0.0, 0.0, 0.0)
    assert family.pattern == "row"
    assert family.pitch_mm[0] == pytest.approx((50, 0, 0), abs=0.01)


@given(st.integers(0, 2**31))
@settings(max_examples=5)
def test_the_order_of_facets_does_not_matter(chance: int) -> None:
    part = plate(*(Pocket(L_SHAPE, 40.0 * k, (60.0 * k, 0, 0), 10, (k + 1, 2)) for k in range(3)))
    random = np.random.default_rng(chance)
    order = random.permutation(len(part.zone))
    shuffled = Plate(Mesh(part.mesh.vertices, part.mesh.faces[order]), part.zone[order], part.zone_class)
    (one,), (other,) = part.families(), shuffled.families()
    assert one.members == other.members
    assert one.turn_deg == pytest.approx(other.turn_deg, abs=1e-3)


# ---------------------------------------------------------------------------------------- patterns


def test_grid() -> None:
    pockets = [Pocket(L_SHAPE, 30.0, (40.0 * i, 25.0 * j, 0)) for i in range(4) for j in range(3)]
    (family,) = plate(*pockets).families()
    assert (family.copies, family.pattern, set(family.turn_deg)) == (12, "grid", {0.0})
    assert np.allclose(sorted(family.pitch_mm), [(0, 25, 0), (40, 0, 0)], atol=1e-6)


@pytest.mark.parametrize(
    ("turns", "pitch"), [((0, 72, 144, 216, 288), 72.0), ((0, 30, 60), 30.0), ((0, 50, 170), None)]
)
def test_polar(turns: tuple[float, ...], pitch: float | None) -> None:
    centre = np.array([7.0, -3.0, 0.0])
    pockets = []
    for turn in turns:
        place = Rotation.from_euler("z", turn, degrees=True).apply([60.0, 10.0, 0.0]) + centre
        pockets.append(Pocket(L_SHAPE, turn, tuple(place)))
    (family,) = plate(*pockets).families()
    assert family.pattern == "polar"
    assert family.centre_mm == pytest.approx(tuple(centre), abs=1e-3)
    assert family.pitch_deg == (None if pitch is None else pytest.approx(pitch, abs=1e-3))


def test_slots_on_rays_are_polar_though_each_has_two_turns() -> None:
    angles = (0, 60, 120, 180, 240, 300)
    places = [Rotation.from_euler("z", turn, degrees=True).apply([40.0, 0, 0]) for turn in angles]
    pockets = [Pocket(SLOT, turn, tuple(place)) for turn, place in zip(angles, places, strict=True)]
    (family,) = plate(*pockets).families()
    assert (family.copies, family.pattern) == (6, "polar")
    assert family.pitch_deg == pytest.approx(60.0, abs=1e-3)
    assert all(apart_deg(found, turn) < 1e-3 for found, turn in zip(family.turn_deg, angles, strict=True))


def test_a_ring_of_six_is_no_grid() -> None:
    places = np.column_stack([circle(50, 6), np.zeros(6)])
    (family,) = plate(*(Pocket(L_SHAPE, 0.0, tuple(place)) for place in places)).families()
    assert (family.copies, family.pattern) == (6, "free")


@pytest.mark.parametrize(
    ("azimuths", "pattern", "pitch"),
    [
        ((0, 72, 144, 216, 288), "polar", 72.0),
        ((0, 120, 240), "polar", 120.0),
        ((0, 40, 100, 170, 230), "polar", None),
        ((0, 40, 170), "free", None),  # any three places lie on a circle
        ((0, 60, 180, 240), "grid", None),
        ((0, 180), "row", None),
    ],
)
def test_round_holes_on_a_circle(azimuths: tuple[float, ...], pattern: str, pitch: float | None) -> None:
    places = [Rotation.from_euler("z", turn, degrees=True).apply([70.0, 0, 0]) + [5.0, 2.0, 0] for turn in azimuths]
    (family,) = plate(*(Pocket(circle(8, 72), 0.0, tuple(place)) for place in places)).families()
    assert (family.copies, family.pattern) == (len(azimuths), pattern)
    assert family.pitch_deg == (None if pitch is None else pytest.approx(pitch, abs=1e-3))
    if pattern == "polar":
        assert family.centre_mm == pytest.approx((5.0, 2.0, 0.0), abs=1e-3)
        assert sorted(turn % 360 for turn in family.turn_deg) == pytest.approx(azimuths, abs=1e-3)


def test_shifts_without_order_are_free() -> None:
    places = [(0, 0, 0), (50, 3, 0), (20, 61, 0), (93, 40, 0), (140, 9, 0)]
    (family,) = plate(*(Pocket(L_SHAPE, 0.0, place) for place in places)).families()
    assert (family.copies, family.pattern, family.centre_mm, family.pitch_mm) == (5, "free", None, ())


# ---------------------------------------------------------------------------------------- near-copies are refused

NEAR = {
    "deeper by 0.1": Pocket(L_SHAPE, 0.0, (60, 0, 0), 10.1),
    "larger by 1 %": Pocket(1.01 * L_SHAPE, 0.0, (60, 0, 0), 10),
    "larger by 1 % and deeper": Pocket(1.01 * L_SHAPE, 30.0, (60, 0, 0), 10.1),
    "wider by 1 %": Pocket(L_SHAPE * [1, 1.01], 0.0, (60, 0, 0), 10),
    "one side 0.1 further out": Pocket(L_SHAPE + (L_SHAPE[:, :1] == 30) * [0.1, 0], 0.0, (60, 0, 0), 10),
}
COARSEST = repeat_tolerance_mm(plate(Pocket(L_SHAPE)).mesh, 1.0)  # facets 1 mm off leave no more room


@pytest.mark.parametrize("tolerance_mm", [0.01, COARSEST])
@pytest.mark.parametrize("near", NEAR)
def test_near_copies_are_refused(near: str, tolerance_mm: float) -> None:
    families = plate(Pocket(L_SHAPE), NEAR[near]).families(tolerance_mm)
    # the floor of a deeper pocket is the same floor further down
    same_floor = near == "deeper by 0.1"
    assert [family.members for family in families] == ([((0,), (2,))] if same_floor else [])
    if same_floor:
        assert families[0].shift_mm[1] == pytest.approx((60, 0, -0.1), abs=1e-6)


@pytest.mark.parametrize("size_mm", [2.0, 4.0, 20.0, 200.0])
def test_a_round_pocket_of_any_size_differs_from_one_1_percent_larger(size_mm: float) -> None:
    pockets = [Pocket(circle(size_mm * f / 2, 180), 0.0, (3 * k * size_mm, 0, 0)) for k, f in enumerate((1, 1.01))]
    assert plate(*pockets).families(COARSEST) == ()


def test_a_small_detail_tells_two_large_pockets_apart() -> None:
    # a notch of 0.5 mm in a side of 200 mm, in one of the two
    square = np.array([(0, 0), (200, 0), (200, 200), (0, 200)], float)
    notched = np.array([(0, 0), (90, 0), (90.25, 0.5), (90.5, 0), (200, 0), (200, 200), (0, 200)], float)
    assert plate(Pocket(square), Pocket(notched, 0.0, (300, 0, 0))).families(COARSEST) == ()


# ---------------------------------------------------------------------------------------- mirror images


def test_a_mirror_image_is_told_apart() -> None:
    (family,) = plate(Pocket(L_SHAPE), Pocket(MIRRORED_L, 77.0, (60, 0, 0))).families()
    assert family.members == ((0, 1), (2, 3))
    assert family.is_mirrored == (False, True)
    assert (family.copies, family.pattern) == (1, "free")
    image = moved(np.column_stack([L_SHAPE * [1, -1], np.zeros(6)]), family, 1)
    c, s = np.cos(np.radians(77)), np.sin(np.radians(77))
    assert np.allclose(image[:, :2], L_SHAPE * [1, -1] @ np.array([(c, s), (-s, c)]) + [60, 0], atol=1e-3)


def test_both_hands_are_families_of_their_own() -> None:
    outlines = (L_SHAPE, MIRRORED_L, L_SHAPE, MIRRORED_L)
    pockets = [Pocket(outline, 33.0 * k, (60.0 * k, 0, 0)) for k, outline in enumerate(outlines)]
    one, other = plate(*pockets).families()
    assert one.members == ((0, 1), (4, 5), (2, 3), (6, 7))
    assert one.is_mirrored == (False, False, True, True)
    assert one.copies == other.copies == 2
    assert other.members == ((2, 3), (6, 7))
    assert not any(other.is_mirrored)
    assert apart_deg(other.turn_deg[1], 66.0) < 0.01


def test_a_symmetrical_shape_is_no_mirror_image() -> None:
    (family,) = plate(Pocket(SLOT), Pocket((SLOT * [1, -1])[::-1], 25.0, (60, 0, 0))).families()
    assert family.is_mirrored == (False, False)
    assert family.turn_deg[1] == pytest.approx(25.0, abs=1e-3)


# ---------------------------------------------------------------------------------------- groups and who takes part


def test_a_floor_without_its_wall_is_no_group() -> None:
    part = plate(Pocket(L_SHAPE), Pocket(L_SHAPE, 10.0, (60, 0, 0)), Pocket(L_SHAPE, 20.0, (120, 0, 0), 12.0))
    members = {family.members for family in part.families()}
    assert members == {((0, 1), (2, 3))}  # the third floor has another wall


def test_a_round_wall_follows_the_floor_that_is_not_round() -> None:
    # a floor of two halves, one of which is a zone of its own: the round wall alone could turn as it likes
    pockets = [Pocket(circle(20, 96), turn, (50.0 * k, 0, 0), 10, (1, 1)) for k, turn in enumerate((0.0, 90.0))]
    part = plate(*pockets)
    zone = part.zone.copy()
    middle = part.mesh.middle
    for k, direction in enumerate(((1.0, 0.0), (0.0, 1.0))):
        side = (middle[:, :2] - [50.0 * k, 0]) @ direction > 8.0
        zone[(zone == 2 * k) & side] = 4 + k
    split = Plate(part.mesh, zone, np.array([FLAT, STEEP] * 2 + [FLAT] * 2, np.int8))
    (family,) = split.families(0.04)
    assert family.members == ((0, 1, 4), (2, 3, 5))
    assert family.turn_deg[1] == pytest.approx(90.0, abs=1e-2)


def test_both_sides_of_a_lobe_go_with_it_though_they_are_mirror_images() -> None:
    kite = np.array([(-10, -6), (14, 0), (-10, 6)], float)
    turns = (0.0, 120.0, 240.0)
    places = [Rotation.from_euler("z", turn, degrees=True).apply([60.0, 0, 0]) for turn in turns]
    part = plate(*(Pocket(kite, turn, tuple(place)) for turn, place in zip(turns, places, strict=True)))
    zone, middle = part.zone.copy(), part.mesh.middle.copy()
    for k, turn in enumerate(turns):
        left = Rotation.from_euler("z", -turn, degrees=True).apply(middle)[:, 1] > 0
        zone[(zone == 2 * k + 1) & left] = 6 + k
    sides = Plate(part.mesh, zone, np.array([FLAT, STEEP] * 3 + [STEEP] * 3, np.int8))
    (family,) = sides.families()
    assert family.members == ((0, 1, 6), (2, 3, 7), (4, 5, 8))
    assert (family.pattern, family.is_mirrored) == ("polar", (False, False, False))
    assert family.pitch_deg == pytest.approx(120.0, abs=1e-3)


def test_undercut_and_left_out_zones_take_no_part() -> None:
    part = plate(Pocket(L_SHAPE), Pocket(L_SHAPE, 10.0, (60, 0, 0)))
    under = Plate(part.mesh, part.zone, np.array([FLAT, UNDERCUT] * 2, np.int8))
    assert [family.members for family in under.families()] == [((0,), (2,))]
    assert [family.members for family in part.families(left_out=(0,))] == [((1,), (3,))]


def test_parts_without_repeats() -> None:
    mesh = Mesh(*(np.asarray(part, kind) for part, kind in zip(solids.torus(20, 5), (float, np.int32), strict=True)))
    zone = np.zeros(len(mesh.faces), np.int32)
    assert find_repeats(mesh, zone, np.array([STEEP], np.int8), UP, 0.02, np.array([False])) == ()


# ---------------------------------------------------------------------------------------- kernels


@given(st.integers(0, 2**31))
@settings(max_examples=20)
def test_nearest_as_another_library_finds_it(chance: int) -> None:
    random = np.random.default_rng(chance)
    corners = random.normal(size=(PADDING, 3, 3))
    corners[::5, 2] = corners[::5, 1]  # segments among them
    points, none = random.normal(size=(20, 3)) * 2, np.zeros((20, 3))
    box = np.stack([corners.reshape(-1, 24, 3).min(1), corners.reshape(-1, 24, 3).max(1)], axis=1)
    large = np.stack([corners.reshape(-1, 3).min(0), corners.reshape(-1, 3).max(0)])[None]
    foot = np.empty((20, 3))
    distance, piece = nearest_alike(
        points, none, corners, np.zeros((PADDING, 3)), box, large, 0, PADDING, 1.0, -1.0, True, foot
    )
    found = np.stack([trimesh.triangles.closest_point(corners, np.tile(p, (PADDING, 1))) for p in points])
    apart = np.linalg.norm(found - points[:, None], axis=2)
    near = apart.min(axis=1) <= 1.0
    assert np.array_equal(piece >= 0, near)
    assert distance[near] == pytest.approx(apart.min(axis=1)[near], abs=1e-9)
    assert np.allclose(foot[near], found[np.arange(20), apart.argmin(axis=1)][near], atol=1e-7)
    assert np.isinf(distance[~near]).all()


def test_moments_of_a_rectangle() -> None:
    # closed form: the mean square from the middle is side^2 / 12
    vertices = np.array([(3, 1, 2), (9, 1, 2), (9, 5, 2), (3, 5, 2)], float)
    faces = np.array([(0, 1, 2), (0, 2, 3)], np.int32)
    mesh = Mesh(vertices, faces)
    sums = moments_by_label(vertices, faces, mesh.area_mm2, mesh.normal, np.zeros(2, np.int32), 1)[0]
    assert sums[0] == pytest.approx(24)
    assert sums[1:4] / 24 == pytest.approx([6, 3, 2])
    assert sums[4:8] / 24 == pytest.approx([36 + 36 / 12, 9 + 16 / 12, 4, 18])
    assert sums[8:] / 24 == pytest.approx([1, 1, 0, 0, 1])


# ---------------------------------------------------------------------------------------- demo parts


def families_of(path: Path, **options: str) -> tuple[Plate, tuple[Family, ...]]:
    plan = advisor.plan(path, only_zones=True, **options)
    facets, zones, record = plan.facets, plan.record.zones, plan.record
    classes = np.array([SLOPE_CLASSES.index(zone.slope_class) for zone in zones], np.int8)
    part = Plate(Mesh(facets.vertices, facets.faces), (facets.zone - 1).astype(np.int32), classes)
    chord_error = None if record.part.chord_error_um is None else record.part.chord_error_um / 1000
    collected = np.flatnonzero([zone.features > 1 for zone in zones])
    return part, part.families(repeat_tolerance_mm(part.mesh, chord_error), collected.tolist())


def area_of(part: Plate, zones: Iterable[int]) -> float:
    return float(part.mesh.area_mm2[np.isin(part.zone, list(zones))].sum())


def test_the_pockets_of_the_fruit_cup_tool(demo_parts: Path) -> None:
    part, families = families_of(demo_parts / "fruit_cup_tool.stl")
    family = max(families, key=lambda family: area_of(part, family.members[0]))
    assert (family.copies, family.pattern) == (5, "polar")
    assert family.pitch_deg == pytest.approx(72.0, abs=0.01)
    assert family.centre_mm == pytest.approx((0, 0, 0), abs=0.01)
    # floor, fillet, wall and rim go together: shapely's area of the pocket's outline is 4420 mm2 in plan
    assert area_of(part, family.members[0]) > 5500


def test_the_bolt_holes_of_the_fruit_cup_tool(demo_parts: Path) -> None:
    # a ball of 6 mm goes into them; with a larger one they are small features
    _, families = families_of(demo_parts / "fruit_cup_tool.stl", ball="6 mm")
    assert [(family.copies, family.pattern) for family in families] == [(5, "polar"), (5, "polar")]
    assert all(family.pitch_deg == pytest.approx(72.0, abs=0.01) for family in families)


def test_the_cups_and_posts_of_the_egg_tray_tool(demo_parts: Path) -> None:
    part, families = families_of(demo_parts / "egg_tray_tool.stl")
    cups, posts = (next(family for family in families if family.copies == copies) for copies in (12, 6))
    for family in (cups, posts):
        assert (family.pattern, set(family.turn_deg)) == ("grid", {0.0})
        assert np.allclose(sorted(family.pitch_mm), [(0, 48, 0), (48, 0, 0)], atol=0.01)
    # the wall of a cup and of a post at least; into which zones they fall is not asked here
    assert area_of(part, cups.members[0]) > 2800
    assert area_of(part, posts.members[0]) > 320
