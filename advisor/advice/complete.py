"""A candidate with the conditions it runs under: speeds, feed, minutes, tilt, error budget, and what they say."""

from __future__ import annotations

from dataclasses import dataclass, replace

from advisor.advice.budget import budget_words, error_budget
from advisor.advice.conditions import StageConditions, ZoneConditions, wanted_speed_m_per_min
from advisor.advice.minutes import pass_count, stage_minutes
from advisor.advice.tilt_words import slower_words
from advisor.advice.zone_surface import ZoneSurface
from advisor.cutter.chips import cusp_along_feed_um
from advisor.cutter.cutter import Cutter
from advisor.job import Machine
from advisor.model import Advice, Range


@dataclass(frozen=True)
class ZoneExtent:
    """What the minutes of a zone depend on beside its surface."""

    height_mm: float
    rim_mm: float


@dataclass(frozen=True)
class Accuracy:
    """What the error budget of every zone has in common."""

    facets_um: float | None
    path_um: float
    tolerance_um: float | None


def completed(
    advice: Advice,
    surface: ZoneSurface,
    extent: ZoneExtent,
    stage: StageConditions,
    conditions: ZoneConditions,
    accuracy: Accuracy,
) -> Advice:
    """The candidate with everything that follows from its conditions."""
    spindle, feed = conditions.spindle, conditions.feed_mm_per_min
    cutting, total, span = None, None, None
    if feed is not None and advice.path_mm is not None and advice.stepover_mm is not None:
        passes = pass_count(advice, surface, extent.height_mm, extent.rim_mm)
        cutting, total, span = stage_minutes(advice.path_mm, advice.stepover_mm, passes, feed, stage.machine)
    return replace(
        advice,
        spindle_rpm=None if spindle is None else spindle.rpm,
        surface_speed_m_per_min=None
        if spindle is None
        else Range(spindle.least_speed_m_per_min, spindle.greatest_speed_m_per_min),
        mean_surface_speed_m_per_min=None if spindle is None else spindle.mean_speed_m_per_min,
        feed_per_tooth_mm=conditions.feed_per_tooth_mm,
        cusp_along_feed_um=_cusp_along_feed_um(conditions.feed_per_tooth_mm, stage.target.cutter),
        feed_mm_per_min=feed,
        corner_feed_mm_per_min=conditions.corner_feed_mm_per_min,
        cutting_min=cutting,
        total_min=total,
        total_min_range=span,
        tilt=conditions.tilt,
        error_budget=error_budget(
            advice, conditions.bending_um, accuracy.facets_um, accuracy.path_um, accuracy.tolerance_um
        ),
    )


def _cusp_along_feed_um(feed_per_tooth_mm: float | None, cutter: Cutter) -> float | None:
    return None if feed_per_tooth_mm is None else float(cusp_along_feed_um(feed_per_tooth_mm, cutter.corner_radius_mm))


def condition_words(advice: Advice, stage: StageConditions, conditions: ZoneConditions) -> tuple[str, ...]:
    """What a machinist must know of the conditions of the advised candidate."""
    sentences = [_spindle_words(stage, conditions), _tilt_words(advice, stage.machine)]
    if advice.corner_feed_mm_per_min is not None:
        sentences.append(
            f"Slow to about {advice.corner_feed_mm_per_min:.0f} mm/min where a pass walks into an inside corner or the "
            "bottom of a hollow: more of the ball is in the cut there."
        )
    if advice.error_budget is not None:
        sentences.append(budget_words(advice.error_budget))
    return tuple(sentence for sentence in sentences if sentence)


def _spindle_words(stage: StageConditions, conditions: ZoneConditions) -> str | None:
    spindle, speeds = conditions.spindle, wanted_speed_m_per_min(stage)
    if spindle is None or speeds is None or spindle.limited_by == "wanted speed":
        return None
    limit = "the machine" if spindle.limited_by == "machine" else "the tool"
    return (
        f"{spindle.rpm:.0f} rev/min is the limit of {limit}: the contact runs at {spindle.least_speed_m_per_min:.0f} "
        f"to {spindle.greatest_speed_m_per_min:.0f} m/min, {speeds[0]:.0f} are wanted."
    )


def _tilt_words(advice: Advice, machine: Machine) -> str | None:
    tilt = advice.tilt
    if tilt is None:
        return None
    gain = f"touches on {tilt.contact_diameter_after_mm:.2f} mm instead of {tilt.contact_diameter_before_mm:.2f}"
    if tilt.surface_speed_before_m_per_min is not None and tilt.surface_speed_after_m_per_min is not None:
        before, after = tilt.surface_speed_before_m_per_min, tilt.surface_speed_after_m_per_min
        gain += f", at {after:.0f} m/min instead of {before:.0f}"
    if tilt.allowed:
        return " ".join((f"Tilt the tool {tilt.tilt_deg:.0f} deg: the ball then {gain}.", *slower_words(tilt, advice)))
    cannot = (
        "with three axes it cannot" if machine.axes == "3" else f"this machine tilts {machine.tilt_deg:.0f} deg at most"
    )
    return (
        f"Tilted {tilt.tilt_deg:.0f} deg the ball would {gain.replace('touches', 'touch', 1)}; {cannot}, so the floor "
        "is cut by the slowest point of the ball: expect a duller finish, and keep the feed per tooth low."
    )
