"""Cutters and holders dropped on a part along the tool axis: how low each may go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.drop import drop
from advisor.kernels.threads import in_chunks
from advisor.part.mesh import Flags, Floats
from advisor.part.plan_tree import PlanTree

# Places a thread takes at once.
_CHUNK = 4096
# Places of a cell when they are put in order.
_IN_CELL = 4


@dataclass(frozen=True)
class Piece:
    """One piece of a turned body: flat to `flat_mm`, then a corner radius, or a cone of `rise` mm a mm, to `outer_mm`.

    `base_mm` is its lowest height over the tip.
    """

    flat_mm: float
    corner_mm: float
    rise: float
    outer_mm: float
    base_mm: float


@dataclass(frozen=True)
class Dropped:
    """Lowest tip heights, mm in the frame of the tree, and the facets rested on (-1 where nothing is below)."""

    height_mm: Floats
    facet: NDArray[np.int64]


def ball_pieces(diameter_mm: float) -> tuple[Piece, ...]:
    """A ball."""
    return (Piece(0.0, diameter_mm / 2, 0.0, diameter_mm / 2, 0.0),)


def bull_pieces(diameter_mm: float, corner_radius_mm: float) -> tuple[Piece, ...]:
    """A bull-nose."""
    return (Piece(diameter_mm / 2 - corner_radius_mm, corner_radius_mm, 0.0, diameter_mm / 2, 0.0),)


def dropped(pieces: Sequence[Piece], tree: PlanTree, places_mm: Floats, floor_mm: Floats | None = None) -> Dropped:
    """Lowest heights of a body's tip over (k, 2) places in plan, in the frame of the tree.

    Exact for the facets as they are: the tip stands at the greatest of z - f(d) over every point of every facet, f the
    body's profile.

    Parameters
    ----------
    pieces : the body
    tree : PlanTree
    places_mm : (k, 2) float array
        In the tree's plan axes.
    floor_mm : (k,) float array, optional
        Heights below which nothing is looked for: the answer is no lower, its facet -1 where nothing stands higher.
    """
    height = np.full(len(places_mm), -np.inf) if floor_mm is None else np.array(floor_mm, dtype=np.float64)
    return _dropped(pieces, tree, places_mm, height, any_will_do=False)


def is_blocked(pieces: Sequence[Piece], tree: PlanTree, places_mm: Floats, tip_mm: Floats) -> Flags:
    """(k,) whether anything stands in the way of a body whose tip is at a height over places: see ``dropped``.

    Parameters
    ----------
    tip_mm : (k,) float array
    """
    height = np.array(tip_mm, dtype=np.float64)
    return np.asarray(_dropped(pieces, tree, places_mm, height, any_will_do=True).facet >= 0)


def _dropped(
    pieces: Sequence[Piece], tree: PlanTree, places_mm: Floats, height: Floats, *, any_will_do: bool
) -> Dropped:
    count = len(places_mm)
    facet = np.full(count, -1, np.int64)
    if len(tree.facet) == 0 or count == 0:
        return Dropped(height, facet)
    rows = np.array([astuple(piece) for piece in pieces])
    order = _in_strips(np.asarray(places_mm, dtype=np.float64))
    places, low, rests_on = np.ascontiguousarray(places_mm[order], dtype=np.float64), height[order], facet[order]

    def run(part: slice) -> None:
        drop(rows, places[part], tree.corners, tree.box, tree.levels, any_will_do, low[part], rests_on[part])

    in_chunks(count, _CHUNK, run)
    height[order], facet[order] = low, np.where(rests_on >= 0, tree.facet[rests_on], -1)
    return Dropped(height, facet)


def _in_strips(places: Floats) -> NDArray[np.int64]:
    """An order of places, along one cell after another: neighbours meet the same facets, which are at hand then."""
    low = places.min(axis=0)
    cell = float((places.max(axis=0) - low).max()) / max(np.sqrt(len(places) / _IN_CELL), 1.0)
    if not cell > 0.0:
        return np.arange(len(places))
    column, row = ((places - low) / cell).astype(np.int32).T
    return np.asarray(np.argsort(column * (row.max() + 1) + row, kind="stable"))
