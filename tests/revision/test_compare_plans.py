"""Two plans beside each other: moves are found, changes have the size they were given, and nothing else is told."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import solids
from hypothesis import given, settings
from hypothesis import strategies as st

import advisor
from advisor.part.mesh import Mesh
from advisor.revision.compare import compare_plans
from advisor.revision.motion import STILL, Motion, turn_matrix
from advisor.revision.registration import mirror_share, register
from advisor.revision.side import CompareSide
from advisor.revision.surface_change import outward_at
from advisor.revision.surface_tree import nearest_on, surface_tree

MEASURES = {"depth_mm": 12.0}


def stepped() -> Mesh:
    """A small part without any symmetry: a wedge with a tall corner."""
    section = np.array([(-20.0, 0.0), (30.0, 0.0), (30.0, 8.0), (5.0, 14.0), (-20.0, 25.0)])
    vertices, faces = solids.extruded(section, 36.0, "x")
    vertices = vertices.copy()
    vertices[(vertices[:, 0] > 0) & (vertices[:, 2] > 20)] += [0.0, 3.0, 6.0]
    return Mesh(vertices, faces)


def side(mesh: Mesh) -> CompareSide:
    return CompareSide(mesh, np.ones(len(mesh.faces), np.int32))


directions = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda way: math.hypot(*way) > 0.1)
shifts = st.tuples(*[st.floats(-300, 300)] * 3)


@settings(max_examples=8)
@given(directions, st.floats(0, 180), shifts)
def test_a_moved_copy_is_found_where_it_was_moved_to(way, turn_deg, shift) -> None:
    mesh = stepped()
    move = Motion(turn_matrix(np.array(way) / np.linalg.norm(way), turn_deg), np.array(shift))
    a = side(mesh)
    found = register(a, a.moved(move), 1e-3)
    assert found.unchanged_share == 1.0
    assert np.abs(found.motion(mesh.vertices) - move(mesh.vertices)).max() < 1e-6
    assert np.linalg.det(found.motion.matrix) == pytest.approx(1.0)


@settings(max_examples=20)
@given(directions, st.floats(0.001, 179.999))
def test_turn_and_axis_give_the_matrix_back(way, turn_deg) -> None:
    matrix = turn_matrix(np.array(way) / np.linalg.norm(way), turn_deg)
    told = Motion(matrix, np.zeros(3))
    assert told.turn_deg == pytest.approx(turn_deg, abs=1e-6)
    assert np.abs(turn_matrix(told.axis, told.turn_deg) - matrix).max() < 1e-7
    assert Motion(turn_matrix(told.axis, 180.0), np.zeros(3)).turn_deg == pytest.approx(180.0)


def test_a_mirror_image_is_told_and_never_taken_for_a_move() -> None:
    a = side(stepped())
    b = a.mirrored()
    found = register(a, b, 1e-3)
    assert found.unchanged_share < 0.9
    assert np.linalg.det(found.motion.matrix) == pytest.approx(1.0)
    assert mirror_share(a, b, 1e-3, found.unchanged_share) == 1.0
    assert mirror_share(a, a, 1e-3, 1.0) is None


@given(st.integers(0, 2**31))
@settings(max_examples=10)
def test_the_nearest_facet_that_faces_alike_is_that_of_the_slow_twin(seed: int) -> None:
    random = np.random.default_rng(seed)
    mesh = Mesh(*solids.sphere(10.0, 0.5))
    points = random.uniform(-15, 15, (40, 3))
    ways = random.normal(size=(40, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    told = nearest_on(surface_tree(mesh), points, ways, 8.0, 0.4)
    for k in range(40):
        # by ever finer points of every facet that faces so: never nearer than the kernel, and as near in the end
        rows = np.flatnonzero(mesh.normal @ ways[k] >= 0.4)
        u = np.linspace(0, 1, 40)
        weights = np.array([(1 - x, x * (1 - y), x * y) for x in u for y in u])
        spread = np.einsum("wc,fcx->fwx", weights, mesh.vertices[mesh.faces[rows]]).reshape(-1, 3)
        slow = np.linalg.norm(spread - points[k], axis=1).min()
        if told.facet[k] < 0:
            assert slow > 8.0
        else:
            assert slow - 0.2 <= told.distance_mm[k] <= slow + 1e-9
            assert mesh.normal[told.facet[k]] @ ways[k] >= 0.4


def test_at_edges_and_corners_of_a_box_the_outward_direction_is_that_of_all_faces() -> None:
    section = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])
    mesh = Mesh(*solids.extruded(section, 2.0, "x"))
    tree = surface_tree(mesh)
    asked = np.array([(2.0, 2.0, 2.0), (2.0, 2.0, 0.3), (0.2, 0.3, 4.0), (-3.0, -2.0, 0.1)])
    near = nearest_on(tree, asked, asked)
    ways = outward_at(mesh, near.facet, asked - near.offset_mm)
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    expected = np.array([(1, 1, 1), (1, 1, 0), (0, 0, 1), (-1, -1, 0)], float)
    assert np.abs(ways - expected / np.linalg.norm(expected, axis=1, keepdims=True)).max() < 1e-9


# ------------------------------------------------------------------------------------------ whole plans


def plan_of(tmp_path, name: str, vertices, faces, **options):
    path = tmp_path / f"{name}.stl"
    path.write_bytes(solids.to_stl_bytes(np.asarray(vertices), faces))
    return advisor.plan(path, lays_passes=False, **{"ball": "6 mm", "material": "Ti-6Al-4V", **options})


@pytest.fixture(scope="module")
def pocket(tmp_path_factory):
    """A square block with a round pocket, and a maker of its revisions."""
    folder = tmp_path_factory.mktemp("pocket")

    def make(name: str, chord_error_mm: float = 0.01, move=STILL, **measures):
        vertices, faces = solids.round_pocket(chord_error_mm=chord_error_mm, block="square", **{**MEASURES, **measures})
        return plan_of(folder, name, move(vertices), faces)

    return make


def test_a_plan_beside_itself_tells_nothing(pocket) -> None:
    plan = pocket("a")
    told = compare_plans(plan, plan).record
    assert not told.is_changed and told.is_same_model
    assert not told.surface.places and not told.settings and not told.notes
    assert {zone.kind for zone in told.zones} == {"same"}
    assert told.totals.total_min.difference == 0.0


def test_another_export_and_another_place_are_no_change(pocket) -> None:
    move = Motion(turn_matrix(np.array([0.0, 0.0, 1.0]), 30.0), np.array([5.0, -80.0, 12.0]))
    told = compare_plans(pocket("a"), pocket("fine", 0.003, move)).record
    assert not told.is_changed and not told.surface.places
    assert {zone.kind for zone in told.zones} == {"same"}
    lying = told.registration
    assert lying.is_moved and lying.unchanged_share > 0.999
    # a square block fits itself at every quarter turn: the pocket's axis tells where it went
    assert lying.turn_deg % 90.0 == pytest.approx(30.0, abs=0.02) or lying.turn_deg % 90.0 == pytest.approx(
        60.0, abs=0.02
    )
    assert lying.shift_mm[2] == pytest.approx(12.0, abs=1e-2)


def test_a_deeper_pocket_is_the_one_zone_that_changed_by_as_much(pocket) -> None:
    before, after = pocket("a"), pocket("deep", depth_mm=13.0)
    told = compare_plans(before, after).record
    changed = [zone for zone in told.zones if zone.kind != "same"]
    assert told.is_changed and [zone.cause for zone in changed] == ["surface"]
    surface = told.surface
    assert len(surface.places) == 1
    assert surface.taken_mm == pytest.approx(1.0, rel=1e-3) and surface.added_mm == 0.0
    exact_a, exact_b = (solids.round_pocket_exact(block="square", **{**MEASURES, "depth_mm": d}) for d in (12.0, 13.0))
    assert surface.volume_mm3 == pytest.approx(exact_b.volume_mm3 - exact_a.volume_mm3, rel=0.01)
    # floor and fillet lie deeper: a disc, and a quarter of a tube led round a ring (Pappus)
    gone_mm2 = math.pi * 14.0**2 + 2 * math.pi * 6.0 * (14.0 * math.pi / 2 + 6.0)
    finer = compare_plans(before, after, tolerance_mm=0.001).record.surface
    assert finer.gone_mm2 == pytest.approx(gone_mm2, rel=0.02)
    # what is new over that is what the wall is longer by, to a third of a piece along the rim
    piece_mm = math.sqrt(exact_b.area_mm2 / 150_000)
    wall_mm2 = exact_b.area_mm2 - exact_a.area_mm2
    assert finer.new_mm2 - finer.gone_mm2 == pytest.approx(wall_mm2, abs=2 * math.pi * 20.0 * piece_mm / 3)
    zone = changed[0]
    assert zone.total_min_difference == pytest.approx(told.totals.total_min.difference, abs=1e-6)


def test_two_settings_differ_in_advice_alone_and_minutes_by_the_totals(tmp_path) -> None:
    shape = solids.round_pocket(block="square", **MEASURES)
    before = plan_of(tmp_path, "a", *shape, cusp="5 um")
    after = plan_of(tmp_path, "a", *shape, cusp="8 um")
    told = compare_plans(before, after).record
    assert told.is_changed and not told.surface.places
    assert {zone.cause for zone in told.zones} <= {"settings", None}
    assert any(field.name == "stepover_mm" and field.b > field.a for zone in told.zones for field in zone.fields)
    assert [(one.name, one.source_a) for one in told.settings] == [("stage 1", "option")]
    gap = after.record.totals.total_min - before.record.totals.total_min
    assert told.totals.total_min.difference == pytest.approx(gap)
    known = [zone.total_min_difference for zone in told.zones if zone.total_min_difference is not None]
    assert math.fsum(known) == pytest.approx(gap)


def test_numbers_of_zones_are_names_and_a_number_alone_is_no_change(pocket) -> None:
    plan = pocket("a")
    last = len(plan.zones) + 1
    zones = tuple(replace(zone, id=last - zone.id, neighbours=()) for zone in reversed(plan.zones))
    facets = replace(plan.facets, zone=(last - plan.facets.zone).astype(np.int32))
    told = compare_plans(plan, replace(plan, record=replace(plan.record, zones=zones), facets=facets)).record
    assert not told.is_changed
    assert [zone.zones_b[0] for zone in told.zones] == [last - zone.zones_a[0] for zone in told.zones]


def test_a_zone_cut_in_two_is_split_and_the_way_back_is_merged(pocket) -> None:
    plan = pocket("a")
    largest, fresh = plan.zones[0], len(plan.zones) + 1
    middle = plan.facets.vertices[plan.facets.faces].mean(axis=1)
    taken = (plan.facets.zone == largest.id) & (middle[:, 0] > 0)
    facets = replace(plan.facets, zone=np.where(taken, fresh, plan.facets.zone).astype(np.int32))
    zones = (*plan.zones, replace(largest, id=fresh))
    cut = replace(plan, record=replace(plan.record, zones=zones), facets=facets)
    there, back = compare_plans(plan, cut).record, compare_plans(cut, plan).record
    assert [(zone.zones_a, zone.zones_b) for zone in there.zones if zone.kind == "split"] == [
        ((largest.id,), (largest.id, fresh))
    ]
    assert [(zone.zones_a, zone.zones_b) for zone in back.zones if zone.kind == "merged"] == [
        ((largest.id, fresh), (largest.id,))
    ]
