"""What the user decides for a zone that a point lies on: a name, a strategy, to join it, leave it out or protect it.

A zone is named by a point on it, and by its shape where the point lies near a border: both outlast another export of
the part, zone numbers do not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.errors import InputError
from advisor.job import ZoneOverride
from advisor.model import SLOPE_CLASSES, Strategy
from advisor.part.mesh import Floats, Mesh
from advisor.zones.areas import borders
from advisor.zones.classes import UNDERCUT
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
    protected: frozenset[int]


def zone_wishes(zoning: Zoning, shapes: Sequence[str], overrides: tuple[ZoneOverride, ...], subject: str) -> ZoneWishes:
    """Find the zone of every override; later overrides win.

    Parameters
    ----------
    zoning : Zoning
    shapes : shape of every zone, in the order of their numbers
    overrides : tuple of ZoneOverride
    subject : str
        Opens error lines.

    Raises
    ------
    InputError
        Where a point lies off the part.
    """
    name: dict[int, str] = {}
    strategy: dict[int, Strategy] = {}
    excluded: set[int] = set()
    protected: set[int] = set()
    for place, override in enumerate(overrides):
        number = _zone_of(zoning, shapes, override, f"{subject}: zone.{place}")
        if override.name is not None:
            name[number] = override.name
        if override.strategy is not None:
            strategy[number] = override.strategy
        if override.exclude:
            excluded.add(number)
        if override.protect:
            protected.add(number)
    return ZoneWishes(name, strategy, frozenset(excluded), frozenset(protected))


def merged_regions(
    zoning: Zoning, shapes: Sequence[str], overrides: tuple[ZoneOverride, ...], subject: str
) -> NDArray[np.int64] | None:
    """(p,) regions of patches with the zones joined that the job joins; None where it joins none.

    Raises
    ------
    InputError
        Where a point lies off the part, or zones to be joined do not touch or face away from the spindle.
    """
    if not any(override.merge for override in overrides):
        return None
    target = np.arange(len(zoning.zone_class))
    edge = borders(zoning.surface.mesh, zoning.zone)
    touching = set(zip(edge.one.tolist(), edge.other.tolist(), strict=True))
    for place, override in enumerate(overrides):
        line = f"{subject}: zone.{place}"
        members = [_zone_of(zoning, shapes, override, line)] if override.merge else []
        members += [_zones_at(zoning, point, f"{line}.merge")[0] for point in override.merge]
        _refuse_strangers(members, zoning, touching, f"{line}.merge")
        for other in members[1:]:
            target[target == target[other]] = target[members[0]]
    _, region = np.unique(target[zoning.zone_of_patch], return_inverse=True)
    return region.astype(np.int64)


def _refuse_strangers(members: list[int], zoning: Zoning, touching: set[tuple[int, int]], subject: str) -> None:
    for number in members:
        if zoning.zone_class[number] == UNDERCUT:
            raise InputError(
                subject, f"a point lies on an {SLOPE_CLASSES[UNDERCUT]}", "give points on zones that are cut"
            )
    joined = set(members[:1])
    waiting = set(members[1:]) - joined
    while waiting:
        near = {n for n in waiting if any((n, m) in touching or (m, n) in touching for m in joined)}
        if not near:
            raise InputError(subject, "the zones do not touch", "join zones that share a border")
        joined |= near
        waiting -= near


def _zone_of(zoning: Zoning, shapes: Sequence[str], override: ZoneOverride, subject: str) -> int:
    near = _zones_at(zoning, override.at, f"{subject}.at")
    alike = [number for number in near if shapes[number] == override.shape]
    return alike[0] if alike else near[0]


def _zones_at(zoning: Zoning, point: tuple[float, float, float], subject: str) -> list[int]:
    """Zones within reach of a point, nearest first."""
    mesh = zoning.surface.mesh
    limit = max(_OFF_MM, _OFF_SHARE_OF_SIZE * mesh.reach_mm)
    distance = distances_mm(mesh, np.asarray(point, dtype=np.float64))
    nearest = np.full(len(zoning.zone_class), np.inf)
    np.minimum.at(nearest, zoning.zone, distance)
    order = np.argsort(nearest, kind="stable")
    if nearest[order[0]] > limit:
        place = ", ".join(f"{value:g}" for value in point)
        raise InputError(
            subject,
            f"the point {place} lies {nearest[order[0]]:.4g} mm off the part",
            "give a point on the zone, in part coordinates and the job's unit",
        )
    return [int(number) for number in order if nearest[number] <= limit]


def distances_mm(mesh: Mesh, point: Floats) -> Floats:
    """(m,) way from a point to every facet, mm, by trimesh's nearest points on triangles."""
    from trimesh.triangles import closest_point

    near = closest_point(mesh.vertices[mesh.faces], np.broadcast_to(point, (len(mesh.faces), 3)))  # type: ignore[no-untyped-call]
    return np.asarray(np.linalg.norm(near - point, axis=1))
