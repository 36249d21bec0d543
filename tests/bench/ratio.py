"""A number that is promised, beside what it is measured against in the same run."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Ratio:
    """What was measured, against what, and what is wanted of it: at least, or with ``is_most`` at most, so much."""

    what: str
    against: str
    value: float
    wanted: float | None = None
    is_most: bool = False

    @property
    def holds(self) -> bool:
        """Whether it is as wanted."""
        if self.wanted is None:
            return True
        return self.value <= self.wanted if self.is_most else self.value >= self.wanted


def show(ratios: Iterable[Ratio]) -> None:
    """Print them as a table in Markdown."""
    print("| measured | against | ratio | wanted |")
    print("|---|---|---:|---:|")
    for ratio in ratios:
        wanted = "" if ratio.wanted is None else f"{'at most' if ratio.is_most else 'at least'} {ratio.wanted:g}"
        missed = "" if ratio.holds else " (missed)"
        print(f"| {ratio.what} | {ratio.against} | {ratio.value:.3g} | {wanted}{missed} |")
