"""What the user decides for a zone that a point lies on: its name, its strategy, or to leave it out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from advisor.errors import InputError
from advisor.job import ZoneOverride
from advisor.model import Strategy
from advisor.part.mesh import Mesh
from advisor.zones.zoning import Zoning

# A point read off a drawing or a screen may miss the facets by this, or by this share of the part's size.
_OFF_MM = 1.0
_OFF_SHARE_OF_SIZE = 0.01


@dataclass(frozen=True)
class ZoneWishes:
    """Wishes by zone number, 0-based."""

    name: Mapping[int, str]
    strategy: Mapping[int, Strategy]
    excluded: frozenset[int]


def zone_wishes(zoning: Zoning, overrides: tuple[ZoneOverride, ...], subject: str) -> ZoneWishes:
    """Find the zone of every override; later overrides win.

    Raises
    ------
    InputError
        Where a point lies off the part; `subject` opens the line.
    """
    name: dict[int, str] = {}
    strategy: dict[int, Strategy] = {}
    excluded: set[int] = set()
    if overrides:
        mesh = zoning.surface.mesh
        facets, distances = nearest_facets(mesh, np.array([override.at for override in overrides]))
        _refuse_far_points(overrides, distances, max(_OFF_MM, _OFF_SHARE_OF_SIZE * mesh.reach_mm), subject)
        for override, facet in zip(overrides, facets, strict=True):
            number = int(zoning.zone[facet])
            if override.name is not None:
                name[number] = override.name
            if override.strategy is not None:
                strategy[number] = override.strategy
            if override.exclude:
                excluded.add(number)
    return ZoneWishes(name, strategy, frozenset(excluded))


def _refuse_far_points(
    overrides: tuple[ZoneOverride, ...], distances: np.ndarray, limit_mm: float, subject: str
) -> None:
    for number, (override, distance) in enumerate(zip(overrides, distances, strict=True)):
        if distance > limit_mm:
            place = ", ".join(f"{value:g}" for value in override.at)
            raise InputError(
                f"{subject}: zone.{number}.at",
                f"the point {place} lies {distance:.4g} mm off the part",
                "give a point on the zone, in part coordinates and the job's unit",
            )


def nearest_facets(mesh: Mesh, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(k,) facet nearest to each of (k, 3) points and the way to it, mm, by trimesh's R-tree of facet boxes."""
    import trimesh
    from trimesh.proximity import closest_point

    solid = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False, validate=False)
    _, distances, facets = closest_point(solid, points)  # type: ignore[no-untyped-call]
    return np.asarray(facets), np.asarray(distances)
