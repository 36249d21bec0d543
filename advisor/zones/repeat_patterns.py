"""What copies form together: a ring about one centre, a row, a grid, or nothing with a name."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.part.mesh import Floats
from advisor.zones.repeat_groups import Group
from advisor.zones.repeat_registration import UNMOVED, Pose, Shapes, largest_gap_mm, pose_about

# Fewest copies of a grid; three shifts always lie on some.
_FEWEST_OF_GRID = 4
# Least share of a grid's places that are taken: a ring of six lies on a grid of nine too.
_GRID_FILL = 0.75
# Any three places lie on a circle: so few are a ring only where they stand evenly round it.
_FEWEST_OF_UNEVEN_RING = 5


@dataclass(frozen=True)
class Pattern:
    """A pattern in the frame of ``repeat_signature``: its name, and what measures it."""

    name: Literal["polar", "grid", "row", "free"]
    centre: Floats | None = None
    pitch_deg: float | None = None
    pitches_mm: tuple[Floats, ...] = ()


_FREE = Pattern("free")


def pattern_of(shapes: Shapes, group: Group) -> tuple[Pattern, tuple[Pose, ...], float]:
    """The pattern of copies that are all of one hand, their poses and the largest distance.

    Where copies are symmetrical in themselves, turns about a common centre are put in the place of others that lay
    them on each other as well.
    """
    if len(group.zones) < 2:
        return _FREE, group.poses, 0.0
    turns = np.array([pose.turn_deg for pose in group.poses])
    slack = 2.0 * float(shapes.distance_mm[group.zones].max())
    if turns.any():
        centre = _common_centre(group.poses, slack)
        pattern = _FREE if centre is None else Pattern("polar", centre, _pitch_deg(turns))
    else:
        pattern = _shifts(np.array([pose.shift for pose in group.poses]), slack)
    ring = _ring(shapes, group, slack) if pattern is _FREE else None
    return (pattern, group.poses, group.gap_mm) if ring is None else ring


def _common_centre(poses: tuple[Pose, ...], slack: float) -> Floats | None:
    """(2,) the point that stays where it is in all moves: least squares of (1 - turn) centre = shift."""
    if max(abs(pose.shift[2]) for pose in poses) > slack:
        return None
    moved = poses[1:]
    if min(abs(pose.turn_deg) for pose in moved) < tolerances.REPEAT_LEAST_TURN_DEG:
        return None
    stays = np.concatenate([np.eye(2) - pose.matrix[:2, :2] for pose in moved])
    shift = np.concatenate([pose.shift[:2] for pose in moved])
    centre: Floats = np.linalg.lstsq(stays, shift, rcond=None)[0]
    off = np.linalg.norm((stays @ centre - shift).reshape(-1, 2), axis=1)
    return centre if off.max() <= slack else None


def _pitch_deg(turns: Floats) -> float | None:
    """The step of equal steps, all round or along a part of the circle."""
    steps = np.diff(np.sort(turns % 360.0))
    steps = np.append(steps, 360.0 - steps.sum())
    if len(steps) == 2:
        return float(steps.min())
    within = np.delete(steps, steps.argmax())
    return float(within.mean()) if np.ptp(within) <= tolerances.REPEAT_PITCH_DEG else None


def _is_even_all_round(turns: Floats) -> bool:
    even = 360.0 / len(turns) * np.arange(len(turns))
    return bool(np.abs(np.sort(turns % 360.0) - even).max() <= tolerances.REPEAT_PITCH_DEG)


def _ring(shapes: Shapes, group: Group, slack: float) -> tuple[Pattern, tuple[Pose, ...], float] | None:
    """Turns about the centre of the circle on which the copies lie, where these lay them on each other too."""
    area = shapes.measures.area_mm2[group.zones][:, :, None]
    place = (area * shapes.measures.centre_mm[group.zones]).sum(axis=1) / area.sum(axis=1)
    if len(place) < 3 or np.ptp(place[:, 2]) > slack:
        return None
    middle = place[:, :2].mean(axis=0)
    plan = place[:, :2] - middle
    if np.linalg.svd(plan, compute_uv=False)[1] < slack:
        return None
    # x^2 + y^2 = 2 x a + 2 y b + c (I. Kasa, 1976)
    a, b, _ = np.linalg.lstsq(np.column_stack([2 * plan, np.ones(len(plan))]), (plan**2).sum(axis=1), rcond=None)[0]
    radius = np.hypot(plan[:, 0] - a, plan[:, 1] - b)
    if np.ptp(radius) > slack:
        return None
    centre = middle + [a, b]
    azimuth = np.degrees(np.arctan2(plan[:, 1] - b, plan[:, 0] - a))
    turns = (azimuth - azimuth[0] + 180.0) % 360.0 - 180.0
    if len(place) < _FEWEST_OF_UNEVEN_RING and not _is_even_all_round(turns):
        return None
    on_axis = np.append(centre, 0.0)
    poses, gap = [UNMOVED], 0.0
    for turn, copy in zip(turns[1:], group.zones[1:], strict=True):
        pose = pose_about(float(turn), on_axis, on_axis)
        gap = max(
            [gap, *(largest_gap_mm(shapes, int(i), int(j), pose) for i, j in zip(group.zones[0], copy, strict=True))]
        )
        if not math.isfinite(gap):
            return None
        poses.append(pose)
    return Pattern("polar", centre, _pitch_deg(np.array([pose.turn_deg for pose in poses]))), tuple(poses), gap


def _shifts(shifts: Floats, slack: float) -> Pattern:
    """Row or grid of places that are (k, 3) shifts from the first."""
    away = np.linalg.norm(shifts[1:], axis=1)
    along = np.linalg.svd(shifts - shifts.mean(axis=0))[2][0]
    aside = shifts - (shifts @ along)[:, None] * along
    if np.linalg.norm(aside, axis=1).max() <= slack:
        pitch = _row_pitch(shifts @ along, slack)
        if pitch is None:
            return _FREE
        return Pattern("row", pitches_mm=(_forward(pitch * along),))
    if len(shifts) < _FEWEST_OF_GRID or away.min() <= slack:
        return _FREE
    pitches = _grid_pitches(shifts, slack)
    return _FREE if pitches is None else Pattern("grid", pitches_mm=pitches)


def _row_pitch(place: Floats, slack: float) -> float | None:
    """The distance of neighbours where all are equal, from the ends."""
    place = np.sort(place)
    pitch = float(place[-1] - place[0]) / (len(place) - 1)
    even = np.abs(place - place[0] - pitch * np.arange(len(place))).max() <= slack
    return pitch if even else None


def _grid_pitches(shifts: Floats, slack: float) -> tuple[Floats, Floats] | None:
    """Two shortest steps between places of which all shifts are whole multiples, where most places are taken."""
    steps = (shifts[:, None] - shifts[None]).reshape(-1, 3)
    length = np.linalg.norm(steps, axis=1)
    steps, length = steps[length > slack], length[length > slack]
    # equal lengths differ by rounding: of those the one nearest to X leads
    order = np.lexsort((-steps @ [1.0, 1e-3, 1e-6], np.round(length / slack)))
    first = steps[order[0]]
    across = np.abs(np.linalg.norm(np.cross(steps[order], first), axis=1)) > 0.3 * length[order] * length[order[0]]
    if not across.any():
        return None
    second = steps[order[np.flatnonzero(across)[0]]]
    basis = np.stack([first, second], axis=1)
    for _ in range(2):  # whole numbers of rough pitches, then pitches from all places
        counts = np.round(np.linalg.lstsq(basis, shifts.T, rcond=None)[0])
        if np.linalg.matrix_rank(counts) < 2:
            return None
        basis = np.linalg.lstsq(counts.T, shifts, rcond=None)[0].T
    if np.linalg.norm(basis @ counts - shifts.T, axis=0).max() > slack:
        return None
    places = np.prod(np.ptp(counts, axis=1) + 1)
    if len(shifts) < _GRID_FILL * places:
        return None
    return _forward(basis[:, 0]), _forward(basis[:, 1])


def _forward(pitch: Floats) -> NDArray[np.float64]:
    """The pitch or its opposite: the one towards greater X, else Y, else Z."""
    lead = pitch[np.abs(pitch) > 1e-6 * np.abs(pitch).max()][0]
    return pitch if lead > 0 else -pitch
