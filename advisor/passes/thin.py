"""Passes in as few points as the path tolerance allows."""

from __future__ import annotations

import numpy as np

from advisor import tolerances
from advisor.cutter.cutter import Cutter
from advisor.kernels.thin import thin
from advisor.kernels.threads import in_chunks, threads
from advisor.part.mesh import Floats
from advisor.passes.lines import PassLines


def thinned(lines: PassLines, cutter: Cutter, axis: Floats, tolerance_mm: float) -> PassLines:
    """Passes without the points that straight ways between the others pass within a tolerance.

    From each point the longest straight way is taken that both the middle of the cutter and the contact allow: every
    point left out lies within the tolerance of both. Ends and corners stay, and closed passes stay closed.

    Parameters
    ----------
    lines : PassLines
    cutter : Cutter
    axis : (3,) unit vector from the part to the spindle
    tolerance_mm : float, 0 or more
    """
    if lines.count == 0:
        return lines
    middle = lines.centres_mm(cutter.corner_radius_mm, cutter.ring_radius_mm, axis)
    stays = np.zeros(len(middle), bool)
    cosine = np.cos(np.radians(tolerances.PATH_CORNER_DEG))
    shares = np.linspace(0, len(middle), threads() + 1)
    ends = np.searchsorted(lines.starts, shares)
    ends[-1] = lines.count

    def run(share: slice) -> None:
        first, end = ends[share.start], ends[share.stop]
        thin(lines.contact_mm, middle, lines.starts, lines.is_closed, first, end, tolerance_mm, cosine, stays)

    in_chunks(len(ends) - 1, 1, run)
    counts = np.add.reduceat(stays.astype(np.int64), lines.starts[:-1])
    return PassLines(
        lines.contact_mm[stays],
        lines.normal[stays],
        np.concatenate([[0], np.cumsum(counts)]),
        lines.level,
        lines.is_closed,
    )
