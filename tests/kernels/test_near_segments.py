"""The nearest segment in steps, against every segment asked at many places along it."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from advisor.kernels.near_segments import near_segments


def _steps_by_sampling(place, slowness, pull, a, b) -> float:  # type: ignore[no-untyped-def]
    way = a + np.linspace(0.0, 1.0, 401)[:, None] * (b - a) - place
    return float(np.sqrt(slowness**2 * (way**2).sum(axis=1) + (way @ pull) ** 2).min())


@given(st.integers(0, 2**31), st.integers(2, 30), st.floats(0.5, 4.0))
def test_nearest_segments_are_those_of_a_search_of_all(seed: int, count: int, spread: float) -> None:
    rng = np.random.default_rng(seed)
    points, point_normals = rng.uniform(-spread, spread, (count, 3)), rng.normal(size=(count, 3))
    places, normals = rng.uniform(-spread, spread, (12, 3)), rng.normal(size=(12, 3))
    slowness, pull = rng.uniform(0.5, 2.0, 12), rng.uniform(-2.0, 2.0, (12, 3))
    ends_here = rng.random(count) < 0.3
    ends_here[-1] = True
    found = near_segments(places, normals, slowness, pull, points, point_normals, ends_here, 1.0)
    for i in range(12):
        near = [
            _steps_by_sampling(places[i], slowness[i], pull[i], points[j], points[j + 1])
            for j in np.flatnonzero(~ends_here)
            if point_normals[j] @ normals[i] >= 0.0
        ]
        least = min(near, default=np.inf)
        if least < 0.99:
            assert abs(found[i] - least) < 0.02
        elif least > 1.02:
            assert found[i] == np.inf
