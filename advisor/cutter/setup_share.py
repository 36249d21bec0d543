"""Facets shared out among set-ups: whole faces where one set-up reaches them, tidy pieces where none does."""

from __future__ import annotations

from dataclasses import dataclass

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


@dataclass(frozen=True)
class Shared:
    """Facets shared out among set-ups.

    Attributes
    ----------
    setup : (m,) int array
        Set-up of each facet, -1 where none.
    face : (m,) int32 array
        Face of each: what creases bound, and of faces that none reaches whole their planes and what lies between.
    is_split : (m,) bool array
        Facets of faces that no set-up reaches whole.
    """

    setup: NDArray[np.int64]
    face: Ints
    is_split: Flags


def share_out(
    mesh: Mesh, is_crease: Flags, is_plane: Flags, samples: Samples, reached: Flags, by_facet: Flags
) -> Shared:
    """Set-ups of the facets, of s in order of preference.

    A face, what creases bound, stays on the first set-up that reaches all of it that any does. Of one that none reaches
    alone the planes do so, and what lies between them: a machinist changes over at an edge, or where a plane runs out.
    What even so none reaches alone is split: the set-up that reaches most of it takes that, and so on with what is
    left, for few pieces.

    Preferred is only the order of the set-ups: what is done with the part clamped as the job has it needs no further
    hand (common practice, no source). That a face is more of a floor in one set-up than in another is no reason: a ball
    cuts with a tip that stands still on a floor and bends the tool away from a wall, and which costs more is for the
    plan's price to say.

    Parameters
    ----------
    mesh : Mesh
    is_crease : (3 m,) bool array
    is_plane : (m,) bool array
        Facets of plane faces.
    samples : Samples
        k points.
    reached : (s, k) bool array
    by_facet : (s, m) bool array
        The same by facet, see ``reached_by_facet``.
    """
    least = crumb_mm2(mesh)
    face = connected_areas(mesh, np.zeros(len(mesh.faces), np.int8), is_crease)
    whole, gains = _whole_faces(mesh, face, samples, reached, by_facet, least)
    is_open = (whole[face] < 0) & (gains.max(axis=0, initial=0.0) > 0)[face]
    facet = whole[face]
    if is_open.any():
        plane = np.where(is_plane, mesh.exact_planes[0], -1)
        face = connected_areas(mesh, np.where(is_open, plane, -2), is_crease)
        whole, gains = _whole_faces(mesh, face, samples, reached, by_facet, least)
        facet = np.where(is_open, whole[face], facet)
    is_split = is_open & (facet < 0) & (gains.max(axis=0, initial=0.0) > 0)[face]
    split = np.flatnonzero(is_split)
    facet[split] = owners(face[split], split_order(face[split], mesh.area_mm2[split], by_facet[:, split]),
                          by_facet[:, split])  # fmt: skip
    facet = _with_neighbours(mesh, face, is_split, facet, by_facet)
    return Shared(without_crumbs(mesh, face, is_split, facet, by_facet, least), face, is_split)


def crumb_mm2(mesh: Mesh) -> float:
    """Area below which a piece of a face of a part is no piece of its own."""
    return tolerances.SETUP_CRUMB_SHARE * float(mesh.area_mm2.sum())


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
        _, nearest = tree.query(np.hstack([mesh.middle_of(none), scale * mesh.normal[none]]), workers=-1)
        by_facet[:, none] = reached[:, nearest]
    return by_facet


def _whole_faces(
    mesh: Mesh, face: Ints, samples: Samples, reached: Flags, by_facet: Flags, crumb: float
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
    missing = any_gain - gains
    # less than a crumb would be none of its own, were the face split
    small = (missing < crumb) & (missing <= tolerances.WHOLE_FACE_CRUMBS_SHARE * any_gain)
    # what is not reached of a face is left over for a smaller cutter; one hardly reached at all is nobody's
    least = tolerances.LEAST_REACHED_SHARE
    size = np.bincount(face, mesh.area_mm2, minlength=count)
    enough = ((missing <= tolerances.WHOLE_FACE_MISSING_SHARE * any_gain) | small) & (gains > least * size)
    return np.where(enough.any(axis=0), enough.argmax(axis=0) if len(gains) else 0, -1).astype(np.int64), gains


def split_order(face: Ints, area: Floats, by_facet: Flags) -> NDArray[np.int64]:
    """(s, f) set-ups of every face that none reaches alone, in order: the one with the largest gain first.

    Parameters
    ----------
    face : (k,) face of some facets, from 0
    area : (k,) area of each
    by_facet : (s, k) bool array
        What each set-up reaches.
    """
    count = int(face.max(initial=-1)) + 1
    setups = len(by_facet)
    order, is_left = np.empty((setups, count), np.int64), np.ones((setups, count), bool)
    is_open = np.ones(len(face), bool)
    for place in range(setups):
        gains = np.array([np.bincount(face, area * (row & is_open), minlength=count) for row in by_facet])
        # of gains alike but for the chance of where samples lie, the first
        alike = gains >= (1.0 - tolerances.WHOLE_FACE_MISSING_SHARE) * np.where(is_left, gains, 0.0).max(axis=0)
        order[place] = (alike & is_left).argmax(axis=0)
        is_left[order[place], np.arange(count)] = False
        is_open &= ~by_facet[order[place][face], np.arange(len(face))]
    return order


def owners(face: Ints, order: NDArray[np.int64], by_facet: Flags) -> NDArray[np.int64]:
    """(k,) of each facet the first set-up in its face's order that reaches it, -1 where none does."""
    own = np.full(len(face), -1, np.int64)
    rows = np.arange(len(face))
    for setup in order:
        takes = (own < 0) & by_facet[setup[face], rows]
        own[takes] = setup[face[takes]]
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


def without_crumbs(
    mesh: Mesh, face: Ints, is_split: Flags, own: NDArray[np.int64], by_facet: Flags, least_mm2: float
) -> NDArray[np.int64]:
    """Small pieces of split faces join the piece with which they share most rim and whose set-up reaches most of them.

    Pieces of any size join a larger one whose set-up reaches all of them: a set-up has only what it gains. What none
    reaches joins whichever lies beside it, and islands in what none reaches join that.
    """
    own = own.copy()
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
        beside = (of_face[source] == of_face[taker]) & open_to[source] & (area[taker] > area[source])
        small = beside & (area[source] < least_mm2)
        most = reach.max(axis=0)
        goes_there = (reach[to, source] >= _MOST * area[source]) | (most[source] == 0)
        # what its own set-up reaches of it, and that beside it as well, gains nothing
        own_reach = reach[np.maximum(setup[source], 0), source]
        all_of_it = reach[to, source] >= (1.0 - tolerances.WHOLE_FACE_MISSING_SHARE) * own_reach
        gains_nothing = beside & (setup[source] >= 0) & (own_reach > 0.0) & all_of_it & (most[source] > 0)
        fits = ((small & goes_there) | gains_nothing) & (to >= 0)
        if not fits.any():  # only islands are left
            fits = small & (to < 0)
        if not fits.any():
            break
        votes = np.zeros((len(by_facet) + 1, count))
        np.add.at(votes, (to[fits] + 1, source[fits]), np.tile(edge.length_mm, 2)[fits])
        own = np.where((votes.max(axis=0) > 0)[piece], votes.argmax(axis=0)[piece] - 1, own).astype(np.int64)
    return own
