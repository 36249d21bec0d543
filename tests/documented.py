"""Commands in the docs, run and compared with what is printed under them.

A block that shows output holds lines that begin ``$ advisor``; what follows, up to an empty line or the end of the
block, is what the command prints. ``| head -n N`` shows the beginning. From the top of a checkout,
``python tests/documented.py docs/how-to-calc.md ...`` writes what is printed now into the docs.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import sys
from pathlib import Path

from advisor.cli.main import run_for_code

PROMPT = "$ advisor "


def printed_by(command: str) -> list[str]:
    """Lines on standard output and standard error of a documented command."""
    words, _, cut = command.removeprefix(PROMPT).partition(" | head -n ")
    # a stream with bytes beneath, as a terminal has
    stream = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    with contextlib.redirect_stdout(stream), contextlib.redirect_stderr(stream):
        run_for_code(shlex.split(words))
        stream.flush()
    assert isinstance(stream.buffer, io.BytesIO)
    lines = stream.buffer.getvalue().decode("utf-8").splitlines()
    return lines[: int(cut)] if cut else lines


def commands_of(document: str) -> list[str]:
    """Every documented command, in order."""
    return [line for line in document.splitlines() if line.startswith(PROMPT)]


def renewed(document: str) -> str:
    """The document with every printed block as the commands print it now."""
    return re.sub(r"(?ms)^```\n(\$ advisor .*?)^```$", _renewed_block, document)


def _renewed_block(block: re.Match[str]) -> str:
    answers = ["\n".join([command, *printed_by(command)]) for command in commands_of(block[1])]
    return "```\n" + re.sub(r"\n{3,}", "\n\n", "\n\n".join(answers)) + "\n```"


if __name__ == "__main__":
    for name in sys.argv[1:]:
        path = Path(name)
        path.write_text(renewed(path.read_text("utf-8")), encoding="utf-8", newline="\n")
