"""`advisor batch FOLDER`: every part model under a folder, over the cores, resumable."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli import options
from advisor.words import counted

if TYPE_CHECKING:
    from advisor.library.run import LibraryResult, Listeners
    from advisor.library.summary import Outcome

DONE, SOME_NOT_PLANNED, INTERRUPTED = 0, 3, 130


def batch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of part models, however deep.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where plans, index.html and parts.csv go.")],
    workers: Annotated[
        int | None,
        typer.Option("--workers", metavar="N", min=1, help="Parts planned at once; default: one a core."),
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
    no_pictures: Annotated[bool, typer.Option("--no-pictures", help="Leave out zone maps and small pictures.")] = False,
    again: Annotated[
        bool, typer.Option("--again", help="Plan every part anew, also those that did not change.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print a line of JSON a part on standard output.")] = False,
    quiet: options.Quiet = False,
) -> int:
    """Plan every part model under a folder, and list them in DIR/index.html and DIR/parts.csv.

    Run it again to go on: parts whose model and settings did not change are not planned twice.
    """
    from advisor.job import load_job
    from advisor.library.pool import usable_cores
    from advisor.library.run import LibraryJob, plan_library

    started = time.monotonic()
    given = {
        "unit": unit, "up": up, "ball": ball, "cusp": cusp, "stepover": stepover, "material": material,
        "flat_below": flat_below, "steep_from": steep_from,
    }  # fmt: skip
    library = LibraryJob(
        folder,
        out,
        keys=load_job(job)[1] if job is not None else {},
        options={name: value for name, value in given.items() if value is not None},
        subject=str(job) if job is not None else "options",
        pictures=not no_pictures,
        again=again,
        workers=workers or usable_cores(),
    )
    try:
        with _listeners(as_json, quiet) as listeners:
            result = plan_library(library, listeners)
    except KeyboardInterrupt:
        if not quiet:
            typer.echo("interrupted; what was finished is kept: run the same again to go on", err=True)
        return INTERRUPTED
    _tell(result, out, time.monotonic() - started, quiet)
    return SOME_NOT_PLANNED if result.failures else DONE


@contextmanager
def _listeners(as_json: bool, quiet: bool) -> Iterator[Listeners]:
    """Lines of JSON where asked, and a bar while a person looks on."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from advisor.library.run import Listeners

    console = Console(stderr=True)
    shown = console.is_terminal and not quiet and not (as_json and sys.stdout.isatty())
    with Progress(
        TextColumn("planning"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[rate]}"),
        TimeRemainingColumn(), TextColumn("left"),
        console=console, transient=True, disable=not shown, redirect_stdout=False, redirect_stderr=False,
    ) as progress:  # fmt: skip
        bar = progress.add_task("planning", total=None, rate="")

        def told(outcome: Outcome, new: bool) -> None:
            if as_json:
                typer.echo(_json_line(outcome, new))
            if new:
                progress.advance(bar)
                task = progress.tasks[bar]
                progress.update(bar, rate=_rate(task.completed, task.elapsed or 0.0))

        yield Listeners(lambda to_plan: progress.reset(bar, total=to_plan), told)


def _json_line(outcome: Outcome, new: bool) -> str:
    from advisor.library.summary import PartSummary

    if not isinstance(outcome, PartSummary):
        line = {"file": outcome.file, "status": "not planned", "folder": None, "error": outcome.reason}
        return json.dumps({**line, "zones": None, "area_mm2": None, "total_min": None})
    line = {
        "file": outcome.file,
        "status": "planned" if new else "unchanged",
        "folder": outcome.folder,
        "error": None,
    }
    return json.dumps({**line, "zones": outcome.zones, "area_mm2": outcome.area_mm2, "total_min": None})


def _rate(parts: float, seconds: float) -> str:
    if parts <= 0 or seconds <= 0:
        return ""
    a_second = parts / seconds
    return f"{a_second:.1f} parts/s" if a_second >= 1 else f"{60 * a_second:.1f} parts/min"


def _tell(result: LibraryResult, out: Path, seconds: float, quiet: bool) -> None:
    for failure in result.failures:
        typer.echo(f"not planned: {_plain(failure.file)}: {_plain(failure.reason)}", err=True)
    if quiet:
        return
    counts = [f"{result.planned} planned", f"{result.unchanged} unchanged", f"{len(result.failures)} not planned"]
    rate = _rate(result.planned + len(result.failures), seconds)
    typer.echo(f"{', '.join(counts)}, in {seconds:.1f} s" + (f" ({rate})" if rate else ""), err=True)
    if result.exact_models:
        models = counted(result.exact_models, "STEP or IGES model")
        typer.echo(f"left out: {models} (export as STL to plan)", err=True)
    typer.echo(f"look at {out / 'index.html'}", err=True)


def _plain(words: str) -> str:
    # names come from other people: they must not steer the terminal
    return "".join(letter if letter.isprintable() else "?" for letter in words)
