"""The outlines of a plan as loops: for drawings and their layers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.errors import InputError
from advisor.model import OutlineArrays, OutlineKind, Plan


@dataclass(frozen=True)
class Loop:
    """A closed loop: zone, whether it is the border or the overlap, and (k, 3) points, mm; the last joins the first."""

    zone: int
    kind: OutlineKind
    points: NDArray[np.float64]


def loops_of(outlines: OutlineArrays) -> Iterator[Loop]:
    """The loops of all zones, in the order of the arrays."""
    for k, (zone, kind) in enumerate(zip(outlines.zone.tolist(), outlines.kind.tolist(), strict=True)):
        yield Loop(zone, kind, outlines.points[outlines.starts[k] : outlines.starts[k + 1]])


def outlines_to_write(plan: Plan, what: str) -> OutlineArrays:
    """The outlines of a plan, for a file `what`.

    Raises
    ------
    InputError
        Where the plan has none: it was read from a folder of an earlier version.
    """
    outlines = plan.outlines
    if outlines is None:
        raise InputError(what, "needs the outlines of the zones, which this plan folder lacks", "plan the part again")
    return outlines


def distinct(points: NDArray[np.float64], apart: float) -> NDArray[np.float64]:
    """Points of a closed loop without those that lie no more than ``apart`` from the one before."""
    step = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1)
    kept = points[step > apart]
    return kept if len(kept) else points[:1]
