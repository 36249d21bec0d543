"""Directions of a set-up."""

from __future__ import annotations

import numpy as np

from advisor.part.mesh import Floats

# A tool axis this near the part's X has no use for X as its own: Y takes its place.
_NEAR_X = 0.9


def plan_axes(axis: Floats) -> Floats:
    """(2, 3) unit vectors X and Y of the set-up: the part's +X laid into the plan, and Y to its left.

    Where the tool axis lies near the part's X, the part's +Y is laid into the plan instead.
    """
    lead = np.array([1.0, 0.0, 0.0]) if abs(axis[0]) < _NEAR_X else np.array([0.0, 1.0, 0.0])
    x = lead - (lead @ axis) * axis
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(axis, x)])
