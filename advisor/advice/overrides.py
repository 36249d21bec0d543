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
from advisor.zones.areas import borders, numbered_pairs
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
    if not overrides:
        return ZoneWishes(name, strategy, frozenset(), frozenset())
    places = _Places(zoning)
    for place, override in enumerate(overrides):
        number = _zone_of(places, shapes, override, f"{subject}: zone.{place}")
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
    pairs, _ = numbered_pairs(edge.one, edge.other, len(target))
    touching = {(one, other) for pair in pairs.tolist() for one, other in (pair, pair[::-1])}
    places = _Places(zoning)
    for place, override in enumerate(overrides):
        line = f"{subject}: zone.{place}"
        members = [_zone_of(places, shapes, override, line)] if override.merge else []
        members += [places.zones_at(point, f"{line}.merge")[0] for point in override.merge]
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
        near = {n for n in waiting if any((n, m) in touching for m in joined)}
        if not near:
            raise InputError(subject, "the zones do not touch", "join zones that share a border")
        joined |= near
        waiting -= near


def _zone_of(places: _Places, shapes: Sequence[str], override: ZoneOverride, subject: str) -> int:
    near = places.zones_at(override.at, f"{subject}.at")
    alike = [number for number in near if shapes[number] == override.shape]
    return alike[0] if alike else near[0]


class _Places:
    """Zones near points, over one box tree of the facets."""

    def __init__(self, zoning: Zoning) -> None:
        import trimesh

        mesh = zoning.surface.mesh
        self._zone = zoning.zone
        self._solid = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False, validate=False)
        self._limit_mm = max(_OFF_MM, _OFF_SHARE_OF_SIZE * mesh.reach_mm)

    def zones_at(self, point: tuple[float, float, float], subject: str) -> list[int]:
        """Zones within reach of a point, nearest first.

        Raises
        ------
        InputError
            Where there is none; `subject` opens the line.
        """
        from trimesh.proximity import closest_point
        from trimesh.triangles import closest_point as closest_on_triangles

        place = np.asarray(point, dtype=np.float64)
        box = np.concatenate([place - self._limit_mm, place + self._limit_mm])
        facets = np.array(sorted(self._solid.triangles_tree.intersection(box)), dtype=np.int64)
        on_each = closest_on_triangles(self._solid.triangles[facets], np.broadcast_to(place, (len(facets), 3)))  # type: ignore[no-untyped-call]
        distance = np.linalg.norm(on_each - place, axis=1)
        zones = self._zone[facets]
        near = distance <= self._limit_mm
        if not near.any():
            off_mm = float(closest_point(self._solid, place[None])[1][0])  # type: ignore[no-untyped-call]
            raise InputError(
                subject,
                f"the point {', '.join(f'{value:g}' for value in point)} lies {off_mm:.4g} mm off the part",
                "give a point on the zone, in part coordinates and the job's unit",
            )
        order = np.lexsort((zones[near], distance[near]))
        return list(dict.fromkeys(zones[near][order].tolist()))
