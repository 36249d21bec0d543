"""A part in several set-ups: every facet finished once, each along its own axis."""

from __future__ import annotations

from pathlib import Path

import manifold3d
import numpy as np
import pytest
import solids
from manifold3d import Manifold
from real_parts import REAL_PARTS

import advisor
from advisor import tolerances
from advisor.advice.choose import in_words
from advisor.advice.setup_parts import CutFacets, cut_part, taken_from
from advisor.advice.setups import plan_of_setup
from advisor.advice.tool_sequence import sequence_over_setups
from advisor.errors import InputError
from advisor.intake.read import read_part
from advisor.job import parse_up
from advisor.model import Plan, SequenceStep, ToolSequence
from advisor.pack.card import zone_card
from advisor.pack.folder import write_plan_folder
from advisor.part.frame import plan_axes
from advisor.part.heal import heal
from advisor.part.measured import MeasuredPart, measure_part
from advisor.part.mesh import Mesh, edge_lengths_mm, rim_lengths_mm
from advisor.zones.classes import FLAT, UNDERCUT
from advisor.zones.hidden import with_hidden_areas

BALL_MM = 6.0


def measured(vertices: np.ndarray, faces: np.ndarray) -> MeasuredPart:
    healed = heal(np.asarray(vertices, float), np.asarray(faces), "part")
    return measure_part(healed, name="part", file="part", sha256="", unit="mm", unit_assumed=False)


def of_solid(body: Manifold) -> MeasuredPart:
    mesh = body.to_mesh()
    return measured(np.asarray(mesh.vert_properties[:, :3], float), np.asarray(mesh.tri_verts))


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Manifold:
    return Manifold.cube(np.subtract(high, low)).translate(low)


def check_laws(plan: Plan, part: MeasuredPart) -> None:
    """What holds of a closed part in any set-ups, nothing of it left out."""
    mesh = Mesh(plan.facets.vertices, plan.facets.faces)
    assert mesh.area_mm2.sum() == pytest.approx(part.record.area_mm2, rel=1e-9)
    # a closed part has no rim: all of a zone's border is with some neighbour, and borders have two sides
    rim = rim_lengths_mm(mesh, plan.facets.zone, len(plan.zones) + 1)[1:]
    met = [sum(near.length_mm for near in zone.neighbours) for zone in plan.zones]
    np.testing.assert_allclose(met, rim, rtol=1e-6, atol=1e-6)
    told = {(zone.id, near.zone, near.joint): near.length_mm for zone in plan.zones for near in zone.neighbours}
    for (one, other, joint), length in told.items():
        assert told[other, one, joint] == pytest.approx(length, rel=1e-9)
    outlines = plan.outlines
    assert outlines is not None
    assert (outlines.neighbour != 0).all()
    assert (outlines.joint >= 0).all()
    # and each outline has its neighbours over the length that the record tells, but for what smoothing takes
    following = np.arange(1, len(outlines.points) + 1)
    following[outlines.starts[1:] - 1] = outlines.starts[:-1]
    length = np.linalg.norm(outlines.points[following] - outlines.points, axis=1)
    loop = np.repeat(np.arange(len(outlines.zone)), np.diff(outlines.starts))
    for zone in plan.zones:
        own = (outlines.zone[loop] == zone.id) & (outlines.kind[loop] == "boundary")
        for near in {near.zone for near in zone.neighbours}:
            total = sum(each.length_mm for each in zone.neighbours if each.zone == near)
            assert length[own & (outlines.neighbour == near)].sum() == pytest.approx(total, rel=0.02, abs=0.1)


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

    return of_solid(Manifold.cube([100, 60, 40]).translate([-50, -30, -20]) - pocket(25, 1) - pocket(-25, -1))


