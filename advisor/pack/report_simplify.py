"""A part of very many facets made lighter for the 3D view: zone borders stay, and the way off is told."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor.kernels.morton import interleaved
from advisor.model import FacetArrays

# Facets that the 3D view shows as they are. A page of this many stays well below 15 MB and turns smoothly.
MOST_FACETS: Final = 250_000
# Pieces of fewer facets are left as they are.
_LEAST_PIECE: Final = 50
_CELL_BITS: Final = 10


@dataclass(frozen=True)
class Lighter:
    """Facets to show.

    Attributes
    ----------
    facets : FacetArrays
    source : (k,) int64 array
        A facet of the part for each: the one whose middle is nearest, of the same zone and class.
    deviation_mm : float or None
        How far corners of the part lie off what is shown at most; None where all of it is shown.
    """

    facets: FacetArrays
    source: NDArray[np.int64]
    deviation_mm: float | None


def simplified(facets: FacetArrays, group: NDArray[np.uint8], most: int) -> Lighter:
    """Facets, no more than about ``most``; corners between zones or groups stay, and so does every border.

    Parameters
    ----------
    group : (m,) uint8 array
        Facets of different groups are not joined: the borders between them stay too.
    """
    count = len(facets.faces)
    if count <= most:
        return Lighter(facets, np.arange(count), None)
    key = facets.zone.astype(np.int64) * 256 + group
    order = np.argsort(key, kind="stable")
    bounds = np.flatnonzero(np.diff(key[order])) + 1
    corner_tree = cKDTree(facets.vertices)
    faces, sources = [], []
    for piece in np.split(order, bounds):
        lighter = _lighter_piece(facets, piece, most / count, corner_tree)
        faces.append(lighter)
        sources.append(_nearest_facet(facets, piece, lighter))
    kept, source = np.concatenate(faces), np.concatenate(sources)
    used, numbered = np.unique(kept, return_inverse=True)
    shown = replace(
        _of_facets(facets, source), vertices=facets.vertices[used], faces=numbered.reshape(-1, 3).astype(np.int32)
    )
    return Lighter(shown, source, _deviation_mm(facets.vertices, shown))


def near_together(shown: Lighter) -> Lighter:
    """The same facets, neighbours near one another in their order: the page looks for a facet block by block."""
    facets = shown.facets
    middles = facets.vertices[facets.faces].mean(axis=1)
    low, size = middles.min(axis=0), max(float(np.ptp(middles, axis=0).max()), 1e-300)
    cells = np.rint((middles - low) / size * ((1 << _CELL_BITS) - 1)).astype(np.int64)
    order = np.argsort(interleaved(cells, _CELL_BITS), kind="stable")
    return Lighter(_of_facets(facets, order), shown.source[order], shown.deviation_mm)


def _of_facets(facets: FacetArrays, number: NDArray[np.int64]) -> FacetArrays:
    """The facets of these numbers; what is told of parts of facets is left out."""
    names = {each.name for each in fields(FacetArrays)} - {"vertices"}
    gone = {name for name in names if name.startswith("part")}
    told: dict[str, Any] = dict.fromkeys(gone)
    for name in names - gone:
        values = getattr(facets, name)
        told[name] = None if values is None else values[number]
    return replace(facets, **told)


def _lighter_piece(facets: FacetArrays, piece: NDArray[np.int64], kept: float, corners: cKDTree) -> NDArray[np.int64]:
    """(k, 3) corners of the facets that stand for a piece, by number in the whole part."""
    faces = facets.faces[piece].astype(np.int64)
    if len(piece) < _LEAST_PIECE:
        return faces
    import pyvista

    used, own = np.unique(faces, return_inverse=True)
    numbered: Any = own.reshape(-1, 3)
    surface = pyvista.PolyData.from_regular_faces(facets.vertices[used], numbered)
    # edges of the piece stay, so that it still meets its neighbours
    lighter = surface.decimate_pro(1.0 - kept, preserve_topology=True, splitting=False, boundary_vertex_deletion=False)
    if lighter.n_cells == 0:
        return faces
    _, number = corners.query(np.asarray(lighter.points, dtype=np.float64))
    lighter_faces: NDArray[np.int64] = np.asarray(number)[lighter.regular_faces]
    return lighter_faces


def _nearest_facet(facets: FacetArrays, piece: NDArray[np.int64], faces: NDArray[np.int64]) -> NDArray[np.int64]:
    middles = facets.vertices[facets.faces[piece]].mean(axis=1)
    _, nearest = cKDTree(middles).query(facets.vertices[faces].mean(axis=1))
    found: NDArray[np.int64] = piece[np.asarray(nearest)]
    return found


def _deviation_mm(corners: NDArray[np.float64], shown: FacetArrays) -> float:
    """Greatest way from corners of the part to the facets shown, mm."""
    import pyvista

    gone = np.setdiff1d(np.arange(len(corners)), cKDTree(corners).query(shown.vertices)[1])
    if len(gone) == 0:
        return 0.0
    faces: Any = shown.faces
    surface = pyvista.PolyData.from_regular_faces(shown.vertices, faces)
    off = pyvista.PolyData(corners[gone]).compute_implicit_distance(surface)["implicit_distance"]
    return float(np.abs(off).max())
