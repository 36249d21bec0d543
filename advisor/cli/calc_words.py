"""The answers of `advisor calc` in words: a few lines with the value, its formula, and how far to trust it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from advisor.units import MM_PER_UNIT

if TYPE_CHECKING:
    from advisor.cutter.facet_sums import FacetSum
    from advisor.cutter.sums import CuspSum, FinishSum, SpeedSum, StepoverSum, TiltSum

LOWER_BOUND = "Ideal geometry: a lower bound. Measured finish is commonly 1.5 to 3 times rougher."

# 1/R + 1/rho, the small-step form; the sums themselves are exact circles
_ON_A_CURVE = "; curved: 1/R gains 1/surface radius"

_UM_PER_UIN = 0.0254
_MM_PER_FT = 304.8
# A spacing below this share of the stepover is none: the slope is a wall.
_NOTHING = 1e-9
_MM_PER_M = 1000.0


def cusp_lines(answer: CuspSum, unit: str) -> list[str]:
    """Cusp, roughness and the spacings that belong to it."""
    ra = "" if answer.ra_um is None else f", Ra {_height(answer.ra_um, unit)}"
    return [
        f"Cusp {_height(answer.cusp_um, unit)} between passes {_length(answer.stepover_mm, unit)} apart "
        "along the surface",
        f"Rz {_height(answer.rz_um, unit)}{ra} across the passes",
        *_spacing_lines(answer.line_spacing_mm, answer.z_step_mm, answer.stepover_mm, unit),
        "cusp = R - sqrt(R^2 - stepover^2 / 4), Ra is about stepover^2 / (31.18 R), R ball radius" + _ON_A_CURVE,
        LOWER_BOUND,
    ]


def stepover_lines(answer: StepoverSum, unit: str) -> list[str]:
    """Stepover, and the line spacing and Z-step that give it on the slope."""
    return [
        f"Stepover {_length(answer.stepover_mm, unit)} along the surface",
        *_spacing_lines(answer.line_spacing_mm, answer.z_step_mm, answer.stepover_mm, unit),
        "stepover = 2 sqrt(2 R cusp - cusp^2), R ball radius" + _ON_A_CURVE,
        "Ideal geometry: a lower bound of the cusp that is left.",
    ]


def finish_lines(answer: FinishSum, unit: str) -> list[str]:
    """Stepover for a finish, the finish in all its names, and what a filter shows of it."""
    from advisor.cutter.measured_finish import COMMON_CUT_OFF_MM, ra_grade

    held = ra_grade(answer.ra_um, in_uin=unit == "inch")
    grade = "" if held is None else f" (grade {held})"
    if answer.filter_share is None or answer.cut_off_mm is None:
        shown = "Filter: the marks are wider than any roughness cut-off; measure them as waviness"
    else:
        shown = f"Filter: a cut-off of {_length(answer.cut_off_mm, unit)} shows {_percent(answer.filter_share)} of it"
    if answer.cut_off_mm not in (None, COMMON_CUT_OFF_MM):
        shown += f"; {_length(COMMON_CUT_OFF_MM, unit)}, the common setting, {_percent(answer.common_filter_share)}"
    return [
        f"Stepover {_length(answer.stepover_mm, unit)} along the surface, cusp {_height(answer.cusp_um, unit)}",
        f"Ra {_height(answer.ra_um, unit)}{grade}, Rz {_height(answer.rz_um, unit)} across the passes",
        shown,
        "Rz = cusp, Ra is about stepover^2 / (31.18 R), R ball radius" + _ON_A_CURVE,
        LOWER_BOUND,
    ]


def speed_lines(answer: SpeedSum, unit: str) -> list[str]:
    """Spindle speed, the true cutting speed, and the spindle speed that would make up for it."""
    lines = [f"Spindle {_rpm(answer.spindle_rpm)} for this speed at the full diameter"]
    lines.append(
        _true_speed("Contact", answer.contact_diameter_mm, answer.contact_speed_m_per_min, unit)
        + _make_up(answer.contact_spindle_rpm)
        + (" (rubs near the tip)" if answer.near_tip else "")
    )
    if answer.effective_diameter_mm is not None and answer.effective_diameter_mm != answer.contact_diameter_mm:
        assert answer.effective_speed_m_per_min is not None
        lines.append(
            _true_speed("Largest that cuts", answer.effective_diameter_mm, answer.effective_speed_m_per_min, unit)
            + _make_up(answer.effective_spindle_rpm)
        )
    if answer.feed_mm_per_min is not None:
        lines.append(f"Feed {_feed(answer.feed_mm_per_min, unit)} = spindle x flutes x feed per tooth")
    lines.append("spindle = surface speed / (pi diameter); contact = diameter x sin(slope + tilt)")
    lines.append("Starting values: the limits of tool, holder and machine come first.")
    return lines


def tilt_lines(answer: TiltSum, unit: str) -> list[str]:
    """The tilt, what asks for it, and what it does to the contact."""
    lines = [f"Tilt {_angle(answer.tilt_deg)} or more, away from the surface normal"]
    if answer.tip_clear_tilt_deg is not None:
        lines.append(f"Tip out of the cut: {_angle(answer.tip_clear_tilt_deg)} = acos(1 - 2 depth / diameter) - slope")
    if answer.wanted_diameter_tilt_deg is not None:
        lines.append(
            f"Wanted contact: {_angle(answer.wanted_diameter_tilt_deg)} = asin(wanted / ball diameter) - slope"
        )
    before, after = answer.untilted_contact_diameter_mm, answer.contact_diameter_mm
    lines.append(
        f"Contact diameter {_length(after, unit)}, untilted {_length(before, unit)}; cutting speed goes with it"
    )
    lines.append("Ideal geometry: a lower bound of the tilt; check that tool and holder clear the part.")
    return lines


def facet_lines(answer: FacetSum, unit: str) -> list[str]:
    """Chord error, and the facets of the round where its radius is known."""
    if answer.most_chord_error_mm is None:
        lines = [f"Chord error {_length(answer.chord_error_mm, unit)}"]
    else:
        lines = [
            f"Export the model with a chord error of {_length(answer.chord_error_mm, unit)}, "
            f"{_length(answer.most_chord_error_mm, unit)} at most",
            "A tenth to a fifth of the cusp (rule of thumb): facets as high as cusps look like cusps.",
        ]
    if answer.facet_angle_deg is None or answer.chord_mm is None or answer.normal_error_deg is None:
        return lines
    return [
        *lines,
        f"Facets turn {_angle(answer.facet_angle_deg)} from one to the next: {answer.facets_per_circle} a circle, "
        f"{_length(answer.chord_mm, unit)} long",
        f"Facet normals lie within {_angle(answer.normal_error_deg)} of the true ones",
        "angle = 2 acos(1 - chord error / radius), length = 2 radius sin(angle / 2)",
    ]


def _spacing_lines(line_spacing_mm: float, z_step_mm: float, stepover_mm: float, unit: str) -> list[str]:
    if z_step_mm == 0.0:  # a floor: the stepover is all there is to say
        return []
    if line_spacing_mm < _NOTHING * stepover_mm:
        lines = "no parallel lines stepped uphill"
    else:
        lines = f"parallel lines {_length(line_spacing_mm, unit)} apart in plan (stepover x cos slope)"
    return [f"On this slope: {lines}", f"or constant-Z every {_length(z_step_mm, unit)} (stepover x sin slope)"]


def _true_speed(what: str, diameter_mm: float, speed_m_per_min: float, unit: str) -> str:
    return f"{what}: diameter {_length(diameter_mm, unit)}, {_surface_speed(speed_m_per_min, unit)}"


def _make_up(spindle_rpm: float | None) -> str:
    if spindle_rpm is None:
        return "; no spindle speed makes up for it"
    return f"; the full speed there takes {_rpm(spindle_rpm)}"


def _number(value: float) -> str:
    """Four digits that count, never with an exponent: 0.00002, 12350."""
    return f"{Decimal(f'{value:.4g}'):f}"


def _length(length_mm: float, unit: str) -> str:
    return f"{_number(length_mm / MM_PER_UNIT[unit])} {'in' if unit == 'inch' else 'mm'}"


def _height(height_um: float, unit: str) -> str:
    return f"{_number(height_um / _UM_PER_UIN)} uin" if unit == "inch" else f"{_number(height_um)} um"


def _angle(angle_deg: float) -> str:
    return f"{_number(angle_deg)} deg"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _rpm(spindle_rpm: float) -> str:
    return f"{spindle_rpm:.0f} rpm"


def _surface_speed(speed_m_per_min: float, unit: str) -> str:
    if unit == "inch":
        return f"{_number(speed_m_per_min * _MM_PER_M / _MM_PER_FT)} ft/min"
    return f"{_number(speed_m_per_min)} m/min"


def _feed(feed_mm_per_min: float, unit: str) -> str:
    return f"{_number(feed_mm_per_min / MM_PER_UNIT[unit])} {'in' if unit == 'inch' else 'mm'}/min"
