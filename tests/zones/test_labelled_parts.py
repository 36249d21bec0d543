"""The labelled parts are what they claim: closed, of exact areas, each face of its kind, each zone by the rules."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from math import acos, cos, degrees, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
import solids
import trimesh
from asked_for import few_of
from labelled import LabelledPart, iou, labels_at, refined, shaken, turned
from labelled_parts import MAKERS
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

FINE_MM, COARSE_MM = 0.005, 0.1
EVERY_PART = pytest.mark.parametrize("make", MAKERS, ids=lambda make: make.__name__)
Maker = Callable[[float], LabelledPart]


@cache
def fine(make: Maker) -> LabelledPart:
    return make(FINE_MM)


def by_name(name: str, chord_error_mm: float = FINE_MM) -> LabelledPart:
    return next(make for make in MAKERS if make.__name__ == name)(chord_error_mm)


def zone_mm2(part: LabelledPart) -> dict[str, float]:
    return dict(zip(part.zone_names, np.bincount(part.zone, part.areas_mm2), strict=True))


def neighbours(part: LabelledPart) -> tuple[np.ndarray, np.ndarray]:
    """(e, 2) facets on both sides of each edge, and the (e,) angle between them in degrees."""
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    pairs = mesh.face_adjacency
    cosine = (part.normals[pairs[:, 0]] * part.normals[pairs[:, 1]]).sum(axis=1)
    return pairs, np.degrees(np.arccos(np.clip(cosine, -1, 1)))


# ---------------------------------------------------------------------------------------- meshes and labels


@EVERY_PART
@pytest.mark.parametrize("chord_error_mm", [FINE_MM, 0.01, 0.03, COARSE_MM])
def test_parts_are_closed_and_outward_and_keep_their_labels_at_every_chord_error(
    make: Maker, chord_error_mm: float
) -> None:
    part, same = make(chord_error_mm), fine(make)
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    assert mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0
    # one body, every vertex in use, no facet without a height
    assert mesh.body_count == 1
    assert np.array_equal(np.unique(part.faces), np.arange(len(part.vertices)))
    longest = np.linalg.norm(mesh.triangles - np.roll(mesh.triangles, 1, axis=1), axis=2).max(axis=1)
    assert (2 * part.areas_mm2 / longest).min() > 1e-4
    assert (part.face_names, part.face_shapes) == (same.face_names, same.face_shapes)
    assert (part.zone_names, part.zone_shapes) == (same.zone_names, same.zone_shapes)
    # chords of an arc are short by less than this share of its length: t/R / 3, R from 2 mm
    exact, found = zone_mm2(same), zone_mm2(part)
    assert all(found[name] == pytest.approx(exact[name], rel=0.04) for name in exact)


@EVERY_PART
def test_every_facet_has_one_face_and_every_face_one_zone(make: Maker) -> None:
    part = fine(make)
    assert len(part.face) == len(part.zone) == len(part.faces)
    assert np.array_equal(np.unique(part.face), np.arange(len(part.face_names)))
    assert np.array_equal(np.unique(part.zone), np.arange(len(part.zone_names)))
    assert len(np.unique(np.stack((part.face, part.zone)), axis=1).T) == len(part.face_names)
    assert len(set(part.face_names)) == len(part.face_names) == len(part.face_shapes)
    assert len(set(part.zone_names)) == len(part.zone_names) == len(part.zone_shapes)


def test_there_are_enough_parts_and_zones_of_every_shape() -> None:
    parts = [make(COARSE_MM) for make in MAKERS]
    shapes = [shape for part in parts for shape in part.zone_shapes]
    assert len({part.name for part in parts}) == len(parts) >= 14
    assert len(shapes) >= 220
    assert set(shapes) == {
        "undercut", "land", "floor", "wall", "pocket", "bowl", "dome", "boss", "slope", "groove", "round", "fillet",
        "small features",
    }  # fmt: skip
    assert {shape for part in parts for shape in part.face_shapes} == {
        "plane", "cylinder", "cone", "sphere", "torus", "free"
    }  # fmt: skip


# ---------------------------------------------------------------------------------------- zones by the rules


@EVERY_PART
def test_zones_are_connected(make: Maker) -> None:
    part = fine(make)
    pairs, _ = neighbours(part)
    inside = pairs[part.zone[pairs[:, 0]] == part.zone[pairs[:, 1]]]
    graph = coo_matrix((np.ones(len(inside)), inside.T), shape=(len(part.faces),) * 2)
    _, patch = connected_components(graph, directed=False)
    for number, shape in enumerate(part.zone_shapes):
        patches = len(np.unique(patch[part.zone == number]))
        assert patches == 1 or (shape == "small features" and patches >= 3), part.zone_names[number]


def _looks_at_a_roof(part: LabelledPart, facets: np.ndarray) -> np.ndarray:
    """Whether a ray straight up from just outside each facet meets the part (trimesh's own ray test)."""
    if not facets.any():
        return np.zeros(0, bool)
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    start = (part.centres + 0.05 * part.normals)[facets]
    return mesh.ray.intersects_any(start, np.tile([0.0, 0, 1], (len(start), 1)))


@EVERY_PART
def test_zones_have_the_slopes_of_their_shapes(make: Maker) -> None:
    part = fine(make)
    shape = np.array(part.zone_shapes)[part.zone]
    slope = np.degrees(np.arccos(np.clip(part.normals[:, 2], -1, 1)))
    assert (shape[slope > 90.01] == "undercut").all()
    hidden = (shape == "undercut") & (slope < 90.01)
    assert _looks_at_a_roof(part, hidden).all()
    assert np.allclose(slope[np.isin(shape, ("land", "floor"))], 0, atol=0.01)
    assert slope[shape == "slope"].max(initial=0) < 60
    steepest = np.zeros(len(part.zone_names))
    np.maximum.at(steepest, part.zone, slope)
    assert all(steepest[k] >= 60 for k, kind in enumerate(part.zone_shapes) if kind == "wall")


@EVERY_PART
def test_something_rises_from_a_floor_and_all_falls_away_from_a_land(make: Maker) -> None:
    part = fine(make)
    pairs, _ = neighbours(part)
    pairs = np.vstack((pairs, pairs[:, ::-1]))
    pairs = pairs[part.zone[pairs[:, 0]] != part.zone[pairs[:, 1]]]
    above = part.centres[pairs[:, 1], 2] - part.centres[pairs[:, 0], 2]
    for number, shape in enumerate(part.zone_shapes):
        if shape in ("land", "floor"):
            rises = bool((above[part.zone[pairs[:, 0]] == number] > 0).any())
            assert rises == (shape == "floor"), part.zone_names[number]


@EVERY_PART
def test_zones_end_at_edges_and_walls_alone_have_edges_inside(make: Maker) -> None:
    """Sharp edges lie between zones, or are the upright edges of a wall, or a drill's point, or hidden.

    Where two zones meet without an edge, one is a level plane or a tight fillet.
    """
    part = fine(make)
    pairs, bend = neighbours(part)
    shapes = np.array(part.zone_shapes)[part.zone[pairs]]
    same = part.zone[pairs[:, 0]] == part.zone[pairs[:, 1]]
    steep = (part.normals[pairs, 2] < cos(radians(59))).all(axis=1)
    # a fine chord error leaves bends below 15 degrees on the tightest arc of 1 mm
    may_have = np.isin(shapes[:, 0], ("small features", "undercut"))
    inside = same & (bend > 20) & ~((shapes[:, 0] == "wall") & steep) & ~may_have
    assert not inside.any(), {part.zone_names[z] for z in part.zone[pairs[inside, 0]]}
    smooth = ~same & (bend < 20) & ~np.isin(shapes, ("land", "floor", "fillet")).any(axis=1)
    assert not smooth.any(), {part.zone_names[z] for z in part.zone[pairs[smooth]].ravel()}


# ---------------------------------------------------------------------------------------- faces of their kind


@EVERY_PART
def test_faces_are_of_the_kind_they_are_called(make: Maker) -> None:
    part = fine(make)
    for number, shape in enumerate(part.face_shapes):
        mine = part.face == number
        points, normals = part.vertices[np.unique(part.faces[mine])], part.normals[mine]
        if shape != "free":
            assert kinds_by_normals(normals) >= {shape}, part.face_names[number]
            assert misfit_mm(shape, points, normals) < 1e-6, part.face_names[number]


def kinds_by_normals(normals: np.ndarray) -> set[str]:
    """What facets can be: a plane's normals are equal, a cylinder's lie in one plane, a cone's have one slope."""
    spread = np.linalg.svd(normals - normals.mean(axis=0), compute_uv=False) if len(normals) > 1 else np.zeros(1)
    across = np.linalg.svd(normals, compute_uv=False)
    if spread[0] < 1e-6:
        return {"plane"}
    if len(across) < 3 or across[2] < 1e-6:
        return {"cylinder"}
    return {"cone"} if np.ptp(normals[:, 2]) < 1e-6 else {"sphere", "torus"}


def misfit_mm(shape: str, points: np.ndarray, normals: np.ndarray) -> float:
    """Greatest distance of vertices from the surface of that kind that fits them best."""
    if shape == "plane":
        return float(np.abs((points - points[0]) @ normals[0]).max())
    if shape == "sphere":
        _, off = circle_fit(points)
        return off
    if shape == "cylinder":
        # the axis is square to all normals
        across = np.linalg.svd(normals)[2][:2].T if len(normals) > 1 else np.eye(3)[:, :2]
        return circle_fit(points @ across)[1]
    # upright axis: one centre for the rings at all heights
    radius, off = ring_fit(points)
    if shape == "torus":
        assert circle_fit(points)[1] > 1e-3  # or it is a sphere
        profile = np.column_stack((radius, points[:, 2]))
        return max(off, circle_fit(profile)[1])
    line = np.column_stack((points[:, 2], np.ones(len(points))))
    return max(off, float(np.abs(line @ np.linalg.lstsq(line, radius, rcond=None)[0] - radius).max()))


def circle_fit(points: np.ndarray) -> tuple[np.ndarray, float]:
    """Centre of the circle or sphere through (n, d) points, and how far they are off it."""
    middle = points.mean(axis=0)
    near = points - middle
    system = np.column_stack((2 * near, np.ones(len(near))))
    found = np.linalg.lstsq(system, (near**2).sum(axis=1), rcond=None)[0][:-1]
    radii = np.linalg.norm(near - found, axis=1)
    return middle + found, float(np.ptp(radii)) / 2


def ring_fit(points: np.ndarray) -> tuple[np.ndarray, float]:
    """Distance of points from the upright axis about which they lie in rings, and how far off those they are."""
    for axis in (np.zeros(2), None):
        centre = ring_centre(points) if axis is None else axis
        radius = np.linalg.norm(points[:, :2] - centre, axis=1)
        rings = np.unique(np.round(np.column_stack((radius, points[:, 2])), 5), axis=0, return_inverse=True)[1].ravel()
        if len(points) >= 2 * (rings.max() + 1):
            break
    mean = np.bincount(rings, radius) / np.bincount(rings)
    return radius, float(np.abs(radius - mean[rings]).max())


def ring_centre(points: np.ndarray) -> np.ndarray:
    middle = points[:, :2].mean(axis=0)
    near = points[:, :2] - middle
    ring = np.unique(np.round(points[:, 2], 5), return_inverse=True)[1].ravel()
    system = np.column_stack((2 * near, ring[:, None] == np.arange(ring.max() + 1)))
    return middle + np.linalg.lstsq(system, (near**2).sum(axis=1), rcond=None)[0][:2]


# ---------------------------------------------------------------------------------------- exact areas


def turned_arc_mm2(ring: float, tube: float, from_deg: float, to_deg: float) -> float:
    """Arc of a tube turned about an axis ``ring`` from its centre; angles from the outward direction (Pappus)."""
    first, last = radians(from_deg), radians(to_deg)
    return 2 * pi * tube * (ring * (last - first) + tube * (sin(last) - sin(first)))


def filleted_pocket_mm2(radius: float, depth: float, fillet: float, rim: float = 0.0) -> float:
    """Upright round pocket; ``radius`` is that of the opening, beyond the rim round."""
    wall = radius - rim
    floor = pi * (wall - fillet) ** 2
    corner = turned_arc_mm2(wall - fillet, fillet, -90, 0)
    edge = turned_arc_mm2(wall + rim, rim, 90, 180)
    return floor + corner + edge + 2 * pi * wall * (depth - fillet - rim)


def cap_mm2(sphere: float, steepest_deg: float, edge: float = 0.0) -> float:
    """Spherical cap and the round or fillet of radius ``edge`` that leads from it into the plane."""
    ring = (sphere + edge) * sin(radians(steepest_deg))
    round_mm2 = turned_arc_mm2(ring, edge, 90, 90 + steepest_deg)
    return 2 * pi * sphere**2 * (1 - cos(radians(steepest_deg))) + round_mm2


def paraboloid_mm2(radius: float, height: float) -> float:
    """Paraboloid of revolution up to ``radius``: pi r / (6 h^2) ((r^2 + 4 h^2)^1.5 - r^3)."""
    return pi * radius / (6 * height**2) * ((radius**2 + 4 * height**2) ** 1.5 - radius**3)


def cone_mm2(low: float, high: float, slope_deg: float) -> float:
    return pi * abs(low**2 - high**2) / cos(radians(slope_deg))


def drafted_box_mm2(
    w: float, h: float, corner: float, depth: float, draft_deg: float, edges: tuple[float, ...]
) -> float:
    """Rounded rectangular pocket: rim round, leaning wall, floor fillet, floor.

    A curve inset by d is shorter by 2 pi d, so an element of the section at inset d sweeps (L - 2 pi d) ds.
    """
    rim, fillet = edges
    turn, lean = radians(90 - draft_deg), radians(draft_deg)
    length = 2 * (w + h) - (8 - 2 * pi) * corner
    slant = (depth - (rim + fillet) * (1 - sin(lean))) / cos(lean)
    wall_to = rim * sin(turn) + slant * sin(lean)
    inset = wall_to + fillet * sin(turn)
    # integral of d ds over: the rim, d = r sin a; the wall; the fillet, d = inset - f sin a
    moment = rim**2 * (1 - cos(turn)) + slant * (rim * sin(turn) + wall_to) / 2
    moment += fillet * (inset * turn - fillet * (1 - cos(turn)))
    section = (rim + fillet) * turn + slant
    floor = (w - 2 * inset) * (h - 2 * inset) - (4 - pi) * (corner - inset) ** 2
    return length * section - 2 * pi * moment + floor


EXACT_MM2 = [
    ("stair_block", "tread 3", sqrt(22**2 + 8**2) * 74),
    ("stair_block", "base", 167 * 74),
    ("terrace_block", "ramp 4 top", 34 * 12 / cos(radians(24))),
    ("terrace_block", "ramp 4 wall", (34 + 12) * 34 * tan(radians(24))),
    ("terrace_block", "riser 1", 2 * (78 + 62) * 9),
    ("terrace_block", "upper", 78 * 62 - 22 * 14 - 16 * 20 - 20 * 12 - 24 * 18),
    ("round_pocket_plate", "pocket 0", filleted_pocket_mm2(17, 14, 5)),
    ("round_pocket_plate", "pocket 6", filleted_pocket_mm2(16, 15, 4.2, 2.5)),
    ("round_pocket_plate", "outside", 2 * (172 + 122) * 26),
    ("sharp_pocket_plate", "pocket 4 floor", 36 * 16 + 20 * 14),
    ("sharp_pocket_plate", "pocket 4 wall", 2 * (36 + 30) * 8),
    ("sharp_pocket_plate", "pocket 2 wall", (2 * (44 + 22) - (8 - 2 * pi) * 6) * 6),
    ("sharp_pocket_plate", "pocket 3 wall", 2 * pi * 13.5 * 14),
    ("bowl_plate", "bowl 0", cap_mm2(24, 58)),
    ("bowl_plate", "bowl 4", cap_mm2(16, 50, 4.5)),
    ("bowl_plate", "parabola 0", paraboloid_mm2(13, 9)),
    ("dome_plate", "dome 5", 2 * pi * 12**2),
    ("dome_plate", "dome 6", cap_mm2(15, 48, 9)),
    ("dome_plate", "parabola 0", paraboloid_mm2(11, 9)),
    ("boss_plate", "boss 0",  # foot fillet 5, flank at radius 12, top round 3
     turned_arc_mm2(17, 5, 180, 270) + 2 * pi * 12 * 4 + turned_arc_mm2(9, 3, 0, 90) + pi * 9**2),
    ("boss_plate", "boss 5 flank", cone_mm2(16, 16 - 7 * tan(radians(40)), 50)),
    ("boss_plate", "boss 5 land", pi * (16 - 7 * tan(radians(40))) ** 2),
    ("trough_block", "groove 1", pi * 9 * 110),
    ("trough_block", "groove 9", (2 * 7 + 5 * radians(100)) * 110),
    ("trough_block", "bead 7", 11 * radians(120) * 110),
    ("bend_block", "level 10", radians(110) / 2 * (  # the section's width is the sum of its elements
        (105 + 0.5 * (w := 39.5 + 54 + 26 * sin(radians(55)) + 11 * sin(radians(50)) + 12 * cos(radians(50)) - 10)) ** 2
        - (105 + 0.5 * w - 9) ** 2)),
    ("tight_fillets", "pocket 2 fillet", turned_arc_mm2(20 - 2 - 4.2, 4.2, -90, 0)),
    ("tight_fillets", "pocket 0 wall", 2 * pi * 18 * 12),
    ("tight_fillets", "peg fillet", turned_arc_mm2(14, 2, 180, 270)),
    ("ring_tool", "groove 3", turned_arc_mm2(90 - 14 - 8, 8, 180, 360)),
    ("ring_tool", "wall 1", cone_mm2(84, 81, 70)),
    ("ring_tool", "slope 7", cone_mm2(90 - 41.5, 90 - 50.5, 40)),
    ("island_pockets", "pocket 0 floor", pi * (21**2 - 13**2)),
    ("island_pockets", "pocket 3 wall", 2 * pi * 24 * 10),
    ("drafted_pockets", "pocket 0", drafted_box_mm2(46, 36, 14, 18, 7, (2, 5.5))),
    ("drafted_pockets", "pocket 1", drafted_box_mm2(40, 34, 13, 13, 10, (0, 6))),
    ("turned_steps", "flange", pi * (76**2 - 71**2)),
    ("turned_steps", "wall 0", turned_arc_mm2(71, 5, 180, 270) + 2 * pi * 66 * 9),
    ("turned_steps", "ring floor", pi * (31**2 - 24**2)),
    ("spool", "slot 0", pi * (56**2 - 46**2) + 2 * pi * 46 * 8),
    ("spool", "slot 1", pi * (52 + 40) * sqrt(12**2 + 8**2) + 2 * pi * 40 * 6),
    ("plate_with_holes", "holes",  # through at 20 mm; blind ones with cones of half angle 59 degrees
     pi * 20 * 3 * (3 + 5 + 6.5) + sum(pi * d * t + pi * d**2 / 4 / sin(radians(59))
                                       for d, t in [(4, 9), (4, 9), (6, 12), (3.3, 7), (5, 11)])
     + pi * 9 * 15),  # and the bore below a seat, 5 mm down
    ("plate_with_holes", "seat 1 floor", pi * (19**2 - 10**2)),
    ("mould_plate", "bowl 0", cap_mm2(18, 60, 2)),
    ("mould_plate", "box 3", drafted_box_mm2(36, 32, 14, 24, 7, (2, 6.5))),
]  # fmt: skip


@pytest.mark.parametrize(
    ("part", "zone", "exact_mm2"), EXACT_MM2, ids=[f"{part}: {zone}" for part, zone, _ in EXACT_MM2]
)
def test_areas_are_those_of_the_closed_forms(part: str, zone: str, exact_mm2: float) -> None:
    make = next(make for make in MAKERS if make.__name__ == part)
    assert zone_mm2(fine(make))[zone] == pytest.approx(exact_mm2, rel=2e-3)


def test_a_wave_has_the_area_of_its_elliptic_integral() -> None:
    """Two whole lengths of the wave of 28 mm and 2.2 mm on a pad 56 x 40 mm, shifted but whole (see solids)."""
    exact = solids.wave_exact(2.2, 28, 2, width_mm=40)
    assert zone_mm2(by_name("wave_block"))["wave 0 top"] == pytest.approx(exact.patches[0].area_below_mm2(90), rel=1e-3)


# ---------------------------------------------------------------------------------------- changes and comparison


@EVERY_PART
def test_labels_go_along_when_a_part_is_refined_shaken_and_turned(make: Maker) -> None:
    part = make(COARSE_MM)
    pieces = refined(part, 6.0)
    assert trimesh.Trimesh(pieces.vertices, pieces.faces, process=False).is_watertight
    assert zone_mm2(pieces) == pytest.approx(zone_mm2(part))
    assert np.array_equal(np.unique(np.stack((pieces.face, pieces.zone)), axis=1),
                          np.unique(np.stack((part.face, part.zone)), axis=1))  # fmt: skip
    moved = turned(shaken(pieces, 0.05, 3), 33.0)
    assert np.array_equal(moved.zone, pieces.zone)
    # turned back it is as it was, but for a push of at most a twentieth of the shortest edge
    back = turned(moved, -33.0)
    push = np.linalg.norm(back.vertices - pieces.vertices, axis=1)
    edges = np.linalg.norm(pieces.vertices[pieces.faces] - np.roll(pieces.vertices[pieces.faces], 1, axis=1), axis=2)
    assert 0 < push.max() <= 0.05 * edges.max() + 1e-9
    tilt = np.degrees(np.arccos(np.clip((back.normals * pieces.normals).sum(axis=1), -1, 1)))
    assert tilt.max() < 20 and np.median(tilt) > 0.1
    assert not np.array_equal(shaken(pieces, 0.05, 3).vertices, shaken(pieces, 0.05, 4).vertices)


@pytest.mark.parametrize("make", few_of(MAKERS[::4], MAKERS), ids=lambda make: make.__name__)
def test_labels_are_found_again_on_another_mesh_of_the_part(make: Maker) -> None:
    """A finer mesh, cut anew and in another order; what differs lies within the coarse chords of a border."""
    part, other = make(0.03), refined(make(0.01), 5.0)
    order = np.random.default_rng(5).permutation(len(other.faces))[:6000]
    face, zone = labels_at(part, other.centres[order], other.normals[order])
    area = other.areas_mm2[order]
    assert np.average(zone == other.zone[order], weights=area) > 0.997
    assert np.average(face == other.face[order], weights=area) > 0.99
    shares, best = iou(other.zone[order], zone, area)
    there = np.isfinite(shares)
    assert np.array_equal(best[there], np.flatnonzero(there)) and np.nanmedian(shares) > 0.995


def test_labels_on_the_same_mesh_are_the_labels() -> None:
    part = by_name("tight_fillets", 0.03)
    face, zone = labels_at(part, part.centres, part.normals)
    assert np.array_equal(face, part.face) and np.array_equal(zone, part.zone)


def test_iou_by_hand() -> None:
    expected, found = np.array([0, 0, 0, 1, 1, 3, -1]), np.array([2, 2, 0, 0, -1, 5, 5])
    shares, best = iou(expected, found, np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 2.0]))
    assert shares[[0, 1, 3]] == pytest.approx([3 / 6, 4 / 12, 6 / 8]) and np.isnan(shares[2])
    assert best.tolist() == [2, 0, -1, 5]
    assert iou(np.array([0]), np.array([-1]), np.ones(1))[1].tolist() == [-1]


def test_angle_between_facets_of_an_arc_is_small_enough_for_the_edge_tests() -> None:
    """2 acos(1 - t/R) at t = 0.005 mm and R = 1 mm is 11.5 degrees."""
    assert degrees(2 * acos(1 - FINE_MM / 1.0)) == pytest.approx(11.46, abs=0.01)
