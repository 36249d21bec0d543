"""Analytic parts: closed, outward-wound triangle meshes, and the exact areas they stand for.

Every shape is a pair of functions with the same measures: ``torus(20, 5)`` gives ``(vertices, faces)``, that
is an (n, 3) float64 array in mm and an (m, 3) int64 array, and ``torus_exact(20, 5)`` the closed forms. All
stand on z = 0 unless said otherwise, with the tool axis along +Z, and their vertices lie on the true surface.
Every curve keeps within ``chord_error_mm``; facets of faces that bend two ways are off by up to twice that.
Source of all areas and volumes: computed from closed form (elementary calculus); values printed beside the
checks in ``test_solids.py`` come from an independent calculation.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import acos, asin, atan2, ceil, cos, degrees, inf, pi, radians, sin, sqrt, tan
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ellipeinc

Points = NDArray[np.float64]
Faces = NDArray[np.int64]
Mesh = tuple[Points, Faces]
BlockShape = Literal["round", "square"]

CHORD_ERROR_MM = 0.01
# Round shapes get a multiple of eight steps, so that a square drawn round them has its four corners.
AROUND_MULTIPLE = 8
# A wall is steep, not undercut: the undercut begins a hair beyond 90 degrees.
UNDERCUT_FROM_DEG = 90.0 + 1e-6
WALL_DEG, DOWN_DEG = 90.0, 180.0

# ---------------------------------------------------------------------------------------- exact areas


@dataclass(frozen=True)
class SlopeAreas:
    """Area in each slope class, mm2: flat < flat_below <= shallow < steep_from <= steep <= 90 < undercut."""

    flat: float
    shallow: float
    steep: float
    undercut: float


@dataclass(frozen=True)
class Patch:
    """One smooth face: ``area_below_mm2(slope_deg)`` is the area with less slope than that."""

    name: str
    area_below_mm2: Callable[[float], float]


@dataclass(frozen=True)
class Exact:
    """The closed forms of a shape."""

    patches: tuple[Patch, ...]
    volume_mm3: float

    def area_below_mm2(self, slope_deg: float) -> float:
        """Area whose normal leans less than ``slope_deg`` from +Z."""
        return sum(patch.area_below_mm2(slope_deg) for patch in self.patches)

    @property
    def area_mm2(self) -> float:
        """Whole area, base and walls included."""
        return self.area_below_mm2(inf)

    def areas(self, flat_below_deg: float, steep_from_deg: float) -> SlopeAreas:
        """Area of each slope class for the two limits."""
        bounds = (-inf, flat_below_deg, steep_from_deg, UNDERCUT_FROM_DEG, inf)
        below = [self.area_below_mm2(bound) for bound in bounds]
        return SlopeAreas(*(upper - lower for lower, upper in pairwise(below)))


def plane_patch(name: str, slope_deg: float, area_mm2: float) -> Patch:
    """A face of one slope: a plane, or a cone or upright cylinder."""
    return Patch(name, lambda limit_deg: area_mm2 if slope_deg < limit_deg else 0.0)


def curved_patch(name: str, most_deg: float, area_mm2: Callable[[float], float]) -> Patch:
    """A face of slope 0 to ``most_deg``; ``area_mm2(a)`` is its area up to slope ``a`` in radians."""
    return Patch(name, lambda limit_deg: area_mm2(radians(min(max(limit_deg, 0.0), most_deg))))


def _block_patches(width_mm: float, height_mm: float, opening_mm: float, block: BlockShape) -> tuple[Patch, ...]:
    """Top land round an opening of radius ``opening_mm``, outside wall and base."""
    face = width_mm**2 if block == "square" else pi * width_mm**2 / 4
    wall = (4 if block == "square" else pi) * width_mm * height_mm
    land = plane_patch("land", 0.0, face - pi * opening_mm**2)
    return land, plane_patch("outside", WALL_DEG, wall), plane_patch("base", DOWN_DEG, face)


# ---------------------------------------------------------------------------------------- tessellation


def facet_angle_rad(radius_mm: float, chord_error_mm: float = CHORD_ERROR_MM) -> float:
    """Angle of a facet whose middle is ``chord_error_mm`` off an arc: 2 acos(1 - t/R), at most 60 degrees."""
    return min(2 * acos(max(1 - chord_error_mm / radius_mm, 0.0)), pi / 3)


def arc(
    centre_mm: tuple[float, float],
    radius_mm: float,
    from_deg: float,
    to_deg: float,
    chord_error_mm: float = CHORD_ERROR_MM,
) -> Points:
    """(k, 2) points on a circular arc, both ends included; angles from the first axis towards the second."""
    sweep = radians(abs(to_deg - from_deg))
    steps = ceil(sweep / facet_angle_rad(radius_mm, chord_error_mm) - 1e-9)
    angles = np.radians(np.linspace(from_deg, to_deg, steps + 1))
    return np.array(centre_mm) + radius_mm * np.column_stack((np.cos(angles), np.sin(angles)))


def _profile(*runs: Points | Sequence[tuple[float, float]]) -> Points:
    """Join runs of (radius, z) points; points that round to the axis are put on it, repeats dropped."""
    points = np.vstack([np.asarray(run, dtype=float) for run in runs])
    points[np.abs(points) < 1e-12] = 0.0
    new = np.ones(len(points), dtype=bool)
    new[1:] = np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-9
    return points[new]


def _grid_faces(index: Faces) -> Faces:
    """Two triangles for each cell of a (rows, columns) grid of vertex numbers, without collapsed ones."""
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]
    faces = np.concatenate((np.stack((a, b, c), -1).reshape(-1, 3), np.stack((a, c, d), -1).reshape(-1, 3)))
    whole: Faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
    return whole


def revolved(profile: Points, chord_error_mm: float = CHORD_ERROR_MM, *, ring: bool = False) -> Mesh:
    """Turn a (k, 2) profile of (radius, z) about Z.

    The profile runs from the lower pole by the outside to the upper pole, or is a closed ring with the
    inside on its left hand. Cells are quads cut in two, as solid modellers cut cylinders and cones.
    """
    angle = facet_angle_rad(float(profile[:, 0].max()), chord_error_mm)
    around = AROUND_MULTIPLE * ceil(2 * pi / angle / AROUND_MULTIPLE)
    turn = np.arange(around) * (2 * pi / around)
    vertices: list[Points] = []
    rows: list[Faces] = []
    count = 0
    for radius, z in profile:
        turns = turn if radius > 0 else turn[:1]
        plan = radius * np.column_stack((np.cos(turns), np.sin(turns)))
        vertices.append(np.column_stack((plan, np.full(len(turns), z))))
        rows.append(count + np.arange(around + 1) % len(turns))
        count += len(turns)
    return np.vstack(vertices), _grid_faces(np.array(rows + rows[:1] if ring else rows))


def turned_tool(chord_error_mm: float = 0.02) -> Mesh:
    """A bowl of 30 mm radius in a round land, a wall with a foot of 4 mm under it, and a floor: a plan of six zones."""
    bowl = arc((0.0, 20.0 + sqrt(500.0)), 30.0, degrees(asin(2 / 3)) - 90, -90, chord_error_mm)
    foot = arc((34.0, 4.0), 4.0, 270, 180, chord_error_mm)
    outside = [(0.0, -10.0), (45.0, -10.0), (45.0, 0.0)]
    return revolved(np.concatenate([outside, foot, [(30.0, 20.0)], bowl]), chord_error_mm)


def _ears(section: Points) -> Faces:
    """Triangles of a simple polygon with (k, 2) corners, counter-clockwise, by cutting ears."""
    left, ears = list(range(len(section))), []
    while len(left) > 2:
        for i in range(len(left)):
            ear = [left[i - 1], left[i], left[(i + 1) % len(left)]]
            edges = section[np.roll(ear, -1)] - section[ear]
            others = section[[k for k in left if k not in ear]]
            to_other = others[:, None, :] - section[ear]
            sides = edges[:, 0] * to_other[..., 1] - edges[:, 1] * to_other[..., 0]
            twice_area = edges[0, 0] * edges[1, 1] - edges[0, 1] * edges[1, 0]
            if twice_area > 1e-9 and not np.any(np.all(sides >= -1e-9, axis=1)):
                ears.append(ear)
                del left[i]
                break
        else:
            raise ValueError("not a simple counter-clockwise polygon")
    return np.array(ears)


def extruded(section: Points, length_mm: float, axis: Literal["x", "y"]) -> Mesh:
    """Draw a (k, 2) section out along an axis, centred on the origin.

    The section is counter-clockwise in (y, z) for ``axis="x"`` and in (x, z) for ``axis="y"``.
    """
    count = len(section)
    along = np.repeat((-length_mm / 2, length_mm / 2), count)
    across, up = np.tile(section, (2, 1)).T
    caps = _ears(section)
    numbers = np.arange(2 * count).reshape(2, count)
    sides = _grid_faces(np.hstack((numbers, numbers[:, :1])))
    faces = np.concatenate((sides, caps[:, ::-1], caps + count))
    if axis == "x":
        return np.column_stack((along, across, up)), faces
    return np.column_stack((across, along, up)), faces[:, ::-1].copy()


def _in_square(mesh: Mesh, half_width_mm: float) -> Mesh:
    """Push the outermost rings of a round block out to a square of the same half width."""
    vertices = mesh[0].copy()
    outer = np.hypot(vertices[:, 0], vertices[:, 1]) > half_width_mm * (1 - 1e-9)
    plan = vertices[outer, :2]
    vertices[outer, :2] = plan / np.abs(plan).max(axis=1, keepdims=True) * half_width_mm
    return vertices, mesh[1]


# ---------------------------------------------------------------------------------------- round parts


def sphere(radius_mm: float, chord_error_mm: float = CHORD_ERROR_MM, *, pattern: Literal["uv", "ico"] = "uv") -> Mesh:
    """Sphere about the origin: latitude and longitude (``uv``), or a split icosahedron (``ico``)."""
    if pattern == "uv":
        return revolved(_profile(arc((0, 0), radius_mm, -90, 90, chord_error_mm)), chord_error_mm)
    vertices, faces = _icosahedron()
    # The middle of an equal-sided facet of edge e lies e^2/(6R) below the sphere.
    while radius_mm - radius_mm * np.linalg.norm(vertices[faces].mean(axis=1), axis=1).min() > chord_error_mm:
        vertices, faces = refined(vertices, faces, 0.0, passes=1)
        vertices /= np.linalg.norm(vertices, axis=1, keepdims=True)
    return radius_mm * vertices, faces


def _icosahedron() -> Mesh:
    golden = (1 + 5**0.5) / 2
    base = np.array([(0, s, t * golden) for s in (-1, 1) for t in (-1, 1)])
    vertices = np.vstack([np.roll(base, shift, axis=1) for shift in range(3)]) / (1 + golden**2) ** 0.5
    near = np.linalg.norm(vertices[:, None] - vertices, axis=2) < 1.1
    faces = np.array(
        [(i, j, k) for i in range(12) for j in range(i + 1, 12) for k in range(j + 1, 12)
         if near[i, j] and near[j, k] and near[k, i]]
    )  # fmt: skip
    inward = np.linalg.det(vertices[faces]) < 0
    faces[inward] = faces[inward][:, ::-1]
    return vertices, faces


def sphere_exact(radius_mm: float) -> Exact:
    """Area below slope a: 2 pi R^2 (1 - cos a)."""
    return Exact((_cap_patch("sphere", radius_mm, DOWN_DEG),), 4 / 3 * pi * radius_mm**3)


def _cap_patch(name: str, radius_mm: float, most_deg: float) -> Patch:
    return curved_patch(name, most_deg, lambda slope: 2 * pi * radius_mm**2 * (1 - cos(slope)))


def _cap_volume_mm3(radius_mm: float, most_deg: float) -> float:
    height = radius_mm * (1 - cos(radians(most_deg)))
    return pi * height**2 * (3 * radius_mm - height) / 3


def hemisphere(radius_mm: float, chord_error_mm: float = CHORD_ERROR_MM) -> Mesh:
    """Upper half of a sphere on a base disk."""
    return revolved(_profile([(0, 0)], arc((0, 0), radius_mm, 0, 90, chord_error_mm)), chord_error_mm)


def hemisphere_exact(radius_mm: float) -> Exact:
    """Dome and base."""
    base = plane_patch("base", DOWN_DEG, pi * radius_mm**2)
    return Exact((_cap_patch("dome", radius_mm, 90.0), base), 2 / 3 * pi * radius_mm**3)


def spherical_cap(
    radius_mm: float = 50.0,
    most_deg: float = 60.0,
    skirt_mm: float = 10.0,
    chord_error_mm: float = CHORD_ERROR_MM,
) -> Mesh:
    """Convex cap of slope 0 to ``most_deg`` on a round block ``skirt_mm`` high; by default benchmark S."""
    rim = radius_mm * sin(radians(most_deg))
    centre = skirt_mm - radius_mm * cos(radians(most_deg))
    cap = arc((0, centre), radius_mm, 90 - most_deg, 90, chord_error_mm)
    return revolved(_profile([(0, 0), (rim, 0), (rim, skirt_mm)], cap), chord_error_mm)


def spherical_cap_exact(radius_mm: float = 50.0, most_deg: float = 60.0, skirt_mm: float = 10.0) -> Exact:
    """Cap 2 pi R^2 (1 - cos a), skirt and base."""
    rim = radius_mm * sin(radians(most_deg))
    skirt = plane_patch("skirt", WALL_DEG, 2 * pi * rim * skirt_mm)
    base = plane_patch("base", DOWN_DEG, pi * rim**2)
    volume = _cap_volume_mm3(radius_mm, most_deg) + pi * rim**2 * skirt_mm
    return Exact((_cap_patch("cap", radius_mm, most_deg), skirt, base), volume)


def cone(
    base_radius_mm: float = 40.0,
    top_radius_mm: float = 10.0,
    slope_deg: float = 60.0,
    chord_error_mm: float = CHORD_ERROR_MM,
) -> Mesh:
    """Cone frustum, by default benchmark C; a full cone where ``top_radius_mm`` is 0."""
    height = (base_radius_mm - top_radius_mm) * tan(radians(slope_deg))
    corners = [(0, 0), (base_radius_mm, 0), (top_radius_mm, height), (0, height)]
    return revolved(_profile(corners), chord_error_mm)


def cone_exact(base_radius_mm: float = 40.0, top_radius_mm: float = 10.0, slope_deg: float = 60.0) -> Exact:
    """Flank pi (r0^2 - r1^2) / cos(slope), top and base."""
    low, high = base_radius_mm, top_radius_mm
    flank = plane_patch("flank", slope_deg, pi * (low**2 - high**2) / cos(radians(slope_deg)))
    top = plane_patch("top", 0.0, pi * high**2)
    volume = pi * (low - high) * tan(radians(slope_deg)) * (low**2 + low * high + high**2) / 3
    return Exact((flank, top, plane_patch("base", DOWN_DEG, pi * low**2)), volume)


def cylinder(radius_mm: float, height_mm: float, chord_error_mm: float = CHORD_ERROR_MM) -> Mesh:
    """Upright cylinder."""
    corners = [(0, 0), (radius_mm, 0), (radius_mm, height_mm), (0, height_mm)]
    return revolved(_profile(corners), chord_error_mm)


def cylinder_exact(radius_mm: float, height_mm: float) -> Exact:
    """Top, wall and base."""
    patches = _block_patches(2 * radius_mm, height_mm, 0.0, "round")
    return Exact(patches, pi * radius_mm**2 * height_mm)


def torus(ring_radius_mm: float, tube_radius_mm: float, chord_error_mm: float = CHORD_ERROR_MM) -> Mesh:
    """Ring about the origin; the tube angle starts at the outside."""
    tube = arc((ring_radius_mm, 0), tube_radius_mm, 0, 360, chord_error_mm)
    return revolved(_profile(tube[:-1]), chord_error_mm, ring=True)


def torus_exact(ring_radius_mm: float, tube_radius_mm: float) -> Exact:
    """Area below slope a: 4 pi R r a."""
    patch = curved_patch("ring", DOWN_DEG, lambda slope: 4 * pi * ring_radius_mm * tube_radius_mm * slope)
    return Exact((patch,), 2 * pi**2 * ring_radius_mm * tube_radius_mm**2)


# ---------------------------------------------------------------------------------------- hollows in a block


def round_pocket(
    pocket_radius_mm: float = 20.0,
    fillet_mm: float = 6.0,
    depth_mm: float = 15.0,
    *,
    block_width_mm: float = 60.0,
    block_height_mm: float = 25.0,
    block: BlockShape = "square",
    chord_error_mm: float = CHORD_ERROR_MM,
) -> Mesh:
    """Upright-walled round pocket with a floor fillet, in the middle of a block."""
    half, floor = block_width_mm / 2, block_height_mm - depth_mm
    outside = [(0, 0), (half, 0), (half, block_height_mm), (pocket_radius_mm, block_height_mm)]
    fillet_centre = (pocket_radius_mm - fillet_mm, floor + fillet_mm)
    fillet = arc(fillet_centre, fillet_mm, 0, -90, chord_error_mm)
    mesh = revolved(_profile(outside, fillet, [(0, floor)]), chord_error_mm)
    return _in_square(mesh, half) if block == "square" else mesh


def round_pocket_exact(
    pocket_radius_mm: float = 20.0,
    fillet_mm: float = 6.0,
    depth_mm: float = 15.0,
    *,
    block_width_mm: float = 60.0,
    block_height_mm: float = 25.0,
    block: BlockShape = "square",
) -> Exact:
    """Fillet below slope a, with f its radius and q the floor radius: 2 pi f (q a + f (1 - cos a))."""
    f, q = fillet_mm, pocket_radius_mm - fillet_mm
    patches = (
        *_block_patches(block_width_mm, block_height_mm, pocket_radius_mm, block),
        plane_patch("floor", 0.0, pi * q**2),
        plane_patch("wall", WALL_DEG, 2 * pi * pocket_radius_mm * (depth_mm - f)),
        curved_patch("fillet", 90.0, lambda slope: 2 * pi * f * (q * slope + f * (1 - cos(slope)))),
    )
    face = block_width_mm**2 if block == "square" else pi * block_width_mm**2 / 4
    fillet_void = pi * f * (q**2 + pi / 2 * q * f + 2 / 3 * f**2)
    hollow = pi * pocket_radius_mm**2 * (depth_mm - f) + fillet_void
    return Exact(patches, face * block_height_mm - hollow)


def bowl(
    radius_mm: float = 40.0,
    most_deg: float = 60.0,
    *,
    block_width_mm: float = 90.0,
    block_height_mm: float = 30.0,
    block: BlockShape = "square",
    chord_error_mm: float = CHORD_ERROR_MM,
) -> Mesh:
    """Concave spherical cap of slope 0 to ``most_deg`` sunk into a block."""
    half, centre = block_width_mm / 2, block_height_mm + radius_mm * cos(radians(most_deg))
    hollow = arc((0, centre), radius_mm, most_deg - 90, -90, chord_error_mm)
    mesh = revolved(_profile([(0, 0), (half, 0), (half, block_height_mm)], hollow), chord_error_mm)
    return _in_square(mesh, half) if block == "square" else mesh


def bowl_exact(
    radius_mm: float = 40.0,
    most_deg: float = 60.0,
    *,
    block_width_mm: float = 90.0,
    block_height_mm: float = 30.0,
    block: BlockShape = "square",
) -> Exact:
    """Hollow 2 pi R^2 (1 - cos a), land, outside and base."""
    opening = radius_mm * sin(radians(most_deg))
    patches = _block_patches(block_width_mm, block_height_mm, opening, block)
    face = block_width_mm**2 if block == "square" else pi * block_width_mm**2 / 4
    volume = face * block_height_mm - _cap_volume_mm3(radius_mm, most_deg)
    return Exact((*patches, _cap_patch("hollow", radius_mm, most_deg)), volume)


# ---------------------------------------------------------------------------------------- drawn-out parts


def half_cylinder(radius_mm: float, length_mm: float, chord_error_mm: float = CHORD_ERROR_MM) -> Mesh:
    """Half-cylinder lying along X on its flat side."""
    return extruded(_profile(arc((0, 0), radius_mm, 0, 180, chord_error_mm)), length_mm, "x")


def half_cylinder_exact(radius_mm: float, length_mm: float) -> Exact:
    """Curved face below slope a: 2 r L a."""
    curved = curved_patch("curved", 90.0, lambda slope: 2 * radius_mm * length_mm * slope)
    ends = plane_patch("ends", WALL_DEG, pi * radius_mm**2)
    base = plane_patch("base", DOWN_DEG, 2 * radius_mm * length_mm)
    return Exact((curved, ends, base), pi * radius_mm**2 / 2 * length_mm)


def wedge(slope_deg: float, length_mm: float = 100.0, width_mm: float = 60.0, low_mm: float = 5.0) -> Mesh:
    """Block whose top is one plane that rises along +X from ``low_mm``."""
    half, high = length_mm / 2, low_mm + length_mm * tan(radians(slope_deg))
    return extruded(np.array([(-half, 0), (half, 0), (half, high), (-half, low_mm)]), width_mm, "y")


def wedge_exact(slope_deg: float, length_mm: float = 100.0, width_mm: float = 60.0, low_mm: float = 5.0) -> Exact:
    """Top L W / cos(slope), four walls and base."""
    plan, rise = length_mm * width_mm, length_mm * tan(radians(slope_deg))
    side = length_mm * (low_mm + rise / 2)
    patches = (
        plane_patch("top", slope_deg, plan / cos(radians(slope_deg))),
        plane_patch("walls", WALL_DEG, 2 * side + width_mm * (2 * low_mm + rise)),
        plane_patch("base", DOWN_DEG, plan),
    )
    return Exact(patches, side * width_mm)


def stepped_block(
    heights_mm: Sequence[float] = (10.0, 25.0, 15.0), tread_mm: float = 20.0, width_mm: float = 40.0
) -> Mesh:
    """Floors at the given heights side by side along X, upright walls between; no two neighbours level."""
    lefts = tread_mm * (np.arange(len(heights_mm)) - len(heights_mm) / 2)
    treads = np.column_stack((np.repeat(lefts, 2), np.repeat(heights_mm, 2)))
    treads[1::2, 0] += tread_mm
    outline = np.vstack(([(lefts[0], 0.0), (lefts[-1] + tread_mm, 0.0)], treads[::-1]))
    return extruded(outline, width_mm, "y")


def stepped_block_exact(
    heights_mm: Sequence[float] = (10.0, 25.0, 15.0), tread_mm: float = 20.0, width_mm: float = 40.0
) -> Exact:
    """One floor a step; walls are the two long sides, the ends and the risers."""
    floors = [plane_patch(f"floor {i}", 0.0, tread_mm * width_mm) for i in range(len(heights_mm))]
    side = tread_mm * sum(heights_mm)
    risers = width_mm * float(np.abs(np.diff([0.0, *heights_mm, 0.0])).sum())
    walls = plane_patch("walls", WALL_DEG, 2 * side + risers)
    base = plane_patch("base", DOWN_DEG, tread_mm * width_mm * len(heights_mm))
    return Exact((*floors, walls, base), side * width_mm)


def wave(
    amplitude_mm: float = 2.0,
    wave_length_mm: float = 40.0,
    waves: int = 2,
    *,
    width_mm: float = 40.0,
    middle_mm: float = 10.0,
    chord_error_mm: float = CHORD_ERROR_MM,
) -> Mesh:
    """Block with the top z = middle + A cos(2 pi x / L), crest at x = 0, over ``waves`` whole lengths."""
    per_mm = 2 * pi / wave_length_mm
    tightest = 1 / (amplitude_mm * per_mm**2)
    half = waves * wave_length_mm / 2
    steps = ceil(2 * half / (tightest * facet_angle_rad(tightest, chord_error_mm)))
    across = np.linspace(half, -half, steps + 1)
    top = np.column_stack((across, middle_mm + amplitude_mm * np.cos(per_mm * across)))
    return extruded(np.vstack(([(-half, 0), (half, 0)], top)), width_mm, "y")


def wave_exact(
    amplitude_mm: float = 2.0,
    wave_length_mm: float = 40.0,
    waves: int = 2,
    *,
    width_mm: float = 40.0,
    middle_mm: float = 10.0,
) -> Exact:
    """Top below slope a, with k = 2 pi / L: 4 n W / k E(asin(min(1, tan a / (A k))) | -(A k)^2)."""
    per_mm = 2 * pi / wave_length_mm
    steepest = amplitude_mm * per_mm

    def top_mm2(slope: float) -> float:
        quarter = asin(min(1.0, tan(slope) / steepest))
        return 4 * waves * width_mm / per_mm * float(ellipeinc(quarter, -(steepest**2)))

    length = waves * wave_length_mm
    end = middle_mm + amplitude_mm * cos(per_mm * length / 2)
    patches = (
        curved_patch("top", degrees(atan2(steepest, 1.0)), top_mm2),
        plane_patch("walls", WALL_DEG, 2 * length * middle_mm + 2 * width_mm * end),
        plane_patch("base", DOWN_DEG, length * width_mm),
    )
    return Exact(patches, length * width_mm * middle_mm)


# ---------------------------------------------------------------------------------------- changes to a mesh


def _edge_numbers(vertices: Points, faces: Faces) -> tuple[Faces, Faces]:
    """Unique edges (e, 2), and the three edges (m, 3) of every face: from corner 0 to 1, 1 to 2, 2 to 0."""
    corners = np.sort(np.stack((faces, np.roll(faces, -1, axis=1)), axis=-1), axis=-1).reshape(-1, 2)
    edges, numbers = np.unique(corners, axis=0, return_inverse=True)
    return edges, numbers.reshape(-1, 3)


def refined(vertices: Points, faces: Faces, longest_edge_mm: float, *, passes: int = 30) -> Mesh:
    """Halve edges until none is longer than ``longest_edge_mm``: the same surface, finer, still closed."""
    for _ in range(passes):
        edges, of_face = _edge_numbers(vertices, faces)
        long = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1) > longest_edge_mm
        if not long.any():
            break
        middle = np.full(len(edges), -1)
        middle[long] = len(vertices) + np.arange(long.sum())
        vertices = np.vstack((vertices, vertices[edges[long]].mean(axis=1)))
        faces = _split_faces(faces, middle[of_face])
    return vertices, faces


def _split_faces(faces: Faces, middle: Faces) -> Faces:
    """Cut each face at the middles (m, 3) of its edges; -1 where an edge stays whole."""
    split = middle >= 0
    count = split.sum(axis=1)
    # Turn each face so that its cut edges come first: one cut 100, two cuts 110.
    first = np.argmax(split & ~np.roll(split, 1, axis=1), axis=1)
    turn = (first[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(faces, turn, axis=1).T
    ab, bc, ca = np.take_along_axis(middle, turn, axis=1).T
    pieces = {
        0: [(a, b, c)],
        1: [(a, ab, c), (ab, b, c)],
        2: [(b, bc, ab), (a, ab, bc), (a, bc, c)],
        3: [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)],
    }
    return np.concatenate([np.column_stack(piece)[count == n] for n in pieces for piece in pieces[n]])


def vertex_normals(vertices: Points, faces: Faces) -> Points:
    """Unit mean of the facet normals round each vertex, weighted by facet area."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    normals = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(normals, faces[:, k], np.cross(b - a, c - a))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return normals


