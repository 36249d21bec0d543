"""`advisor view`: the colour map in a window, or as a picture without one."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, cast, get_args

import typer

from advisor.cli import options
from advisor.errors import InputError

if TYPE_CHECKING:
    from advisor.pack.camera import ViewName
    from advisor.pack.colour_map import ColourMode

_WINDOW_SIZE: Final = (1600, 1000)
_PICTURE_SIZE: Final = (1600, 1200)
# Smaller ones have no room for their words; larger ones ask for gigabytes.
_LEAST_PX, _MOST_PX = 400, 8000


def view(
    part_or_plan: Annotated[
        Path, typer.Argument(metavar="PART_OR_PLAN", help="Part model, or a plan folder (or its plan.json).")
    ],
    *,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture",
            metavar="FILE.png",
            help="Draw to a file: needs no display. FILE.svg: the outlines of the zones.",
        ),
    ] = None,
    view: Annotated[
        str, typer.Option("--view", metavar="NAME", help="View: iso, top, under, front, right, back or left.")
    ] = "iso",
    colour: Annotated[
        str,
        typer.Option(
            "--colour",
            metavar="NAME",
            help="Colour by class, slope, strategy, zone, reach, ball (the largest that fits), leftover, stick_out, "
            "cusp (what passes leave) or minutes.",
        ),
    ] = "class",
    size: Annotated[
        str | None, typer.Option("--size", metavar="WIDTHxHEIGHT", help="Size in pixels, such as 1600x1200.")
    ] = None,
    passes: Annotated[bool, typer.Option("--passes", help="Draw the passes of the last stage over the part.")] = False,
    hatch: Annotated[
        bool, typer.Option("--hatch", help="Patterns in black on white in place of colours, for any printer.")
    ] = False,
    transparent: Annotated[
        bool, typer.Option("--transparent", help="Leave out the white ground of the picture.")
    ] = False,
    job: options.JobPath = None,
    unit: options.Unit = None,
    up: options.Up = None,
    ball: options.Ball = None,
    cusp: options.Cusp = None,
    stepover: options.Stepover = None,
    material: options.Material = None,
    flat_below: options.FlatBelow = None,
    steep_from: options.SteepFrom = None,
    quiet: options.Quiet = False,
) -> None:
    """The zones of a part in colour: a window to turn it in and read each zone's card, or a picture file.

    In the window, H lists the keys.
    """
    from advisor.screen.source import work_to_look_at

    first_view, mode, pixels = _view_name(view), colour_mode(colour), _pixels(size)
    # what cannot be shown is refused before the work, not after it
    for name, is_given in (("--hatch", hatch), ("--transparent", transparent)):
        if is_given and picture is None:
            raise InputError(name, "is for pictures, not for the window", "add --picture FILE.png")
    draws_outlines = picture is not None and picture.suffix.lower() == ".svg"
    if draws_outlines:
        _check_fits_outlines({"--colour": colour != "class", "--size": size, "--passes": passes, "--hatch": hatch})
    if picture is not None:
        from advisor.pack.whole_file import check_picture_path

        check_picture_path(picture, outlines=True)
    else:
        from advisor.screen.gl import check_window_can_open

        check_window_can_open()
    plan, session = work_to_look_at(
        part_or_plan, job,
        {"unit": unit, "up": up, "ball": ball, "cusp": cusp, "stepover": stepover, "material": material,
         "flat_below": flat_below, "steep_from": steep_from},
        lays_passes=passes or mode == "cusp",
    )  # fmt: skip
    from advisor.pack.maps import check_can_colour, modes_of

    check_can_colour(plan, mode)
    if passes:
        from advisor.pack.pass_pictures import check_has_passes

        check_has_passes(plan)
    if picture is None:
        from advisor.screen.look import Look
        from advisor.screen.window import open_window

        look = Look(mode=mode, view=first_view, modes=modes_of(plan), passes=passes)
        open_window(plan, look, pixels or _WINDOW_SIZE, session)
        return
    from advisor.pack.whole_file import write_text, write_whole

    if draws_outlines:
        from advisor.pack.exchange_loops import outlines_to_write
        from advisor.pack.exchange_svg import outlines_svg

        outlines = outlines_to_write(plan, str(picture))
        write_text(picture, outlines_svg(plan, outlines, first_view, ground=not transparent), "picture")
    else:
        from advisor.pack.picture import save_zone_map

        width, height = pixels or _PICTURE_SIZE
        write_whole(
            picture,
            lambda desk: save_zone_map(
                plan, desk, width=width, height=height, view=first_view, colour=mode, passes=passes, hatch=hatch,
                transparent=transparent,
            ),
        )  # fmt: skip
    if not quiet:
        typer.echo(f"Picture: {picture}", err=True)


def _check_fits_outlines(given: dict[str, object]) -> None:
    for name, value in given.items():
        if value:
            raise InputError(
                name, "is of no use in an SVG, which has lines and numbers only", "write a PNG, or leave it"
            )


def _view_name(words: str) -> ViewName:
    from advisor.pack.camera import ViewName

    names = get_args(ViewName)
    if words not in names:
        raise InputError("--view", f"{words!r} is no view", f"use one of {', '.join(names)}")
    return cast("ViewName", words)


def colour_mode(words: str) -> ColourMode:
    """What the part is coloured by, by name; raises ``InputError`` where there is no such map."""
    from advisor.pack.maps import COLOUR_MODES

    if words not in COLOUR_MODES:
        raise InputError("--colour", f"{words!r} is nothing to colour by", f"use one of {', '.join(COLOUR_MODES)}")
    return words


def _pixels(words: str | None) -> tuple[int, int] | None:
    if words is None:
        return None
    match = re.fullmatch(r"\s*(\d{1,5})\s*[xX]\s*(\d{1,5})\s*", words)
    if match is None:
        raise InputError("--size", f"{words!r} is no size in pixels", "write for example --size 1600x1200")
    width, height = int(match[1]), int(match[2])
    if not all(_LEAST_PX <= length <= _MOST_PX for length in (width, height)):
        raise InputError("--size", f"{words} cannot be drawn", f"use {_LEAST_PX} to {_MOST_PX} pixels a side")
    return width, height
