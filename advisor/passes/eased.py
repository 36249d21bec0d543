"""Passes moved off hollows that the ball nearly fills, where their own normals would lead it into the surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor.cutter.cutter import Cutter
from advisor.part.mesh import Flags, Floats
from advisor.part.samples import even_places
from advisor.passes.families import centre_of
from advisor.passes.lines import PassLines, segment_lengths_mm
from advisor.passes.pieces import Places, along_segments, chosen, kept
from advisor.passes.surface import PassSurface

# Hollows with more than this share of the ball's curvature are asked: in wider ones a normal that is off by a tenth of
# a degree moves the ball along the surface and not into it.
_TIGHT_SHARE = 0.6
# Points of hollows lie so near that between them a flat surface is nearer by this share of the tolerance.
_BETWEEN_SHARE = 0.25
# Points at most: beyond, they lie further apart.
_MOST_POINTS = 1_000_000
# From a point that moves the next ones lie so many times further off each time: a long straight way stays where it is
# but for its end.
_FURTHER = 2.0
# What is deeper by less than this share of the tolerance stays where it is.
_SLACK_SHARE = 0.1
# Points of a leaf: a ball that fits a hollow is as far from very many, and large leaves are quicker asked.
_LEAF = 128
# Between two sides of a hollow a ball that fits neither is moved to and fro until it rests on both.
_ROUNDS = 12


def eased(
    lines: PassLines, surface: PassSurface, cutter: Cutter, axis: Floats, stock_left_mm: float, tolerance_mm: float
) -> PassLines:
    """Passes on which the ball goes no deeper into hollows of the surface they are laid on than a tolerance.

    A ball is put in place by a normal, and in a fillet of nearly its own radius one that is off by a tenth of a degree
    puts it some hundredths of a millimetre into the far side. Places are much better known than normals: the ball's
    middle is moved away from the nearest of them until it is a radius off. What moves is the middle, and the contact
    with it; where it fits nowhere near passes end. Those of a bull-nose, which fills few hollows, stay as they are.

    Parameters
    ----------
    lines : PassLines
    surface : PassSurface
        That they were laid on.
    cutter : Cutter
    axis : (3,) unit vector from the part to the spindle
    stock_left_mm : float, 0 or more
        How much further off the surface the ball is led.
    tolerance_mm : float, above 0
    """
    radius = cutter.corner_radius_mm
    if lines.count == 0 or cutter.ring_radius_mm > 0.0:
        return lines
    apart = float(np.sqrt(8.0 * radius * _BETWEEN_SHARE * tolerance_mm))
    points, normals = _hollow_points(surface, radius, apart)
    if len(points) == 0:
        return lines
    tree = cKDTree(points, leafsize=_LEAF, balanced_tree=False)
    hollow = _Hollow(tree, points, normals, radius - tolerance_mm, _SLACK_SHARE * tolerance_mm)
    middle = lines.centres_mm(radius + stock_left_mm, 0.0, axis)
    moves = hollow.depth_mm(middle) > hollow.slack_mm
    if not moves.any():
        return lines
    fine, rows = _with_points_beside(lines, moves, middle, apart, cutter, axis)
    middle = fine.centres_mm(radius + stock_left_mm, 0.0, axis)
    moved = middle.copy()
    moved[rows] = hollow.moved(middle[rows])
    clear = PassLines(
        fine.contact_mm + (moved - middle), np.array(fine.normal), np.array(fine.starts), np.array(fine.level),
        np.array(fine.is_closed),
    )  # fmt: skip
    fits = np.ones(len(moved), bool)
    fits[rows] = hollow.depth_mm(moved[rows]) <= tolerance_mm
    if fits.all():
        return clear
    # passes end at the last place that fits
    left, _ = kept(clear, fits, np.where(fits, 0.0, 1.0), centre_of(cutter), axis)
    return chosen(left, left.lengths_mm > tolerance_mm)


@dataclass(frozen=True)
class _Hollow:
    """Points of hollows, normals there, and how near to them the middle of the ball may come, but for some slack."""

    tree: cKDTree
    points: Floats
    normals: Floats
    least_mm: float
    slack_mm: float

    def moved(self, middle: Floats) -> Floats:
        """(k, 3) middles moved away from what they are too near to."""
        moved = middle.copy()
        rows = np.arange(len(middle))
        near = self.least_mm - self.slack_mm
        for _ in range(_ROUNDS):
            deep, distance, way = self._too_near(moved[rows], near)
            rows = rows[deep]
            if len(rows) == 0:
                break
            moved[rows] += ((self.least_mm - distance) / distance)[:, None] * way
        return moved

    def depth_mm(self, middle: Floats) -> Floats:
        """(k,) how much too near the middles are to what lies ahead."""
        rows, distance, _ = self._too_near(middle, self.least_mm)
        depth = np.zeros(len(middle))
        depth[rows] = self.least_mm - distance
        return depth

    def _too_near(self, middle: Floats, near_mm: float) -> tuple[NDArray[np.int64], Floats, Floats]:
        """Rows of the middles that come nearer to what lies ahead, how near they are, and their way from it."""
        distance, nearest = self.tree.query(middle, distance_upper_bound=near_mm, workers=-1)
        rows = np.flatnonzero(np.isfinite(distance))
        way = middle[rows] - self.points[nearest[rows]]
        # what lies behind, beyond a thin wall, is not what the ball cuts
        ahead = np.einsum("kx,kx->k", way, self.normals[nearest[rows]]) > 0.0
        return rows[ahead], distance[rows[ahead]], way[ahead]


def _with_points_beside(
    lines: PassLines, moves: Flags, middle: Floats, apart_mm: float, cutter: Cutter, axis: Floats
) -> tuple[PassLines, NDArray[np.int64]]:
    """Passes with points on the straight ways beside those that move, close to them and further and further off.

    Also the rows of those that move and of the new ones.
    """
    length = segment_lengths_mm(middle, lines.starts)
    most = max(int(np.ceil(np.log(max(float(length.max()) / apart_mm, 1.0)) / np.log(_FURTHER))), 0)
    off = apart_mm * _FURTHER ** np.arange(most)
    fits = off[None, :] < length[:, None] / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        share = off[None, :] / length[:, None]
    ahead = np.append(moves[1:], False)
    at, k = np.nonzero(fits & moves[:, None])
    back, j = np.nonzero(fits & ahead[:, None])
    every = np.concatenate([np.arange(len(middle)), at, back])
    place = np.concatenate([np.zeros(len(middle)), share[at, k], 1.0 - share[back, j]])
    order = np.lexsort((place, every))
    contact, normal = along_segments(lines, Places(every[order], place[order]), centre_of(cutter), axis)
    before = np.searchsorted(every[order], lines.starts)
    fine = PassLines(contact, normal, before.astype(np.int64), np.array(lines.level), np.array(lines.is_closed))
    return fine, np.flatnonzero(moves[every[order]] | (place[order] > 0.0))


def _hollow_points(surface: PassSurface, radius_mm: float, apart_mm: float) -> tuple[Floats, Floats]:
    """Points of the smooth surface in hollows that a ball nearly fills, and normals there."""
    facets = np.flatnonzero(_is_tight(surface, radius_mm))
    area = surface.mesh.area_mm2[facets]
    wanted = int(np.ceil(min(area.sum() / apart_mm**2, _MOST_POINTS)))
    if wanted == 0:
        return np.zeros((0, 3)), np.zeros((0, 3))
    row, weights, _ = even_places(area, wanted)
    return surface.in_facets(facets[row], weights)


def _is_tight(surface: PassSurface, radius_mm: float) -> Flags:
    """(m,) facets on which the surface bends towards the ball, in some direction, nearly as much as the ball does."""
    corner, normal = surface.mesh.vertices[surface.mesh.faces], surface.normal[surface.mesh.faces]
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    turn_one, turn_two = normal[:, 1] - normal[:, 0], normal[:, 2] - normal[:, 0]
    # first and second form in the two edges; the principal bends are what the second is of the first
    e, f, g = (np.einsum("mx,mx->m", a, b) for a, b in ((one, one), (one, two), (two, two)))
    bend_e, bend_g = np.einsum("mx,mx->m", turn_one, one), np.einsum("mx,mx->m", turn_two, two)
    bend_f = (np.einsum("mx,mx->m", turn_one, two) + np.einsum("mx,mx->m", turn_two, one)) / 2
    size = np.maximum(e * g - f * f, 1e-300)
    mean = (g * bend_e - 2.0 * f * bend_f + e * bend_g) / (2.0 * size)
    least = mean - np.sqrt(np.maximum(mean**2 - (bend_e * bend_g - bend_f**2) / size, 0.0))
    return np.asarray(least * radius_mm < -_TIGHT_SHARE)
