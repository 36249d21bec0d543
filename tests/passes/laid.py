"""Surfaces for passes of analytic parts with their curvatures, and what passes leave of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import solids

from advisor.cutter.cutter import Cutter
from advisor.part.mesh import Mesh
from advisor.part.smooth import smooth_surface
from advisor.passes.lines import PassLines
from advisor.passes.pieces import LedPoint
from advisor.passes.surface import PassSurface, pass_surface
from advisor.passes.virtual_cut import swept_passes, virtual_cut
from advisor.zones.cut_lines import CutSurface, cut_at_slopes
from advisor.zones.joints import sharp_half_edges

UP = np.array([0.0, 0.0, 1.0])
Solid = tuple[np.ndarray, np.ndarray]
Takes = Callable[[np.ndarray, np.ndarray], np.ndarray]


def surface_of(solid: Solid, takes: Takes, overlap_mm: float = 0.0, cut_deg: tuple[float, ...] = ()) -> PassSurface:
    """The surface of the facets that `takes(middle, slope_deg)` tells, of a part cut at slopes."""
    mesh = Mesh(solid[0], solid[1].astype(np.int32))
    corner_normal = smooth_surface(mesh).corner_normal
    cut = CutSurface(mesh, corner_normal, np.arange(len(mesh.faces), dtype=np.int32))
    if cut_deg:
        cut = cut_at_slopes(mesh, corner_normal, UP, cut_deg, 0.01)
    slope = np.degrees(np.arccos(np.clip(cut.normal @ UP, -1, 1)))
    zone = np.where(takes(cut.mesh.middle, slope), 0, 1).astype(np.int32)
    return pass_surface(cut, sharp_half_edges(cut), zone, 0, np.array([True, True]), overlap_mm)


def heights(lines: PassLines, cutter: Cutter, points: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """What a ball on passes leaves over points."""
    centres = lines.centres_mm(cutter.corner_radius_mm, 0.0, UP)
    passes = swept_passes(centres, lines.starts, cutter.corner_radius_mm)
    return virtual_cut(passes, points, normals, 1.0).height_mm


@dataclass(frozen=True)
class Sampled:
    """A surface for passes, and points on the true one with normals and (q, 3, 3) second forms, positive convex."""

    surface: PassSurface
    point: np.ndarray
    normal: np.ndarray
    form: np.ndarray

    def cusp_mm(self, led: LedPoint, direction: np.ndarray, gap_mm: float, cutter: Cutter) -> np.ndarray:
        """Cusp of passes on planes a gap apart: that of the step along the surface, `gap / |grad|`, across the feed."""
        along = direction - (self.normal @ direction)[:, None] * self.normal
        bent = np.einsum("qij,qj->qi", self.form, along)
        bent -= np.einsum("qi,qi->q", bent, self.normal)[:, None] * self.normal
        climb = along + led.along_normal_mm * bent
        size = np.linalg.norm(climb, axis=1)
        across = climb / size[:, None]
        bend = np.einsum("qi,qij,qj->q", across, self.form, across)
        return cutter.cusp_mm(gap_mm / size, np.float64(cutter.corner_per_mm), bend)


def _revolved_form(normal: np.ndarray, radius: np.ndarray, out: np.ndarray, meridional: float) -> np.ndarray:
    """Second form of a surface about Z: a meridian's bend, and that of its circles."""
    around = np.cross(UP, out)
    along = np.cross(around, normal)
    circle = np.einsum("qi,qi->q", normal, out) / radius
    return (
        meridional * along[:, :, None] * along[:, None] + circle[:, None, None] * around[:, :, None] * around[:, None]
    )


def _about_z(seed: int, low_deg: float, high_deg: float, count: int = 6000) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors out from Z, and slopes."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, 2 * np.pi, count)
    return np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1), np.radians(rng.uniform(low_deg, high_deg, count))


def _round(surface: PassSurface, out: np.ndarray, slope: np.ndarray, ring: float, tube: float, z: float) -> Sampled:
    """Points at slopes on a tube (hollow where negative) about a ring (a sphere where that is 0) at a height."""
    side = np.sign(tube)
    normal = side * np.sin(slope)[:, None] * out + np.cos(slope)[:, None] * UP
    point = ring * out + tube * normal + z * UP
    form = _revolved_form(normal, np.linalg.norm(point[:, :2], axis=1), out, 1 / tube)
    return Sampled(surface, point, normal, form)


