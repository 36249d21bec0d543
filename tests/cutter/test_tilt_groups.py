"""As few orientations as serve all zones: against every choice there is."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.cutter.tilt_groups import fewest_orientations


def every_choice(is_good: np.ndarray, tilt: np.ndarray) -> tuple[int, ...]:
    """Of all choices that serve every zone the smallest, then the least tilt in sum, then the earliest."""
    for count in range(is_good.shape[1] + 1):
        served = [c for c in combinations(range(is_good.shape[1]), count) if is_good[:, list(c)].any(axis=1).all()]
        if served:
            return min(served, key=lambda c: (float(tilt[list(c)].sum()), c))
    raise AssertionError("a zone has no orientation")


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 10_000))
def test_no_choice_is_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    zones, count = rng.integers(0, 9), rng.integers(1, 11)
    is_good = rng.random((zones, count)) < rng.uniform(0.1, 0.6)
    is_good[np.arange(zones), rng.integers(0, count, zones)] = True
    tilt = np.sort(rng.choice([0.0, 5.0, 10.0, 15.0, 20.0], count))
    assert fewest_orientations(is_good, tilt) == every_choice(is_good, tilt)


def test_many_zones_end_in_time() -> None:
    rng = np.random.default_rng(1)
    is_good = rng.random((300, 61)) < 0.2
    is_good[:, 0] |= ~is_good.any(axis=1)
    tilt = np.r_[0.0, np.repeat([5.0, 10.0, 15.0, 20.0, 30.0], 12)]
    chosen = fewest_orientations(is_good, tilt)
    assert is_good[:, list(chosen)].any(axis=1).all()
