"""The conditions a zone is cut under in a stage: spindle, speeds, feed, tilt, force; the same for all strategies."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from advisor.advice.target import StageTarget
from advisor.advice.zone_surface import ZoneSurface, quantile
from advisor.cutter.bending import deflection_normal_um, tool_compliance_mm_per_n
from advisor.cutter.chips import compensated_feed_per_tooth_mm, thinning_factor
from advisor.cutter.cutter import Cutter
from advisor.cutter.force import ball_finishing_force_n
from advisor.cutter.materials import Material
from advisor.cutter.speeds import feed_mm_per_min, spindle_rpm, surface_speed_m_per_min
from advisor.cutter.spindle import SpindleChoice, choose_spindle, effective_flutes
from advisor.cutter.tilt import advise_tilt
from advisor.job import Machine, Stage, Tool
from advisor.model import Tilt
from advisor.part.mesh import Floats

# Feed where engagement grows, as a pass walks into a corner or a hollow's bottom (common practice, no source).
CORNER_FEED_SHARE = 0.5
# A hollow tighter than this many ball radii makes engagement grow (from memory: about 1.2 to 1.5).
TIGHT_HOLLOW_RADII = 1.5
# Share of a zone in tight hollows that is worth a slower feed.
TIGHT_SHARE = 0.01
# Share of a zone near the tip that is worth a tilt.
TIP_SHARE_WORTH_TILT = 0.2


@dataclass(frozen=True)
class StageConditions:
    """What a stage asks, what it cuts with and in, and how deep.

    ``depth_mm`` is the stock that is taken off, ``ridge_mm`` how high cusps of the stage before stand on it. ``before``
    are the stages before, the first one first.
    """

    target: StageTarget
    tool: Tool
    stage: Stage
    material: Material | None
    machine: Machine
    depth_mm: float
    ridge_mm: float = 0.0
    before: tuple[StageConditions, ...] = ()


@dataclass(frozen=True)
class ZoneConditions:
    """Spindle, feed, tilt and force in a zone; parts are None where material or tool say too little."""

    spindle: SpindleChoice | None
    flutes: int
    feed_per_tooth_mm: float | None
    feed_mm_per_min: float | None
    corner_feed_mm_per_min: float | None
    tilt: Tilt | None
    force_n: float | None
    bending_um: float | None


def zone_conditions(
    surface: ZoneSurface, stage: StageConditions, tip_share: float, *, has_inside_corner: bool
) -> ZoneConditions:
    """Conditions for one zone in one stage."""
    target = stage.target
    spindle = _spindle(surface, target.cutter, stage)
    flutes = effective_flutes(stage.tool, tip_share)
    per_tooth = _feed_per_tooth_mm(stage)
    feed = feed_at(stage, spindle, flutes)
    if spindle is not None and feed is not None:
        per_tooth = feed / (spindle.rpm * flutes)  # the machine's feed limit thins the chip
    slow = has_inside_corner or _has_tight_hollow(surface, target.cutter)
    force = _force_n(stage, per_tooth)
    return ZoneConditions(
        spindle=spindle,
        flutes=flutes,
        feed_per_tooth_mm=per_tooth,
        feed_mm_per_min=feed,
        corner_feed_mm_per_min=feed * CORNER_FEED_SHARE if feed is not None and slow else None,
        tilt=_tilt(surface, target.cutter, stage, spindle, feed, tip_share),
        force_n=force,
        bending_um=_bending_um(surface, stage, force),
    )


def feed_at(stage: StageConditions, spindle: SpindleChoice | None, flutes: int) -> float | None:
    """Feed of a stage at a spindle speed, mm/min; None where the speed or the feed per tooth is not known."""
    per_tooth = _feed_per_tooth_mm(stage)
    if spindle is None or per_tooth is None:
        return None
    return min(float(feed_mm_per_min(spindle.rpm, flutes, per_tooth)), stage.machine.max_feed)


def wanted_speed_m_per_min(stage: StageConditions) -> tuple[float, float] | None:
    """Cutting speed to run at, and the highest allowed: the stage's, the tool maker's, else the material's."""
    given = stage.stage.surface_speed or stage.tool.surface_speed
    if given is not None:
        return given, given
    if stage.material is None:
        return None
    low, high = stage.material.surface_speed_m_per_min
    return (low + high) / 2, high


def effective_diameters_mm(cutter: Cutter, slopes_deg: Floats, depth_mm: float) -> Floats:
    """Largest diameter in the cut at contacts of given slopes: that at the upper end of a cut `depth_mm` deep."""
    share = np.clip(1.0 - depth_mm / cutter.corner_radius_mm, -1.0, 1.0)
    return cutter.contact_diameter_mm(np.minimum(slopes_deg + np.degrees(np.arccos(share)), 90.0))


