"""The three ways to cover a zone, each with the spacing that holds the stage's target and what follows from it.

Path lengths are integrals of area over spacing (the passes of a family with spacing s cover an area A with
A / s of path): no pass is laid yet, links and lifts are not in them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor import tolerances
from advisor.advice.zone_surface import ZoneSurface, low_quantile, quantile
from advisor.cutter.contact import TIP_DIAMETER_SHARE
from advisor.cutter.cutter import UM_PER_MM, Cutter
from advisor.cutter.roughness import ra_um
from advisor.kernels.line_direction import length_by_direction, lines_over_facets, widths_across
from advisor.model import Advice, Cusp, Range, Strategy
from advisor.part.frame import plan_axes
from advisor.part.mesh import Floats

# Directions tried for parallel lines: every 5 degrees finds the best within 1 - cos(2.5 deg) = 0.1 % of spacing.
_DIRECTION_STEP_DEG = 5
_FACETS_ASKED = 100_000
# Directions whose length is within this share of the least are alike; fewest turns decides between them.
_ALIKE_LENGTH_SHARE = 0.01
# Constant-Z on a surface flatter than this would need steps below a tenth of the stepover.
_FLATTEST_FOR_CONSTANT_Z_DEG = 5.7
# Parallel lines that would run up or down a slope steeper than this, or closer than this share of the stepover.
_CLOSEST_LINES_SHARE = 0.25
_LARGEST_UNCUT_SHARE = 0.01
# A zone of one slope still has rounding in its normals: less turn than this is none.
_LEAST_TURN_RAD = 1e-3


@dataclass(frozen=True)
class StageTarget:
    """What a stage asks of the surface: a cusp to hold, or a step along the surface to keep.

    Exactly one of `cusp_mm` and `step_mm` is set.
    """

    name: str
    cutter: Cutter
    tool: int
    cusp_mm: float | None
    step_mm: float | None

    def steps_mm(self, tool_per_mm: Floats, surface_per_mm: Floats) -> Floats:
        """Allowed step along the surface at every facet."""
        if self.step_mm is not None:
            return np.full(len(surface_per_mm), self.step_mm)
        assert self.cusp_mm is not None
        return self.cutter.step_mm(self.cusp_mm, tool_per_mm, surface_per_mm)

    @property
    def flat_step_mm(self) -> float:
        """Step on a flat surface, mm."""
        corner = np.array([self.cutter.corner_per_mm])
        return float(self.steps_mm(corner, np.zeros(1))[0])

    def edge_per_mm(self, surface: ZoneSurface) -> float:
        """Curvature from which a bend in the zone is an edge, not a surface: the whole turn fits in one step.

        Passes do not lie on such a bend but beside it, so it does not set their spacing.
        """
        turn = np.radians(np.ptp(surface.slope_deg))
        return max(float(turn), _LEAST_TURN_RAD) / self.flat_step_mm


@dataclass(frozen=True)
class _Cover:
    """A family of passes: plan spacing or Z-step, and what it leaves on each facet."""

    step_mm: Floats
    tool_per_mm: Floats
    surface_per_mm: Floats
    path_mm: float
    usable: bool


def candidates(surface: ZoneSurface, target: StageTarget, lines_at_deg: float | None = None) -> tuple[Advice, ...]:
    """Advice for all three strategies; ``why`` is left empty (see ``advice.words``).

    Parameters
    ----------
    surface : ZoneSurface
    target : StageTarget
    lines_at_deg : direction of parallel lines, searched where it is None
    """
    return (
        constant_z(surface, target),
        parallel_line(surface, target, lines_at_deg),
        constant_cusp(surface, target),
    )


def constant_z(surface: ZoneSurface, target: StageTarget) -> Advice:
    """Level passes: ``s = dz / sin(slope)``, so the flattest part sets the Z-step."""
    sine = np.sin(np.radians(surface.slope_deg))
    least_sine = np.sin(np.radians(surface.corner_slope_deg)).min(axis=1)  # above 90 deg the greatest slope has it
    corner = np.full(len(sine), target.cutter.corner_per_mm)
    bend = _without_edges(surface.bend_uphill_per_mm, target.edge_per_mm(surface))
    allowed = target.steps_mm(corner, bend)
    floor = np.sin(np.radians(_FLATTEST_FOR_CONSTANT_Z_DEG))
    tightest = low_quantile(allowed * least_sine, surface.area_mm2)
    z_step = max(tightest, target.flat_step_mm * floor)
    step = z_step / np.maximum(least_sine, 1e-12)
    cover = _Cover(
        step, corner, bend,
        float((surface.area_mm2 * sine).sum() / z_step), usable=tightest >= target.flat_step_mm * floor,
    )  # fmt: skip
    return _advice(surface, target, "constant_z", cover, z_step=z_step)


def parallel_line(surface: ZoneSurface, target: StageTarget, at_deg: float | None = None) -> Advice:
    """Lines straight in plan: ``s = p / sqrt(1 - sin^2(slope) cos^2(phi))``, so the steepest cross slope sets p."""
    direction = best_direction_deg(surface, target) if at_deg is None else at_deg
    share, tool, bend, least_share = _lines(surface, target, direction)
    allowed = target.steps_mm(tool, bend)
    tightest = low_quantile(allowed * least_share, surface.area_mm2)
    spacing = max(tightest, target.flat_step_mm * _CLOSEST_LINES_SHARE / 10)
    step = spacing / np.maximum(least_share, 1e-12)
    cover = _Cover(
        step, tool, bend, float((surface.area_mm2 * share).sum() / spacing),
        usable=tightest >= target.flat_step_mm * _CLOSEST_LINES_SHARE and _climbs_gently(surface, direction),
    )  # fmt: skip
    return _advice(surface, target, "parallel_line", cover, line_spacing=spacing, direction=direction)


def constant_cusp(surface: ZoneSurface, target: StageTarget) -> Advice:
    """Offsets along the surface: every facet gets the step it allows.

    The direction across the pass is not known before passes are laid; the mean of the two principal
    curvatures stands for it.
    """
    corner = np.full(len(surface.area_mm2), target.cutter.corner_per_mm)
    bend = _without_edges(surface.mean_bend_per_mm, target.edge_per_mm(surface))
    step = target.steps_mm(corner, bend)
    path = float((surface.area_mm2 / step).sum())
    return _advice(surface, target, "constant_cusp", _Cover(step, corner, bend, path, True))


def _without_edges(bend_per_mm: Floats, edge_per_mm: float) -> Floats:
    return np.where(np.abs(bend_per_mm) > edge_per_mm, 0.0, bend_per_mm)


def best_direction_deg(surface: ZoneSurface, target: StageTarget) -> float:
    """Direction of parallel lines, from +X of the set-up about the tool axis, that needs least path.

    Of directions that need alike, the one across which the zone is narrowest: it has the fewest turns.
    Of a large zone every n-th facet is asked: directions are compared, not measured.
    """
    angles = np.arange(0, 180, _DIRECTION_STEP_DEG, dtype=np.float64)
    feeds = _plan_directions(angles)
    some = slice(None, None, 1 + len(surface.area_mm2) // _FACETS_ASKED)
    length = length_by_direction(
        surface.normal[some], surface.area_mm2[some], surface.axis, feeds @ plan_axes(surface.axis),
        surface.tensor[some], target.cutter.corner_per_mm, target.cutter.ring_radius_mm,
        target.edge_per_mm(surface), target.cusp_mm or 0.0, target.step_mm or 0.0, tolerances.TAIL_SHARE_OF_AREA,
    )  # fmt: skip
    width = np.round(widths_across(surface.plan_corners[some], feeds), 6)
    alike = length <= (1 + _ALIKE_LENGTH_SHARE) * length.min()
    if not np.isfinite(length.min()):
        alike[:] = True
    return float(angles[alike][width[alike].argmin()])


def _plan_directions(angles_deg: Floats) -> Floats:
    turned = np.radians(angles_deg)
    return np.stack([np.cos(turned), np.sin(turned)], axis=1)


def _lines(surface: ZoneSurface, target: StageTarget, direction_deg: float) -> tuple[Floats, Floats, Floats, Floats]:
    feed = (_plan_directions(np.array([direction_deg])) @ plan_axes(surface.axis))[0]
    rows = lines_over_facets(
        surface.normal, surface.corner_normal, surface.axis, feed, surface.tensor,
        target.cutter.corner_per_mm, target.cutter.ring_radius_mm,
    )  # fmt: skip
    return rows[:, 0], rows[:, 1], _without_edges(rows[:, 2], target.edge_per_mm(surface)), rows[:, 3]


# Steeper than this along the line a ball plunges and climbs instead of sweeping. (common practice, no source)
_STEEPEST_RUN_DEG = 75.0


def _climbs_gently(surface: ZoneSurface, direction_deg: float) -> bool:
    """Whether lines in a direction keep below the steepest run on all but a tail of the zone."""
    feed = (_plan_directions(np.array([direction_deg])) @ plan_axes(surface.axis))[0]
    run = np.degrees(np.arctan2(np.abs(surface.normal @ feed), np.abs(surface.normal @ surface.axis)))
    return -low_quantile(-run, surface.area_mm2, _LARGEST_UNCUT_SHARE) <= _STEEPEST_RUN_DEG


def _advice(
    surface: ZoneSurface,
    target: StageTarget,
    strategy: Strategy,
    cover: _Cover,
    *,
    z_step: float | None = None,
    line_spacing: float | None = None,
    direction: float | None = None,
) -> Advice:
    area = surface.area_mm2
    slopes = surface.corner_slope_deg
    contact = target.cutter.contact_diameter_mm(np.array([slopes[:, 0].min(), slopes[:, 1].max()]))
    # what the passes are apart on average; further than a corner's width they have nothing to do with each other
    step = min(float(area.sum()) / max(cover.path_mm, 1e-9), 2 * target.cutter.corner_radius_mm)
    flat_roughness = ra_um(min(step, target.cutter.corner_radius_mm), target.cutter.corner_radius_mm)
    return Advice(
        strategy=strategy,
        tool=target.tool,
        stage=target.name,
        stepover_mm=step,
        line_spacing_mm=line_spacing,
        z_step_mm=z_step,
        direction_deg=direction,
        cusp_um=_cusp(cover, target, area),
        ra_um=float(flat_roughness),
        contact_diameter_mm=Range(float(contact[0]), float(contact[1])),
        tip_contact_share=_tip_share(surface, target.cutter),
        spindle_rpm=None,
        surface_speed_m_per_min=None,
        feed_mm_per_min=None,
        passes=None,
        path_mm=cover.path_mm,
        lifts=None,
        cutting_min=None,
        total_min=None,
        total_min_range=None,
        usable=cover.usable,
        why=(),
    )


def _tip_share(surface: ZoneSurface, cutter: Cutter) -> float:
    """Share of the area touched on less than ``TIP_DIAMETER_SHARE`` of the diameter; a facet may count in part."""
    # the ball's or corner's ring reaches that diameter at this slope; a bull-nose never comes so near its axis
    sine = (TIP_DIAMETER_SHARE * cutter.diameter_mm / 2 - cutter.ring_radius_mm) / cutter.corner_radius_mm
    limit = np.degrees(np.arcsin(max(sine, 0.0)))
    low, high = surface.corner_slope_deg.T
    below = np.clip((limit - low) / np.maximum(high - low, 1e-6), 0.0, 1.0)
    return float((surface.area_mm2 * below).sum() / surface.area_mm2.sum())


def _cusp(cover: _Cover, target: StageTarget, area: Floats) -> Cusp:
    """Predicted cusps; None where part of the zone (beyond a tail) is left uncut."""
    height = target.cutter.cusp_mm(cover.step_mm, cover.tool_per_mm, cover.surface_per_mm) * UM_PER_MM
    wanted = None if target.cusp_mm is None else target.cusp_mm * UM_PER_MM
    cut = np.isfinite(height)
    p95, most = quantile(np.where(cut, height, np.inf), area, [0.95, 1 - tolerances.TAIL_SHARE_OF_AREA])
    return Cusp(
        target=wanted,
        p95=float(p95) if np.isfinite(p95) else None,
        max=float(most) if np.isfinite(most) else None,
    )
