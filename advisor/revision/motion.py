"""A rigid motion: how one surface must be turned and shifted to lie on another. Lengths mm, angles degrees."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from advisor.part.mesh import Floats

# Turns below this have no axis worth the name.
_NO_TURN_DEG = 1e-9


@dataclass(frozen=True)
class Motion:
    """A move ``x' = matrix x + shift``: turned about the origin, then shifted. Never a mirror image.

    Attributes
    ----------
    matrix : (3, 3) float64 array
    shift_mm : (3,) float64 array
    """

    matrix: Floats
    shift_mm: Floats

    def __call__(self, points: Floats) -> Floats:
        """(k, 3) points moved."""
        moved: Floats = points @ self.matrix.T + self.shift_mm
        return moved

    def turned(self, directions: Floats) -> Floats:
        """(k, 3) directions turned."""
        turned: Floats = directions @ self.matrix.T
        return turned

    @cached_property
    def inverse(self) -> Motion:
        """The move back."""
        back = np.ascontiguousarray(self.matrix.T)
        return Motion(back, -(back @ self.shift_mm))

    def after(self, first: Motion) -> Motion:
        """This move after another."""
        return Motion(self.matrix @ first.matrix, self.matrix @ first.shift_mm + self.shift_mm)

    @cached_property
    def turn_deg(self) -> float:
        """Turn about the axis, 0 to 180."""
        m = self.matrix
        twice_sine = math.sqrt((m[2, 1] - m[1, 2]) ** 2 + (m[0, 2] - m[2, 0]) ** 2 + (m[1, 0] - m[0, 1]) ** 2)
        return math.degrees(math.atan2(twice_sine, float(np.trace(m)) - 1.0))

    @cached_property
    def axis(self) -> Floats:
        """(3,) unit vector that the turn is about, by the right hand; +Z where nothing turns."""
        if self.turn_deg < _NO_TURN_DEG:
            return np.array([0.0, 0.0, 1.0])
        m = self.matrix
        if self.turn_deg < 170.0:
            axis = np.array([m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]])
            return np.asarray(axis / np.linalg.norm(axis))
        # near half a turn the difference vanishes: (m + m^T) / 2 = a a^T (1 - cos) + cos
        cosine = math.cos(math.radians(self.turn_deg))
        square = ((m + m.T) / 2 - cosine * np.eye(3)) / (1.0 - cosine)
        axis = square[:, int(np.argmax(np.diag(square)))]
        axis = axis / np.linalg.norm(axis)
        twist = np.array([m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]])
        side = float(twist @ axis)
        if side < 0.0 or (side == 0.0 and axis[int(np.argmax(np.abs(axis) > 1e-6))] < 0.0):
            axis = -axis
        return np.asarray(axis)

    def farthest_mm(self, points: Floats) -> float:
        """How far the move carries the one of (k, 3) points that it carries furthest."""
        return float(np.linalg.norm(self(points) - points, axis=1).max(initial=0.0))


STILL = Motion(np.eye(3), np.zeros(3))


def about(matrix: Floats, before: Floats, after: Floats) -> Motion:
    """The move with a turn that carries point `before` to point `after`."""
    return Motion(matrix, after - matrix @ before)


def turn_matrix(axis: Floats, turn_deg: float) -> Floats:
    """(3, 3) turn by the right hand about a unit vector (Rodrigues)."""
    angle = math.radians(turn_deg)
    x, y, z = axis
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    matrix: Floats = np.eye(3) + math.sin(angle) * cross + (1.0 - math.cos(angle)) * (cross @ cross)
    return matrix


def nearest_turn(matrix: Floats) -> Floats:
    """(3, 3) the turn nearest to a matrix that is one but for rounding, by its singular vectors."""
    left, _, right = np.linalg.svd(matrix)
    left[:, -1] *= np.sign(np.linalg.det(left @ right))
    turn: Floats = left @ right
    return turn
