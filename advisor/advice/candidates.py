"""The three ways to cover a zone, each with the spacing that holds the stage's target and what follows from it.

Path lengths are integrals of area over spacing (the passes of a family with spacing s cover an area A with
A / s of path): no pass is laid yet, links and lifts are not in them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from advisor import tolerances
from advisor.advice.lines import Lines
from advisor.advice.target import StageTarget
from advisor.advice.zone_surface import ZoneSurface, low_quantile, quantile
from advisor.cutter.contact import TIP_DIAMETER_SHARE
from advisor.cutter.cutter import Cutter
from advisor.cutter.roughness import SHALLOW_ARC_RA
from advisor.model import STRATEGIES, Advice, Cusp, Range, Strategy
from advisor.part.mesh import Floats
from advisor.units import UM_PER_MM

# Height over arithmetic mean of a row of shallow arcs: s^2 / 8 R over s^2 / (18 sqrt(3) R). The error is below 1 % for
# cusps up to a tenth of the corner radius.
CUSP_OVER_RA = SHALLOW_ARC_RA / 8.0
# Constant-Z on a surface flatter than this would need steps below a tenth of the stepover.
FLATTEST_FOR_CONSTANT_Z_DEG = 5.7
# Parallel lines closer than this share of the stepover are many times the path that another strategy needs.
CLOSEST_LINES_SHARE = 0.25


@dataclass(frozen=True)
class Cover:
    """A family of passes over a zone: what sets it, and what it leaves on each facet.

    Attributes
    ----------
    strategy : Strategy
    step_mm : (m,) from pass to pass along the surface
    tool_per_mm, surface_per_mm : (m,) curvature of cutter and surface across the passes
    path_mm : float
    usable : bool
        Whether the family holds the target.
    z_step_mm, line_spacing_mm, direction_deg : float or None
        Of level passes; of lines, in plan.
    """

    strategy: Strategy
    step_mm: Floats
    tool_per_mm: Floats
    surface_per_mm: Floats
    path_mm: float
    usable: bool
    z_step_mm: float | None = None
    line_spacing_mm: float | None = None
    direction_deg: float | None = None


def covers(surface: ZoneSurface, target: StageTarget, lines: Lines) -> tuple[Cover, ...]:
    """All three families over a zone.

    Parameters
    ----------
    surface : ZoneSurface
    target : StageTarget
    lines : Lines
        Parallel lines over the zone in their direction.
    """
    return _levels(surface, target), _lines(surface, target, lines), _offsets(surface, target)


def constant_z(surface: ZoneSurface, target: StageTarget) -> Advice:
    """Level passes: ``s = dz / sin(slope)``, so the flattest part sets the Z-step."""
    return candidate(surface, target, _levels(surface, target))


def parallel_line(surface: ZoneSurface, target: StageTarget, lines: Lines) -> Advice:
    """Lines straight in plan: ``s = p / sqrt(1 - sin^2(slope) cos^2(phi))``, so the steepest cross slope sets p."""
    return candidate(surface, target, _lines(surface, target, lines))


def constant_cusp(surface: ZoneSurface, target: StageTarget) -> Advice:
    """Offsets along the surface: every facet gets the step it allows.

    The direction across the pass is not known before passes are laid; the mean of the two principal
    curvatures stands for it.
    """
    return candidate(surface, target, _offsets(surface, target))


def _levels(surface: ZoneSurface, target: StageTarget) -> Cover:
    sine = np.sin(np.radians(surface.slope_deg))
    low, high = np.sin(np.radians(surface.corner_slope_deg)).T
    least_sine = np.minimum(low, high)  # above 90 deg the greatest slope has it
    corner = np.full(len(sine), target.cutter.corner_per_mm)
    bend = np.where(target.edges(surface), 0.0, surface.bend_uphill_per_mm)
    allowed = target.steps_mm(corner, bend)
    floor = np.sin(np.radians(FLATTEST_FOR_CONSTANT_Z_DEG))
    tightest = low_quantile(allowed * least_sine, surface.area_mm2)
    z_step = max(tightest, target.flat_step_mm * floor)
    step = z_step / np.maximum(least_sine, 1e-12)
    path, usable = float((surface.area_mm2 * sine).sum() / z_step), tightest >= target.flat_step_mm * floor
    return Cover("constant_z", step, corner, bend, path, usable, z_step_mm=z_step)


def _lines(surface: ZoneSurface, target: StageTarget, lines: Lines) -> Cover:
    bend = np.where(target.edges(surface), 0.0, lines.surface_per_mm)
    allowed = target.steps_mm(lines.tool_per_mm, bend)
    tightest = low_quantile(allowed * lines.least_share, surface.area_mm2, tolerances.TAIL_OF_LINES)
    spacing = max(tightest, target.flat_step_mm * CLOSEST_LINES_SHARE / 10)
    step = spacing / np.maximum(lines.least_share, 1e-12)
    path = float((surface.area_mm2 * lines.share).sum() / spacing)
    usable = tightest >= target.flat_step_mm * CLOSEST_LINES_SHARE and lines.climb_gently
    return Cover(
        "parallel_line", step, lines.tool_per_mm, bend, path, usable,
        line_spacing_mm=spacing, direction_deg=lines.direction_deg,
    )  # fmt: skip


def _offsets(surface: ZoneSurface, target: StageTarget) -> Cover:
    corner = np.full(len(surface.area_mm2), target.cutter.corner_per_mm)
    bend = np.where(target.edges(surface), 0.0, surface.mean_bend_per_mm)
    step = target.steps_mm(corner, bend)
    path = float((surface.area_mm2 / step).sum())
    return Cover("constant_cusp", step, corner, bend, path, usable=True)


def refused_candidates(target: StageTarget) -> tuple[Advice, ...]:
    """All three strategies for a zone that is not cut here: nothing is known of them but that."""
    return tuple(_without_numbers(strategy, target, None, None) for strategy in STRATEGIES)


def _without_numbers(
    strategy: Strategy, target: StageTarget, contact_diameter_mm: Range | None, tip_share: float | None
) -> Advice:
    wanted = None if target.cusp_mm is None else target.cusp_mm * UM_PER_MM
    return Advice(
        strategy=strategy,
        tool=target.tool,
        stage=target.name,
        stepover_mm=None,
        line_spacing_mm=None,
        z_step_mm=None,
        direction_deg=None,
        cusp_um=Cusp(wanted, None, None),
        ra_um=None,
        contact_diameter_mm=contact_diameter_mm,
        tip_contact_share=tip_share,
        spindle_rpm=None,
        surface_speed_m_per_min=None,
        feed_mm_per_min=None,
        passes=None,
        path_mm=None,
        lifts=None,
        cutting_min=None,
        total_min=None,
        total_min_range=None,
        usable=False,
        why=(),
    )


def candidate(surface: ZoneSurface, target: StageTarget, cover: Cover) -> Advice:
    """Advice for a family of passes; ``why`` is left empty (see ``advice.choose``)."""
    slopes = surface.corner_slope_deg
    contact = target.cutter.contact_diameter_mm(np.array([slopes[:, 0].min(), slopes[:, 1].max()]))
    contact_range = Range(float(contact[0]), float(contact[1]))
    told = _without_numbers(cover.strategy, target, contact_range, _tip_share(surface, target.cutter))
    if not cover.usable or cover.path_mm <= 0:
        return told
    cusps = target.cutter.cusp_mm(cover.step_mm, cover.tool_per_mm, cover.surface_per_mm) * UM_PER_MM
    return replace(
        told,
        # what the passes are apart on average; further than the cutter is wide they have nothing to do with each other
        stepover_mm=min(surface.total_mm2 / cover.path_mm, target.cutter.diameter_mm),
        line_spacing_mm=cover.line_spacing_mm,
        z_step_mm=cover.z_step_mm,
        direction_deg=cover.direction_deg,
        cusp_um=_cusp(cusps, target, surface.area_mm2),
        ra_um=_mean_ra_um(cusps, surface.area_mm2),
        path_mm=cover.path_mm,
        usable=True,
    )


def _mean_ra_um(cusps_um: Floats, area_mm2: Floats) -> float | None:
    """Arithmetic mean roughness of the cusps, their mean over the area; None where surface is left uncut."""
    if not np.isfinite(cusps_um).all():
        return None
    return float(np.average(cusps_um, weights=area_mm2) / CUSP_OVER_RA)


def _tip_share(surface: ZoneSurface, cutter: Cutter) -> float:
    """Share of the area touched on less than ``TIP_DIAMETER_SHARE`` of the diameter; a facet may count in part."""
    # the ball's or corner's ring reaches that diameter at this slope; a bull-nose never comes so near its axis
    sine = (TIP_DIAMETER_SHARE * cutter.diameter_mm / 2 - cutter.ring_radius_mm) / cutter.corner_radius_mm
    limit = np.degrees(np.arcsin(max(sine, 0.0)))
    low, high = surface.corner_slope_deg.T
    below = np.clip((limit - low) / np.maximum(high - low, 1e-6), 0.0, 1.0)
    return float((surface.area_mm2 * below).sum() / surface.area_mm2.sum())


def _cusp(cusps_um: Floats, target: StageTarget, area: Floats) -> Cusp:
    """Predicted cusps; None where part of the zone (beyond a tail) is left uncut."""
    wanted = None if target.cusp_mm is None else target.cusp_mm * UM_PER_MM
    known = np.where(np.isfinite(cusps_um), cusps_um, np.inf)
    p95, most = quantile(known, area, [0.95, 1 - tolerances.TAIL_SHARE_OF_AREA])
    return Cusp(
        target=wanted,
        p95=float(p95) if np.isfinite(p95) else None,
        max=float(most) if np.isfinite(most) else None,
    )