def with_noise(vertices: Points, faces: Faces, share_of_edge: float, seed: int) -> Mesh:
    """Move each vertex along its normal by ``share_of_edge`` x mean edge length x uniform(-1, 1)."""
    edges, _ = _edge_numbers(vertices, faces)
    mean_edge = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1).mean()
    push = share_of_edge * mean_edge * np.random.default_rng(seed).uniform(-1, 1, (len(vertices), 1))
    return vertices + push * vertex_normals(vertices, faces), faces


def permuted(vertices: Points, faces: Faces, seed: int) -> Mesh:
    """The same surface with vertices, faces and the first corner of each face in another order."""
    random = np.random.default_rng(seed)
    order = random.permutation(len(vertices))
    new_number = np.empty(len(vertices), dtype=np.int64)
    new_number[order] = np.arange(len(vertices))
    turn = (random.integers(0, 3, (len(faces), 1)) + np.arange(3)) % 3
    shuffled = np.take_along_axis(new_number[faces], turn, axis=1)
    return vertices[order], shuffled[random.permutation(len(faces))]


def turned(vertices: Points, rotation: Points) -> Points:
    """Vertices turned about the origin by a (3, 3) rotation matrix."""
    return vertices @ rotation.T


# ---------------------------------------------------------------------------------------- STL


