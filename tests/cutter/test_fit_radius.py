"""The largest ball that fits: fillets, bowls and grooves by closed form, and bisection with drops as the slow twin."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from asked_for import few_of
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.advice.reach_of_zones import fit_over
from advisor.cutter.drop import ball_pieces, dropped
from advisor.cutter.fit_radius import largest_ball_behind_facets_mm, largest_fitting_ball_mm
from advisor.part.facet_stock import facet_stock
from advisor.part.mesh import Mesh
from advisor.part.plan_tree import PlanTree, plan_tree
from advisor.part.samples import Samples, spread_samples
from advisor.part.smooth import smooth_surface

UP = np.array([0.0, 0.0, 1.0])
LEAST, GREATEST = 0.2, 12.0


def fillet(angle_deg: float, r: float, steps: int) -> tuple[PlanTree, np.ndarray, np.ndarray]:
    """A trough with a fillet, and points of its facets with the normals of the arc there."""
    half = np.radians(angle_deg / 2)
    angles = np.linspace(half - np.pi / 2, np.pi / 2 - half, steps + 1)
    arc = r * np.column_stack([np.sin(angles), -np.cos(angles)])
    wall = 60 * np.array([np.sin(half), np.cos(half)])
    profile = np.vstack([arc[0] + wall * [-1, 1], arc, arc[-1] + wall])
    count = len(profile)
    vertices = np.concatenate([np.column_stack([profile[:, 0], np.full(count, y), profile[:, 1]]) for y in (-80, 80)])
    i = np.arange(count - 1)
    faces = np.concatenate([np.stack([i, i + 1, i + 1 + count], 1), np.stack([i, i + 1 + count, i + count], 1)])
    rng = np.random.default_rng(3)
    share, strip = rng.random(400), rng.integers(0, steps, 400)
    at = arc[strip] + share[:, None] * (arc[strip + 1] - arc[strip])
    points = np.column_stack([at[:, 0], rng.uniform(-30, 30, 400), at[:, 1]])
    normals = -points * [1, 0, 1]
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    return plan_tree(vertices, faces, UP), points, normals


@pytest.mark.parametrize("angle_deg", [60.0, 90.0, 120.0])
@pytest.mark.parametrize("r", [0.8, 3.0, 8.0])
@pytest.mark.parametrize("steps_a_turn", [200, 600])
def test_a_fillet_has_its_radius_all_over(angle_deg: float, r: float, steps_a_turn: int) -> None:
    steps = round(steps_a_turn * (180 - angle_deg) / 360)
    tree, points, normals = fillet(angle_deg, r, steps)
    chord_error = r * (1 - np.cos(np.radians((180 - angle_deg) / steps / 2)))
    found = largest_fitting_ball_mm(points, normals, tree, chord_error, LEAST, GREATEST)
    np.testing.assert_allclose(found, r, rtol=0.02)


def test_bowls_have_their_radius_and_domes_the_greatest() -> None:
    rng = np.random.default_rng(4)
    normals = rng.normal(size=(300, 3))
    normals[:, 2] = np.abs(normals[:, 2]) + 0.5
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    vertices, faces = solids.sphere(9.0, chord_error_mm=0.005)
    vertices = vertices - vertices.mean(axis=0)
    lower = vertices[faces].mean(axis=1)[:, 2] < -0.05
    bowl = plan_tree(vertices, faces[lower], UP)
    found = largest_fitting_ball_mm(-9.0 * normals, normals, bowl, 0.01, LEAST, GREATEST)
    np.testing.assert_allclose(found, 9.0, rtol=0.01)
    dome = plan_tree(vertices, faces, UP)
    assert (largest_fitting_ball_mm(9.0 * normals, normals, dome, 0.01, LEAST, GREATEST) == GREATEST).all()
    below = largest_fitting_ball_mm(-9.0 * normals, -normals, dome, 0.01, LEAST, GREATEST)
    assert np.isnan(below).all()


def test_beside_a_wall_and_in_a_sharp_groove() -> None:
    # on a floor at a distance from an upright wall just that radius fits; in a groove of slope k, by its opening angle
    floor_and_wall = np.array([(0, -90, 0), (90, -90, 0), (90, 90, 0), (0, 90, 0), (0, -90, 70), (0, 90, 70)], float)
    tree = plan_tree(floor_and_wall, np.array([(0, 1, 2), (0, 2, 3), (0, 3, 5), (0, 5, 4)]), UP)
    away = np.array([0.1, 0.5, 3.0, 11.0, 20.0])
    points = np.column_stack([away, 0 * away, 0 * away])
    found = largest_fitting_ball_mm(points, np.tile(UP, (5, 1)), tree, 1e-6, LEAST, GREATEST)
    np.testing.assert_allclose(found, [0.0, 0.5, 3.0, 11.0, GREATEST], rtol=0.005)
    k, d = 0.6, 1.3
    groove = np.array(
        [(0, -90, 0), (0, 90, 0), (70, -90, 70 * k), (70, 90, 70 * k), (-70, -90, 70 * k), (-70, 90, 70 * k)]
    )
    tree = plan_tree(groove, np.array([(0, 2, 3), (0, 3, 1), (0, 5, 4), (0, 1, 5)]), UP)
    slope = np.arctan(k)
    point = np.array([[d * np.cos(slope), 2.0, d * np.sin(slope)]])
    normal = np.array([[-np.sin(slope), 0.0, np.cos(slope)]])
    expected = d / np.tan(slope)  # the ball's middle on the plane of symmetry, d from the line of the groove
    assert largest_fitting_ball_mm(point, normal, tree, 1e-6, LEAST, GREATEST)[0] == pytest.approx(expected, rel=0.006)


@settings(max_examples=few_of(8, 30))
@given(st.integers(0, 100_000))
def test_bisection_with_drops_finds_the_same(number: int) -> None:
    rng = np.random.default_rng(number)
    corners = rng.uniform(-12, 12, (60, 1, 3)) * [1, 1, 0.4] + rng.uniform(0.3, 5) * rng.normal(size=(60, 3, 3))
    axis = rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    tree = plan_tree(corners.reshape(-1, 3), np.arange(180).reshape(-1, 3), axis)
    points = np.einsum("kc,kcx->kx", rng.dirichlet((1, 1, 1), 60), corners)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals *= (np.sign(normals @ axis) / np.linalg.norm(normals, axis=1))[:, None]
    off = 1e-3
    found = largest_fitting_ball_mm(points, normals, tree, off, LEAST, GREATEST)
    for point, normal, radius in zip(points, normals, found, strict=True):

        def fits(r: float, point: np.ndarray = point, normal: np.ndarray = normal) -> bool:
            x, y, z = tree.frame @ (point + (r + off) * normal)
            return bool(dropped(ball_pieces(2 * r), tree, np.array([[x, y]])).height_mm[0] <= z - r)

        if not fits(LEAST):
            assert radius == 0.0
            continue
        low, high = LEAST, GREATEST
        if fits(high):
            low = high
        while high / low > 1.0005:
            low, high = (np.sqrt(low * high), high) if fits(np.sqrt(low * high)) else (low, np.sqrt(low * high))
        assert radius == pytest.approx(low, rel=0.006)


def ring_fillet(r: float, turn_deg: float, chord_error: float, *, is_hollow: bool) -> tuple[Mesh, Samples]:
    """A fillet round a ring of 8 mm between a floor and a wall, in a pocket or at the foot of a boss.

    Points are those in the fillet.
    """
    ring, side = 8.0, 1.0 if is_hollow else -1.0
    tube = solids.arc((ring, r), r, -90, -90 + side * turn_deg, chord_error)
    lean = np.radians(turn_deg)
    wall = tube[-1] + min(6.0, 4.0 / np.cos(lean)) * np.array([side * np.cos(lean), np.sin(lean)])
    profile = np.vstack([[[ring - side * 7.5, 0.0]], tube, [wall]])
    vertices, faces = solids.revolved(profile, chord_error)
    mesh = Mesh(vertices, faces if is_hollow else faces[:, ::-1])
    mesh = mesh if mesh.normal[:, 2].sum() > 0 else Mesh(vertices, mesh.faces[:, ::-1])
    points = spread_samples(mesh, np.arange(len(mesh.faces)), 6_000, smooth_surface(mesh).corner_normal)
    level = np.hypot(*points.point[:, :2].T) - ring
    angle = np.degrees(np.arctan2(side * level, r - points.point[:, 2]))
    rows = np.flatnonzero((angle > 0.01 * turn_deg) & (angle < 0.99 * turn_deg))
    rows = rows[np.abs(np.hypot(level, points.point[:, 2] - r)[rows] - r) < 0.1 * r][::3]
    return mesh, Samples(points.point[rows], points.normal[rows], points.facet[rows], points.area_mm2[rows])


@pytest.mark.parametrize("is_hollow", [True, False])
@pytest.mark.parametrize("turn_deg", [56.0, 90.0])
@pytest.mark.parametrize(
    ("r", "chord_error"), [(0.5, 0.002), (0.5, 0.01), (1.0, 0.005), (1.0, 0.02), (3.0, 0.002), (3.0, 0.02)]
)
def test_a_fillet_round_a_ring_has_its_radius_however_coarse(
    r: float, chord_error: float, turn_deg: float, is_hollow: bool
) -> None:
    # down to four chords to a right angle
    mesh, points = ring_fillet(r, turn_deg, chord_error, is_hollow=is_hollow)
    stock = facet_stock(mesh, smooth_surface(mesh).corner_normal, points.facet, points.point)
    tree = plan_tree(mesh.vertices, mesh.faces, UP)
    found = largest_ball_behind_facets_mm(points.point, points.normal, tree, stock, 0.05, GREATEST)
    for most in (0.99, 0.95):
        told, share = fit_over(2.0 * found, points.area_mm2, most)
        assert told == pytest.approx(2.0 * r, rel=0.02)
        assert share is not None and share > most - 0.01


def fits_on_facets(mesh: Mesh, greatest_mm: float) -> np.ndarray:
    """Largest radii at points all over what faces up or is upright."""
    corner_normal = smooth_surface(mesh).corner_normal
    points = spread_samples(mesh, np.flatnonzero(mesh.normal[:, 2] > -1e-9), 2_000, corner_normal)
    stock = facet_stock(mesh, corner_normal, points.facet, points.point)
    level = points.normal - np.minimum(points.normal[:, 2:], 0.0) * UP
    level /= np.linalg.norm(level, axis=1)[:, None]
    tree = plan_tree(mesh.vertices, mesh.faces, UP)
    return largest_ball_behind_facets_mm(points.point, level, tree, stock, 0.05, greatest_mm)


@pytest.mark.parametrize("chord_error", [0.001, 0.007, 0.03, 0.06])
@pytest.mark.parametrize("shape", ["cylinder", "hemisphere", "cone", "half-cylinder"])
def test_nothing_hinders_a_ball_outside_a_convex_body(shape: str, chord_error: float) -> None:
    """Facets lie under the surface that a ball touches: those of the body itself are in no one's way."""
    vertices, faces = {
        "cylinder": lambda: solids.cylinder(30.0, 20.0, chord_error),
        "hemisphere": lambda: solids.hemisphere(20.0, chord_error),
        "cone": lambda: solids.cone(40.0, 10.0, 60.0, chord_error),
        "half-cylinder": lambda: solids.half_cylinder(12.0, 40.0, chord_error),
    }[shape]()
    np.testing.assert_allclose(fits_on_facets(Mesh(vertices, faces), 25.0), 25.0, rtol=1e-9)


@pytest.mark.parametrize("chord_error", [0.003, 0.02])
def test_the_hollow_beside_a_crest_has_its_radius(chord_error: float) -> None:
    """z = A cos(k x) is tightest at the bottom, 1 / (A k^2); nothing hinders on its crests but the troughs' width."""
    amplitude, length = 3.0, 40.0
    vertices, faces = solids.wave(amplitude, length, chord_error_mm=chord_error)
    found = fits_on_facets(Mesh(vertices, faces), 25.0)
    tightest = 1.0 / (amplitude * (2 * np.pi / length) ** 2)
    assert found.min() == pytest.approx(tightest, rel=0.02)
    assert np.quantile(found, 0.9) == pytest.approx(25.0)
