"""`advisor job [PART]`: a commented starter job file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from advisor.cli import options


def job(
    part: Annotated[
        Path | None, typer.Argument(metavar="PART", help="Part model whose size, unit and ball are filled in.")
    ] = None,
    unit: options.Unit = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="JOB.toml", help="Write to this file; default: standard output.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace the file of --out if it is there.")] = False,
) -> None:
    """A commented starter job file, for a part or for any: `advisor job part.stl --out job.toml`.

    It can be used as it is; every setting is in it, with its default, what is allowed and why.
    """
    from advisor.intake.read import read_part
    from advisor.pack.job_file import already_there, starter_job, write_starter_job
    from advisor.units import unit_name

    known = None if unit is None else unit_name(unit)
    if out is not None and out.exists() and not force:  # before the work, not after it
        raise already_there(out)
    text = starter_job(None if part is None else read_part(part, known), known or "mm")
    if out is None:
        # bytes: the same file from every shell, whatever signs and line ends it prefers
        typer.echo(text.encode("utf-8"), nl=False)
        return
    write_starter_job(text, out, over=force)
    typer.echo(f"Job file: {out}", err=True)
