"""Parallel lines over a zone, and what all passes drawn at levels of a coordinate have in common."""

from __future__ import annotations

import numpy as np

from advisor import tolerances
from advisor.cutter.cutter import Cutter
from advisor.kernels.pass_pieces import put_on_planes
from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Mesh, reach_of
from advisor.passes.joins import rolled_round_edges
from advisor.passes.levels import LevelLines, level_lines
from advisor.passes.lines import PassLines
from advisor.passes.pieces import LedPoint, below, chosen, offsets
from advisor.passes.surface import PassSurface

# Facets that climb less than this a mm are planes of the family themselves, but for rounding: no line is theirs.
_LEAST_CLIMB = 1e-3


def centre_of(cutter: Cutter) -> LedPoint:
    """The middle of a ball, or of the ring of a bull-nose's corner."""
    return LedPoint(cutter.corner_radius_mm, cutter.ring_radius_mm)


def across(axis: Floats, direction_deg: float) -> Floats:
    """(3,) unit vector across lines of a direction, from +X of the set-up about the tool axis, to their left."""
    turn = np.radians(direction_deg)
    return np.asarray(np.array([-np.sin(turn), np.cos(turn)]) @ plan_axes(axis))


def parallel_lines(
    surface: PassSurface,
    cutter: Cutter,
    led: LedPoint,
    axis: Floats,
    direction_deg: float,
    spacing_mm: float,
    overlap_mm: float,
    tolerance_mm: float,
) -> PassLines:
    """Passes in upright planes, equally far apart.

    The planes lie evenly over the zone: the first and the last within half a spacing of where it ends. Passes run on
    over the overlap and end where it does.

    What lies in the planes is `led`. With ``pieces.CONTACT`` the contacts do, and `spacing_mm` is theirs in plan: the
    step along the surface is ``cutter.contact.surface_spacing_mm`` of it. That is the spacing that plans are made
    with. With ``centre_of(cutter)`` the middle of the cutter moves in the planes; where the surface bends with radius
    rho across them (convex positive) the contacts are closer by ``rho / (rho + R)``, in hollows further apart:
    ``widest_spacing_mm`` tells what holds.

    Parameters
    ----------
    surface : PassSurface
    cutter : Cutter
        Rolls round outside corners within the zone.
    led : LedPoint
    axis : (3,) unit vector from the part to the spindle
    direction_deg : float
        Of the lines, from +X of the set-up about the tool axis.
    spacing_mm : float, above 0
    overlap_mm : float, 0 or more
    tolerance_mm : float, above 0
        Chord error of the arc round an outside corner.
    """
    side = across(axis, direction_deg)
    value = led_coordinate(surface, led, side, axis)
    levels = spread_levels(*extremes(surface, value), spacing_mm)
    lines, flat = drawn(surface, value, levels, led, side, axis, climb_of(surface.mesh, value) > _LEAST_CLIMB)
    beyond = between_ends(surface, flat, surface.beyond_mm)
    ended = ended_at_overlap(lines, beyond, overlap_mm, spacing_mm / 2, led, axis)
    return rolled_round_edges(ended, cutter, tolerance_mm)


def led_coordinate(surface: PassSurface, led: LedPoint, direction: Floats, axis: Floats) -> Floats:
    """(n,) coordinate along a direction of the led point of a cutter that touches at each vertex, mm."""
    return np.asarray((surface.mesh.vertices + offsets(surface.normal, led, axis)) @ direction)


def climb_of(mesh: Mesh, value: Floats) -> Floats:
    """(m,) how fast a value given at the vertices climbs along each facet, a mm: the length of its gradient."""
    a, b, c = mesh.faces.T
    one, two = mesh.vertices[b] - mesh.vertices[a], mesh.vertices[c] - mesh.vertices[a]
    up, over = value[b] - value[a], value[c] - value[a]
    # |up * two - over * one| is the gradient turned by a quarter, times twice the area
    turned = up[:, None] * two - over[:, None] * one
    area = np.maximum(2.0 * mesh.area_mm2, 1e-300)
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", turned, turned)) / area)


