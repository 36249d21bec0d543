"""Laying a part on another that may lie elsewhere and may have changed: found, refined, and the best one taken."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.revision.fit import FACING_COSINE, finely_fitted, roughly_fitted
from advisor.revision.motion import STILL, Motion
from advisor.revision.side import CompareSide
from advisor.revision.starts import all_turns, likely_moves
from advisor.revision.surface_tree import nearest_on

# First look at a move: points, and how far off they may lie, as a share of the size.
_LOOK_POINTS = 100
_LOOK_SHARE = 0.06
# Moves that are refined, by rough and then fine means.
_ROUGH, _FINE = 16, 3
# What is looked at after the rough fit lies within this share of the size where the move is right.
_ROUGH_SHARE = 0.004
# A rough fit this much worse than the best is not refined.
_HOPELESS = 0.8
# A move must leave less than this share of what is changed without it: else the parts lie as they are.
_WORTH_MOVING = 0.5
# Shares of the surface that are one but for sampling; and at which nothing better need be looked for.
_EVEN_SHARE = 0.002
_GOOD_SHARE = 0.9
ALL_SHARE = 0.9995


@dataclass(frozen=True)
class Found:
    """The move that lays A on B, and the share of both surfaces that lies on the other within the tolerance."""

    motion: Motion
    unchanged_share: float


def register(a: CompareSide, b: CompareSide, tolerance_mm: float) -> Found:
    """The move that lays most of A on B; none where they lie on each other nearly as well as they are.

    Parameters
    ----------
    a, b : CompareSide
    tolerance_mm : float
        Within which surfaces count as the same.
    """
    still = Found(STILL, unchanged_share(a, b, STILL, tolerance_mm))
    if still.unchanged_share >= ALL_SHARE:
        return still
    best = search(a, b, tolerance_mm, [STILL], still.unchanged_share)
    is_worth = 1.0 - best.unchanged_share < _WORTH_MOVING * (1.0 - still.unchanged_share)
    return best if is_worth else still


def mirror_share(a: CompareSide, b: CompareSide, tolerance_mm: float, share: float) -> float | None:
    """What share of B the mirror image of A lies on, where that leaves less than half of what A itself leaves."""
    told = search(a.mirrored(), b, tolerance_mm, [], share).unchanged_share
    return told if 1.0 - told < _WORTH_MOVING * (1.0 - share) else None


def search(a: CompareSide, b: CompareSide, tolerance_mm: float, first: list[Motion], known_share: float) -> Found:
    """The best of all moves worth a trial, refined; all turns are tried where `known_share` is not good either."""
    found = _best_of([*first, *likely_moves(a, b)], a, b, tolerance_mm)
    if max(found.unchanged_share, known_share) < _GOOD_SHARE:
        found = _better(found, _best_of(all_turns(a, b), a, b, tolerance_mm))
    return found


def unchanged_share(a: CompareSide, b: CompareSide, motion: Motion, tolerance_mm: float) -> float:
    """Share of both surfaces within the tolerance of the other, by points, after a move of A."""
    back = motion.inverse
    told = []
    for points, normals, tree in (
        (motion(a.samples.point), motion.turned(a.samples.normal), b.tree),
        (back(b.samples.point), back.turned(b.samples.normal), a.tree),
    ):
        near = nearest_on(tree, points, normals, tolerance_mm, FACING_COSINE)
        told.append(float(np.isfinite(near.distance_mm).mean()))
    return sum(told) / 2


def _best_of(moves: list[Motion], a: CompareSide, b: CompareSide, tolerance_mm: float) -> Found:
    near_mm = max(_ROUGH_SHARE * b.mesh.reach_mm, tolerance_mm)
    rough = [roughly_fitted(a, b, move) for move in _most_likely(moves, a, b)]
    scored = [(unchanged_share(a, b, move, near_mm), move) for move in rough]
    scored.sort(key=lambda told: -told[0])
    found = None
    for share, move in scored[:_FINE]:
        if found is not None and share < _HOPELESS * scored[0][0]:
            break
        fine = finely_fitted(a, b, move)
        one = Found(fine, unchanged_share(a, b, fine, tolerance_mm))
        found = one if found is None else _better(found, one)
    assert found is not None
    return found


def _better(one: Found, other: Found) -> Found:
    """The one that leaves more unchanged; of two alike, the one that turns less."""
    if abs(one.unchanged_share - other.unchanged_share) > _EVEN_SHARE:
        return max(one, other, key=lambda found: found.unchanged_share)
    return min(one, other, key=lambda found: round(found.motion.turn_deg, 3))


def _most_likely(moves: list[Motion], a: CompareSide, b: CompareSide) -> list[Motion]:
    """The moves that bring most of some points near the other surface, facing as it does."""
    near_mm = _LOOK_SHARE * b.mesh.reach_mm
    points, normals = a.samples.point[:_LOOK_POINTS], a.samples.normal[:_LOOK_POINTS]
    moved = np.concatenate([move(points) for move in moves])
    turned = np.concatenate([move.turned(normals) for move in moves])
    row = b.nearest_samples(moved, turned, near_mm)
    gap = np.linalg.norm(moved - b.samples.point[row], axis=1)
    worth = np.where(row >= 0, np.maximum(1.0 - gap / near_mm, 0.0), 0.0).reshape(len(moves), -1).sum(axis=1)
    # of moves that are nearly one the first
    kept: list[Motion] = []
    for number in np.argsort(-worth, kind="stable"):
        move = moves[number]
        if all(np.abs(move(points) - other(points)).max() > 0.1 * near_mm for other in kept):
            kept.append(move)
        if len(kept) == _ROUGH:
            break
    return kept
