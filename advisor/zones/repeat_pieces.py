"""Triangles and border segments of zones, laid out for finding the nearest, and points spread over them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.registration import BLOCK, PADDING
from advisor.part.mesh import Floats, Ints

# Steps in three directions that fill a cube evenly: powers of 1 / 1.2207..., the root of x^4 = x + 1
# (M. Roberts, "The unreasonable effectiveness of quasirandom sequences", 2018; from memory).
_EVEN_STEPS = 1.2207440846057596 ** -np.arange(1.0, 4.0)


@dataclass(frozen=True)
class Pieces:
    """Triangles or border segments of zones, zone after zone, near ones side by side, padded to full blocks.

    Attributes
    ----------
    corners : (p, 3, 3), direction : (p, 3) float64 array
        Segments have their last corner twice; they point out of their zone.
    start : (z + 1,) int64 array
        Where the pieces of each zone begin.
    points, point_direction : (s, 3) float64 arrays
        Points on the pieces: of each zone, first those spread evenly over its size.
    point_row : (s,) int64 array
        The triangle or segment of each point, in the order in which they were given.
    point_start, even_stop : (z + 1,), (z,) int64 array
        Where the points of each zone begin, and the evenly spread ones end.
    """

    corners: Floats
    direction: Floats
    start: NDArray[np.int64]
    points: Floats
    point_direction: Floats
    point_row: NDArray[np.int64]
    point_start: NDArray[np.int64]
    even_stop: NDArray[np.int64]

    @cached_property
    def boxes(self) -> tuple[Floats, Floats]:
        """(p / 8, 2, 3) and (p / 64, 2, 3) least and greatest corner of blocks."""
        a, b, c = (self.corners[:, k] for k in range(3))
        low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
        box = _least(low), -_least(-high)
        return np.stack(box, axis=1), np.stack([_least(box[0]), -_least(-box[1])], axis=1)

    def span(self, zone: int) -> tuple[int, int]:
        """First piece of a zone, and the one after its last."""
        return int(self.start[zone]), int(self.start[zone + 1])

    def points_of(self, zone: int, most: int | None = None) -> tuple[Floats, Floats]:
        """Points of a zone and their directions; the first evenly spread ones where `most` is given."""
        first, last = self.point_start[zone], self.point_start[zone + 1]
        if most is not None:
            last = min(self.even_stop[zone], first + most)
        return self.points[first:last], self.point_direction[first:last]


def _least(rows: Floats) -> Floats:
    """Least of every 8 rows."""
    least = rows[::BLOCK].copy()
    for k in range(1, BLOCK):
        np.minimum(least, rows[k::BLOCK], out=least)
    return least


def pieces_of(
    corners: Floats, direction: Floats, size: Floats, zone: Ints, count: int, points_wanted: tuple[int, int, float]
) -> Pieces:
    """Put pieces in order and spread points over them.

    Parameters
    ----------
    corners : (k, 3, 3), direction : (k, 3) float64 array
    size : (k,) float64 array
        Area or length.
    zone : (k,) int array
    count : int
        Number of zones.
    points_wanted : tuple
        Fewest and most points of a zone, and points per piece.
    """
    order = np.argsort(_place_keys(corners.mean(axis=1), zone, count), kind="stable")
    number = np.bincount(zone, minlength=count)
    padded = -(-number // PADDING) * PADDING
    start = np.concatenate([[0], np.cumsum(padded)])
    end_before = np.cumsum(number) - number
    of_zone = np.repeat(np.arange(count), padded)
    rank = np.arange(start[-1]) - start[of_zone]
    is_real = rank < number[of_zone]
    row = order[end_before[of_zone] + np.minimum(rank, number[of_zone] - 1)]
    corners, direction, size = corners[row], direction[row], np.where(is_real, size[row], 0.0)
    fewest, most, per_piece = points_wanted
    wanted = np.where(number > 0, np.clip(np.ceil(per_piece * number), fewest, most), 0).astype(np.int64) // 2
    even, even_piece = _spread(corners, size, start, wanted)
    by_piece, chosen_piece = _spread(corners, is_real.astype(np.float64), start, wanted)
    point_start = np.concatenate([[0], np.cumsum(2 * wanted)])
    # of each zone the even ones, then those by piece
    order = np.argsort(np.repeat(np.tile([0, 1], count), np.repeat(wanted, 2)), kind="stable")
    points, piece = np.empty((point_start[-1], 3)), np.empty(point_start[-1], np.int64)
    points[order] = np.concatenate([even, by_piece])
    piece[order] = np.concatenate([even_piece, chosen_piece])
    return Pieces(
        corners, direction, start, points, direction[piece], row[piece], point_start, point_start[:-1] + wanted
    )


def _place_keys(middle: Floats, zone: Ints, count: int) -> NDArray[np.int64]:
    """Keys whose order keeps zones together, and near places within them (bits of x, y, z by turns)."""
    if len(middle) == 0:
        return np.empty(0, np.int64)
    low, high = middle.min(axis=0), middle.max(axis=0)
    cell = ((middle - low) * (1023 / max(float((high - low).max()), 1e-300))).astype(np.int64)
    key = np.zeros(len(middle), np.int64)
    for axis in range(3):
        bits = cell[:, axis]
        for step, mask in ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249)):
            bits = (bits | (bits << step)) & mask
        key |= bits << axis
    return key + (zone.astype(np.int64) << 30)


def _spread(
    corners: Floats, weight: Floats, start: NDArray[np.int64], wanted: NDArray[np.int64]
) -> tuple[Floats, NDArray[np.int64]]:
    """Points over the pieces of each zone in proportion to a weight, and the piece of each.

    Any first few points of a zone are spread as well.
    """
    running = np.concatenate([[0.0], np.cumsum(weight)])
    zone = np.repeat(np.arange(len(wanted)), wanted)
    rank = np.arange(len(zone)) - (np.cumsum(wanted) - wanted)[zone]
    along, u, v = ((rank[:, None] + 0.5) * _EVEN_STEPS % 1.0).T
    first, last = running[start[zone]], running[start[zone + 1]]
    piece = np.searchsorted(running, first + along * (last - first), side="right") - 1
    piece = np.clip(piece, start[zone], start[zone + 1] - 1)
    a, b, c = (corners[piece, k] for k in range(3))
    over = (u + v > 1.0) & (b != c).any(axis=1)  # a segment has its last corner twice
    u, v = np.where(over, 1.0 - u, u), np.where(over, 1.0 - v, v)
    v = np.where((b == c).all(axis=1), 0.0, v)
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), piece
