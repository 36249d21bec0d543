"""Parts whose every facet has a known face and zone: the record, its changes, its comparison, its building blocks.

``labelled_parts.py`` makes the parts. A part is put together from pieces, one for each elementary face (plane,
cylinder, cone, sphere, torus, free), and every piece says which zone a machinist would draw it into. Pieces meet
in equal points, so that the mesh closes. Plan curves are counter-clockwise; wall sections are (inset, z) points.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from math import acos, atan2, ceil, cos, hypot, inf, nan, radians, sin, tan

import numpy as np
import shapely
import solids
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from solids import Faces, Points

Place = Callable[[Points], Points]

# Corners closer than this are one corner; far above rounding, far below any measure of a part.
GRID_MM = 1e-6
# Where a point lies near two facets, a normal off by one radian weighs as much as this distance.
NORMAL_WEIGHT_MM_PER_RAD = 0.3
# Facets near a point are looked for by points on them no further apart than this, by few of them, then by more,
# until one lies so close and faces so alike that no other can be meant; so many points at a time, for memory.
SAMPLE_STEP_MM = 2.0
CANDIDATES = (8, 32, 128)
GOOD_MM = 0.01
POINTS_AT_ONCE = 4000
# Both ends of a height move, so noise tilts no facet by more than about twice this, 17 degrees.
LEAST_HEIGHT_SHARE = 0.15


# ---------------------------------------------------------------------------------------- the record


@dataclass(frozen=True)
class LabelledPart:
    """A closed, outward-wound mesh in mm with its faces and zones; ``ball_mm`` is the ball's diameter.

    ``face`` (m,) and ``zone`` (m,) number the entries of ``face_names``, ``face_shapes`` and ``zone_names``,
    ``zone_shapes``.
    """

    name: str
    vertices: Points
    faces: Faces
    face: Faces
    face_names: tuple[str, ...]
    face_shapes: tuple[str, ...]
    zone: Faces
    zone_names: tuple[str, ...]
    zone_shapes: tuple[str, ...]
    ball_mm: float
    note: str = ""

    def __post_init__(self) -> None:
        for array in (self.vertices, self.faces, self.face, self.zone):
            array.flags.writeable = False

    @cached_property
    def _doubled(self) -> Points:
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(3))
        return np.cross(b - a, c - a)

    @cached_property
    def areas_mm2(self) -> Points:
        """(m,) area of each facet."""
        return np.asarray(np.linalg.norm(self._doubled, axis=1) / 2)

    @cached_property
    def normals(self) -> Points:
        """(m, 3) unit normal of each facet."""
        return self._doubled / (2 * self.areas_mm2[:, None])

    @cached_property
    def centres(self) -> Points:
        """(m, 3) centroid of each facet."""
        return np.asarray(self.vertices[self.faces].mean(axis=1))


# ---------------------------------------------------------------------------------------- changes


def refined(part: LabelledPart, edge_mm: float) -> LabelledPart:
    """The same surface with no edge longer than ``edge_mm``, still closed; pieces keep their facet's labels."""
    vertices, faces, parent = _refined_mesh(part.vertices, part.faces, edge_mm)
    return replace(part, vertices=vertices, faces=faces, face=part.face[parent], zone=part.zone[parent])


def _refined_mesh(vertices: Points, faces: Faces, edge_mm: float) -> tuple[Points, Faces, Faces]:
    """Vertices, faces, and for each face the number of the one it is a piece of."""
    parent = np.arange(len(faces))
    while True:
        edges, of_face = solids._edge_numbers(vertices, faces)
        long = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1) > edge_mm
        if not long.any():
            return vertices, faces, parent
        middle = np.full(len(edges), -1)
        middle[long] = len(vertices) + np.arange(long.sum())
        cuts = long[of_face].sum(axis=1)
        vertices = np.vstack((vertices, vertices[edges[long]].mean(axis=1)))
        faces = solids._split_faces(faces, middle[of_face])
        # the order in which the pieces come: faces cut n times fall into n + 1 pieces
        parent = np.concatenate([parent[cuts == n] for n in range(4) for _ in range(n + 1)])


