"""The outlines of a plan folder, read back as other programs would: against the facets, closed forms and plan.json."""

from __future__ import annotations

import json
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import solids

import advisor
from advisor import tolerances
from advisor.kernels.loops import border_half_edges
from advisor.model import Plan
from advisor.pack.folder import write_plan_folder
from advisor.part.mesh import Mesh, half_edge_ends

Arrays = dict[str, np.ndarray]
JOINTS = {0: "tangent", 1: "inside corner", 2: "outside corner"}
DEVIATION_MM = tolerances.OUTLINE_DEVIATION_MM
# A pocket 20 wide in radius with a floor fillet of 6: its floor is a plane, its fillet a torus, its wall a cylinder.
POCKET = {"zones": {"keep_together": False}, "stage": [{"name": "finish", "stepover": "0.5 mm"}]}


def planned(folder: Path, mesh: solids.Mesh, job: dict[str, Any], **options: Any) -> tuple[Plan, Arrays]:
    """A plan, and its outlines as they lie in its folder."""
    folder.mkdir(exist_ok=True)
    part = folder / "part.stl"
    part.write_bytes(solids.to_stl_bytes(*mesh))
    plan = advisor.plan(part, job, ball="6 mm", **options, lays_passes=False)
    write_plan_folder(plan, folder / "plan", pictures=False)
    return plan, read(folder / "plan")


def read(folder: Path) -> Arrays:
    with np.load(folder / "outlines.npz", allow_pickle=False) as file:
        return {name: file[name] for name in file.files}


@pytest.fixture(scope="module")
def pocket(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Arrays]:
    return planned(tmp_path_factory.mktemp("pocket"), solids.round_pocket(), POCKET)


@pytest.fixture(scope="module")
def wave(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Arrays]:
    return planned(tmp_path_factory.mktemp("wave"), solids.wave(), POCKET)


def loops(arrays: Arrays, kind: str, zone: int | None = None) -> list[int]:
    chosen = arrays["kind"] == kind
    return np.flatnonzero(chosen if zone is None else chosen & (arrays["zone"] == zone)).tolist()


def points(arrays: Arrays, loop: int, name: str = "points") -> np.ndarray:
    return arrays[name][arrays["starts"][loop] : arrays["starts"][loop + 1]]


def lengths(arrays: Arrays, loop: int) -> np.ndarray:
    at = points(arrays, loop)
    return np.linalg.norm(np.roll(at, -1, axis=0) - at, axis=1)


def test_arrays_are_as_documented(pocket: tuple[Plan, Arrays]) -> None:
    _, arrays = pocket
    assert set(arrays) == {"points", "starts", "zone", "kind", "is_hole", "neighbour", "joint"}
    assert arrays["points"].dtype == np.float64 and arrays["points"].shape[1] == 3
    assert arrays["kind"].dtype.kind == "U" and set(arrays["kind"]) == {"boundary", "overlap"}
    assert arrays["is_hole"].dtype == np.bool_
    assert all(arrays[name].dtype.kind == "i" for name in ("starts", "zone", "neighbour", "joint"))
    count = len(arrays["starts"]) - 1
    assert {len(arrays[name]) for name in ("zone", "kind", "is_hole")} == {count}
    assert {len(arrays[name]) for name in ("neighbour", "joint")} == {len(arrays["points"])}
    assert arrays["starts"][0] == 0 and arrays["starts"][-1] == len(arrays["points"])
    assert (np.diff(arrays["starts"]) >= 3).all()
    for loop in range(count):
        assert lengths(arrays, loop).min() > 0, "no point comes twice: the last one joins the first"


