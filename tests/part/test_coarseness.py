"""Chord error of facet models whose true surface is known."""

from __future__ import annotations

import dataclasses
import doctest
from collections.abc import Callable

import numpy as np
import pytest
import solids

from advisor.part import coarseness
from advisor.part.coarseness import chord_error_um, chord_tolerance_for_cusp_mm, facet_angle_deg
from advisor.part.heal import heal
from advisor.part.mesh import Mesh
from advisor.part.smooth import smooth_surface

Distance = Callable[[np.ndarray], np.ndarray]


def estimate_um(vertices: np.ndarray, faces: np.ndarray) -> float | None:
    mesh = heal(vertices, faces, "part").mesh
    return chord_error_um(mesh, smooth_surface(mesh))


def largest_distance_um(mesh: Mesh, distance: Distance) -> float:
    """Over points of all facets whose three corners lie on the surface."""
    side = 10
    shares = np.array([(i, j, side - i - j) for i in range(side + 1) for j in range(side + 1 - i)]) / side
    away = np.abs(distance(np.einsum("pk,fkx->fpx", shares, mesh.vertices[mesh.faces])))
    corners = np.abs(distance(mesh.vertices[mesh.faces]))
    return 1000 * float(away[(corners < 1e-6).all(axis=1)].max())


def to_ball(radius: float, height: float = 0.0) -> Distance:
    return lambda points: np.linalg.norm(points - [0, 0, height], axis=-1) - radius


def to_ring(ring: float, tube: float, height: float = 0.0) -> Distance:
    return lambda points: np.hypot(np.hypot(points[..., 0], points[..., 1]) - ring, points[..., 2] - height) - tube


def to_bar(radius: float, length: float) -> Distance:
    # its ends and its flat side touch the arc with their corners only
    def distance(points: np.ndarray) -> np.ndarray:
        inside = (points[..., 2] > 0) & (np.abs(points[..., 0]) < length / 2 - 1e-9)
        return np.where(inside, np.hypot(points[..., 1], points[..., 2]) - radius, 0.0)

    return distance


def to_bowl(radius: float, height: float, rim: float) -> Distance:
    # the land round it touches the ball at the rim only
    return lambda points: np.where(points[..., 2] < rim - 1e-9, to_ball(radius, height)(points), 0.0)


def to_fillet(points: np.ndarray) -> np.ndarray:
    in_fillet = (points[..., 2] < 16) & (np.hypot(points[..., 0], points[..., 1]) > 14)
    return np.where(in_fillet, to_ring(14, 6, 16)(points), 0.0)


CASES = {
    "sphere uv": (lambda t: solids.sphere(25.0, t), to_ball(25.0)),
    "sphere ico": (lambda t: solids.sphere(25.0, t, pattern="ico"), to_ball(25.0)),
    "half cylinder": (lambda t: solids.half_cylinder(10.0, 50.0, t), to_bar(10.0, 50.0)),
    "torus": (lambda t: solids.torus(20.0, 5.0, t), to_ring(20.0, 5.0)),
    "bowl": (lambda t: solids.bowl(40.0, 60.0, chord_error_mm=t), to_bowl(40.0, 50.0, 30.0)),
    "round pocket": (lambda t: solids.round_pocket(20.0, 6.0, 15.0, chord_error_mm=t), to_fillet),
}


def test_docstring_examples() -> None:
    assert doctest.testmod(coarseness).failed == 0


@pytest.mark.parametrize("chord_error_mm", [0.005, 0.01, 0.05])
@pytest.mark.parametrize("name", CASES)
def test_known_surfaces(name: str, chord_error_mm: float) -> None:
    build, distance = CASES[name]
    mesh = heal(*build(chord_error_mm), "part").mesh
    found = chord_error_um(mesh, smooth_surface(mesh))
    assert found == pytest.approx(largest_distance_um(mesh, distance), rel=0.10)


def test_plane_faces_are_exact() -> None:
    """However large: a block, a wedge and a lone gentle bend between planes stand for nothing but themselves."""
    ramp = np.array([[0, 0], [40, 0], [40, 14], [20, 10], [0, 10.0]])
    for mesh in (solids.stepped_block(), solids.wedge(20.0), solids.extruded(ramp, 30, "y")):
        assert estimate_um(*mesh) is None


