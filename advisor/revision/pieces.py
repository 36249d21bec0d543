"""A surface in small pieces: what is asked of a place is asked of a piece, however large the facet that it lies in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.part.mesh import Floats, Mesh
from advisor.part.samples import along_curve

# A facet is halved so many times at most, and where it is so many times longer than its share of area asks.
_MOST_HALVINGS = 24
_LONG = 3.0


@dataclass(frozen=True)
class Pieces:
    """Triangles that cover a surface, one or more a facet, in an order that keeps neighbours together.

    Attributes
    ----------
    corners : (k, 3, 3) float64 array, mm
    facet : (k,) int64 array
        The facet that each is a piece of.
    area_mm2 : (k,) float64 array
    """

    corners: Floats
    facet: NDArray[np.int64]
    area_mm2: Floats

    @property
    def middle(self) -> Floats:
        """(k, 3) middles of the pieces, mm."""
        middle: Floats = self.corners.mean(axis=1)
        return middle


def pieces_of(mesh: Mesh, wanted: int) -> Pieces:
    """Pieces of all of a mesh: facets halved across their longest edge until there are about `wanted`, or one each.

    Parameters
    ----------
    mesh : Mesh
    wanted : int
        A piece is no larger than this share of the whole area, nor much longer than it is wide for its size.
    """
    each = float(mesh.area_mm2.sum()) / wanted
    corners: Floats = mesh.vertices[mesh.faces]
    facet, area = np.arange(len(mesh.faces)), mesh.area_mm2.copy()
    done: list[tuple[Floats, NDArray[np.int64], Floats]] = []
    for _ in range(_MOST_HALVINGS):
        edge = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
        split = (area > each) | (edge.max(axis=1, initial=0.0) > _LONG * np.sqrt(each))
        done.append((corners[~split], facet[~split], area[~split]))
        rows = np.flatnonzero(split)
        if len(rows) == 0:
            corners, facet, area = corners[:0], facet[:0], area[:0]
            break
        turn = (edge[rows].argmax(axis=1)[:, None] + np.arange(3)) % 3
        a, b, c = np.moveaxis(corners[rows[:, None], turn], 1, 0)  # the longest edge first
        halfway = (a + b) / 2
        corners = np.concatenate([np.stack([a, halfway, c], axis=1), np.stack([halfway, b, c], axis=1)])
        facet, area = np.tile(facet[rows], 2), np.tile(area[rows] / 2, 2)
    done.append((corners, facet, area))
    corners, facet, area = (np.concatenate([part[k] for part in done]) for k in range(3))
    order = np.argsort(along_curve(corners.mean(axis=1)), kind="stable")
    return Pieces(np.ascontiguousarray(corners[order]), facet[order], area[order])
