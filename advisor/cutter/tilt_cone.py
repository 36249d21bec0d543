"""Tool axes tilted round that of a set-up, and facets seen along them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.turned_tree import turned_boxes
from advisor.part.frame import plan_axes
from advisor.part.mesh import Floats
from advisor.part.plan_tree import PlanTree

# Tilts that are asked, as far as the machine goes; for the tip's sake hardly more (common practice, no source).
ASKED_TILTS_DEG = (5.0, 10.0, 15.0, 20.0, 30.0)
# Azimuths of each: 30 deg apart.
ASKED_AZIMUTHS = 12
# Steps from one of them to the next at which a tilt that is told is asked as well: 10 deg apart.
FINE_STEPS = 3


@dataclass(frozen=True)
class TiltCone:
    """Tool axes of a set-up: upright first, then tilt by tilt all azimuths.

    Attributes
    ----------
    frame : (3, 3) float64 array
        Rows are X, Y and tool axis of the set-up.
    axes : (c, 3) float64 array
        Unit vectors from the part to the spindle.
    tilt_deg, azimuth_deg : (c,) float64 array
        Angle to the set-up's tool axis, and which way the spindle leans: from X of the set-up about the tool axis.
    tilts_deg : tuple of float
        The tilts asked, ascending, 0 not among them.
    """

    frame: Floats
    axes: Floats
    tilt_deg: Floats
    azimuth_deg: Floats
    tilts_deg: tuple[float, ...]

    def rows(self, tilt: int) -> NDArray[np.int64]:
        """Axes of the n-th tilt, by azimuth."""
        return 1 + tilt * ASKED_AZIMUTHS + np.arange(ASKED_AZIMUTHS)

    def between(self, tilt: int) -> tuple[Floats, Floats]:
        """Axes of the n-th tilt towards azimuths between those asked, and these azimuths, deg, ascending."""
        count = ASKED_AZIMUTHS * FINE_STEPS
        place = np.arange(count)
        azimuth = place[place % FINE_STEPS > 0] * 360.0 / count
        return leaning(self.tilts_deg[tilt], azimuth) @ self.frame, azimuth


def tilt_cone(axis: Floats, max_tilt_deg: float) -> TiltCone:
    """Tool axes tilted against an axis by ``ASKED_TILTS_DEG`` and at most `max_tilt_deg`, all round.

    A machine that stops between two of the tilts is asked for its own limit as well.
    """
    tilts = [tilt for tilt in ASKED_TILTS_DEG if tilt <= max_tilt_deg]
    if 0.0 < max_tilt_deg < ASKED_TILTS_DEG[-1] and max_tilt_deg not in tilts:
        tilts.append(max_tilt_deg)
    frame = np.vstack([plan_axes(axis), axis])
    tilt = np.concatenate([[0.0], np.repeat(tilts, ASKED_AZIMUTHS)])
    azimuth = np.concatenate([[0.0], np.tile(np.arange(ASKED_AZIMUTHS) * 360.0 / ASKED_AZIMUTHS, len(tilts))])
    axes = leaning(tilt, azimuth) @ frame
    for array in (frame, axes, tilt, azimuth):
        array.setflags(write=False)
    return TiltCone(frame, axes, tilt, azimuth, tuple(tilts))


def leaning(tilt_deg: Floats | float, azimuth_deg: Floats) -> Floats:
    """(k, 3) unit vectors in the frame of a set-up that lean by a tilt towards azimuths."""
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg)
    sine = np.sin(tilt)
    return np.stack(np.broadcast_arrays(sine * np.cos(azimuth), sine * np.sin(azimuth), np.cos(tilt)), axis=-1)


def seen_along(tree: PlanTree, axis: Floats) -> PlanTree:
    """A tree of the same facets seen along another axis.

    Facets keep their places in it, and boxes their planes, which are good ones while the axis is not far off: finding
    them takes most of the time that a tree does. The answers are exact whatever the axis.
    """
    frame = np.vstack([plan_axes(axis), axis])
    turn = frame @ tree.frame.T
    corners = np.ascontiguousarray(tree.corners @ turn.T)
    return PlanTree(frame, corners, tree.facet, turned_boxes(corners, tree.levels, tree.box, turn), tree.levels)
