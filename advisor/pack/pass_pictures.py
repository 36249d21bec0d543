"""Passes drawn over a map: thin lines where the cutter touches the part, as many as can be told apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.errors import InputError
from advisor.kernels import picture_passes, raster
from advisor.model import PassArrays, Plan
from advisor.pack.camera import Fit
from advisor.pack.shade import FINENESS, PASS, Solid

# Pixels of a page 1200 high: width of a line, and the least way from one to the next in all but a quarter of a zone.
LINE_WIDTH_PX: Final = 0.9
LEAST_SPACING_PX: Final = 3.5
_DENSE_SHARE: Final = 0.25
# Passes are counted in squares of this side; a square tells of a zone that fills this share of it.
_TILE_PX: Final = 24
_FILLED: Final = 0.5
# Passes lie off their facets by no more than this, and what the facets themselves are off.
_OFF_MM: Final = 0.01
# Every so many passes are drawn: more steps could not be told.
_STRIDES: Final = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500, 1000)
_FACING: Final = 1e-6


@dataclass(frozen=True)
class DrawnPasses:
    """Passes of one stage, to draw.

    Attributes
    ----------
    stage : str
    points : (k, 3) float64 array, mm
        Where the cutter touches.
    normal : (k, 3) float64 array
        Outward there, not of unit length.
    starts : (p + 1,) int64 array
    zone : (p,) int64 array
    line : (p,) int64 array
        Which line of its zone a pass is a piece of, counted from 0.
    off_mm : float
        How far they may lie off the facets.
    """

    stage: str
    points: NDArray[np.float64]
    normal: NDArray[np.float64]
    starts: NDArray[np.int64]
    zone: NDArray[np.int64]
    line: NDArray[np.int64]
    off_mm: float


def check_has_passes(plan: Plan) -> None:
    """Raise ``InputError`` where there are no passes to draw."""
    if plan.passes is None:
        raise InputError("--passes", "this plan has no passes: none were laid", "give the part model instead")


def drawn_passes(plan: Plan) -> DrawnPasses:
    """Passes of the last stage.

    Without contacts among the arrays the middle of the cutter is drawn, a radius above the part.

    Raises
    ------
    InputError
        Where there are none.
    """
    check_has_passes(plan)
    assert plan.passes is not None
    passes, stage = plan.passes, plan.record.stages[-1].name
    begins, counts, owner, turn = _pieces(passes)
    chosen = np.flatnonzero(passes.stage[owner] == stage)
    begins, counts, owner, turn = (array[chosen] for array in (begins, counts, owner, turn))
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    rows = np.repeat(begins - starts[:-1], counts) + np.arange(starts[-1])
    middles = passes.points[rows]
    contacts = middles if passes.contacts is None else passes.contacts[rows].astype(np.float64)
    off = _OFF_MM + (plan.record.part.chord_error_um or 0.0) / 1000.0
    zone = passes.zone[owner].astype(np.int64)
    level = owner if passes.level is None else passes.level[owner]
    return DrawnPasses(stage, contacts, middles - contacts, starts, zone, _lines(zone, level, turn), off)


def _pieces(passes: PassArrays) -> tuple[NDArray[np.int64], ...]:
    """First point of passes, and of turns of spirals; how many points it has; which pass it is, and which turn."""
    ends = passes.starts if passes.turns is None else np.union1d(passes.starts, passes.turns)
    begins = ends[:-1].astype(np.int64)
    owner = np.searchsorted(passes.starts, begins, side="right") - 1
    # a turn goes on to where the next one begins
    goes_on = np.append(owner[1:] == owner[:-1], False)
    turn = np.arange(len(begins)) - np.searchsorted(begins, passes.starts[owner])
    return begins, np.diff(ends) + goes_on, owner, turn


def _lines(zone: NDArray[np.int64], level: NDArray[np.integer], turn: NDArray[np.int64]) -> NDArray[np.int64]:
    """(p,) number of the line each piece belongs to, in the order of the family, zone by zone."""
    order = np.lexsort((turn, level, zone))
    new_zone = np.diff(zone[order], prepend=-1) != 0
    new_level = (np.diff(level[order], prepend=-1) != 0) | (np.diff(turn[order], prepend=-1) != 0)
    steps = np.cumsum(new_zone | new_level)
    first = np.flatnonzero(new_zone)
    line = np.empty(len(zone), np.int64)
    line[order] = steps - np.repeat(steps[first], np.diff(np.append(first, len(zone))))
    return line


class PassInk:
    """Draws passes into a view, thinned out as it needs; afterwards ``strides`` says how."""

    def __init__(self, passes: DrawnPasses, solid: Solid, line_scale: float) -> None:
        self._passes, self._solid, self._scale = passes, solid, line_scale
        # zone: every so many lines of it are drawn; zones of which nothing is seen are not in it
        self.strides: dict[int, int] = {}

    def __call__(
        self, where: Fit, facet: NDArray[np.int32], depth: NDArray[np.float32], near: NDArray[np.float32],
        ink: NDArray[np.uint8],
    ) -> None:  # fmt: skip
        """Ink the passes: see ``pack.shade.draw``."""
        passes, scale = self._passes, where.pixels_per_mm * FINENESS
        points = raster.project(passes.points, where.view.rows, scale, where.left * FINENESS, where.top * FINENESS)
        # middles without contacts have no side: all are drawn
        facing = passes.normal @ where.view.rows[2] if passes.normal.any() else np.ones(len(points))
        facing = np.where(np.abs(facing) < _FACING, 0.0, facing)
        slack = passes.off_mm * scale
        tile, zones = round(_TILE_PX * FINENESS * self._scale), int(self._solid.zone.max(initial=0)) + 1
        length = picture_passes.lengths_in_tiles(
            points, facing, passes.starts, passes.zone, facet, depth, near, slack, tile, zones
        )
        self.strides = self._strides(facet, length.reshape(-1, zones), tile)
        stride = np.array([self.strides.get(int(zone), 1) for zone in passes.zone], np.int64)
        lines = _counts(passes)
        chosen = np.flatnonzero(passes.line % stride == ((lines - 1) % stride) // 2)
        radius = 0.5 * LINE_WIDTH_PX * FINENESS * self._scale
        picture_passes.ink_passes(points, facing, passes.starts, chosen, facet, depth, near, slack, radius, PASS, ink)

    def _strides(self, facet: NDArray[np.int32], length: NDArray[np.float64], tile: int) -> dict[int, int]:
        """Every so many lines of each zone that lie far enough apart; `length` is of all, by tile and zone."""
        zones = length.shape[1]
        rows, columns = np.nonzero(facet >= 0)
        across = -(-facet.shape[1] // tile)
        zone = np.maximum(self._solid.zone[facet[rows, columns]], 0)
        key = ((rows // tile) * across + columns // tile) * zones + zone
        area = np.bincount(key, minlength=length.size).reshape(-1, zones).astype(np.float64)
        spacing_px = {
            int(k): _spacing(area[:, k], length[:, k], _FILLED * tile**2) / FINENESS
            for k in np.flatnonzero(length.sum(axis=0) > 0.0)
            if area[:, k].any()
        }
        least = LEAST_SPACING_PX * self._scale
        return {zone: _stride(least / space) for zone, space in spacing_px.items()}


def _counts(passes: DrawnPasses) -> NDArray[np.int64]:
    """(p,) how many lines the zone of each pass has."""
    most = np.zeros(int(passes.zone.max(initial=0)) + 1, np.int64)
    np.maximum.at(most, passes.zone, passes.line + 1)
    return most[passes.zone]


def _spacing(area: NDArray[np.float64], length: NDArray[np.float64], full: float) -> float:
    """Way from pass to pass that all but the densest quarter of a zone's area keeps, samples."""
    told = (area >= full) & (length > 0.0)
    if not told.any():
        return float(area.sum() / length.sum())
    spacing, weight = area[told] / length[told], area[told]
    order = np.argsort(spacing, kind="stable")
    gone = np.cumsum(weight[order])
    return float(spacing[order[int(np.searchsorted(gone, _DENSE_SHARE * gone[-1]))]])


def _stride(least: float) -> int:
    return next((stride for stride in _STRIDES if stride >= least - 0.05), _STRIDES[-1])


def stride_words(strides: dict[int, int]) -> str:
    """What of the passes is drawn, for the legend.

    >>> stride_words({1: 1}), stride_words({1: 4, 2: 4}), stride_words({1: 3, 2: 4})
    ('every one is drawn', 'every 4th is drawn', 'every 3rd to 4th')
    >>> stride_words({1: 1, 2: 3}), stride_words({})
    ('every one to 3rd', 'none is seen')
    """
    if not strides:
        return "none is seen"
    least, most = (_ordinal(number) for number in (min(strides.values()), max(strides.values())))
    return f"every {least} is drawn" if least == most else f"every {least} to {most}"


def _ordinal(number: int) -> str:
    if number == 1:
        return "one"
    ending = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"
