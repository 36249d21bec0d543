"""How to tilt the tool over every zone, and the few orientations that a 3+2 machine needs for all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.advice.conditions import StageConditions, when_tilted
from advisor.advice.reach import PartReach
from advisor.advice.settings import Settings
from advisor.advice.tilt_words import slower_words, tilt_words, with_tilt_words
from advisor.cutter.setup_axes import index_angles_deg
from advisor.cutter.tilt_choice import (
    TiltCounts,
    TiltShares,
    is_off_tip,
    margins,
    off_tip_slope_deg,
    smallest_tilt,
    tilt_counts,
    tilt_shares,
)
from advisor.cutter.tilt_cone import ASKED_AZIMUTHS, TiltCone, tilt_cone
from advisor.cutter.tilt_feed import FeedChoice, Ways, feed_counts, feed_tilt, uphill_azimuths_deg
from advisor.cutter.tilt_groups import fewest_orientations
from advisor.cutter.tilt_reach import BY_CUTTER, BY_HOLDER, BY_SHANK, REACHED, TiltTool, tilt_tool
from advisor.cutter.tool_body import cutter_of, tool_body
from advisor.job import Machine, parse_up
from advisor.model import FeedTilt, Orientation, TiltHold, TiltSide, Zone, ZoneTilt
from advisor.part.mesh import Flags, Floats, Ints, Mesh

# Points of a zone that are asked along every axis, fewer where zones are many.
_POINTS_OF_A_ZONE = 160
_FEWEST_POINTS_OF_A_ZONE = 16
_POINTS = 6_000
# A tilt that is told has been asked at so many points of the zone, or at all that there are.
_SURE_POINTS_OF_A_ZONE = 12_000
# Azimuths between those that were asked are asked, of a tilt that is told, at so many: 10 of them are what is let go.
_FINE_POINTS_OF_A_ZONE = 2_000
# A tilt refused for less than so many times what is let go is asked at many as well: few points tell no less apart.
_NEAR_SLACKS = 4.0
_HOLDS: dict[int, TiltHold | None] = {REACHED: None, BY_HOLDER: "holder", BY_SHANK: "shank", BY_CUTTER: "cutter"}
_TOP_SHARE = 0.999
_GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0

_Rows = NDArray[np.int64]


@dataclass(frozen=True)
class _Ring:
    """What the tool reaches of some points of a zone upright and at one tilt, towards all azimuths.

    `rows` are samples of the part's reach, `upright` (k,), `state` and `stick_out_mm` (a, k).
    """

    rows: _Rows
    upright: NDArray[np.int8]
    state: NDArray[np.int8]
    stick_out_mm: Floats
    is_sure: bool


@dataclass
class _Told:
    """What is known of one zone: by tilt the points it was asked at, and what follows for every axis of the cone."""

    zone: Zone
    sure_rows: _Rows
    rings: list[_Ring]
    upright_stick_out_mm: Floats
    counts: TiltCounts


@dataclass(frozen=True)
class _Job:
    """What all zones have in common."""

    cone: TiltCone
    tool: TiltTool
    reach: PartReach
    stage: StageConditions
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
    number = {int(ids[n]): int(n) for n in np.unique(reach.zone) if is_finished[n]}
    told_of = [zone for zone in zones if zone.id in number]
    if not told_of:
        return zones, ()
    job = _job(reach, mesh, settings, off_mm)
    told = _asked_everywhere(job, told_of, [number[zone.id] for zone in told_of])
    chosen = _chosen(job, told)
    between = _clear_between(job, told, chosen)
    tilts = {each[0].zone.id: _zone_tilt(job, *each) for each in zip(told, chosen, between, strict=True)}
    groups = _orientations(told, chosen, tilts) if stage.machine.axes == "3+2" else ()
    return tuple(_with_tilt(zone, tilts.get(zone.id)) for zone in zones), groups


def _job(reach: PartReach, mesh: Mesh, settings: Settings, off_mm: float) -> _Job:
    stage = settings.stages[-1]
    cone = tilt_cone(np.asarray(settings.axis), stage.machine.tilt_deg)
    body, cutter = tool_body(stage.tool, settings.job.clearance), cutter_of(stage.tool)
    tool = tilt_tool(mesh, cone, body, cutter, off_mm, stage.tool.stick_out)
    return _Job(cone, tool, reach, stage, off_tip_slope_deg(stage.tool.diameter, stage.depth_mm))


def _asked_everywhere(job: _Job, zones: Sequence[Zone], numbers: Sequence[int]) -> list[_Told]:
    """Some points of every zone, asked along every axis of the cone."""
    samples = job.reach.samples
    wanted = int(np.clip(_POINTS // len(zones), _FEWEST_POINTS_OF_A_ZONE, _POINTS_OF_A_ZONE))
    of_zone = [np.flatnonzero(job.reach.zone == number) for number in numbers]
    some = [_some_of(rows, wanted) for rows in of_zone]
    together = np.concatenate(some)
    found = job.tool.reach(job.cone.axes, samples.point[together], samples.normal[together])
    ends = np.cumsum([0, *(len(rows) for rows in some)])
    told = []
    for zone, rows, all_rows, start, end in zip(zones, some, of_zone, ends, ends[1:], strict=False):
        own = slice(start, end)
        state, stick_out = found.state[:, own], found.stick_out_mm[:, own]
        sure = _some_of(all_rows, _SURE_POINTS_OF_A_ZONE)
        rings = [
            _Ring(rows, state[0], state[axes], stick_out[axes], len(rows) == len(sure))
            for axes in map(job.cone.rows, range(len(job.cone.tilts_deg)))
        ]
        counts = _counts(job, rows, state, state[0], np.arange(len(job.cone.axes)))
        told.append(_Told(zone, sure, rings, stick_out[0], counts))
    return told


def _counts(job: _Job, rows: _Rows, state: NDArray[np.int8], upright: NDArray[np.int8], axes: _Rows) -> TiltCounts:
    samples = job.reach.samples
    off_tip = is_off_tip(samples.normal[rows], job.cone.axes[axes][:, None], job.limit_deg)
    return tilt_counts(state, off_tip, samples.area_mm2[rows], upright)


def _chosen(job: _Job, told: Sequence[_Told]) -> list[int]:
    """The axis of every zone: chosen by few points, asked at many, and chosen anew until the many agree."""
    while True:
        shares = [tilt_shares(each.counts) for each in told]
        if job.stage.machine.axes == "3+2":
            chosen = _in_groups(job.cone, shares, [each.zone.area_mm2 for each in told])
        else:
            chosen = [smallest_tilt(job.cone, share) for share in shares]
        wanted = [_tilts_to_ask(job, *each) for each in zip(told, shares, chosen, strict=True)]
        if not any(wanted):
            return chosen
        for tilt in sorted({tilt for tilts in wanted for tilt in tilts}):
            _make_sure(job, [each for each, tilts in zip(told, wanted, strict=True) if tilt in tilts], tilt)


def _tilts_to_ask(job: _Job, told: _Told, shares: TiltShares, which: int) -> set[int]:
    """Tilts, by place, asked at few points only that would be told of a zone, or that a few of these refuse."""
    tilts = [(which - 1) // ASKED_AZIMUTHS] if which > 0 else []
    if shares.held_back_by and shares.held_back_share <= _NEAR_SLACKS * tolerances.REACH_SLACK_SHARE:
        close = ~shares.is_clear & (shares.lost <= _NEAR_SLACKS * tolerances.REACH_SLACK_SHARE)
        tilts += _least_open(told, np.unique((np.flatnonzero(close) - 1) // ASKED_AZIMUTHS))
    if job.stage.machine.axes == "5":
        for found, _ in _feed_choices(job, told):
            if found.tilt >= 0:
                tilts.append(found.tilt)
            if found.held_back_by and found.held_back_share <= _NEAR_SLACKS * tolerances.REACH_SLACK_SHARE:
                tilts += _least_open(told, np.arange(found.tilt + 1, len(told.rings)))
    return {tilt for tilt in tilts if not told.rings[tilt].is_sure}


def _least_open(told: _Told, tilts: _Rows) -> list[int]:
    """The least of some tilts that was asked at few points only, if any was."""
    return [int(tilt) for tilt in tilts if not told.rings[tilt].is_sure][:1]


def _make_sure(job: _Job, told: Sequence[_Told], tilt: int) -> None:
    """Write what the tool reaches at one tilt, and upright, of many points of some zones in place of few."""
    samples, axes = job.reach.samples, np.append(0, job.cone.rows(tilt))
    together = np.concatenate([each.sure_rows for each in told])
    found = job.tool.reach(job.cone.axes[axes], samples.point[together], samples.normal[together])
    start = 0
    for each in told:
        own = slice(start, start + len(each.sure_rows))
        start = own.stop
        state, stick_out = found.state[:, own], found.stick_out_mm[:, own]
        each.rings[tilt] = _Ring(each.sure_rows, state[0], state[1:], stick_out[1:], True)
        each.upright_stick_out_mm = stick_out[0]
        each.counts = each.counts.with_ways(axes, _counts(job, each.sure_rows, state, state[0], axes))


def _clear_between(job: _Job, told: Sequence[_Told], chosen: Sequence[int]) -> list[Floats]:
    """Of every zone the azimuths between those that were asked at which its tilt is clear; none of an upright one."""
    samples, clear = job.reach.samples, [np.zeros(0) for _ in told]
    tilt_of = [(which - 1) // ASKED_AZIMUTHS for which in chosen]
    for tilt in sorted({tilt for tilt, which in zip(tilt_of, chosen, strict=True) if which > 0}):
        own = [n for n, which in enumerate(chosen) if which > 0 and tilt_of[n] == tilt]
        rings = [told[n].rings[tilt] for n in own]
        some = [_some_of(np.arange(len(ring.rows)), _FINE_POINTS_OF_A_ZONE) for ring in rings]
        rows = np.concatenate([ring.rows[places] for ring, places in zip(rings, some, strict=True)])
        axes, azimuth_deg = job.cone.between(tilt)
        state = job.tool.reach(axes, samples.point[rows], samples.normal[rows]).state
        start = 0
        for n, ring, places in zip(own, rings, some, strict=True):
            area, stop = samples.area_mm2[ring.rows[places]], start + len(places)
            is_up = ring.upright[places] == REACHED
            lost = ((state[:, start:stop] != REACHED) & is_up) @ area
            clear[n] = azimuth_deg[lost <= tolerances.REACH_SLACK_SHARE * float(area[is_up].sum())]
            start = stop
    return clear


def _some_of(rows: _Rows, wanted: int) -> _Rows:
    """At most `wanted` of some rows, spread over them by the golden ratio.

    Points of a large facet lie in the order of its halving: taking every so many-th would take them from one strip.
    """
    if len(rows) <= wanted:
        return rows
    steps = np.modf((np.arange(wanted) + 0.5) * _GOLDEN)[0]
    return np.asarray(rows[np.unique((steps * len(rows)).astype(np.int64))], dtype=np.int64)


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


def _zone_tilt(job: _Job, told: _Told, which: int, between_deg: Floats) -> ZoneTilt:
    cone, shares = job.cone, tilt_shares(told.counts)
    is_tilted = which > 0
    level = np.isclose(cone.tilt_deg, cone.tilt_deg[which]) & shares.is_clear
    lead, lean = (None, None)
    if job.stage.machine.axes == "5":
        lead, lean = (_feed_tilt(found, sides) for found, sides in _feed_choices(job, told))
    upright = told.rings[0].rows if not is_tilted else told.rings[(which - 1) // ASKED_AZIMUTHS].rows
    record = ZoneTilt(
        tilt_deg=float(cone.tilt_deg[which]),
        azimuth_deg=float(cone.azimuth_deg[which]) if is_tilted else None,
        tool_axis=_vector(cone.axes[which]),
        off_tip_share=float(shares.off_tip[which]),
        upright_off_tip_share=float(shares.off_tip[0]),
        reached_share=float(shares.reached[which]),
        upright_reached_share=float(shares.reached[0]),
        clear_azimuths_deg=tuple(np.union1d(cone.azimuth_deg[level], between_deg).tolist()) if is_tilted else (),
        held_back_by=_held(shares)[0],
        held_back_share=_held(shares)[1],
        stick_out_mm=_most_mm(_stick_outs(told, which)),
        lead=lead,
        lean=lean,
        why=(),
        places=len(upright),
        lost_share=float(shares.lost[which]),
        lost_by=_HOLDS[int(shares.lost_by[which])],
    )
    advice = told.zone.advice
    words = tilt_words(record, job.stage.tool)
    if advice is None or advice.spindle_rpm is None:
        return replace(record, why=words)
    most_deg = max(record.tilt_deg, *(0.0 if each is None else each.tilt_deg for each in (lead, lean)))
    rpm, feed = when_tilted(
        job.stage, told.zone.slope_deg.max, most_deg, advice.spindle_rpm, advice.feed_mm_per_min
    )  # fmt: skip
    record = replace(record, spindle_rpm=rpm, feed_mm_per_min=feed)
    return replace(record, why=(*words, *(slower_words(record, advice) if words else ())))


def _feed_choices(job: _Job, told: _Told) -> list[tuple[FeedChoice, list[TiltSide]]]:
    """Lead and lean, each with the sides of its ways: over lines along their direction, over others along the level."""
    samples, advice = job.reach.samples, told.zone.advice
    direction = None if advice is None else advice.direction_deg
    sides: list[TiltSide] = ["both"] if direction is not None else ["uphill", "downhill"]
    leads, leans = [], []
    for tilt, ring in enumerate(told.rings):
        point, normal, area = samples.point[ring.rows], samples.normal[ring.rows], samples.area_mm2[ring.rows]
        across: Ways
        if direction is not None:
            feed = np.full(len(ring.rows), direction)
            across = ((feed + 90.0, feed - 90.0),)
        else:
            uphill = uphill_azimuths_deg(point, normal, job.cone.frame)
            feed = uphill + 90.0
            across = ((uphill,), (uphill + 180.0,))
        known = (job.cone, tilt, ring.state, ring.upright, normal, area, job.limit_deg)
        leads.append(feed_counts(*known, ((feed, feed + 180.0),)))
        leans.append(feed_counts(*known, across))
    return [(feed_tilt(job.cone, leads), ["both"]), (feed_tilt(job.cone, leans), sides)]


def _feed_tilt(found: FeedChoice, sides: Sequence[TiltSide]) -> FeedTilt:
    return FeedTilt(found.tilt_deg, sides[found.way], found.off_tip_share, *_held(found), found.lost_share)


def _held(found: TiltShares | FeedChoice) -> tuple[TiltHold | None, float | None]:
    held = _HOLDS[found.held_back_by]
    return held, None if held is None else found.held_back_share


def _stick_outs(told: _Told, which: int) -> Floats:
    """(k,) least length out of the holder along an axis at every point asked."""
    if which == 0:
        return told.upright_stick_out_mm
    tilt, azimuth = divmod(which - 1, ASKED_AZIMUTHS)
    return np.asarray(told.rings[tilt].stick_out_mm[azimuth])


def _most_mm(lengths: Floats) -> float | None:
    known = lengths[~np.isnan(lengths)]
    return float(np.quantile(known, _TOP_SHARE)) if len(known) else None


def _vector(axis: Floats) -> tuple[float, float, float]:
    x, y, z = (round(float(value), 9) + 0.0 for value in axis)
    return (x, y, z)


def _orientations(told: Sequence[_Told], chosen: Sequence[int], tilts: dict[int, ZoneTilt]) -> tuple[Orientation, ...]:
    groups = []
    for which in sorted(set(chosen)):
        own = [each for each, mine in zip(told, chosen, strict=True) if mine == which]
        zones = [each.zone for each in own]
        area = sum(zone.area_mm2 for zone in zones)
        first = tilts[zones[0].id]
        groups.append(
            Orientation(
                setup=zones[0].setup,
                tool_axis=first.tool_axis,
                tilt_deg=first.tilt_deg,
                azimuth_deg=first.azimuth_deg,
                zones=tuple(zone.id for zone in zones),
                area_mm2=area,
                off_tip_share=min(sum(zone.area_mm2 * tilts[zone.id].off_tip_share for zone in zones) / area, 1.0),
                stick_out_mm=_most_mm(np.concatenate([_stick_outs(each, which) for each in own])),
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
