"""A part in several set-ups: every facet finished once, each along its own axis."""

from __future__ import annotations

from pathlib import Path

import manifold3d
import numpy as np
import pytest
from manifold3d import Manifold

import advisor
from advisor.advice.setups import plan_of_setup
from advisor.errors import InputError
from advisor.pack.folder import write_plan_folder
from advisor.part.heal import heal
from advisor.part.measured import MeasuredPart, measure_part


@pytest.fixture(scope="module")
def block() -> MeasuredPart:
    """Block with a pocket from above and one from below, foot fillets of 5 mm."""

    def pocket(x: float, sign: float) -> Manifold:
        foot = manifold3d.CrossSection.circle(5, 60).translate([5, 0])
        bits = []
        for cx in (x - 10, x + 10):
            for cy in (-10, 10):
                bits.append(Manifold.revolve(foot, 60).translate([cx, cy, 5]))
                bits.append(Manifold.cylinder(40, 10, 10, 60).translate([cx, cy, 5]))
        body = Manifold.batch_hull(bits)
        return body if sign > 0 else body.rotate([180, 0, 0])

    body = Manifold.cube([100, 60, 40]).translate([-50, -30, -20]) - pocket(25, 1) - pocket(-25, -1)
    mesh = body.to_mesh()
    healed = heal(np.asarray(mesh.vert_properties[:, :3], float), np.asarray(mesh.tri_verts), "part")
    return measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)


def test_two_pockets_from_two_sides_take_two_set_ups(block: MeasuredPart, tmp_path: Path) -> None:
    plan = advisor.plan(block, job={"setups": "fewest"}, ball="8 mm")
    axes = [setup.tool_axis for setup in plan.record.setups]
    assert axes[0] == (0.0, 0.0, 1.0)
    assert len(axes) == 2 and axes[1] == pytest.approx((0, 0, -1))
    assert sum(zone.shape == "pocket" for zone in plan.zones if zone.setup == 0) == 1
    assert sum(zone.shape == "pocket" for zone in plan.zones if zone.setup == 1) == 1
    assert [zone.id for zone in plan.zones] == list(range(1, len(plan.zones) + 1))
    assert plan.record.totals.area_mm2 == pytest.approx(block.record.area_mm2, rel=1e-9)
    reached = [setup.reached_share for setup in plan.record.setups]
    assert sum(share or 0 for share in reached) == pytest.approx(1.0, abs=0.01)
    folder = write_plan_folder(plan, tmp_path / "plan")
    assert {path.name for path in folder.glob("*.png")} == {"zone_map.png", "zone_map_2.png"}
    with np.load(folder / "outlines.npz", allow_pickle=False) as outlines:
        assert set(outlines["zone"]) <= {zone.id for zone in plan.zones}
        assert outlines["starts"][-1] == len(outlines["points"])


def test_named_set_ups_are_taken_as_they_are(block: MeasuredPart) -> None:
    plan = advisor.plan(block, job={"setups": ["+Z", "-Z", "+X"]}, ball="8 mm", only_zones=True)
    assert len(plan.record.setups) in (2, 3)  # a set-up on which nothing stays is none
    second = plan_of_setup(plan, 1)
    assert {zone.setup for zone in second.zones} == {1}
    assert set(np.unique(second.facets.zone)) == {-1, *(zone.id for zone in second.zones)}
    corners = plan.facets.vertices[plan.facets.faces]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum() / 2
    assert area == pytest.approx(block.record.area_mm2, rel=1e-9)
    one = advisor.plan(block, ball="8 mm", only_zones=True)
    assert len(one.record.setups) == 1


def test_a_set_up_that_is_no_direction_is_told(block: MeasuredPart) -> None:
    with pytest.raises(InputError, match="is not a direction"):
        advisor.plan(block, job={"setups": ["up"]})
