"""What all tests share: number faults raise, hypothesis is repeatable, real parts skip with a reason."""

from __future__ import annotations

import os
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
# Large ones, and exact models, that are made into facets first, take minutes in all: they are asked for by a variable.
LARGE_BYTES = 1_000_000
EXACT_BYTES = 100_000
ALL_PARTS = "ADVISOR_ALL_PARTS"


def skip_if_large(path: Path) -> None:
    """Skip a test on a third-party part that takes long, unless all are asked for."""
    least = EXACT_BYTES if path.suffix == ".step" else LARGE_BYTES
    if path.stat().st_size > least and not os.environ.get(ALL_PARTS):
        pytest.skip(f"a large part: set {ALL_PARTS}=1 for all")


@pytest.fixture(autouse=True)
def _number_faults_raise() -> Iterator[None]:
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        yield


@pytest.fixture
def demo_parts() -> Path:
    return Path(__file__).resolve().parents[1] / "meshes"
