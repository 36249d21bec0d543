"""Facets of a body agree which side is out, and bodies show their outside."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from advisor import tolerances
from advisor.kernels.topology import OPEN_EDGE, crossings_above, match_half_edges, wind_alike
from advisor.part.mesh import Flags, Floats, Ints, corner_volumes, half_edge_ends
from advisor.words import counted


class Log(Protocol):
    """Where mends are counted."""

    warnings: list[str]

    def count(self, what: str, count: int) -> None:
        """Note `count` mends of one kind."""


def wind_outward(vertices: Floats, faces: Ints, log: Log) -> Ints:
    """Faces with one winding a body, outside out.

    A closed body of negative volume is inside out unless it lies in another body (then it is a void, and right).
    An open sheet has no inside: its direction is left as exported.
    """
    twins = match_half_edges(faces, len(vertices))
    body, turned, twisted = wind_alike(faces, twins)
    log.count("facets turned to their neighbours' winding", int(turned.sum()))
    if twisted:
        log.warnings.append(f"facets agree on no side across {counted(twisted, 'edge')}: the slope there may be wrong")
    faces = _turn(faces, turned)
    inside_out = _inside_out_bodies(vertices, faces, twins, body)
    log.count("bodies turned inside out", len(inside_out))
    return _turn(faces, np.isin(body, inside_out))


def _turn(faces: Ints, turned: Flags) -> Ints:
    if not turned.any():
        return faces
    faces = faces.copy()
    faces[turned] = faces[turned][:, ::-1]
    return faces


def _inside_out_bodies(vertices: Floats, faces: Ints, twins: Ints, body: Ints) -> list[int]:
    volume = np.bincount(body, weights=corner_volumes(vertices, faces))
    solid = _is_solid(vertices, faces, twins, body)
    suspects = np.flatnonzero((volume < 0) & solid)
    return [int(b) for b in suspects if not _lies_within_another(vertices, faces, body, int(b))]


def _is_solid(vertices: Floats, faces: Ints, twins: Ints, body: Ints) -> Flags:
    """Per body: closed, or so nearly closed that it has an inside."""
    bodies = int(body.max()) + 1
    rim = np.flatnonzero(twins == OPEN_EDGE)
    a, b = half_edge_ends(faces, rim).T
    rim_mm = np.bincount(body[rim // 3], weights=np.linalg.norm(vertices[b] - vertices[a], axis=1), minlength=bodies)
    p, q, r = (vertices[faces[:, k]] for k in range(3))
    area = np.bincount(body, weights=0.5 * np.linalg.norm(np.cross(q - p, r - p), axis=1))
    solid: Flags = rim_mm**2 <= tolerances.RIM_SQUARED_OVER_AREA_OF_SOLID * area
    return solid


def _lies_within_another(vertices: Floats, faces: Ints, body: Ints, suspect: int) -> bool:
    if body.max() == 0:
        return False
    own = faces[body == suspect]
    # the middle of the highest facet: off every edge of its own body, and a ray upward leaves that body at once
    middles = vertices[own].mean(axis=1)
    point = middles[middles[:, 2].argmax()]
    return bool(crossings_above(vertices, faces, point, suspect, body) % 2)
