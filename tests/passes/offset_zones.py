"""Analytic surfaces as zones, and what is measured of the passes laid on them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from advisor.cutter.cutter import Cutter
from advisor.kernels.quantiles import weighted_quantiles
from advisor.part.curvature import curvature_and_normals
from advisor.part.mesh import Mesh
from advisor.part.smooth import smooth_surface
from advisor.passes.levels import level_lines
from advisor.passes.lines import PassLines
from advisor.passes.offset_field import OffsetField
from advisor.passes.offset_steps import OffsetSteps, cusp_steps
from advisor.passes.surface import PassSurface, pass_surface
from advisor.passes.virtual_cut import swept_passes, virtual_cut
from advisor.zones.cut_lines import CutSurface
from advisor.zones.joints import sharp_half_edges

UP = np.array([0.0, 0.0, 1.0])
BALL = Cutter(10.0, 5.0)
CUSP_MM = 0.01


def grid(place: Callable[[np.ndarray, np.ndarray], tuple], u: np.ndarray, v: np.ndarray) -> tuple:
    """A parametric surface in cells of two facets, diagonals alternating."""
    at_u, at_v = np.meshgrid(u, v, indexing="ij")
    number = np.arange(at_u.size).reshape(at_u.shape)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    odd = (np.add.outer(np.arange(a.shape[0]), np.arange(a.shape[1])) % 2 == 1).ravel()
    a, b, c, d = (corner.ravel() for corner in (a, b, c, d))
    one = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    two = np.concatenate([np.stack([a, b, d], 1), np.stack([b, c, d], 1)])
    faces = np.where(np.tile(odd, 2)[:, None], two, one)
    return np.stack(place(at_u, at_v), axis=-1).reshape(-1, 3), faces


def zone_of(
    vertices: np.ndarray,
    faces: np.ndarray,
    belongs: Callable[[Mesh], np.ndarray] | None = None,
    laid_mm: float = 0.0,
    cutter: Cutter = BALL,
) -> tuple[PassSurface, OffsetSteps]:
    """The facets that belong to a zone, and steps of a cusp on all of them."""
    mesh = Mesh(np.array(vertices, float), np.array(faces, np.int32))
    bends, corner_normal = curvature_and_normals(mesh, smooth_surface(mesh))
    surface = CutSurface(mesh, corner_normal, np.arange(len(faces), dtype=np.int32))
    zone = np.zeros(len(faces), np.int32) if belongs is None else np.where(belongs(mesh), 0, 1).astype(np.int32)
    zone_surface = pass_surface(surface, sharp_half_edges(surface), zone, 0, np.ones(2, bool), laid_mm)
    steps = cusp_steps(cutter, CUSP_MM, UP, mesh.normal, bends.k_max_per_mm, bends.k_min_per_mm, bends.k_max_direction)
    return zone_surface, steps


@dataclass(frozen=True)
class Proof:
    """Cusp heights over the target, away from ridges unless said otherwise.

    Peaks are asked half way between neighbouring passes, all along (at times 1, 2, ...); `uniformity` is their standard
    deviation over their mean. `most` is the greatest height over points at random all over the zone.
    """

    peak_95: float
    peak_max: float
    uniformity: float
    most: float
    most_anywhere: float
    deepest: float


def proof(field: OffsetField, lines: PassLines, points: int = 20_000) -> Proof:
    """What the ball leaves."""
    surface, mesh, radius = field.surface, field.surface.mesh, BALL.corner_radius_mm
    swept = swept_passes(lines.centres_mm(radius, 0.0, UP), lines.starts, radius)
    near = 1.5 * float(np.nanmax(field.step_mm[field.takes_part]))
    ridges = cKDTree(field.ridges.contact_mm) if len(field.ridges.time) else None

    def away(place: np.ndarray) -> np.ndarray:
        return np.ones(len(place), bool) if ridges is None else ridges.query(place)[0] > near

    between = level_lines(mesh, field.time, np.arange(1.0, field.time[np.isfinite(field.time)].max() - 0.5))
    place, normal = surface.on_edges(between.half_edge, between.fraction)
    length = np.linalg.norm(np.diff(place, axis=0, append=place[-1:]), axis=1)
    f, k = np.divmod(between.half_edge, 3)
    weight = length * (between.facet >= 0) * away(place) * (surface.beyond_mm[mesh.faces[f, k]] == 0.0)
    height = virtual_cut(swept, place, normal, 20 * CUSP_MM).height_mm[weight > 0] / CUSP_MM
    weight = weight[weight > 0]
    mean = weight @ height / weight.sum()
    spread = np.sqrt(weight @ (height - mean) ** 2 / weight.sum())
    rng, inside = np.random.default_rng(0), np.flatnonzero(surface.is_inside)
    area = mesh.area_mm2[inside]
    facet = rng.choice(inside, points, p=area / area.sum())
    place, normal = surface.in_facets(facet, rng.dirichlet(np.ones(3), points))
    everywhere = virtual_cut(swept, place, normal, 20 * CUSP_MM).height_mm / CUSP_MM
    return Proof(
        float(weighted_quantiles(height, weight, np.array([0.95]))[0]), float(height.max()), float(spread / mean),
        float(everywhere[away(place)].max()), float(everywhere.max()), float(-everywhere.min()),
    )  # fmt: skip
