"""Slope of the smooth surface and the class it falls in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.model import SLOPE_CLASSES
from advisor.part.mesh import Floats

FLAT, SHALLOW, STEEP, UNDERCUT = range(len(SLOPE_CLASSES))


@dataclass(frozen=True)
class Thresholds:
    """Slopes at which one class ends and the next begins, degrees.

    A wall within `wall_tolerance_deg` of vertical is a wall: rounding of the file must not make it an undercut.
    """

    flat_below_deg: float
    steep_from_deg: float
    wall_tolerance_deg: float

    @property
    def between_classes_deg(self) -> tuple[float, float, float]:
        """Flat to shallow, shallow to steep, steep to undercut."""
        return (self.flat_below_deg, self.steep_from_deg, 90.0 + self.wall_tolerance_deg)


def slope_deg(normals: Floats, axis: Floats) -> Floats:
    """Angle between normals (any length) and the tool axis, degrees.

    By the two-argument arctangent: the arccosine loses half its digits at 0 and 180 degrees.
    """
    along = normals @ axis
    x, y, z = normals.T
    across = np.sqrt((x - along * axis[0]) ** 2 + (y - along * axis[1]) ** 2 + (z - along * axis[2]) ** 2)
    slopes: Floats = np.degrees(np.arctan2(across, along))
    return slopes


def class_of_facets(slopes_deg: Floats, uncut_deg: Floats, thresholds: Thresholds) -> NDArray[np.int8]:
    """Class number (index in ``model.SLOPE_CLASSES``) of facets cut along the thresholds.

    What lies on a threshold all over counts above it, whatever rounding does. Any other facet lies where its middle
    does, however little it differs: a line over a surface that hardly turns must not jump by facets.

    Parameters
    ----------
    slopes_deg : (m,) float64 array
        Of the middles.
    uncut_deg : (m, 2) float64 array
        Least and greatest slope at the corners of the facet that each is part of, before cutting.
    thresholds : Thresholds
    """
    classes = np.zeros(len(slopes_deg), np.int8)
    low, high = uncut_deg.T
    for bound in thresholds.between_classes_deg:
        is_on = (low > bound - tolerances.ON_THRESHOLD_DEG) & (high < bound + tolerances.ON_THRESHOLD_DEG)
        classes += is_on | (slopes_deg >= bound)
    return classes