def test_two_pockets_from_two_sides_take_two_set_ups(block: MeasuredPart, tmp_path: Path) -> None:
    plan = advisor.plan(block, job={"setups": "fewest"}, ball="8 mm", lays_passes=False)
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
    assert {path.name for path in folder.glob("*.png")} == {"zone_map.png", "zone_map_2.png", "candidates.png"}
    with np.load(folder / "outlines.npz", allow_pickle=False) as outlines:
        assert set(outlines["zone"]) <= {zone.id for zone in plan.zones}
        assert outlines["starts"][-1] == len(outlines["points"])
    check_laws(plan, block)
    assert plan.record.sequence is not None
    finished = sum(step.area_mm2 for step in plan.record.sequence.steps)
    assert finished == pytest.approx(block.record.area_mm2, rel=0.02)


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
        advisor.plan(block, job={"setups": ["up"]}, lays_passes=False)


def test_a_hemisphere_on_its_side_is_split_at_its_equator() -> None:
    vertices, faces = solids.hemisphere(25.0, 0.02)
    lean = 0.03  # no edge of the facets lies on the equator
    turn = np.array([[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]])
    part = measured(np.asarray(vertices)[:, [2, 0, 1]] @ turn.T, faces)
    plan = advisor.plan(part, job={"setups": ["+Z", "-Z"]}, ball=f"{BALL_MM} mm", lays_passes=False)
    check_laws(plan, part)
    upper, lower = (next(z for z in plan.zones if z.setup == n and z.shape != "wall") for n in (0, 1))
    # the equator within the chord error of the facets
    corners = plan.facets.vertices[plan.facets.faces]
    assert corners[plan.facets.zone == upper.id, :, 2].min() > -0.02
    assert corners[plan.facets.zone == lower.id, :, 2].max() < 0.02
    (met,) = [near for near in upper.neighbours if near.zone == lower.id]
    assert met.joint == "tangent"
    assert met.length_mm == pytest.approx(np.pi * 25, rel=2e-3)
    assert upper.area_mm2 == pytest.approx(lower.area_mm2, rel=1e-4)
    assert any("a step is likeliest to show" in words for words in upper.advice.why)
    assert any(f"zone {upper.id} of set-up 1" in words for words in lower.advice.why)


def test_a_wall_of_two_triangles_is_split_below_the_boss_that_hides_it() -> None:
    """Reach ends below the boss and a ball's radius beside it, straight down."""
    part = of_solid(box((0, 0, 0), (100, 40, 60)) + box((30, 30, 15), (60, 55, 30)))
    plan = advisor.plan(part, job={"setups": ["+Z", "-Z"]}, ball=f"{BALL_MM} mm", lays_passes=False)
    check_laws(plan, part)
    corners = plan.facets.vertices[plan.facets.faces]
    on_wall = (np.abs(corners[..., 1] - 40) < 1e-6).all(axis=1)
    setup = np.array([zone.setup for zone in plan.zones])[plan.facets.zone - 1]
    mesh = Mesh(plan.facets.vertices, plan.facets.faces)
    below = on_wall & (setup == 1)
    within = max(tolerances.SETUP_BORDER_SHARE_OF_BALL * BALL_MM, tolerances.SETUP_BORDER_SHARE_OF_SIZE * mesh.reach_mm)
    low, high = 30 - BALL_MM / 2, 60 + BALL_MM / 2
    assert corners[below][..., 0].min() == pytest.approx(low, abs=within)
    assert corners[below][..., 0].max() == pytest.approx(high, abs=within)
    assert corners[below][..., 2].min() == 0
    assert mesh.area_mm2[below].sum() == pytest.approx((high - low) * 15, rel=0.03)
    # without the saw-teeth of the facets, and no long edge of one
    outlines = plan.outlines
    assert outlines is not None
    on_border = (np.abs(outlines.points[:, 1] - 40) < 1e-6) & (outlines.joint == 0)
    x, z = outlines.points[on_border][:, [0, 2]].T
    for side in (low, high):
        line = x[(np.abs(x - side) < 1) & (z > 1) & (z < 12)]
        assert len(line) > 20
        np.testing.assert_allclose(line, side, atol=within / 3)
    (one,) = [zone for zone in plan.zones if zone.setup == 1 and zone.id in set(plan.facets.zone[below].tolist())]
    assert any(near.joint == "tangent" for near in one.neighbours)


