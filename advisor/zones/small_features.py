"""Holes that the ball does not enter, and other tiny features, are noted together: they are no surfaces to finish."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.label_bounds import bounds_by_label
from advisor.part.frame import plan_axes
from advisor.part.mesh import Flags, Floats, Ints, Mesh
from advisor.zones.areas import borders, connected_areas
from advisor.zones.classes import SHALLOW, STEEP, UNDERCUT
from advisor.zones.hollows import closes_all_round, faces_its_middle

# A floor, rim or chamfer goes with the holes it shares more than this part of its border with.
_BORDER_SHARE = 0.5
# A chamfer has less than half of its border with its hole.
_RING_SHARE = 0.4
_MOST_ROUNDS = 4


def small_features(
    mesh: Mesh, label: Ints, facet_class: NDArray[np.int8], sharp: Flags, axis: Floats, ball_mm: float
) -> tuple[Flags, int]:
    """Facets of small features that are to be noted together, and how many places they are.

    Small is: a hollow wall (a hole) narrower than the ball, a round hole that it barely enters and the chamfers of
    both, anything smaller than the ball and a share of the part, what lies mostly between such, and what is left beyond
    the largest of very many areas. Undercuts stay what they are, and one or two small features are zones like others;
    so is what goes on smoothly into its surroundings, as the very bottom of a bowl does. `sharp` tells the half-edges
    across which the surface turns a corner.
    """
    count = int(label.max()) + 1
    class_of = np.zeros(count, np.int8)
    class_of[label] = facet_class
    size = _plan_size(mesh, label, count, axis)
    # on a large part too, what the ball goes into is more than a small feature
    tiny = size < min(tolerances.SMALL_FEATURE_SHARE_OF_SIZE * mesh.reach_mm, ball_mm)
    narrow = size < ball_mm
    cornered = _is_cornered(mesh, label, sharp, count)
    hollow = faces_its_middle(mesh, label, count, axis)
    ring = (
        cornered
        & hollow
        & closes_all_round(mesh, label, count, axis)
        & (size < tolerances.CHAMFERED_HOLE_BALLS * ball_mm)
    )
    bored = ring & (size < tolerances.BORED_HOLE_BALLS * ball_mm)
    hole = (class_of >= STEEP) | ((class_of == SHALLOW) & cornered)  # a hole from the side has a bottom
    small = (tiny & cornered) | ((narrow | bored) & hole & hollow)
    small = _with_what_lies_between(mesh, label, small, narrow | ring, np.where(ring, _RING_SHARE, _BORDER_SHARE))
    small |= _beyond_the_largest(np.asarray(np.bincount(label, mesh.area_mm2, minlength=count), dtype=np.float64))
    small &= class_of != UNDERCUT
    chosen: Flags = small[label]
    places = _places(mesh, chosen)
    if places < tolerances.FEWEST_FEATURES_TO_COLLECT:
        return np.zeros(len(label), bool), 0
    return chosen, places


def _is_cornered(mesh: Mesh, label: Ints, sharp: Flags, count: int) -> Flags:
    """Labels most of whose border turns a corner."""
    edge = borders(mesh, label)
    ends = np.concatenate([edge.one, edge.other])
    length = np.concatenate([edge.length_mm, edge.length_mm])
    corner = np.concatenate([sharp[edge.half_edge]] * 2)
    rim = np.bincount(ends, weights=length, minlength=count)
    cornered: Flags = np.bincount(ends, weights=length * corner, minlength=count) > _BORDER_SHARE * rim
    return cornered


def _places(mesh: Mesh, chosen: Flags) -> int:
    """Connected areas of the chosen facets."""
    return len(np.unique(connected_areas(mesh, chosen)[chosen]))


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


def _with_what_lies_between(mesh: Mesh, label: Ints, small: Flags, may_follow: Flags, share: Floats) -> Flags:
    """Labels that share more than so much of their border with small features are small too."""
    edge = borders(mesh, label)
    ends = np.concatenate([edge.one, edge.other])
    others = np.concatenate([edge.other, edge.one])
    length = np.concatenate([edge.length_mm, edge.length_mm])
    rim = np.bincount(ends, weights=length, minlength=len(small))
    for _ in range(_MOST_ROUNDS):
        beside = np.bincount(ends, weights=length * small[others], minlength=len(small))
        follows = ~small & may_follow & (beside > share * rim)
        if not follows.any():
            break
        small = small | follows
    return small
