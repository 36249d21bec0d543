"""Families of passes that can be written down, for the tests of order, links, spirals and times."""

from __future__ import annotations

import numpy as np

from advisor.passes.lines import PassLines
from advisor.passes.pieces import LedPoint, together

UP = np.array([0.0, 0.0, 1.0])
BALL = LedPoint(5.0, 0.0)


def one_pass(contact: np.ndarray, normal: np.ndarray, level: int, closed: bool = False) -> PassLines:
    return PassLines(
        np.array(contact, float), np.array(np.broadcast_to(normal, np.shape(contact)), float),
        np.array([0, len(contact)]), np.array([level], np.int32), np.array([closed]),
    )  # fmt: skip


def zigzag(count: int, length: float, step: float) -> PassLines:
    lines = [[(0, i * step, 0), (length, i * step, 0)] for i in range(count)]
    return together([one_pass(line, UP, i) for i, line in enumerate(lines)])


def ring(radius: float, z: float, normal_out: float, normal_up: float, level: int, **more: float) -> PassLines:
    """A circle about the axis, counter-clockwise from above."""
    centre, count = more.get("centre", (0.0, 0.0)), int(more.get("count", 180))
    turn = np.linspace(0, 2 * np.pi, count + 1)
    out = np.stack([np.cos(turn), np.sin(turn), 0 * turn], 1)
    out[-1] = out[0]
    return one_pass(radius * out + [*centre, z], normal_out * out + normal_up * UP, level, True)


def cap_rings(radius: float, from_deg: float, to_deg: float, count: int, hollow: bool = False) -> PassLines:
    """Level circles of a dome, or of a bowl, of a sphere; level 0 the lowest."""
    slopes = np.radians(np.linspace(to_deg, from_deg, count))
    if hollow:
        slopes = slopes[::-1]
        rings = [ring(radius * np.sin(a), -radius * np.cos(a), -np.sin(a), np.cos(a), i) for i, a in enumerate(slopes)]
    else:
        rings = [ring(radius * np.sin(a), radius * np.cos(a), np.sin(a), np.cos(a), i) for i, a in enumerate(slopes)]
    return together(rings)


def signed_plan_area(points: np.ndarray) -> float:
    """Positive where a loop runs counter-clockwise seen from above."""
    x, y = points[:, 0], points[:, 1]
    return float(0.5 * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


def piece(lines: PassLines, number: int) -> np.ndarray:
    return lines.contact_mm[lines.starts[number] : lines.starts[number + 1]]
