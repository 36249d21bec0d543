"""Fewest set-ups: parts whose answer is known, every choice against an integer program on the same reach."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import labelled_parts
import numpy as np
import pytest
import solids
import trimesh
from asked_for import few_of
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.spatial.transform import Rotation
from shapely.geometry import Polygon

from advisor import tolerances
from advisor.cutter import smallest_cover as module
from advisor.cutter.cutter import Cutter
from advisor.cutter.reach import reach_of
from advisor.cutter.setup_axes import CandidateAxes, candidate_axes
from advisor.cutter.setup_cover import SetupCover, setup_cover
from advisor.cutter.setup_reach import SetupReach, setup_reach
from advisor.cutter.smallest_cover import smallest_cover
from advisor.cutter.tool_body import tool_body
from advisor.job import Tool
from advisor.part.heal import heal
from advisor.part.mesh import Mesh
from advisor.part.plan_tree import plan_tree
from advisor.part.samples import even_samples
from advisor.part.smooth import smooth_surface

UP = np.array([0.0, 0.0, 1.0])
SPARE = tolerances.NEGLIGIBLE_SETUP_SHARE
SIX = np.array([[0, 0, 1], [0, 0, -1], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]], float)


@dataclass(frozen=True)
class Case:
    mesh: Mesh
    candidates: CandidateAxes
    reach: SetupReach
    cover: SetupCover


def healed(part: trimesh.Trimesh) -> Mesh:
    return heal(np.asarray(part.vertices, float), np.asarray(part.faces), "part").mesh


def solved(
    mesh: Mesh, ball_mm: float, axes: np.ndarray | None = None, up: np.ndarray = UP, frame: np.ndarray | None = None
) -> Case:
    smooth = smooth_surface(mesh)
    found = candidate_axes(mesh, smooth.is_plane, up, frame=frame)
    if axes is not None:
        found = CandidateAxes(axes, ("job",) * len(axes))
    body = tool_body(Tool(name="ball", diameter=ball_mm), 0.0)
    reach = setup_reach(mesh, body, Cutter(ball_mm, ball_mm / 2), found.axes, even_samples(mesh, 20_000), 0.02)
    return Case(mesh, found, reach, setup_cover(mesh, smooth.is_crease, smooth.is_plane, reach))


# ---------------------------------------------------------------------------------------- parts


def pocketed_cube(sides: int, depth_mm: float = 15.0, size_mm: float = 8.0) -> Mesh:
    """Cube of 50 with a narrow pocket in some of its sides, in the order of ``SIX``."""
    cube = trimesh.creation.box((50, 50, 50))
    for axis in SIX[:sides]:
        box = trimesh.creation.box(np.where(np.abs(axis) > 0, 2 * depth_mm, size_mm))
        box.apply_translation(25 * axis)
        cube = cube.difference(box, engine="manifold")
    return healed(cube)


def t_slot() -> Mesh:
    section = [(-40, 0), (40, 0), (40, 40), (7, 40), (7, 25), (15, 25), (15, 10), (-15, 10), (-15, 25), (-7, 25),
               (-7, 40), (-40, 40)]  # fmt: skip
    block = trimesh.creation.extrude_polygon(Polygon(section), 60)
    block.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    return healed(block)


def leaning_hole(tilt_deg: float = 40.0) -> Mesh:
    block = trimesh.creation.box((70, 50, 40))
    drill = trimesh.creation.cylinder(4, 60, sections=64)
    drill.apply_transform(trimesh.transformations.rotation_matrix(np.radians(tilt_deg), [0, 1, 0]))
    axis = np.array([np.sin(np.radians(tilt_deg)), 0, np.cos(np.radians(tilt_deg))])
    drill.apply_translation(np.array([0, 0, 20.0]) + 8 * axis)
    return healed(block.difference(drill, engine="manifold"))


def hollow_block() -> Mesh:
    """A block of 40 with a room of 20 inside that nothing leads to."""
    block = trimesh.creation.box((40, 40, 40)).difference(trimesh.creation.box((20, 20, 20)), engine="manifold")
    return healed(block)


def labelled(make: Callable[..., labelled_parts.LabelledPart]) -> Mesh:
    part = make(0.05)
    return heal(np.array(part.vertices), np.array(part.faces), part.name).mesh


def demo(name: str) -> Mesh:
    return healed(trimesh.load(Path(__file__).resolve().parents[2] / "meshes" / f"{name}.stl", force="mesh"))


PARTS: dict[str, tuple[Callable[[], Mesh], float]] = {
    "bottle_shoulder_mould": (lambda: demo("bottle_shoulder_mould"), 6.0),
    "egg_tray_tool": (lambda: demo("egg_tray_tool"), 8.0),
    "fruit_cup_tool": (lambda: demo("fruit_cup_tool"), 6.0),
    "paddle_blade": (lambda: demo("paddle_blade"), 4.0),
    "spool": (lambda: labelled(labelled_parts.spool), 6.0),
    "bend_block": (lambda: labelled(labelled_parts.bend_block), 6.0),
    "stair_block": (lambda: labelled(labelled_parts.stair_block), 6.0),
    "turned_steps": (lambda: labelled(labelled_parts.turned_steps), 6.0),
    "cube_3": (lambda: pocketed_cube(3), 4.0),
    "cube_wide_5": (lambda: pocketed_cube(5, 8.0, 26.0), 4.0),
    "t_slot": (t_slot, 6.0),
    "leaning_hole": (leaning_hole, 4.0),
}


def fewest(covered: np.ndarray, area: np.ndarray, spare: float, forced: tuple[int, ...] = ()) -> int:
    """An integer program: a set or leave for every row, leaves no heavier than is to spare."""
    rows, number = np.unique(covered.T, axis=0, return_inverse=True)
    weight = np.bincount(number.ravel(), area) / area.sum()
    rows, weight = rows[rows.any(axis=1)].astype(float), weight[rows.any(axis=1)]
    count, leaves = len(covered), len(weight)
    cover = sparse.hstack([sparse.csr_matrix(rows), sparse.identity(leaves)])
    left = sparse.csr_matrix(np.concatenate([np.zeros(count), weight])[None])
    low = np.zeros(count + leaves)
    low[list(forced)] = 1.0
    result = milp(
        np.concatenate([np.ones(count), np.zeros(leaves)]),
        constraints=[LinearConstraint(cover, lb=1.0), LinearConstraint(left, ub=spare)],
        integrality=np.ones(count + leaves),
        bounds=Bounds(low, 1.0),
    )
    assert result.status == 0
    return round(result.fun)


# ---------------------------------------------------------------------------------------- the choice


@pytest.mark.parametrize("name", few_of(["spool", "egg_tray_tool"], PARTS))
def test_no_more_set_ups_than_an_integer_program_needs(name: str) -> None:
    make, ball_mm = PARTS[name]
    case = solved(make(), ball_mm)
    cover, area = case.cover, case.reach.samples.area_mm2
    assert len(cover.axes) == cover.lower_bound == fewest(case.reach.reached, area, SPARE)
    for spare in (0.01, 0.05):  # where more may be left there is more to choose from
        found = smallest_cover(case.reach.reached, area, spare)
        assert len(found.chosen) == found.lower_bound == fewest(case.reach.reached, area, spare)
    check_laws(case)


def check_laws(case: Case) -> None:
    cover, reached, area = case.cover, case.reach.reached, case.reach.samples.area_mm2
    chosen = reached[cover.candidate]
    assert cover.reachable_share - cover.covered_share <= SPARE + 1e-9
    assert cover.covered_share == pytest.approx(cover.added_share.sum())
    assert cover.covered_share == pytest.approx(area[cover.own >= 0].sum() / area.sum())
    np.testing.assert_allclose(cover.reached_share, chosen @ area / area.sum())
    np.testing.assert_array_equal(cover.own >= 0, chosen.any(axis=0))
    stays = cover.own >= 0
    assert chosen[cover.own[stays], np.flatnonzero(stays)].all()
    np.testing.assert_array_equal(cover.axes, case.candidates.axes[cover.candidate])
    assert cover.candidates == len(case.candidates.axes)
    assert cover.facet_setup.max() < len(cover.axes)
    # facets stay with their face: few samples are finished elsewhere than their facet says
    facet = cover.facet_setup[case.reach.samples.facet]
    assert area[stays & (facet != cover.own)].sum() < 0.05 * area.sum()


@pytest.mark.parametrize("seed", range(30))
def test_on_sets_without_any_order(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count, points = int(rng.integers(4, 22)), int(rng.integers(20, 200))
    covered = rng.random((count, points)) < rng.uniform(0.08, 0.5)
    area = rng.uniform(0.1, 5.0, points)
    spare = float(rng.choice([0.0, 0.003, 0.03]))
    found = smallest_cover(covered, area, spare)
    assert len(found.chosen) == found.lower_bound == fewest(covered, area, spare)
    left = covered.any(axis=0) & ~covered[list(found.chosen)].any(axis=0)
    assert area[left].sum() <= spare * area.sum() + 1e-9
    with_last = smallest_cover(covered, area, spare, (count - 1,))
    assert count - 1 in with_last.chosen
    assert len(with_last.chosen) == fewest(covered, area, spare, (count - 1,))


def test_when_time_runs_out_the_bound_is_still_one(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    covered, area = rng.random((40, 3000)) < 0.12, np.ones(3000)
    monkeypatch.setattr(module, "_BUDGET", 3000 * 200)
    found = smallest_cover(covered, area, 0.02)
    assert 2 <= found.lower_bound < len(found.chosen)
    assert (~covered[list(found.chosen)].any(axis=0) & covered.any(axis=0)).mean() <= 0.02


def test_where_nothing_is_reached_there_is_no_set_up() -> None:
    case = solved(pocketed_cube(1), 4.0, SIX[:1])
    nothing = SetupReach(SIX, case.reach.samples, np.zeros((6, len(case.reach.samples.facet)), bool))
    smooth = smooth_surface(case.mesh)
    cover = setup_cover(case.mesh, smooth.is_crease, smooth.is_plane, nothing)
    assert cover.axes.shape == (0, 3)
    assert cover.covered_share == cover.reachable_share == cover.lower_bound == 0
    assert (cover.facet_setup == -1).all()
    assert (cover.own == -1).all()
    assert cover.facet_unreached.all()
    assert smallest_cover(np.zeros((5, 30), bool), np.ones(30), 0.0).chosen == ()
    with pytest.raises(ValueError, match="at most"):
        smallest_cover(np.ones((70, 3), bool), np.ones(3), 0.0)


# ---------------------------------------------------------------------------------------- known answers


@pytest.mark.parametrize("sides", [2, 4, 6])
def test_a_cube_needs_a_set_up_for_every_narrow_pocket(sides: int) -> None:
    mesh = pocketed_cube(sides)
    for axes in (SIX, None):  # leaning axes do not get down there either
        case = solved(mesh, 4.0, axes)
        floors = {tuple(np.round(axis).astype(int)) for axis in SIX[:sides]}
        chosen = {tuple(np.round(axis, 6)) for axis in case.cover.axes}
        assert floors <= chosen
        assert len(case.cover.axes) == max(sides, 2) == case.cover.lower_bound


def test_outer_walls_stay_on_the_first_of_two_set_ups_and_pockets_on_their_own() -> None:
    case = solved(pocketed_cube(2, 12.0, 20.0), 4.0)
    cover, mesh = case.cover, case.mesh
    np.testing.assert_allclose(cover.axes, [[0, 0, 1], [0, 0, -1]], atol=1e-12)
    outside = np.abs(mesh.middle[:, :2]).max(axis=1) > 24.9
    assert (cover.facet_setup[outside] == 0).all()
    inside = np.abs(mesh.middle[:, :2]).max(axis=1) < 10.1
    above = mesh.middle[:, 2] > 0
    assert (cover.facet_setup[inside & above] == 0).all()
    assert (cover.facet_setup[inside & ~above] == 1).all()
    # each reaches its side, all outer walls and its own pocket, less the corners a ball leaves
    face, wall = 50 * 50 - 400, 4 * 50 * 50
    pocket = 400 + 4 * 20 * 12
    whole = 2 * face + wall + 2 * pocket
    most = (face + wall + pocket) / whole
    assert most - 0.04 < cover.reached_share[0] <= most + 1e-3


def test_a_sphere_needs_two_and_they_are_opposite() -> None:
    case = solved(healed(trimesh.Trimesh(*solids.sphere(25, 0.02, pattern="ico"))), 6.0)
    assert len(case.cover.axes) == 2 == case.cover.lower_bound
    np.testing.assert_allclose(case.cover.axes, [[0, 0, 1], [0, 0, -1]], atol=1e-12)
    assert case.cover.covered_share == pytest.approx(1.0, abs=SPARE)
    # one face that neither reaches alone: split in two pieces at the equator
    above = case.mesh.middle[:, 2] > 2.0
    below = case.mesh.middle[:, 2] < -2.0
    assert (case.cover.facet_setup[above] == 0).all()
    assert (case.cover.facet_setup[below] == 1).all()


def test_a_leaning_hole_asks_for_its_own_axis() -> None:
    case = solved(leaning_hole(40.0), 4.0)
    hole = np.array([np.sin(np.radians(40)), 0, np.cos(np.radians(40))])
    which = int(np.argmax(case.cover.axes @ hole))
    assert case.cover.axes[which] @ hole > np.cos(np.radians(0.1))
    off = case.mesh.middle - np.array([0, 0, 20.0])
    from_axis = np.linalg.norm(off - (off @ hole)[:, None] * hole, axis=1)
    wall = (from_axis < 4.1) & (case.mesh.middle[:, 2] < 19.9) & (np.abs(case.mesh.normal @ hole) < 0.1)
    assert wall.sum() > 64
    assert (case.cover.facet_setup[wall] == which).all()


def test_what_none_reaches_is_told() -> None:
    case = solved(hollow_block(), 4.0)
    inner, outer = 6 * 20.0**2, 6 * 40.0**2
    assert 1.0 - case.cover.reachable_share == pytest.approx(inner / (inner + outer), abs=1e-3)
    within = np.abs(case.mesh.middle).max(axis=1) < 11
    np.testing.assert_array_equal(case.cover.facet_unreached, within)
    np.testing.assert_array_equal(case.cover.facet_setup < 0, within)
    assert len(case.cover.axes) == 2


def test_the_jobs_axis_is_kept_where_asked_for() -> None:
    lean = np.array([0.0, np.sin(0.5), np.cos(0.5)])
    case = solved(pocketed_cube(2), 4.0, np.vstack([lean, SIX]))
    assert 0 not in case.cover.candidate
    smooth = smooth_surface(case.mesh)
    kept = setup_cover(case.mesh, smooth.is_crease, smooth.is_plane, case.reach, forced=(0,))
    assert kept.candidate[0] == 0
    assert len(kept.axes) == fewest(case.reach.reached, case.reach.samples.area_mm2, SPARE, (0,)) == kept.lower_bound


# ---------------------------------------------------------------------------------------- reach


@pytest.mark.parametrize("axis", [(0, 0, 1), (0.6, 0, 0.8), (-1, 0, 0)])
def test_what_faces_down_is_never_first_in_the_way(axis: tuple[float, float, float]) -> None:
    mesh, along = demo("egg_tray_tool"), np.array(axis, float)
    samples = even_samples(mesh, 4000)
    body, cutter = tool_body(Tool(name="ball", diameter=8.0), 0.0), Cutter(8.0, 4.0)
    whole = plan_tree(mesh.vertices, mesh.faces, along)
    expected = reach_of(body, cutter, whole, samples.point, samples.normal, 0.02)
    found = setup_reach(mesh, body, cutter, along[None], samples, 0.02)
    np.testing.assert_array_equal(found.reached[0], expected.by_cutter & expected.by_shank)
    seen = np.degrees(np.arccos(np.clip(samples.normal @ along, -1, 1)))
    np.testing.assert_allclose(found.slope_deg(0), seen)


def test_neither_the_order_of_facets_nor_a_turn_shows() -> None:
    mesh = pocketed_cube(5, 8.0, 18.0)
    case = solved(mesh, 4.0)
    order = np.random.default_rng(4).permutation(len(mesh.faces))
    again = solved(Mesh(mesh.vertices.copy(), mesh.faces[order]), 4.0)
    np.testing.assert_array_equal(again.cover.candidate, case.cover.candidate)
    np.testing.assert_allclose(again.cover.reached_share, case.cover.reached_share, atol=1e-9)
    np.testing.assert_array_equal(again.cover.facet_setup, case.cover.facet_setup[order])
    turn = Rotation.from_euler("xyz", [25, -40, 70], degrees=True).as_matrix()
    turned = solved(Mesh(mesh.vertices @ turn.T, mesh.faces.copy()), 4.0, up=UP @ turn.T, frame=turn.T)
    np.testing.assert_allclose(turned.cover.axes, case.cover.axes @ turn.T, atol=1e-6)
    np.testing.assert_allclose(turned.cover.reached_share, case.cover.reached_share, atol=3e-3)
    np.testing.assert_array_equal(turned.cover.facet_setup, case.cover.facet_setup)