def test_pockets_on_top_and_on_the_side_stay_whole_and_know_their_neighbours() -> None:
    body = box((0, 0, 0), (100, 60, 50)) - box((20, 15, 30), (80, 45, 60)) - box((-5, 20, 8), (12, 40, 22))
    part = of_solid(body)
    plan = advisor.plan(part, job={"setups": "fewest"}, ball="4 mm", lays_passes=False)
    check_laws(plan, part)
    axes = np.array([setup.tool_axis for setup in plan.record.setups])
    side = int(np.flatnonzero(axes @ [-1, 0, 0] > 0.9)[0])
    corners = plan.facets.vertices[plan.facets.faces]
    setup = np.array([zone.setup for zone in plan.zones])[plan.facets.zone - 1]
    inside_top = (corners[..., 2] > 29.9).all(axis=1) & (np.abs(corners[..., 0] - 50) < 30.1).all(axis=1)
    inside_side = (corners[..., 0] < 12.1).all(axis=1) & (np.abs(corners[..., 1] - 30) < 10.1).all(axis=1)
    inside_side &= (np.abs(corners[..., 2] - 15) < 7.1).all(axis=1)
    assert set(setup[inside_top]) == {0}
    assert set(setup[inside_side]) == {side}
    # faces that a set-up reaches whole are not cut
    assert len(corners) == part.record.facets


@pytest.mark.parametrize("name", ["extruder_body"])
def test_real_parts_keep_the_laws(name: str) -> None:
    path = REAL_PARTS / f"{name}.stl"
    if not path.exists():
        pytest.skip(f"{path.name} is not beside the checkout")
    part = read_part(path, "mm")
    plan = advisor.plan(part, job={"setups": "fewest"}, only_zones=True)
    check_laws(plan, part)


def test_cut_facets_keep_the_surface_they_had() -> None:
    part = measured(*solids.round_pocket(30.0, 15.0))
    mesh, smooth = part.mesh, part.smooth
    # every facet cut in three about a point that is not its middle
    share = np.array([0.5, 0.3, 0.2])
    count, new = len(mesh.faces), len(mesh.vertices)
    points = np.einsum("c,fcx->fx", share, mesh.vertices[mesh.faces])
    inner = new + np.arange(count)
    faces = np.stack([np.stack([mesh.faces[:, k], mesh.faces[:, (k + 1) % 3], inner], axis=1) for k in range(3)], 1)
    corner = np.eye(3)
    weights = np.stack([np.stack([corner[k], corner[(k + 1) % 3], share]) for k in range(3)])
    cut = CutFacets(
        Mesh(np.concatenate([mesh.vertices, points]), faces.reshape(-1, 3).astype(np.int32)),
        np.repeat(np.arange(count, dtype=np.int32), 3), np.tile(weights, (count, 1, 1)),
    )  # fmt: skip
    whole = cut_part(part, cut)
    creases = [
        edge_lengths_mm(m, np.flatnonzero(s.is_crease)).sum() for m, s in ((mesh, smooth), (whole.mesh, whole.smooth))
    ]
    assert creases[0] == pytest.approx(creases[1])
    np.testing.assert_allclose(whole.smooth.corner_normal[::3, 0], smooth.corner_normal[:, 0], atol=1e-15)
    between = np.einsum("c,fcx->fx", share, smooth.corner_normal)
    between /= np.linalg.norm(between, axis=1)[:, None]
    np.testing.assert_allclose(whole.smooth.corner_normal[::3, 2], between, atol=1e-12)
    np.testing.assert_array_equal(whole.smooth.is_plane[::3], smooth.is_plane)
    np.testing.assert_array_equal(whole.smooth.is_held.reshape(-1, 3, 3)[:, :, 0], smooth.is_held)
    np.testing.assert_array_equal(whole.bends.k_min_per_mm[1::3], part.bends.k_min_per_mm)
    chosen = whole.mesh.middle[:, 0] > 0
    own, vertex = taken_from(whole, chosen)
    np.testing.assert_array_equal(own.mesh.vertices, whole.mesh.vertices[vertex])
    np.testing.assert_array_equal(own.mesh.middle, whole.mesh.middle[chosen])
    assert own.smooth.is_crease[own.mesh.twins < 0].all()