def shaken(part: LabelledPart, share_of_edge: float, seed: int) -> LabelledPart:
    """Move each vertex along its normal by uniform(-1, 1) x ``share_of_edge`` x the shortest edge that ends in it.

    So well-shaped facets are tilted by about the same angle everywhere, however small they are. No vertex moves by
    more than LEAST_HEIGHT_SHARE of the least height of a facet at it: needles are not turned over. Refine first.
    """
    corners = part.vertices[part.faces]
    edges = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    most = np.minimum(
        share_of_edge * np.minimum(edges, np.roll(edges, 1, axis=1)),
        (LEAST_HEIGHT_SHARE * 2 * part.areas_mm2 / edges.max(axis=1))[:, None],
    )
    amplitude = np.full(len(part.vertices), inf)
    np.minimum.at(amplitude, part.faces, most)
    push = amplitude * np.random.default_rng(seed).uniform(-1, 1, len(part.vertices))
    normals = solids.vertex_normals(part.vertices, part.faces)
    return replace(part, vertices=part.vertices + push[:, None] * normals)


def turned(part: LabelledPart, turn_deg: float) -> LabelledPart:
    """The part turned about Z."""
    c, s = cos(radians(turn_deg)), sin(radians(turn_deg))
    return replace(part, vertices=part.vertices @ np.array([(c, s, 0), (-s, c, 0), (0, 0, 1)]))


# ---------------------------------------------------------------------------------------- comparison


def labels_at(part: LabelledPart, points: Points, normals: Points) -> tuple[Faces, Faces]:
    """Face (n,) and zone (n,) of the part at points (n, 3) with unit normals (n, 3), as of another mesh of it.

    It is the facet with the least distance^2 + (weight x angle between normals)^2, so that a point near an edge
    goes to the side it faces.
    """
    samples, parent = _samples(part.vertices[part.faces], SAMPLE_STEP_MM)
    tree = cKDTree(samples)
    best = np.concatenate([
        _best_facets(part, tree, parent, points[at : at + POINTS_AT_ONCE], normals[at : at + POINTS_AT_ONCE])
        for at in range(0, len(points), POINTS_AT_ONCE)
    ])  # fmt: skip
    return part.face[best], part.zone[best]


def _best_facets(part: LabelledPart, tree: cKDTree, parent: Faces, points: Points, normals: Points) -> Faces:
    best = np.zeros(len(points), dtype=np.int64)
    left = np.arange(len(points))
    for count in CANDIDATES:
        near = parent[tree.query(points[left], k=min(count, tree.n))[1]]
        corners = part.vertices[part.faces[near]]
        distance = _distance_to_triangles(np.broadcast_to(points[left, None], near.shape + (3,)), corners)
        angle = np.arccos(np.clip((normals[left, None] * part.normals[near]).sum(axis=2), -1, 1))
        cost = distance**2 + (NORMAL_WEIGHT_MM_PER_RAD * angle) ** 2
        least = cost.argmin(axis=1)[:, None]
        best[left] = np.take_along_axis(near, least, axis=1)[:, 0]
        left = left[np.take_along_axis(cost, least, axis=1)[:, 0] > GOOD_MM**2]
        if len(left) == 0:
            break
    return best


