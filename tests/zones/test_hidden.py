"""What the spindle cannot see is an undercut, whatever its slope."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from shapely.geometry import Polygon

import advisor
from advisor.zones.classes import STEEP, UNDERCUT


def _plan(tmp_path: Path, mesh: trimesh.Trimesh) -> advisor.Plan:
    file = tmp_path / "part.stl"
    mesh.export(file)
    return advisor.plan(file, unit="mm", only_zones=True)


def _slot(width_mm: float, neck_mm: float) -> trimesh.Trimesh:
    """Block with a slot along Y, `width_mm` wide below a neck of `neck_mm`: a T-slot where the neck is narrower."""
    half, foot = neck_mm / 2, width_mm / 2
    section = [(-40, 0), (40, 0), (40, 40), (half, 40), (half, 25), (foot, 25), (foot, 10), (-foot, 10), (-foot, 25),
               (-half, 25), (-half, 40), (-40, 40)]  # fmt: skip
    block = trimesh.creation.extrude_polygon(Polygon(section), 60)
    block.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    return block


@pytest.mark.parametrize(("neck_mm", "hidden_walls"), [(14.0, 2), (30.0, 0)])
def test_a_t_slot_hides_its_walls_and_a_plain_slot_hides_nothing(
    tmp_path: Path, neck_mm: float, hidden_walls: int
) -> None:
    plan = _plan(tmp_path, _slot(30.0, neck_mm))
    facets = plan.facets
    corners = facets.vertices[facets.faces]
    middle = corners.mean(axis=1)
    at_wall = (np.abs(np.abs(middle[:, 0]) - 15.0) < 1e-6) & (middle[:, 2] > 10) & (middle[:, 2] < 25)
    classes = set(facets.slope_class[at_wall].tolist())
    under = sum(zone.slope_class == "undercut" for zone in plan.zones)
    assert classes == ({UNDERCUT} if hidden_walls else {STEEP})
    assert under == 1 + hidden_walls
    # the slot's floor is seen in part: it is still a floor
    assert any(zone.shape == "floor" and abs(zone.z_mm.max - 10) < 1e-6 for zone in plan.zones)


def test_a_hole_from_the_side_is_one_undercut(tmp_path: Path) -> None:
    block = trimesh.creation.box((80, 60, 40))
    drill = trimesh.creation.cylinder(9, 30, sections=96)
    drill.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    drill.apply_translation((0, -20, 0))
    plan = _plan(tmp_path, block.difference(drill, engine="manifold"))
    assert sorted(zone.shape for zone in plan.zones) == ["land", "undercut", "undercut", "wall"]
