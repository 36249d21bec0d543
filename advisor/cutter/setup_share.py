"""Facets shared out among set-ups: whole faces where one set-up reaches them, tidy pieces where none does."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.part.mesh import Flags, Floats, Ints, Mesh, edge_lengths_mm
from advisor.part.samples import Samples
from advisor.zones.areas import borders, connected_areas

# Points on the two sides of a sheet are as far apart as this share of the part.
_SIDES_SHARE = 0.1
# A facet, or a piece of a face, is reached where most of it is.
_MOST = 0.5
_ROUNDS = 8


def share_out(mesh: Mesh, is_crease: Flags, samples: Samples, reached: Flags, by_facet: Flags) -> NDArray[np.int64]:
    """(m,) set-up of each facet, of s in order of preference; -1 where none.

    A face, what creases bound, stays on the first set-up that reaches all of it that any does. One that none reaches
    alone is split: the set-up that reaches most of it takes that, and so on with what is left, for few pieces.

    Preferred is only the order of the set-ups: what is done with the part clamped as the job has it needs no further
    hand (common practice, no source). That a face is more of a floor in one set-up than in another is no reason: a ball
    cuts with a tip that stands still on a floor and bends the tool away from a wall, and which costs more is for the
    plan's price to say.

    Parameters
    ----------
    mesh : Mesh
    is_crease : (3 m,) bool array
    samples : Samples
        k points.
    reached : (s, k) bool array
    by_facet : (s, m) bool array
        The same by facet, see ``reached_by_facet``.
    """
    face = connected_areas(mesh, np.zeros(len(mesh.faces), np.int8), is_crease)
    whole, gains = _whole_faces(mesh, face, samples, reached, by_facet)
    facet = whole[face]
    split = np.flatnonzero((facet < 0) & (gains.max(axis=0, initial=0.0) > 0)[face])
    facet[split] = _split(face[split], mesh.area_mm2[split], by_facet[:, split])
    is_split = np.zeros(len(face), bool)
    is_split[split] = True
    facet = _with_neighbours(mesh, face, is_split, facet, by_facet)
    return _without_crumbs(mesh, face, is_split, facet, by_facet)


def reached_by_facet(mesh: Mesh, samples: Samples, reached: Flags) -> Flags:
    """(s, m) whether most of each facet is reached, by its own samples or the nearest of a facet that faces alike."""
    count = len(mesh.faces)
    by_facet = np.zeros((len(reached), count), bool)
    total = np.bincount(samples.facet, samples.area_mm2, minlength=count)
    for row, hit in zip(by_facet, reached, strict=True):
        row[:] = np.bincount(samples.facet, samples.area_mm2 * hit, minlength=count) > _MOST * total
    none = np.flatnonzero(total == 0)
    if len(none) and len(samples.facet):
        scale = _SIDES_SHARE / 2 * mesh.reach_mm
        tree = cKDTree(np.hstack([samples.point, scale * samples.normal]))
        _, nearest = tree.query(np.hstack([mesh.middle[none], scale * mesh.normal[none]]), workers=-1)
        by_facet[:, none] = reached[:, nearest]
    return by_facet


def _whole_faces(
    mesh: Mesh, face: Ints, samples: Samples, reached: Flags, by_facet: Flags
) -> tuple[NDArray[np.int64], Floats]:
    """(f,) first set-up that reaches all of a face that any does, -1 where none; (s, f) area each reaches."""
    count = int(face.max()) + 1
    of_sample = face[samples.facet]
    asked = np.bincount(of_sample, minlength=count) > 0

    def area(by_sample: Flags, by_own: Flags) -> Floats:
        sampled = np.bincount(of_sample, samples.area_mm2 * by_sample, minlength=count)
        own = np.bincount(face, mesh.area_mm2 * by_own, minlength=count)
        return np.where(asked, sampled, own)

    gains = np.array([area(*rows) for rows in zip(reached, by_facet, strict=True)]).reshape(-1, count)
    any_gain = area(np.asarray(reached.any(axis=0)), np.asarray(by_facet.any(axis=0)))
    # a face hardly reached at all is nobody's as a whole: what is reached of it is a piece
    size = np.bincount(face, mesh.area_mm2, minlength=count)
    enough = (gains >= (1.0 - tolerances.WHOLE_FACE_MISSING_SHARE) * any_gain) & (gains > _MOST * size)
    return np.where(enough.any(axis=0), enough.argmax(axis=0) if len(gains) else 0, -1).astype(np.int64), gains


def _split(face: Ints, area: Floats, by_facet: Flags) -> NDArray[np.int64]:
    """Set-ups of the facets of faces that none reaches alone: in each face the one with the largest gain first."""
    own = np.full(len(face), -1, np.int64)
    if len(face) == 0:
        return own
    count = int(face.max()) + 1
    for _ in range(len(by_facet)):
        gains = np.array([np.bincount(face, area * (row & (own < 0)), minlength=count) for row in by_facet])
        # of gains alike but for the chance of where samples lie, the first
        alike = gains >= (1.0 - tolerances.WHOLE_FACE_MISSING_SHARE) * gains.max(axis=0)
        best = alike.argmax(axis=0)[face]
        own[(own < 0) & by_facet[best, np.arange(len(face))]] = best[(own < 0) & by_facet[best, np.arange(len(face))]]
    return own


def _with_neighbours(
    mesh: Mesh, face: Ints, is_split: Flags, own: NDArray[np.int64], by_facet: Flags
) -> NDArray[np.int64]:
    """Facets of split faces go with most of their rim, where the set-up there reaches them: samples are few."""
    own, count = own.copy(), len(by_facet)
    rows = np.flatnonzero(is_split)
    if len(rows) == 0 or count < 2:
        return own
    half = (3 * rows[:, None] + np.arange(3)).ravel()
    twin = mesh.twins[half]
    inside = (twin >= 0) & (face[np.maximum(twin, 0) // 3] == face[half // 3])
    half, twin = half[inside], twin[inside]
    length, place = edge_lengths_mm(mesh, half), np.searchsorted(rows, half // 3)
    for _ in range(_ROUNDS):
        votes = np.zeros((count + 1, len(rows)))
        np.add.at(votes, (own[twin // 3] + 1, place), length)
        votes[0] = 0.0
        votes[1:] *= by_facet[:, rows]
        best = votes.argmax(axis=0) - 1
        current = votes[own[rows] + 1, np.arange(len(rows))]
        moves = (best >= 0) & (votes.max(axis=0) > current)
        if not moves.any():
            break
        own[rows[moves]] = best[moves]
    return own


def _without_crumbs(
    mesh: Mesh, face: Ints, is_split: Flags, own: NDArray[np.int64], by_facet: Flags
) -> NDArray[np.int64]:
    """Small pieces of split faces join the piece with which they share most rim and whose set-up reaches most of them.

    What none reaches joins whichever lies beside it, and islands in what none reaches join that.
    """
    own = own.copy()
    least = tolerances.SETUP_CRUMB_SHARE * float(mesh.area_mm2.sum())
    for _ in range(_ROUNDS if is_split.any() else 0):
        piece = connected_areas(mesh, face.astype(np.int64) * (len(by_facet) + 1) + own + 1)
        count = int(piece.max()) + 1
        area = np.bincount(piece, mesh.area_mm2, minlength=count)
        setup, of_face, open_to = np.empty(count, np.int64), np.empty(count, np.int64), np.zeros(count, bool)
        setup[piece], of_face[piece], open_to[piece] = own, face, is_split
        reach = np.array([np.bincount(piece, mesh.area_mm2 * row, minlength=count) for row in by_facet])
        edge = borders(mesh, piece)
        source = np.concatenate([edge.one, edge.other]).astype(np.int64)
        taker = np.concatenate([edge.other, edge.one]).astype(np.int64)
        to = setup[taker]
        small = (of_face[source] == of_face[taker]) & open_to[source] & (area[source] < least)
        small &= area[taker] > area[source]
        most = reach.max(axis=0)
        goes_there = (reach[to, source] >= _MOST * area[source]) | (most[source] == 0)
        fits = small & (to >= 0) & goes_there
        if not fits.any():  # only islands are left
            fits = small & (to < 0)
        if not fits.any():
            break
        votes = np.zeros((len(by_facet) + 1, count))
        np.add.at(votes, (to[fits] + 1, source[fits]), np.tile(edge.length_mm, 2)[fits])
        own = np.where((votes.max(axis=0) > 0)[piece], votes.argmax(axis=0)[piece] - 1, own).astype(np.int64)
    return own
