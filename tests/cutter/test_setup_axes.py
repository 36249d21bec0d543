"""Candidate tool axes: where they come from, that neither the order of facets nor a turn shows; rotary tables."""

from __future__ import annotations

import numpy as np
import pytest
import solids
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from advisor import tolerances
from advisor.cutter.setup_axes import CandidateAxes, candidate_axes, index_angles_deg, spiral_directions
from advisor.part.heal import heal
from advisor.part.mesh import Mesh
from advisor.part.smooth import smooth_surface

UP = np.array([0.0, 0.0, 1.0])


def healed(vertices: np.ndarray, faces: np.ndarray) -> Mesh:
    return heal(np.asarray(vertices, float), np.asarray(faces), "part").mesh


def candidates(mesh: Mesh, up: np.ndarray = UP, **others: object) -> CandidateAxes:
    return candidate_axes(mesh, smooth_surface(mesh).is_plane, up, **others)


def bored_block(tilt_deg: float, radius_mm: float = 5.0) -> Mesh:
    """A block with a level land and a blind hole that leans in X."""
    block = trimesh.creation.box((70, 50, 40))
    drill = trimesh.creation.cylinder(radius_mm, 50, sections=64)
    drill.apply_transform(trimesh.transformations.rotation_matrix(np.radians(tilt_deg), [0, 1, 0]))
    axis = np.array([np.sin(np.radians(tilt_deg)), 0, np.cos(np.radians(tilt_deg))])
    drill.apply_translation(np.array([0, 0, 20.0]) + 15 * axis)
    part = block.difference(drill, engine="manifold")
    return healed(part.vertices, part.faces)


def off_deg(axes: np.ndarray, direction: np.ndarray) -> float:
    return float(np.degrees(np.arccos(np.clip((axes @ direction).max(), -1, 1))))


def test_the_jobs_axis_comes_first_and_no_two_are_alike() -> None:
    up = np.array([0.1, 0.2, 0.9])
    up /= np.linalg.norm(up)
    found = candidates(bored_block(35.0), up, most=30)
    np.testing.assert_array_equal(found.axes[0], up)
    assert found.origin[:7] == ("job",) + ("frame",) * 6
    assert len(found.axes) == len(found.origin) == 30
    cosine = found.axes @ found.axes.T - 2 * np.eye(30)
    assert cosine.max() < np.cos(np.radians(tolerances.LIKE_AXES_DEG))
    assert candidates(bored_block(35.0), up, most=1).origin == ("job",)


@pytest.mark.parametrize("tilt_deg", [17.0, 30.0, 52.0])
def test_a_leaning_hole_gives_its_axis_and_a_leaning_face_its_normal(tilt_deg: float) -> None:
    hole = np.array([np.sin(np.radians(tilt_deg)), 0, np.cos(np.radians(tilt_deg))])
    found = candidates(bored_block(tilt_deg))
    own = np.array([name in ("round", "plane") for name in found.origin])
    assert off_deg(found.axes[own], hole) < 0.05
    vertices, faces = solids.wedge(tilt_deg)
    wedge = candidates(healed(vertices, faces))
    plane = np.array([name == "plane" for name in wedge.origin])
    slope = trimesh.Trimesh(vertices, faces).face_normals
    leaning = slope[(np.abs(slope[:, 2]) > 0.01) & (np.abs(slope[:, 2]) < 0.99)][0]
    assert off_deg(wedge.axes[plane], leaning) < 0.01


def test_a_bar_has_axes_of_symmetry_and_a_sphere_no_direction_but_the_frames() -> None:
    bar = trimesh.creation.capsule(height=60, radius=8, count=[48, 48])
    turn = Rotation.from_euler("zyx", [20, 35, 10], degrees=True).as_matrix()
    mesh = healed(bar.vertices @ turn.T, bar.faces)
    assert off_deg(candidates(mesh).axes, turn[:, 2]) < 0.05
    ball = candidates(healed(*solids.sphere(20, 0.02, pattern="ico")))
    assert set(ball.origin) <= {"job", "frame", "spread", "round"}
    assert ball.origin.count("spread") >= 6


def test_what_is_left_open_is_filled_evenly() -> None:
    found = candidates(healed(*solids.sphere(20, 0.05, pattern="ico")), most=40)
    gaps = np.degrees(np.arccos(np.clip((spiral_directions(4000) @ found.axes.T).max(axis=1), -1, 1)))
    # caps of 18 degrees, 40 of them, have the area of a sphere: none can do better; farthest first is near that
    assert 18.0 < gaps.max() < 28.0


def test_neither_the_order_of_facets_nor_a_turn_shows() -> None:
    mesh = bored_block(33.0)
    found = candidates(mesh)
    other = Mesh(*(np.asarray(a, t) for a, t in zip(
        solids.permuted(np.array(mesh.vertices), np.array(mesh.faces), 3), (np.float64, np.int32), strict=True
    )))  # fmt: skip
    again = candidates(other)
    assert again.origin == found.origin
    np.testing.assert_allclose(again.axes, found.axes, atol=1e-9)
    turn = Rotation.from_euler("xyz", [25, -40, 70], degrees=True).as_matrix()
    turned = candidates(Mesh(mesh.vertices @ turn.T, mesh.faces.copy()), UP @ turn.T, frame=turn.T)
    assert turned.origin == found.origin
    np.testing.assert_allclose(turned.axes, found.axes @ turn.T, atol=1e-6)


def test_turns_of_a_rotary_table_about_x() -> None:
    x = np.array([1.0, 0.0, 0.0])
    lean = np.radians(30)
    axes = np.array([[0, 0, 1], [0, 1, 0], [0, 0, -1], [0, -1, 0], [0, np.sin(lean), np.cos(lean)], [1, 0, 0],
                     [np.sin(lean), 0, np.cos(lean)]])  # fmt: skip
    # by the right hand about +X, +Y comes to +Z in a quarter turn
    assert index_angles_deg(axes, x, UP) == pytest.approx((0.0, 90.0, 180.0, -90.0, 30.0, None, None))
    # a spindle along the rotary axis can bring nothing else
    assert index_angles_deg(axes, UP, UP) == (0.0, None, None, None, None, None, None)


@settings(max_examples=50)
@given(st.integers(0, 10_000))
def test_the_turn_brings_the_axis_to_the_spindle(seed: int) -> None:
    rng = np.random.default_rng(seed)
    frame = Rotation.random(random_state=seed).as_matrix()
    rotary, spindle = frame[0], np.cos(0.3) * frame[2] + np.sin(0.3) * frame[0]
    turn = rng.uniform(-180, 180)
    axis = Rotation.from_rotvec(-np.radians(turn) * rotary).as_matrix() @ spindle
    (found,) = index_angles_deg(axis[None], rotary, spindle)
    assert found == pytest.approx(turn, abs=1e-6)
