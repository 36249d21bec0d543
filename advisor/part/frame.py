"""Directions of a set-up, and what heights along its axis are called."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from advisor.part.mesh import Floats

AXES: Final = ("X", "Y", "Z")
# What heights along an axis that leans are called: they are those along it.
LEANING: Final = "height"
# A tool axis this near the part's X has no use for X as its own: Y takes its place.
_NEAR_X = 0.9
# Axes that differ from one of the part's by rounding of a job's vector are that one.
_ALONG = 1.0 - 1e-9


def plan_axes(axis: Floats) -> Floats:
    """(2, 3) unit vectors X and Y of the set-up: the part's +X laid into the plan, and Y to its left.

    Where the tool axis lies near the part's X, the part's +Y is laid into the plan instead.
    """
    lead = np.array([1.0, 0.0, 0.0]) if abs(axis[0]) < _NEAR_X else np.array([0.0, 1.0, 0.0])
    x = lead - (lead @ axis) * axis
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(axis, x)])


def height_word(axis: Floats | Sequence[float]) -> tuple[str, float]:
    """What heights along a tool axis are called, and what they are times to be so: ``X``, ``Y`` or ``Z`` of the part.

    Along an axis that leans they are ``height``, as they are.

    >>> height_word((0.0, 0.0, 1.0)), height_word((-1.0, 0.0, 0.0)), height_word((0.0, 0.6, 0.8))
    (('Z', 1.0), ('X', -1.0), ('height', 1.0))
    """
    for name, share in zip(AXES, axis, strict=True):
        if abs(share) >= _ALONG:
            return name, 1.0 if share > 0.0 else -1.0
    return LEANING, 1.0
