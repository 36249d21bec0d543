"""What the user decides for a zone that a point lies on: a name, a strategy, to join it, leave it out or protect it.

A zone is named by a point on it, and by its shape where the point lies near a border: both outlast another export of
the part, zone numbers do not. Other facets move a surface by their chord error and zone lines by about as much, and
points are rounded as they are written down, so of zones that lie almost as near as the nearest the shape decides.
What stays in doubt is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.errors import InputError
from advisor.job import ZoneOverride
from advisor.model import SLOPE_CLASSES, Strategy
from advisor.part.mesh import Floats
from advisor.zones.areas import borders, numbered_pairs
from advisor.zones.classes import UNDERCUT
from advisor.zones.zoning import Zoning

# A point read off a drawing or a screen may miss the facets by this, or by this share of the part's size.
_OFF_MM = 1.0
_OFF_SHARE_OF_SIZE = 0.01
# A zone this much farther than the nearest may be the one that is meant: a point written to 0.1 mm is off by up to
# 0.09, and where the map is the same the right zone was at most 0.11 farther at chord errors up to 0.1 (measured).
_ALIKE_MM = 0.15
_ALIKE_SHARE_OF_SIZE = 0.005

Point = tuple[float, float, float]


@dataclass(frozen=True)
class ZoneWishes:
    """Wishes by zone number, 0-based, and what is in doubt about them, a line each.

    `zones` has the zone of every override, in the order of the job.
    """

    name: Mapping[int, str]
    strategy: Mapping[int, Strategy]
    excluded: frozenset[int]
    protected: frozenset[int]
    warnings: tuple[str, ...] = ()
    zones: tuple[int, ...] = ()


@dataclass(frozen=True)
class Joined:
    """(p,) regions of patches with the zones joined or split that the job names, and what is in doubt about them."""

    region: NDArray[np.int64]
    warnings: tuple[str, ...]


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
    if not overrides:
        return ZoneWishes({}, {}, frozenset(), frozenset())
    places = _Places(zoning, shapes)
    # what a joined zone has become is told by `merged_regions`: here it is the one that all its points lie on
    found = [
        _zone_of_all(places, override, f"{subject}: zone.{place}")
        if override.merge
        else _zone_of(places, override, f"{subject}: zone.{place}")
        for place, override in enumerate(overrides)
    ]
    by_zone = [(number, override) for (number, _), override in zip(found, overrides, strict=True)]
    return ZoneWishes(
        name={number: override.name for number, override in by_zone if override.name is not None},
        strategy={number: override.strategy for number, override in by_zone if override.strategy is not None},
        excluded=frozenset(number for number, override in by_zone if override.exclude),
        protected=frozenset(number for number, override in by_zone if override.protect),
        warnings=(
            *(line for _, line in found if line),
            *_twice([number for number, _ in found], overrides, shapes, subject),
        ),
        zones=tuple(number for number, _ in found),
    )


def split_regions(
    zoning: Zoning, shapes: Sequence[str], overrides: tuple[ZoneOverride, ...], subject: str
) -> Joined | None:
    """Regions in which every patch of the zones that the job splits is one of its own; None where it splits none.

    Raises
    ------
    InputError
        Where a point lies off the part.
    """
    if not any(override.split for override in overrides):
        return None
    places = _Places(zoning, shapes)
    region, warnings = zoning.zone_of_patch.astype(np.int64), []
    for place, override in enumerate(overrides):
        if not override.split:
            continue
        number, doubt = _zone_of(places, override, f"{subject}: zone.{place}")
        patches = np.flatnonzero(zoning.zone_of_patch == number)
        region[patches[1:]] = region.max() + 1 + np.arange(len(patches) - 1)
        if len(patches) == 1:
            doubt = f"{subject}: zone.{place}: {_a(shapes[number])} is of one slope class: there is nothing to split."
        warnings += [doubt] if doubt else []
    return Joined(region, tuple(warnings))


def merged_regions(
    zoning: Zoning, shapes: Sequence[str], overrides: tuple[ZoneOverride, ...], subject: str
) -> Joined | None:
    """Regions with the zones joined that the job joins; None where it joins none.

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
    places = _Places(zoning, shapes)
    warnings = []
    for place, override in enumerate(overrides):
        if not override.merge:
            continue
        line = f"{subject}: zone.{place}"
        number, doubt = _zone_of(places, override, line)
        members, doubts = [number], [doubt]
        for point in override.merge:
            number, doubt = _other_zone(places, members, point, f"{line}.merge")
            members.append(number)
            doubts.append(doubt)
        warnings += [doubt for doubt in doubts if doubt]
        _refuse_strangers(members, zoning, touching, f"{line}.merge")
        for other in members[1:]:
            target[target == target[other]] = target[members[0]]
    _, region = np.unique(target[zoning.zone_of_patch], return_inverse=True)
    return Joined(region.astype(np.int64), tuple(warnings))


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


def _zone_of(places: _Places, override: ZoneOverride, subject: str) -> tuple[int, str | None]:
    """The zone of an override, and what is in doubt about it.

    Of the zones about as near as the nearest the one of the shape asked for; or else one of that shape within reach;
    or else the nearest.
    """
    near = places.near(override.at, f"{subject}.at")
    at = f"{subject}.at: {_words(override.at)}"
    wanted = override.shape
    if wanted is None:
        return near.alike[0], None if len(near.alike) == 1 else f"{at} {_between(places, near.alike)}"
    alike = [zone for zone in near.alike if places.shapes[zone] == wanted]
    if alike:
        return alike[0], None if len(alike) == 1 else f"{at} {_between(places, alike)}"
    first = _a(places.shapes[near.alike[0]])
    reached = [zone for zone in near.zones if places.shapes[zone] == wanted]
    if reached:
        gap = near.distance_mm[near.zones.index(reached[0])]
        return reached[0], (
            f"{at} lies on {first}; the {wanted} {gap:.2g} mm away is taken, for the job asks for that shape. "
            "Look whether it is the zone you mean, and move the point onto it."
        )
    return near.alike[0], (
        f'{at} lies on {first}, and no zone of shape "{wanted}" is within {places.limit_mm:.2g} mm: the zone that it '
        f'lies on is taken. Look whether it is the one you mean, and say shape = "{places.shapes[near.alike[0]]}".'
    )