def test_what_another_set_up_finishes_hides_as_well() -> None:
    def square(size: float, z: float, *, down: bool = False) -> tuple[np.ndarray, np.ndarray]:
        points = np.array([[0, 0, z], [size, 0, z], [size, 20, z], [0, 20, z]], float)
        faces = np.array([[0, 1, 2], [0, 2, 3]], np.int32)
        return points, faces[:, ::-1].copy() if down else faces

    floor = Mesh(*square(20, 0))
    sharp, classes = np.zeros(6, bool), np.full(2, FLAT, np.int8)
    up = np.array([0.0, 0.0, 1.0])
    for size, expected in ((20.0, UNDERCUT), (10.0, FLAT)):
        roof, faces = square(size, 5, down=True)
        whole = Mesh(np.concatenate([floor.vertices, roof]), np.concatenate([floor.faces, faces + 4]))
        np.testing.assert_array_equal(with_hidden_areas(floor, classes, sharp, up), classes)
        np.testing.assert_array_equal(with_hidden_areas(floor, classes, sharp, up, whole), [expected] * 2)
        # what faces up is the top of the part itself
        top = Mesh(whole.vertices, np.concatenate([floor.faces, faces[:, ::-1] + 4]))
        np.testing.assert_array_equal(with_hidden_areas(floor, classes, sharp, up, top), classes)


def test_tools_over_all_set_ups() -> None:
    def step(diameter: float, area: float) -> SequenceStep:
        return SequenceStep(f"ball {diameter:g}", diameter, area, 10 * area, area / 100)

    first = ToolSequence((step(10, 900), step(4, 100)), 11.0, "")
    second = ToolSequence((step(10, 500),), 5.0, "")
    third = ToolSequence((step(6, 200), step(4, 50)), 3.5, "")
    told = sequence_over_setups([first, None, second, third], 1.0)
    assert told is not None
    assert [(s.diameter_mm, s.area_mm2, s.path_mm) for s in told.steps] == [
        (10, 1400, 14000), (6, 200, 2000), (4, 150, 1500)
    ]  # fmt: skip
    # 10, 4 | 10 | 6, 4: four changes
    assert told.minutes == pytest.approx((900 + 100 + 500 + 200 + 50) / 100 + 4)
    assert told.why.startswith("set-up 1: 10 mm, then 4 mm; set-up 3: 10 mm; set-up 4: 6 mm, then 4 mm")
    assert sequence_over_setups([None, None], 1.0) is None


@pytest.fixture(scope="module")
def slotted() -> MeasuredPart:
    """A bar along X with a slot right through in either side, 12 mm deep."""
    bar = box((0, 0, 0), (120, 60, 60))
    return of_solid(bar - box((-1, -1, 20), (121, 12, 40)) - box((-1, 48, 20), (121, 61, 40)))


def axes_of(plan: Plan) -> set[tuple[int, ...]]:
    return {tuple(round(value) for value in setup.tool_axis) for setup in plan.record.setups}


