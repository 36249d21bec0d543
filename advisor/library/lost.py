"""Parts whose process ended before their plan was there: why, and what to try."""

from __future__ import annotations

from advisor.library.slot import Limits, Lost
from advisor.library.summary import Failure

_DIED = "ended its process while it was planned (a crash, or more memory than there is); repair or coarsen the model"


def failure_of(file: str, lost: Lost, limits: Limits) -> Failure:
    """The failure in words, with the options of a try that gives it twice of what it ran over."""
    if lost.why == "time" and limits.seconds is not None:
        limit = time_words(limits.seconds)
        words = f"was ended after {limit}, the time limit of a part; coarsen the model, or give it more"
        return Failure(file, words, ("--time-limit", time_words(2 * limits.seconds)))
    if lost.why == "memory" and limits.memory_bytes is not None:
        limit = memory_words(limits.memory_bytes)
        words = f"was ended over {limit}, the memory limit of a part; coarsen the model, or give it more"
        more = memory_words(2 * limits.memory_bytes)
        return Failure(file, words, ("--memory-limit", more, "--workers", "1"))
    return Failure(file, _DIED)


def time_words(seconds: float) -> str:
    """A time as options take it.

    >>> time_words(90), time_words(600), time_words(7200)
    ('90 s', '10 min', '2 h')
    """
    for length, unit in ((3600.0, "h"), (60.0, "min")):
        if seconds >= 2 * length and seconds % length == 0:
            return f"{seconds / length:g} {unit}"
    return f"{seconds:g} s"


def memory_words(size_bytes: float) -> str:
    """A size of memory as options take it.

    >>> memory_words(4e9), memory_words(512e6)
    ('4 GB', '512 MB')
    """
    return f"{size_bytes / 1e9:.3g} GB" if size_bytes >= 1e9 else f"{size_bytes / 1e6:.3g} MB"
