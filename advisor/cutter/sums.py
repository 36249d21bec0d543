"""The shop sums, one answer each: a few numbers in, a frozen record out.

The functions beneath (:mod:`~advisor.cutter.contact`, :mod:`~advisor.cutter.roughness`,
:mod:`~advisor.cutter.speeds`) take arrays and answer NaN where there is no answer. These take plain numbers, as a
person has them, and say in one line why there is none: they raise :class:`~advisor.errors.InputError`, whose subject
is the argument at fault, without its unit.

Lengths are mm and angles degrees, unless a name says otherwise. ``ball_mm`` is the diameter, stepover is measured
along the surface, slope from a floor (0) to a wall (90). Surface radius is that across the feed: positive convex,
negative concave, infinite flat. ``None`` in an answer means "not asked for". Ideal geometry is a lower bound.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from advisor.cutter import contact, roughness, speeds
from advisor.cutter.measured_finish import COMMON_CUT_OFF_MM, filter_share, ra_grade, usual_cut_off_mm
from advisor.cutter.sum_checks import above_zero, ball_radius_of_mm, check_angle, check_fit, check_slope, exactly_one
from advisor.cutter.tilt import tilt_for_contact_deg
from advisor.errors import InputError
from advisor.units import UM_PER_MM


@dataclass(frozen=True)
class CuspSum:
    """What passes leave between them. ``ra_um`` is None where a convex surface is too sharp for the small-step form."""

    stepover_mm: float
    line_spacing_mm: float
    z_step_mm: float
    cusp_um: float
    rz_um: float
    ra_um: float | None


@dataclass(frozen=True)
class StepoverSum:
    """How far apart passes may be: along the surface, as parallel lines in plan (worst case), as constant-Z."""

    stepover_mm: float
    line_spacing_mm: float
    z_step_mm: float


@dataclass(frozen=True)
class FinishSum:
    """The stepover for a finish, and what a roughness filter shows of it.

    ``cut_off_mm`` is None, and so is its share, where the marks are coarser than any roughness cut-off.
    """

    stepover_mm: float
    cusp_um: float
    rz_um: float
    ra_um: float
    ra_grade: str | None
    cut_off_mm: float | None
    filter_share: float | None
    common_filter_share: float


@dataclass(frozen=True)
class SpeedSum:
    """Spindle speed from the nominal diameter, and the cutting speed that is really there.

    ``contact_*`` is the circle on which ball and surface touch, ``effective_*`` the largest that cuts at a depth.
    """

    spindle_rpm: float
    contact_diameter_mm: float
    contact_speed_m_per_min: float
    contact_spindle_rpm: float | None
    near_tip: bool
    effective_diameter_mm: float | None
    effective_speed_m_per_min: float | None
    effective_spindle_rpm: float | None
    feed_mm_per_min: float | None


@dataclass(frozen=True)
class TiltSum:
    """The smallest tilt that does what was asked, and the contact diameter without and with it."""

    tilt_deg: float
    tip_clear_tilt_deg: float | None
    wanted_diameter_tilt_deg: float | None
    untilted_contact_diameter_mm: float
    contact_diameter_mm: float


def cusp_sum(
    ball_mm: float,
    stepover_mm: float | None = None,
    *,
    line_spacing_mm: float | None = None,
    z_step_mm: float | None = None,
    slope_deg: float = 0.0,
    surface_radius_mm: float = math.inf,
) -> CuspSum:
    """Cusp, Rz and Ra across the passes, from exactly one of stepover, line spacing (stepped uphill) and Z-step.

    The cusp is exact, Rz is its height; Ra is exact on a flat surface, and on a curved one that of the flat with
    :func:`~advisor.cutter.contact.effective_radius_mm` (small steps). A ball's cusp hangs on the step along the
    surface alone, so that slope only turns the one spacing into the others.

    >>> print(round(cusp_sum(10.0, 0.5).cusp_um, 6))
    6.253911
    """
    radius = ball_radius_of_mm(ball_mm)
    check_slope(slope_deg)
    check_fit(radius, surface_radius_mm)
    spacings = {"stepover": stepover_mm, "line spacing": line_spacing_mm, "z step": z_step_mm}
    subject, spacing = exactly_one(spacings)
    step = _step_along_surface_mm(subject, above_zero(spacing, subject), slope_deg)
    cusp_um = UM_PER_MM * float(contact.cusp_height_mm(step, radius, surface_radius_mm))
    if math.isnan(cusp_um):
        raise InputError(
            subject,
            "passes so far apart do not meet, and metal stays uncut between them",
            "give less than the ball diameter, or a larger ball",
        )
    equal_radius = float(contact.effective_radius_mm(radius, surface_radius_mm))
    ra_um = float(roughness.ra_um(step, equal_radius))
    return CuspSum(
        stepover_mm=step,
        line_spacing_mm=float(contact.line_spacing_mm(step, slope_deg)),
        z_step_mm=float(contact.z_step_mm(step, slope_deg)),
        cusp_um=cusp_um,
        rz_um=cusp_um,
        ra_um=None if math.isnan(ra_um) else ra_um,
    )


def stepover_sum(
    ball_mm: float, cusp_mm: float, *, slope_deg: float = 0.0, surface_radius_mm: float = math.inf
) -> StepoverSum:
    """Stepover that leaves a cusp, and the line spacing and Z-step that give it on a slope. Exact.

    Line spacing is for lines stepped uphill, the worst case. A Z-step of 0 (a floor) and a line spacing of 0 (a wall)
    mean that such passes cannot hold the cusp there.

    >>> print(round(stepover_sum(10.0, 0.01).stepover_mm, 7))
    0.6321392
    """
    radius = ball_radius_of_mm(ball_mm)
    check_slope(slope_deg)
    step = _step_for_cusp_mm(cusp_mm, radius, surface_radius_mm, "cusp")
    return StepoverSum(
        stepover_mm=step,
        line_spacing_mm=float(contact.line_spacing_mm(step, slope_deg)),
        z_step_mm=float(contact.z_step_mm(step, slope_deg)),
    )


def finish_sum(
    ball_mm: float,
    *,
    ra_um: float | None = None,
    rz_um: float | None = None,
    surface_radius_mm: float = math.inf,
    cut_off_mm: float | None = None,
) -> FinishSum:
    """Stepover for a finish, from exactly one of Ra and Rz, and the share of it that a roughness filter shows.

    With no cut-off given, the usual one for marks as far apart as the stepover is taken.

    >>> print(round(finish_sum(10.0, ra_um=0.8).stepover_mm, 3))
    0.353
    """
    radius = ball_radius_of_mm(ball_mm)
    check_fit(radius, surface_radius_mm)
    subject, height_um = exactly_one({"ra": ra_um, "rz": rz_um})
    if subject == "rz":
        step = _step_for_cusp_mm(height_um / UM_PER_MM, radius, surface_radius_mm, subject)
    else:
        step = _step_for_ra_mm(height_um, float(contact.effective_radius_mm(radius, surface_radius_mm)))
    left = cusp_sum(ball_mm, step, surface_radius_mm=surface_radius_mm)
    ra_left_um = left.ra_um if ra_um is None else ra_um
    if ra_left_um is None:
        raise InputError("rz", "is too coarse for a surface bent so sharply", "ask for less, and check its unit")
    cut_off = usual_cut_off_mm(step) if cut_off_mm is None else above_zero(cut_off_mm, "cut off")
    return FinishSum(
        stepover_mm=step,
        cusp_um=left.cusp_um,
        rz_um=left.rz_um,
        ra_um=ra_left_um,
        ra_grade=ra_grade(ra_left_um),
        cut_off_mm=cut_off,
        filter_share=None if cut_off is None else filter_share(step, cut_off),
        common_filter_share=filter_share(step, COMMON_CUT_OFF_MM),
    )


def speed_sum(
    ball_mm: float,
    surface_speed_m_per_min: float,
    *,
    slope_deg: float = 0.0,
    tilt_deg: float = 0.0,
    depth_mm: float | None = None,
    flutes: int | None = None,
    feed_per_tooth_mm: float | None = None,
) -> SpeedSum:
    """Spindle speed for a cutting speed at the nominal diameter, and what is left of it at the contact.

    The contact diameter is that of the geometry, D sin(slope + tilt). An upright ball on a floor touches with its
    tip, where that is 0: there a depth of cut decides, and the contact is the largest diameter that cuts. Feed needs
    both ``flutes`` and ``feed_per_tooth_mm``.

    >>> inch = speed_sum(12.7, 833 * 0.3048, depth_mm=0.005 * 25.4)
    >>> print(round(inch.spindle_rpm), round(inch.contact_diameter_mm / 25.4, 4))
    6364 0.0995
    """
    ball_radius_of_mm(ball_mm)
    speed = above_zero(surface_speed_m_per_min, "surface speed")
    check_slope(slope_deg)
    check_angle(tilt_deg, -90.0, 90.0, "tilt")
    lean_deg = min(abs(slope_deg + tilt_deg), 90.0)
    touching = float(contact.contact_diameter_mm(ball_mm, slope_deg, tilt_deg))
    cutting = None
    if depth_mm is not None:
        cutting = float(contact.effective_diameter_mm(above_zero(depth_mm, "depth"), ball_mm, lean_deg))
        touching = cutting if lean_deg == 0.0 else touching
    rpm = float(speeds.spindle_rpm(speed, ball_mm))
    return SpeedSum(
        spindle_rpm=rpm,
        contact_diameter_mm=touching,
        contact_speed_m_per_min=float(speeds.surface_speed_m_per_min(rpm, touching)),
        contact_spindle_rpm=float(speeds.spindle_rpm(speed, touching)) if touching > 0.0 else None,
        near_tip=bool(contact.is_near_tip(touching, ball_mm)),
        effective_diameter_mm=cutting,
        effective_speed_m_per_min=None if cutting is None else float(speeds.surface_speed_m_per_min(rpm, cutting)),
        effective_spindle_rpm=None if cutting is None else float(speeds.spindle_rpm(speed, cutting)),
        feed_mm_per_min=_feed_mm_per_min(rpm, flutes, feed_per_tooth_mm),
    )


def tilt_sum(
    ball_mm: float,
    *,
    slope_deg: float = 0.0,
    depth_mm: float | None = None,
    wanted_diameter_mm: float | None = None,
) -> TiltSum:
    """Smallest tilt that keeps the tip out of a cut of some depth, the contact on a wanted diameter, or both.

    The slope counts: a surface that leans by itself needs that much less.

    >>> print(round(tilt_sum(10.0, depth_mm=0.2).tilt_deg, 4))
    16.2602
    """
    ball_radius_of_mm(ball_mm)
    check_slope(slope_deg)
    if depth_mm is None and wanted_diameter_mm is None:
        raise InputError("depth", "says what the tilt is for, and so does a wanted diameter", "give one or both")
    clear = None if depth_mm is None else _tip_clear_tilt_deg(depth_mm, ball_mm, slope_deg)
    wanted = None if wanted_diameter_mm is None else _wanted_tilt_deg(wanted_diameter_mm, ball_mm, slope_deg)
    tilt_deg = max(clear or 0.0, wanted or 0.0)
    return TiltSum(
        tilt_deg=tilt_deg,
        tip_clear_tilt_deg=clear,
        wanted_diameter_tilt_deg=wanted,
        untilted_contact_diameter_mm=float(contact.contact_diameter_mm(ball_mm, slope_deg)),
        contact_diameter_mm=float(contact.contact_diameter_mm(ball_mm, slope_deg, tilt_deg)),
    )


def _step_along_surface_mm(subject: str, spacing_mm: float, slope_deg: float) -> float:
    if subject == "stepover":
        return spacing_mm
    if subject == "line spacing":
        step = float(contact.surface_spacing_mm(spacing_mm, slope_deg))
        problem = "lines stepped into a wall leave it uncut"
    else:
        step = float(contact.surface_spacing_of_z_step_mm(spacing_mm, slope_deg))
        problem = "constant-Z passes leave a floor uncut"
    if math.isnan(step):
        raise InputError(subject, problem, "give the slope of the surface, or the stepover along it")
    return step


def _step_for_cusp_mm(cusp_mm: float, ball_radius_mm: float, surface_radius_mm: float, subject: str) -> float:
    check_fit(ball_radius_mm, surface_radius_mm)
    if above_zero(cusp_mm, subject) >= ball_radius_mm:
        raise InputError(subject, "reaches the ball radius", "ask for less, and check its unit (such as 0.005 mm)")
    step = float(contact.stepover_mm(cusp_mm, ball_radius_mm, surface_radius_mm))
    if not math.isnan(step):
        return step
    if surface_radius_mm < 0.0:
        problem = "the ball all but fills the hollow: any stepover leaves a lower cusp"
    else:
        problem = "no stepover leaves so high a cusp on a surface bent so sharply"
    raise InputError(subject, problem, "ask for a lower one")


def _step_for_ra_mm(ra_um: float, equal_radius_mm: float) -> float:
    step = float(roughness.stepover_for_ra_mm(above_zero(ra_um, "ra"), equal_radius_mm))
    if math.isnan(step):
        raise InputError("ra", "no stepover of this ball leaves so rough a finish", "ask for less, and check its unit")
    return step


def _feed_mm_per_min(rpm: float, flutes: int | None, feed_per_tooth_mm: float | None) -> float | None:
    if flutes is not None and flutes < 1:
        raise InputError("flutes", f"{flutes} is no number of flutes", "give 1 or more")
    if feed_per_tooth_mm is not None:
        above_zero(feed_per_tooth_mm, "feed per tooth")
    if flutes is None or feed_per_tooth_mm is None:
        return None
    return float(speeds.feed_mm_per_min(rpm, float(flutes), feed_per_tooth_mm))


def _tip_clear_tilt_deg(depth_mm: float, ball_mm: float, slope_deg: float) -> float:
    engaged_deg = float(contact.tip_clear_tilt_deg(above_zero(depth_mm, "depth"), ball_mm))
    if math.isnan(engaged_deg):
        raise InputError("depth", "no tilt keeps the tip out of a cut deeper than the ball radius", "cut less deep")
    return max(engaged_deg - slope_deg, 0.0)


def _wanted_tilt_deg(wanted_diameter_mm: float, ball_mm: float, slope_deg: float) -> float:
    if above_zero(wanted_diameter_mm, "wanted diameter") > ball_mm:
        raise InputError("wanted diameter", "is more than the ball has", "ask for the ball diameter or less")
    return float(tilt_for_contact_deg(wanted_diameter_mm, ball_mm, slope_deg))
