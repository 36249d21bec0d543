"""How to tilt the tool over every zone, and the few orientations that a 3+2 machine needs for all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from advisor.advice.conditions import StageConditions
from advisor.advice.reach import PartReach
from advisor.advice.settings import Settings
from advisor.advice.tilt_words import tilt_words, with_tilt_words
from advisor.cutter.setup_axes import index_angles_deg
from advisor.cutter.tilt_choice import TiltShares, is_off_tip, margins, off_tip_slope_deg, smallest_tilt, tilt_shares
from advisor.cutter.tilt_cone import TiltCone, tilt_cone
from advisor.cutter.tilt_feed import FeedChoice, feed_tilt, uphill_azimuths_deg
from advisor.cutter.tilt_groups import fewest_orientations
from advisor.cutter.tilt_reach import BY_CUTTER, BY_HOLDER, BY_SHANK, REACHED, TiltReach, tilt_reach
from advisor.cutter.tool_body import cutter_of, tool_body
from advisor.job import Machine, parse_up
from advisor.model import FeedTilt, Orientation, TiltHold, TiltSide, Zone, ZoneTilt
from advisor.part.mesh import Flags, Floats, Ints, Mesh

# Points of a zone that are asked along every axis, fewer where zones are many.
_POINTS_OF_A_ZONE = 160
_FEWEST_POINTS_OF_A_ZONE = 16
_POINTS = 6_000
_HOLDS: dict[int, TiltHold | None] = {REACHED: None, BY_HOLDER: "holder", BY_SHANK: "shank", BY_CUTTER: "cutter"}
_TOP_SHARE = 0.999
_GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0

_Rows = NDArray[np.int64]


@dataclass(frozen=True)
class _Asked:
    """What the tool reaches of some points along the axes of a cone."""

    cone: TiltCone
    reach: TiltReach
    point: Floats
    normal: Floats
    area_mm2: Floats
    zone: Ints
    off_tip: Flags
    limit_deg: float


def with_tilts(
    zones: tuple[Zone, ...],
    ids: Ints,
    is_finished: Flags,
    reach: PartReach | None,
    mesh: Mesh,
    settings: Settings,
    off_mm: float,
) -> tuple[tuple[Zone, ...], tuple[Orientation, ...]]:
    """Zones with their tilts, and the orientations of a 3+2 machine; nothing is asked of three axes or a bull-nose.

    Parameters
    ----------
    zones : tuple of Zone
    ids : (z,) int array
        Their numbers in the plan by those in ``reach``.
    is_finished : (z,) bool array
    reach : PartReach or None
    mesh : Mesh
        The whole part: everything that may be in the way.
    settings : Settings
    off_mm : float
        Stock that may be left, as in ``part_reach``.
    """
    stage = settings.stages[-1]
    most_deg = stage.machine.tilt_deg
    if reach is None or most_deg <= 0.0 or stage.target.cutter.ring_radius_mm > 0.0:
        return zones, ()
    asked = _asked(reach, is_finished, mesh, settings, off_mm)
    if asked is None:
        return zones, ()
    number = {int(ids[n]): n for n in np.unique(asked.zone)}
    told = [zone for zone in zones if zone.id in number]
    rows = {zone.id: np.flatnonzero(asked.zone == number[zone.id]) for zone in told}
    shares = {
        zone.id: tilt_shares(asked.reach.state[:, at], asked.off_tip[:, at], asked.area_mm2[at])
        for zone in told
        for at in [rows[zone.id]]
    }
    if stage.machine.axes == "3+2":
        chosen = _in_groups(asked.cone, [shares[zone.id] for zone in told], [zone.area_mm2 for zone in told])
    else:
        chosen = [smallest_tilt(asked.cone, shares[zone.id]) for zone in told]
    tilts = {
        zone.id: _zone_tilt(asked, zone, rows[zone.id], shares[zone.id], which, stage)
        for zone, which in zip(told, chosen, strict=True)
    }
    groups = _orientations(asked, told, chosen, rows, tilts) if stage.machine.axes == "3+2" else ()
    return tuple(_with_tilt(zone, tilts.get(zone.id)) for zone in zones), groups


def _asked(reach: PartReach, is_finished: Flags, mesh: Mesh, settings: Settings, off_mm: float) -> _Asked | None:
    candidates = np.flatnonzero(is_finished[reach.zone])
    if len(candidates) == 0:
        return None
    count = len(np.unique(reach.zone[candidates]))
    wanted = int(np.clip(_POINTS // count, _FEWEST_POINTS_OF_A_ZONE, _POINTS_OF_A_ZONE))
    some = candidates[_some_of_each(reach.zone[candidates], wanted)]
    stage = settings.stages[-1]
    cone = tilt_cone(np.asarray(settings.axis), stage.machine.tilt_deg)
    body, cutter = tool_body(stage.tool, settings.job.clearance), cutter_of(stage.tool)
    point, normal = reach.samples.point[some], reach.samples.normal[some]
    found = tilt_reach(mesh, cone, body, cutter, point, normal, off_mm, stage.tool.stick_out)
    limit = off_tip_slope_deg(stage.tool.diameter, stage.depth_mm)
    off_tip = is_off_tip(normal, cone.axes[:, None], limit)
    return _Asked(cone, found, point, normal, reach.samples.area_mm2[some], reach.zone[some], off_tip, limit)


def _some_of_each(label: Ints, wanted: int) -> _Rows:
    """Positions of at most `wanted` of every label, spread over them by the golden ratio.

    Points of a large facet lie in the order of its halving: taking every so many-th would take them from one strip.
    """
    order = np.argsort(label, kind="stable")
    _, starts, counts = np.unique(label[order], return_index=True, return_counts=True)
    steps = np.modf((np.arange(wanted) + 0.5) * _GOLDEN)[0]
    picked = [
        start + (np.arange(count) if count <= wanted else np.unique((steps * count).astype(np.int64)))
        for start, count in zip(starts, counts, strict=True)
    ]
    return np.asarray(order[np.concatenate(picked)], dtype=np.int64)


def _in_groups(cone: TiltCone, shares: Sequence[TiltShares], area_mm2: Sequence[float]) -> list[int]:
    """The axis of every zone, of as few as serve them all."""
    good = np.array([each.is_fair for each in shares])
    # liked best: of equal tilts the one farthest from what is not clear, over all zones it is good for
    margin = np.array([margins(cone, each.is_clear) for each in shares])
    off_tip = np.array([each.off_tip for each in shares])
    room = np.round(np.array(area_mm2) @ (good * off_tip) / sum(area_mm2), 6)
    order = np.lexsort((cone.azimuth_deg, -room, -(good * margin).sum(axis=0), cone.tilt_deg))
    kept = order[list(fewest_orientations(good[:, order], cone.tilt_deg[order]))]
    chosen = []
    for row, share in zip(good, off_tip, strict=True):
        own = kept[row[kept]]
        chosen.append(int(own[np.lexsort((cone.azimuth_deg[own], -np.round(share[own], 6), cone.tilt_deg[own]))[0]]))
    return chosen


def _zone_tilt(
    asked: _Asked, zone: Zone, rows: _Rows, shares: TiltShares, which: int, stage: StageConditions
) -> ZoneTilt:
    cone, area = asked.cone, asked.area_mm2[rows]
    # sums of shares may come out above 1 by rounding
    reached = np.minimum((asked.reach.state[:, rows] == REACHED) @ area / area.sum(), 1.0)
    is_tilted = which > 0
    level = np.isclose(cone.tilt_deg, cone.tilt_deg[which]) & shares.is_clear
    lead, lean = _feed_tilts(asked, zone, rows) if stage.machine.axes == "5" else (None, None)
    told = ZoneTilt(
        tilt_deg=float(cone.tilt_deg[which]),
        azimuth_deg=float(cone.azimuth_deg[which]) if is_tilted else None,
        tool_axis=_vector(cone.axes[which]),
        off_tip_share=float(shares.off_tip[which]),
        upright_off_tip_share=float(shares.off_tip[0]),
        reached_share=float(reached[which]),
        upright_reached_share=float(reached[0]),
        clear_azimuths_deg=tuple(float(azimuth) for azimuth in cone.azimuth_deg[level]) if is_tilted else (),
        held_back_by=_held(shares)[0],
        held_back_share=_held(shares)[1],
        stick_out_mm=_stick_out_mm(asked, which, rows),
        lead=lead,
        lean=lean,
        why=(),
    )
    return replace(told, why=tilt_words(told, stage.tool))


def _feed_tilts(asked: _Asked, zone: Zone, rows: _Rows) -> tuple[FeedTilt, FeedTilt]:
    """Lead and lean: over lines along their direction, over level passes and offsets along the level."""
    point, normal = asked.point[rows], asked.normal[rows]
    advice = zone.advice
    across: list[tuple[Floats, ...]]
    sides: list[TiltSide]
    if advice is not None and advice.direction_deg is not None:
        feed = np.full(len(rows), advice.direction_deg)
        across, sides = [(feed + 90.0, feed - 90.0)], ["both"]
    else:
        uphill = uphill_azimuths_deg(point, normal, asked.cone.frame)
        feed = uphill + 90.0
        across, sides = [(uphill,), (uphill + 180.0,)], ["uphill", "downhill"]

    def choice(ways: Sequence[tuple[Floats, ...]], sides: Sequence[TiltSide]) -> FeedTilt:
        state, area = asked.reach.state[:, rows], asked.area_mm2[rows]
        found = feed_tilt(asked.cone, state, normal, area, asked.limit_deg, tuple(ways))
        return FeedTilt(found.tilt_deg, sides[found.way], found.off_tip_share, *_held(found))

    return choice([(feed, feed + 180.0)], ["both"]), choice(across, sides)


def _held(found: TiltShares | FeedChoice) -> tuple[TiltHold | None, float | None]:
    held = _HOLDS[found.held_back_by]
    return held, None if held is None else found.held_back_share


def _stick_out_mm(asked: _Asked, which: int, rows: _Rows) -> float | None:
    lengths = asked.reach.stick_out_mm[which, rows]
    known = lengths[~np.isnan(lengths)]
    return float(np.quantile(known, _TOP_SHARE)) if len(known) else None


def _vector(axis: Floats) -> tuple[float, float, float]:
    x, y, z = (round(float(value), 9) + 0.0 for value in axis)
    return (x, y, z)


def _orientations(
    asked: _Asked, zones: Sequence[Zone], chosen: Sequence[int], rows: dict[int, _Rows], tilts: dict[int, ZoneTilt]
) -> tuple[Orientation, ...]:
    groups = []
    for which in sorted(set(chosen)):
        own = [zone for zone, mine in zip(zones, chosen, strict=True) if mine == which]
        area = sum(zone.area_mm2 for zone in own)
        first = tilts[own[0].id]
        groups.append(
            Orientation(
                setup=own[0].setup,
                tool_axis=first.tool_axis,
                tilt_deg=first.tilt_deg,
                azimuth_deg=first.azimuth_deg,
                zones=tuple(zone.id for zone in own),
                area_mm2=area,
                off_tip_share=min(sum(zone.area_mm2 * tilts[zone.id].off_tip_share for zone in own) / area, 1.0),
                stick_out_mm=_stick_out_mm(asked, which, np.concatenate([rows[zone.id] for zone in own])),
            )
        )
    return tuple(groups)


def _with_tilt(zone: Zone, tilt: ZoneTilt | None) -> Zone:
    """The zone with its tilt told, among the reasons of its last stage as well."""
    if tilt is None:
        return zone
    zone = replace(zone, tilt=tilt)
    if zone.advice is None or not tilt.why:
        return zone
    advice = replace(zone.advice, why=with_tilt_words(zone.advice, tilt))
    return replace(zone, advice=advice, steps=(*zone.steps[:-1], advice))


def table_axis(machine: Machine) -> tuple[float, float, float] | None:
    """Axis of the machine's rotary table, in the part; None where the job names none."""
    return None if machine.rotary_axis is None else parse_up(machine.rotary_axis, "rotary_axis")


def table_turn_deg(settings: Settings) -> float | None:
    """Turn of the rotary table that brings the set-up's tool axis to the spindle, from where the job's own is there.

    None without a table, or where it cannot.
    """
    rotary = table_axis(settings.job.machine)
    if rotary is None:
        return None
    own, spindle = np.array([settings.axis]), np.array(parse_up(settings.job.up))
    return index_angles_deg(own, np.array(rotary), spindle)[0]
