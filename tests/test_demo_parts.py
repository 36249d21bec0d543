"""The demo parts: whole, as their table of truths says, and zoned as they were drawn."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

import advisor
from advisor.model import Plan, Zone

MESHES = Path(__file__).resolve().parents[1] / "meshes"
TRUTH = json.loads((MESHES / "truth.json").read_text())
NAMES = sorted(TRUTH)


@pytest.fixture(scope="module")
def plans() -> dict[str, Plan]:
    return {name: advisor.plan(MESHES / f"{name}.stl", ball="6 mm") for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
def test_part_is_whole_and_small(name: str, plans: dict[str, Plan]) -> None:
    part = plans[name].record.part
    assert part.watertight and part.bodies == 1 and part.repairs == ()
    assert (MESHES / f"{name}.stl").stat().st_size < 2_000_000


def equal_groups(plan: Plan, slope_class: str, at_least_mm2: float) -> Counter[float]:
    """How many zones of a class share an area (to 0.1 %)."""
    areas = [z.area_mm2 for z in plan.zones if z.slope_class == slope_class and z.area_mm2 > at_least_mm2]
    return Counter(round(float(np.log(area)), 2) for area in areas)


def test_five_pockets_of_the_fruit_cup_tool_are_alike(plans: dict[str, Plan]) -> None:
    plan, truth = plans["fruit_cup_tool"], TRUTH["fruit_cup_tool"]
    for slope_class in ("steep", "shallow", "flat"):
        assert truth["pockets"] in equal_groups(plan, slope_class, 200).values(), slope_class
    walls = [z for z in plan.zones if abs(z.slope_deg.max - (90 - truth["pocket_draft_deg"])) < 0.1]
    assert len(walls) >= truth["pockets"], "draft walls lean as drawn"
    land = next(z for z in plan.zones if z.slope_class == "flat" and abs(z.z_mm.max - truth["land_z_mm"]) < 1e-3)
    assert land.name == "Floor Z 52"


def test_twelve_cups_of_the_egg_tray_tool_are_alike(plans: dict[str, Plan]) -> None:
    plan, (columns, rows) = plans["egg_tray_tool"], TRUTH["egg_tray_tool"]["cups"]
    for slope_class in ("steep", "shallow", "flat"):
        assert columns * rows in equal_groups(plan, slope_class, 100).values(), slope_class


def test_undercut_of_the_bottle_mould_is_found(plans: dict[str, Plan]) -> None:
    """The clamp slots' upper faces: 3548.2 mm2 from closed form; with the base plate, which faces down too."""
    plan, truth = plans["bottle_shoulder_mould"], TRUTH["bottle_shoulder_mould"]
    base = truth["size_mm"][0] * truth["size_mm"][1]
    undercut: list[Zone] = [z for z in plan.zones if z.slope_class == "undercut"]
    hidden = sum(z.area_mm2 for z in undercut) - base
    # the slots' fillets turn from wall to underside: the degree within which a wall is a wall goes to the wall
    assert hidden == pytest.approx(truth["slot_undercut_area_mm2"], rel=0.01)
    assert not any(zone.advice and zone.advice.usable for zone in undercut)


def test_committed_parts_are_what_the_script_makes() -> None:
    shapely = pytest.importorskip("shapely")
    if tuple(int(n) for n in shapely.__version__.split(".")[:2]) < (2, 1):
        pytest.skip("the script needs shapely 2.1 or newer")
    import sys

    sys.path.insert(0, str(MESHES))
    try:
        from make_demo_parts import demo_parts
    finally:
        sys.path.remove(str(MESHES))
    for name, data in demo_parts().items():
        kept = (MESHES / name).read_bytes()
        assert len(data) == len(kept), name
        if not name.endswith(".stl"):
            assert data == kept, name
            continue
        # trigonometry may differ in its last bit from machine to machine: allow that much, no more
        facet = np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
        one, other = (np.frombuffer(d, facet, offset=84)["v"] for d in (data, kept))
        np.testing.assert_allclose(one, other, atol=1e-4)
