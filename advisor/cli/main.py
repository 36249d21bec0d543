"""The command `advisor`: its commands, and how faults reach the user."""

from __future__ import annotations

import errno
import os
import sys
from typing import Annotated, Any

import typer

from advisor.cli.batch import batch
from advisor.cli.calc import calc
from advisor.cli.compare import compare
from advisor.cli.demo import demo
from advisor.cli.export import export
from advisor.cli.job import job
from advisor.cli.plan import plan
from advisor.cli.view import view
from advisor.cli.web import web
from advisor.cli.whatif import whatif
from advisor.errors import DISTRIBUTION, InputError

DONE, FAULT, UNUSABLE, INTERRUPTED = 0, 1, 2, 130
_NO_ROOM = tuple(getattr(errno, name) for name in ("ENOSPC", "EDQUOT") if hasattr(errno, name))
# Folders of results have their own words for it; kernels are kept by numba, which has none.
_MAKE_ROOM = "make room, or name another folder for compiled loops (NUMBA_CACHE_DIR)"
# Commands that plan one part; those that plan many compile in many processes anyway.
_PLANNERS = ("plan", "view", "whatif", "compare")

# The parser's own exceptions, whichever library carries them: typer used click's, and brings its own since.
_UsageError: type[Any] = typer.BadParameter.__mro__[1]
_ParserError: type[Any] = typer.BadParameter.__mro__[2]

app = typer.Typer(
    name="advisor",
    help="Finishing zones and pass advice for sculptured parts cut with ball-nose cutters, from a part model.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command()(plan)
app.command()(view)
app.command()(web)
app.command()(export)
app.command()(whatif)
app.command()(compare)
app.command()(batch)
app.command()(job)
app.command()(demo)
app.add_typer(calc, name="calc")


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"advisor {version(DISTRIBUTION)}")
        raise typer.Exit


@app.callback()
def _shared(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and end.")
    ] = False,
) -> None:
    pass


def run(arguments: list[str] | None = None) -> None:
    """Entry point: runs a command and ends the process with its exit code (0, 1, 2, 3, 4 or 130)."""
    words = sys.argv[1:] if arguments is None else arguments
    if words and words[0] in _PLANNERS and "--help" not in words:
        from advisor.kernels.ahead import compile_ahead

        compile_ahead()
    sys.exit(run_for_code(arguments))


def run_for_code(arguments: list[str] | None = None) -> int:
    """Run a command; faults become one line on standard error and an exit code. No words at all ask for help."""
    words = sys.argv[1:] if arguments is None else arguments
    try:
        code = app(words or ["--help"], prog_name="advisor", standalone_mode=False)
    except InputError as fault:
        return _say(str(fault), UNUSABLE)
    except _ParserError as fault:
        return _say(_parser_line(fault), UNUSABLE)
    except (typer.Abort, KeyboardInterrupt):
        return _say("interrupted; what was finished is kept", INTERRUPTED)
    except BrokenPipeError:  # the reader of our output has gone, as `head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as fault:
        if isinstance(fault, OSError) and fault.errno in _NO_ROOM:
            return _say(f"disk: no room is left ({_one_line(fault)}); {_MAKE_ROOM}", UNUSABLE)
        if os.environ.get("ADVISOR_TRACEBACK"):
            raise
        return _say(
            f"advisor: a fault of the program ({type(fault).__name__}: {_one_line(fault)}); please report it, with the "
            "trace that ADVISOR_TRACEBACK=1 prints",
            FAULT,
        )
    return code if isinstance(code, int) else DONE


def _parser_line(fault: Any) -> str:
    context = getattr(fault, "ctx", None)
    command = "advisor" if context is None else context.command_path
    told = _one_line(fault.format_message()).rstrip(".")
    return f"{command}: {told[:1].lower() + told[1:]}; see {command} --help"


def _one_line(fault: BaseException) -> str:
    return " ".join(str(fault).split())[:200]


def _say(line: str, code: int) -> int:
    print(f"error: {line}", file=sys.stderr)
    return code