def _samples(corners: Points, step_mm: float) -> tuple[Points, Faces]:
    """Points on triangles (m, 3, 3), in rows along their longest edges, and the triangle each lies on."""
    edges = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    turn = (edges.argmax(axis=1)[:, None] + np.arange(3)) % 3
    a, b, c = np.moveaxis(np.take_along_axis(corners, turn[:, :, None], axis=1), 1, 0)
    height = np.linalg.norm(np.cross(b - a, c - a), axis=1) / edges.max(axis=1)
    along, up = (np.ceil(size / step_mm).astype(np.int64) for size in (edges.max(axis=1), height))
    # the first row lies on the longest edge, so that the sharp ends of needles have their points
    count = (along + 1) * up
    parent = np.repeat(np.arange(len(corners)), count)
    number = np.arange(len(parent)) - np.repeat(np.cumsum(count) - count, count)
    share = (number % (along[parent] + 1) / along[parent])[:, None]
    rise = (number // (along[parent] + 1) / up[parent])[:, None]
    foot = (1 - share) * a[parent] + share * b[parent]
    return (1 - rise) * foot + rise * c[parent], parent


def _distance_to_triangles(points: Points, corners: Points) -> Points:
    """(...) distance of points (..., 3) from triangles (..., 3, 3)."""
    along = np.roll(corners, -1, axis=-2) - corners
    to_point = points[..., None, :] - corners
    length = np.maximum((along**2).sum(axis=-1), 1e-30)
    share = np.clip((to_point * along).sum(axis=-1) / length, 0, 1)
    to_edges = np.linalg.norm(to_point - share[..., None] * along, axis=-1).min(axis=-1)
    normal = np.cross(along[..., 0, :], along[..., 1, :])
    normal /= np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-30)
    inside = ((np.cross(normal[..., None, :], along) * to_point).sum(axis=-1) >= 0).all(axis=-1)
    return np.where(inside, np.abs((to_point[..., 0, :] * normal).sum(axis=-1)), to_edges)


def iou(expected_zone: Faces, found_zone: Faces, area: Points) -> tuple[Points, Faces]:
    """For each expected zone the best intersection over union by area with any found zone, and which one.

    All arrays are (m,), one entry a facet of the mesh on which both are known; a zone below 0 is none. Expected
    zones that have no facet get NaN and -1.
    """
    count, others = int(expected_zone.max()) + 1, int(found_zone.max()) + 1
    table = np.zeros((count + 1, others + 1))  # the last row and column take what has no zone
    np.add.at(table, (expected_zone, found_zone), area)
    union = table.sum(axis=1)[:count, None] + table.sum(axis=0)[:others] - table[:count, :others]
    share = np.divide(table[:count, :others], union, out=np.zeros((count, others)), where=union > 0)
    there = table[:count].sum(axis=1) > 0
    if others == 0:
        return np.where(there, 0.0, np.nan), np.full(count, -1)
    best = share.argmax(axis=1)
    return np.where(there, share.max(axis=1), np.nan), np.where(there & (share.max(axis=1) > 0), best, -1)


# ---------------------------------------------------------------------------------------- pieces


@dataclass(frozen=True)
class Zone:
    """A zone by name, and what it is in a machinist's word."""

    name: str
    shape: str


@dataclass(frozen=True)
class Piece:
    """The (m, 3, 3) triangles of one elementary face. Pieces of one face name are one face."""

    triangles: Points
    face: str
    face_shape: str
    zone: Zone


def assembled(name: str, pieces: Sequence[Piece], ball_mm: float, note: str = "") -> LabelledPart:
    """Weld pieces; triangles that have collapsed (at poles) are left out."""
    corners = np.concatenate([piece.triangles for piece in pieces]).reshape(-1, 3)
    _, first, number = np.unique(np.round(corners / GRID_MM), axis=0, return_index=True, return_inverse=True)
    faces = number.reshape(-1, 3).astype(np.int64)
    whole = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    counts = [len(piece.triangles) for piece in pieces]
    face_of = np.repeat(np.arange(len(pieces)), counts)[whole]
    face_names, face_shapes, face = _numbered([(piece.face, piece.face_shape) for piece in pieces], face_of)
    zone_names, zone_shapes, zone = _numbered([(piece.zone.name, piece.zone.shape) for piece in pieces], face_of)
    return LabelledPart(
        name, corners[first], faces[whole], face, face_names, face_shapes, zone, zone_names, zone_shapes, ball_mm, note
    )


