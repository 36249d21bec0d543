"""`advisor web`: the plan as a local page with live controls."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from advisor.cli import options


def web(
    part: Annotated[
        Path | None, typer.Argument(metavar="PART", help="Part model to begin with; others are dropped on the page.")
    ] = None,
    *,
    port: Annotated[int, typer.Option("--port", metavar="N", min=0, max=65535, help="0 takes a free port.")] = 8417,
    host: Annotated[
        str,
        typer.Option(
            "--host", metavar="ADDRESS", help="Address to listen on. 0.0.0.0: whoever has the link, on all networks."
        ),
    ] = "127.0.0.1",
    job: options.JobPath = None,
    unit: options.Unit = None,
    quiet: options.Quiet = False,
) -> None:
    """A page to try out a plan on: move a threshold, change the ball, lock a strategy, and read what follows.

    Open the printed link in a browser; Ctrl-C ends it. Needs: pip install 'advisor-surface-finishing[web]'.
    """
    _keep_products_to_one_thread()
    from advisor.screen.web.serve import LOOPBACK, check_can_serve, serve

    check_can_serve()
    keys = _keys(job, unit)
    if part is not None:
        _check_is_file(part)

    def tell(link: str) -> None:
        typer.echo(link)
        if not quiet:
            typer.echo("Open this link in a browser; Ctrl-C ends the page.", err=True)
            if host not in LOOPBACK:
                typer.echo("Whoever has the link can use it: the connection is not encrypted.", err=True)

    serve(part, keys, host=host, port=port, tell=tell)


def _keep_products_to_one_thread() -> None:
    """Products of thin arrays cost more to hand out to threads than to do: an answer takes two thirds of the time.

    The library behind numpy reads this when it is first imported; what the user set stays.
    """
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
        os.environ.setdefault(name, "1")


def _keys(job: Path | None, unit: str | None) -> dict[str, object]:
    from advisor.job import load_job
    from advisor.units import unit_name

    keys = {} if job is None else dict(load_job(job)[1])
    return keys if unit is None else {**keys, "unit": unit_name(unit)}


def _check_is_file(part: Path) -> None:
    from advisor.errors import InputError

    if not part.is_file():
        raise InputError(str(part), "is no file", "give a part model, or none: it can be dropped on the page")
