"""Commands in the docs, run and compared with what is printed under them.

A block that shows output holds lines that begin ``$ advisor``; what follows, up to an empty line or the end of the
block, is what the command prints. ``| head -n N`` shows the beginning; one line ``...`` stands for lines left out,
between the first and the last that are shown. Python code with "prints" and a block under it is run too. Commands
run one after another in a folder of their own beside a copy of ``meshes``, on a screen of 80 columns.

From the top of a checkout, ``python tests/documented.py docs/how-to-calc.md ...`` writes what is printed now into the
docs.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from unittest import mock

from advisor.cli.main import run_for_code

PROMPT = "$ advisor "
LEFT_OUT = "..."
MESHES = Path(__file__).resolve().parents[1] / "meshes"
# Commands, and code with what it prints, in the order of the document: code may read what a command has written.
_SHOWN = re.compile(
    r"(?ms)^```\n(?P<commands>\$ advisor .*?)^```$"
    r"|^(?P<above>```python\n(?P<code>[^`]*?)^```\n\nprints\n\n```\n).*?^```$"
)
# What would make a screen other than the one in the docs.
_OF_THE_SCREEN = ("FORCE_COLOR", "TTY_COMPATIBLE", "TTY_INTERACTIVE")


def printed_by(command: str, more: str = "") -> list[str]:
    """Lines on standard output and standard error of a documented command, with more options."""
    words, _, cut = command.removeprefix(PROMPT).partition(" | head -n ")
    # a stream with bytes beneath, as a terminal has
    stream = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    with contextlib.redirect_stdout(stream), contextlib.redirect_stderr(stream):
        run_for_code(shlex.split(f"{words} {more}"))
        stream.flush()
    assert isinstance(stream.buffer, io.BytesIO)
    lines = stream.buffer.getvalue().decode("utf-8").splitlines()
    return lines[: int(cut)] if cut else lines


def commands_of(document: str) -> list[str]:
    """Every documented command, in order."""
    return [line for line in document.splitlines() if line.startswith(PROMPT)]


def renewed(document: str, more: str = "") -> str:
    """The document with every printed block as the commands print it now, run with more options than it shows."""
    with _folder_of_its_own():
        return _SHOWN.sub(
            lambda block: _renewed_print(block) if block["code"] else _renewed_block(block, more), document
        )


@contextlib.contextmanager
def _folder_of_its_own() -> Iterator[None]:
    plain = {name: value for name, value in os.environ.items() if name not in _OF_THE_SCREEN}
    with (
        tempfile.TemporaryDirectory() as folder,
        mock.patch.dict(os.environ, {**plain, "COLUMNS": "80"}, clear=True),
    ):
        shutil.copytree(MESHES, Path(folder) / "meshes")
        with contextlib.chdir(folder):
            yield


def _renewed_block(block: re.Match[str], more: str) -> str:
    answers = [_renewed_answer(answer, more) for answer in re.split(r"(?m)^(?=\$ advisor )", block["commands"])[1:]]
    return "```\n" + re.sub(r"\n{3,}", "\n\n", "\n\n".join(answers)) + "\n```"


def _renewed_print(block: re.Match[str]) -> str:
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(block["code"], "documented code", "exec"), {})
    return f"{block['above']}{printed.getvalue()}```"


def _renewed_answer(answer: str, more: str) -> str:
    """The command with what it prints now, with as many lines before and after a ``...`` as are shown."""
    command, *shown = answer.rstrip("\n").split("\n")
    lines = printed_by(command, more)
    if LEFT_OUT in shown:
        before = shown.index(LEFT_OUT)
        after = len(shown) - before - 1
        assert before + after < len(lines), f"{command}: {LEFT_OUT} leaves nothing out"
        lines = [*lines[:before], LEFT_OUT, *lines[len(lines) - after :]]
    return "\n".join([command, *lines])


if __name__ == "__main__":
    for name in sys.argv[1:]:
        path = Path(name)
        path.write_text(renewed(path.read_text("utf-8")), encoding="utf-8", newline="\n")
