"""Zones, and groups of adjacent zones, that are congruent under a turn about the tool axis and a shift.

One of them is programmed and the others copied. Measures that no turn changes pick candidates; these are laid on each
other and measured (``repeat_registration``). A false repeat is worse than a missed one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Ints, Mesh, half_edge_ends
from advisor.zones.areas import borders
from advisor.zones.classes import UNDERCUT
from advisor.zones.repeat_groups import Group, grouped, led_by_lowest, measured
from advisor.zones.repeat_patterns import Pattern, pattern_of
from advisor.zones.repeat_registration import Pose, Shapes, shapes_of
from advisor.zones.repeat_signature import Measures, measure, measures_agree

Vector = tuple[float, float, float]


@dataclass(frozen=True)
class Family:
    """Copies of one shape.

    Attributes
    ----------
    members : tuple of tuples
        The zones of each copy (one, or adjacent ones that move together), in the same order in each. The first
        copy is the model.
    turn_deg, shift_mm : tuples
        The move from the model to each copy, in part coordinates: a turn about the tool axis through the origin,
        in (-180, 180] and anticlockwise seen from the spindle, then the shift. A mirrored copy is first mirrored
        in the plane through the origin that holds the tool axis and X of the set-up (``plan_axes``).
    is_mirrored : tuple of bool
        Mirror images: listed, but no copies, for no turn makes one.
    residual_mm : float
        Largest distance, over all copies, between points of a moved model or a copy and the other's surface or border.
    pattern : str
        "polar": all copies turn about one centre. "row" and "grid": pure shifts by whole pitches. Else "free".
        Mirror images have no say in it.
    centre_mm : 3-vector or None
        Of a polar pattern: the point of its axis at the height of the part's origin.
    pitch_deg : float or None
        Of a polar pattern with equal steps, a full circle or a part of one.
    pitch_mm : tuple of 3-vectors
        One of a row, two of a grid.
    """

    members: tuple[tuple[int, ...], ...]
    turn_deg: tuple[float, ...]
    shift_mm: tuple[Vector, ...]
    is_mirrored: tuple[bool, ...]
    residual_mm: float
    pattern: Literal["polar", "grid", "row", "free"]
    centre_mm: Vector | None
    pitch_deg: float | None
    pitch_mm: tuple[Vector, ...]

    @property
    def copies(self) -> int:
        """Copies that can be made of the model, itself counted; mirror images are none."""
        return self.is_mirrored.count(False)


def repeat_tolerance_mm(mesh: Mesh, chord_error_mm: float | None) -> float:
    """Distance within which copies lie on each other, mm; the reasons are told in ``tolerances``.

    Parameters
    ----------
    mesh : Mesh
    chord_error_mm : float or None
        Of the facets (``part.coarseness``); None where nothing bends.
    """
    facets = tolerances.REPEAT_CHORD_ERRORS * (chord_error_mm or 0.0)
    wanted = min(max(tolerances.REPEAT_MM, facets), tolerances.REPEAT_MOST_MM)
    return max(wanted, tolerances.JOIN_GAP_SHARE_OF_SIZE * mesh.reach_mm)


def find_repeats(
    mesh: Mesh, zone: Ints, zone_class: NDArray[np.int8], axis: Floats, tolerance_mm: float, is_left_out: Flags
) -> tuple[Family, ...]:
    """Families of congruent zones.

    Parameters
    ----------
    mesh : Mesh
    zone : (m,) int32 array
        0-based zone of every facet.
    zone_class : (z,) int8 array
        Undercut zones take no part.
    axis : (3,) unit vector from the part to the spindle
    tolerance_mm : float
        Copies lie within this of each other (see ``repeat_tolerance_mm``), and within a share of their size.
    is_left_out : (z,) bool array
        Zones that take no part, as small features that were noted together.

    Returns
    -------
    families : tuple of Family
        In the order of their models' first zones. A zone is a copy in one family at most, and may besides be listed
        in another as its mirror image.
    """
    origin = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2
    frame = np.stack([*plan_axes(axis), axis])
    takes_part = (zone_class != UNDERCUT) & ~is_left_out
    shapes, candidates = _shapes(mesh, zone, takes_part, frame, origin, tolerance_mm)
    if shapes is None:
        return ()
    groups = grouped(shapes, candidates, borders(mesh, zone))
    families = [family for group in groups for family in _families(shapes, group, frame, origin)]
    return tuple(sorted(families, key=lambda family: min(family.members[0])))


def _shapes(
    mesh: Mesh, zone: Ints, takes_part: Flags, frame: Floats, origin: Floats, tolerance_mm: float
) -> tuple[Shapes | None, list[NDArray[np.int64]]]:
    """Shapes of the zones that have something like a double by their measures, and for each zone its doubles."""
    count = len(takes_part)
    vertices = (mesh.vertices - origin) @ frame.T
    normal = mesh.normal @ frame.T
    half_edge = _border_half_edges(mesh, zone)
    ends = half_edge_ends(mesh.faces, half_edge)
    length = np.linalg.norm(mesh.vertices[ends[:, 1]] - mesh.vertices[ends[:, 0]], axis=1)
    beside = zone[half_edge // 3]
    border_mm = np.bincount(beside, length, minlength=count).astype(np.float64)
    measures = measure(vertices, mesh.faces, mesh.area_mm2, normal, zone, border_mm)
    distance = np.minimum(tolerance_mm, tolerances.REPEAT_SHARE_OF_ZONE * measures.reach_mm)
    takes_part = takes_part & (distance >= tolerances.JOIN_GAP_SHARE_OF_SIZE * mesh.reach_mm)
    doubles, has_double = _doubles(measures, takes_part, distance)
    if not has_double.any():
        return None, doubles
    facet, edge = np.flatnonzero(has_double[zone]), np.flatnonzero(has_double[beside] & (length > 0))
    surface = vertices[mesh.faces[facet]], normal[facet], mesh.area_mm2[facet], zone[facet]
    a, b = vertices[ends[edge, 0]], vertices[ends[edge, 1]]
    outward = np.cross((b - a) / length[edge, None], normal[half_edge[edge] // 3])
    border = np.stack([a, b, b], axis=1), outward, length[edge], beside[edge]
    twins = mesh.twins[half_edge[edge]]
    across = np.where(twins < 0, -1, zone[np.maximum(twins, 0) // 3])
    return shapes_of(measures, surface, border, across, distance), doubles


def _doubles(measures: Measures, takes_part: Flags, distance_mm: Floats) -> tuple[list[NDArray[np.int64]], Flags]:
    """For each zone those that may be copies of it, and whether there are any by a looser measure."""
    doubles = [np.empty(0, np.int64)] * len(takes_part)
    has_double = np.zeros(len(takes_part), bool)
    joins = np.flatnonzero(takes_part)
    for one in joins:
        others, distance = joins[joins != one], float(distance_mm[one])
        doubles[one] = others[measures_agree(measures, int(one), others, distance)]
        loose = measures_agree(measures, int(one), others, distance, tolerances.REPEAT_LOOSE_SHARE)
        has_double[one] = loose.any()
        has_double[doubles[one]] = True
    return doubles, has_double


def _border_half_edges(mesh: Mesh, zone: Ints) -> NDArray[np.int64]:
    """Half-edges with another zone, or nothing, on their other side."""
    twins = mesh.twins
    across = zone[np.maximum(twins, 0) // 3]
    return np.flatnonzero((twins < 0) | (across != np.repeat(zone, 3)))


def _families(shapes: Shapes, group: Group, frame: Floats, origin: Floats) -> list[Family]:
    """One family, or two where both hands of a shape are there several times."""
    group = led_by_lowest(shapes, group)
    hands = np.flatnonzero([pose.is_mirrored for pose in group.poses])
    parts = [group]
    if len(hands) > 1:
        parts.append(measured(shapes, group.only(hands)))
    return [_family(shapes, part, frame, origin) for part in parts if len(part.zones) > 1]


def _family(shapes: Shapes, group: Group, frame: Floats, origin: Floats) -> Family:
    hands = np.array([pose.is_mirrored for pose in group.poses])
    same, mirrored = np.flatnonzero(~hands), np.flatnonzero(hands)
    pattern, poses, gap = pattern_of(shapes, group.only(same))
    group = group.only(np.concatenate([same, mirrored]))
    group = Group(group.zones, (*poses, *group.poses[len(same) :]), max(gap, group.gap_mm if len(mirrored) else 0.0))
    return Family(
        members=tuple(tuple(int(zone) for zone in copy) for copy in group.zones),
        turn_deg=tuple(pose.turn_deg for pose in group.poses),
        shift_mm=tuple(_part_shift(pose, frame, origin) for pose in group.poses),
        is_mirrored=tuple(pose.is_mirrored for pose in group.poses),
        residual_mm=group.gap_mm,
        pattern=pattern.name,
        centre_mm=_part_centre(pattern, frame, origin),
        pitch_deg=pattern.pitch_deg,
        pitch_mm=tuple(_vector(frame.T @ pitch) for pitch in pattern.pitches_mm),
    )


def _part_shift(pose: Pose, frame: Floats, origin: Floats) -> Vector:
    """Shift after a turn about the axis through the part's origin, part coordinates."""
    middle = frame @ origin
    return _vector(frame.T @ (pose.shift + middle - pose.matrix @ middle))


def _part_centre(pattern: Pattern, frame: Floats, origin: Floats) -> Vector | None:
    if pattern.centre is None:
        return None
    middle = frame @ origin
    return _vector(frame.T @ np.array([pattern.centre[0] + middle[0], pattern.centre[1] + middle[1], 0.0]))


def _vector(values: Floats) -> Vector:
    x, y, z = (float(value) + 0.0 for value in values)
    return x, y, z