def _spindle(surface: ZoneSurface, cutter: Cutter, stage: StageConditions) -> SpindleChoice | None:
    speeds = wanted_speed_m_per_min(stage)
    if speeds is None:
        return None
    wanted, highest = speeds
    steepest = np.array([surface.corner_slope_deg[:, 1].max()])
    limits = {"machine": stage.machine.max_spindle}
    if stage.tool.max_spindle is not None:
        limits["tool"] = stage.tool.max_spindle
    return choose_spindle(
        cutter.contact_diameter_mm(surface.slope_deg),
        surface.area_mm2,
        float(effective_diameters_mm(cutter, steepest, stage.depth_mm)[0]),
        wanted,
        highest,
        limits,
    )


def _feed_per_tooth_mm(stage: StageConditions) -> float | None:
    """The stage's or tool maker's feed as it is; else the low end of the material's, raised for thin chips."""
    given = stage.stage.feed_per_tooth or stage.tool.feed_per_tooth
    if given is not None:
        return given
    if stage.material is None:
        return None
    low, high = (share * stage.tool.diameter for share in stage.material.feed_per_tooth_of_diameter)
    step = min(stage.target.flat_step_mm, stage.tool.diameter / 2)
    thinning = thinning_factor(stage.depth_mm, step, stage.tool.diameter)
    # the low end as the chip that is wanted: the table's range is what shops program, thinning already in it
    return min(high, max(low, float(compensated_feed_per_tooth_mm(low, thinning))))


def _tilt(
    surface: ZoneSurface,
    cutter: Cutter,
    stage: StageConditions,
    spindle: SpindleChoice | None,
    feed_mm_per_min: float | None,
    tip_share: float,
) -> Tilt | None:
    """A tilt, where much of the zone is cut near the tip of a ball."""
    if tip_share < TIP_SHARE_WORTH_TILT or cutter.ring_radius_mm > 0:
        return None
    # all but a twentieth of the zone leans at least so much
    least = float(quantile(surface.slope_deg, surface.area_mm2, [0.05])[0])
    told = advise_tilt(least, cutter.diameter_mm, stage.depth_mm, stage.machine.tilt_deg)
    before, after = told.contact_diameter_before_mm, told.contact_diameter_after_mm
    if spindle is None:
        return Tilt(told.tilt_deg, told.allowed, before, after, None, None)
    steepest = float(surface.corner_slope_deg[:, 1].max())
    rpm, feed = when_tilted(stage, steepest, told.tilt_deg, spindle.rpm, feed_mm_per_min)
    return Tilt(
        told.tilt_deg, told.allowed, before, after, float(surface_speed_m_per_min(spindle.rpm, before)),
        float(surface_speed_m_per_min(rpm, after)), rpm, feed,
    )  # fmt: skip


def when_tilted(
    stage: StageConditions, steepest_deg: float, tilt_deg: float, rpm: float, feed_mm_per_min: float | None
) -> tuple[float, float | None]:
    """Spindle speed and feed at which the largest diameter in a tilted cut keeps to the highest cutting speed.

    `rpm` and the feed are those of the upright cut, and the most. A tilt adds to the slope in one direction and takes
    from it in the other: the steepest place may gain all of it.
    """
    speeds = wanted_speed_m_per_min(stage)
    if speeds is None:
        return rpm, feed_mm_per_min
    slopes = np.array([min(steepest_deg + tilt_deg, 90.0)])
    largest_mm = float(effective_diameters_mm(stage.target.cutter, slopes, stage.depth_mm)[0])
    tilted = min(rpm, float(spindle_rpm(speeds[1], largest_mm)))
    return tilted, None if feed_mm_per_min is None else feed_mm_per_min * tilted / rpm


def _has_tight_hollow(surface: ZoneSurface, cutter: Cutter) -> bool:
    tight = (surface.mean_bend_per_mm < 0) & (
        surface.sharpest_bend_per_mm * TIGHT_HOLLOW_RADII * cutter.corner_radius_mm > 1.0
    )
    return bool(surface.area_mm2[tight].sum() > TIGHT_SHARE * surface.total_mm2)


def _force_n(stage: StageConditions, per_tooth_mm: float | None) -> float | None:
    material = stage.material
    if material is None or per_tooth_mm is None or material.kc11_n_per_mm2 is None or material.mc is None:
        return None
    force = float(
        ball_finishing_force_n(
            per_tooth_mm,
            # cusps never make a layer thicker than the sum holds for
            max(stage.depth_mm, min(stage.depth_mm + stage.ridge_mm, stage.target.cutter.corner_radius_mm)),
            min(stage.target.flat_step_mm, stage.tool.diameter / 2),
            stage.target.cutter.corner_radius_mm,
            material.kc11_n_per_mm2,
            material.mc,
        )  # fmt: skip
    )
    # a layer thicker than the corner radius has no such force: it is not known
    return None if math.isnan(force) else force


def _bending_um(surface: ZoneSurface, stage: StageConditions, force_n: float | None) -> float | None:
    """Bending normal to the surface where the zone is steepest, um; a floor is not pushed sideways."""
    compliance = tool_compliance_mm_per_n(stage.tool)
    if force_n is None or compliance is None:
        return None
    steepest = min(float(surface.corner_slope_deg[:, 1].max()), 90.0)
    return float(deflection_normal_um(force_n, compliance, steepest))
