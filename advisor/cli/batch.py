"""`advisor batch FOLDER`: every part model under a folder, over the cores, resumable."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli import options
from advisor.errors import InputError
from advisor.units import memory_bytes, time_s
from advisor.words import counted

if TYPE_CHECKING:
    from rich.console import Console

    from advisor.library.pool import Crew
    from advisor.library.run import LibraryResult, Listeners
    from advisor.library.slot import Limits
    from advisor.library.summary import Outcome

DONE, UNUSABLE, SOME_NOT_PLANNED, INTERRUPTED = 0, 2, 3, 130
# How often a line tells how far the batch is where nobody looks on.
_LINE_SECONDS = 60.0
# So many names stand in one line.
_NAMED = 5


def batch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of part models, however deep.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where plans, index.html and parts.csv go.")],
    include: Annotated[
        list[str] | None,
        typer.Option("--include", metavar="PATTERN", help="Plan these only, such as '*.stl' or 'jobs/**'; repeatable."),
    ] = None,
    exclude: Annotated[
        list[str] | None, typer.Option("--exclude", metavar="PATTERN", help="Leave these out; repeatable.")
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option("--only", metavar="FILE", help="Plan this part now, the others stay as they are; repeatable."),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option("--workers", metavar="N", min=1, help="Parts planned at once; default: one a core."),
    ] = None,
    time_limit: Annotated[
        str, typer.Option("--time-limit", metavar="TIME", help="A part that takes longer is ended, such as '90 s'.")
    ] = "30 min",
    memory_limit: Annotated[
        str | None,
        typer.Option(
            "--memory-limit", metavar="SIZE", help="A part that takes more is ended; default: its share of 80 %."
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler", metavar="ADDRESS", help="Plan on the workers of this Dask scheduler, tcp://HOST:8786."
        ),
    ] = None,
    store: Annotated[
        str | None,
        typer.Option(
            "--store", metavar="URL", help="Object store that plans and lists go to, such as s3://BUCKET/NAME."
        ),
    ] = None,
    quantities: Annotated[
        Path | None,
        typer.Option(
            "--quantities", metavar="FILE.csv", help="Pieces wanted, columns file and quantity, for the totals."
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
    passes: Annotated[
        bool,
        typer.Option("--passes/--no-passes", help="Lay the passes and cut them virtually; takes many times as long."),
    ] = False,
    short: Annotated[
        bool,
        typer.Option(
            "--short", help="For a quote: zones, advice and minutes only, no copies or places left over; much quicker."
        ),
    ] = False,
    reports: Annotated[bool, typer.Option("--reports", help="Write report.html of every part too.")] = False,
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
    from advisor.library.memory import share_of_memory_bytes
    from advisor.library.patterns import Patterns
    from advisor.library.pool import usable_cores
    from advisor.library.quantities import ONE_EACH, read_quantities
    from advisor.library.run import LibraryJob, plan_library
    from advisor.library.slot import Limits

    if short and passes:
        raise InputError("--short", "lays no passes", "leave out --short or --passes")
    started = time.monotonic()
    given = {
        "unit": unit, "up": up, "ball": ball, "cusp": cusp, "stepover": stepover, "material": material,
        "flat_below": flat_below, "steep_from": steep_from,
    }  # fmt: skip
    most_bytes = None if memory_limit is None else int(_limit("--memory-limit", memory_limit, memory_bytes))
    # what the words of the command are, so that they can be told to try a part again
    words: list[tuple[str, object]] = [
        ("out", out), *(("include", name) for name in include or ()), *(("exclude", name) for name in exclude or ()),
        ("workers", workers), ("time-limit", None if time_limit == "30 min" else time_limit),
        ("memory-limit", memory_limit), ("scheduler", scheduler), ("store", store),
        ("quantities", quantities), ("job", job),
        *((name.replace("_", "-"), value) for name, value in given.items()), ("passes", passes), ("short", short),
        ("reports", reports), ("no-pictures", no_pictures),
    ]  # fmt: skip
    at_once = workers or usable_cores()
    library = LibraryJob(
        folder,
        out,
        keys=load_job(job)[1] if job is not None else {},
        options={name: value for name, value in given.items() if value is not None},
        subject=str(job) if job is not None else "options",
        pictures=not no_pictures,
        reports=reports,
        passes=passes,
        short=short,
        again=again,
        workers=at_once,
        limits=Limits(
            _limit("--time-limit", time_limit, time_s),
            most_bytes if most_bytes or scheduler else share_of_memory_bytes(at_once),
        ),
        patterns=Patterns(tuple(include or ()), tuple(exclude or ())),
        only=frozenset(only or ()),
        quantities=ONE_EACH if quantities is None else read_quantities(quantities),
        command=("advisor", "batch", str(folder), *_as_typed(words)),
        store_url=store,
    )
    try:
        with _listeners(as_json, quiet) as listeners:
            result = plan_library(library, listeners, crew=_crew(scheduler, library.limits))
    except KeyboardInterrupt:
        if not quiet:
            typer.echo("interrupted; what was finished is kept: run the same again to go on", err=True)
        return INTERRUPTED
    _tell(result, out, store, time.monotonic() - started, quiet)
    if result.unwritten:
        return UNUSABLE
    return SOME_NOT_PLANNED if result.failed else DONE


def _as_typed(words: Iterable[tuple[str, object]]) -> Iterator[str]:
    for name, value in words:
        if value is True:
            yield f"--{name}"
        elif value is not None and value is not False:
            yield f"--{name}={value}"


def _limit(option: str, words: str, convert: Callable[[str], float]) -> float:
    try:
        limit = convert(words)
    except ValueError as fault:
        problem, _, remedy = str(fault).partition("; ")
        raise InputError(option, problem, remedy) from fault
    if limit <= 0:
        raise InputError(option, f"{words!r} leaves nothing", "give more than 0")
    return limit


def _crew(scheduler: str | None, limits: Limits) -> Crew | None:
    """Who works: None for the cores of this machine."""
    if scheduler is None:
        return None
    from advisor.library.cluster import over_cluster

    return over_cluster(scheduler, limits)


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
        pace = _Pace(console if not shown and not quiet else None)

        def begun(to_plan: int) -> None:
            progress.reset(bar, total=to_plan)
            pace.begin(to_plan)

        def told(outcome: Outcome, new: bool) -> None:
            if as_json:
                typer.echo(_json_line(outcome, new))
            if new:
                pace.advance()
                progress.advance(bar)
                task = progress.tasks[bar]
                progress.update(bar, rate=_rate(task.completed, task.elapsed or 0.0))

        yield Listeners(begun, told)


class _Pace:
    """Lines now and then in a log, where no screen shows the bar."""

    def __init__(self, console: Console | None) -> None:
        self._console = console
        self._total = self._done = 0
        self._began = self._last = time.monotonic()

    def begin(self, total: int) -> None:
        """Count from here."""
        self._total, self._began = total, time.monotonic()

    def advance(self) -> None:
        """One more part is done."""
        self._done += 1
        now = time.monotonic()
        if self._console is None or now - self._last < _LINE_SECONDS:
            return
        self._last = now
        left_s = (now - self._began) / self._done * (self._total - self._done)
        rate = _rate(self._done, now - self._began)
        self._console.print(f"{self._done} of {self._total} done, {rate}, {_span(left_s)} left", highlight=False)


def _span(seconds: float) -> str:
    """A time as people say it.

    >>> _span(40), _span(600), _span(9000)
    ('40 s', '10 min', '2.5 h')
    """
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


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
    return json.dumps({**line, "zones": outcome.zones, "area_mm2": outcome.area_mm2, "total_min": outcome.total_min})


def _rate(parts: float, seconds: float) -> str:
    if parts <= 0 or seconds <= 0:
        return ""
    a_second = parts / seconds
    return f"{a_second:.1f} parts/s" if a_second >= 1 else f"{60 * a_second:.1f} parts/min"


def _tell(result: LibraryResult, out: Path, store: str | None, seconds: float, quiet: bool) -> None:
    for failure in result.failures:
        typer.echo(f"not planned: {_plain(failure.file)}: {_plain(failure.reason)}", err=True)
    if result.failed > len(result.failures):
        typer.echo(f"and {result.failed - len(result.failures)} more that were not planned", err=True)
    for fault in result.unwritten:
        typer.echo(f"error: {fault}", err=True)
    if quiet:
        return
    counts = [f"{result.planned} planned", f"{result.unchanged} unchanged", f"{result.failed} not planned"]
    rate = _rate(result.planned + result.failed, seconds)
    typer.echo(f"{', '.join(counts)}, in {seconds:.1f} s" + (f" ({rate})" if rate else ""), err=True)
    if result.exact_models:
        models = counted(result.exact_models, "STEP or IGES model")
        typer.echo(f"left out: {models} (export as STL to plan)", err=True)
    if result.not_there:
        named = ", ".join(_plain(file) for file in result.not_there[:_NAMED])
        more = ", ..." if len(result.not_there) > _NAMED else ""
        parts = counted(len(result.not_there), "part")
        typer.echo(f"the table of quantities lists {parts} that the folder does not have: {named}{more}", err=True)
    if result.unwritten:
        return
    if result.failed:
        typer.echo(f"how to try those again that were not planned: {out / 'not_planned.csv'}", err=True)
    index = out / "index.html" if store is None else f"{store.rstrip('/')}/index.html"
    typer.echo(f"look at {index}", err=True)


def _plain(words: str) -> str:
    # names come from other people: they must not steer the terminal
    return "".join(letter if letter.isprintable() else "?" for letter in words)
