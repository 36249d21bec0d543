"""Points spread over a surface: what is asked of an area is asked of them, whatever its facets are like.

Two ways: `even_samples` has a wanted number of points whatever the number of facets, each for as much area, so small
facets share; `spread_samples` has at least one on every facet, so that each has its own answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.morton import interleaved
from advisor.part.mesh import Floats, Mesh

# A facet is halved so many times at most: more would not tell more of one plane face.
_MOST_HALVINGS = 12
# Facets so many times longer than their share of area asks are halved as well.
_LONG = 3.0
# Bits a coordinate is cut to along the curve that keeps neighbours together.
_CURVE_BITS = 20


@dataclass(frozen=True)
class Samples:
    """Points of a surface.

    Attributes
    ----------
    point : (k, 3) float64 array, mm
    normal : (k, 3) float64 array
        Unit normals of the facets they lie on, or of the smooth surface there.
    facet : (k,) int64 array
    area_mm2 : (k,) float64 array
        Surface that each stands for; of a facet left out others stand for nothing more.
    """

    point: Floats
    normal: Floats
    facet: NDArray[np.int64]
    area_mm2: Floats

    def share_by_facet(self, values: Floats, facet_count: int) -> Floats:
        """(m,) mean over each facet's samples; NaN for facets that have none."""
        total = np.bincount(self.facet, self.area_mm2, minlength=facet_count)
        summed = np.bincount(self.facet, self.area_mm2 * values, minlength=facet_count)
        return np.where(total > 0, summed / np.maximum(total, 1e-300), np.nan)


def even_samples(mesh: Mesh, wanted: int) -> Samples:
    """`wanted` points spread evenly by area, whatever the number of facets: large facets have many, small ones share.

    Every so much area has a point, counted along a curve that keeps neighbours together, at places within the facets
    that follow no pattern of theirs.
    """
    order = np.argsort(along_curve(mesh.middle), kind="stable")
    row, weights, each = even_places(mesh.area_mm2[order], wanted)
    facet = order[row]
    point = np.einsum("kp,kpx->kx", weights, mesh.vertices[mesh.faces[facet]])
    return Samples(point, mesh.normal[facet], facet, np.full(wanted, each))


def even_places(area_mm2: Floats, wanted: int) -> tuple[NDArray[np.int64], Floats, float]:
    """`wanted` places spread evenly by area over facets in a row, and the area each stands for.

    Returns
    -------
    row : (wanted,) int64 array
        Facet of each place.
    weights : (wanted, 3) float64 array
        Shares of its corners.
    each_mm2 : float
    """
    along = np.cumsum(area_mm2)
    each = float(along[-1]) / wanted
    number = np.arange(wanted)
    row = np.minimum(np.searchsorted(along, (number + 0.5) * each), len(along) - 1)
    # steps of the plastic number's powers fill a square evenly; folded along its diagonal, a triangle
    # (M. Roberts, "The unreasonable effectiveness of quasirandom sequences", 2018; from memory)
    u, v = np.modf(0.5 + number[:, None] * np.array([0.7548776662466927, 0.5698402909980532]))[0].T
    folded = u + v > 1.0
    u, v = np.where(folded, 1.0 - u, u), np.where(folded, 1.0 - v, v)
    return row, np.stack([1.0 - u - v, u, v], axis=1), each


def spread_samples(
    mesh: Mesh, facets: NDArray[np.integer], wanted: int, corner_normal: Floats | None = None
) -> Samples:
    """About `wanted` points or more, spread evenly by area over some facets: at least one on each.

    Facets are halved across their longest edge until none is larger, or much longer, than its share asks: the middles
    of the halves are the points, each for its own area.

    Parameters
    ----------
    mesh : Mesh
    facets : (f,) int array
    wanted : int
    corner_normal : (m, 3, 3) float64 array, optional
        Normals of the smooth surface at the corners of all facets: points get what lies between them. Without it they
        have their facet's, which on a bent surface is off by half a bend at the edge.
    """
    facet: NDArray[np.int64] = facets.astype(np.int64)
    each = float(mesh.area_mm2[facet].sum()) / max(wanted, 1)
    area = mesh.area_mm2[facet]
    leaning = np.repeat(mesh.normal[facet][:, None], 3, axis=1) if corner_normal is None else corner_normal[facet]
    # place and normal of every corner travel together: what is halfway in one is so in the other
    corners = np.concatenate([mesh.vertices[mesh.faces[facet]], leaning], axis=2)
    for _ in range(_MOST_HALVINGS):
        edge = np.linalg.norm((np.roll(corners, -1, axis=1) - corners)[:, :, :3], axis=2)
        split = (area > each) | (edge.max(axis=1, initial=0.0) > _LONG * np.sqrt(each))
        if not split.any():
            break
        rows = np.flatnonzero(split)
        turn = (edge[rows].argmax(axis=1)[:, None] + np.arange(3)) % 3
        turned = corners[rows[:, None], turn]  # the longest edge first
        halfway = (turned[:, 0] + turned[:, 1]) / 2
        corners[rows] = np.stack([turned[:, 0], halfway, turned[:, 2]], axis=1)
        corners = np.concatenate([corners, np.stack([halfway, turned[:, 1], turned[:, 2]], axis=1)])
        area[rows] /= 2
        area, facet = np.concatenate([area, area[rows]]), np.concatenate([facet, facet[rows]])
    order = np.argsort(facet, kind="stable")
    middle = corners[order].mean(axis=1)
    normal = middle[:, 3:] / np.linalg.norm(middle[:, 3:], axis=1, keepdims=True)
    return Samples(middle[:, :3], normal, facet[order], area[order])


def part_middles(parts: int) -> Floats:
    """(parts^2, 3) barycentric middles of the like triangles that a facet falls into, `parts` along each side."""
    steps = np.arange(3 * parts)
    first, second = np.meshgrid(steps, steps)
    third = 3 * parts - first - second
    # corners of the parts lie where every share is a multiple of 3, their middles where all leave the same rest
    rest = first % 3
    inside = (rest > 0) & (second % 3 == rest) & (third % 3 == rest) & (third > 0)
    return np.asarray(np.stack([first, second, third], axis=-1)[inside] / (3 * parts), dtype=np.float64)


def along_curve(points: Floats) -> NDArray[np.int64]:
    """(k,) place of points on a curve through all cells of a cube, its halves one after the other (Morton order)."""
    low = points.min(axis=0)
    cells = (points - low) / max(float(np.ptp(points, axis=0).max()), 1e-300) * ((1 << _CURVE_BITS) - 1)
    code: NDArray[np.int64] = interleaved(cells.astype(np.int64), _CURVE_BITS)
    return code
