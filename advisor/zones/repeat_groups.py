"""Adjacent zones that move alike become one group: a floor and its wall are one pocket."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.zones.areas import Borders
from advisor.zones.repeat_registration import (
    UNMOVED,
    Pose,
    Shapes,
    largest_gap_mm,
    pose_about,
    registered,
    union_gap_mm,
    union_gaps_mm,
)
from advisor.zones.repeat_signature import measures_agree

# Borders between two groups over which a common move is looked for; in a row the first may lie at its end.
_MOST_TRIALS = 6
# A partner's centroid lies within this many times the distance allowed to copies.
_CENTROID_DISTANCES = 3.0

Rows = NDArray[np.int64]


@dataclass(frozen=True)
class Group:
    """Copies of one or more zones.

    Attributes
    ----------
    zones : (k, g) int array
        Zones of each copy; a column holds copies of one zone.
    poses : tuple of k
        From the first copy to each.
    gap_mm : float
        Largest distance between a moved first copy and another.
    """

    zones: Rows
    poses: tuple[Pose, ...]
    gap_mm: float

    def only(self, rows: Rows) -> Group:
        """The same of some copies, of which the first leads."""
        back = self.poses[rows[0]].inverse
        moved = [self.poses[row] if rows[0] == 0 else self.poses[row].after(back) for row in rows[1:]]
        return Group(self.zones[rows], (UNMOVED, *moved), self.gap_mm)


def led_by_lowest(shapes: Shapes, group: Group) -> Group:
    """The copy with the lowest zone first, and in each copy the zones in the order of the first's numbers."""
    order = np.argsort(group.zones.min(axis=1), kind="stable")
    ordered = group.only(order)
    ordered = Group(ordered.zones[:, np.argsort(ordered.zones[0])], ordered.poses, ordered.gap_mm)
    return ordered if order[0] == 0 else measured(shapes, ordered)


def measured(shapes: Shapes, group: Group) -> Group:
    """The group measured against its first copy: what lies too far off that is left out.

    A turn that is none within what can be told becomes a pure shift, where that fits.
    """
    rows, poses, gaps = [0], [UNMOVED], [0.0]
    centre = shapes.measures.centre_mm[group.zones[0, 0]]
    for row in range(1, len(group.zones)):
        pose = group.poses[row]
        trials = [pose]
        if abs(pose.turn_deg) < tolerances.REPEAT_PITCH_DEG and not pose.is_mirrored:
            trials.insert(0, pose_about(0.0, centre, pose(centre)))
        for trial in trials:
            gap = union_gap_mm(shapes, group.zones[0], group.zones[row], trial)
            if np.isfinite(gap):
                rows.append(row)
                poses.append(trial)
                gaps.append(gap)
                break
    return Group(group.zones[rows], tuple(poses), max(gaps))


def grouped(shapes: Shapes, doubles: list[Rows], border: Borders) -> list[Group]:
    """Groups of congruent zones and their mirror images.

    Zones congruent with one are its kin. Kin take in adjacent zones whose surface goes with them, though facets may
    draw the lines between them a little differently in each copy. Then adjacent kin that share their moves are joined.

    Parameters
    ----------
    shapes : Shapes
    doubles : list of z int arrays
        For each zone those that may be congruent by their measures.
    border : Borders
        Between all zones.
    """
    pairs = _adjacent(border, shapes)
    beside: dict[int, list[int]] = {}
    for one, other in pairs:
        beside.setdefault(one, []).append(other)
        beside.setdefault(other, []).append(one)
    joined = _joined_by_hand(shapes, _kin(shapes, doubles, beside), pairs)
    taken = {int(zone) for group in joined for zone in group.zones.ravel()}
    for k, group in enumerate(joined):
        joined[k] = _with_followers(shapes, group, beside, taken)
        taken.update(int(zone) for zone in joined[k].zones.ravel())
    return joined


