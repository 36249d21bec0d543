"""Third-party parts: what is called a copy lies where its model is carried to, by another library's measure."""

from __future__ import annotations

from pathlib import Path

import conftest
import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

import advisor
from advisor.errors import InputError
from advisor.model import SLOPE_CLASSES
from advisor.part.mesh import Mesh
from advisor.zones.repeats import Family, find_repeats, repeat_tolerance_mm

PARTS = sorted(conftest.REAL_PARTS.iterdir()) if conftest.REAL_PARTS.is_dir() else []
pytestmark = pytest.mark.skipif(not PARTS, reason=f"no third-party parts in {conftest.REAL_PARTS}")

# These are large, or have hundreds of zones and no repeats; one of a kind is enough.
TOO_SLOW = {"fandisk_subdivided_507k.ply", "link_rods_fine_500k.ply", "turbine_blade_scan.ply"}
_POINTS = 100


def found_in(path: Path) -> tuple[Mesh, np.ndarray, np.ndarray, float, tuple[Family, ...]]:
    plan = advisor.plan(path, only_zones=True)
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


def best(name: str, pattern: str) -> Family:
    """The family of a pattern with most copies."""
    families = found_in(conftest.REAL_PARTS / name)[-1]
    return max((family for family in families if family.pattern == pattern), key=lambda family: family.copies)


def test_blades_of_the_fan() -> None:
    fan = best("fan_rotor_metres_ascii.stl", "polar")
    assert (fan.copies, fan.pitch_deg) == (4, pytest.approx(90.0, abs=0.01))
    assert fan.centre_mm == pytest.approx((-3.0, 2.0, 0.0), abs=1e-3)  # the middle of the file's extents


def test_teeth_of_the_gears() -> None:
    # by count on the picture: a wheel of 8 teeth within 5 of 7, and a ring of 22
    assert best("gears.stl", "polar").copies > 8
    assert best("gears.stl", "free").copies in (5, 35)
