"""Third-party parts: where they lie, and which of them take long."""

from __future__ import annotations

from pathlib import Path

import pytest
from asked_for import ALL_PARTS, IS_ALL

# They lie beside a checkout; their licences forbid none of it, but they are not this project's to ship.
REAL_PARTS = Path(__file__).resolve().parents[2] / "shared" / "meshes"
# Large ones, and exact models, that are made into facets first, take minutes in all (asked_for.py).
LARGE_BYTES = 175_000
EXACT_BYTES = 80_000


def skip_if_large(path: Path) -> None:
    """Skip a test on a third-party part that takes long, unless all are asked for."""
    least = EXACT_BYTES if path.suffix == ".step" else LARGE_BYTES
    if path.stat().st_size > least and not IS_ALL:
        pytest.skip(f"a large part: set {ALL_PARTS}=1 for all")