def _numbered(
    labels: list[tuple[str, str]], piece_of_facet: Faces
) -> tuple[tuple[str, ...], tuple[str, ...], NDArray[np.int64]]:
    """Names and shapes in order of appearance, and their numbers for all facets; pieces without facets drop out."""
    there = np.unique(piece_of_facet)
    kinds = dict.fromkeys(labels[k] for k in there)
    names, shapes = zip(*kinds, strict=True)
    if len(set(names)) < len(names):
        raise ValueError("one name, two shapes")
    number = {label: k for k, label in enumerate(kinds)}
    return names, shapes, np.array([number.get(label, -1) for label in labels])[piece_of_facet]


# ---------------------------------------------------------------------------------------- curves


@dataclass(frozen=True)
class Outline:
    """Closed counter-clockwise plan curve of lines and arcs; inset by d, point k is points[k] + d inward[k].

    ``span`` numbers the line or arc of the step from point k to k + 1, ``span_radius_mm`` has a number for each:
    infinite for lines, negative where the curve is hollow.
    """

    points: Points
    inward: Points
    span: Faces
    span_radius_mm: tuple[float, ...]

    def inset(self, distance_mm: float) -> Points:
        """(n, 2) points of the parallel curve ``distance_mm`` further in."""
        return self.points + distance_mm * self.inward

    def placed(self, x_mm: float, y_mm: float, turn_deg: float = 0.0) -> Outline:
        """Turned about the origin, then shifted."""
        c, s = cos(radians(turn_deg)), sin(radians(turn_deg))
        turn = np.array([(c, s), (-s, c)])
        return replace(self, points=self.points @ turn + (x_mm, y_mm), inward=self.inward @ turn)


def circle(radius_mm: float, chord_error_mm: float) -> Outline:
    """Circle about the origin, its number of steps a multiple of four."""
    steps = 4 * ceil(2 * np.pi / solids.facet_angle_rad(radius_mm, chord_error_mm) / 4)
    angles = np.arange(steps) * (2 * np.pi / steps)
    outward = np.column_stack((np.cos(angles), np.sin(angles)))
    return Outline(radius_mm * outward, -outward, np.zeros(steps, dtype=np.int64), (radius_mm,))


def polygon(corners: Sequence[tuple[float, float]], radius_mm: float, chord_error_mm: float) -> Outline:
    """Counter-clockwise corners, rounded where ``radius_mm`` is not 0; sharp ones stay sharp at any inset."""
    points, inward, span, radii = [], [], [], []
    plan = np.array(corners, dtype=float)
    for before, corner, after in zip(np.roll(plan, 1, axis=0), plan, np.roll(plan, -1, axis=0), strict=True):
        into, out = (corner - before) / hypot(*(corner - before)), (after - corner) / hypot(*(after - corner))
        bend = atan2(into[0] * out[1] - into[1] * out[0], into @ out)
        first, last = np.array((into[1], -into[0])), np.array((out[1], -out[0]))
        mitre = -(first + last) / (1 + first @ last)
        if radius_mm == 0:
            points.append(corner[None])
            inward.append(mitre[None])
        else:
            radius = radius_mm if bend > 0 else -radius_mm
            # a hollow arc grows with the inset: give it steps for ten millimetres more
            steps = ceil(abs(bend) / solids.facet_angle_rad(radius_mm + 10 * (bend < 0), chord_error_mm) - 1e-9)
            angles = atan2(first[1], first[0]) + np.linspace(0, bend, steps + 1)
            outward = np.column_stack((np.cos(angles), np.sin(angles)))
            points.append(corner + radius * mitre + radius * outward)
            inward.append(-outward)
            span += [len(radii)] * steps
            radii.append(radius)
        span.append(len(radii))
        radii.append(inf)
    return Outline(np.vstack(points), np.vstack(inward), np.array(span), tuple(radii))


def rectangle(width_mm: float, height_mm: float, radius_mm: float, chord_error_mm: float) -> Outline:
    """Rectangle about the origin, its corners rounded where ``radius_mm`` is not 0."""
    x, y = width_mm / 2, height_mm / 2
    return polygon([(x, -y), (x, y), (-x, y), (-x, -y)], radius_mm, chord_error_mm)


