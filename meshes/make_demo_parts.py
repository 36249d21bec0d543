"""Make the demo parts: tooling for moulded-fibre packaging, our own invention.

Run ``python meshes/make_demo_parts.py`` to write the binary STL files and ``truth.json`` beside this script.
Nothing is random: the same versions of numpy and shapely give the same bytes.

The parts are built face by face, as a solid modeller would: outlines of tangent arcs are swept along a
wall section (round, draft wall, fillet), so that every fillet is a true arc and every plane exactly plane.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from math import acos, asin, atan2, ceil, cos, hypot, pi, radians, sin, sqrt, tan
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

Points = NDArray[np.float64]
Triangles = NDArray[np.float64]  # (m, 3, 3): facet, corner, coordinate in mm

HERE = Path(__file__).parent
# Corners closer than this are one corner; far below any tolerance, above the float32 step at 250 mm.
GRID_MM = 5e-5


# ---------------------------------------------------------------------------------------- measures


@dataclass(frozen=True)
class EggTray:
    """Forming tool with a grid of equal cups in a flat land, posts between them and a bolted flange."""

    size_mm: tuple[float, float, float] = (250.0, 202.0, 72.0)
    cups: tuple[int, int] = (4, 3)
    pitch_mm: float = 48.0
    cup_width_mm: float = 42.0
    cup_corner_radius_mm: float = 16.0
    cup_depth_mm: float = 28.0
    cup_draft_deg: float = 10.0
    cup_fillet_mm: float = 6.5
    cup_rim_round_mm: float = 2.0
    drain_hole_diameter_mm: float = 4.0
    posts: int = 6
    post_height_mm: float = 12.0
    post_draft_deg: float = 12.0
    post_fillet_mm: float = 2.5
    post_foot_radius_mm: float = 8.0
    land_z_mm: float = 60.0
    flange_z_mm: float = 20.0
    flange_width_mm: float = 10.0
    plate_corner_radius_mm: float = 12.0
    foot_corner_radius_mm: float = 24.0
    outer_draft_deg: float = 6.0
    outer_fillet_mm: float = 6.0
    outer_round_mm: float = 4.0
    bolt_hole_diameter_mm: float = 9.0
    chord_error_mm: float = 0.02


@dataclass(frozen=True)
class FruitCup:
    """Round tool with five bean-shaped pockets about a bowl, alike under turns of 72 degrees."""

    size_mm: tuple[float, float, float] = (230.0, 230.0, 52.0)
    pockets: int = 5
    turn_deg: float = 72.0
    pocket_inner_radius_mm: float = 41.0
    pocket_outer_radius_mm: float = 84.0
    web_mm: float = 8.0
    pocket_corner_radius_mm: float = 13.0
    pocket_depth_mm: float = 24.0
    pocket_draft_deg: float = 7.0
    pocket_fillet_mm: float = 6.0
    pocket_rim_round_mm: float = 2.5
    bowl_rim_round_mm: float = 3.0
    bowl_sphere_radius_mm: float = 35.0
    bowl_steepest_deg: float = 65.0
    land_z_mm: float = 52.0
    flange_z_mm: float = 16.0
    foot_radius_mm: float = 101.0
    outer_draft_deg: float = 5.0
    outer_fillet_mm: float = 5.0
    outer_round_mm: float = 4.0
    bolt_hole_diameter_mm: float = 9.0
    chord_error_mm: float = 0.015


@dataclass(frozen=True)
class BottleMould:
    """Half mould of a small bottle; clamp slots along both sides are undercut as seen from the parting face."""

    size_mm: tuple[float, float, float] = (180.0, 110.0, 65.0)
    parting_z_mm: float = 55.0
    body_radius_mm: float = 33.0
    body_draft_deg: float = 1.5
    base_fillet_mm: float = 7.0
    shoulder_round_mm: float = 18.0
    shoulder_fillet_mm: float = 12.0
    neck_radius_mm: float = 13.0
    neck_draft_deg: float = 1.0
    neck_ring_fillet_mm: float = 1.0
    pins: int = 2
    pin_draft_deg: float = 5.0
    pin_fillet_mm: float = 2.0
    pin_round_mm: float = 1.5
    pin_holes: int = 2
    pin_hole_diameter_mm: float = 14.0
    slots: int = 2
    slot_z_mm: tuple[float, float] = (18.0, 30.0)
    slot_depth_mm: float = 9.0
    slot_fillet_mm: float = 1.5
    # roofs of the slots and the fillets that lead up to them; the base comes on top
    slot_undercut_area_mm2: float = 2 * 180.0 * (9.0 - 1.5 + pi / 2 * 1.5)
    chord_error_mm: float = 0.01


@dataclass(frozen=True)
class PaddleBlade:
    """Twisted, cambered blade of a pulp-tank agitator with a round hub on the X axis and a blind bore."""

    length_mm: float = 200.0
    hub_radius_mm: float = 27.0
    hub_length_mm: float = 26.0
    hub_round_mm: float = 3.0
    hub_fillet_mm: float = 8.0
    neck_radius_mm: float = 15.0
    bore_diameter_mm: float = 16.0
    bore_depth_mm: float = 30.0
    blade_half_width_mm: float = 41.0
    blade_half_thickness_mm: float = 6.5
    camber_mm: float = 7.0
    root_twist_deg: float = 38.0
    tip_twist_deg: float = 8.0
    blend_length_mm: float = 70.0
    tip_length_mm: float = 34.0
    chord_error_mm: float = 0.02


# ---------------------------------------------------------------------------------------- curves


def facet_angle(radius_mm: float, chord_error_mm: float) -> float:
    """Angle in radians of a facet whose middle is ``chord_error_mm`` off an arc: 2 acos(1 - t/R)."""
    return 2 * acos(1 - min(chord_error_mm / radius_mm, 0.1))


def spread(from_rad: float, to_rad: float, radius_mm: float, chord_error_mm: float) -> Points:
    """Angles along an arc, both ends included, fine enough for the chord error."""
    steps = ceil(abs(to_rad - from_rad) / facet_angle(radius_mm, chord_error_mm) - 1e-9)
    angles: Points = np.linspace(from_rad, to_rad, max(steps, 1) + 1)
    return angles


@dataclass(frozen=True)
class Outline:
    """Closed counter-clockwise plan curve of tangent arcs and lines, ready to be inset.

    Point k inset by d lies at ``centres[k] + (radii[k] - d) * normals[k]``; radii of hollow arcs are negative.
    """

    centres: Points
    normals: Points
    radii: Points

    def inset(self, distance_mm: float) -> Points:
        """(n, 2) points of the parallel curve ``distance_mm`` further in."""
        return self.centres + (self.radii - distance_mm)[:, None] * self.normals

    def moved(self, x_mm: float, y_mm: float) -> Outline:
        """The outline shifted in plan."""
        return Outline(self.centres + np.array((x_mm, y_mm)), self.normals, self.radii)

    def turned(self, angle_rad: float) -> Outline:
        """The outline turned about the origin."""
        c, s = cos(angle_rad), sin(angle_rad)
        turn = np.array([(c, s), (-s, c)])
        return Outline(self.centres @ turn, self.normals @ turn, self.radii)


def outline_of_arcs(arcs: list[tuple[tuple[float, float], float, float, float]], chord_error_mm: float) -> Outline:
    """Join arcs of (centre, signed radius, first normal angle, last normal angle); lines close the gaps."""
    centres, normals, radii = [], [], []
    for centre, radius, first, last in arcs:
        angles = spread(first, last, abs(radius), chord_error_mm)
        centres.append(np.tile(centre, (len(angles), 1)))
        normals.append(np.column_stack((np.cos(angles), np.sin(angles))))
        radii.append(np.full(len(angles), radius))
    return Outline(np.vstack(centres), np.vstack(normals), np.concatenate(radii))


def circle(radius_mm: float, chord_error_mm: float) -> Outline:
    """Circle about the origin, its number of steps a multiple of four."""
    steps = 4 * ceil(pi / 2 / facet_angle(radius_mm, chord_error_mm))
    angles = 2 * pi / steps * np.arange(steps)
    normals = np.column_stack((np.cos(angles), np.sin(angles)))
    return Outline(np.zeros((steps, 2)), normals, np.full(steps, radius_mm))


def rounded_rectangle(width_mm: float, height_mm: float, corner_mm: float, chord_error_mm: float) -> Outline:
    """Rectangle about the origin with round corners."""
    x, y = width_mm / 2 - corner_mm, height_mm / 2 - corner_mm
    corners = [(x, y), (-x, y), (-x, -y), (x, -y)]
    arcs = [(corner, corner_mm, k * pi / 2, (k + 1) * pi / 2) for k, corner in enumerate(corners)]
    return outline_of_arcs(arcs, chord_error_mm)


def bean(shape: FruitCup) -> Outline:
    """Piece of a ring about the origin, in the +X direction, with webs of equal width to its neighbours."""
    corner, half = shape.pocket_corner_radius_mm, radians(shape.turn_deg) / 2
    aside = shape.web_mm / 2 + corner

    def corner_centre(from_origin: float) -> tuple[float, float]:
        along = sqrt(from_origin**2 - aside**2)
        return along * cos(half) + aside * sin(half), along * sin(half) - aside * cos(half)

    far = corner_centre(shape.pocket_outer_radius_mm - corner)
    near = corner_centre(shape.pocket_inner_radius_mm + corner)
    far_angle, near_angle = atan2(far[1], far[0]), atan2(near[1], near[0])
    side = half + pi / 2
    arcs = [
        ((0.0, 0.0), shape.pocket_outer_radius_mm, -far_angle, far_angle),
        (far, corner, far_angle, side),
        (near, corner, side, near_angle + pi),
        ((0.0, 0.0), -shape.pocket_inner_radius_mm, near_angle + pi, pi - near_angle),
        ((near[0], -near[1]), corner, pi - near_angle, 2 * pi - side),
        ((far[0], -far[1]), corner, -side, -far_angle),
    ]
    return outline_of_arcs(arcs, shape.chord_error_mm)


def rounded_corners(corners: list[tuple[float, float, float]], chord_error_mm: float) -> Points:
    """Open (k, 2) line through corners (x, y, radius), each rounded by a true arc where its radius is not 0."""
    points = np.array(corners)[:, :2]
    pieces = [points[:1]]
    for before, corner, after, (_, _, radius) in zip(points, points[1:], points[2:], corners[1:-1], strict=False):
        into, out = (corner - before) / hypot(*(corner - before)), (after - corner) / hypot(*(after - corner))
        side = 1.0 if into[0] * out[1] - into[1] * out[0] > 0 else -1.0
        bend = side * acos(float(np.clip(into @ out, -1, 1)))
        if radius == 0:
            pieces.append(corner[None])
            continue
        start = corner - radius * tan(abs(bend) / 2) * into
        normal = side * np.array((-into[1], into[0]))
        angles = spread(0, bend, radius, chord_error_mm)[:, None]
        across = np.array((-normal[1], normal[0]))
        pieces.append(start + radius * normal - radius * (np.cos(angles) * normal + np.sin(angles) * across))
    return np.vstack([*pieces, points[-1:]])


def draft_wall(
    z_mm: tuple[float, float], radii_mm: tuple[float, float], draft_deg: float, chord_error_mm: float
) -> Points:
    """(k, 2) wall section (inset, z) between two level planes, tangent to both.

    ``z_mm`` and ``radii_mm`` go from the outer plane to the inner one: downwards it is the wall of a cavity,
    upwards that of a boss. The wall leans ``draft_deg`` from upright.
    """
    draft, (outer, inner) = radians(draft_deg), radii_mm
    way = 1.0 if z_mm[1] > z_mm[0] else -1.0
    rise = abs(z_mm[1] - z_mm[0]) - (outer + inner) * (1 - sin(draft))
    width = (outer + inner) * cos(draft) + rise * tan(draft)
    first = spread(0, pi / 2 - draft, outer, chord_error_mm)
    last = spread(pi / 2 - draft, 0, inner, chord_error_mm)
    return np.vstack((
        np.column_stack((outer * np.sin(first), z_mm[0] + way * outer * (1 - np.cos(first)))),
        np.column_stack((width - inner * np.sin(last), z_mm[1] - way * inner * (1 - np.cos(last)))),
    ))  # fmt: skip


# ---------------------------------------------------------------------------------------- faces


def grid(rows: Points, *, closed: bool) -> Triangles:
    """Facets of a (rows, columns, 3) grid, each cell cut along its shorter diagonal.

    The outside is where columns run to the left and rows run away from the viewer's feet.
    """
    if closed:
        rows = np.concatenate((rows, rows[:, :1]), axis=1)
    a, b, c, d = (part.reshape(-1, 3) for part in (rows[:-1, :-1], rows[:-1, 1:], rows[1:, 1:], rows[1:, :-1]))
    # The tolerance keeps rounding noise from deciding between equal diagonals.
    straight = np.linalg.norm(a - c, axis=1) <= np.linalg.norm(b - d, axis=1) + 1e-9
    first = np.where(straight[:, None, None], np.stack((a, b, c), 1), np.stack((a, b, d), 1))
    second = np.where(straight[:, None, None], np.stack((a, c, d), 1), np.stack((b, c, d), 1))
    return np.concatenate((first, second))


def swept(outline: Outline, section: Points) -> Triangles:
    """Wall that follows ``outline`` with a section of (inset, z) points."""
    rings = [np.column_stack((outline.inset(inset), np.full(len(outline.radii), z))) for inset, z in section]
    return grid(np.array(rings), closed=True)


def plane(loop: Points, holes: list[Points], z_mm: float, *, up: bool) -> Triangles:
    """Level face within a (k, 2) loop, less the holes; no vertices are added."""
    cover = shapely.constrained_delaunay_triangles(shapely.Polygon(loop, holes))
    flat = np.array([shapely.get_coordinates(piece)[:3] for piece in cover.geoms])
    edges = flat[:, 1:] - flat[:, :1]
    clockwise = edges[:, 0, 0] * edges[:, 1, 1] < edges[:, 0, 1] * edges[:, 1, 0]
    flat[clockwise == up] = flat[clockwise == up][:, ::-1]
    return np.concatenate((flat, np.full((*flat.shape[:2], 1), z_mm)), axis=2)


# ---------------------------------------------------------------------------------------- parts


def egg_tray_tool(shape: EggTray) -> Triangles:
    """Plate with bolt holes, a block with draft on it, cups sunk in and posts standing on its land."""
    chord = shape.chord_error_mm
    land, flange, floor = shape.land_z_mm, shape.flange_z_mm, shape.land_z_mm - shape.cup_depth_mm
    length, width, _ = shape.size_mm
    margin = 2 * shape.flange_width_mm
    plate = rounded_rectangle(length, width, shape.plate_corner_radius_mm, chord)
    foot = rounded_rectangle(length - margin, width - margin, shape.foot_corner_radius_mm, chord)
    outer = draft_wall((flange, land), (shape.outer_fillet_mm, shape.outer_round_mm), shape.outer_draft_deg, chord)
    cup_wall = draft_wall((land, floor), (shape.cup_rim_round_mm, shape.cup_fillet_mm), shape.cup_draft_deg, chord)
    post_fillet = (shape.post_fillet_mm, shape.post_fillet_mm)
    post_wall = draft_wall((land, land + shape.post_height_mm), post_fillet, shape.post_draft_deg, chord)

    cup = rounded_rectangle(shape.cup_width_mm, shape.cup_width_mm, shape.cup_corner_radius_mm, chord)
    cups = _in_rows(cup, shape.cups[0], shape.cups[1], shape.pitch_mm)
    posts = _in_rows(circle(shape.post_foot_radius_mm, chord), shape.cups[0] - 1, shape.cups[1] - 1, shape.pitch_mm)
    drain = circle(shape.drain_hole_diameter_mm / 2, chord)
    drains = [drain.moved(*hollow.centres.mean(axis=0)) for hollow in cups]
    bolt = circle(shape.bolt_hole_diameter_mm / 2, chord)
    bolts = [bolt.moved(x, y) for x in (-115, 115) for y in (-91, 91)]

    faces = [
        swept(plate, np.array([(0, 0), (0, flange)])),
        swept(foot, outer),
        plane(plate.inset(0), [hole.inset(0) for hole in drains + bolts], 0, up=False),
        plane(plate.inset(0), [foot.inset(0), *(hole.inset(0) for hole in bolts)], flange, up=True),
        plane(foot.inset(outer[-1, 0]), [edge.inset(0) for edge in cups + posts], land, up=True),
    ]
    for hollow, hole in zip(cups, drains, strict=True):
        faces.append(swept(hollow, cup_wall))
        faces.append(plane(hollow.inset(cup_wall[-1, 0]), [hole.inset(0)], floor, up=True))
        faces.append(swept(hole, np.array([(0, floor), (0, 0)])))
    for post in posts:
        faces.append(swept(post, post_wall))
        faces.append(plane(post.inset(post_wall[-1, 0]), [], land + shape.post_height_mm, up=True))
    faces.extend(swept(bolt, np.array([(0, flange), (0, 0)])) for bolt in bolts)
    return np.concatenate(faces)


def _in_rows(outline: Outline, columns: int, rows: int, pitch_mm: float) -> list[Outline]:
    return [
        outline.moved((i - (columns - 1) / 2) * pitch_mm, (j - (rows - 1) / 2) * pitch_mm)
        for i in range(columns)
        for j in range(rows)
    ]


def fruit_cup_tool(shape: FruitCup) -> Triangles:
    """Round plate with bolt holes, a round block with draft, five pockets and a bowl."""
    chord = shape.chord_error_mm
    land, flange, floor = shape.land_z_mm, shape.flange_z_mm, shape.land_z_mm - shape.pocket_depth_mm
    plate, foot = circle(shape.size_mm[0] / 2, chord), circle(shape.foot_radius_mm, chord)
    outer = draft_wall((flange, land), (shape.outer_fillet_mm, shape.outer_round_mm), shape.outer_draft_deg, chord)
    wall = draft_wall((land, floor), (shape.pocket_rim_round_mm, shape.pocket_fillet_mm), shape.pocket_draft_deg, chord)
    turns = [radians(shape.turn_deg) * k for k in range(shape.pockets)]
    pockets = [bean(shape).turned(turn) for turn in turns]
    bolt = circle(shape.bolt_hole_diameter_mm / 2, chord).moved(108, 0)
    bolts = [bolt.turned(turn + turns[1] / 2) for turn in turns]
    bowl_section = _bowl_section(shape)
    bowl = circle(bowl_section[-1, 0], chord)

    faces = [
        swept(plate, np.array([(0, 0), (0, flange)])),
        swept(foot, outer),
        swept(bowl, bowl_section),
        plane(plate.inset(0), [hole.inset(0) for hole in bolts], 0, up=False),
        plane(plate.inset(0), [foot.inset(0), *(hole.inset(0) for hole in bolts)], flange, up=True),
        plane(foot.inset(outer[-1, 0]), [edge.inset(0) for edge in [*pockets, bowl]], land, up=True),
    ]
    for pocket in pockets:
        faces.append(swept(pocket, wall))
        faces.append(plane(pocket.inset(wall[-1, 0]), [], floor, up=True))
    faces.extend(swept(hole, np.array([(0, flange), (0, 0)])) for hole in bolts)
    return np.concatenate(faces)


def _bowl_section(shape: FruitCup) -> Points:
    """Rim round that turns at the steepest slope into the sphere, and the sphere down to the axis.

    The last inset is the radius of the rim.
    """
    rim, sphere, steepest = shape.bowl_rim_round_mm, shape.bowl_sphere_radius_mm, radians(shape.bowl_steepest_deg)
    first = spread(0, steepest, rim, shape.chord_error_mm)
    last = spread(steepest, 0, sphere, shape.chord_error_mm)[1:]
    bottom = shape.land_z_mm - (rim + sphere) * (1 - cos(steepest))
    rim_radius = (rim + sphere) * sin(steepest)
    return np.vstack((
        np.column_stack((rim * np.sin(first), shape.land_z_mm - rim * (1 - np.cos(first)))),
        np.column_stack((rim_radius - sphere * np.sin(last), bottom + sphere * (1 - np.cos(last)))),
    ))  # fmt: skip


def bottle_shoulder_mould(shape: BottleMould) -> Triangles:
    """Slotted bar along X, half a bottle turned out of its parting face, tapered pins and pin holes."""
    chord, top = shape.chord_error_mm, shape.parting_z_mm
    bottle, section = _bottle_profile(shape), _slotted_section(shape)
    turns = spread(pi, 2 * pi, shape.body_radius_mm, chord)
    x, radius = bottle[:, :1], bottle[:, 1:]
    hollow = np.stack(np.broadcast_arrays(x, radius * np.cos(turns), top + radius * np.sin(turns)), axis=-1)

    pin_wall = draft_wall(
        (top, shape.size_mm[2]), (shape.pin_fillet_mm, shape.pin_round_mm), shape.pin_draft_deg, chord
    )
    pins = [circle(8.5, chord).moved(26, 43), circle(8.5, chord).moved(158, -40)]
    bore = shape.pin_hole_diameter_mm / 2
    hole_wall = np.array([(0, top), (1, top - 1), (1, top - 16), (bore, top - 16 - (bore - 1) / tan(radians(59)))])
    holes = [circle(bore, chord).moved(26, -43), circle(bore, chord).moved(158, 40)]

    length, half = shape.size_mm[0], shape.size_mm[1] / 2
    left = bottle * (1, -1)
    face = np.vstack(([(0, -half), (length, -half)], left[::-1], bottle[1:], [(length, half), (0, half)]))
    notch = hollow[-1, ::-1, 1:]
    ends = np.stack([np.insert(section, 0, at, axis=1) for at in (0.0, length)])
    return np.concatenate((
        grid(hollow, closed=False)[:, ::-1],
        grid(ends, closed=False),
        plane(face, [edge.inset(0) for edge in pins + holes], top, up=True),
        _end_face(section, 0.0, facing_x=False),
        _end_face(np.vstack((section, notch)), length, facing_x=True),
        *(swept(pin, pin_wall) for pin in pins),
        *(plane(pin.inset(pin_wall[-1, 0]), [], shape.size_mm[2], up=True) for pin in pins),
        *(swept(hole, hole_wall) for hole in holes),
    ))  # fmt: skip


def _end_face(loop: Points, x_mm: float, *, facing_x: bool) -> Triangles:
    """Upright face within a (k, 2) loop of (y, z)."""
    return np.roll(plane(loop, [], x_mm, up=facing_x), 1, axis=2)


def _bottle_profile(shape: BottleMould) -> Points:
    """(k, 2) points (x, radius) from the middle of the bottle's base to the open neck."""
    lean = tan(radians(shape.body_draft_deg))
    neck_lean = tan(radians(shape.neck_draft_deg))
    base, shoulder, neck, ring, mouth = 20.0, 102.0, 136.0, 150.0, shape.size_mm[0]
    neck_at = {x: shape.neck_radius_mm + (mouth - x) * neck_lean for x in (neck, ring, ring + 9)}
    fillet = shape.neck_ring_fillet_mm
    corners = [
        (base, 0.0, 0.0),
        (base, shape.body_radius_mm, shape.base_fillet_mm),
        (shoulder, shape.body_radius_mm - (shoulder - base) * lean, shape.shoulder_round_mm),
        (neck, neck_at[neck], shape.shoulder_fillet_mm),
        (ring, neck_at[ring], fillet),
        (ring + 2, neck_at[ring] + 3, fillet),
        (ring + 7, neck_at[ring] + 3, fillet),
        (ring + 9, neck_at[ring + 9], fillet),
        (mouth, shape.neck_radius_mm, 0.0),
    ]
    return rounded_corners(corners, shape.chord_error_mm)