def test_a_holder_keeps_set_ups_from_what_only_a_long_tool_reaches(slotted: MeasuredPart) -> None:
    # along X one tool, were it long enough, would get to both slots and to the underside, as to walls
    job = {"setups": "fewest", "tool": [{"name": "ball", "diameter": 8}]}
    assert len(axes_of(advisor.plan(slotted, job, only_zones=True))) == 2
    held = {"name": "ball", "diameter": 8, "stick_out": 36, "holder": [{"diameter": 30, "length": 50}]}
    plan = advisor.plan(slotted, {**job, "tool": [held]}, only_zones=True)
    # from either side it gets to half of the underside, a radius beyond which its tip is
    assert axes_of(plan) == {(0, 0, 1), (0, 1, 0), (0, -1, 0)}
    # copies are told within one set-up: zones of another are no copies, however alike
    groups = [{z.repeats.group for z in plan.zones if z.setup == n and z.repeats} for n in range(3)]
    assert sum(len(own) > 0 for own in groups) >= 2
    assert len(set.union(*groups)) == sum(len(own) for own in groups)


def test_what_none_of_the_set_ups_reaches_is_told_so(slotted: MeasuredPart) -> None:
    def told(setups: str | list[str]) -> set[str]:
        plan = advisor.plan(slotted, {"setups": setups}, ball="8 mm", lays_passes=False)
        hidden = [zone for zone in plan.zones if zone.slope_class == "undercut"]
        assert hidden and all(zone.advice is not None and len(zone.advice.why) == 1 for zone in hidden)
        return {in_words(zone) for zone in hidden}

    assert told("one") == {"another set-up"}
    assert told(["+Z", "-Z"]) == {"no set-up reaches"}


@pytest.mark.parametrize(
    ("up", "floor", "land"),
    [
        ("+Z", "Floor Z 10", "Land Z 40"), ("-Z", "Floor Z -10", "Land Z -40"), ("+X", "Floor X 10", "Land X 40"),
        ("-X", "Floor X -10", "Land X -40"), ("+Y", "Floor Y 10", "Land Y 40"),
        ("0,0.6,0.8", "Floor height 10", "Land height 40"),
    ],
)  # fmt: skip
def test_heights_in_names_are_those_of_the_axis_they_are_along(up: str, floor: str, land: str) -> None:
    """A stepped block turned so that its Z lies along the tool axis: an override finds its zone by place."""
    axis = np.array(parse_up(up))
    vertices, faces = solids.stepped_block((10.0, 40.0), 60, 80)
    frame = np.vstack([plan_axes(axis), axis])
    place = tuple(np.array([vertices[:, 0].max() - 1.0, 0.0, 40.0]) @ frame)
    job = {"up": up, "zone": [{"at": place, "name": "sealing face"}]}
    part = measured(vertices @ frame, faces)
    names = [zone.name for zone in advisor.plan(part, {"up": up}, only_zones=True, lays_passes=False).zones]
    assert floor in names and land in names
    named = [zone.name for zone in advisor.plan(part, job, only_zones=True, lays_passes=False).zones]
    assert sorted(named) == sorted(["sealing face", *(name for name in names if name != land)])
    walls = [name for name in names if name.startswith("Wall")]
    word = floor.split()[1]
    assert walls and all(f" {word} " in name for name in walls)


def test_each_set_up_tells_heights_along_its_own_axis() -> None:
    body = box((0, 0, 0), (60, 50, 40)) - box((45, 10, 10), (60, 40, 30)) - box((10, 10, 25), (40, 40, 40))
    plan = advisor.plan(of_solid(body), {"setups": ["+Z", "+X"]}, ball="6 mm", only_zones=True, lays_passes=False)
    floors = {zone.name for zone in plan.zones if zone.shape == "floor"}
    assert {"Floor Z 25", "Floor X 45"} <= floors
    for zone in plan.zones:
        assert (" Z " in zone.name) <= (zone.setup == 0) and (" X " in zone.name) <= (zone.setup == 1)
        if zone.setup == 1 and zone.name == "Floor X 45":
            assert ("X", "45 mm") in zone_card(plan.record, zone).facts
