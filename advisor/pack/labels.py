"""Where zone numbers stand: in their zone where they fit, else beside it with a leader line.

No label covers another label, a leader or the point a leader ends at; no two leaders cross.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from advisor.kernels.picture_labels import box_fits, deepest_pixels, depth_in_zone

# Free pixels kept around a label.
CLEARANCE_PX: Final = 5
# A zone that shows fewer pixels, or is nowhere this deep, is not labelled: the leader would end on a line.
LEAST_SEEN_PX: Final = 60
LEAST_DEPTH_PX: Final = 3.0
# How far the middle of a label may stand from the point it names, pixels on a page 1200 high.
LEADER_LENGTHS_PX: Final = (30, 42, 56, 74, 96, 124, 160, 206, 262, 330)
LEADER_DIRECTIONS: Final = 32
# Costs, in pixels of leader: covering the part, covering lines, a leader across lines, pointing inwards.
COST_OF_COVERING_PART: Final = 70.0
COST_OF_COVERING_LINES: Final = 500.0
COST_OF_CROSSING_A_LINE: Final = 9.0
COST_OF_POINTING_INWARDS: Final = 14.0
# Places tried for a label, cheapest first.
MOST_OPTIONS: Final = 160
# Labels with leaders are placed one by one, then each is offered a better place this many times.
ROUNDS: Final = 2


@dataclass(frozen=True)
class Wish:
    """A label to be placed: the zone it names, what it says, and its size in pixels."""

    zone: int
    text: str
    width: int
    height: int


@dataclass(frozen=True)
class Label:
    """A placed label.

    Attributes
    ----------
    wish : Wish
    box : (left, top, right, bottom), pixels
    anchor : (x, y) or None
        Point in the zone where the leader ends; None where the label stands in its zone.
    """

    wish: Wish
    box: tuple[float, float, float, float]
    anchor: tuple[float, float] | None

    @property
    def leader(self) -> tuple[float, float, float, float] | None:
        """Leader from the anchor to the nearest point of the box, as (x, y, x, y); None without one."""
        if self.anchor is None:
            return None
        x, y = self.anchor
        left, top, right, bottom = self.box
        return x, y, min(max(x, left), right), min(max(y, top), bottom)


def place_labels(
    zone: NDArray[np.int32], lines: NDArray[np.bool_], wishes: Sequence[Wish], scale: float = 1.0
) -> list[Label]:
    """Places for as many of the wished labels as there is room for, the first wishes first.

    Parameters
    ----------
    zone : (height, width) int32 array
        Zone id at each pixel, 0 for part without a zone, -1 off the part.
    lines : (height, width) bool array
        Pixels that a drawn line runs through.
    wishes : sequence of Wish
        At most one a zone.
    scale : float
        Size of the page, 1 for 1200 pixels high.
    """
    if not wishes:
        return []
    count = max(int(zone.max()), *(wish.zone for wish in wishes)) + 1
    seen_px = np.bincount(zone[zone > 0], minlength=count)
    wishes = [wish for wish in wishes if seen_px[wish.zone] >= LEAST_SEEN_PX]
    if not wishes:
        return []
    depth = depth_in_zone(zone, lines)
    placed, left_over = _inside(zone, depth, wishes, count)
    anchors = deepest_pixels(zone, depth, depth >= LEAST_DEPTH_PX, count)
    points = {
        wish: (float(anchors[wish.zone, 1]) + 0.5, float(anchors[wish.zone, 0]) + 0.5)
        for wish in left_over
        if anchors[wish.zone, 0] >= 0
    }
    return _beside(_Ground.of(zone, lines), placed, points, scale)


def _inside(
    zone: NDArray[np.int32], depth: NDArray[np.float32], wishes: Sequence[Wish], count: int
) -> tuple[list[Label], list[Wish]]:
    half_width_of = np.full(count, zone.shape[1], np.int32)
    half_height = 1
    for wish in wishes:
        half_width_of[wish.zone] = wish.width // 2 + CLEARANCE_PX
        half_height = max(half_height, wish.height // 2 + CLEARANCE_PX)
    fits = box_fits(zone, half_width_of, half_height)
    clear_of_edges = depth_in_zone(zone, np.zeros(zone.shape, np.bool_))
    spots = deepest_pixels(zone, depth + np.float32(0.2) * clear_of_edges, fits, count)
    placed, left_over = [], []
    for wish in wishes:
        row, column = (int(value) for value in spots[wish.zone])
        if row < 0:
            left_over.append(wish)
        else:
            placed.append(Label(wish, _box_about(column + 0.5, row + 0.5, wish), None))
    return placed, left_over


def _box_about(x: float, y: float, wish: Wish) -> tuple[float, float, float, float]:
    left, top = round(x - wish.width / 2), round(y - wish.height / 2)
    return left, top, left + wish.width, top + wish.height


def _beside(
    ground: _Ground, placed: list[Label], anchors: Mapping[Wish, tuple[float, float]], scale: float
) -> list[Label]:
    options = [_options(ground, wish, anchor, scale) for wish, anchor in anchors.items()]
    chosen: dict[int, Label] = {}
    for _ in range(1 + ROUNDS):
        for k, option in enumerate(options):
            others = placed + [label for i, label in chosen.items() if i != k]
            label = _best(option, others, [other.anchor for i, other in enumerate(options) if i != k])
            if label is not None:
                chosen[k] = label
    return placed + [chosen[k] for k in sorted(chosen)]


@dataclass(frozen=True)
class _Ground:
    """Running sums of the part and of its lines, for quick counts in boxes."""

    part: NDArray[np.int64]
    lines: NDArray[np.int64]
    ink: NDArray[np.bool_]
    middle: tuple[float, float]

    @staticmethod
    def of(zone: NDArray[np.int32], lines: NDArray[np.bool_]) -> _Ground:
        on_part = zone >= 0
        rows, columns = np.flatnonzero(on_part.any(1)), np.flatnonzero(on_part.any(0))
        middle = (float(columns[0] + columns[-1]) / 2, float(rows[0] + rows[-1]) / 2)
        return _Ground(_running_sum(on_part), _running_sum(lines), lines, middle)


@dataclass(frozen=True)
class _Options:
    """Places a label could take beside its zone, cheapest first."""

    wish: Wish
    anchor: tuple[float, float]
    boxes: NDArray[np.float64]
    grown_boxes: NDArray[Any]
    leaders: NDArray[Any]


def _options(ground: _Ground, wish: Wish, anchor: tuple[float, float], scale: float) -> _Options:
    height, width = ground.ink.shape
    turns = np.arange(LEADER_DIRECTIONS) * (2.0 * math.pi / LEADER_DIRECTIONS)
    away = np.array(LEADER_LENGTHS_PX)[:, None] * scale
    aside = np.stack([np.cos(turns), np.sin(turns)])
    # labels are wider than high: reach farther along the row
    x = np.round(anchor[0] + (away + 0.25 * wish.width) * aside[0] - wish.width / 2).ravel()
    y = np.round(anchor[1] + away * aside[1] - wish.height / 2).ravel()
    on_page = (x >= 1) & (y >= 1) & (x + wish.width < width - 1) & (y + wish.height < height - 1)
    x, y = x[on_page], y[on_page]
    boxes = np.stack([x, y, x + wish.width, y + wish.height], 1)
    ends = np.stack([np.clip(anchor[0], x, x + wish.width), np.clip(anchor[1], y, y + wish.height)], 1)
    leaders = np.hstack([np.broadcast_to(np.array(anchor), ends.shape), ends])
    lengths = np.hypot(ends[:, 0] - anchor[0], ends[:, 1] - anchor[1])
    outwards = np.array([anchor[0] - ground.middle[0], anchor[1] - ground.middle[1]])
    outwards /= max(1.0, float(np.hypot(outwards[0], outwards[1])))
    towards = ((ends - np.array(anchor)) @ outwards) / np.maximum(lengths, 1.0)
    area = float(wish.width * wish.height)
    cost = (
        lengths / scale
        + COST_OF_COVERING_PART * _count_in(ground.part, boxes) / area
        + COST_OF_COVERING_LINES * _count_in(ground.lines, boxes) / area
        + COST_OF_CROSSING_A_LINE * _lines_crossed(ground.ink, leaders)
        - COST_OF_POINTING_INWARDS * towards
    )
    # a leader shorter than its dot is no leader: the label would hide the zone
    order = np.argsort(np.round(cost, 3), kind="stable")
    order = order[lengths[order] >= 8.0 * scale]
    order = order[:MOST_OPTIONS]
    return _Options(
        wish, anchor, boxes[order], _grown(boxes[order]), shapely.linestrings(leaders[order].reshape(-1, 2, 2))
    )


def _best(option: _Options, others: Sequence[Label], points: Sequence[tuple[float, float]]) -> Label | None:
    corners = np.array([label.box for label in others]).reshape(-1, 4)
    ends = np.array([label.leader for label in others if label.leader is not None]).reshape(-1, 2, 2)
    other_leaders = shapely.linestrings(ends)
    dots = _grown(np.array(points).reshape(-1, 2)[:, [0, 1, 0, 1]])
    taken = np.zeros(len(option.boxes), np.bool_)
    _mark_hits(taken, option.grown_boxes, [*shapely.box(*corners.T), *other_leaders, *dots])
    _mark_hits(taken, option.leaders, [*_grown(corners), *other_leaders, *dots])
    free = np.flatnonzero(~taken)
    if len(free) == 0:
        return None
    left, top, right, bottom = (float(value) for value in option.boxes[free[0]])
    return Label(option.wish, (left, top, right, bottom), option.anchor)


def _grown(boxes: NDArray[np.float64]) -> NDArray[Any]:
    grown: NDArray[Any] = shapely.box(*(boxes + np.array([-1.0, -1.0, 1.0, 1.0]) * CLEARANCE_PX).T)
    return grown


def _mark_hits(taken: NDArray[np.bool_], shapes: NDArray[Any], obstacles: Sequence[Any]) -> None:
    if obstacles:
        hits = shapely.STRtree(obstacles).query(shapes, predicate="intersects")
        taken[hits[0]] = True


def _running_sum(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    total = np.zeros((mask.shape[0] + 1, mask.shape[1] + 1), np.int64)
    total[1:, 1:] = mask.cumsum(0, dtype=np.int64).cumsum(1)
    return total


def _count_in(total: NDArray[np.int64], boxes: NDArray[np.float64]) -> NDArray[np.int64]:
    left, top, right, bottom = boxes.astype(np.int64).T
    counted: NDArray[np.int64] = total[bottom, right] - total[top, right] - total[bottom, left] + total[top, left]
    return counted


def _lines_crossed(ink: NDArray[np.bool_], leaders: NDArray[np.float64]) -> NDArray[np.int64]:
    # samples along each leader, close enough to meet every line; a line counts where the ink begins
    steps = np.linspace(0.0, 1.0, 96)[None, :]
    x = leaders[:, :1] + steps * (leaders[:, 2:3] - leaders[:, :1])
    y = leaders[:, 1:2] + steps * (leaders[:, 3:4] - leaders[:, 1:2])
    met = ink[y.astype(np.int64), x.astype(np.int64)]
    begins: NDArray[np.int64] = (met[:, 1:] & ~met[:, :-1]).sum(1)
    return begins
