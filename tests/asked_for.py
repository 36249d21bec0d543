"""What tests leave out unless ``ADVISOR_ALL_PARTS=1`` is set: more parts, seeds and examples of the same.

A law is never left out whole: what stays shows it on the parts, or the examples, on which it is most likely to break.
"""

from __future__ import annotations

import os
from typing import Any

import pytest

ALL_PARTS = "ADVISOR_ALL_PARTS"
IS_ALL = bool(os.environ.get(ALL_PARTS))


def more(*values: Any, id: str | None = None) -> Any:
    """A row of a parametrized test that is run where all is asked for."""
    left_out = pytest.mark.skipif(not IS_ALL, reason=f"more of the same: set {ALL_PARTS}=1 for all")
    return pytest.param(*values, id=id, marks=left_out)


def few_of(few: Any, every: Any) -> Any:
    """Few parts, settings or examples, or every one where all is asked for."""
    return every if IS_ALL else few
