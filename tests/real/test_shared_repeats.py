"""Third-party parts: what is called a copy lies where its model is carried to, by another library's measure."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import real_parts
import trimesh
from asked_for import few_of
from scipy.spatial.transform import Rotation

import advisor
from advisor.errors import InputError
from advisor.model import SLOPE_CLASSES
from advisor.part.mesh import Mesh
from advisor.zones.repeats import Family, find_repeats, repeat_tolerance_mm

PARTS = sorted(real_parts.REAL_PARTS.iterdir()) if real_parts.REAL_PARTS.is_dir() else []
pytestmark = pytest.mark.skipif(not PARTS, reason=f"no third-party parts in {real_parts.REAL_PARTS}")

# These are large, or have hundreds of zones and no repeats; one of a kind is enough.
TOO_SLOW = {"fandisk_subdivided_507k.ply", "link_rods_fine_500k.ply", "turbine_blade_scan.ply"}
_POINTS = 100


def found_in(path: Path, **options: str) -> tuple[Mesh, np.ndarray, np.ndarray, float, tuple[Family, ...]]:
    if path.suffix == ".step":
        options = {"cusp": "0.025 mm", **options}  # few facets
    plan = advisor.plan(path, only_zones=True, **options)
    facets, record = plan.facets, plan.record
    mesh, zone = Mesh(facets.vertices, facets.faces), (facets.zone - 1).astype(np.int32)
    classes = np.array([SLOPE_CLASSES.index(zone.slope_class) for zone in record.zones], np.int8)
    chord_error = None if record.part.chord_error_um is None else record.part.chord_error_um / 1000
    tolerance = repeat_tolerance_mm(mesh, chord_error)
    axis = np.array(record.setups[0].tool_axis)
    collected = np.array([zone.features > 1 for zone in record.zones])
    return mesh, zone, axis, tolerance, find_repeats(mesh, zone, classes, axis, tolerance, collected)


@pytest.mark.parametrize("path", [path for path in PARTS if path.name not in TOO_SLOW], ids=lambda path: path.name)
def test_no_copy_is_false(path: Path) -> None:
    real_parts.skip_if_large(path)
    try:
        mesh, zone, axis, tolerance, families = found_in(path)
    except InputError:
        pytest.skip("not a part that can be planned")
    random = np.random.default_rng(1)
    for family in families:
        model = np.flatnonzero(np.isin(zone, family.members[0]))
        corners = mesh.vertices[mesh.faces[random.choice(model, _POINTS)]]
        points = np.einsum("ij,ijk->ik", random.dirichlet((1, 1, 1), _POINTS), corners)
        for copy in range(1, len(family.members)):
            if family.is_mirrored[copy]:
                continue
            turn = Rotation.from_rotvec(np.radians(family.turn_deg[copy]) * axis)
            facets = np.flatnonzero(np.isin(zone, family.members[copy]))
            target = trimesh.Trimesh(mesh.vertices, mesh.faces[facets], process=False)
            moved = turn.apply(points) + family.shift_mm[copy]
            assert trimesh.proximity.closest_point(target, moved)[1].max() <= 1.5 * tolerance
            assert mesh.area_mm2[facets].sum() == pytest.approx(mesh.area_mm2[model].sum(), rel=0.01)
        assert family.residual_mm <= tolerance


# What a person counts on the picture of a part, and how it is found: copies, pattern, pitch in degrees. Holes are no
# small features only where the ball fits in; some parts are drawn lying on their side.
SEEN: tuple[tuple[str, dict[str, str], int, str, float | None], ...] = (
    ("fan_rotor_metres_ascii.stl", {}, 4, "polar", 90.0),  # blades
    ("propeller_blade_tip_metres.obj", {"unit": "m", "up": "-Y", "ball": "3 mm"}, 4, "polar", 90.0),  # blades
    ("propeller_ascii.stl", {}, 2, "polar", 90.0),  # tips of blades, which are not alike: see below
    ("three_lobe_knob.stl", {}, 3, "polar", 120.0),  # lobes: top, both sides, their bevels
    ("gears.stl", {}, 8, "polar", 45.0),  # teeth of the wheel in the middle
    ("gears.stl", {}, 5, "free", None),  # wheels around it, not turned with their place
    ("nut.ply", {"up": "+Y"}, 8, "polar", 45.0),  # bevels
    ("flared_ring_unitless.off", {"unit": "inch", "up": "+X", "ball": "0.4 mm"}, 10, "polar", 36.0),  # bolt holes
    ("tray_bottom.stl", {"up": "+Y", "ball": "2 mm"}, 3, "polar", 120.0),  # holes, of two sizes
    ("tray_bottom.stl", {"up": "+Y", "ball": "2 mm"}, 4, "grid", None),  # holes, of four sizes
    ("plate_holes.stl", {"ball": "3 mm"}, 4, "grid", None),  # holes with a countersink; the fifth has none
    ("feature_block_inch.stl", {"unit": "inch", "ball": "0.125 in"}, 8, "grid", None),  # counterbores
    ("sensor_housing.stl", {}, 4, "grid", None),  # holes at the corners
    ("hinge_ascii.stl", {}, 3, "free", None),  # countersunk holes
    ("spring_trigger.stl", {}, 2, "row", None),  # counterbores; two more are cut off by the round beside them
    ("electronics_case_nonmanifold_ascii.stl", {}, 10, "row", None),  # slots
    ("cycloidal_drive_assembly_inch.ply", {}, 36, "polar", None),  # pins on a circle of 38
)
# Parts on which a person sees nothing twice.
SINGLE = (
    "elephant.off", "odd_values.obj", "package_part.3mf", "round_part.stl", "smooth_body_missing_patches.off",
    "sphere_with_missing_facets_ascii.stl", "tooth_scan.stl", "torus.stl", "two_bodies_bad_winding_ascii.stl",
)  # fmt: skip


def part_named(name: str) -> Path:
    path = real_parts.REAL_PARTS / name
    if not path.is_file():
        pytest.skip(f"no {path}")
    return path


@pytest.mark.parametrize(("name", "options", "copies", "pattern", "pitch_deg"), few_of(SEEN[::2], SEEN))
def test_what_a_person_sees_twice_is_found(
    name: str, options: dict[str, str], copies: int, pattern: str, pitch_deg: float | None
) -> None:
    families = found_in(part_named(name), **options)[-1]
    alike = [family for family in families if (family.copies, family.pattern) == (copies, pattern)]
    assert alike, [(family.copies, family.pattern) for family in families]
    pitches = [family.pitch_deg for family in alike]
    assert any(pitch == pytest.approx(pitch_deg, abs=0.01) for pitch in pitches) if pitch_deg else None in pitches


@pytest.mark.parametrize("name", few_of(SINGLE[::2], SINGLE))
def test_nothing_is_found_where_nothing_is_seen_twice(name: str) -> None:
    assert found_in(part_named(name))[-1] == ()


def test_the_fan_turns_about_the_middle_of_its_extents() -> None:
    families = found_in(part_named("fan_rotor_metres_ascii.stl"))[-1]
    fan = next(family for family in families if family.pattern == "polar")
    assert fan.centre_mm == pytest.approx((-3.0, 2.0, 0.0), abs=1e-3)


def test_teeth_of_the_ring_of_the_gears() -> None:
    # 22 by count on the picture, of which the wheels hide some in part
    families = found_in(part_named("gears.stl"))[-1]
    assert max(family.copies for family in families if family.pattern == "polar") in range(17, 23)


def test_the_four_blades_of_the_propeller_are_not_alike() -> None:
    """Their facets differ by more than copies may: turned onto each other, only two lie within the tolerance."""
    mesh, _, _, tolerance, _ = found_in(part_named("propeller_ascii.stl"))
    solid = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    middle = mesh.middle
    upper = (mesh.normal[:, 2] > 0.1) & (np.hypot(middle[:, 0], middle[:, 1]) > 80)
    azimuth = np.degrees(np.arctan2(middle[:, 1], middle[:, 0]))
    farthest = np.zeros((4, 4))
    for one in range(4):
        on_blade = upper & (np.abs((azimuth - 90 * one + 180) % 360 - 180) < 45)
        points = middle[on_blade]
        for other in range(4):
            moved = Rotation.from_euler("z", 90 * (other - one), degrees=True).apply(points)
            farthest[one, other] = trimesh.proximity.closest_point(solid, moved)[1].max()
    alike = np.maximum(farthest, farthest.T) <= tolerance
    assert alike.sum() == 6  # each with itself, and one pair
    assert np.maximum(farthest, farthest.T)[~alike].min() > 5 * tolerance