def _kin(shapes: Shapes, doubles: list[Rows], beside: dict[int, list[int]]) -> dict[int, Group]:
    """Zones congruent with, or mirror images of, the first of each kin, and what follows them; large zones first."""
    area = shapes.measures.area_mm2
    order = np.lexsort((np.arange(len(area)), -np.round(area / (1e-6 * area.max()))))
    taken: set[int] = set()
    kin: dict[int, Group] = {}
    for one in order.tolist():
        others = doubles[one]
        if one in taken or len(others) == 0:
            continue
        zones, poses, gap = [one], [UNMOVED], 0.0
        for other in others:
            found = None if int(other) in taken else registered(shapes, one, int(other))
            if found is not None:
                zones.append(int(other))
                poses.append(found[0])
                gap = max(gap, found[1])
        if len(zones) > 1:
            group = Group(np.array(zones)[:, None], tuple(poses), gap)
            kin[len(kin)] = _with_followers(shapes, group, beside, taken | set(zones))
            taken.update(int(zone) for zone in kin[len(kin) - 1].zones.ravel())
    return kin


def _adjacent(border: Borders, shapes: Shapes) -> list[tuple[int, int]]:
    """Pairs of adjacent zones that have something like a double; longest border first, then the lowest numbers."""
    has_double = np.diff(shapes.surface.start) > 0
    count = len(has_double)
    both = has_double[border.one] & has_double[border.other]
    low = np.minimum(border.one, border.other)[both].astype(np.int64)
    high = np.maximum(border.one, border.other)[both].astype(np.int64)
    keys, pair = np.unique(low * count + high, return_inverse=True)
    if len(keys) == 0:
        return []
    length = np.bincount(pair, border.length_mm[both])
    # borders of copies differ by chance of their zone lines: only the first digits rank them
    order = np.lexsort((keys, -np.round(length / (0.01 * length.max()))))
    return [(int(key) // count, int(key) % count) for key in keys[order]]


def _joined_by_hand(shapes: Shapes, kin: dict[int, Group], pairs: list[tuple[int, int]]) -> list[Group]:
    """Kin joined over borders; the two sides of a lobe, mirror images of each other, may both join its top.

    So kin of both hands are tried hand by hand where adjacent ones number as many as either hand.
    """
    of_zone = {int(zone): k for k, group in kin.items() for zone in group.zones.ravel()}
    beside: dict[int, set[int]] = {}
    for one, other in pairs:
        if one in of_zone and other in of_zone:
            beside.setdefault(of_zone[one], set()).add(len(kin[of_zone[other]].zones))
            beside.setdefault(of_zone[other], set()).add(len(kin[of_zone[one]].zones))
    trial: dict[int, Group] = {}
    halves: dict[int, list[Group]] = {}
    for k, group in kin.items():
        halves[k] = _hands(shapes, group) if len(group.zones) // 2 in beside.get(k, ()) else [group]
        trial.update({len(trial) + n: half for n, half in enumerate(halves[k])})
    joined = _joined_over(shapes, trial, pairs)
    alone = {id(group) for group in joined}
    for k, parts in halves.items():
        if len(parts) == 2 and all(id(part) in alone for part in parts):
            joined = [kin[k] if group is parts[0] else group for group in joined if group is not parts[1]]
    return joined


def _hands(shapes: Shapes, group: Group) -> list[Group]:
    """The group's copies of either hand, several and as many of each; or the group."""
    mirrored = np.array([pose.is_mirrored for pose in group.poses])
    rows = np.flatnonzero(~mirrored), np.flatnonzero(mirrored)
    if len(rows[0]) != len(rows[1]) or len(rows[0]) < 2:
        return [group]
    hands = [measured(shapes, group.only(one)) for one in rows]
    return hands if all(len(hand.zones) == len(rows[0]) for hand in hands) else [group]


def _joined_over(shapes: Shapes, groups: dict[int, Group], pairs: list[tuple[int, int]]) -> list[Group]:
    group_of = {int(zone): k for k, group in groups.items() for zone in group.zones.ravel()}
    trials: dict[tuple[int, int], int] = {}
    for one, other in pairs:
        if one not in group_of or other not in group_of:
            continue
        low, high = sorted((group_of[one], group_of[other]))
        trials[low, high] = trials.get((low, high), 0) + 1
        if low == high or trials[low, high] > _MOST_TRIALS or len(groups[low].zones) != len(groups[high].zones):
            continue
        pair = (one, other) if group_of[one] == low else (other, one)
        joined = _joined(shapes, groups[low], groups[high], pair)
        if joined is None:
            continue
        groups[low] = joined
        for zone in groups.pop(high).zones.ravel():
            group_of[int(zone)] = low
        trials = {key: tries for key, tries in trials.items() if not {low, high} & set(key)}
    return list(groups.values())


def _joined(shapes: Shapes, one: Group, other: Group, pair: tuple[int, int]) -> Group | None:
    """One group of two with a common move, by which the pair of adjacent zones goes from copy to copy."""
    row = int(np.flatnonzero((one.zones == pair[0]).any(axis=1))[0])
    other_row = int(np.flatnonzero((other.zones == pair[1]).any(axis=1))[0])
    area = shapes.measures.area_mm2
    if area[one.zones].sum() < area[other.zones].sum():
        one, row, other, other_row = other, other_row, one, row
    # the larger one's moves are the surer ones; a round one's are not those of what is not round
    return _carried(shapes, one, row, other, other_row) or _carried(shapes, other, other_row, one, row)


def _carried(shapes: Shapes, lead: Group, row: int, follower: Group, follower_row: int) -> Group | None:
    """The leading group with the copies of the other that its own moves carry on each other."""
    back = lead.poses[row].inverse
    rows, gap = [], lead.gap_mm
    for pose in lead.poses:
        found = _partner(shapes, pose.after(back), follower, follower_row)
        if found is None:
            return None
        rows.append(found[0])
        gap = max(gap, found[1])
    if len(set(rows)) != len(lead.zones):
        return None
    return Group(np.concatenate([lead.zones, follower.zones[rows]], axis=1), lead.poses, gap)


def _partner(shapes: Shapes, move: Pose, follower: Group, start: int) -> tuple[int, float] | None:
    """The copy on which a move lays copy `start`, and the largest distance."""
    zones = follower.zones[start]
    centre = shapes.measures.centre_mm
    away = np.linalg.norm(move(centre[zones])[None] - centre[follower.zones], axis=2).max(axis=1)
    row = int(away.argmin())
    if away[row] > _CENTROID_DISTANCES * shapes.distance_mm[zones].max():
        return None
    if row == start:
        return row, 0.0
    pairs = zip(zones, follower.zones[row], strict=True)
    gap = max(largest_gap_mm(shapes, int(a), int(b), move) for a, b in pairs)
    return (row, gap) if np.isfinite(gap) else None


def _with_followers(shapes: Shapes, lead: Group, beside: dict[int, list[int]], taken: set[int]) -> Group:
    """The group with adjacent zones whose surface goes with it, so far as these follow it to all copies."""
    columns = [lead.zones]
    reached, taken = [int(zone) for zone in lead.zones[0]], set(taken)
    while reached:
        for zone in sorted(beside.get(reached.pop(), [])):
            followers = None if zone in taken else _followers(shapes, lead, zone, taken)
            if followers is not None:
                columns.append(np.array(followers)[:, None])
                taken.update(followers)
                reached.append(zone)
    if len(columns) == 1:
        return lead
    whole = np.concatenate(columns, axis=1)
    held = lead.zones.shape[1]
    while whole.shape[1] > held:
        gaps = np.zeros(whole.shape)
        for row in range(1, len(whole)):
            gaps[row] = union_gaps_mm(shapes, whole[0], whole[row], lead.poses[row])
        fits = np.asarray(np.isfinite(gaps).all(axis=0))
        fits[:held] = True
        if fits.all():
            return Group(whole, lead.poses, float(max(lead.gap_mm, gaps[:, held:].max())))
        whole = whole[:, fits]
    return lead


def _followers(shapes: Shapes, lead: Group, zone: int, taken: set[int]) -> list[int] | None:
    """The zones that may be copies of `zone` where the group's moves carry it; None where one is missing."""
    centre, distance = shapes.measures.centre_mm, float(shapes.distance_mm[zone])
    most_away = tolerances.REPEAT_LOOSE_SHARE * float(shapes.measures.reach_mm[zone])
    free = np.flatnonzero(np.diff(shapes.surface.start) > 0)
    free = free[~np.isin(free, list(taken))]
    free = free[measures_agree(shapes.measures, zone, free, distance, tolerances.REPEAT_LOOSE_SHARE)]
    followers = []
    for pose in lead.poses:
        away = np.linalg.norm(pose(centre[zone]) - centre[free], axis=1)
        if len(away) == 0 or away.min() > most_away:
            return None
        followers.append(int(free[away.argmin()]))
    return followers if len(set(followers)) == len(followers) else None
