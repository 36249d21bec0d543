"""Passes of the last stage as line segments on the part, for views that turn: as many as a view bears."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.model import Plan
from advisor.pack.pass_pictures import drawn_passes

# Segments that a view of a tablet turns without trouble.
MOST_SEGMENTS: Final = 150_000


def pass_segments(plan: Plan, most: int = MOST_SEGMENTS) -> tuple[NDArray[np.float64], int]:
    """Where the cutter touches along passes, as segments, a little above the facets.

    Parameters
    ----------
    plan : Plan
        One with passes.
    most : int
        So many segments at most: of every zone each second, third, ... line is left in.

    Returns
    -------
    segments : (k, 2, 3) float64 array, mm
    stride : int
        Every so many lines of a zone are there.

    Raises
    ------
    InputError
        Where the plan has no passes.
    """
    passes = drawn_passes(plan)
    counts = np.diff(passes.starts)
    stride = max(1, -(-int(np.maximum(counts - 1, 0).sum()) // most))
    kept = passes.line % stride == 0
    length = np.linalg.norm(passes.normal, axis=1, keepdims=True)
    point = passes.points + 2.0 * passes.off_mm * passes.normal / np.maximum(length, 1e-12)
    first = np.ones(len(point), bool)
    # a segment begins at every point of a pass but its last
    first[passes.starts[1:] - 1] = False
    begins = np.flatnonzero(first & np.repeat(kept, counts))
    return np.stack([point[begins], point[begins + 1]], axis=1), stride
