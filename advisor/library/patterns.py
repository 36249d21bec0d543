"""Which files are meant: patterns of names, as shells have them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache


@dataclass(frozen=True)
class Patterns:
    """Files to take and files to leave; nothing to take named means all.

    A pattern without ``/`` is of a file or a folder anywhere; one with ``/`` is of the whole way from the folder of
    models. ``*`` and ``?`` stand for signs within one name, ``**`` for any number of folders; upper and lower case
    count as the same. A folder that is meant is meant with all that is in it.
    """

    include: tuple[str, ...] = ()
    exclude: tuple[str, ...] = ()

    def take(self, file: str) -> bool:
        """Whether a file, named from the folder of models with ``/``, is meant."""
        return (not self.include or _any_of(self.include, file)) and not self.leave(file)

    def leave(self, path: str) -> bool:
        """Whether a file or folder is left, with all that is in it."""
        return _any_of(self.exclude, path)


ALL_FILES = Patterns()


def _any_of(patterns: Sequence[str], path: str) -> bool:
    return any(_expression(pattern).fullmatch(path) for pattern in patterns)


@cache
def _expression(pattern: str) -> re.Pattern[str]:
    pattern = pattern.removeprefix("./").rstrip("/")
    steps = pattern.removeprefix("/").split("/")
    anywhere = "/" not in pattern
    words = "(?:.*/)?" if anywhere else ""
    for number, step in enumerate(steps):
        is_last = number == len(steps) - 1
        if step == "**":
            words += ".*" if is_last else "(?:.*/)?"
        else:
            words += "".join(_sign(sign) for sign in step) + ("" if is_last else "/")
    return re.compile(words + "(?:/.*)?", re.IGNORECASE | re.DOTALL)


def _sign(sign: str) -> str:
    return {"*": "[^/]*", "?": "[^/]"}.get(sign, re.escape(sign))