def sampled(name: str, low_deg: float = 0.5, high_deg: float = 50.0, chord: float = 0.003) -> Sampled:
    """One of the analytic surfaces, its points kept off the rim and between slopes."""
    out, slope = _about_z(5, low_deg, high_deg)
    rng = np.random.default_rng(6)
    if name == "plane":
        surface = surface_of(solids.wedge(30.0), lambda m, a: (a > 29) & (a < 31))
        x, y = rng.uniform(-40, 40, 6000), rng.uniform(-20, 20, 6000)
        normal = np.tile([-0.5, 0.0, np.sqrt(0.75)], (6000, 1))
        point = np.stack([x, y, 5 + (x + 50) * np.tan(np.pi / 6)], axis=1)
        return Sampled(surface, point, normal, np.zeros((6000, 3, 3)))
    if name == "sphere":
        part = solids.spherical_cap(50.0, 60.0, 10.0, chord)
        return _round(surface_of(part, lambda m, a: (a < 61) & (m[:, 2] > 10)), out, slope, 0.0, 50.0, -15.0)
    if name == "bowl":
        part = solids.bowl(40.0, 60.0, chord_error_mm=chord)
        zone = surface_of(part, lambda m, a: (np.hypot(m[:, 0], m[:, 1]) < 35) & (m[:, 2] < 29.9) & (a < 61))
        return _round(zone, out, slope, 0.0, -40.0, 50.0)
    if name == "torus":
        part = solids.torus(20.0, 8.0, chord)
        outside = surface_of(part, lambda m, a: (a < 70) & (np.hypot(m[:, 0], m[:, 1]) > 20))
        return _round(outside, out, slope, 20.0, 8.0, 0.0)
    if name == "fillet":
        part = solids.round_pocket(20.0, 8.0, 15.0, chord_error_mm=chord)
        zone = surface_of(part, lambda m, a: (np.hypot(m[:, 0], m[:, 1]) < 20) & (m[:, 2] < 18) & (a < 80))
        return _round(zone, out, slope, 12.0, -8.0, 18.0)
    if name == "cylinder":
        zone = surface_of(solids.half_cylinder(15.0, 60.0, chord), lambda m, a: a < 70)
        side = np.sign(out[:, 1]) * np.sin(slope)
        normal = np.stack([0 * side, side, np.cos(slope)], axis=1)
        around = np.cross([1.0, 0, 0], normal)
        point = 15 * normal + np.outer(rng.uniform(-25, 25, 6000), [1, 0, 0])
        return Sampled(zone, point, normal, around[:, :, None] * around[:, None] / 15)
    assert name == "saddle"
    grid = np.linspace(-15, 15, 121)
    x, y = (a.ravel() for a in np.meshgrid(grid, grid, indexing="ij"))
    rows = np.arange(len(x)).reshape(121, 121)
    a, b, c, d = rows[:-1, :-1], rows[1:, :-1], rows[1:, 1:], rows[:-1, 1:]
    faces = np.concatenate([np.stack(t, -1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    zone = surface_of((np.stack([x, y, (x**2 - y**2) / 60], axis=1), faces), lambda m, a: a < 90)
    x, y = rng.uniform(-11, 11, (2, 6000))
    steep = np.sqrt(1 + (x / 30) ** 2 + (y / 30) ** 2)
    normal = np.stack([-x / 30, y / 30, np.ones_like(x)], axis=1) / steep[:, None]
    form = np.diag([-1 / 30, 1 / 30, 0.0]) / steep[:, None, None]
    return Sampled(zone, np.stack([x, y, (x**2 - y**2) / 60], axis=1), normal, form)


def box_pocket(half: float = 20.0, wall: float = 30.0, floor: float = 10.0, top: float = 30.0) -> Solid:
    """A square block of half width `wall` with a square pocket, sharp all over."""
    rings = [(wall, 0.0), (wall, top), (half, top), (half, floor)]
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    vertices = np.array([(*(size * corner), z) for size, z in rings for corner in corners])
    sides = [(4 * r + i, 4 * r + (i + 1) % 4) for r in range(3) for i in range(4)]
    quads = [(3, 2, 1, 0), (12, 13, 14, 15)] + [(a, b, b + 4, a + 4) for a, b in sides]
    return vertices, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])
