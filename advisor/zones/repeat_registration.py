"""Laying zones on each other: one is carried onto the other by a turn about the tool axis and a shift, and measured.

Points of each surface and of its border against facets and border of the other, both ways; nothing is left out of
the largest distance. Frame as in ``repeat_signature``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.registration import nearest_alike
from advisor.part.mesh import Floats, Ints
from advisor.zones.repeat_pieces import Pieces, pieces_of
from advisor.zones.repeat_signature import Measures, likely_turns_deg, plan_waves

# Points of a zone: a quarter of its facets or as many as its border edges, within these. Half are spread evenly over
# area or length, half over pieces, for details have many small ones.
_FEWEST_POINTS, _MOST_POINTS = 192, 1024
_FEWEST_BORDER_POINTS, _MOST_BORDER_POINTS = 128, 512
# Refinement of a pose: points it looks at, rounds, how far the zones may lie apart and lean at first.
_REFINE_POINTS = 96
_REFINE_ROUNDS = 6
_REFINE_REACH_SHARE = 0.06
_REFINE_LEAN_DEG = 30.0
# A round that leaves more than this of the misfit before it leads nowhere.
_REFINE_GAIN = 0.8
# Directions in which the fit holds less well than this against the best are left alone.
_LEAST_HOLD = 1e-3
_ANY_LEAN = -2.0
# A point this near, as a share of the distance allowed, need not be looked for in another zone.
_NEAR_SHARE = 0.05


@dataclass(frozen=True)
class Pose:
    """A move ``x' = matrix x + shift``: perhaps mirrored in the plane of X and Z, then turned about Z, then shifted."""

    matrix: Floats
    shift: Floats

    @property
    def is_mirrored(self) -> bool:
        """Whether the move makes a left hand of a right one."""
        return bool(self.matrix[0, 0] * self.matrix[1, 1] < self.matrix[0, 1] * self.matrix[1, 0])

    @property
    def turn_deg(self) -> float:
        """Turn in (-180, 180]."""
        turn = math.degrees(math.atan2(self.matrix[1, 0], self.matrix[0, 0]))
        return turn + 0.0 if turn > -180.0 else 180.0

    @property
    def inverse(self) -> Pose:
        """The move back."""
        back = np.ascontiguousarray(self.matrix.T)
        return Pose(back, -(back @ self.shift))

    def after(self, first: Pose) -> Pose:
        """This move after another."""
        return Pose(self.matrix @ first.matrix, self.matrix @ first.shift + self.shift)

    def __call__(self, points: Floats) -> Floats:
        """Points moved."""
        return points @ self.matrix.T + self.shift