@dataclass(frozen=True)
class Run:
    """One line, arc or free curve (``kind``) of a section: (k, 2) points; an arc has a centre."""

    kind: str
    points: Points
    zone: Zone
    centre_mm: tuple[float, float] = (inf, inf)


def line(start: tuple[float, float], end: tuple[float, float], zone: Zone) -> Run:
    """Straight run."""
    return Run("line", np.array((start, end), dtype=float), zone)


def arc(
    centre: tuple[float, float], radius_mm: float, from_deg: float, to_deg: float, zone: Zone, chord_error_mm: float
) -> Run:
    """Run along a circle; angles count from the first axis towards the second."""
    points = solids.arc(centre, radius_mm, from_deg, to_deg, chord_error_mm)
    return Run("arc", points, zone, centre)


def chain(corners: Sequence[tuple[float, float, float, Zone | None]], chord_error_mm: float) -> list[Run]:
    """Runs through corners (first, second axis, radius, zone of the line that leaves the corner or None: no run).

    Corners are rounded where their radius is not 0; the arc belongs to the steeper of its lines that has a zone.
    """
    plan = np.array([corner[:2] for corner in corners], dtype=float)
    ways = np.diff(plan, axis=0)
    ways /= np.hypot(*ways.T)[:, None]
    arcs: list[Run | None] = [None]
    for k in range(1, len(corners) - 1):
        arcs.append(_corner_arc(plan[k], ways[k - 1 : k + 1], corners[k - 1 : k + 1], chord_error_mm))
    arcs.append(None)
    runs = []
    for k, (before, after) in enumerate(pairwise(arcs)):
        if before is not None:
            runs.append(before)
        ends = np.array([plan[k] if before is None else before.points[-1], plan[k + 1]])
        if after is not None:
            ends[1] = after.points[0]
        zone = corners[k][3]
        if zone is not None and hypot(*(ends[1] - ends[0])) > GRID_MM:
            runs.append(Run("line", ends, zone))
    return runs


def _corner_arc(
    corner: Points, ways: Points, sides: Sequence[tuple[float, float, float, Zone | None]], chord_error_mm: float
) -> Run | None:
    radius = sides[1][2]
    if radius == 0:
        return None
    (into, out), (before, after) = ways, (sides[0][3], sides[1][3])
    side = 1.0 if into[0] * out[1] - into[1] * out[0] > 0 else -1.0
    bend = side * acos(float(np.clip(into @ out, -1, 1)))
    centre = corner - radius * tan(abs(bend) / 2) * into + radius * side * np.array((-into[1], into[0]))
    from_deg = np.degrees(atan2(-side * into[0], side * into[1]))
    steeper = before if abs(into[1]) >= abs(out[1]) else after
    zone = steeper or before or after
    if zone is None:
        raise ValueError("a round between two lines without a zone")
    return arc((centre[0], centre[1]), radius, from_deg, from_deg + np.degrees(bend), zone, chord_error_mm)


# ---------------------------------------------------------------------------------------- faces


def _cells(rows: Points) -> Points:
    """(rows - 1, columns - 1, 2, 3, 3) triangles of a (rows, columns, 3) grid, cut along the shorter diagonals.

    The outside is where columns run to the right and rows run up.
    """
    a, b, c, d = rows[:-1, :-1], rows[:-1, 1:], rows[1:, 1:], rows[1:, :-1]
    # the tolerance keeps rounding noise from deciding between equal diagonals
    straight = np.linalg.norm(a - c, axis=-1) <= np.linalg.norm(b - d, axis=-1) + 1e-9
    one = np.stack((np.stack((a, b, c), -2), np.stack((a, c, d), -2)), -3)
    other = np.stack((np.stack((a, b, d), -2), np.stack((b, c, d), -2)), -3)
    return np.where(straight[..., None, None, None], one, other)


