"""`advisor calc NAME`: the shop sums on their own; the sums are in ``advisor.cutter.sums``."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from advisor.cli import calc_words
from advisor.cli.calc_typed import Typed, answer_unit, faults_name_options

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

_Sum = TypeVar("_Sum", bound="DataclassInstance")

Ball = Annotated[str, typer.Option("--ball", metavar="DIAMETER", help="Diameter of the ball-nose cutter.")]
Slope = Annotated[
    str, typer.Option("--slope", metavar="ANGLE", help="Of the surface: 0 a floor, 90 a wall.", show_default=False)
]
SurfaceRadius = Annotated[
    str | None,
    typer.Option(
        "--surface-radius",
        metavar="RADIUS",
        help="Of the surface, across the feed: positive convex, negative concave. Default: flat.",
    ),
]
Unit = Annotated[str, typer.Option("--unit", metavar="mm|inch", help="Unit of bare numbers and of the answer.")]
AsJson = Annotated[bool, typer.Option("--json", help="Answer as one flat JSON object, always metric.")]

calc = typer.Typer(
    help="Shop sums: cusp, stepover, finish, speed, tilt, facet. Values take units ('0.005 in', '10 mm', '15 deg').",
    rich_markup_mode=None,
)


@calc.command()
def cusp(
    ball: Ball,
    stepover: Annotated[
        str | None, typer.Option("--stepover", metavar="LENGTH", help="Between passes, along the surface.")
    ] = None,
    line_spacing: Annotated[
        str | None,
        typer.Option("--line-spacing", metavar="LENGTH", help="In place of it: of lines stepped uphill, in plan."),
    ] = None,
    z_step: Annotated[
        str | None, typer.Option("--z-step", metavar="LENGTH", help="In place of it: of constant-Z passes.")
    ] = None,
    slope: Slope = "0 deg",
    surface_radius: SurfaceRadius = None,
    unit: Unit = "mm",
    as_json: AsJson = False,
) -> None:
    """Cusp, Rz and Ra that passes of a ball leave between them."""
    from advisor.cutter.sums import cusp_sum

    typed = Typed(answer_unit(unit))
    with faults_name_options():
        answer = cusp_sum(
            typed.length_mm("--ball", ball),
            typed.length_or_none_mm("--stepover", stepover),
            line_spacing_mm=typed.length_or_none_mm("--line-spacing", line_spacing),
            z_step_mm=typed.length_or_none_mm("--z-step", z_step),
            slope_deg=typed.angle_deg("--slope", slope),
            surface_radius_mm=typed.surface_radius_mm("--surface-radius", surface_radius),
        )
    _print(answer, calc_words.cusp_lines, typed.unit, as_json)


@calc.command()
def stepover(
    ball: Ball,
    cusp: Annotated[str, typer.Option("--cusp", metavar="HEIGHT", help="Cusp that may be left.")],
    slope: Slope = "0 deg",
    surface_radius: SurfaceRadius = None,
    unit: Unit = "mm",
    as_json: AsJson = False,
) -> None:
    """Stepover, line spacing and Z-step that leave a cusp."""
    from advisor.cutter.sums import stepover_sum

    typed = Typed(answer_unit(unit))
    with faults_name_options():
        answer = stepover_sum(
            typed.length_mm("--ball", ball),
            typed.length_mm("--cusp", cusp),
            slope_deg=typed.angle_deg("--slope", slope),
            surface_radius_mm=typed.surface_radius_mm("--surface-radius", surface_radius),
        )
    _print(answer, calc_words.stepover_lines, typed.unit, as_json)


@calc.command()
def finish(
    ball: Ball,
    ra: Annotated[
        str | None, typer.Option("--ra", metavar="ROUGHNESS", help="Ra to hold: '0.8 um', '32 uin' or a grade, N6.")
    ] = None,
    rz: Annotated[str | None, typer.Option("--rz", metavar="ROUGHNESS", help="In place of it: Rz, '4 um'.")] = None,
    surface_radius: SurfaceRadius = None,
    cut_off: Annotated[
        str | None,
        typer.Option("--cut-off", metavar="LENGTH", help="Of the roughness filter. Default: by the stepover."),
    ] = None,
    unit: Unit = "mm",
    as_json: AsJson = False,
) -> None:
    """Stepover that a finish on the drawing asks for, and what a measuring instrument will show of it."""
    from advisor.cutter.sums import finish_sum

    typed = Typed(answer_unit(unit))
    with faults_name_options():
        answer = finish_sum(
            typed.length_mm("--ball", ball),
            ra_um=typed.ra_um("--ra", ra),
            rz_um=typed.rz_um("--rz", rz),
            surface_radius_mm=typed.surface_radius_mm("--surface-radius", surface_radius),
            cut_off_mm=typed.length_or_none_mm("--cut-off", cut_off),
        )
    _print(answer, calc_words.finish_lines, typed.unit, as_json)


@calc.command()
def speed(
    ball: Ball,
    surface_speed: Annotated[
        str, typer.Option("--surface-speed", metavar="SPEED", help="Cutting speed: '120 m/min', '400 ft/min'.")
    ],
    slope: Slope = "0 deg",
    tilt: Annotated[
        str,
        typer.Option("--tilt", metavar="ANGLE", help="Of the tool, away from the surface normal.", show_default=False),
    ] = "0 deg",
    depth: Annotated[str | None, typer.Option("--depth", metavar="LENGTH", help="Depth of cut.")] = None,
    flutes: Annotated[int | None, typer.Option("--flutes", metavar="NUMBER", help="Flutes, for the feed.")] = None,
    feed_per_tooth: Annotated[
        str | None, typer.Option("--feed-per-tooth", metavar="LENGTH", help="Feed per tooth, for the feed.")
    ] = None,
    unit: Unit = "mm",
    as_json: AsJson = False,
) -> None:
    """Spindle speed, the cutting speed that is really there where the ball touches, and the feed."""
    from advisor.cutter.sums import speed_sum

    typed = Typed(answer_unit(unit))
    with faults_name_options():
        answer = speed_sum(
            typed.length_mm("--ball", ball),
            typed.surface_speed_m_per_min("--surface-speed", surface_speed),
            slope_deg=typed.angle_deg("--slope", slope),
            tilt_deg=typed.angle_deg("--tilt", tilt),
            depth_mm=typed.length_or_none_mm("--depth", depth),
            flutes=flutes,
            feed_per_tooth_mm=typed.length_or_none_mm("--feed-per-tooth", feed_per_tooth),
        )
    _print(answer, calc_words.speed_lines, typed.unit, as_json)


@calc.command()
def tilt(
    ball: Ball,
    slope: Slope = "0 deg",
    depth: Annotated[
        str | None, typer.Option("--depth", metavar="LENGTH", help="Depth of a cut that the tip must stay out of.")
    ] = None,
    wanted_diameter: Annotated[
        str | None, typer.Option("--wanted-diameter", metavar="LENGTH", help="Contact diameter to reach at least.")
    ] = None,
    unit: Unit = "mm",
    as_json: AsJson = False,
) -> None:
    """Smallest tilt that keeps the tip out of the cut, or the contact on a wanted diameter."""
    from advisor.cutter.sums import tilt_sum

    typed = Typed(answer_unit(unit))
    with faults_name_options():
        answer = tilt_sum(
            typed.length_mm("--ball", ball),
            slope_deg=typed.angle_deg("--slope", slope),
            depth_mm=typed.length_or_none_mm("--depth", depth),
            wanted_diameter_mm=typed.length_or_none_mm("--wanted-diameter", wanted_diameter),
        )
    _print(answer, calc_words.tilt_lines, typed.unit, as_json)


@calc.command()
def facet(
    radius: Annotated[
        str | None, typer.Option("--radius", metavar="LENGTH", help="Of the round that the facets stand for.")
    ] = None,
    chord_error: Annotated[
        str | None, typer.Option("--chord-error", metavar="LENGTH", help="Between a facet and the true surface.")
    ] = None,
    angle: Annotated[
        str | None, typer.Option("--angle", metavar="ANGLE", help="In place of it: between neighbouring facets.")
    ] = None,
    cusp: Annotated[
        str | None, typer.Option("--cusp", metavar="HEIGHT", help="In place of it: cusp that the model must serve.")
    ] = None,
    unit: Unit = "mm",
    as_json: AsJson = False,
) -> None:
    """Facets of a model: angle and number for a chord error, the error of an angle, or the export for a cusp."""
    from advisor.cutter.facet_sums import facet_sum

    typed = Typed(answer_unit(unit))
    with faults_name_options():
        answer = facet_sum(
            radius_mm=typed.length_or_none_mm("--radius", radius),
            chord_error_mm=typed.length_or_none_mm("--chord-error", chord_error),
            angle_deg=None if angle is None else typed.angle_deg("--angle", angle),
            cusp_mm=typed.length_or_none_mm("--cusp", cusp),
        )
    _print(answer, calc_words.facet_lines, typed.unit, as_json)


def _print(answer: _Sum, lines: Callable[[_Sum, str], list[str]], unit: str, as_json: bool) -> None:
    if as_json:
        from dataclasses import asdict

        fields: dict[str, Any] = asdict(answer)
        typer.echo(json.dumps(fields))
    else:
        typer.echo("\n".join(lines(answer, unit)))
