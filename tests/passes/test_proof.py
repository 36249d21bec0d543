"""What is told of gouges: below both the smooth surface and the facets, and no deeper than the cutter really goes."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cutter.cutter import Cutter
from advisor.passes.laid import ProofPoints, proved

UP = np.array([0.0, 0.0, 1.0])
RADIUS = 3.0


def depth_of(point, normal, over, centres, stock_mm=0.0):
    count = len(point)
    points = ProofPoints(
        point, np.broadcast_to(normal, (count, 3)).copy(), np.ones(count), np.zeros(count, np.int64),
        np.broadcast_to(over, count).copy(), np.zeros(count, bool),
    )  # fmt: skip
    laid = SimpleNamespace(
        centres_mm=centres, passes=SimpleNamespace(lines=SimpleNamespace(starts=np.array([0, len(centres)])))
    )
    place = SimpleNamespace(cutter=Cutter(2 * RADIUS, RADIUS), stock_left_mm=stock_mm, axis=UP, path_mm=0.002)
    return proved(laid, points, place, 0.01)


@given(st.floats(0.0, 0.05), st.floats(-0.01, 0.08), st.floats(0.0, 0.3))
def test_a_cut_down_to_the_facet_is_no_gouge(over_mm: float, deep_mm: float, stock_mm: float) -> None:
    """A ball along a line on a plane: `deep_mm` below the smooth surface, which stands `over_mm` over the facet."""
    along = np.column_stack([np.linspace(-5, 5, 21), np.zeros(21), np.zeros(21)])
    centres = np.array([[-10.0, 0.0, 0.0], [10.0, 0.0, 0.0]]) + (RADIUS + stock_mm - deep_mm) * UP
    proof = depth_of(along, UP, over_mm, centres, stock_mm)
    np.testing.assert_allclose(proof.height_mm, -deep_mm + 0.0, atol=1e-9)
    assert proof.gouge_mm == pytest.approx(max(deep_mm - over_mm - stock_mm, 0.0), abs=1e-9)


@pytest.mark.parametrize("deep_mm", [0.005, 0.05, 0.4])
def test_a_ball_beside_an_edge_goes_in_as_deep_as_it_does(deep_mm: float) -> None:
    """It runs down a wall and cuts `deep_mm` into it; seen from the edge, along the face in front, into all of it."""
    edge = np.column_stack([np.full(9, -deep_mm / 2), np.zeros(9), np.linspace(-4, 4, 9)])
    centres = np.array([[RADIUS - deep_mm, 0.02, -10.0], [RADIUS - deep_mm, 0.02, 10.0]])
    proof = depth_of(edge, np.array([0.0, -1.0, 0.0]), 0.0, centres)
    inside = RADIUS - np.hypot(RADIUS - deep_mm / 2, 0.02)
    assert (-proof.height_mm > 2 * deep_mm).all()
    assert (proof.depth_mm >= inside - 1e-9).all() and inside > 0.0
    assert proof.gouge_mm <= np.sqrt(2.0) * deep_mm
