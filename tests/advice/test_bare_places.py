"""Places that passes leave too high, told from proof points with heights that are known."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from advisor.advice.bare_places import bare_places


def test_places_are_what_hangs_together_over_target_and_tolerance() -> None:
    """A square, a point a mm2: one corner not cut, one 30 um high, one hidden, and a row within tolerance."""
    x, y = (each.ravel() + 0.5 for each in np.meshgrid(np.arange(40.0), np.arange(40.0), indexing="ij"))
    height = np.full(1600, 0.004)
    height[(x < 10) & (y < 5)] = np.inf
    height[(x > 30) & (y > 34)] = 0.03
    height[y == 20.5] = 0.0149  # the target and the path tolerance are 0.015
    height[(x == 20.5) & (y == 30.5)] = 0.1  # one point is chance
    hidden = (x > 30) & (y < 5)
    height[hidden] = np.inf
    points = SimpleNamespace(
        point_mm=np.column_stack([x, y, np.zeros(1600)]), area_mm2=np.ones(1600), out_of_reach=hidden
    )
    laid = SimpleNamespace(points=points, proof=SimpleNamespace(height_mm=height))
    advice = SimpleNamespace(cusp_um=SimpleNamespace(target=5.0, p95=4.0))
    high, bare = bare_places([(7, advice, laid)], 0.01)  # type: ignore[list-item]
    assert (high.zone, high.area_mm2) == (7, 60.0) and high.max_um == pytest.approx(30.0)
    assert (bare.area_mm2, bare.max_um) == (50.0, None)
    assert bare.middle_mm[0] < 10 and bare.middle_mm[1] < 5


def test_nothing_is_told_of_what_keeps_within() -> None:
    points = SimpleNamespace(point_mm=np.random.rand(100, 3), area_mm2=np.ones(100), out_of_reach=np.zeros(100, bool))
    laid = SimpleNamespace(points=points, proof=SimpleNamespace(height_mm=np.full(100, 0.01)))
    advice = SimpleNamespace(cusp_um=SimpleNamespace(target=5.0, p95=4.0))
    assert bare_places([(1, advice, laid)], 0.01) == ()  # type: ignore[list-item]
