"""`advisor plan PART`: the main job, from a model to a plan folder."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli import options

if TYPE_CHECKING:
    from advisor.model import Plan


def plan(
    part: options.PartPath,
    job: options.JobPath = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Plan folder; default: PART-plan in this folder.")
    ] = None,
    unit: options.Unit = None,
    up: options.Up = None,
    ball: options.Ball = None,
    cusp: options.Cusp = None,
    stepover: options.Stepover = None,
    material: options.Material = None,
    flat_below: options.FlatBelow = None,
    steep_from: options.SteepFrom = None,
    no_pictures: Annotated[bool, typer.Option("--no-pictures", help="Leave out the pictures.")] = False,
    pdf: Annotated[
        bool,
        typer.Option(
            "--pdf", help="Write the report as report.pdf too (needs: pip install 'advisor-surface-finishing[pdf]')."
        ),
    ] = False,
    passes: Annotated[
        bool,
        typer.Option(
            "--passes/--no-passes",
            help="Lay passes on the part and cut them virtually (passes.npz); without, lengths are area over spacing, "
            "and it is quick.",
        ),
    ] = True,
    only: Annotated[str | None, typer.Option("--only", metavar="zones", help="Stop after the zones.")] = None,
    explain: Annotated[
        bool, typer.Option("--explain", help="Say for each zone what was weighed: kept together against split.")
    ] = False,
    library: Annotated[
        Path | None,
        typer.Option(
            "--library", metavar="DIR", help="Folder of a batch: tell which of its parts and zones are alike."
        ),
    ] = None,
    as_json: options.AsJson = False,
    quiet: options.Quiet = False,
) -> None:
    """Zones of one part and advice for each, as a plan folder with a report and a zone map.

    Lengths and angles take units ('0.005 in', '0.1 mm', '15 deg'); a bare number is in the job's unit.
    """
    from advisor import plan as make_plan
    from advisor.errors import InputError
    from advisor.pack.folder import check_free_for_plan, write_plan_folder

    if only not in (None, "zones"):
        raise InputError("--only", f"{only!r} is no stage of the work to stop after", "use --only zones")
    if pdf:
        from advisor.pack.report_pdf import check_can_write_pdf

        check_can_write_pdf()
    folder = out if out is not None else Path(f"{part.stem}-plan")
    check_free_for_plan(folder)
    shelf = None
    if library is not None:
        from advisor.library.planned_before import read_shelf, with_planned_before

        shelf = read_shelf(library)
    with options.progress_line(quiet=quiet) as progress:
        made: Plan = make_plan(
            part, job, only_zones=only == "zones", lays_passes=passes, progress=progress, unit=unit, up=up, ball=ball,
            cusp=cusp, stepover=stepover, material=material, flat_below=flat_below, steep_from=steep_from,
        )  # fmt: skip
    if library is not None and shelf is not None:
        made = with_planned_before(made, library, shelf)
    write_plan_folder(made, folder, pictures=not no_pictures, pdf=pdf)
    if as_json:
        typer.echo(json.dumps({"folder": str(folder), "plan": json.loads(made.to_json())}))
    if explain:
        from advisor.cli.explain import explain_lines

        for line in explain_lines(made):
            typer.echo(line, err=as_json)
    if not quiet:
        _tell(made, folder, pictures=not no_pictures)


def _tell(made: Plan, folder: Path, *, pictures: bool) -> None:
    """A short answer for the screen; everything is in the folder."""
    from rich.console import Console
    from rich.markup import escape

    from advisor.cli.words import before_lines, mend_lines, part_line, reach_lines, total_line, unit_note, zone_lines

    console = Console(stderr=True, highlight=False)
    part = made.record.part
    console.print(f"[bold]{escape(part.name)}[/bold]  {part_line(made)}")
    for line in mend_lines(part):
        console.print(f"  {escape(line)}", style="yellow" if line.startswith("note") else "")
    for place, line in enumerate(zone_lines(made, console.width)):
        # a line too wide for a narrow screen runs on: no number is cut
        console.print(escape(line), style="bold" if place == 0 else "", soft_wrap=True)
    note = unit_note(made)
    if note is not None:
        console.print(note)
    for line in [*reach_lines(made), *before_lines(made.record.planned_before)]:
        console.print(escape(line))
    console.print(total_line(made) or "No minutes: say the material (--material, or in the job file).")
    for caution in made.record.cautions:
        console.print(f"  {escape(caution)}", style="dim")
    console.print(f"Plan folder: {escape(str(folder))}" + ("  (open report.html)" if pictures else ""))
