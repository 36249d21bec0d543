"""Holes that the ball does not enter, and other tiny features, are noted together: they are no surfaces to finish."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.label_bounds import bounds_by_label
from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.zones.areas import borders
from advisor.zones.classes import STEEP

# A floor, rim or chamfer goes with the holes it shares more than this part of its border with.
_BORDER_SHARE = 0.5
_MOST_ROUNDS = 4
_LEVEL_SHARE = 1e-9


def collect_small_features(
    mesh: Mesh, label: Ints, facet_class: NDArray[np.int8], axis: Floats, ball_mm: float
) -> tuple[Ints, Ints]:
    """Give all small features of a class one label, where there are several.

    Small is: a hollow wall (a hole) narrower than the ball, anything smaller than a share of the part, what lies
    mostly between such, and what is left beyond the largest of very many areas.

    Returns
    -------
    label : (m,) int32 array
        From 0 again.
    features : (k,) int32 array
        How many features each label stands for.
    """
    count = int(label.max()) + 1
    class_of = np.zeros(count, np.int8)
    class_of[label] = facet_class
    size = _plan_size(mesh, label, count, axis)
    tiny = size < tolerances.SMALL_FEATURE_SHARE_OF_SIZE * mesh.reach_mm
    narrow = size < ball_mm
    small = tiny | (narrow & (class_of >= STEEP) & _is_hollow(mesh, label, count, axis))
    small = _with_what_lies_between(mesh, label, small, narrow)
    small |= _beyond_the_largest(np.asarray(np.bincount(label, mesh.area_mm2, minlength=count), dtype=np.float64))
    target = np.arange(count)
    features = np.ones(count, np.int32)
    for number in np.unique(class_of[small]):
        members = np.flatnonzero(small & (class_of == number))
        if len(members) >= tolerances.FEWEST_FEATURES_TO_COLLECT:
            target[members] = members[0]
            features[members[0]] = len(members)
    kept, renumbered = np.unique(target, return_inverse=True)
    return renumbered[label].astype(np.int32), features[kept]


def _beyond_the_largest(area_mm2: Floats) -> Flags:
    """Areas beyond the ``MOST_ZONES`` largest."""
    beyond = np.zeros(len(area_mm2), bool)
    if len(area_mm2) > tolerances.MOST_ZONES:
        beyond[np.argsort(-area_mm2, kind="stable")[tolerances.MOST_ZONES :]] = True
    return beyond


def _plan_size(mesh: Mesh, label: Ints, count: int, axis: Floats) -> Floats:
    """Largest extent of each label in plan, over four directions, mm."""
    x, y = plan_axes(axis)
    size = np.zeros(count)
    for direction in (x, y, (x + y) / np.sqrt(2), (x - y) / np.sqrt(2)):
        bounds = bounds_by_label(mesh.vertices @ direction, mesh.faces, label, count)
        size = np.maximum(size, bounds[:, 1] - bounds[:, 0])
    return size


def _is_hollow(mesh: Mesh, label: Ints, count: int, axis: Floats) -> Flags:
    """Whether the facets of a label face its middle rather than away from it."""
    plan = plan_axes(axis)
    outward = np.zeros(count)
    total = np.bincount(label, weights=mesh.area_mm2, minlength=count)
    for direction in plan:
        place = mesh.middle @ direction
        centre = np.bincount(label, weights=mesh.area_mm2 * place, minlength=count) / total
        push = mesh.area_mm2 * (mesh.normal @ direction) * (place - centre[label])
        outward += np.bincount(label, weights=push, minlength=count)
    # a level face pushes nowhere: rounding must not make it hollow
    hollow: Flags = outward < -_LEVEL_SHARE * total * mesh.reach_mm
    return hollow


def _with_what_lies_between(mesh: Mesh, label: Ints, small: Flags, may_follow: Flags) -> Flags:
    edge = borders(mesh, label)
    ends = np.concatenate([edge.one, edge.other])
    others = np.concatenate([edge.other, edge.one])
    length = np.concatenate([edge.length_mm, edge.length_mm])
    rim = np.bincount(ends, weights=length, minlength=len(small))
    for _ in range(_MOST_ROUNDS):
        beside = np.bincount(ends, weights=length * small[others], minlength=len(small))
        follows = ~small & may_follow & (beside > _BORDER_SHARE * rim)
        if not follows.any():
            break
        small = small | follows
    return small
