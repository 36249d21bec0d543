"""What the user decides for a zone that a point lies on: its name, its strategy, or to leave it out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from advisor.job import ZoneOverride
from advisor.model import Strategy
from advisor.part.mesh import Mesh
from advisor.zones.zoning import Zoning


@dataclass(frozen=True)
class ZoneWishes:
    """Wishes by zone number, 0-based."""

    name: Mapping[int, str]
    strategy: Mapping[int, Strategy]
    excluded: frozenset[int]


def zone_wishes(zoning: Zoning, overrides: tuple[ZoneOverride, ...]) -> ZoneWishes:
    """Find the zone of every override; later overrides win."""
    name: dict[int, str] = {}
    strategy: dict[int, Strategy] = {}
    excluded: set[int] = set()
    if overrides:
        facets = nearest_facets(zoning.surface.mesh, np.array([override.at for override in overrides]))
        for override, facet in zip(overrides, facets, strict=True):
            number = int(zoning.zone[facet])
            if override.name is not None:
                name[number] = override.name
            if override.strategy is not None:
                strategy[number] = override.strategy
            if override.exclude:
                excluded.add(number)
    return ZoneWishes(name, strategy, frozenset(excluded))


def nearest_facets(mesh: Mesh, points: np.ndarray) -> np.ndarray:
    """(k,) facet nearest to each of (k, 3) points, through trimesh's R-tree of facet boxes."""
    import trimesh
    from trimesh.proximity import closest_point

    solid = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False, validate=False)
    _, _, facets = closest_point(solid, points)  # type: ignore[no-untyped-call]
    return np.asarray(facets)
