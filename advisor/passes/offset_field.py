"""Arrival times for constant-cusp passes: a front that leaves the outline of a zone, or a line on it, a step a unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.kernels.march import march_with_metric
from advisor.kernels.sectors import corners_by_sector
from advisor.kernels.slow_growth import slow_growth
from advisor.part.mesh import Flags, Floats, half_edge_ends
from advisor.passes.finer import finer
from advisor.passes.offset_steps import OffsetSteps
from advisor.passes.ridges import FIRST_PASS, Ridges, edges_of, joined, split_along_ridges
from advisor.passes.surface import PassSurface, beyond_zone

# Pass on a point that a front starts from.
_POINT_STEPS = 0.1
# Facets with the nearest middles that are asked whether a point lies over them.
_NEAR_FACETS = 12


@dataclass(frozen=True)
class OffsetField:
    """When a front reaches each place of a zone, in steps: neighbouring passes are 1 apart. Arrays are read-only.

    Attributes
    ----------
    surface : PassSurface
        As fine as the field needs.
    takes_part : (m,) bool array
        Facets of the zone, and those of its overlap that lie within it in part.
    time : (n,) float64 array
        Infinite where no front arrives. Passes lie at k + 1/2 for k = 0, 1, ...
    way : (n, 3) float64 array, 1/mm
        Gradient of the time, in the plane square to the normal.
    slowness, pull : (m,), (m, 3) float64 arrays
        Metric of the facets, 1/mm: see ``kernels.march.march_with_metric``.
    line_mm, line_normal : (k, 3) float64 arrays
        The line that the front left, on the smooth surface, with normals: the first pass. Empty for an outline.
    ridges : Ridges
        Where two fronts meet; and edges of the zone, if the front left a line of it and not its outline.
    """

    surface: PassSurface
    takes_part: Flags
    time: Floats
    way: Floats
    slowness: Floats
    pull: Floats
    line_mm: Floats
    line_normal: Floats
    ridges: Ridges

    def __post_init__(self) -> None:
        for array in (self.takes_part, self.time, self.way, self.slowness, self.pull, self.line_mm, self.line_normal):
            array.setflags(write=False)

    @property
    def step_mm(self) -> Floats:
        """(m,) step along the surface to the next pass on every facet, mm: 1 over the climb of the time.

        NaN where the time is not known.
        """
        with np.errstate(invalid="ignore"):
            way = self.way[self.surface.mesh.faces].sum(axis=1)
        normal = self.surface.mesh.normal
        way -= np.einsum("mx,mx->m", way, normal)[:, None] * normal
        length = np.linalg.norm(way, axis=1)
        known = (length > 0.0) & np.isfinite(self.time[self.surface.mesh.faces]).all(axis=1)
        pull2 = np.einsum("mx,mx->m", self.pull, self.pull)
        share = np.einsum("mx,mx->m", self.pull, way / np.where(known, length, 1.0)[:, None]) ** 2
        cosine2 = np.divide(share, pull2, out=np.zeros_like(share), where=pull2 > 0.0).clip(max=1.0)
        most2 = 1.0 / self.slowness**2
        least2 = 1.0 / (self.slowness**2 + pull2)
        return np.asarray(np.where(known, np.sqrt(most2 + (least2 - most2) * cosine2), np.nan))

    @property
    def path_mm(self) -> float:
        """Length that passes have in the mean over where they begin: integral of area over step in the zone."""
        step = self.step_mm
        counts = self.surface.is_inside & self.takes_part & np.isfinite(step)
        return float((self.surface.mesh.area_mm2[counts] / step[counts]).sum())


def offset_from_outline(surface: PassSurface, steps: OffsetSteps, overlap_mm: float) -> OffsetField:
    """The front that leaves the outline of a zone all along and runs inward.

    The first pass lies half a step within edges of the part, and wherever the surface ends, so that these keep the
    cusp; where the surface goes on smoothly, it lies on the outline of the zone pushed out by the overlap.

    Parameters
    ----------
    surface : PassSurface
        Of the zone, laid with at least this overlap; better a third more, for its facets are told by ways along edges.
    steps : OffsetSteps
        For the facets of what the surface was made from: of ``surface.source``.
    overlap_mm : float, 0 or more

    Raises
    ------
    ValueError
        A zone without an outline, such as a whole sphere.
    """
    fine, takes, slowness, pull = _prepared(surface, steps, overlap_mm)
    start = _outline_times(fine, takes, slowness, pull, overlap_mm)
    if not np.isfinite(start).any():
        raise ValueError("the zone has no outline for a front to start from; give a line or a point of it")
    return _marched(fine, takes, slowness, pull, start, (np.zeros((0, 3)), np.zeros((0, 3))))


def offset_from_line(surface: PassSurface, steps: OffsetSteps, overlap_mm: float, points_mm: Floats) -> OffsetField:
    """The front that leaves a line on the zone to both sides, or a single point, and runs outward.

    The first pass lies on the line itself; on a point it is a tenth of a step long. No plan asks for it: offsets of a
    plan start at the zone's outline. It is for those who choose a curve themselves.

    Parameters
    ----------
    surface, steps, overlap_mm
        As in ``offset_from_outline``.
    points_mm : (k, 3) float array
        The line, near the surface; a closed one repeats its first point.
    """
    fine, takes, slowness, pull = _prepared(surface, steps, overlap_mm)
    dense, facet, weights = _on_facets(fine, takes, points_mm)
    start = _line_times(fine, slowness, pull, dense, facet)
    line, normal = fine.in_facets(facet, weights)
    if len(line) == 1:
        along = fine.mesh.vertices[fine.mesh.faces[facet, 1]] - fine.mesh.vertices[fine.mesh.faces[facet, 0]]
        along *= _POINT_STEPS / (slowness[facet] * np.linalg.norm(along))
        line, normal = np.concatenate([line - along / 2, line + along / 2]), np.repeat(normal, 2, axis=0)
    return _marched(fine, takes, slowness, pull, start, (line, normal))


def _prepared(surface: PassSurface, steps: OffsetSteps, overlap_mm: float) -> tuple[PassSurface, Flags, Floats, Floats]:
    """The surface in fine facets, those that take part, and their metric."""
    halved = finer(surface, steps)
    mesh = halved.mesh
    # long facets know less of the way out of the zone, and a front that begins too far out comes in where it should not
    fine = PassSurface(mesh, halved.normal, halved.source, halved.is_inside, beyond_zone(mesh, halved.is_inside))
    beyond = fine.beyond_mm[mesh.faces]
    takes = fine.is_inside | ((beyond.min(axis=1) < overlap_mm) & np.isfinite(beyond).all(axis=1))
    corner_start, corners = corners_by_sector(mesh.faces.flatten(), len(mesh.vertices))
    around = mesh.vertices.copy(), mesh.faces.copy(), corner_start, corners
    most = slow_growth(*around, steps.most_mm[fine.source], tolerances.OFFSET_STEP_GROWTH)
    least = np.minimum(most, slow_growth(*around, steps.least_mm[fine.source], tolerances.OFFSET_STEP_GROWTH))
    pull = steps.direction[fine.source]
    pull = pull - np.einsum("mx,mx->m", pull, mesh.normal)[:, None] * mesh.normal
    pull /= np.maximum(np.linalg.norm(pull, axis=1), 1e-300)[:, None]
    slowness = 1.0 / most
    more = np.sqrt(np.maximum(1.0 / least**2 - slowness**2, 0.0))
    return fine, takes, slowness, pull * more[:, None]


def _rim(surface: PassSurface, takes: Flags) -> tuple[np.ndarray, np.ndarray]:
    """Half-edges at which the facets that take part end: where the part ends or turns, and where it goes on."""
    twins = surface.mesh.twins
    of_part = np.repeat(takes, 3)
    ends = of_part & (twins < 0)
    return np.flatnonzero(ends), np.flatnonzero(of_part & ~ends & ~takes[twins // 3])


def _outline_times(surface: PassSurface, takes: Flags, slowness: Floats, pull: Floats, overlap_mm: float) -> Floats:
    mesh, beyond = surface.mesh, surface.beyond_mm
    start = np.full(len(mesh.vertices), np.nan)
    ends, goes_on = _rim(surface, takes)
    start[half_edge_ends(mesh.faces, goes_on)] = FIRST_PASS
    if overlap_mm > 0.0:
        used = np.zeros(len(beyond), bool)
        used[mesh.faces[takes]] = True
        out = np.flatnonzero(used & (beyond >= overlap_mm))
        start[out] = FIRST_PASS - (beyond[out] - overlap_mm) * _mean_slowness(surface, takes, slowness, pull)[out]
    at_edge = half_edge_ends(mesh.faces, ends)
    # the outline of the overlap cuts across facets: rims beyond it are no edges
    is_edge = (beyond[at_edge] < overlap_mm).any(axis=1) | (overlap_mm == 0.0)
    edge = np.unique(at_edge[is_edge])
    edge = edge[(beyond[edge] < overlap_mm) | (overlap_mm == 0.0)]
    start[edge] = 0.0
    return start


def _mean_slowness(surface: PassSurface, takes: Flags, slowness: Floats, pull: Floats) -> Floats:
    """(n,) slowness at vertices, a mean over directions and facets."""
    of_facet = np.sqrt(slowness * np.sqrt(slowness**2 + np.einsum("mx,mx->m", pull, pull)))[takes]
    corners = surface.mesh.faces[takes].ravel()
    count = len(surface.mesh.vertices)
    total = np.bincount(corners, np.repeat(of_facet, 3), minlength=count)
    return np.asarray(total / np.maximum(np.bincount(corners, minlength=count), 1))


def _on_facets(surface: PassSurface, takes: Flags, points_mm: Floats) -> tuple[Floats, NDArray[np.int64], Floats]:
    """Points close together along a line, facets they lie over, and shares of the facets' corners."""
    mesh, own = surface.mesh, np.flatnonzero(takes)
    corner = mesh.vertices[mesh.faces[own]]
    longest = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).max(axis=1)
    dense = _dense(points_mm, 0.25 * float(np.median(longest)))
    near = cKDTree(mesh.middle_of(own)).query(dense, k=min(_NEAR_FACETS, len(own)))[1].reshape(len(dense), -1)
    # the facet it lies over, or least beside
    weights = _weights(corner[near.ravel()], np.repeat(dense, near.shape[1], axis=0)).reshape(*near.shape, 3)
    best = weights.min(axis=2).argmax(axis=1)
    row = np.arange(len(dense))
    inside = np.maximum(weights[row, best], 0.0)
    return dense, own[near[row, best]], inside / inside.sum(axis=1, keepdims=True)


