"""Arrival times beside exact geodesics and the heat method: ``python -m tests.bench.arrival [vertices]``.

Exact on the mesh: pygeodesic (J. Mitchell, D. Mount, C. Papadimitriou, SIAM J. Comput. 16, 1987). Heat method:
potpourri3d (K. Crane, C. Weischedel, M. Wardetzky, ACM TOG 32(5), 2013). Closed forms: plane, great circles, and
cylinder and cone unrolled. Errors are means of |found - right| / right over all vertices but the source.

Wanted: no more than 1 % off the exact geodesics, less than the heat method off the surface; 20 times its speed with
set-up at a million vertices. The ratio is of one run each, kernels warm.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator

import numpy as np
from scipy.spatial import Delaunay

from advisor.kernels.march import march
from advisor.kernels.sectors import corners_by_sector
from tests.bench.plan import sculptured_block
from tests.bench.ratio import Ratio, show

WANTED_PERCENT = 1.0
WANTED_RATIO = 20.0
Mesh = tuple[np.ndarray, np.ndarray]


def grid_faces(number: np.ndarray) -> np.ndarray:
    """(m, 3) two facets in each cell of a grid of vertex numbers, their diagonals alternating."""
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    odd = (np.add.outer(np.arange(a.shape[0]), np.arange(a.shape[1])) % 2 == 1).ravel()
    a, b, c, d = (corner.ravel() for corner in (a, b, c, d))
    one = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    two = np.concatenate([np.stack([a, b, d], 1), np.stack([b, c, d], 1)])
    return np.where(np.tile(odd, 2)[:, None], two, one).astype(np.int32)


def icosphere(rounds: int) -> Mesh:
    """Icosahedron, edges halved and put on the unit sphere."""
    g = (1 + 5**0.5) / 2
    vertices = np.array(
        [[-1, g, 0], [1, g, 0], [-1, -g, 0], [1, -g, 0], [0, -1, g], [0, 1, g],
         [0, -1, -g], [0, 1, -g], [g, 0, -1], [g, 0, 1], [-g, 0, -1], [-g, 0, 1]]
    )  # fmt: skip
    faces = np.array(
        [[0, 11, 5], [0, 5, 1], [0, 1, 7], [0, 7, 10], [0, 10, 11], [1, 5, 9], [5, 11, 4], [11, 10, 2], [10, 7, 6],
         [7, 1, 8], [3, 9, 4], [3, 4, 2], [3, 2, 6], [3, 6, 8], [3, 8, 9], [4, 9, 5], [2, 4, 11], [6, 2, 10],
         [8, 6, 7], [9, 8, 1]]
    )  # fmt: skip
    vertices /= np.linalg.norm(vertices, axis=1, keepdims=True)
    for _ in range(rounds):
        edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
        unique, which = np.unique(edges, axis=0, return_inverse=True)
        middle = vertices[unique].sum(axis=1)
        middle /= np.linalg.norm(middle, axis=1, keepdims=True)
        ab, bc, ca = (which.reshape(-1, 3) + len(vertices)).T
        a, b, c = faces.T
        vertices = np.concatenate([vertices, middle])
        parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        faces = np.concatenate([np.stack(part, axis=1) for part in parts])
    return vertices, faces.astype(np.int32)


def cases() -> Iterator[tuple[str, np.ndarray, np.ndarray, int, np.ndarray]]:
    """Name, vertices, faces, source and distances on the smooth surface."""
    side = np.linspace(0.0, 1.0, 41)
    x, y = np.meshgrid(side, side, indexing="ij")
    plane = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1)
    yield "plane 41 x 41", plane, grid_faces(np.arange(x.size).reshape(x.shape)), 0, np.linalg.norm(plane, axis=1)
    random = np.concatenate([plane[:, :2], np.random.default_rng(1).random((3000, 2))])
    faces = Delaunay(random).simplices.astype(np.int32)
    yield "plane at random", np.c_[random, 0 * random[:, 0]], faces, 0, np.linalg.norm(random, axis=1)
    for rounds in (3, 4, 5):
        ball, faces = icosphere(rounds)
        cross = np.linalg.norm(np.cross(ball, ball[0]), axis=1)
        yield f"icosphere {rounds}", ball, faces, 0, np.arctan2(cross, ball @ ball[0])
    turn, z = np.meshgrid(np.arange(120) * 2 * np.pi / 120, np.linspace(0.0, 20.0, 41), indexing="ij")
    tube = np.stack([10 * np.cos(turn), 10 * np.sin(turn), z], axis=2).reshape(-1, 3)
    around = np.arange(turn.size).reshape(turn.shape)
    around = np.concatenate([around, around[:1]])
    apart = np.minimum(turn, 2 * np.pi - turn)
    yield "cylinder", tube, grid_faces(around), 20, np.hypot(10 * apart, z - z[0, 20]).ravel()
    # half apex angle 30 degrees: unrolled, half a turn is a quarter
    turn, slant = np.meshgrid(np.arange(160) * 2 * np.pi / 160, np.linspace(8.0, 30.0, 61), indexing="ij")
    cone = np.stack([slant / 2 * np.cos(turn), slant / 2 * np.sin(turn), -slant * 0.75**0.5], axis=2).reshape(-1, 3)
    around = np.arange(turn.size).reshape(turn.shape)
    around = np.concatenate([around, around[:1]])
    sector = np.minimum(turn, 2 * np.pi - turn) / 2
    there = np.sqrt(slant[0, 30] ** 2 + slant**2 - 2 * slant[0, 30] * slant * np.cos(sector))
    there[sector > 1.1] = np.nan  # the straight way would pass the missing tip
    yield "cone", cone, grid_faces(around), 30, there.ravel()


def ours(vertices: np.ndarray, faces: np.ndarray, source: int) -> np.ndarray:
    """Distances, and what they need set up."""
    start, corners = corners_by_sector(faces.ravel(), len(vertices))
    begins = np.full(len(vertices), np.nan)
    begins[source] = 0.0
    return march(np.ascontiguousarray(vertices), faces, start, corners, np.ones(len(faces)), begins, np.inf)[0]


def heat(vertices: np.ndarray, faces: np.ndarray, source: int) -> np.ndarray:
    """Those of the heat method, set-up included."""
    import potpourri3d

    return np.asarray(potpourri3d.MeshHeatMethodDistanceSolver(vertices, faces).compute_distance(source))


def exact(vertices: np.ndarray, faces: np.ndarray, source: int) -> np.ndarray:
    """Exact ones along the facets."""
    import pygeodesic.geodesic

    solver = pygeodesic.geodesic.PyGeodesicAlgorithmExact(vertices, faces)
    return np.asarray(solver.geodesicDistances(np.array([source]), None)[0])


def mean_error(found: np.ndarray, right: np.ndarray) -> float:
    """Mean share by which distances are off, where the right ones are known and above 0."""
    away = right > 0
    return float((np.abs(found - right)[away] / right[away]).mean())


def main(vertices: int = 1_000_000) -> list[Ratio]:
    """Print the errors and the times; the ratios."""
    ratios = []
    print(f"mean errors; wanted: at most {WANTED_PERCENT} % of exact, and below the heat method's")
    heads = ("of exact", "of the surface", "heat: of exact", "of the surface", "exact: of it")
    print(" " * 20 + "".join(f"{head:>16}" for head in heads))
    for name, points, faces, source, right in cases():
        found, warm, along = (way(points, faces, source) for way in (ours, heat, exact))
        pairs = ((found, along), (found, right), (warm, along), (warm, right), (along, right))
        print(f"  {name:<18}" + "".join(f"{mean_error(*pair):16.4%}" for pair in pairs))
        mine, theirs = mean_error(found, along), mean_error(warm, along)
        ratios.append(
            Ratio(f"arrival, error in %, {name}", "exact geodesics", 100 * mine, WANTED_PERCENT, is_most=True)
        )
        ratios.append(Ratio(f"arrival, error, {name}", "the heat method's", mine / theirs, 1.0, is_most=True))
    block = sculptured_block(2 * vertices)
    points, faces = np.ascontiguousarray(block.vertices, float), np.ascontiguousarray(block.faces, np.int32)
    seconds = []
    for way in (ours, heat):
        start = time.perf_counter()
        way(points, faces, 0)
        seconds.append(time.perf_counter() - start)
    print(f"{len(points)} vertices, {len(faces)} facets: {seconds[0]:.2f} s, heat method {seconds[1]:.2f} s")
    what = f"arrival, speed with set-up, {len(faces)} facets"
    return [*ratios, Ratio(what, "heat method of potpourri3d", seconds[1] / seconds[0], WANTED_RATIO)]


if __name__ == "__main__":
    show(main(*(int(argument) for argument in sys.argv[1:])))
