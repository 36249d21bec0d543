"""The analytic parts are what they say: closed, outward, and as large as their closed forms."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO

import numpy as np
import pytest
import solids
import trimesh
from solids import Exact, Mesh

SHAPES: dict[str, tuple[Callable[[float], Mesh], Exact]] = {
    "sphere uv": (lambda t: solids.sphere(25, t), solids.sphere_exact(25)),
    "sphere ico": (lambda t: solids.sphere(25, t, pattern="ico"), solids.sphere_exact(25)),
    "hemisphere": (lambda t: solids.hemisphere(25, t), solids.hemisphere_exact(25)),
    "spherical cap": (lambda t: solids.spherical_cap(chord_error_mm=t), solids.spherical_cap_exact()),
    "frustum": (lambda t: solids.cone(chord_error_mm=t), solids.cone_exact()),
    "full cone": (lambda t: solids.cone(20, 0, 45, t), solids.cone_exact(20, 0, 45)),
    "cylinder": (lambda t: solids.cylinder(10, 30, t), solids.cylinder_exact(10, 30)),
    "torus": (lambda t: solids.torus(20, 5, t), solids.torus_exact(20, 5)),
    "round pocket": (
        lambda t: solids.round_pocket(20, 6, 15, block="round", chord_error_mm=t),
        solids.round_pocket_exact(20, 6, 15, block="round"),
    ),
    "square pocket": (lambda t: solids.round_pocket(chord_error_mm=t), solids.round_pocket_exact()),
    "bowl": (lambda t: solids.bowl(chord_error_mm=t), solids.bowl_exact()),
    "half-cylinder": (lambda t: solids.half_cylinder(10, 50, t), solids.half_cylinder_exact(10, 50)),
    "wedge": (lambda _: solids.wedge(30), solids.wedge_exact(30)),
    "stepped block": (lambda _: solids.stepped_block(), solids.stepped_block_exact()),
    "wave": (lambda t: solids.wave(chord_error_mm=t), solids.wave_exact()),
}
# The vertices lie on the true surface, so area and volume err by about t/R: here at most 0.01/5 in the tube.
AREA_TOLERANCE = 4e-3


def _faceted(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(*mesh, process=False)


@pytest.mark.parametrize("name", SHAPES)
def test_closed_outward_and_of_the_exact_size(name: str) -> None:
    make, exact = SHAPES[name]
    mesh = _faceted(make(0.01))
    _, edge_uses = np.unique(mesh.edges_sorted, axis=0, return_counts=True)
    assert np.all(edge_uses == 2)
    assert mesh.is_winding_consistent
    assert mesh.area_faces.min() > 0
    assert len(mesh.referenced_vertices) == mesh.referenced_vertices.sum()
    assert mesh.volume == pytest.approx(exact.volume_mm3, rel=AREA_TOLERANCE)
    assert mesh.area == pytest.approx(exact.area_mm2, rel=AREA_TOLERANCE)


@pytest.mark.parametrize("name", [name for name in SHAPES if name not in {"wedge", "stepped block"}])
def test_error_falls_with_the_chord_error(name: str) -> None:
    make, exact = SHAPES[name]
    coarse, fine = (abs(_faceted(make(t)).volume - exact.volume_mm3) for t in (0.05, 0.005))
    assert fine < 0.3 * coarse


@pytest.mark.parametrize("limit_deg", [8, 25, 50, 75, 90.1])
@pytest.mark.parametrize("name", SHAPES)
def test_facets_below_a_slope_lie_between_exact_areas(name: str, limit_deg: float) -> None:
    """A facet stands for slopes half its own angle, here 1.15 degrees, to either side of its own, each way."""
    make, exact = SHAPES[name]
    mesh = _faceted(make(0.001))
    slopes = np.degrees(np.arccos(np.clip(mesh.face_normals[:, 2], -1, 1)))
    found = mesh.area_faces[slopes < limit_deg].sum()
    least, most = (exact.area_below_mm2(limit_deg + shift) for shift in (-1.7, 1.7))
    assert least * (1 - AREA_TOLERANCE) <= found <= most


def test_areas_against_published_values() -> None:
    """Independent calculation of the closed forms: sphere cap, torus, lying half-cylinder, cone, wave."""
    dome = solids.hemisphere_exact(25)
    printed = {15: 133.8090, 30: 526.1170, 45: 1150.1890, 60: 1963.4954, 75: 2910.6108}
    assert [dome.area_below_mm2(slope) for slope in printed] == pytest.approx(list(printed.values()), abs=5e-5)
    assert solids.torus_exact(20, 5).area_below_mm2(30) == pytest.approx(657.9736, abs=5e-5)
    assert solids.torus_exact(20, 5).area_below_mm2(90) == pytest.approx(1973.9209, abs=5e-5)
    assert solids.half_cylinder_exact(10, 50).area_below_mm2(45) == pytest.approx(785.3982, abs=5e-5)
    areas = solids.cone_exact().areas(5, 45)
    assert (areas.flat, areas.shallow, areas.undercut) == pytest.approx((100 * np.pi, 0, 1600 * np.pi))
    assert areas.steep == pytest.approx(9424.778, abs=5e-4)
    # the steepest place of the wave A2 L40 is 17.4406 degrees
    top = solids.wave_exact().patches[0]
    assert top.area_below_mm2(17.4407) == top.area_below_mm2(90) > top.area_below_mm2(17.4405)


def test_facet_angle_against_published_values() -> None:
    """2 acos(1 - t/R), independent calculation: degrees for R, t."""
    printed = {(25, 0.01): 3.241247, (25, 0.05): 7.248615, (5, 0.05): 16.21923, (100, 0.01): 1.620583}
    angles = [np.degrees(solids.facet_angle_rad(*measures)) for measures in printed]
    assert angles == pytest.approx(list(printed.values()), rel=1e-6)


def test_refined_keeps_the_surface_and_bounds_the_edges() -> None:
    block = solids.stepped_block()
    fine = _faceted(solids.refined(*block, 4.0))
    assert fine.is_watertight
    assert fine.is_winding_consistent
    assert fine.edges_unique_length.max() <= 4.0
    assert fine.area == pytest.approx(_faceted(block).area)
    assert fine.volume == pytest.approx(_faceted(block).volume)


def test_noise_moves_along_the_normals_within_its_share() -> None:
    vertices, faces = solids.sphere(25, 0.05, pattern="ico")
    noisy, _ = solids.with_noise(vertices, faces, 0.05, seed=7)
    pushes = np.linalg.norm(noisy, axis=1) - 25
    limit = 0.05 * _faceted((vertices, faces)).edges_unique_length.mean()
    assert 0.9 * limit < np.abs(pushes).max() <= limit
    assert abs(pushes.mean()) < 0.1 * limit


def test_permuted_and_turned_keep_the_solid() -> None:
    vertices, faces = solids.round_pocket(chord_error_mm=0.1)
    quarter = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    plain = _faceted((vertices, faces))
    shuffled = solids.permuted(vertices, faces, seed=3)
    assert not np.array_equal(shuffled[1], faces)
    for other in (_faceted(shuffled), _faceted((solids.turned(vertices, quarter), faces))):
        assert other.is_watertight
        assert other.volume == pytest.approx(plain.volume)
        assert sorted(other.area_faces) == pytest.approx(sorted(plain.area_faces))


def test_stl_is_read_back() -> None:
    mesh = solids.cone(chord_error_mm=0.1)
    for data in (solids.to_stl_bytes(*mesh, header=b"part"), solids.to_ascii_stl(*mesh)):
        back = trimesh.load_mesh(BytesIO(data), file_type="stl")
        assert back.triangles == pytest.approx(mesh[0][mesh[1]], abs=1e-5)
    lying = solids.to_stl_bytes(*mesh, count=3)
    assert int.from_bytes(lying[80:84], "little") == 3
    assert len(lying) == 84 + 50 * len(mesh[1])