@pytest.mark.parametrize("part", ["pocket", "wave"])
def test_boundaries_keep_to_the_facets_of_their_zones(part: str, request: pytest.FixtureRequest) -> None:
    plan, arrays = request.getfixturevalue(part)
    mesh = Mesh(plan.facets.vertices, plan.facets.faces)
    border = border_half_edges(mesh.faces, mesh.twins, plan.facets.zone.copy())
    for zone in plan.zones:
        rim = half_edge_ends(mesh.faces, np.flatnonzero(border & np.repeat(plan.facets.zone == zone.id, 3)))
        worst = 0.0
        for loop in loops(arrays, "boundary", zone.id):
            worst = max(worst, *(distance(point, mesh.vertices[rim]) for point in points(arrays, loop)))
        assert zone.outline is not None
        assert worst * 1000 <= zone.outline.deviation_um + 1e-3 <= DEVIATION_MM * 1000 + 2e-3


def distance(point: np.ndarray, segments: np.ndarray) -> float:
    """From a point to the nearest of segments (k, 2, 3), the slow and obvious way."""
    a, way = segments[:, 0], segments[:, 1] - segments[:, 0]
    share = np.clip(np.einsum("ij,ij->i", point - a, way) / np.einsum("ij,ij->i", way, way), 0.0, 1.0)
    return float(np.linalg.norm(point - a - share[:, None] * way, axis=1).min())


def test_outer_loops_and_holes_enclose_the_area_of_level_zones(pocket: tuple[Plan, Arrays]) -> None:
    plan, arrays = pocket
    level = [zone for zone in plan.zones if zone.slope_deg.max < 1e-3]
    assert len(level) == 2, "floor and land"
    for zone in level:
        rings = [points(arrays, loop)[:, :2] for loop in loops(arrays, "boundary", zone.id)]
        holes = [arrays["is_hole"][loop] for loop in loops(arrays, "boundary", zone.id)]
        assert holes == sorted(holes) and not holes[0]
        polygon = shapely.Polygon(rings[0], rings[1:])
        assert polygon.is_valid
        assert zone.outline is not None
        assert polygon.area == pytest.approx(zone.area_mm2, abs=DEVIATION_MM * zone.outline.length_mm)
        assert polygon.length == pytest.approx(zone.outline.length_mm, rel=1e-9)
        assert (zone.outline.loops, zone.outline.holes) == (len(rings), sum(holes))


def test_a_floor_runs_out_over_its_fillet_by_the_overlap(pocket: tuple[Plan, Arrays]) -> None:
    plan, arrays = pocket
    (floor,) = (zone for zone in plan.zones if zone.shape == "floor")
    assert floor.outline is not None and floor.advice is not None
    assert floor.outline.overlap_mm == pytest.approx(2 * floor.advice.stepover_mm)  # type: ignore[operator]
    # along the quarter of the torus: the arc from the bottom is the way along the surface
    (loop,) = loops(arrays, "overlap", floor.id)
    found = points(arrays, loop)
    out, up = np.hypot(found[:, 0], found[:, 1]) - 14.0, 16.0 - found[:, 2]
    np.testing.assert_allclose(np.hypot(out, up), 6.0, atol=0.02 + DEVIATION_MM)
    np.testing.assert_allclose(6.0 * np.arctan2(out, up), floor.outline.overlap_mm, atol=0.03)
    # and back: the fillet runs in over the plane
    (fillet,) = (zone for zone in plan.zones if 5 < zone.slope_deg.mean < 45 and zone.shape != "wall")
    pushed = [points(arrays, loop) for loop in loops(arrays, "overlap", fillet.id)]
    (inner,) = (loop for loop in pushed if np.allclose(loop[:, 2], 10.0))
    assert fillet.outline is not None and fillet.outline.overlap_mm is not None
    np.testing.assert_allclose(np.hypot(*inner[:, :2].T), 14.0 - fillet.outline.overlap_mm, atol=0.03)


