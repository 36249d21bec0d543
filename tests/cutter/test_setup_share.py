"""Which set-up has what of a face that none reaches whole: small grids of squares, worked out by hand."""

from __future__ import annotations

import numpy as np

from advisor.cutter.setup_cover import _in_order
from advisor.cutter.setup_share import _with_neighbours, split_order, without_crumbs
from advisor.part.mesh import Mesh

COLUMNS, ROWS = 12, 4


def grid() -> Mesh:
    """Squares of 1 mm, two facets each; facet 2 (row COLUMNS + column) and the next are one square."""
    x, y = np.meshgrid(np.arange(COLUMNS + 1.0), np.arange(ROWS + 1.0))
    vertices = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1)
    faces = []
    for row in range(ROWS):
        for column in range(COLUMNS):
            a = row * (COLUMNS + 1) + column
            faces += [(a, a + 1, a + COLUMNS + 2), (a, a + COLUMNS + 2, a + COLUMNS + 1)]
    return Mesh(vertices, np.array(faces, np.int32))


def squares(columns: slice, rows: slice = slice(None)) -> np.ndarray:
    chosen = np.zeros((ROWS, COLUMNS), bool)
    chosen[rows, columns] = True
    return np.repeat(chosen.ravel(), 2)


def shared(own: np.ndarray, by_facet: np.ndarray, face: np.ndarray | None = None, least_mm2: float = 3.0) -> np.ndarray:
    mesh = grid()
    face = np.zeros(len(mesh.faces), np.int32) if face is None else face
    return without_crumbs(mesh, face, np.ones(len(mesh.faces), bool), own, by_facet, least_mm2)


def test_a_crumb_joins_what_reaches_it_and_a_piece_that_gains_something_stays() -> None:
    left = squares(slice(0, 6))
    own = np.where(left, 0, 1)
    crumb = squares(slice(2, 4), slice(1, 2))  # 2 mm2 of the other set-up amid the left half
    own[crumb] = 1
    by_facet = np.array([left, ~left | crumb])
    assert np.array_equal(shared(own, by_facet), np.where(left, 0, 1))
    # where only its own set-up reaches it, it goes nowhere unless it is small
    alone = np.array([left & ~crumb, ~left | crumb])
    assert np.array_equal(shared(own, alone, least_mm2=1.0), own)


def test_what_a_larger_neighbour_reaches_as_well_gains_nothing_whatever_its_size() -> None:
    left = squares(slice(0, 5))  # 20 of 48 mm2, and the other set-up reaches all
    own = np.where(left, 0, 1)
    assert (shared(own, np.array([left, np.ones_like(left)])) == 1).all()
    # but a smaller one takes nothing away from a larger one
    assert np.array_equal(shared(own, np.array([np.ones_like(left), ~left])), own)
    # and nobody takes from another face
    face = np.where(left, 0, 1).astype(np.int32)
    assert np.array_equal(shared(own, np.array([left, np.ones_like(left)]), face), own)


def test_set_ups_of_a_face_come_by_what_they_add() -> None:
    area = np.array([1.0, 2.0, 3.0, 1.0])
    by_facet = np.array([[1, 0, 0, 0], [0, 1, 1, 0], [1, 1, 0, 1]], bool)
    assert split_order(np.zeros(4, np.int64), area, by_facet)[:, 0].tolist() == [1, 2, 0]
    # what another has already adds nothing: the second largest comes last, of two faces each by itself
    nested = np.array([[0, 1, 1, 0, 0], [0, 0, 0, 1, 0], [1, 1, 1, 0, 0], [0, 0, 0, 0, 1]], bool)
    told = split_order(np.array([0, 0, 0, 0, 1]), np.array([1.0, 2.0, 3.0, 1.0, 1.0]), nested)
    assert told[:2, 0].tolist() == [2, 1] and told[0, 1] == 3
    order, added = _in_order([0, 1, 2], by_facet, area)
    assert order.tolist() == [0, 1, 2]  # the job's own comes first, whatever it adds
    np.testing.assert_allclose(added, np.array([1.0, 5.0, 1.0]) / 7.0)
    order, added = _in_order([2, 1], by_facet, area)
    assert order.tolist() == [1, 2]
    np.testing.assert_allclose(added, np.array([5.0, 2.0]) / 7.0)


def test_facets_go_with_most_of_their_rim_where_the_set_up_there_reaches_them() -> None:
    mesh, left = grid(), squares(slice(0, 6))
    face, half = np.zeros(len(mesh.faces), np.int32), np.where(left, 0, 1)
    own, odd, unreached = half.copy(), squares(slice(2, 3), slice(1, 2)), squares(slice(8, 9), slice(2, 3))
    odd[np.flatnonzero(odd)[1]] = False  # one facet of a square each, and one that none has
    unreached[np.flatnonzero(unreached)[1]] = False
    own[odd], own[unreached], own[0] = 1, -1, -1
    every = np.ones((2, len(own)), bool)

    def moved(by_facet: np.ndarray, is_split: np.ndarray = left | ~left) -> np.ndarray:
        return _with_neighbours(mesh, face, is_split, own, by_facet)

    assert np.array_equal(moved(every), half)
    # nobody goes where he is not reached, none has no say, and what is not split stays
    only = np.array([~odd, every[1] & ~unreached])
    expected = half.copy()
    expected[odd], expected[unreached] = 1, -1
    assert np.array_equal(moved(only), expected)
    assert np.array_equal(moved(every, odd), np.where(odd, 0, own))
    # nor does anybody go with what lies in another face
    assert np.array_equal(_with_neighbours(mesh, odd.astype(np.int32), every[0], own, every)[odd], own[odd])


def test_what_none_reaches_joins_what_lies_beside_it_and_small_islands_in_it_join_it() -> None:
    left = squares(slice(0, 6))
    hole = squares(slice(2, 4), slice(1, 2))
    own = np.where(left, 0, 1)
    own[hole] = -1
    by_facet = np.array([left & ~hole, ~left])
    assert np.array_equal(shared(own, by_facet), np.where(left, 0, 1))
    sea = np.full(len(own), -1)
    sea[hole] = 0
    assert (shared(sea, np.array([hole, 0 * hole > 0])) == -1).all()
    assert np.array_equal(shared(sea, np.array([hole, 0 * hole > 0]), least_mm2=1.0), sea)
