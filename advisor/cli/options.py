"""Options that several commands share, declared once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from advisor.advice.progress import silent

PartPath = Annotated[Path, typer.Argument(metavar="PART", help="Part model: STL, PLY, OBJ, OFF, 3MF, GLB or STEP.")]
JobPath = Annotated[Path | None, typer.Option("--job", metavar="JOB.toml", help="Job file with settings.")]
Unit = Annotated[
    str | None,
    typer.Option("--unit", metavar="mm|inch|m", help="Unit of the model and of bare numbers. Assumed mm if unknown."),
]
Up = Annotated[
    str | None, typer.Option("--up", metavar="AXIS", help="Tool axis, part to spindle: +Z, -X or a vector 0,0,1.")
]
Ball = Annotated[str | None, typer.Option("--ball", metavar="DIAMETER", help="Ball-nose cutter, such as '10 mm'.")]
Cusp = Annotated[str | None, typer.Option("--cusp", metavar="HEIGHT", help="Cusp the finish stage may leave.")]
Stepover = Annotated[
    str | None,
    typer.Option("--stepover", metavar="LENGTH", help="Stepover of the finish stage, along the surface."),
]
Material = Annotated[
    str | None,
    typer.Option(
        "--material", metavar="NAME", help="Material of the shipped table, such as Ti-6Al-4V: gives speeds and minutes."
    ),
]
FlatBelow = Annotated[str | None, typer.Option("--flat-below", metavar="ANGLE", help="Slope below which is flat.")]
SteepFrom = Annotated[str | None, typer.Option("--steep-from", metavar="ANGLE", help="Slope from which is steep.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing but errors.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON on standard output.")]


@contextmanager
def progress_line(*, quiet: bool) -> Iterator[Callable[[str, float], None]]:
    """Tells on a line of standard error how far work has come; nothing where that is no screen, or to be quiet."""
    from rich.console import Console

    console = Console(stderr=True)
    if quiet or not console.is_terminal:
        yield silent
        return
    with console.status("reading the part") as status:
        yield lambda what, share: status.update(f"{what} ({share:.0%})")
