"""Moves worth a trial: how one part may lie against another, from what a move leaves unchanged in it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from advisor.part.mesh import Floats, Mesh
from advisor.revision.motion import Motion, about
from advisor.revision.side import CompareSide

# Zones that are looked at for doubles, and how alike in area these are.
_MOST_ZONES = 40
_LIKE_AREA = 0.01
# Shifts of zones that differ by less than this share of the size are one.
_LIKE_SHIFT = 0.01
_MOST_SHIFTS = 3
# Turns of the even grid over all there are: about 16 degrees apart.
_GRID_TURNS = 2_000


@dataclass(frozen=True)
class Moments:
    """Area, (3,) centroid, and (3, 3) mean of products about it, mm2, of a surface or a zone."""

    area_mm2: float
    centre_mm: Floats
    spread_mm2: Floats


def moments(mesh: Mesh) -> Moments:
    """Moments of a surface, exact over each facet: (sum of v v + s s) / 12 with s the sum of its corners."""
    area = mesh.area_mm2
    total = float(area.sum())
    centre = area @ mesh.middle / total
    corners = mesh.vertices[mesh.faces] - centre
    summed = corners.sum(axis=1)
    products = np.einsum("m,mki,mkj->ij", area, corners, corners) + np.einsum("m,mi,mj->ij", area, summed, summed)
    return Moments(total, centre, products / (12.0 * total))


def zone_moments(side: CompareSide) -> list[tuple[int, Moments]]:
    """Number and moments of the largest zones."""
    area = np.bincount(np.maximum(side.zone, 0), side.mesh.area_mm2, minlength=side.last_zone + 1)
    area[0] = 0.0
    numbers = [int(zone) for zone in np.argsort(-area, kind="stable")[:_MOST_ZONES] if area[zone] > 0.0]
    return [(zone, moments(Mesh(side.mesh.vertices, side.mesh.faces[side.zone == zone]))) for zone in numbers]


def spread_of(told: Moments) -> Floats:
    """(3,) root mean square distances from the centroid along the main directions, smallest first, mm."""
    return np.asarray(np.sqrt(np.maximum(np.linalg.eigvalsh(told.spread_mm2), 0.0)))


def are_alike(one: Moments, other: Moments, share: float = _LIKE_AREA) -> bool:
    """Whether two areas may be one surface at two places: area within a share, spread within twice of it."""
    if abs(one.area_mm2 - other.area_mm2) > share * one.area_mm2:
        return False
    spread, gap = spread_of(one), np.abs(spread_of(one) - spread_of(other))
    return bool((gap <= 2 * share * spread.max()).all())


def likely_moves(a: CompareSide, b: CompareSide) -> list[Motion]:
    """Moves by quarter turns and between main directions, with the shifts that centres, boxes and zones tell."""
    whole_a, whole_b = moments(a.mesh), moments(b.mesh)
    pairs = [
        (one.centre_mm, other.centre_mm, one.area_mm2)
        for (_, one), (_, other) in itertools.product(zone_moments(a), zone_moments(b))
        if are_alike(one, other)
    ]
    near_mm = _LIKE_SHIFT * b.mesh.reach_mm
    told = []
    for turn in [*_quarter_turns(), *_main_turns(whole_a, whole_b)]:
        told.append(about(turn, whole_a.centre_mm, whole_b.centre_mm))
        is_whole = bool((turn == np.eye(3)).all())
        told += [Motion(turn, shift) for shift in _box_shifts(turn, a.mesh, b.mesh, all_corners=is_whole)]
        told += [Motion(turn, shift) for shift in _zone_shifts(turn, pairs, near_mm)]
    return told


def all_turns(a: CompareSide, b: CompareSide) -> list[Motion]:
    """Turns spread evenly over all there are, with the shift that lays the centroids on each other.

    Super-Fibonacci spirals of M. Alexa, "Super-Fibonacci Spirals: Fast, Low-Discrepancy Sampling of SO(3)", CVPR 2022
    (constants from memory; nothing but evenness hangs on them).
    """
    before, after = moments(a.mesh).centre_mm, moments(b.mesh).centre_mm
    s = np.arange(_GRID_TURNS) + 0.5
    low, high = np.sqrt(s / _GRID_TURNS), np.sqrt(1.0 - s / _GRID_TURNS)
    one, other = 2 * np.pi * s / math.sqrt(2.0), 2 * np.pi * s / 1.533751168755204288118041
    quaternions = np.stack([low * np.sin(one), low * np.cos(one), high * np.sin(other), high * np.cos(other)], axis=1)
    return [about(_turn_of(*quaternion), before, after) for quaternion in quaternions]


def _turn_of(x: float, y: float, z: float, w: float) -> Floats:
    """The turn of a unit quaternion with its whole part last."""
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def _quarter_turns() -> Iterator[Floats]:
    """The 24 turns that lay the axes on axes, the one that turns nothing first."""
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1.0, -1.0), repeat=3):
            turn = np.zeros((3, 3))
            turn[range(3), order] = signs
            if np.linalg.det(turn) > 0.0:
                yield turn


def _main_turns(one: Moments, other: Moments) -> Iterator[Floats]:
    """The four turns that lay main directions on each other."""
    before, after = np.linalg.eigh(one.spread_mm2)[1], np.linalg.eigh(other.spread_mm2)[1]
    for first, second in itertools.product((1.0, -1.0), repeat=2):
        turn = after @ np.diag([first, second, 1.0]) @ before.T
        yield turn if np.linalg.det(turn) > 0.0 else after @ np.diag([first, second, -1.0]) @ before.T


def _box_shifts(turn: Floats, a: Mesh, b: Mesh, *, all_corners: bool) -> Iterator[Floats]:
    """Shifts that lay the boxes of both on each other: by their middles, and by low or high sides."""
    turned = a.vertices @ turn.T
    low, high = b.vertices.min(axis=0) - turned.min(axis=0), b.vertices.max(axis=0) - turned.max(axis=0)
    sides = (low, (low + high) / 2, high)
    if not all_corners:
        yield sides[1]
        return
    for picked in itertools.product(range(3), repeat=3):
        yield np.array([sides[k][axis] for axis, k in enumerate(picked)])


def _zone_shifts(turn: Floats, pairs: list[tuple[Floats, Floats, float]], near_mm: float) -> Iterator[Floats]:
    """Shifts that lay most area of like zones on each other."""
    if not pairs:
        return
    shifts = np.array([after - turn @ before for before, after, _ in pairs])
    weight = np.array([area for _, _, area in pairs])
    near = np.linalg.norm(shifts[:, None] - shifts[None], axis=2) <= near_mm
    left = np.ones(len(pairs), bool)
    for _ in range(_MOST_SHIFTS):
        votes = np.where(left, (near & left) @ weight, 0.0)
        best = int(votes.argmax())
        if votes[best] <= 0.0:
            return
        members = near[best] & left
        yield np.average(shifts[members], axis=0, weights=weight[members])
        left &= ~near[best]
