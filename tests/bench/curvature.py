"""Principal curvatures against closed forms, beside those of libigl: ``python -m tests.bench.curvature``.

Closed forms (elementary calculus): a torus has 1 / r and cos v / (R + r cos v); a height field those of its first and
second fundamental form. Errors are shares of the surface's largest curvature. Ours are asked at the middles of
facets, libigl's (`igl.principal_curvature`, quadrics through five rings) at vertices, as each gives them.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay

from advisor.part.curvature import curvature
from advisor.part.mesh import Mesh
from advisor.part.smooth import smooth_surface

try:
    import solids

    from bench.ratio import Ratio, show
except ModuleNotFoundError:  # run as a module from the root of the checkout
    from tests import solids
    from tests.bench.ratio import Ratio, show

Floats = NDArray[np.float64]
NOISE_SHARE = 0.05
# Places, (k, 3), to the larger and smaller curvature and the unit direction of the larger, NaN where there is none.
Truth = Callable[[Floats], tuple[Floats, Floats, Floats]]


@dataclass(frozen=True)
class Case:
    """A meshed surface with its closed form, asked where `is_asked`."""

    name: str
    vertices: Floats
    faces: NDArray[np.int64]
    truth: Truth
    is_asked: Callable[[Floats], NDArray[np.bool_]]
    largest_per_mm: float


@dataclass(frozen=True)
class Errors:
    """Mean and 95 % error of both curvatures, in percent of the largest; mean error of direction, degrees."""

    k_max_mean: float
    k_max_95: float
    k_min_mean: float
    k_min_95: float
    direction_deg: float

    def __str__(self) -> str:
        return (
            f"{self.k_max_mean:6.2f}{self.k_max_95:7.2f} {self.k_min_mean:6.2f}{self.k_min_95:7.2f}"
            f" {self.direction_deg:6.1f}"
        )


# ---------------------------------------------------------------------------------------- meshes


def _split_quads(index: NDArray[np.int64], flipped: NDArray[np.bool_]) -> NDArray[np.int64]:
    a, b, c, d = (x.ravel() for x in (index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]))
    flip = flipped.ravel()[:, None]
    one = np.where(flip, np.stack([a, b, d], 1), np.stack([a, b, c], 1))
    return np.concatenate([one, np.where(flip, np.stack([b, c, d], 1), np.stack([a, c, d], 1))])


def torus_mesh(ring_mm: float, tube_mm: float, edge_mm: float, jitter: float) -> tuple[Floats, NDArray[np.int64]]:
    """Grid on a torus, its vertices moved along the surface by `jitter` edges, its quads cut either way."""
    random = np.random.default_rng(1)
    around, about = int(2 * np.pi * ring_mm / edge_mm), int(2 * np.pi * tube_mm / edge_mm)
    i, j = np.meshgrid(np.arange(around), np.arange(about), indexing="ij")
    u = (i + jitter * random.uniform(-1, 1, i.shape)) * 2 * np.pi / around
    v = (j + jitter * random.uniform(-1, 1, i.shape)) * 2 * np.pi / about
    reach = ring_mm + tube_mm * np.cos(v)
    vertices = np.stack([reach * np.cos(u), reach * np.sin(u), tube_mm * np.sin(v)], -1).reshape(-1, 3)
    return vertices, _split_quads(
        np.pad(i * about + j, ((0, 1), (0, 1)), "wrap"), jitter * random.random(i.shape) > 0.15
    )


def tube_mesh(radius_mm: float, length_mm: float, edge_mm: float, jitter: float) -> tuple[Floats, NDArray[np.int64]]:
    """Open cylinder about Z, as ``torus_mesh``."""
    random = np.random.default_rng(1)
    around, along = int(2 * np.pi * radius_mm / edge_mm), int(length_mm / edge_mm)
    i, j = np.meshgrid(np.arange(around), np.arange(along + 1), indexing="ij")
    inner = (j > 0) & (j < along)
    u = (i + jitter * random.uniform(-1, 1, i.shape)) * 2 * np.pi / around
    z = (j + jitter * inner * random.uniform(-1, 1, i.shape)) * length_mm / along
    vertices = np.stack([radius_mm * np.cos(u), radius_mm * np.sin(u), z], -1).reshape(-1, 3)
    index = np.pad(i * (along + 1) + j, ((0, 1), (0, 0)), "wrap")
    return vertices, _split_quads(index, jitter * random.random((around, along)) > 0.15)


def sheet_mesh(
    height: Callable[[Floats, Floats], Floats], half_mm: float, edge_mm: float, jitter: float
) -> tuple[Floats, NDArray[np.int64]]:
    """Height field over a square; where there is jitter, triangulated by Delaunay in plan."""
    random = np.random.default_rng(3)
    steps = round(2 * half_mm / edge_mm)
    x = np.linspace(-half_mm, half_mm, steps + 1)
    plan = np.stack(np.meshgrid(x, x, indexing="ij"), -1).reshape(-1, 2)
    if jitter:
        inner = (np.abs(plan) < half_mm - 1e-9).all(axis=1)
        plan[inner] += jitter * edge_mm * random.uniform(-1, 1, (inner.sum(), 2))
        faces = Delaunay(plan).simplices.astype(np.int64)
        a, b, c = (plan[faces[:, k]] for k in range(3))
        double_area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
        faces[double_area < 0] = faces[double_area < 0][:, ::-1]
        faces = faces[np.abs(double_area) > 1e-6 * edge_mm**2]
    else:
        faces = _split_quads(np.arange((steps + 1) ** 2).reshape(steps + 1, -1), np.zeros((steps, steps), bool))
    return np.column_stack([plan, height(plan[:, 0], plan[:, 1])]), faces


# ---------------------------------------------------------------------------------------- closed forms


def sphere_truth(radius_mm: float) -> Truth:
    """1 / R both ways."""

    def truth(places: Floats) -> tuple[Floats, Floats, Floats]:
        k = np.full(len(places), 1 / radius_mm)
        return k, k, np.full((len(places), 3), np.nan)

    return truth


def tube_truth(radius_mm: float) -> Truth:
    """1 / R around, 0 along."""

    def truth(places: Floats) -> tuple[Floats, Floats, Floats]:
        turn = np.arctan2(places[:, 1], places[:, 0])
        around = np.stack([-np.sin(turn), np.cos(turn), 0 * turn], 1)
        return np.full(len(places), 1 / radius_mm), np.zeros(len(places)), around

    return truth


def torus_truth(ring_mm: float, tube_mm: float) -> Truth:
    """1 / r round the tube, cos v / (R + r cos v) along the ring."""

    def truth(places: Floats) -> tuple[Floats, Floats, Floats]:
        turn, reach = np.arctan2(places[:, 1], places[:, 0]), np.hypot(places[:, 0], places[:, 1])
        v = np.arctan2(places[:, 2], reach - ring_mm)
        along = np.cos(v) / (ring_mm + tube_mm * np.cos(v))
        about = np.stack([-np.sin(v) * np.cos(turn), -np.sin(v) * np.sin(turn), np.cos(v)], 1)
        return np.full(len(places), 1 / tube_mm), along, about

    return truth


def sheet_truth(derivatives: Callable[[Floats, Floats], tuple[Floats, ...]], sign: float = 1.0) -> Truth:
    """Of a height field with derivatives zx, zy, zxx, zxy, zyy; `sign` -1 where its underside is the outside."""

    def truth(places: Floats) -> tuple[Floats, Floats, Floats]:
        zx, zy, zxx, zxy, zyy = np.broadcast_arrays(*derivatives(places[:, 0], places[:, 1]))
        first = np.moveaxis(np.array([[1 + zx * zx, zx * zy], [zx * zy, 1 + zy * zy]]), -1, 0)
        second = np.moveaxis(np.array([[zxx, zxy], [zxy, zyy]]), -1, 0) * -sign
        second = second / np.sqrt(1 + zx * zx + zy * zy)[:, None, None]
        k, vectors = np.linalg.eig(np.linalg.solve(first, second))
        at = np.argmax(k, axis=1)
        plan = np.take_along_axis(vectors, at[:, None, None], axis=2)[..., 0]
        direction = np.column_stack([plan, zx * plan[:, 0] + zy * plan[:, 1]])
        return k.max(axis=1), k.min(axis=1), direction / np.linalg.norm(direction, axis=1, keepdims=True)

    return truth


# ---------------------------------------------------------------------------------------- cases

_PER_MM = 2 * np.pi / 40
saddle_truth = sheet_truth(lambda x, y: (x / 20, -y / 20, 1 / 20, 0.0, -1 / 20))
bowl_truth = sheet_truth(lambda x, y: (x / 30, y / 30, 1 / 30, 0.0, 1 / 30), -1.0)
wave_truth = sheet_truth(
    lambda x, _: (-2 * _PER_MM * np.sin(_PER_MM * x), 0.0, -2 * _PER_MM**2 * np.cos(_PER_MM * x), 0.0, 0.0)
)


def _anywhere(places: Floats) -> NDArray[np.bool_]:
    return np.ones(len(places), np.bool_)


def _surfaces(jitter: float) -> list[Case]:
    """Bowl: z = (x^2 + y^2) / 60 seen from below, asked at radius 15; wave: amplitude 2, length 40, at its crest."""
    kind = "uneven" if jitter else "grid"
    bowl_vertices, bowl_faces = sheet_mesh(lambda x, y: (x * x + y * y) / 60, 24, 1.0, jitter)
    return [
        Case(f"torus, {kind}", *torus_mesh(20, 5, 1.0, jitter), torus_truth(20, 5), _anywhere, 1 / 5),
        Case(
            f"saddle, {kind}", *sheet_mesh(lambda x, y: (x * x - y * y) / 40, 10, 0.7, jitter), saddle_truth,
            lambda p: np.hypot(p[:, 0], p[:, 1]) < 2, 1 / 20,
        ),
        Case(
            f"paraboloid, {kind}", bowl_vertices, bowl_faces[:, ::-1].copy(), bowl_truth,
            lambda p: np.abs(np.hypot(p[:, 0], p[:, 1]) - 15) < 1, 0.02981424,
        ),
    ]  # fmt: skip


def clean_cases() -> list[Case]:
    """Meshes with their vertices on the surface."""
    tall = Case(
        "cylinder, uneven", *tube_mesh(10, 30, 1.0, 0.3), tube_truth(10), lambda p: np.abs(p[:, 2] - 15) < 9, 1 / 10
    )
    crest = Case(
        "wave, uneven", *sheet_mesh(lambda x, _: 2 * np.cos(_PER_MM * x), 30, 1.0, 0.35), wave_truth,
        lambda p: (np.abs(p[:, 0]) < 1) & (np.abs(p[:, 1]) < 20), 2 * _PER_MM**2,
    )  # fmt: skip
    strips = Case(
        "cylinder, strips", *solids.cylinder(10, 30), tube_truth(10),
        lambda p: (np.hypot(p[:, 0], p[:, 1]) > 9.9) & (np.abs(p[:, 2] - 15) < 14.9), 1 / 10,
    )  # fmt: skip
    spheres = [
        Case(f"sphere, {pattern}", *solids.sphere(20, 0.02, pattern=pattern), sphere_truth(20), _anywhere, 1 / 20)
        for pattern in ("uv", "ico")
    ]
    return [*spheres, strips, tall, *_surfaces(0.0), *_surfaces(0.35), crest]


def noisy_cases() -> list[Case]:
    """The same but for strips, each vertex moved along the normal by up to 5 % of the mean edge."""
    return [
        Case(
            f"{case.name}, noisy", *solids.with_noise(case.vertices, case.faces, NOISE_SHARE, 5), case.truth,
            case.is_asked, case.largest_per_mm,
        )
        for case in clean_cases() if case.name.split(", ")[1] not in ("uv", "strips")
    ]  # fmt: skip


def _errors(case: Case, places: Floats, k_max: Floats, k_min: Floats, direction: Floats) -> Errors:
    asked = case.is_asked(places)
    if not asked.any():
        return Errors(*[np.nan] * 5)
    true_max, true_min, true_direction = case.truth(places[asked])
    of_max = 100 * np.abs(k_max[asked] - true_max) / case.largest_per_mm
    of_min = 100 * np.abs(k_min[asked] - true_min) / case.largest_per_mm
    cosine = np.abs(np.einsum("ij,ij->i", direction[asked], true_direction))
    cosine = cosine[~np.isnan(cosine)]
    apart = float(np.degrees(np.arccos(np.minimum(cosine, 1))).mean()) if len(cosine) else np.nan
    return Errors(
        float(of_max.mean()), float(np.quantile(of_max, 0.95)),
        float(of_min.mean()), float(np.quantile(of_min, 0.95)), apart,
    )  # fmt: skip


def our_errors(case: Case) -> Errors:
    """Of ``advisor.part.curvature``, at the middles of facets."""
    mesh = Mesh(np.array(case.vertices, np.float64), np.array(case.faces, np.int32))
    found = curvature(mesh, smooth_surface(mesh))
    return _errors(case, mesh.middle, found.k_max_per_mm, found.k_min_per_mm, found.k_max_direction)


def libigl_errors(case: Case) -> Errors:
    """Of ``igl.principal_curvature`` as it comes, at vertices; strips have none away from creases."""
    import igl

    first, second, k_first, k_second, _ = igl.principal_curvature(
        np.array(case.vertices, np.float64), np.array(case.faces, np.int64)
    )
    direction = np.where((k_first >= k_second)[:, None], first, second)
    return _errors(case, case.vertices, np.maximum(k_first, k_second), np.minimum(k_first, k_second), direction)


def main() -> list[Ratio]:
    """Print the errors; their ratios."""
    try:
        import igl  # noqa: F401
    except ModuleNotFoundError:
        sys.exit("libigl is not installed: pip install libigl")
    columns = "k_max %    95% k_min %    95%    deg"
    print(f"{'':26}ours: {columns}   | libigl: {columns}")
    ratios = []
    for case in [*clean_cases(), *noisy_cases()]:
        mine, theirs = our_errors(case), libigl_errors(case)
        print(f"{case.name:26}      {mine}   |         {theirs}", flush=True)
        if np.isfinite(theirs.k_max_mean):
            what = f"error of the larger curvature, {case.name}"
            ratios.append(Ratio(what, "libigl's", mine.k_max_mean / theirs.k_max_mean))
    return ratios


if __name__ == "__main__":
    show(main())