def _slotted_section(shape: BottleMould) -> Points:
    """(k, 2) points (y, z) of the bar from one parting edge round the bottom to the other."""
    half, (low, high) = shape.size_mm[1] / 2, shape.slot_z_mm
    deep, fillet = half - shape.slot_depth_mm, shape.slot_fillet_mm
    right = [(half, 0, 0), (half, low, 0), (deep, low, fillet), (deep, high, fillet), (half, high, 0)]
    left = [(-y, z, radius) for y, z, radius in reversed(right)]
    ends = [(-half, shape.parting_z_mm, 0), (half, shape.parting_z_mm, 0)]
    return rounded_corners([ends[0], *left, *right, ends[1]], shape.chord_error_mm)


# Rings along the blade, enough for the chord error of the free-form faces.
BLEND_STEPS, STRAIGHT_STEPS, TIP_STEPS = 46, 20, 32


def paddle_blade(shape: PaddleBlade) -> Triangles:
    """Rings lofted along X from the bottom of the bore over the hub and out to the tip."""
    steps = 4 * ceil(pi / 2 / facet_angle(shape.blade_half_width_mm, shape.chord_error_mm))
    turn: Points = np.linspace(0, 2 * pi, steps, endpoint=False)
    hub = [_ring(x, radius, turn + radians(shape.root_twist_deg)) for x, radius in _hub_profile(shape)]
    neck_end = shape.hub_length_mm + shape.hub_fillet_mm
    blend = neck_end + shape.blend_length_mm * np.linspace(0, 1, BLEND_STEPS + 1)[1:]
    tip_from = shape.length_mm - shape.tip_length_mm
    straight = np.linspace(blend[-1], tip_from, STRAIGHT_STEPS + 1)[1:]
    tip = tip_from + shape.tip_length_mm * np.sin(np.linspace(0, pi / 2, TIP_STEPS + 1))[1:]
    blade = [_blade_ring(shape, x, neck_end, turn) for x in (*blend, *straight, *tip)]
    return grid(np.array(hub + blade), closed=True)