def _line_times(
    surface: PassSurface, slowness: Floats, pull: Floats, dense: Floats, facet: NDArray[np.int64]
) -> Floats:
    """Start times at the corners of the facets under a line: from it, by the metric of a facet there."""
    mesh, facet = surface.mesh, np.unique(facet)
    time = np.full(len(mesh.vertices), np.inf)
    tree = cKDTree(dense)
    for k in range(3):
        v = mesh.faces[facet, k]
        way = mesh.vertices[v] - dense[tree.query(mesh.vertices[v])[1]]
        along = slowness[facet] ** 2 * np.einsum("mx,mx->m", way, way)
        np.minimum.at(time, v, np.sqrt(along + np.einsum("mx,mx->m", pull[facet], way) ** 2))
    return np.where(np.isfinite(time), FIRST_PASS + time, np.nan)


def _dense(points_mm: Floats, gap_mm: float) -> Floats:
    """A line with points no further apart than a gap."""
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3)
    if len(points) < 2:
        return points
    a, b = points[:-1], points[1:]
    pieces = np.maximum(np.ceil(np.linalg.norm(b - a, axis=1) / gap_mm).astype(np.int64), 1)
    share = (np.arange(pieces.sum()) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / np.repeat(pieces, pieces)
    inner = np.repeat(a, pieces, axis=0) + share[:, None] * np.repeat(b - a, pieces, axis=0)
    return np.concatenate([inner, points[-1:]])


def _weights(corner: Floats, point: Floats) -> Floats:
    """(k, 3) shares of the corners of facets at the feet of points in their planes; below 0 beside the facet."""
    one, two, way = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0], point - corner[:, 0]
    a, b, c = (np.einsum("kx,kx->k", p, q) for p, q in ((one, one), (one, two), (two, two)))
    d, e = np.einsum("kx,kx->k", way, one), np.einsum("kx,kx->k", way, two)
    area = np.maximum(a * c - b * b, 1e-300)
    u, v = (c * d - b * e) / area, (a * e - b * d) / area
    return np.stack([1.0 - u - v, u, v], axis=1)


