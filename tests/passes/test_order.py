"""The order of passes: families that can be drawn by hand, laws, and a slow twin of the whole walk."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from family_makers import BALL, UP, cap_rings, one_pass, piece, ring, signed_plan_area, zigzag
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from advisor.kernels.order import steady_senses
from advisor.part.mesh import Mesh
from advisor.passes.levels import level_lines
from advisor.passes.lines import PassLines
from advisor.passes.order import OrderedPasses, longest_link_mm, ordered
from advisor.passes.pieces import no_passes, together


def totals(passes: OrderedPasses, axis: np.ndarray = UP) -> tuple[int, float, float]:
    """Lifts, way from pass to pass where the tool stays down, and in lifts (straight)."""
    centre, starts = passes.lines.centres_mm(5.0, 0.0, axis), passes.lines.starts
    way = np.linalg.norm(centre[starts[1:-1]] - centre[starts[1:-1] - 1], axis=1)
    return int((~passes.is_near).sum()), float(way[passes.is_near].sum()), float(way[~passes.is_near].sum())


def shuffled(lines: PassLines, seed: int) -> PassLines:
    """Passes in another order, some of them drawn the other way round, loops begun elsewhere."""
    rng = np.random.default_rng(seed)
    parts = []
    for p in rng.permutation(lines.count):
        rows = np.arange(lines.starts[p], lines.starts[p + 1])
        if lines.is_closed[p]:
            rows = np.roll(rows[:-1], rng.integers(len(rows)))
            rows = np.append(rows, rows[0])
        if rng.uniform() < 0.5:
            rows = rows[::-1]
        parts.append(one_pass(lines.contact_mm[rows], lines.normal[rows], lines.level[p], bool(lines.is_closed[p])))
    return together(parts)


def check_laws(lines: PassLines, passes: OrderedPasses) -> None:
    """Every pass once, whole, and as it is said to be."""
    assert sorted(passes.source) == list(range(lines.count))
    np.testing.assert_allclose(passes.lines.lengths_mm, lines.lengths_mm[passes.source], rtol=1e-9)
    np.testing.assert_array_equal(passes.lines.level, lines.level[passes.source])
    for n, p in enumerate(passes.source):
        given_points, cut = piece(lines, p), piece(passes.lines, n)
        if not lines.is_closed[p]:
            np.testing.assert_array_equal(cut, given_points[::-1] if passes.is_reversed[n] else given_points)
            continue
        np.testing.assert_array_equal(cut[0], cut[-1])
        row, share = divmod(passes.start[n], 1.0)
        begin = given_points[int(row)]
        if share:
            begin = (1 - share) * begin + share * given_points[int(row) + 1]
        np.testing.assert_allclose(cut[0], begin, atol=1e-9)
        assert {tuple(q) for q in given_points} <= {tuple(q) for q in cut}
        if abs(signed_plan_area(given_points)) > 1e-9:
            assert (signed_plan_area(cut) * signed_plan_area(given_points) < 0) == passes.is_reversed[n]


def test_lines_over_a_rectangle_are_cut_to_and_fro() -> None:
    lines = zigzag(40, 100.0, 0.5)
    for seed in range(3):
        mixed = shuffled(lines, seed)
        passes = ordered(mixed, BALL, UP, 0.5, 5.0, levels="rising")
        check_laws(mixed, passes)
        np.testing.assert_array_equal(passes.lines.level, np.arange(40))
        assert totals(passes) == (0, pytest.approx(39 * 0.5), 0.0)


@pytest.mark.parametrize(("sense", "way"), [("climb", -1.0), ("conventional", 1.0)])
def test_lines_one_way_have_the_uncut_side_on_one_hand(sense: str, way: float) -> None:
    """On a floor cut towards +y, material is on the right of a feed along -x: (-x) x z = +y."""
    lines = shuffled(zigzag(10, 100.0, 0.5), 4)
    passes = ordered(lines, BALL, UP, 0.5, 5.0, levels="rising", open_lines=sense)
    feeds = [piece(passes.lines, n)[-1, 0] - piece(passes.lines, n)[0, 0] for n in range(10)]
    np.testing.assert_allclose(feeds, way * 100.0)
    assert totals(passes)[0] == 9


def test_a_hole_in_a_field_of_lines_costs_one_lift() -> None:
    parts = []
    for i in range(30):
        y = 0.5 * i
        ends = [(0, 30), (50, 100)] if 10 <= i < 20 else [(0, 100)]
        parts += [one_pass([(a, y, 0), (b, y, 0)], UP, i) for a, b in ends]
    lines = shuffled(together(parts), 1)
    passes = ordered(lines, BALL, UP, 0.5, 5.0, levels="rising")
    check_laws(lines, passes)
    assert totals(passes)[:2] == (1, pytest.approx(38 * 0.5))


@pytest.mark.parametrize("seed", range(3))
def test_rings_on_a_floor_from_outside_in_are_one_run(seed: int) -> None:
    """Offsets of a flat disc: level 0 at the rim. The uncut side is inside, on the right of a clockwise feed."""
    rings = together([ring(20.0 - 0.5 * i, 0.0, 0.0, 1.0, i) for i in range(36)])
    lines = shuffled(rings, seed)
    passes = ordered(lines, BALL, UP, 0.5, 1.5, levels="downward")
    check_laws(lines, passes)
    np.testing.assert_array_equal(passes.lines.level, np.arange(36))
    lifts, down, _ = totals(passes)
    assert (lifts, down) == (0, pytest.approx(35 * 0.5, rel=1e-3))
    assert all(signed_plan_area(piece(passes.lines, n)) < 0 for n in range(36))
    other = ordered(lines, BALL, UP, 0.5, 1.5, levels="downward", loops="conventional")
    assert all(signed_plan_area(piece(other.lines, n)) > 0 for n in range(36))


def test_climb_milling_has_the_wall_on_the_right() -> None:
    """Level passes, top down: round a boss clockwise seen from above, in a pocket counter-clockwise.

    A clockwise spindle's tooth moves to -y on the +x side of the cutter: against a feed along +y with material there.
    """
    boss = shuffled(together([ring(10.0, 0.4 * i, 1.0, 0.0, i) for i in range(12)]), 5)
    pocket = shuffled(together([ring(10.0, 0.4 * i, -1.0, 0.0, i) for i in range(12)]), 6)
    for lines, sign in ((boss, -1), (pocket, 1)):
        passes = ordered(lines, BALL, UP, 0.5, 1.5, levels="downward")
        check_laws(lines, passes)
        np.testing.assert_array_equal(passes.lines.level, np.arange(12)[::-1])
        assert all(np.sign(signed_plan_area(piece(passes.lines, n))) == sign for n in range(12))


def test_a_dome_keeps_one_sense_and_is_cut_from_its_top() -> None:
    """Near the top of a dome the uncut side is outside, on its flank the hill is: what is longer decides."""
    dome = shuffled(cap_rings(50.0, 1.0, 60.0, 100), 2)
    passes = ordered(dome, BALL, UP, 0.62, 1.9, levels="downward")
    np.testing.assert_array_equal(passes.lines.level, np.arange(100)[::-1])
    assert all(signed_plan_area(piece(passes.lines, n)) < 0 for n in range(100))
    bowl = shuffled(cap_rings(50.0, 1.0, 60.0, 100, hollow=True), 2)
    passes = ordered(bowl, BALL, UP, 0.62, 1.9, levels="downward")
    assert all(signed_plan_area(piece(passes.lines, n)) > 0 for n in range(100))
    assert passes.lines.contact_mm[0, 2] == pytest.approx(bowl.contact_mm[:, 2].max())


def test_two_pockets_are_finished_one_after_the_other() -> None:
    rings = [ring(15 - 0.3 * i, -0.4 * i, -0.8, 0.6, i, centre=at) for i in range(20) for at in ((0, 0), (60, 10))]
    passes = ordered(shuffled(together(rings), 3), BALL, UP, 0.5, 1.5, levels="downward")
    assert totals(passes)[0] == 1
    np.testing.assert_array_equal(passes.lines.level, [*range(20), *range(20)])


def valley(bottoms: np.ndarray) -> PassLines:
    """Level passes in a hollow that has several bottoms, each as deep as the other."""
    x, y = np.meshgrid(np.linspace(-30, 30, 121), np.linspace(-20, 20, 81), indexing="ij")
    z = -sum(8 * np.exp(-((x - a) ** 2 + (y - b) ** 2) / 60) for a, b in bottoms)
    at = np.arange(x.size).reshape(x.shape)
    a, b, c, d = at[:-1, :-1].ravel(), at[1:, :-1].ravel(), at[1:, 1:].ravel(), at[:-1, 1:].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    mesh = Mesh(np.stack([x.ravel(), y.ravel(), z.ravel()], 1), faces)
    gx, gy = np.gradient(z, x[:, 0], y[0])
    normal = np.stack([-gx, -gy, np.ones_like(z)], 2).reshape(-1, 3)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    flat = level_lines(mesh, mesh.vertices[:, 2], np.linspace(-7.5, -1.0, 27))
    at_points = flat.interpolated(normal[mesh.faces])
    at_points /= np.linalg.norm(at_points, axis=1, keepdims=True)
    return PassLines(
        np.array(flat.points_mm), at_points, np.array(flat.starts), np.array(flat.level), np.array(flat.is_closed)
    )


def test_hollows_that_split_are_finished_branch_by_branch() -> None:
    lines = valley(np.array([[-12.0, 0.0], [12.0, 0.0], [0.0, 8.0]]))
    assert lines.is_closed.all()
    for seed in range(3):
        passes = ordered(shuffled(lines, seed), BALL, UP, 1.2, 5.0, levels="downward")
        # down one branch, over to the next: as many lifts as bottoms but one
        assert totals(passes)[0] == 2
        assert (np.diff(passes.lines.level)[passes.is_near] == -1).all()
        turned = ordered(shuffled(lines, seed), BALL, UP, 1.2, 5.0, levels="downward")
        assert totals(turned) == totals(passes)


def test_hills_that_grow_together_are_each_finished_first() -> None:
    pits = valley(np.array([[-12.0, 0.0], [12.0, 0.0]]))
    flipped = np.array([1.0, 1.0, -1.0])
    normal = pits.normal * [-1.0, -1.0, 1.0]
    hills = PassLines(
        pits.contact_mm * flipped, normal, pits.starts, (26 - pits.level).astype(np.int32), pits.is_closed
    )
    passes = ordered(hills, BALL, UP, 1.2, 5.0, levels="downward")
    assert totals(passes)[0] == 1
    split = np.flatnonzero(~passes.is_near)[0] + 1
    centre = [piece(passes.lines, n)[:, 0].mean() for n in range(passes.lines.count)]
    assert all(np.sign(x) == np.sign(centre[0]) for x in centre[:split])  # all of one hill, none of both
    assert all(signed_plan_area(piece(passes.lines, n)) < 0 for n in range(passes.lines.count))


def test_turned_families_have_turned_orders() -> None:
    lines = shuffled(valley(np.array([[-12.0, 3.0], [11.0, 0.0]])), 7)
    turn = Rotation.from_rotvec([0.4, -1.1, 0.7]).as_matrix()
    other = PassLines(lines.contact_mm @ turn.T, lines.normal @ turn.T, lines.starts, lines.level, lines.is_closed)
    one = ordered(lines, BALL, UP, 1.2, 5.0, levels="downward")
    two = ordered(other, BALL, turn @ UP, 1.2, 5.0, levels="downward")
    np.testing.assert_array_equal(one.source, two.source)
    np.testing.assert_array_equal(one.is_reversed, two.is_reversed)
    np.testing.assert_allclose(one.start, two.start, atol=1e-6)
    assert totals(two, turn @ UP) == pytest.approx(totals(one))


def test_passes_between_loops_are_cut_as_strips_of_their_own() -> None:
    """Twenty loops with a piece between each two, on the same side of all: one lift, not two a loop."""
    turn = np.radians(np.linspace(-20, 20, 30))
    arc = np.stack([np.cos(turn), np.sin(turn), 0 * turn], 1)
    parts = [ring(20.0 - 0.5 * i, -0.1 * i, 0.0, 1.0, 2 * i) for i in range(20)]
    parts += [one_pass((19.75 - 0.5 * i) * arc - [0, 0, 0.1 * i + 0.05], UP, 2 * i + 1) for i in range(19)]
    passes = ordered(shuffled(together(parts), 2), BALL, UP, 0.5, 1.5, levels="downward")
    np.testing.assert_array_equal(passes.lines.is_closed, [True] * 20 + [False] * 19)
    assert totals(passes)[0] == 1


def test_two_sides_of_a_rib_do_not_lie_beside_each_other() -> None:
    sides = [
        one_pass([(0, y, 0.4 * i), (50, y, 0.4 * i)], (0, np.sign(y), 0), i) for i in range(10) for y in (-0.2, 0.2)
    ]
    passes = ordered(together(sides), BALL, UP, 0.5, 5.0, levels="downward")
    assert totals(passes)[0] == 1
    assert (np.diff(passes.lines.contact_mm[passes.lines.starts[:-1], 1])[passes.is_near] == 0).all()


# ------------------------------------------------------------------------------------------------- slow twin


def some_family(seed: int) -> PassLines:
    """Short lines and small loops at random places of levels, on a plane; none of a level beside another."""
    rng = np.random.default_rng(seed)
    parts = []
    for level in range(rng.integers(1, 9)):
        x = rng.uniform(0, 3)
        while x < 25 and len(parts) < 40:
            length = rng.uniform(0.8, 6.0)
            if rng.uniform() < 0.25:
                parts.append(ring(0.3, 0.0, 0.0, 1.0, level, centre=(x, level), count=12))
            else:
                parts.append(one_pass([(x, level, 0), (x + length, level, 0)], UP, level))
            x += length + rng.uniform(0.5, 4.0)
    return shuffled(together(parts), seed) if parts else no_passes()


def sampled(line: np.ndarray, spacing: float) -> np.ndarray:
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate([[0], np.cumsum(steps)])
    at = np.linspace(0, along[-1], int(np.ceil(along[-1] / spacing)) + 1)
    return np.stack([np.interp(at, along, line[:, k]) for k in range(3)], axis=1)


def naive_pairs(lines: PassLines, step: float) -> set[tuple[int, int]]:
    """Passes side by side, the lower level first, by every sample against every other."""
    everything, closed = range(lines.count), lines.is_closed
    loops = naive_found(lines, step, {p: [q for q in everything if closed[q]] for p in everything})
    # open passes with a loop on either side
    between = [not closed[p] and {side for a, _, side in loops if a == p} == {-1, 1} for p in everything]
    alike = {p: [q for q in everything if between[q] == between[p]] for p in everything}
    return {(p, q) if side > 0 else (q, p) for p, q, side in naive_found(lines, step, alike)}


def naive_found(lines: PassLines, step: float, among: dict[int, list[int]]) -> set[tuple[int, int, int]]:
    """For each pass those of the nearest level above (1) and below (-1) that its samples see."""
    places = [sampled(piece(lines, p), step) for p in range(lines.count)]
    seen = set()
    for p in range(lines.count):
        for at in places[p]:
            for side in (-1, 1):
                found = []
                for q in among[p]:
                    gap = (int(lines.level[q]) - int(lines.level[p])) * side
                    apart = np.linalg.norm(places[q] - at, axis=1).min()
                    if gap > 0 and apart <= 3 * step:
                        found.append((gap, apart, q))
                if found:
                    seen.add((p, min(found)[2], side))
    return seen


def naive_next(pairs: set, left: set, last: int, patient: bool) -> list[int]:
    """What lies beside a pass on the next level, and has nothing to wait for if it is patient."""
    return [q for q in sorted(left) if (last, q) in pairs and not (patient and any((a, q) in pairs for a in left))]


def naive_run(lines, curves, pairs: set, left: set, p: int, end: np.ndarray, reach: float, patient: bool) -> int:
    """Passes cut without a lift from a pass that is left at an end."""
    left, count = left - {p}, 1
    while True:
        fresh = naive_next(pairs, left, p, patient)
        entries = [(*naive_entry(curves[q], lines.is_closed[q], end), q) for q in fresh]
        if not entries or min(entry[0] for entry in entries) > reach:
            return count
        _, _, end, p = min(entries, key=lambda entry: entry[0])
        left, count = left - {p}, count + 1


def naive_entry(line: np.ndarray, closed: bool, at: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Distance, where it is begun and where it is left."""
    if not closed:
        ends = [(np.linalg.norm(line[0] - at), line[0], line[-1]), (np.linalg.norm(line[-1] - at), line[-1], line[0])]
        return min(ends, key=lambda end: end[0])
    nearest = (np.inf, at)
    for a, b in pairwise(line):
        place = a + np.clip((at - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1) * (b - a)
        nearest = min(nearest, (np.linalg.norm(place - at), place), key=lambda found: found[0])
    return nearest[0], nearest[1], nearest[1]


def naive_order(lines: PassLines, step: float, reach: float, patient: bool) -> tuple[int, float, float]:
    """Lifts, way down and way in lifts, of the rule in plain words."""
    pairs, centre = naive_pairs(lines, step), lines.contact_mm + 5.0 * lines.normal
    curves = [centre[lines.starts[p] : lines.starts[p + 1]] for p in range(lines.count)]
    group = list(range(lines.count))
    for _ in range(lines.count):
        for a, b in pairs:
            group[a] = group[b] = min(group[a], group[b])
    left, at, last, lifts, down, over = set(range(lines.count)), None, None, 0, 0.0, 0.0
    while left:
        ready = [p for p in sorted(left) if all(a not in left for a, b in pairs if b == p)]
        if last is None:
            p = min(ready, key=lambda p: (lines.level[p], p))
            at = curves[p][0]
        else:
            own = [p for p in ready if group[p] == group[last]] or ready
            # where the tool need not lift
            near = [
                p
                for p in naive_next(pairs, left, last, patient)
                if naive_entry(curves[p], lines.is_closed[p], at)[0] <= reach
            ]
            p = min(near or own, key=lambda p: naive_entry(curves[p], lines.is_closed[p], at)[0])
        way, _, end = naive_entry(curves[p], lines.is_closed[p], at)
        if not lines.is_closed[p] and (last is None or way > reach):
            runs = [naive_run(lines, curves, pairs, left, p, curves[p][k], reach, patient) for k in (-1, 0)]
            if runs[0] != runs[1]:
                begin, end = (curves[p][0], curves[p][-1]) if runs[0] > runs[1] else (curves[p][-1], curves[p][0])
                way = np.linalg.norm(begin - at)
        if last is not None:
            lifts, down, over = lifts + (way > reach), down + way * (way <= reach), over + way * (way > reach)
        left.remove(p)
        at, last = end, p
    return lifts, down, over


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.floats(1.01, 4.0), st.sampled_from(["rising", "downward"]))
def test_totals_are_those_of_the_slow_twin(seed: int, reach: float, levels: str) -> None:
    lines = some_family(seed)
    passes = ordered(lines, BALL, UP, 1.0, reach, levels=levels)
    check_laws(lines, passes)
    turn = {int(p): n for n, p in enumerate(passes.source)}
    if levels == "downward":
        assert all(turn[a] < turn[b] for a, b in naive_pairs(lines, 1.0))
    assert totals(passes) == pytest.approx(naive_order(lines, 1.0, reach, levels == "downward"))