def _hub_profile(shape: PaddleBlade) -> Points:
    """(k, 2) points (x, radius) from the bottom of the bore to the neck."""
    bore, hub, end = shape.bore_diameter_mm / 2, shape.hub_radius_mm, shape.hub_length_mm
    corners = [
        (shape.bore_depth_mm, 0.0, 0.0),
        (shape.bore_depth_mm - bore / tan(radians(59)), bore, 0.0),
        (0.0, bore, 0.0),
        (0.0, hub, shape.hub_round_mm),
        (end, hub, shape.hub_round_mm),
        (end, shape.neck_radius_mm, shape.hub_fillet_mm),
        (end + shape.hub_fillet_mm, shape.neck_radius_mm, 0.0),
    ]
    return rounded_corners(corners, shape.chord_error_mm)


def _ring(x_mm: float, radius_mm: float, turn: Points) -> Points:
    return np.column_stack((np.full(len(turn), x_mm), radius_mm * np.cos(turn), radius_mm * np.sin(turn)))


def _blade_ring(shape: PaddleBlade, x_mm: float, root_mm: float, turn: Points) -> Points:
    """Section of the blade: an ellipse, bent to the camber, turned by the twist and drawn in at the tip."""
    share = min((x_mm - root_mm) / shape.blend_length_mm, 1.0)
    grown = share**3 * (10 - 15 * share + 6 * share**2)
    past_tip = max((x_mm - shape.length_mm) / shape.tip_length_mm + 1.0, 0.0)
    drawn_in = cos(asin(min(past_tip, 1.0)))
    half_width = (shape.neck_radius_mm + grown * (shape.blade_half_width_mm - shape.neck_radius_mm)) * drawn_in
    half_thick = (shape.neck_radius_mm + grown * (shape.blade_half_thickness_mm - shape.neck_radius_mm)) * drawn_in
    along = (x_mm - root_mm) / (shape.length_mm - root_mm)
    twist = radians(shape.root_twist_deg + along * (shape.tip_twist_deg - shape.root_twist_deg))
    across, up = half_width * np.cos(turn), half_thick * np.sin(turn)
    up = up - grown * shape.camber_mm * (across / shape.blade_half_width_mm) ** 2
    y, z = across * cos(twist) - up * sin(twist), across * sin(twist) + up * cos(twist)
    return np.column_stack((np.full(len(turn), x_mm), y, z))


