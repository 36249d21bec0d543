"""How long a pass takes on a machine that must speed up, slow down and take corners.

The feed that is asked for is a limit. Along the path the machine gains and loses speed at its acceleration; a
corner it rounds with an arc that leaves the path by no more than the corner deviation, at the speed at which
the same acceleration holds it on that arc. Jerk, limits of single axes and the rate at which a control reads
blocks are left out: :func:`minutes_range` allows for them.

Lengths are mm, feeds mm/min, accelerations mm/s2, times minutes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.cutter.checks import Numbers, Values, not_negative, plain, positive
from advisor.kernels.feed_limits import path_seconds

SECONDS_PER_MINUTE = 60.0

# What a machine takes against the sums here: less where links are shorter than thought, more for corners, links,
# jerk and the control (common practice, no source).
FASTEST_SHARE = 0.9
SLOWEST_SHARE = 1.35


def path_minutes(
    points: NDArray[np.float64], feed_mm_per_min: float, acceleration_mm_per_s2: float, corner_deviation_mm: float
) -> float:
    """Minutes along a polyline, from rest to rest.

    A corner of inner angle g is taken at no more than sqrt(acceleration * rho), with::

        rho = deviation sin(g/2) / (1 - sin(g/2))

    but with an arc that fits into half of each straight run beside it. So a finely divided curve is limited by
    its own radius, and a straight line may be divided at will.

    Parameters
    ----------
    points : (n, 3) float array, mm
        Fewer than two: no path, 0 minutes.
    feed_mm_per_min, acceleration_mm_per_s2 : float, above 0
    corner_deviation_mm : float, mm, 0 or more
        0 stops at every corner.

    Raises
    ------
    ValueError
        An argument out of its range or shape.

    Notes
    -----
    Corner: geometry of the arc that touches both sides; both derived here, checked against a march in small
    steps of time.

    Examples
    --------
    >>> import numpy as np
    >>> straight = np.array([[0.0, 0, 0], [100, 0, 0]])
    >>> print(round(60 * path_minutes(straight, 3000.0, 1000.0, 0.01), 6))
    2.05
    """
    starts = np.array([0, len(points)])
    return float(paths_minutes(points, starts, feed_mm_per_min, acceleration_mm_per_s2, corner_deviation_mm)[0])


def paths_minutes(
    points: NDArray[np.float64],
    starts: NDArray[np.integer[Any]],
    feed_mm_per_min: float,
    acceleration_mm_per_s2: float,
    corner_deviation_mm: float,
) -> Values:
    """Minutes along each of many polylines, each as in :func:`path_minutes`.

    Parameters
    ----------
    points : (k, 3) float array, mm
    starts : (p + 1,) int array
        Path ``i`` is ``points[starts[i]:starts[i + 1]]``.

    Returns
    -------
    (p,) float64 array
    """
    feed = float(positive(feed_mm_per_min, "feed")) / SECONDS_PER_MINUTE
    acceleration = float(positive(acceleration_mm_per_s2, "acceleration"))
    deviation = float(not_negative(corner_deviation_mm, "corner deviation"))
    points = np.ascontiguousarray(points, dtype=np.float64)
    offsets = np.ascontiguousarray(starts, dtype=np.int64)
    if points.ndim != 2 or points.shape[1] != 3:
        raise ValueError(f"points must be an (n, 3) array, but one of shape {points.shape} was given")
    if len(offsets) == 0 or offsets[0] < 0 or offsets[-1] > len(points) or (np.diff(offsets) < 0).any():
        raise ValueError("starts must be offsets into points that do not fall")
    seconds: Values = path_seconds(points, offsets, feed, acceleration, deviation)
    return seconds / SECONDS_PER_MINUTE


def straight_pass_minutes(length_mm: Numbers, feed_mm_per_min: Numbers, acceleration_mm_per_s2: Numbers) -> Values:
    """Minutes of a straight pass from rest to rest: L/v + v/a, or 2 sqrt(L/a) where it is too short for the feed.

    ``length_mm`` 0 or more, ``feed_mm_per_min`` and ``acceleration_mm_per_s2`` above 0; raises ``ValueError``
    elsewhere. Textbook motion.

    >>> print([round(60 * float(straight_pass_minutes(length, 3000.0, 1000.0)), 7) for length in (100.0, 1.0)])
    [2.05, 0.0632456]
    """
    length = not_negative(length_mm, "length")
    feed = positive(feed_mm_per_min, "feed") / SECONDS_PER_MINUTE
    acceleration = positive(acceleration_mm_per_s2, "acceleration")
    ramps = feed**2 / acceleration  # the way taken to reach the feed and to stop again
    seconds = np.where(length >= ramps, length / feed + feed / acceleration, 2.0 * np.sqrt(length / acceleration))
    return plain(np.asarray(seconds / SECONDS_PER_MINUTE))


def family_minutes(
    path_mm: Numbers,
    pass_count: Numbers,
    link_mm: Numbers,
    feed_mm_per_min: Numbers,
    acceleration_mm_per_s2: Numbers,
) -> Values:
    """Minutes of passes whose length together and number are known, but not their shape.

    Every pass counts as straight, of mean length, from rest to rest, with a straight link from rest to rest to
    the next one at the same feed. Of straight passes with one total length, equal ones take longest.

    Parameters
    ----------
    path_mm : float or array, mm, 0 or more
        Of all passes together, links not counted.
    pass_count : float or array, 1 or more
    link_mm : float or array, mm, 0 or more
        Of one link; there is one less than passes.
    feed_mm_per_min, acceleration_mm_per_s2 : float or array, above 0

    Raises
    ------
    ValueError
        An argument out of its range.

    Examples
    --------
    >>> print(round(60 * family_minutes(200 * 100.0, 200, 0.0, 3000.0, 1000.0), 6))
    410.0
    """
    passes = positive(pass_count, "number of passes")
    if (passes < 1.0).any():
        raise ValueError("number of passes must be one or more")
    length = not_negative(path_mm, "path length") / passes
    cutting = passes * straight_pass_minutes(length, feed_mm_per_min, acceleration_mm_per_s2)
    links = (passes - 1.0) * straight_pass_minutes(link_mm, feed_mm_per_min, acceleration_mm_per_s2)
    return plain(np.asarray(cutting + links))


def minutes_range(minutes: float) -> tuple[float, float]:
    """Least and most that a machine may take where the sums say `minutes`: 0.9 to 1.35 of it.

    Raises ``ValueError`` for a negative time.
    """
    value = float(not_negative(minutes, "time"))
    return FASTEST_SHARE * value, SLOWEST_SHARE * value