def _other_zone(places: _Places, members: list[int], point: Point, subject: str) -> tuple[int, str | None]:
    """The zone to join that a point lies on; on the line between it and one that has been named, it."""
    near = places.near(point, subject)
    others = [zone for zone in near.alike if zone not in members]
    at = f"{subject}: {_words(point)}"
    if not others:
        return near.alike[0], f"{at} lies on a zone that is named already: nothing is joined by it."
    return others[0], None if len(others) == 1 else f"{at} {_between(places, others)}"


def _zone_of_all(places: _Places, override: ZoneOverride, subject: str) -> tuple[int, str | None]:
    """The zone that an override's points lie on, once it has been joined."""
    near = places.near(override.at, f"{subject}.at")
    others = [set(places.near(point, f"{subject}.merge").alike) for point in override.merge]
    common = [zone for zone in near.alike if all(zone in zones for zones in others)]
    return (common or near.alike)[0], None


def _between(places: _Places, zones: Sequence[int]) -> str:
    """What is said of a point that lies on several zones, of which the first is taken."""
    shapes = [places.shapes[zone] for zone in zones]
    kinds = list(dict.fromkeys(shapes))
    if len(kinds) == 1:
        return (
            f"lies on the line between {len(shapes)} zones, each {_a(kinds[0])}: one of them is taken. Give a point "
            "further inside the zone you mean."
        )
    others = " or ".join(f'shape = "{kind}"' for kind in kinds[1:])
    return (
        f"lies on the line between {' and '.join(_a(kind) for kind in kinds)}: it is taken for the {kinds[0]}. Give a "
        f"point further inside the zone you mean, or say {others}."
    )


def _twice(
    numbers: Sequence[int], overrides: tuple[ZoneOverride, ...], shapes: Sequence[str], subject: str
) -> Iterable[str]:
    """Lines on overrides that ask different things of one zone."""
    for place, (number, override) in enumerate(zip(numbers, overrides, strict=True)):
        for before in range(place):
            other = overrides[before]
            asked = ((other.name, override.name), (other.strategy, override.strategy))
            if numbers[before] == number and any(a and b and a != b for a, b in asked):
                yield (
                    f"{subject}: zone.{before} and zone.{place} lie on one zone, {_a(shapes[number])}: what "
                    f"zone.{place} says holds. Two zones may have become one: take one of the entries out of the job."
                )


def _a(shape: str) -> str:
    if shape.endswith("s"):
        return shape
    return f"{'an' if shape[0] in 'aeiou' else 'a'} {shape}"


def _words(point: Point) -> str:
    return f"the point {', '.join(f'{value:g}' for value in point)} mm"


@dataclass(frozen=True)
class _Near:
    """Zones within reach of a point, nearest first; `alike` are those about as near as the nearest."""

    zones: list[int]
    distance_mm: Floats
    alike: list[int]


class _Places:
    """Zones near points, over the boxes of the facets: few points are asked, for which a tree is not worth building."""

    def __init__(self, zoning: Zoning, shapes: Sequence[str]) -> None:
        mesh = zoning.surface.mesh
        self.shapes = shapes
        self.limit_mm = max(_OFF_MM, _OFF_SHARE_OF_SIZE * mesh.reach_mm)
        self._alike_mm = min(_ALIKE_MM, _ALIKE_SHARE_OF_SIZE * mesh.reach_mm)
        self._zone = zoning.zone
        self._mesh = mesh
        self._corners = mesh.vertices[mesh.faces]
        self._low, self._high = self._corners.min(axis=1), self._corners.max(axis=1)

    def near(self, point: Point, subject: str) -> _Near:
        """Zones within reach of a point.

        Raises
        ------
        InputError
            Where there is none; `subject` opens the line.
        """
        from trimesh.triangles import closest_point

        place, reach = np.asarray(point, dtype=np.float64), self.limit_mm
        facets = np.flatnonzero(((self._low <= place + reach) & (self._high >= place - reach)).all(axis=1))
        on_each = closest_point(self._corners[facets], np.broadcast_to(place, (len(facets), 3)))  # type: ignore[no-untyped-call]
        gap = np.linalg.norm(on_each - place, axis=1)
        within = gap <= reach
        if not within.any():
            raise InputError(
                subject,
                f"{_words(point)} lies {self._off_mm(place):.4g} mm off the part",
                "give a point on the zone, in part coordinates and the job's unit",
            )
        order = np.lexsort((self._zone[facets[within]], gap[within]))
        zones, first = np.unique(self._zone[facets[within]][order], return_index=True)
        rank = np.argsort(first)
        distance = gap[within][order][first[rank]]
        numbers = zones[rank].tolist()
        alike = numbers[: int(np.count_nonzero(distance <= distance[0] + self._alike_mm))]
        return _Near(numbers, distance, alike)

    def _off_mm(self, place: Floats) -> float:
        import trimesh

        solid = trimesh.Trimesh(self._mesh.vertices, self._mesh.faces, process=False, validate=False)
        return float(trimesh.proximity.closest_point(solid, place[None])[1][0])  # type: ignore[no-untyped-call]
