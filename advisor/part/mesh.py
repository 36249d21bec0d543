"""A triangle mesh and what follows from it, each worked out once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.topology import OPEN_EDGE, match_half_edges, plane_faces

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Flags = NDArray[np.bool_]
_Array = TypeVar("_Array", bound=NDArray[Any])


@dataclass(frozen=True)
class Mesh:
    """Triangles with shared corners. Arrays are read-only.

    Attributes
    ----------
    vertices : (n, 3) float64 array, mm
    faces : (m, 3) int32 array
        Corners anticlockwise seen from outside.
    """

    vertices: Floats
    faces: Ints

    def __post_init__(self) -> None:
        # one type, so that kernels are compiled once
        object.__setattr__(self, "vertices", np.ascontiguousarray(self.vertices, dtype=np.float64))
        object.__setattr__(self, "faces", np.ascontiguousarray(self.faces, dtype=np.int32))
        for array in (self.vertices, self.faces):
            array.setflags(write=False)

    @cached_property
    def twins(self) -> Ints:
        """(3 m,) twin of every half-edge; negative on rims and crowded edges (see ``kernels.topology``)."""
        return _frozen(match_half_edges(self.faces, len(self.vertices)))

    @cached_property
    def _area_and_normal(self) -> tuple[Floats, Floats]:
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(3))
        across = np.cross(b - a, c - a)
        area = 0.5 * np.sqrt(np.einsum("ij,ij->i", across, across))
        across /= (2.0 * area)[:, None]
        return _frozen(area), _frozen(across)

    @property
    def area_mm2(self) -> Floats:
        """(m,) area of every facet, mm2."""
        return self._area_and_normal[0]

    @property
    def normal(self) -> Floats:
        """(m, 3) outward unit normal of every facet."""
        return self._area_and_normal[1]

    @property
    def middle(self) -> Floats:
        """(m, 3) middle of every facet, mm; worked out each time it is asked for."""
        return self.middle_of(slice(None))

    def middle_of(self, rows: NDArray[Any] | slice) -> Floats:
        """(k, 3) middle of some facets, mm."""
        corners = self.faces[rows]
        middle: Floats = self.vertices[corners[:, 0]]
        middle += self.vertices[corners[:, 1]]
        middle += self.vertices[corners[:, 2]]
        middle /= 3.0
        return middle

    @cached_property
    def exact_planes(self) -> tuple[Ints, int]:
        """(m,) number of the plane face of every facet, but for rounding, and how many there are."""
        seeds = np.arange(len(self.faces))
        face, count = plane_faces(self.twins, self.normal, np.cos(np.radians(tolerances.NO_BEND_DEG)), seeds)
        return _frozen(face), int(count)

    @cached_property
    def is_closed(self) -> bool:
        """No rim and no crowded edge."""
        return bool((self.twins >= 0).all())

    @cached_property
    def open_edges(self) -> int:
        """Number of edges with a facet on one side only."""
        return int(np.count_nonzero(self.twins == OPEN_EDGE))

    @cached_property
    def crowded_edges(self) -> int:
        """Number of edges that more than two facets share."""
        crowded = np.flatnonzero(self.twins < OPEN_EDGE)
        ends = np.sort(half_edge_ends(self.faces, crowded), axis=1)
        return len(np.unique(ends, axis=0))

    @cached_property
    def size_mm(self) -> Floats:
        """(3,) extents along X, Y and Z, mm."""
        return _frozen(np.ptp(self.vertices, axis=0))

    @cached_property
    def reach_mm(self) -> float:
        """Twice the way from the middle of the surface to its furthest corner, mm.

        A size for tolerances that turns with the part, and that does not depend on how it is cut into facets.
        """
        weight = self.area_mm2 / self.area_mm2.sum()
        return reach_of(self.vertices, weight @ self.middle)

    @cached_property
    def even_edge_mm(self) -> float:
        """Edge of its mean facet, were that equilateral, mm."""
        return float(np.sqrt(self.area_mm2.mean()) * tolerances.EDGE_OF_UNIT_FACET)

    @cached_property
    def volume_mm3(self) -> float:
        """Enclosed volume, mm3; has a meaning for closed meshes only."""
        return float(corner_volumes(self.vertices, self.faces).sum())


def mesh_with_twins(vertices: Floats, faces: Ints, twins: Ints) -> Mesh:
    """A mesh whose twins are known already, and not worked out again."""
    mesh = Mesh(vertices, faces)
    # where the cached property keeps what it found
    mesh.__dict__["twins"] = _frozen(twins)
    return mesh


def take_measures(mesh: Mesh, whole: Mesh, parent: Ints, rows: NDArray[np.integer]) -> None:
    """Give a mesh that differs from another in few facets the areas and normals of all the others.

    Parameters
    ----------
    mesh : Mesh
        Fresh: nothing of it has been worked out.
    whole : Mesh
    parent : (m,) facet of the other that each facet is, or is part of
    rows : facets whose own measures are worked out
    """
    own = Mesh(mesh.vertices, mesh.faces[rows])
    measures = []
    for of_whole, of_rows in ((whole.area_mm2, own.area_mm2), (whole.normal, own.normal)):
        values = of_whole[parent]
        values[rows] = of_rows
        measures.append(_frozen(values))
    # where the cached property keeps what it found
    mesh.__dict__["_area_and_normal"] = tuple(measures)


def _frozen(array: _Array) -> _Array:
    array.setflags(write=False)
    return array


def reach_of(vertices: Floats, middle: Floats | None = None) -> float:
    """Twice the way from a middle (that of the vertices where none is given) to the furthest vertex."""
    from_middle = vertices - (vertices.mean(axis=0) if middle is None else middle)
    return 2.0 * float(np.sqrt(np.einsum("ij,ij->i", from_middle, from_middle).max()))


def half_edge_ends(faces: Ints, half_edges: NDArray[np.integer]) -> Ints:
    """(k, 2) first and last vertex of half-edges."""
    f, k = np.divmod(half_edges, 3)
    return np.stack([faces[f, k], faces[f, (k + 1) % 3]], axis=1)


def edge_lengths_mm(mesh: Mesh, half_edges: NDArray[np.integer]) -> Floats:
    """(k,) length of half-edges, mm."""
    a, b = half_edge_ends(mesh.faces, half_edges).T
    lengths: Floats = np.linalg.norm(mesh.vertices[b] - mesh.vertices[a], axis=1)
    return lengths


def rim_half_edges(mesh: Mesh, label: NDArray[np.integer]) -> NDArray[np.int64]:
    """Half-edges at which a facet label ends: at another label, on a rim or a crowded edge."""
    return np.flatnonzero((mesh.twins < 0) | (np.repeat(label, 3) != label[np.maximum(mesh.twins, 0) // 3]))


def rim_lengths_mm(mesh: Mesh, label: NDArray[np.integer], count: int) -> Floats:
    """(count,) length of the rim of each label, mm."""
    rim = rim_half_edges(mesh, label)
    return np.asarray(np.bincount(label[rim // 3], edge_lengths_mm(mesh, rim), minlength=count), dtype=np.float64)


def corner_volumes(vertices: Floats, faces: Ints) -> Floats:
    """(m,) signed volume between each facet and the middle of the box around the mesh, mm3.

    The middle, not the origin: a part far from the origin would lose its digits.
    """
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    a, b, c = (vertices[faces[:, k]] - middle for k in range(3))
    volumes: Floats = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    return volumes