@settings(max_examples=40)
@given(st.lists(st.floats(-5, 5), min_size=1, max_size=9), st.floats(0.0, 0.5))
def test_senses_are_the_best_of_all(gain: list[float], share: float) -> None:
    price = share * np.abs(gain).sum()

    def worth(sense: np.ndarray) -> float:
        return float(sense @ gain - price * (np.diff(sense) != 0).sum())

    every = np.array(np.meshgrid(*[[-1, 1]] * len(gain))).reshape(len(gain), -1).T
    begins = np.zeros(len(gain), bool)
    begins[0] = True
    got = steady_senses(np.array(gain), begins, share)
    assert worth(got) == pytest.approx(max(worth(sense) for sense in every), abs=1e-9)


def test_no_passes_and_faults() -> None:
    assert ordered(no_passes(), BALL, UP, 1.0, 3.0, levels="rising").lines.count == 0
    lone = ordered(zigzag(1, 10.0, 1.0), BALL, UP, 1.0, 3.0, levels="downward")
    assert (lone.lines.count, len(lone.is_near)) == (1, 0)
    with pytest.raises(ValueError, match="step"):
        ordered(no_passes(), BALL, UP, 0.0, 3.0, levels="rising")
    assert (longest_link_mm(0.5, 5.0), longest_link_mm(4.0, 5.0)) == (5.0, 12.0)