def _unit_normals(vertices: Points, faces: Faces) -> Points:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    normals: Points = np.cross(b - a, c - a)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), np.finfo(float).tiny)
    return normals


def to_stl_bytes(vertices: Points, faces: Faces, header: bytes = b"", count: int | None = None) -> bytes:
    """Binary STL; ``count`` overrides the true number of facets in the file's head."""
    records = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    records["normal"] = _unit_normals(vertices, faces)
    records["corners"] = vertices[faces]
    stated = len(faces) if count is None else count
    return header[:80].ljust(80, b"\0") + stated.to_bytes(4, "little") + records.tobytes()


def to_ascii_stl(vertices: Points, faces: Faces, name: str = "part") -> bytes:
    """Text STL with nine significant digits, enough to give every float32 back."""
    lines = [f"solid {name}"]
    for normal, corners in zip(_unit_normals(vertices, faces), vertices[faces], strict=True):
        lines.append("facet normal {:.9g} {:.9g} {:.9g}".format(*normal))
        lines.append("  outer loop")
        lines.extend("    vertex {:.9g} {:.9g} {:.9g}".format(*corner) for corner in corners)
        lines.extend(("  endloop", "endfacet"))
    return "\n".join([*lines, f"endsolid {name}", ""]).encode("ascii")
