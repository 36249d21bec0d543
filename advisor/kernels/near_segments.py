"""The nearest of many short segments to each of many places, in steps of a metric that every place has of its own."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from advisor.kernels.read_only import reads

Floats = NDArray[np.float64]


@njit(nogil=True)
def _cells_of(a, b, low, cell, size, first, last):
    """Range of cells that a segment's box meets, within the grid; False where it lies outside."""
    for axis in range(3):
        first[axis] = max(int(np.floor((min(a[axis], b[axis]) - low[axis]) / cell)), 0)
        last[axis] = min(int(np.floor((max(a[axis], b[axis]) - low[axis]) / cell)), size[axis] - 1)
        if last[axis] < first[axis]:
            return False
    return True


@reads(0)
@njit(cache=True, nogil=True)
def _in_cells(points, ends_here, low, cell, size):
    """Keys of the cells that segments meet, and the segments."""
    first, last = np.empty(3, np.int64), np.empty(3, np.int64)
    count = 0
    for i in range(len(points) - 1):
        if not ends_here[i] and _cells_of(points[i], points[i + 1], low, cell, size, first, last):
            count += (last[0] - first[0] + 1) * (last[1] - first[1] + 1) * (last[2] - first[2] + 1)
    key, owner = np.empty(count, np.int64), np.empty(count, np.int32)
    count = 0
    for i in range(len(points) - 1):
        if not ends_here[i] and _cells_of(points[i], points[i + 1], low, cell, size, first, last):
            for x in range(first[0], last[0] + 1):
                for y in range(first[1], last[1] + 1):
                    for z in range(first[2], last[2] + 1):
                        key[count] = (x * size[1] + y) * size[2] + z
                        owner[count] = i
                        count += 1
    return key, owner


@njit(nogil=True)
def _steps2_to(place, slowness, pull, a, b):
    """Squared steps from a place to the nearest point of a segment."""
    along2, along, square = 0.0, 0.0, 0.0
    pulled, pulled_along = 0.0, 0.0
    for axis in range(3):
        way, run = a[axis] - place[axis], b[axis] - a[axis]
        along2 += run * run
        along += run * way
        square += way * way
        pulled += pull[axis] * way
        pulled_along += pull[axis] * run
    slow2 = slowness * slowness
    climb = slow2 * along2 + pulled_along * pulled_along
    share = 0.0
    if climb > 0.0:
        share = min(max(-(slow2 * along + pulled_along * pulled) / climb, 0.0), 1.0)
    off2 = square + share * (2.0 * along + share * along2)
    return slow2 * max(off2, 0.0) + (pulled + share * pulled_along) ** 2


@njit(nogil=True)
def first_at_least(ascending, least):
    """Where in ascending numbers the first lies that is no less than `least`."""
    low, high = 0, ascending.shape[0]
    while low < high:
        middle = (low + high) // 2
        if ascending[middle] < least:
            low = middle + 1
        else:
            high = middle
    return low


@reads(4, 5)
@njit(cache=True, nogil=True)
def _least_steps(
    places, normals, slowness, pull, points, point_normals, low, cell, size, key, owner, most_steps, steps
):
    """Write into `steps` what lies nearer than what stands there, of the segments in the cells round each place."""
    for i in range(places.shape[0]):
        least2 = most_steps * most_steps
        x, y, z = (places[i, 0] - low[0]) / cell, (places[i, 1] - low[1]) / cell, (places[i, 2] - low[2]) / cell
        for cx in range(int(x) - 1, int(x) + 2):
            for cy in range(int(y) - 1, int(y) + 2):
                row = (cx * size[1] + cy) * size[2]
                begin = first_at_least(key, row + max(int(z) - 1, 0))
                end = first_at_least(key, row + min(int(z) + 1, size[2] - 1) + 1)
                for j in range(begin, end):
                    at = owner[j]
                    facing = 0.0
                    for axis in range(3):
                        facing += point_normals[at, axis] * normals[i, axis]
                    if facing >= 0.0:
                        off2 = _steps2_to(places[i], slowness[i], pull[i], points[at], points[at + 1])
                        if off2 < least2:
                            least2 = off2
                            steps[i] = np.sqrt(off2)


def near_segments(
    places: Floats,
    normals: Floats,
    slowness: Floats,
    pull: Floats,
    points: Floats,
    point_normals: Floats,
    ends_here: NDArray[np.bool_],
    most_steps: float,
) -> Floats:
    """Steps from every place to the nearest segment whose surface faces the same way.

    Parameters
    ----------
    places, normals : (k, 3) float64 arrays
    slowness, pull : (k,), (k, 3) float64 arrays
        Metric at the places, 1/mm: a way w is sqrt(slowness^2 w.w + (pull.w)^2) steps long.
    points, point_normals : (n, 3) float64 arrays
        Chains laid end to end.
    ends_here : (n,) bool array
        No segment leads from this point to the next.
    most_steps : float
        What lies further is not looked for.

    Returns
    -------
    steps : (k,) float64 array
        Infinite where nothing is so near.
    """
    steps = np.full(len(places), np.inf)
    if len(places) == 0 or len(points) < 2:
        return steps
    cell = most_steps / slowness.min()
    low = places.min(axis=0) - cell
    size = np.floor((places.max(axis=0) - low) / cell).astype(np.int64) + 2
    key, owner = _in_cells(points, ends_here, low, cell, size)
    order = np.argsort(key, kind="stable")
    _least_steps(
        places, normals, slowness, pull, points, point_normals, low, cell, size, key[order], owner[order], most_steps,
        steps,
    )  # fmt: skip
    return steps