def swept(name: str, outline: Outline, runs: Sequence[Run]) -> list[Piece]:
    """Faces of a wall section (inset, z) led round an outline; inward and upward runs show their upper side."""
    pieces = []
    for number, run in enumerate(runs):
        rows = np.stack([np.insert(outline.inset(inset), 2, z, axis=1) for inset, z in run.points])
        cells = _cells(np.concatenate((rows, rows[:, :1]), axis=1))
        for span, radius in enumerate(outline.span_radius_mm):
            shape = _swept_shape(run, radius)
            label = f"{name} run {number}" if np.ptp(run.points[:, 1]) == 0 else f"{name} run {number} side {span}"
            pieces.append(Piece(cells[:, outline.span == span].reshape(-1, 3, 3), label, shape, run.zone))
    return pieces


def _swept_shape(run: Run, span_radius_mm: float) -> str:
    """Kind of surface that a run makes along a line (infinite radius) or round an arc of a plan curve."""
    along, up = np.abs(run.points[-1] - run.points[0])
    if run.kind == "free":
        return "free"
    if run.kind == "line":
        if up == 0 or span_radius_mm == inf:
            return "plane"
        return "cylinder" if along < GRID_MM else "cone"
    if span_radius_mm == inf:
        return "cylinder"
    return "sphere" if abs(span_radius_mm - run.centre_mm[0]) < GRID_MM else "torus"


def flat(name: str, zone: Zone, loop: Points, holes: Sequence[Points], place: Place) -> Piece:
    """Plane face within a (k, 2) loop, less the holes; its outside is where the placed loop is counter-clockwise."""
    region = shapely.Polygon(loop, holes)
    if not region.is_valid:
        raise ValueError(f"{name}: holes touch or leave the face")
    cover = shapely.constrained_delaunay_triangles(region)
    corners = np.array([shapely.get_coordinates(triangle)[:3] for triangle in cover.geoms])
    edges = corners[:, 1:] - corners[:, :1]
    clockwise = edges[:, 0, 0] * edges[:, 1, 1] < edges[:, 0, 1] * edges[:, 1, 0]
    corners[clockwise] = corners[clockwise][:, ::-1]
    return Piece(place(corners.reshape(-1, 2)).reshape(-1, 3, 3), name, "plane", zone)


def level(name: str, zone: Zone, loop: Points, holes: Sequence[Points], z_mm: float) -> Piece:
    """Level face that looks up."""
    return flat(name, zone, loop, holes, lambda plan: np.insert(plan, 2, z_mm, axis=1))


def base(loop: Points, holes: Sequence[Points]) -> Piece:
    """The face at z = 0 that looks down."""
    holes = [hole[:, ::-1] for hole in holes]
    return flat("base", Zone("base", "undercut"), loop[:, ::-1], holes, lambda plan: np.insert(plan[:, ::-1], 2, 0, 1))


def drawn(name: str, runs: Sequence[Run], stations: Points, place: Callable[[Points, float], Points]) -> list[Piece]:
    """A closed section, counter-clockwise in (across, z), drawn along stations, and the two end faces.

    ``place(section, station)`` gives (k, 3) points; two stations make planes and cylinders of lines and arcs,
    more of them (a turn about Z) planes, cylinders, cones and tori. The ends belong to the zone "outside".
    """
    pieces = []
    for number, run in enumerate(runs):
        cells = _cells(np.stack([place(run.points, station) for station in stations]))
        shape = _swept_shape(run, inf if len(stations) == 2 else nan)
        pieces.append(Piece(cells.reshape(-1, 3, 3), f"{name} run {number}", shape, run.zone))
    loop = np.vstack([run.points[:-1] for run in runs])
    ends = Zone("outside", "wall")
    end = flat(f"{name} end", ends, loop, [], lambda section: place(section, stations[-1]))
    start = flat(f"{name} start", ends, loop, [], lambda section: place(section, stations[0]))
    return [*pieces, replace(start, triangles=start.triangles[:, ::-1]), end]
