"""Hollows: what faces its own middle, and what does so all round."""

from __future__ import annotations

import numpy as np

from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Ints, Mesh

# A level face pushes nowhere: rounding must not make it hollow.
_LEVEL_SHARE = 1e-9
# Normals of a hole that is broken into by no more than a slot (45 degrees of its round) add up to less than this share
# of their sum by size.
_CLOSED_SHARE = 0.15


def faces_its_middle(mesh: Mesh, label: Ints, count: int, axis: Floats) -> Flags:
    """(count,) labels whose facets face the middle of the label in plan rather than away from it."""
    outward = np.zeros(count)
    total = np.bincount(label, mesh.area_mm2, minlength=count)
    middle = mesh.middle
    for direction in plan_axes(axis):
        place = middle @ direction
        centre = np.bincount(label, mesh.area_mm2 * place, minlength=count) / np.maximum(total, 1e-300)
        lean = mesh.area_mm2 * (mesh.normal @ direction)
        outward += np.bincount(label, lean * (place - centre[label]), minlength=count)
    hollow: Flags = outward < -_LEVEL_SHARE * total * mesh.reach_mm
    return hollow


def closes_all_round(mesh: Mesh, label: Ints, count: int, axis: Floats) -> Flags:
    """(count,) labels that lie all round in plan: all round normals cancel, those of a whole hole add up to nothing.

    Told of hills and of hollows alike.
    """
    net = np.zeros(count)
    upright = np.sqrt(np.maximum(1.0 - (mesh.normal @ axis) ** 2, 0.0))
    for direction in plan_axes(axis):
        net = np.hypot(net, np.bincount(label, mesh.area_mm2 * (mesh.normal @ direction), minlength=count))
    closed: Flags = net < _CLOSED_SHARE * np.bincount(label, mesh.area_mm2 * upright, minlength=count)
    return closed