def test_passes_run_out_over_a_cylinder_by_the_overlap(tmp_path: Path) -> None:
    """Lines along X part the top of a half round from its steep sides, which are one zone with the ends."""
    plan, arrays = planned(tmp_path, solids.half_cylinder(15.0, 40.0, 0.01), POCKET)
    top = next(zone for zone in plan.zones if zone.surface is not None and zone.surface.kind == "cylinder")
    sides = next(zone for zone in plan.zones if zone.slope_class == "steep")
    corners = plan.facets.vertices[plan.facets.faces[plan.facets.zone == top.id]].reshape(-1, 3)
    border = np.abs(np.arctan2(corners[:, 1], corners[:, 2])).max()
    for zone, outward in ((top, 1.0), (sides, -1.0)):
        assert zone.outline is not None and zone.outline.overlap_mm is not None
        lines = 0
        for loop in loops(arrays, "overlap", zone.id):
            at = points(arrays, loop)
            runs = (np.abs(np.roll(at[:, 0], -1) - at[:, 0]) > 30.0) & (points(arrays, loop, "joint") == 0)
            on_round = np.abs(at[:, 2]) > 1e-6
            np.testing.assert_allclose(np.hypot(*at[on_round, 1:].T), 15.0, atol=0.01 + DEVIATION_MM)
            beyond = 15.0 * outward * (np.abs(np.arctan2(at[:, 1], at[:, 2])) - border)
            np.testing.assert_allclose(beyond[runs], zone.outline.overlap_mm, atol=0.02)
            lines += int(runs.sum())
        assert lines == 2


@pytest.mark.parametrize("part", ["pocket", "wave"])
def test_neighbours_of_the_record_lie_along_the_loops(part: str, request: pytest.FixtureRequest) -> None:
    plan, arrays = request.getfixturevalue(part)
    found: dict[tuple[int, int, str], float] = defaultdict(float)
    for loop in loops(arrays, "boundary"):
        rows = zip(points(arrays, loop, "neighbour"), points(arrays, loop, "joint"), lengths(arrays, loop), strict=True)
        for other, joint, length in rows:
            assert (other == 0) == (joint == -1)
            if other > 0:
                found[int(arrays["zone"][loop]), int(other), JOINTS[int(joint)]] += float(length)
    told = {(zone.id, near.zone, near.joint): near.length_mm for zone in plan.zones for near in zone.neighbours}
    assert set(found) == set(told)
    for key, length in told.items():
        assert found[key] == pytest.approx(length, rel=0.01, abs=2 * DEVIATION_MM), key


def test_an_open_sheet_has_rims(tmp_path: Path) -> None:
    vertices = np.array([[0.0, 0, 0], [40, 0, 0], [40, 30, 0], [0, 30, 0]])
    plan, arrays = planned(tmp_path, (vertices, np.array([[0, 1, 2], [0, 2, 3]])), POCKET)
    assert len(plan.zones) == 1
    assert arrays["kind"].tolist() == ["boundary", "overlap"]
    assert set(arrays["neighbour"]) == {0} and set(arrays["joint"]) == {-1}
    assert lengths(arrays, 0).sum() == pytest.approx(140.0) == lengths(arrays, 1).sum(), "nothing to run out over"


def test_what_the_job_leaves_out_or_protects_is_not_run_over(tmp_path: Path) -> None:
    at_fillet = [14.0 + 6 * np.sin(np.radians(25.0)), 0.0, 10 + 6 * (1 - np.cos(np.radians(25.0)))]
    for wish in ("exclude", "protect"):
        job = {**POCKET, "zone": [{"at": at_fillet, wish: True}]}
        plan, arrays = planned(tmp_path / wish, solids.round_pocket(), job)
        (floor,) = (zone for zone in plan.zones if zone.shape == "floor")
        (loop,), (pushed,) = loops(arrays, "boundary", floor.id), loops(arrays, "overlap", floor.id)
        np.testing.assert_array_equal(points(arrays, loop), points(arrays, pushed))
        expected = {-1} if wish == "exclude" else {next(zone.id for zone in plan.zones if zone.is_protected)}
        assert set(points(arrays, loop, "neighbour")) == expected