def pose_about(turn_deg: float, before: Floats, after: Floats, *, mirrored: bool = False) -> Pose:
    """The move with a turn that carries point `before` to point `after`; exact for a turn of 0."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    side = -1.0 if mirrored else 1.0
    matrix = np.array([[c, -side * s, 0.0], [s, side * c, 0.0], [0.0, 0.0, 1.0]])
    return Pose(matrix, after - matrix @ before)


UNMOVED = Pose(np.eye(3), np.zeros(3))


@dataclass(frozen=True)
class Shapes:
    """All that registration asks of zones.

    Attributes
    ----------
    measures : Measures
    surface, border : Pieces
        Of the zones that have something like a double by their measures, and of no others.
    border_beside : (k,) int array
        Zone on the other side of each border segment, in the order in which they were given; -1 where there is none.
    distance_mm : (z,) float64 array
        Within which copies of a zone lie on it.
    """

    measures: Measures
    surface: Pieces
    border: Pieces
    border_beside: Ints
    distance_mm: Floats

    @cached_property
    def _known_waves(self) -> dict[int, NDArray[np.complex128]]:
        return {}

    def waves(self, zone: int) -> NDArray[np.complex128]:
        """Plan signature of a zone, worked out at first use."""
        if zone not in self._known_waves:
            points, directions = self.surface.points_of(zone, _MOST_POINTS)
            border, _ = self.border.points_of(zone, _MOST_BORDER_POINTS)
            self._known_waves[zone] = plan_waves(points, directions, border, self.measures.centre_mm[zone])
        return self._known_waves[zone]


def shapes_of(
    measures: Measures,
    surface: tuple[Floats, Floats, Floats, Ints],
    border: tuple[Floats, Floats, Floats, Ints],
    border_beside: Ints,
    distance_mm: Floats,
) -> Shapes:
    """Shapes of zones from their triangles and border segments: corners, directions, sizes and zones of each."""
    count = len(distance_mm)
    return Shapes(
        measures,
        pieces_of(*surface, count, (_FEWEST_POINTS, _MOST_POINTS, 0.25)),
        pieces_of(*border, count, (_FEWEST_BORDER_POINTS, _MOST_BORDER_POINTS, 1.0)),
        border_beside,
        distance_mm,
    )


def largest_gap_mm(shapes: Shapes, one: int, other: int, pose: Pose) -> float:
    """Largest distance between zone `one`, moved, and zone `other`; infinite where they are no copies.

    No point lies further off than allowed. All but a few face alike: needles have no direction worth the name.
    """
    back = pose.inverse
    gap = 0.0
    for pieces, lean_deg in ((shapes.border, None), (shapes.surface, tolerances.REPEAT_LEAN_DEG)):
        for source, target, move in ((one, other, pose), (other, one, back)):
            allowed = float(shapes.distance_mm[source])
            gap = max(gap, pieces_gap_mm(pieces, pieces.points_of(source), target, move, allowed, lean_deg))
            if gap == math.inf:
                return gap
    return gap


def union_gaps_mm(shapes: Shapes, ones: NDArray[np.int64], others: NDArray[np.int64], pose: Pose) -> Floats:
    """(g,) largest distance between each zone of one union, moved, and another union; infinite where too large.

    Lines between zones of a union may lie where they will: the surface and the rest of the border must agree.
    """
    gaps = np.zeros(len(ones))
    for sources, targets, move in ((ones, others, pose), (others, ones, pose.inverse)):
        for k, (source, target) in enumerate(zip(sources, targets, strict=True)):
            order = [int(target), *(int(zone) for zone in targets if zone != target)]
            gaps[k] = max(gaps[k], _gap_to_union_mm(shapes, int(source), sources, order, move))
    return gaps


def union_gap_mm(shapes: Shapes, ones: NDArray[np.int64], others: NDArray[np.int64], pose: Pose) -> float:
    """Largest distance between two unions of zones, mm; infinite where they are no copies."""
    if len(ones) == 1:
        return largest_gap_mm(shapes, int(ones[0]), int(others[0]), pose)
    return float(union_gaps_mm(shapes, ones, others, pose).max())


def _gap_to_union_mm(shapes: Shapes, source: int, union: NDArray[np.int64], targets: list[int], move: Pose) -> float:
    allowed = float(shapes.distance_mm[source])
    lean = math.cos(math.radians(tolerances.REPEAT_LEAN_DEG))
    surface, border = shapes.surface, shapes.border
    gap, leans = _nearest_of(surface, surface.points_of(source), targets, move, allowed, lean)
    even = len(gap) // 2
    if np.count_nonzero(leans[:even]) > tolerances.REPEAT_LEANING_SHARE * even or not np.isfinite(gap).all():
        return math.inf
    first, last = border.point_start[source], border.point_start[source + 1]
    is_rim = ~np.isin(shapes.border_beside[border.point_row[first:last]], union)
    points, directions = border.points_of(source)
    rim_gap, _ = _nearest_of(border, (points[is_rim], directions[is_rim]), targets, move, allowed, _ANY_LEAN)
    return float(max(gap.max(initial=0.0), rim_gap.max(initial=0.0)))


def _nearest_of(
    pieces: Pieces, points: tuple[Floats, Floats], zones: list[int], move: Pose, allowed: float, least_cosine: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Distance of moved points from the nearest of several zones, and whether they lean against it."""
    gap, leans = np.full(len(points[0]), np.inf), np.ones(len(points[0]), bool)
    for zone in zones:
        # beside a line between two zones the next zone may be the nearer
        open_points = np.flatnonzero(leans | (gap > _NEAR_SHARE * allowed))
        if len(open_points) == 0:
            break
        asked = points[0][open_points], points[1][open_points]
        found, alike, _ = _nearest(pieces, asked, zone, move, allowed, least_cosine, may_miss=True)
        gap[open_points] = np.minimum(gap[open_points], found)
        leans[open_points] &= alike < 0
    return gap, leans


def _nearest(
    pieces: Pieces,
    points: tuple[Floats, Floats],
    zone: int,
    move: Pose,
    reach_mm: float,
    least_cosine: float,
    *,
    may_miss: bool,
) -> tuple[Floats, NDArray[np.int64], Floats]:
    """Distance, piece and nearest point of a zone, for moved points and their directions (see the kernel)."""
    places, directions = move(points[0]), points[1] @ move.matrix.T
    foot = np.empty_like(places)
    distance, alike = nearest_alike(
        places, directions, pieces.corners, pieces.direction, *pieces.boxes, *pieces.span(zone), reach_mm,
        least_cosine, may_miss, foot,
    )  # fmt: skip
    return distance, alike, foot


