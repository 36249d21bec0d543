"""What all tests share: number faults raise, hypothesis is repeatable, real parts skip with a reason."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "repeatable", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("repeatable")

# Third-party parts lie beside a checkout; their licences forbid none of it, but they are not this project's to ship.
REAL_PARTS = Path(__file__).resolve().parents[2] / "shared" / "meshes"


@pytest.fixture(autouse=True)
def _number_faults_raise() -> Iterator[None]:
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        yield


@pytest.fixture
def demo_parts() -> Path:
    return Path(__file__).resolve().parents[1] / "meshes"
