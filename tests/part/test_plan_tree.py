"""The tree of facets in plan, against asking every facet."""

from __future__ import annotations

import numpy as np
from asked_for import few_of
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.part.frame import plan_axes
from advisor.part.plan_tree import plan_tree


@settings(max_examples=few_of(20, 60), deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 300))
def test_what_lies_above_a_point_is_what_every_facet_asked_says(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    axis = rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    corners = rng.normal(size=(count, 1, 3)) + rng.uniform(0.05, 1.0) * rng.normal(size=(count, 3, 3))
    tree = plan_tree(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3), axis)
    points = rng.normal(size=(60, 3))
    assert sorted(tree.facet) == list(range(count))
    np.testing.assert_array_equal(tree.is_covered(points), [_covered(p, corners, axis) for p in points])


def _covered(point: np.ndarray, corners: np.ndarray, axis: np.ndarray) -> bool:
    frame = np.vstack([plan_axes(axis), axis])
    x, y, z = point @ frame.T
    for a, b, c in corners @ frame.T:
        shares = np.linalg.solve(np.array([[a[0], b[0], c[0]], [a[1], b[1], c[1]], [1, 1, 1]]), [x, y, 1])
        if (shares >= 0).all() and shares @ [a[2], b[2], c[2]] > z:
            return True
    return False


def test_like_middles_and_no_facets_at_all_are_no_trouble() -> None:
    axis = np.array([0.0, 0.0, 1.0])
    corners = np.tile([[0.0, 0, 1], [1, 0, 1], [0, 1, 1]], (500, 1))
    tree = plan_tree(corners, np.arange(1500).reshape(-1, 3), axis)
    points = np.array([[0.2, 0.2, 0], [0.2, 0.2, 2], [0.8, 0.8, 0]])
    np.testing.assert_array_equal(tree.is_covered(points), [True, False, False])
    none = plan_tree(corners, np.zeros((0, 3), np.int64), axis)
    assert not none.is_covered(points).any()
