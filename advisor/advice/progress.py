"""How far long work has come, told to whoever waits for it."""

from __future__ import annotations

from collections.abc import Callable

# What is being done, and the share of the whole that lies behind, 0 to 1. What it raises ends the work.
Progress = Callable[[str, float], None]

# Shares of a plan with passes that its parts take on parts tried: a guess that a bar needs, and nothing more.
ZONES_FROM, REACH_FROM, ADVICE_FROM, DONE = 0.0, 0.15, 0.25, 1.0


def silent(what: str, share: float) -> None:
    """Nobody waits."""


def within(progress: Progress, first: float, last: float) -> Progress:
    """Progress of a part of the work that takes the whole from one share to another."""
    return lambda what, share: progress(what, first + share * (last - first))
