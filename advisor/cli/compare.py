"""`advisor compare A B`: what changed between two plans of a part, or two revisions of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from advisor.cli import options

# What ends the process where something changed: a script tells it from 0, unchanged, and from faults.
CHANGED = 4

_SIDE_HELP = "Plan folder, or part model that is planned for it."


def compare(
    a: Annotated[Path, typer.Argument(metavar="A", help=f"Before. {_SIDE_HELP}")],
    b: Annotated[Path, typer.Argument(metavar="B", help=f"After. {_SIDE_HELP}")],
    *,
    tolerance: Annotated[
        str | None,
        typer.Option(
            "--tolerance",
            metavar="LENGTH",
            help="Within which surfaces are the same; default: the job's tolerance and both models' chord errors.",
        ),
    ] = None,
    as_they_lie: Annotated[
        bool, typer.Option("--as-they-lie", help="Do not look whether B was moved or turned against A.")
    ] = False,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE.png", help="Draw both with what changed marked.")
    ] = None,
    passes: Annotated[
        bool | None,
        typer.Option(
            "--passes/--no-passes",
            help="Lay passes on models that are planned for it. Default: as the plan beside has them, else none.",
        ),
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
) -> int:
    """What changed from A to B: how B lies, surface, zones to program again, settings, minutes.

    Ends with 0 where nothing changed beyond the tolerance, with 4 where something did. A model beside a plan folder is
    planned with the plan's own settings where none are given; of two models both are planned with the options.
    """
    from dataclasses import asdict, replace

    from advisor.intake.two_plans import tolerance_mm, two_plans
    from advisor.revision.compare import compare_plans

    if picture is not None:
        from advisor.pack.whole_file import check_picture_path

        check_picture_path(picture)
    with options.progress_line(quiet=quiet) as progress:
        plan_a, plan_b, notes = two_plans(
            a, b, job, lays_passes=passes, progress=progress, unit=unit, up=up, ball=ball, cusp=cusp,
            stepover=stepover, material=material, flat_below=flat_below, steep_from=steep_from,
        )  # fmt: skip
        progress("comparing", 1.0)
        compared = compare_plans(
            plan_a, plan_b, tolerance_mm=tolerance_mm(tolerance, plan_b), registers=not as_they_lie
        )
    told = replace(compared.record, notes=(*notes, *compared.record.notes))
    if as_json:
        typer.echo(json.dumps(asdict(told)))
    elif not quiet:
        from advisor.cli.compare_words import comparison_lines

        for line in comparison_lines(told, plan_a, plan_b, (str(a), str(b))):
            typer.echo(line)
    if picture is not None:
        from advisor.pack.change_picture import save_change_picture
        from advisor.pack.whole_file import write_whole

        write_whole(picture, lambda desk: save_change_picture(compared, plan_a, plan_b, desk))
        if not quiet:
            typer.echo(f"Picture: {picture}", err=True)
    return CHANGED if told.is_changed else 0
