"""Analytic surfaces from points and normals: the right kind with the right numbers, or none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import solids
from numpy.typing import NDArray

from advisor.part.curvature import curvature_and_normals
from advisor.part.heal import heal
from advisor.part.smooth import smooth_surface
from advisor.zones.analytic import Fit, distances_mm
from advisor.zones.fits import fit_surface

Floats = NDArray[np.float64]
Patch = tuple[Floats, Floats]
COUNT = 2000
TOLERANCE_MM = 0.02


def random() -> np.random.Generator:
    return np.random.default_rng(11)


def plane(length_mm: float, width_mm: float) -> Patch:
    p = random().random((COUNT, 3)) * [length_mm, width_mm, 0.0]
    return p, np.tile([0.0, 0.0, 1.0], (COUNT, 1))


def cone(radius_mm: float, half_apex_deg: float, arc_deg: float, length_mm: float) -> Patch:
    """About Z, its tip up, with `radius_mm` at z = 0; a cylinder where `half_apex_deg` is 0."""
    turn, z = (random().random((2, COUNT)) - 0.5) * np.array([[np.radians(arc_deg)], [length_mm]])
    half = np.radians(half_apex_deg)
    reach = radius_mm - z * np.tan(half)
    out = np.stack([np.cos(turn), np.sin(turn), 0 * turn], 1)
    return reach[:, None] * out + z[:, None] * [0, 0, 1], np.cos(half) * out + [0, 0, np.sin(half)]


def cylinder(radius_mm: float, arc_deg: float, length_mm: float) -> Patch:
    return cone(radius_mm, 0.0, arc_deg, length_mm)


def cap(radius_mm: float, most_deg: float) -> Patch:
    least = np.cos(np.radians(most_deg))
    share, turn = random().random((2, COUNT)) * np.array([[1.0], [2 * np.pi]])
    z = least + (1 - least) * share
    n = np.stack([np.sqrt(1 - z * z) * np.cos(turn), np.sqrt(1 - z * z) * np.sin(turn), z], 1)
    return radius_mm * n, n


def torus(ring_mm: float, tube_mm: float, from_deg: float, to_deg: float, arc_deg: float) -> Patch:
    share, turn = random().random((2, COUNT))
    v, turn = np.radians(from_deg + (to_deg - from_deg) * share), np.radians(arc_deg) * (turn - 0.5)
    out = np.stack([np.cos(turn), np.sin(turn), 0 * turn], 1)
    n = np.cos(v)[:, None] * out + np.sin(v)[:, None] * [0, 0, 1]
    return ring_mm * out + tube_mm * n, n


TURN = np.linalg.qr(random().normal(size=(3, 3)))[0]
TURN *= np.linalg.det(TURN)
MOVE = np.array([100.0, -50.0, 30.0])


def fit(patch: Patch, *, noise_mm: float = 0.0, noise_deg: float = 0.0, hollow: bool = False) -> Fit | None:
    """Of the patch turned and moved, with noise along its normals and in them; inside out where `hollow`."""
    p, n = patch
    chance = np.random.default_rng(5)
    p = p + noise_mm * chance.normal(size=(len(p), 1)) * n
    n = n + np.radians(noise_deg) * chance.normal(size=n.shape)
    n = n / np.linalg.norm(n, axis=1, keepdims=True) * (-1 if hollow else 1)
    return fit_surface(p @ TURN.T + MOVE, n @ TURN.T, np.ones(len(p)), TOLERANCE_MM)


PATCHES: dict[str, tuple[str, Callable[[], Patch], dict[str, float]]] = {
    "plane": ("plane", lambda: plane(30, 20), {}),
    "long narrow plane": ("plane", lambda: plane(100, 0.5), {}),
    "cylinder": ("cylinder", lambda: cylinder(10, 360, 20), {"radius_mm": 10}),
    "fillet of 90 deg": ("cylinder", lambda: cylinder(5, 90, 60), {"radius_mm": 5}),
    "short fillet": ("cylinder", lambda: cylinder(5, 90, 2), {"radius_mm": 5}),
    "cylinder of 30 deg": ("cylinder", lambda: cylinder(5, 30, 40), {"radius_mm": 5}),
    "cone of 10 deg draft": ("cone", lambda: cone(20, 10, 360, 20), {"half_apex_deg": 10}),
    "its quarter": ("cone", lambda: cone(20, 10, 90, 20), {"half_apex_deg": 10}),
    "cone of 1 deg draft": ("cone", lambda: cone(20, 1, 360, 20), {"half_apex_deg": 1}),
    "flat cone": ("cone", lambda: cone(15, 60, 360, 10), {"half_apex_deg": 60}),
    "cone with its tip": ("cone", lambda: cone(10, 45, 360, 20), {"half_apex_deg": 45}),
    "sphere": ("sphere", lambda: cap(20, 180), {"radius_mm": 20}),
    "cap": ("sphere", lambda: cap(20, 30), {"radius_mm": 20}),
    "torus": ("torus", lambda: torus(20, 5, 0, 360, 360), {"radius_mm": 5, "ring_radius_mm": 20}),
    "fillet of a round pocket": ("torus", lambda: torus(14, 6, -90, 0, 360), {"radius_mm": 6, "ring_radius_mm": 14}),
    "fillet of a corner": ("torus", lambda: torus(10, 6.5, -80, 0, 90), {"radius_mm": 6.5, "ring_radius_mm": 10}),
}


@pytest.mark.parametrize("hollow", [False, True])
@pytest.mark.parametrize("name", PATCHES)
def test_kinds_without_noise(name: str, hollow: bool) -> None:
    kind, patch, numbers = PATCHES[name]
    found = fit(patch(), hollow=hollow)
    assert found is not None
    assert found.kind == kind
    assert found.is_hollow == (hollow and kind != "plane")
    assert found.residual_max_mm < 1e-6
    lifted = patch()[0] + 0.1 * patch()[1]
    # a tenth outward of a surface that bends outward, as these do before they are turned inside out
    assert distances_mm(found, lifted @ TURN.T + MOVE) == pytest.approx(-0.1 if hollow and kind == "plane" else 0.1)
    for key, value in numbers.items():
        assert getattr(found, key) == pytest.approx(value, rel=1e-6), key
    if kind in ("cylinder", "cone", "torus"):
        assert abs(found.axis @ TURN[:, 2]) == pytest.approx(1.0, abs=1e-9)
        assert np.linalg.norm(np.cross(found.point_mm - MOVE, TURN[:, 2])) < 1e-4  # on the axis
    if kind == "cone":
        assert found.axis @ TURN[:, 2] > 0  # towards the tip
    if kind == "plane":
        assert found.axis @ TURN[:, 2] == pytest.approx(-1.0 if hollow else 1.0)


@pytest.mark.parametrize(("noise_mm", "noise_deg"), [(0.005, 1.0), (0.01, 3.0)])
@pytest.mark.parametrize("name", PATCHES)
def test_kinds_with_noise(name: str, noise_mm: float, noise_deg: float) -> None:
    kind, patch, numbers = PATCHES[name]
    found = fit(patch(), noise_mm=noise_mm, noise_deg=noise_deg)
    assert found is not None
    assert found.kind == kind
    assert found.residual_rms_mm == pytest.approx(noise_mm, rel=0.1)
    for key, value in numbers.items():
        assert getattr(found, key) == pytest.approx(value, rel=0.02), key


def test_a_plane_wins_where_it_holds() -> None:
    """A cylinder of 20 m is a plane over 30 mm; so are 5 degrees of one of 50 mm, which sag 0.05 mm."""
    for patch in (cylinder(20_000, 0.1, 30), cylinder(50, 5, 20)):
        found = fit(patch)
        assert found is not None
        assert found.kind == "plane"


def test_a_narrow_strip_of_a_fillet_is_no_plane() -> None:
    """A millimetre of an R2 fillet sags 0.03 mm, but its normals turn by 28 degrees."""
    found = fit(cylinder(1, 28, 20))
    assert found is not None
    assert found.kind == "cylinder"
    assert found.radius_mm == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize("noise_mm", [0.0, 0.005, 0.01])
@pytest.mark.parametrize("arc_deg", [6.0, 10.0, 14.0, 20.0])
def test_short_arcs_are_right_or_untold(arc_deg: float, noise_mm: float) -> None:
    found = fit(cylinder(40, arc_deg, 20), noise_mm=noise_mm, noise_deg=100 * noise_mm)
    assert found is None or found.kind in ("plane", "cylinder")
    if found is not None and found.kind == "cylinder":
        assert found.radius_mm == pytest.approx(40, rel=0.02)


def test_free_form_and_corners_have_none() -> None:
    """Wide enough that no torus holds: over a few millimetres the inside of a ring passes for a saddle."""
    x, y = random().uniform(-14, 14, (2, COUNT))
    saddle = np.stack([-x / 20, y / 20, np.ones(COUNT)], 1)
    wave = np.stack([0.6 * np.sin(0.3 * x), 0 * x, np.ones(COUNT)], 1)
    flat = plane(10, 10)
    corner = (np.concatenate([flat[0], flat[0][:, [2, 0, 1]]]), np.concatenate([flat[1], flat[1][:, [2, 0, 1]]]))
    for p, n in (
        (np.stack([x, y, (x * x - y * y) / 40], 1), saddle),
        (np.stack([x, y, 2 * np.cos(0.3 * x)], 1), wave),
        corner,
    ):
        assert fit((p, n / np.linalg.norm(n, axis=1, keepdims=True))) is None


def test_too_few_points_and_points_in_one_place_have_none() -> None:
    p, n = plane(10, 10)
    assert fit_surface(p[:3], n[:3], np.ones(3), 0.1) is None
    assert fit_surface(0 * p, n, np.ones(COUNT), 0.1) is None
    assert fit_surface(p, n, np.zeros(COUNT), 0.1) is None


@pytest.mark.parametrize("chord_error_mm", [0.005, 0.02, 0.1])
def test_faces_of_a_pocket_as_tessellated(chord_error_mm: float) -> None:
    """Corners and middles of facets, with the normals that curvature found: floor, fillet and wall."""
    mesh = heal(*solids.round_pocket(20, 6, 15, chord_error_mm=chord_error_mm), "pocket").mesh
    _, corner_normal = curvature_and_normals(mesh, smooth_surface(mesh))
    corners = mesh.vertices[mesh.faces]
    z = corners[:, :, 2]
    inside = (np.abs(mesh.middle[:, :2]).max(axis=1) < 29) & (mesh.middle[:, 2] < 24.9)
    inside &= mesh.middle[:, 2] > 1
    floor, wall = inside & (z.max(axis=1) < 10 + 1e-6), inside & (z.min(axis=1) > 16 - 1e-6)
    for facets, kind, numbers in (
        (floor, "plane", {}),
        (wall, "cylinder", {"radius_mm": 20.0}),
        (inside & ~floor & ~wall, "torus", {"radius_mm": 6.0, "ring_radius_mm": 14.0}),
    ):
        points = np.concatenate([corners[facets].reshape(-1, 3), mesh.middle[facets]])
        normals = np.concatenate([corner_normal[facets].reshape(-1, 3), mesh.normal[facets]])
        weights = np.concatenate([np.repeat(mesh.area_mm2[facets], 3) / 4, mesh.area_mm2[facets] / 4])
        found = fit_surface(points, normals, weights, 1.5 * chord_error_mm)
        assert found is not None
        assert found.kind == kind
        assert found.is_hollow == (kind != "plane")
        for key, value in numbers.items():
            assert getattr(found, key) == pytest.approx(value, rel=0.01), key