def widest_spacing_mm(
    surface: PassSurface, led: LedPoint, direction: Floats, axis: Floats, step_mm: Floats, tail_share: float
) -> float:
    """Distance of planes of the led point at which steps along the surface hold over all of the zone but a tail.

    Parameters
    ----------
    direction : (3,) unit vector
        Square to the planes: ``across`` for parallel lines, the tool axis for level passes.
    step_mm : (m,) float array
        Greatest step along the surface on each facet.
    tail_share : float
        Share of the zone's area that is not asked (``tolerances.TAIL_SHARE_OF_AREA``).
    """
    holds = (step_mm * climb_of(surface.mesh, led_coordinate(surface, led, direction, axis)))[surface.is_inside]
    area = surface.mesh.area_mm2[surface.is_inside]
    order = np.argsort(holds, kind="stable")
    passed = np.cumsum(area[order])
    return float(holds[order][np.searchsorted(passed, tail_share * passed[-1])])


def spread_levels(low: float, high: float, step: float) -> Floats:
    """Levels a step apart, evenly over a range, at most half a step from either end; none in a range of nothing."""
    if not high > low:
        return np.zeros(0)
    # a range of whole steps, but for rounding, needs no level more
    count = max(int(np.ceil((high - low) / step - 1e-9)), 1)
    return np.asarray((low + high) / 2 + (np.arange(count) - (count - 1) / 2) * step)


def extremes(surface: PassSurface, value: Floats) -> tuple[float, float]:
    """Least and greatest value in the zone; equal where they differ by rounding only."""
    inside = value[surface.mesh.faces[surface.is_inside]]
    rounding = tolerances.NEEDLE_HEIGHT_SHARE_OF_SIZE * reach_of(surface.mesh.vertices)
    low, high = float(inside.min()), float(inside.max())
    return (low, high) if high - low > rounding else (low, low)


def drawn(
    surface: PassSurface,
    value: Floats,
    levels: Floats,
    led: LedPoint,
    direction: Floats,
    axis: Floats,
    takes_part: Flags,
) -> tuple[PassLines, LevelLines]:
    """Lines at levels of a led coordinate, exactly on their planes, and the lines on flat facets they come from."""
    flat = level_lines(surface.mesh, value, levels, takes_part)
    points, normals = _on_planes(surface, flat, levels, led, direction, axis)
    lines = PassLines(points, normals, np.array(flat.starts), np.array(flat.level), np.array(flat.is_closed))
    return lines, flat


def between_ends(surface: PassSurface, flat: LevelLines, at_vertices: Floats) -> Floats:
    """(k,) values given at the vertices, at points on edges; infinite where one end of the edge is."""
    f, k = np.divmod(flat.half_edge, 3)
    first, second = at_vertices[surface.mesh.faces[f, k]], at_vertices[surface.mesh.faces[f, (k + 1) % 3]]
    known = np.isfinite(first) & np.isfinite(second)
    first, second = np.where(known, first, 0.0), np.where(known, second, 0.0)
    return np.where(known, (1.0 - flat.fraction) * first + flat.fraction * second, np.inf)


def _on_planes(
    surface: PassSurface, flat: LevelLines, levels: Floats, led: LedPoint, direction: Floats, axis: Floats
) -> tuple[Floats, Floats]:
    points, normals = np.empty((len(flat.half_edge), 3)), np.empty((len(flat.half_edge), 3))
    target = np.repeat(levels[flat.level], np.diff(flat.starts))
    put_on_planes(
        surface.mesh.vertices, surface.mesh.faces, surface.normal, flat.half_edge, flat.fraction, target,
        np.ascontiguousarray(direction), np.ascontiguousarray(axis), led.along_normal_mm, led.outward_mm, points,
        normals,
    )  # fmt: skip
    return points, normals


def ended_at_overlap(
    lines: PassLines, beyond_mm: Floats, overlap_mm: float, near_mm: float, led: LedPoint, axis: Floats
) -> PassLines:
    """Lines cut where the overlap ends; of their pieces those that come within `near_mm` of the zone.

    A line that runs beside the zone all along is not its own, but for one so near that the zone needs it.
    """
    ended, places = below(lines, beyond_mm, overlap_mm, led, axis)
    if ended.count == 0:
        return ended
    nearest = np.minimum.reduceat(places.interpolated(beyond_mm), ended.starts[:-1])
    return chosen(ended, nearest <= min(near_mm, overlap_mm))
