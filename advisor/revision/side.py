"""One of two plans made ready to be compared: its mesh, its pieces, and its surface to be asked."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from advisor.model import Plan
from advisor.part.mesh import Floats, Ints, Mesh
from advisor.part.samples import Samples, even_samples
from advisor.revision.motion import Motion
from advisor.revision.pieces import Pieces, pieces_of
from advisor.revision.surface_tree import SurfaceTree, surface_tree

# Pieces of a surface, or as many as its facets; and points that tell how it lies.
_PIECES = 150_000
_POINTS = 3_000
# A direction of the other hand counts as this share of the size away.
_TURN_SHARE = 0.1


@dataclass(frozen=True)
class CompareSide:
    """A surface with its zones; what is asked of it is worked out at first use."""

    mesh: Mesh
    zone: Ints

    @cached_property
    def pieces(self) -> Pieces:
        """All of the surface in small pieces."""
        return pieces_of(self.mesh, _PIECES)

    @cached_property
    def tree(self) -> SurfaceTree:
        """The surface to be asked for its nearest facet."""
        return surface_tree(self.mesh)

    @cached_property
    def samples(self) -> Samples:
        """Points spread evenly over the surface, in no order that follows the surface."""
        told = even_samples(self.mesh, _POINTS)
        # steps of the golden section: any first few are spread over all of it (from memory)
        order = np.argsort(np.modf(np.arange(_POINTS) * 0.6180339887498949)[0])
        return Samples(told.point[order], told.normal[order], told.facet[order], told.area_mm2[order])

    @cached_property
    def middle_mm(self) -> Floats:
        """(3,) middle of the samples."""
        middle: Floats = self.samples.point.mean(axis=0)
        return middle

    @cached_property
    def _sample_tree(self) -> cKDTree:
        return cKDTree(np.hstack([self.samples.point, _TURN_SHARE * self.mesh.reach_mm * self.samples.normal]))

    def nearest_samples(self, points: Floats, directions: Floats, reach_mm: float) -> NDArray[np.int64]:
        """(k,) sample that lies and faces most as each of (k, 3) points and directions does; -1 beyond reach."""
        asked = np.hstack([points, _TURN_SHARE * self.mesh.reach_mm * directions])
        _, row = self._sample_tree.query(asked, distance_upper_bound=reach_mm)
        return np.where(row == len(self.samples.point), -1, row)

    @cached_property
    def piece_zone(self) -> Ints:
        """(k,) zone of every piece, -1 where the job leaves it out."""
        zone: Ints = self.zone[self.pieces.facet]
        return zone

    @cached_property
    def piece_normal(self) -> Floats:
        """(k, 3) outward normal of every piece."""
        normal: Floats = self.mesh.normal[self.pieces.facet]
        return normal

    @property
    def last_zone(self) -> int:
        """The largest zone number."""
        return int(self.zone.max(initial=0))

    def moved(self, motion: Motion) -> CompareSide:
        """The same surface moved."""
        return CompareSide(Mesh(motion(self.mesh.vertices), self.mesh.faces), self.zone)

    def mirrored(self) -> CompareSide:
        """Its mirror image in the plane of Y and Z."""
        return CompareSide(Mesh(self.mesh.vertices * [-1.0, 1.0, 1.0], self.mesh.faces[:, ::-1]), self.zone)


def side_of(plan: Plan) -> CompareSide:
    """The surface of a plan, without facets that have no area: they have no direction, and nothing to tell."""
    mesh = Mesh(plan.facets.vertices, plan.facets.faces)
    corners = mesh.vertices[mesh.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    has_area = np.einsum("ij,ij->i", cross, cross) > 0.0
    if has_area.all():
        return CompareSide(mesh, plan.facets.zone)
    return CompareSide(Mesh(mesh.vertices, mesh.faces[has_area]), plan.facets.zone[has_area])
