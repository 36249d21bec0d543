"""A point deep inside a zone: by it a job file names the zone, so it must lie far from every border."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from advisor.part.mesh import Floats, Ints, Mesh, half_edge_ends, rim_half_edges

# Facets that are asked how far the border is, and points along every edge of it.
_ASKED = 2_000
_ALONG = (0.0, 0.25, 0.5, 0.75)


def point_within(mesh: Mesh, zone: Ints, number: int) -> tuple[float, float, float]:
    """The middle of a facet of a zone that lies about as far from its border as any.

    Parameters
    ----------
    mesh : Mesh
    zone : (m,) zone of every facet
    number : int
        The zone.
    """
    rows = np.flatnonzero(zone == number)
    asked = rows[np.linspace(0, len(rows) - 1, min(_ASKED, len(rows))).astype(np.int64)]
    border = _border_points(mesh, zone, number)
    middle = mesh.middle_of(asked)
    if len(border) == 0:
        best = int(mesh.area_mm2[asked].argmax())
    else:
        away, _ = cKDTree(border).query(middle)
        best = int(away.argmax())
    x, y, z = (float(value) for value in middle[best])
    return (x, y, z)


def _border_points(mesh: Mesh, zone: Ints, number: int) -> Floats:
    """Points along the edges at which a zone ends."""
    half = rim_half_edges(mesh, zone)
    half = half[zone[half // 3] == number]
    first, last = half_edge_ends(mesh.faces, half).T
    start, end = mesh.vertices[first], mesh.vertices[last]
    points: Floats = np.concatenate([start + share * (end - start) for share in _ALONG])
    return points
