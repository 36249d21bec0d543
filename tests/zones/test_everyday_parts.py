"""Plain milled parts, cut up as a modeller's triangulation does: what a zone is must not hang on that."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from asked_for import few_of, more
from labelled_parts import bowl_plate, terrace_block
from manifold3d import Manifold
from solids import refined, with_noise

import advisor
from advisor.part.heal import heal
from advisor.part.measured import MeasuredPart, measure_part


def part_of(vertices: np.ndarray, faces: np.ndarray) -> MeasuredPart:
    healed = heal(vertices, faces, "part")
    return measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)


def solid(body: Manifold) -> MeasuredPart:
    mesh = body.to_mesh()
    return part_of(np.asarray(mesh.vert_properties[:, :3], float), np.asarray(mesh.tri_verts))


def block(x: float = 120.0, y: float = 80.0, z: float = 30.0) -> Manifold:
    return Manifold.cube([x, y, z]).translate([-x / 2, -y / 2, 0])


def pin(x: float, y: float, low: float, high: float, r: float, top_r: float | None = None, sides: int = 96) -> Manifold:
    return Manifold.cylinder(high - low, r, r if top_r is None else top_r, sides).translate([x, y, low])


def pocket(
    half_x: float, half_y: float, low: float, corner: float, fillet: float, sides: int, x: float = 0, y: float = 0
) -> Manifold:
    """What a pocket takes out: upright corners of `corner`, a foot of `fillet`, open at the top.

    The hull folds facets over at some numbers of sides; such meshes are not used.
    """
    bits = []
    foot = manifold3d.CrossSection.circle(fillet, sides).translate([corner - fillet, 0])
    for cx in (x - half_x + corner, x + half_x - corner):
        for cy in (y - half_y + corner, y + half_y - corner):
            bits.append(Manifold.revolve(foot, sides).translate([cx, cy, low + fillet]))
            bits.append(pin(cx, cy, low + fillet, 90, corner, sides=sides))
    return Manifold.batch_hull(bits)


def shapes(plan: advisor.Plan) -> list[str]:
    return sorted(zone.shape for zone in plan.zones if zone.slope_class != "undercut")


@pytest.mark.parametrize(("fillet_mm", "ball"), [(6.0, "10 mm"), (5.0, "10 mm"), (3.0, "6 mm")])
@pytest.mark.parametrize("sides", [60, 72, 84, 108, 120, 144])
def test_a_pocket_is_a_pocket_however_its_fillets_are_cut_up(fillet_mm: float, ball: str, sides: int) -> None:
    plan = advisor.plan(solid(block() - pocket(30, 20, 15, 10, fillet_mm, sides)), only_zones=True, ball=ball)
    assert shapes(plan) == ["land", "pocket", "wall"]
    (told,) = [zone.concave_radius_mm for zone in plan.zones if zone.shape == "pocket"]
    assert told == pytest.approx(fillet_mm, rel=0.05)


@pytest.mark.parametrize("fillet_mm", [4.5, 4.55, 4.63, 4.65, 4.7, 4.8, 5.0, 5.5])
def test_a_fillet_is_tight_all_round_or_not_at_all(fillet_mm: float) -> None:
    plan = advisor.plan(solid(block() - pocket(30, 20, 15, 10, fillet_mm, 84)), only_zones=True, ball="10 mm")
    as_one, apart = ["land", "pocket", "wall"], ["fillet", "floor", "land", "wall", "wall"]
    assert shapes(plan) in (as_one, apart)
    assert fillet_mm > 4.62 or shapes(plan) == apart


@pytest.mark.parametrize(("chamfer_mm", "sides"), [(1.0, 96), (3.0, 160), (5.0, 32)])
def test_a_chamfer_is_a_slope_of_45_deg_beside_a_wall_of_the_bore(chamfer_mm: float, sides: int) -> None:
    bore = pin(0, 0, -1, 31, 10, sides=sides) + pin(0, 0, 30 - chamfer_mm, 31, 10, 11 + chamfer_mm, sides)
    plan = advisor.plan(solid(block() - bore), only_zones=True, ball="10 mm")
    (cone,) = [zone for zone in plan.zones if zone.shape == "slope"]
    assert cone.slope_deg.p05 == pytest.approx(45, abs=0.2) and cone.slope_deg.p95 == pytest.approx(45, abs=0.2)
    radii = [zone.concave_radius_mm for zone in plan.zones if zone.shape == "wall" and zone.concave_radius_mm]
    assert radii == [pytest.approx(10, rel=0.01)]


def test_small_pockets_of_a_large_plate_are_no_small_features() -> None:
    plate = block(600, 400, 30)
    for x in (-100, -50, 0):
        plate = plate - pocket(6, 6, 18, 4, 3.5, 48, x, -50)
        plate = plate + pin(x, 60, 30, 50, 6)
    plan = advisor.plan(solid(plate), only_zones=True, ball="6 mm")
    assert shapes(plan) == ["land"] * 4 + ["pocket"] * 3 + ["wall"] * 4


@pytest.mark.parametrize("holes_mm", [0.0, 5.0, 8.0])
def test_the_ball_is_chosen_for_fillets_not_for_holes(holes_mm: float) -> None:
    body = block(160, 120, 40) - pocket(50, 35, 20, 12, 5, 96)
    for x in (-70, 70):
        for y in (-50, 50):
            body = body - pin(x, y, -1, 41, holes_mm / 2) if holes_mm else body
    assert advisor.plan(solid(body), only_zones=True).record.tools[0].diameter_mm == 10.0


def test_a_floor_out_of_level_is_still_a_floor() -> None:
    level = block() - pocket(30, 20, 15, 10, 6, 84)
    for lean_deg in (0.49, 0.5, 0.51, 0.9):
        plan = advisor.plan(solid(level.rotate([lean_deg, 0, 0])), only_zones=True, ball="10 mm")
        assert shapes(plan) == ["land", "pocket", "wall"], lean_deg


@pytest.mark.parametrize("share", [0.01, more(0.002)])
def test_a_little_noise_changes_no_zone(share: float) -> None:
    for make in few_of((bowl_plate,), (terrace_block, bowl_plate)):
        part = make(0.05)
        vertices, faces = refined(part.vertices, part.faces, 2.5)
        clean = advisor.plan(part_of(part.vertices, part.faces), only_zones=True, ball=f"{part.ball_mm} mm")
        noisy = advisor.plan(
            part_of(*with_noise(vertices, faces, share, 1)), only_zones=True, ball=f"{part.ball_mm} mm"
        )
        areas = [sorted(zone.area_mm2 for zone in plan.zones) for plan in (clean, noisy)]
        assert len(areas[0]) == len(areas[1]), part.name
        # a line between a ramp and its round moves by half a millimetre
        np.testing.assert_allclose(areas[1], areas[0], rtol=0.02, atol=40)