def test_zones_alone_have_overlaps_where_the_stage_states_its_stepover(tmp_path: Path) -> None:
    by_step, by_cusp = POCKET, {**POCKET, "stage": [{"name": "finish", "cusp": "0.005 mm"}]}
    plan, arrays = planned(tmp_path / "step", solids.round_pocket(), by_step, only_zones=True)
    told = {zone.outline.overlap_mm for zone in plan.zones if zone.outline and zone.slope_class != "undercut"}
    assert told == {1.0}
    assert set(arrays["kind"]) == {"boundary", "overlap"}
    plan, arrays = planned(tmp_path / "cusp", solids.round_pocket(), by_cusp, only_zones=True)
    assert {zone.outline.overlap_mm for zone in plan.zones if zone.outline} == {None}
    assert set(arrays["kind"]) == {"boundary"}


def test_two_runs_and_another_order_of_facets_give_the_same_bytes(tmp_path: Path) -> None:
    mesh = solids.round_pocket(chord_error_mm=0.05)
    planned(tmp_path / "one", mesh, POCKET)
    planned(tmp_path / "two", mesh, POCKET)
    planned(tmp_path / "other", solids.permuted(*mesh, 7), POCKET)
    one, two, other = ((tmp_path / name / "plan" / "outlines.npz").read_bytes() for name in ("one", "two", "other"))
    assert one == two == other
    records = [json.loads((tmp_path / n / "plan" / "plan.json").read_text())["zones"] for n in ("one", "two", "other")]
    assert records[0] == records[1] == records[2]


# ---------------------------------------------------------------------------------------- surfaces


def test_zones_of_a_pocket_are_told_as_the_surfaces_they_are(pocket: tuple[Plan, Arrays]) -> None:
    plan, _ = pocket
    by_kind = defaultdict(list)
    for zone in plan.zones:
        if zone.surface is not None:
            by_kind[zone.surface.kind].append(zone.surface)
            assert zone.surface.rms_um <= zone.surface.tolerance_um
            assert zone.surface.max_um <= 4 * zone.surface.tolerance_um
    planes = {plane.point_mm[2] for plane in by_kind["plane"] if plane.axis == (0.0, 0.0, 1.0)}
    assert planes == {10.0, 25.0}
    (torus,) = by_kind["torus"]
    assert torus.is_hollow
    assert torus.radius_mm == pytest.approx(6.0, rel=0.005)
    assert torus.ring_radius_mm == pytest.approx(14.0, rel=0.002)
    assert torus.axis == pytest.approx((0.0, 0.0, 1.0), abs=1e-3)
    assert torus.point_mm == pytest.approx((0.0, 0.0, 16.0), abs=0.02)
    assert "cylinder" not in by_kind, "the wall with the steep half of its fillet is none"


def test_cylinder_cone_and_sphere_are_told(tmp_path: Path) -> None:
    for name, mesh, numbers in (
        ("cylinder", solids.cylinder(10.0, 30.0), {"radius_mm": 10.0}),
        ("cone", solids.cone(), {}),
        ("sphere", solids.hemisphere(25.0), {"radius_mm": 25.0}),
    ):
        plan, _ = planned(tmp_path / name, mesh, {"zones": {"keep_together": True}})
        told = [zone.surface for zone in plan.zones if zone.surface is not None and zone.surface.kind == name]
        assert told, name
        for surface in told:
            assert not surface.is_hollow
            for key, value in numbers.items():
                assert getattr(surface, key) == pytest.approx(value, rel=1e-3)
            if name != "sphere":
                assert surface.axis == pytest.approx((0.0, 0.0, 1.0), abs=1e-4)
            assert (surface.half_angle_deg is None) == (name != "cone")


def test_a_wave_is_no_simple_surface(wave: tuple[Plan, Arrays]) -> None:
    plan, _ = wave
    free = [zone for zone in plan.zones if zone.slope_class == "shallow"]
    assert free and all(zone.surface is None or zone.surface.kind != "plane" for zone in free)


def test_floors_are_told_to_lift_where_they_run_out(pocket: tuple[Plan, Arrays]) -> None:
    plan, _ = pocket
    for zone in plan.zones:
        assert zone.advice is not None
        lifts = any("lift its passes slightly" in why for why in zone.advice.why)
        assert lifts == (zone.shape == "floor")
