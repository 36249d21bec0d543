"""The smooth surface behind facets: exact where facets are inscribed in it, and true to edges."""

from __future__ import annotations

import numpy as np
import pytest
import solids

from advisor.part.heal import heal
from advisor.part.mesh import Mesh
from advisor.part.smooth import SmoothSurface, smooth_surface


def surface(vertices: np.ndarray, faces: np.ndarray) -> tuple[Mesh, SmoothSurface]:
    mesh = heal(vertices, faces, "part").mesh
    return mesh, smooth_surface(mesh)


@pytest.mark.parametrize("pattern", ["uv", "ico"])
def test_normals_of_a_sphere_point_from_its_centre(pattern: str) -> None:
    mesh, smooth = surface(*solids.sphere(25.0, pattern=pattern))
    expected = mesh.vertices[mesh.faces] / 25.0
    assert np.degrees(np.linalg.norm(smooth.corner_normal - expected, axis=2)).max() < 0.01
    assert not smooth.is_crease.any()


def test_normals_of_a_cylinder_are_radial_and_its_rim_is_an_edge() -> None:
    mesh, smooth = surface(*solids.cylinder(10, 30))
    wall = np.abs(mesh.normal[:, 2]) < 0.5
    corners = mesh.vertices[mesh.faces[wall]] * [1, 1, 0] / 10
    assert np.abs(smooth.corner_normal[wall] - corners).max() < 1e-9
    floor = mesh.normal[:, 2] > 0.5
    assert np.abs(smooth.corner_normal[floor] - [0, 0, 1]).max() < 1e-9


def test_a_floor_keeps_its_own_normal_beside_its_fillet() -> None:
    """However coarse the fillet: its first strip leans, the floor it runs into does not."""
    for chord_error in (0.01, 0.1, 0.2):
        mesh, smooth = surface(*solids.round_pocket(20, 6, 15, chord_error_mm=chord_error))
        floor = (mesh.normal[:, 2] > 1 - 1e-9) & (mesh.vertices[mesh.faces][:, :, 2].max(axis=1) < 20)
        assert np.abs(smooth.corner_normal[floor] - [0, 0, 1]).max() < 1e-9


@pytest.mark.parametrize("ramp_deg", [8.0, 15.0, 25.0])
def test_a_lone_gentle_bend_between_plane_faces_is_an_edge(ramp_deg: float) -> None:
    slope = np.tan(np.radians(ramp_deg))
    section = np.array([[0, 0], [40, 0], [40, 10 + 20 * slope], [20, 10], [0, 10.0]])
    mesh, smooth = surface(*solids.extruded(section, 30, "y"))
    for k in range(3):
        assert np.abs(smooth.corner_normal[:, k] - mesh.normal).max() < 1e-9


def test_strips_of_a_coarse_cylinder_are_one_surface() -> None:
    _, smooth = surface(*solids.half_cylinder(10, 50, 0.1))  # bends of 16 degrees
    bend = np.abs(smooth.bend_deg)
    strips = (bend > 5) & (bend < 30)
    assert strips.any()
    assert not smooth.is_crease[strips].any()


def test_long_strips_of_many_facets_are_strips_too() -> None:
    """A trough sampled on a grid: each strip along it has twice as many sides as rows."""
    x, y = np.meshgrid(np.linspace(-6, 6, 25), np.linspace(0, 40, 81), indexing="ij")
    vertices = np.stack([x, y, -np.exp(-(x**2) / 18)], axis=-1).reshape(-1, 3)
    corner = (np.arange(24)[:, None] * 81 + np.arange(80)).ravel()
    halves = [np.stack([corner, corner + 81, corner + 82], 1), np.stack([corner, corner + 82, corner + 1], 1)]
    mesh = heal(vertices, np.concatenate(halves), "trough").mesh
    smooth = smooth_surface(mesh)
    assert np.abs(smooth.bend_deg).max() > 2.5, "bends that would be edges between wide faces"
    assert not smooth.is_crease[mesh.twins >= 0].any()


@pytest.mark.parametrize("strips", [2, 3, 4])
def test_a_quarter_round_in_few_strips_is_one_surface(strips: int) -> None:
    turn = np.linspace(0, np.pi / 2, strips + 1)
    arc = np.stack([39 + np.cos(turn), 9 + np.sin(turn)], 1)
    section = np.concatenate([[[0, 0], [40, 0]], arc, [[0, 10]]])
    _, smooth = surface(*solids.extruded(section, 30, "y"))
    bend = np.abs(smooth.bend_deg)
    of_arc = (bend > 5) & (bend < 50)
    assert np.unique(bend[of_arc].round(3)).tolist() == pytest.approx([45 / strips, 90 / strips])
    assert not smooth.is_crease[of_arc].any()


def strips_on_a_wall(leans_deg: list[float]) -> tuple[Mesh, SmoothSurface]:
    """A block whose wall ends in strips 0.7 mm wide that lean over more and more."""
    lean = np.radians(leans_deg)
    steps = 0.7 * np.stack([-np.sin(lean), np.cos(lean)], 1)
    section = np.concatenate([[[0, 0], [40, 0], [40, 10]], [40, 10] + np.cumsum(steps, 0)])
    return surface(*solids.extruded(np.concatenate([section, [[0, section[-1, 1]]]]), 30, "y"))


@pytest.mark.parametrize("leans_deg", [[35.0], [35.0, 70.0], [34.0, 56.0]])
def test_an_edge_is_one_from_both_sides(leans_deg: list[float]) -> None:
    mesh, smooth = strips_on_a_wall(leans_deg)
    assert (smooth.is_crease == smooth.is_crease[mesh.twins]).all()


@pytest.mark.parametrize("leans_deg", [[45.0], [10.0, 55.0], [35.0, 80.0]])
def test_chamfers_keep_their_edges(leans_deg: list[float]) -> None:
    """One of 45 degrees, and pairs with 45 degrees between them that end in a bend unlike half of that."""
    _, smooth = strips_on_a_wall(leans_deg)
    bend = np.abs(smooth.bend_deg)
    middle = (bend > 44) & (bend < 46)
    assert middle.any() and smooth.is_crease[middle].all()


def test_a_cone_has_one_slope_up_to_its_tip() -> None:
    mesh, smooth = surface(*solids.cone(40, 0, 60))
    side = mesh.normal[:, 2] > 0
    slopes = np.degrees(np.arccos(smooth.corner_normal[side][..., 2]))
    assert slopes.min() > 59.9


def test_noise_is_told_from_odd_triangulation() -> None:
    vertices, faces = solids.sphere(25.0, pattern="ico")
    _, clean = surface(vertices, faces)
    _, noisy = surface(*solids.with_noise(vertices, faces, 0.1, 7))
    assert clean.noise_share_of_edge == 0.0
    # uniform noise of +-0.1 has a standard deviation of 0.1 / sqrt(3)
    assert noisy.noise_share_of_edge == pytest.approx(0.1 / np.sqrt(3), rel=0.25)
    # a surface of revolution cut into a few long strips is no noise
    _, strips = surface(*solids.round_pocket())
    assert strips.noise_share_of_edge == 0.0
