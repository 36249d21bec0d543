"""Ways between passes: straight where that is clear, raised where it is not, lifts elsewhere; none cuts the part."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import solids
from family_makers import UP, one_pass, ring, zigzag
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import Piece, dropped
from advisor.cutter.tool_body import cutter_pieces
from advisor.part.plan_tree import PlanTree, plan_tree
from advisor.passes.lines import PassLines
from advisor.passes.links import Links, linked
from advisor.passes.order import ordered
from advisor.passes.pieces import LedPoint, together

BALL = Cutter(6.0, 3.0)
BULL = Cutter(6.0, 1.0)
TOLERANCE = 0.01


def tree_of(mesh: tuple[np.ndarray, np.ndarray], axis: np.ndarray = UP) -> PlanTree:
    return plan_tree(np.asarray(mesh[0], float), np.asarray(mesh[1], np.int32), axis)


def is_clear(links: Links, cutter: Cutter, tree: PlanTree, less_mm: float) -> bool:
    """Whether a cutter that has lost this much of its corner is clear on all of its ways, looked at every 0.01 mm."""
    places = []
    for n in range(len(links.is_lift)):
        way = links.centres_mm[links.starts[n] : links.starts[n + 1]]
        for a, b in pairwise(way):
            share = np.linspace(0, 1, int(np.ceil(np.linalg.norm(b - a) / 0.01)) + 1)[:, None]
            places.append((1 - share) * a + share * b)
    at = np.concatenate(places) @ tree.frame.T
    corner = cutter.corner_radius_mm - less_mm
    shrunk = cutter_pieces(Cutter(2 * (cutter.ring_radius_mm + corner), corner))
    return bool((dropped(shrunk, tree, at[:, :2]).height_mm <= at[:, 2] - corner + 1e-9).all())


def on_top(cutter: Cutter, tree: PlanTree, places: np.ndarray) -> PassLines:
    """Passes of two points each, at which the cutter rests on the part at places in plan."""
    low = dropped(cutter_pieces(cutter), tree, places, np.full(len(places), tree.corners[..., 2].min())).height_mm
    centre = np.column_stack([places, low + cutter.corner_radius_mm]) @ tree.frame
    contact = centre - cutter.corner_radius_mm * tree.frame[2]
    return together([one_pass(contact[i : i + 2], tree.frame[2], i // 2) for i in range(0, len(places), 2)])


def ways(lines: PassLines, cutter: Cutter, tree: PlanTree, link: float, clearance: float = 2.0) -> Links:
    led = LedPoint(cutter.corner_radius_mm, 0.0)
    passes = ordered(lines, led, tree.frame[2], link / 3, link, levels="rising")
    centres = passes.lines.centres_mm(cutter.corner_radius_mm, 0.0, tree.frame[2])
    return linked(passes, centres, cutter, tree, link, TOLERANCE, clearance)


def test_a_field_of_lines_is_linked_by_its_steps() -> None:
    links = ways(zigzag(40, 100.0, 0.5), BALL, tree_of(([(-9, -9, 0), (200, -9, 0), (0, 200, 0)], [(0, 1, 2)])), 3.0)
    assert not links.is_lift.any()
    assert not links.is_raised.any()
    np.testing.assert_allclose(links.lengths_mm, 0.5)
    assert links.lengths_mm.sum() == pytest.approx(39 * 0.5)


def test_a_lift_goes_over_the_top_of_the_part() -> None:
    """Two lines 40 mm apart on a floor 10 mm below a block: up 12, across 40, down 12."""
    block = solids.stepped_block()
    tree = tree_of((block[0] + [0, 0, 0], block[1]))
    top = block[0][:, 2].max()
    floor = top - 10.0
    lines = together([one_pass([(0, y, floor), (9, y, floor)], UP, i) for i, y in enumerate((500.0, 540.0))])
    links = ways(lines, BALL, tree, 3.0)
    way = links.centres_mm
    assert links.is_lift.tolist() == [True]
    assert links.lengths_mm[0] == pytest.approx(12 + 40 + 12)
    assert way[1, 2] == way[2, 2] == pytest.approx(top + 3.0 + 2.0)
    assert way[3, 2] == pytest.approx(floor + 3.0 + 2.0)


def test_a_short_way_over_a_rib_is_raised_or_lifted() -> None:
    """Floors on both sides of a rib 0.4 wide: 1 mm high it is stepped over, 20 mm high it takes a lift."""
    for height, is_lift in ((1.0, False), (20.0, True)):
        section = [(-50, -5), (50, -5), (50, 0), (0.2, 0), (0.2, height), (-0.2, height), (-0.2, 0), (-50, 0)]
        rib = solids.extruded(np.array(section), 100.0, "y")
        tree = tree_of(rib)
        lines = together([one_pass([(x, -9, 0), (x, 9, 0)], UP, i) for i, x in enumerate((-3.2, 3.2))])
        links = ways(lines, BALL, tree, 7.0)
        assert links.is_lift.tolist() == [is_lift]
        assert links.is_raised.tolist() == [not is_lift]
        assert is_clear(links, BALL, tree, TOLERANCE)
        if not is_lift:
            assert links.centres_mm[:, 2].max() == pytest.approx(3.0 + height, abs=TOLERANCE)


@pytest.mark.parametrize("up", [4.0, 9.0])
def test_what_follows_the_cutter_is_kept_clear_on_the_way(up: float) -> None:
    """A way past a thin post 8 high, further off than the ball is wide and nearer than the holder."""
    post = solids.extruded(np.array([(6.0, -1.0), (20.0, -1.0), (20.0, 8.0), (6.0, 8.0)]), 0.4, "y")
    lines = together([one_pass([(0, y, 0), (0, y + 4, 0)], UP, i) for i, y in enumerate((-11.0, 7.0))])
    passes = ordered(lines, LedPoint(3.0, 0.0), UP, 5.0, 15.0, levels="rising")
    centres = passes.lines.centres_mm(3.0, 0.0, UP)
    links = linked(passes, centres, BALL, tree_of(post), 15.0, TOLERANCE, 2.0, (Piece(8.0, 0.0, 0.0, 8.0, up),))
    assert (links.is_raised | links.is_lift).tolist() == [up < 8.0]
    beside = np.hypot(6.0, np.maximum(np.abs(links.centres_mm[:, 1]) - 0.2, 0.0)) < 8.0 - 1e-6
    assert links.centres_mm[beside, 2].min(initial=np.inf) >= 3.0 + 8.0 - up - 2 * TOLERANCE


def test_steps_down_a_hollow_wall_stay_on_it() -> None:
    """Facets of a bore stand out of it: within the tolerance they raise nothing."""
    bore = solids.revolved(np.array([(0, -5.0), (12, -5), (12, 20), (8, 20), (8, 0), (0, 0)]), 0.004)
    lines = together([ring(8.0, 4 + 0.4 * i, -1.0, 0.0, i) for i in range(30)])
    led = LedPoint(3.0, 0.0)
    passes = ordered(lines, led, UP, 0.5, 3.0, levels="downward")
    links = linked(passes, passes.lines.centres_mm(3.0, 0.0, UP), BALL, tree_of(bore), 3.0, TOLERANCE, 2.0)
    assert not links.is_lift.any()
    assert not links.is_raised.any()
    np.testing.assert_allclose(links.lengths_mm, 0.4, rtol=1e-6)


@settings(max_examples=40)
@given(
    st.sampled_from(["wave", "block", "pocket", "torus"]), st.sampled_from([BALL, BULL]), st.integers(0, 10**6),
    st.booleans(),
)  # fmt: skip
def test_no_way_cuts_into_the_part(name: str, cutter: Cutter, seed: int, is_turned: bool) -> None:
    rng = np.random.default_rng(seed)
    vertices, faces = {
        "wave": solids.wave, "block": solids.stepped_block, "pocket": solids.round_pocket,
        "torus": lambda: solids.torus(12, 5, 0.05),
    }[name]()  # fmt: skip
    turn = Rotation.from_rotvec(rng.normal(size=3) if is_turned else [0, 0, 0.3]).as_matrix()
    axis = turn @ UP
    tree = tree_of((vertices @ turn.T, faces), axis)
    low, high = tree.corners.min(axis=(0, 1))[:2], tree.corners.max(axis=(0, 1))[:2]
    first = rng.uniform(low, high, (12, 2))
    places = np.stack([first, first + rng.normal(scale=3.0, size=(12, 2))], axis=1).reshape(-1, 2)
    places = np.clip(places, low, high)
    links = ways(on_top(cutter, tree, places), cutter, tree, 12.0)
    assert is_clear(links, cutter, tree, TOLERANCE + 1e-6)
    ends = links.starts[1:] - 1
    assert (np.diff(links.starts)[links.is_lift] == 5).all()
    assert (np.diff(links.starts)[~links.is_lift & ~links.is_raised] == 2).all()
    assert np.isfinite(links.centres_mm[ends]).all()
    assert (links.lengths_mm[links.is_raised] <= 24.0).all()


def test_one_pass_has_no_way_and_faults() -> None:
    tree = tree_of(solids.wedge(10.0))
    links = ways(zigzag(1, 10.0, 1.0), BALL, tree, 3.0)
    assert (links.starts.tolist(), len(links.is_lift)) == ([0], 0)
    passes = ordered(zigzag(2, 10.0, 1.0), LedPoint(3.0, 0.0), UP, 1.0, 3.0, levels="rising")
    for tolerance, clearance in ((0.0, 1.0), (0.01, 0.0)):
        with pytest.raises(ValueError, match="above 0"):
            linked(passes, passes.lines.contact_mm, BALL, tree, 3.0, tolerance, clearance)