def test_only_bent_area_counts() -> None:
    """A small bowl in a thousand times its area of planes: they do not water its coarseness down."""
    mesh = heal(*solids.bowl(4.0, 60.0, block_width_mm=200.0), "part").mesh
    found = chord_error_um(mesh, smooth_surface(mesh))
    assert found == pytest.approx(largest_distance_um(mesh, to_bowl(4.0, 32.0, 30.0)), rel=0.10)


def test_normals_that_lean_at_one_end_of_a_plane_do_not_make_it_round() -> None:
    """Planes 60 mm wide between half-cylinders, their corner normals falsely halfway to the strips beside them."""
    turn = solids.arc((30.0, 0.0), 10.0, -90, 90)
    section = np.vstack([turn, -turn])
    mesh = heal(*solids.extruded(section, 40.0, "y"), "part").mesh
    smooth = smooth_surface(mesh)
    true = chord_error_um(mesh, smooth)
    assert true == pytest.approx(10.0, rel=0.10)
    leaning = smooth.corner_normal.copy()
    planes = np.abs(mesh.normal[:, 2]) > 1 - 1e-9
    leaning[planes, :, 0] = 0.05 * np.sign(mesh.vertices[mesh.faces[planes], 0])
    leaning /= np.linalg.norm(leaning, axis=2)[..., None]
    assert chord_error_um(mesh, dataclasses.replace(smooth, corner_normal=leaning)) == pytest.approx(true, rel=0.10)


def test_uneven_facets() -> None:
    """Vertices shaken along the sphere by a tenth of an edge: within a quarter of the largest distance."""
    vertices, faces = solids.sphere(25.0, pattern="ico")
    edge = np.linalg.norm(vertices[faces[:, 0]] - vertices[faces[:, 1]], axis=1).mean()
    shaken = vertices + np.random.default_rng(5).uniform(-0.1, 0.1, vertices.shape) * edge
    shaken *= 25.0 / np.linalg.norm(shaken, axis=1)[:, None]
    mesh = heal(shaken, faces, "part").mesh
    found = chord_error_um(mesh, smooth_surface(mesh))
    assert found == pytest.approx(largest_distance_um(mesh, to_ball(25.0)), rel=0.25)


@pytest.mark.parametrize("factor", [0.1, 25.4])
def test_scaling(factor: float) -> None:
    vertices, faces = solids.torus(20.0, 5.0)
    whole, scaled = estimate_um(vertices, faces), estimate_um(factor * vertices, faces)
    assert whole is not None and scaled == pytest.approx(factor * whole, rel=1e-6)


def test_rounding_and_order_of_the_file_leave_no_trace() -> None:
    vertices, faces = solids.round_pocket()
    plain = estimate_um(vertices, faces)
    rounded = vertices.astype(np.float32).astype(np.float64)
    assert estimate_um(*solids.permuted(rounded, faces, 3)) == pytest.approx(plain, rel=1e-3)


@pytest.mark.parametrize(
    ("radius", "chord_error", "angle"),
    [
        (25.0, 0.01, "3.241247"),
        (25.0, 0.05, "7.248615"),
        (5.0, 0.01, "7.248615"),
        (5.0, 0.05, "16.21923"),
        (100.0, 0.01, "1.620583"),
        (1.0, 0.01, "16.21923"),
    ],
)
def test_facet_angles(radius: float, chord_error: float, angle: str) -> None:
    """Computed independently: 2 acos(1 - t / R)."""
    digits = len(angle.partition(".")[2])
    assert facet_angle_deg(chord_error, radius) == pytest.approx(float(angle), rel=0, abs=10.0**-digits)


def test_facets_a_fifth_of_the_cusp() -> None:
    """Rule of thumb, from memory: chord error no more than a fifth to a tenth of the cusp."""
    assert chord_tolerance_for_cusp_mm(0.01) == pytest.approx(0.002)


@pytest.mark.parametrize(("chord_error", "radius"), [(-0.01, 5.0), (6.0, 5.0), (0.01, 0.0), (0.01, np.nan)])
def test_no_such_facet(chord_error: float, radius: float) -> None:
    with pytest.raises(ValueError, match=r"radius|chord error"):
        facet_angle_deg(chord_error, radius)