# ---------------------------------------------------------------------------------------- files


def welded(triangles: Triangles) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Vertices (n, 3) on a fine grid and faces (m, 3), collapsed cells left out; raises if it is not closed."""
    corners = np.round(triangles.reshape(-1, 3) / GRID_MM).astype(np.int64)
    vertices, numbers = np.unique(corners, axis=0, return_inverse=True)
    faces = numbers.reshape(-1, 3)
    faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
    ways = np.stack((faces, np.roll(faces, -1, axis=1)), axis=-1).reshape(-1, 2)
    forth, back = (np.unique(way, axis=0, return_counts=True) for way in (ways, ways[:, ::-1]))
    if forth[1].max() > 1 or not np.array_equal(forth[0], back[0]):
        raise ValueError("the faces do not close")
    return (vertices * GRID_MM).astype(np.float32), faces


def stl_bytes(name: str, triangles: Triangles) -> bytes:
    """Binary STL of the welded triangles."""
    vertices, faces = welded(triangles)
    records = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    records["corners"] = vertices[faces]
    a, b, c = np.moveaxis(vertices[faces].astype(np.float64), 1, 0)
    normals = np.cross(b - a, c - a)
    records["normal"] = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    return f"{name}, millimetres".encode().ljust(80, b"\0") + len(faces).to_bytes(4, "little") + records.tobytes()


def demo_parts() -> dict[str, bytes]:
    """File name and content of everything this script makes."""
    egg, fruit, bottle, paddle = EggTray(), FruitCup(), BottleMould(), PaddleBlade()
    parts = {
        "egg_tray_tool": egg_tray_tool(egg),
        "fruit_cup_tool": fruit_cup_tool(fruit),
        "bottle_shoulder_mould": bottle_shoulder_mould(bottle),
        "paddle_blade": paddle_blade(paddle),
    }
    files = {f"{name}.stl": stl_bytes(name, triangles) for name, triangles in parts.items()}
    truth = dict(zip(parts, (asdict(egg), asdict(fruit), asdict(bottle), asdict(paddle)), strict=True))
    return files | {"truth.json": (json.dumps(truth, indent=2) + "\n").encode()}


def main() -> None:
    """Write the files beside this script."""
    for name, content in demo_parts().items():
        (HERE / name).write_bytes(content)
        print(f"{name}: {len(content) / 1000:.0f} kB")


if __name__ == "__main__":
    main()