def pieces_gap_mm(
    pieces: Pieces,
    points: tuple[Floats, Floats],
    zone: int,
    move: Pose,
    allowed: float,
    lean_deg: float | None,
) -> float:
    """Largest distance of moved points from a zone; infinite where it is not allowed, or too many lean."""
    if len(points[0]) == 0:
        return 0.0
    least_cosine = _ANY_LEAN if lean_deg is None else math.cos(math.radians(lean_deg))
    gap, alike, _ = _nearest(pieces, points, zone, move, allowed, least_cosine, may_miss=False)
    even = len(gap) // 2  # the other half is spread over pieces, of which many may be needles
    leaning = np.count_nonzero(alike[:even] < 0)
    return float(gap.max()) if leaning <= tolerances.REPEAT_LEANING_SHARE * even else math.inf


def refined(shapes: Shapes, one: int, other: int, pose: Pose, *, with_turn: bool) -> Pose:
    """A pose moved on until zone `one` lies on zone `other` in the mean: least squares, point to plane.

    (Y. Chen, G. Medioni, "Object modelling by registration of multiple range images", 1992; here with one turn.)
    """
    centre, reach = shapes.measures.centre_mm[other], float(shapes.measures.reach_mm[other])
    allowed, before = float(shapes.distance_mm[one]), math.inf
    columns = 4 if with_turn else 3
    for _ in range(_REFINE_ROUNDS):
        step = _step(shapes, one, other, pose, centre, reach)
        if step is None:
            break
        holds, wants = step
        misfit = float(np.sqrt(wants @ wants))
        if misfit > allowed and misfit > _REFINE_GAIN * before:
            break  # no copy, or another turn
        before = misfit
        move = np.zeros(4)
        move[:columns] = np.linalg.lstsq(holds[:, :columns], wants, rcond=_LEAST_HOLD)[0]
        turned = pose_about(math.degrees(move[3] / reach), centre, centre + move[:3]).after(pose)
        pose = turned if with_turn else Pose(pose.matrix, pose.shift + move[:3])
        if np.abs(move).max() < 1e-3 * allowed:
            break
    return pose


def _step(
    shapes: Shapes, one: int, other: int, pose: Pose, centre: Floats, reach: float
) -> tuple[Floats, Floats] | None:
    """Rows of the least-squares step: how each point moves along its piece's direction, and by how much it should."""
    rows, gaps = [], []
    lean = math.cos(math.radians(_REFINE_LEAN_DEG))
    for pieces in (shapes.surface, shapes.border):
        asked = pieces.points_of(one, _REFINE_POINTS)
        points = asked[0]
        if len(points) == 0:
            continue
        reach_mm = _REFINE_REACH_SHARE * reach
        _, piece, foot = _nearest(pieces, asked, other, pose, reach_mm, lean, may_miss=True)
        found = piece >= 0
        if 2 * np.count_nonzero(found) < len(points):
            return None
        moved, along = pose(points[found]), pieces.direction[piece[found]]
        from_centre = moved - centre
        turning = (from_centre[:, 0] * along[:, 1] - from_centre[:, 1] * along[:, 0]) / reach
        weight = 1.0 / math.sqrt(len(points))
        rows.append(weight * np.column_stack([along, turning]))
        gaps.append(weight * np.einsum("ij,ij->i", foot[found] - moved, along))
    return np.concatenate(rows), np.concatenate(gaps)


def registered(shapes: Shapes, one: int, other: int) -> tuple[Pose, float] | None:
    """The move that carries a zone onto another, and their largest distance, mm; None where they are no copies.

    A pure shift where one does; then turns, the least first; a mirror image only where no turn does.
    """
    before, after = shapes.measures.centre_mm[one], shapes.measures.centre_mm[other]
    found = _laid(shapes, one, other, pose_about(0.0, before, after), with_turn=False)
    if found is not None:
        return found
    for mirrored in (False, True):
        for turn_deg in likely_turns_deg(shapes.waves(one), shapes.waves(other), mirrored=mirrored):
            pose = pose_about(float(turn_deg), before, after, mirrored=mirrored)
            found = _laid(shapes, one, other, pose, with_turn=True)
            if found is not None:
                return found
    return None


def _laid(shapes: Shapes, one: int, other: int, rough: Pose, *, with_turn: bool) -> tuple[Pose, float] | None:
    """The refined pose and the largest distance under it; None where that is too large.

    The rough one, whose turn is a whole one, where it is no worse.
    """
    pose = refined(shapes, one, other, rough, with_turn=with_turn)
    gap = largest_gap_mm(shapes, one, other, pose)
    if gap == math.inf:
        return None
    if with_turn and abs(pose.turn_deg - rough.turn_deg) < tolerances.REPEAT_PITCH_DEG:
        rough_gap = largest_gap_mm(shapes, one, other, rough)
        if rough_gap <= gap:
            return rough, rough_gap
    return pose, gap
