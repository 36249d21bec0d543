"""`advisor whatif PART`: minutes and cusp over a range of balls and steps."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from advisor.cli import options

if TYPE_CHECKING:
    from advisor.advice.what_if_records import WhatIf


def whatif(
    part: options.PartPath,
    *,
    zone: Annotated[
        int | None, typer.Option("--zone", metavar="N", help="Number of a zone in the plan; default: all zones.")
    ] = None,
    balls: Annotated[
        str | None, typer.Option("--balls", metavar="LIST", help="Ball diameters to compare, such as '6, 8, 10 mm'.")
    ] = None,
    stepovers: Annotated[
        str | None, typer.Option("--stepovers", metavar="LIST", help="Stepovers to ask, such as '0.2, 0.3, 0.5 mm'.")
    ] = None,
    cusps: Annotated[
        str | None, typer.Option("--cusps", metavar="LIST", help="Or cusps to ask, such as '2, 3, 5, 8 um'.")
    ] = None,
    passes: Annotated[
        bool, typer.Option("--passes", help="Lay the passes of every row and cut them virtually: takes longer.")
    ] = False,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE.png", help="Draw cusp against minutes to a file.")
    ] = None,
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write the rows for a spreadsheet, lengths in mm.")
    ] = None,
    job: options.JobPath = None,
    unit: options.Unit = None,
    up: options.Up = None,
    ball: options.Ball = None,
    cusp: options.Cusp = None,
    stepover: options.Stepover = None,
    material: options.Material = None,
    flat_below: options.FlatBelow = None,
    steep_from: options.SteepFrom = None,
    as_json: options.AsJson = False,
    quiet: options.Quiet = False,
) -> None:
    """What other balls, stepovers or cusps would take and leave: minutes against cusp, for one zone or for all.

    The target is that of the job, or of --cusp or --stepover; without --stepovers or --cusps a range about it is asked.
    """
    from advisor import what_if

    # what cannot be written is refused before the work, not after it
    if plot is not None:
        from advisor.pack.whole_file import check_picture_path

        check_picture_path(plot)
    if csv is not None:
        from advisor.pack.whole_file import check_path

        check_path(csv, "table")
    told = what_if(
        part, job, zone=zone, balls=balls, stepovers=stepovers, cusps=cusps, lays_passes=passes, unit=unit, up=up,
        ball=ball, cusp=cusp, stepover=stepover, material=material, flat_below=flat_below, steep_from=steep_from,
    )  # fmt: skip
    if as_json:
        typer.echo(json.dumps(_record(told)))
    elif not quiet:
        _tell(told)
    if csv is not None:
        from advisor.pack.what_if_csv import what_if_csv
        from advisor.pack.whole_file import write_text

        write_text(csv, what_if_csv(told), "table")
    if plot is not None:
        from advisor.pack.what_if_plot import save_what_if_plot
        from advisor.pack.whole_file import write_whole

        write_whole(plot, lambda desk: save_what_if_plot(told, desk))
    if not quiet:
        for name, path in (("Table", csv), ("Picture", plot)):
            if path is not None:
                typer.echo(f"{name}: {path}", err=True)


def _record(told: WhatIf) -> dict[str, Any]:
    """The whole answer as plain keys, and the sentences of it."""
    from dataclasses import asdict

    from advisor.advice.what_if_words import answer_lines

    return {**asdict(told), "answer": answer_lines(told)}


def _tell(told: WhatIf) -> None:
    from advisor.advice.what_if_words import answer_lines, table_lines, title

    for line in (title(told), *table_lines(told), *answer_lines(told)):
        typer.echo(line)
