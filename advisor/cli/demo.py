"""`advisor demo [FOLDER]`: the demo parts, to try the program with."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer


def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where they are copied to.")] = Path("demo-parts"),
) -> None:
    """Copy the demo parts that come with the program into a folder, to try it with."""
    from advisor.intake.demo_parts import copy_demo_parts

    paths = copy_demo_parts(folder)
    for path in paths:
        typer.echo(str(path))
    typer.echo(f'plan one with: advisor plan {shlex.quote(str(paths[0]))} --ball "10 mm"', err=True)
