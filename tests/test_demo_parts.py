"""The demo parts: whole, as their table of truths says, and zoned as they were drawn."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import advisor
from advisor.model import Plan, Repeats, Zone

MESHES = Path(__file__).resolve().parents[1] / "meshes"
TRUTH = json.loads((MESHES / "truth.json").read_text())
NAMES = sorted(TRUTH)


@pytest.fixture(scope="module")
def plans() -> dict[str, Plan]:
    return {name: advisor.plan(MESHES / f"{name}.stl", ball="6 mm", lays_passes=False) for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
def test_part_is_whole_and_small(name: str, plans: dict[str, Plan]) -> None:
    part = plans[name].record.part
    assert part.watertight and part.bodies == 1 and part.repairs == ()
    assert (MESHES / f"{name}.stl").stat().st_size < 2_000_000


CLASSES = ("flat", "shallow", "steep")


def pockets_of(plan: Plan, how_many: int) -> list[Zone]:
    """The pockets: each floor, fillet, wall and rim round in one zone, and all of one size and shape."""
    pockets = [zone for zone in plan.zones if zone.shape == "pocket"]
    assert len(pockets) == how_many
    for name in CLASSES:
        areas = [getattr(zone.class_area_mm2, name) for zone in pockets]
        assert min(areas) > 100 and np.ptp(areas) < 0.005 * max(areas), name
    assert all(zone.is_closed and zone.class_area_mm2.undercut == 0.0 for zone in pockets)
    assert {zone.advice.strategy for zone in pockets if zone.advice} == {"constant_cusp"}
    assert all(zone.trade and zone.trade.split_path_mm > zone.trade.whole_path_mm for zone in pockets)
    return pockets


def repeats_of(pockets: list[Zone], pattern: str) -> list[Repeats]:
    """How each pocket lies to the first, which is the one to program."""
    told = [zone.repeats for zone in pockets if zone.repeats is not None]
    assert len(told) == len(pockets) and len({one.group for one in told}) == 1
    assert {(one.of, one.model, one.pattern, one.is_mirrored) for one in told} == {
        (len(pockets), pockets[0].id, pattern, False)
    }
    return told


def test_five_pockets_of_the_fruit_cup_tool_are_alike(plans: dict[str, Plan]) -> None:
    plan, truth = plans["fruit_cup_tool"], TRUTH["fruit_cup_tool"]
    pockets = pockets_of(plan, truth["pockets"])
    turns = sorted(one.turn_deg % 360 for one in repeats_of(pockets, "polar"))
    assert np.allclose(turns, [truth["turn_deg"] * k for k in range(truth["pockets"])], atol=1e-3)
    assert all(abs(zone.slope_deg.max - (90 - truth["pocket_draft_deg"])) < 0.1 for zone in pockets), "as drawn"
    assert all(abs(zone.z_mm.min - (truth["land_z_mm"] - truth["pocket_depth_mm"])) < 1e-3 for zone in pockets)
    land = next(z for z in plan.zones if z.slope_class == "flat" and abs(z.z_mm.max - truth["land_z_mm"]) < 1e-3)
    assert (land.name, land.shape) == ("Land Z 52", "land")
    (bowl,) = (zone for zone in plan.zones if zone.shape == "bowl")
    assert bowl.slope_deg.max == pytest.approx(truth["bowl_steepest_deg"], abs=0.5)


def test_twelve_cups_of_the_egg_tray_tool_are_alike(plans: dict[str, Plan]) -> None:
    plan, truth = plans["egg_tray_tool"], TRUTH["egg_tray_tool"]
    columns, rows = truth["cups"]
    pockets = pockets_of(plan, columns * rows)
    told = repeats_of(pockets, "grid")
    steps = np.array([one.shift_mm for one in told]) / truth["pitch_mm"]
    grid = {(column, row, 0) for column in range(columns) for row in range(rows)}
    assert {tuple(step) for step in np.rint(steps).astype(int).tolist()} == grid
    assert np.abs(steps - np.rint(steps)).max() < 1e-4 and all(one.turn_deg == 0.0 for one in told)
    assert all(abs(zone.slope_deg.max - (90 - truth["cup_draft_deg"])) < 0.1 for zone in pockets), "as drawn"


def test_undercut_of_the_bottle_mould_is_found(plans: dict[str, Plan]) -> None:
    """The clamp slots' upper faces: 3548.2 mm2 from closed form, the rest of each slot hidden under them."""
    plan, truth = plans["bottle_shoulder_mould"], TRUTH["bottle_shoulder_mould"]
    base = truth["size_mm"][0] * truth["size_mm"][1]
    undercut: list[Zone] = [z for z in plan.zones if z.slope_class == "undercut"]
    corners = plan.facets.vertices[plan.facets.faces]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    # the slots' fillets turn from wall to underside: the degree within which a wall is a wall is not counted
    overhanging = area[plan.facets.slope_deg > 91].sum() - base
    assert overhanging == pytest.approx(truth["slot_undercut_area_mm2"], rel=0.01)
    assert sorted(z.name[:9] for z in undercut) == ["Hidden Z ", "Hidden Z ", "Underside"]
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