def _marched(
    surface: PassSurface,
    takes: Flags,
    slowness: Floats,
    pull: Floats,
    start: Floats,
    line: tuple[Floats, Floats],
) -> OffsetField:
    mesh = surface.mesh
    used, corner = np.unique(mesh.faces[takes], return_inverse=True)
    faces = corner.reshape(-1, 3).astype(np.int32)
    corner_start, corners = corners_by_sector(faces.ravel(), len(used))
    of_used, way_of_used = march_with_metric(
        mesh.vertices[used], faces, corner_start, corners, slowness[takes], pull[takes], start[used], np.inf
    )
    time, way = np.full(len(mesh.vertices), np.inf), np.zeros((len(mesh.vertices), 3))
    time[used], way[used] = of_used, way_of_used
    _give_starts_a_way(surface, takes, time, way, np.isfinite(start))
    finest, parent, new_time, ridges = split_along_ridges(surface, takes, time, way, slowness, pull)
    takes, slowness, pull = takes[parent], slowness[parent], pull[parent]
    time, way = np.concatenate([time, new_time]), np.concatenate([way, np.zeros((len(new_time), 3))])
    if len(line[0]):
        ridges = joined([ridges, edges_of(finest, takes, time, slowness, pull)])
    return OffsetField(finest, takes, time, way, slowness, pull, *line, ridges)


def _give_starts_a_way(surface: PassSurface, takes: Flags, time: Floats, way: Floats, is_start: Flags) -> None:
    """Where the front starts: a mean of the gradients of the facets around, those aside in which all of it starts."""
    mesh = surface.mesh
    own = np.flatnonzero(takes & is_start[mesh.faces].any(axis=1) & ~is_start[mesh.faces].all(axis=1))
    own = own[np.isfinite(time[mesh.faces[own]]).all(axis=1)]
    a, b, c = (mesh.vertices[mesh.faces[own, k]] for k in range(3))
    t = time[mesh.faces[own]]
    turned = (t[:, 1] - t[:, 0])[:, None] * (c - a) - (t[:, 2] - t[:, 0])[:, None] * (b - a)
    # twice the area times the gradient: facets weigh by area
    climb = np.cross(turned, mesh.normal[own])
    total = np.zeros_like(way)
    for k in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(mesh.faces[own, k], climb[:, axis], minlength=len(way))
    area = np.zeros(len(way))
    for k in range(3):
        area += np.bincount(mesh.faces[own, k], 2.0 * mesh.area_mm2[own], minlength=len(way))
    known = is_start & (area > 0.0)
    way[known] = total[known] / area[known, None]
