"""Weighted quantiles in linear time, by narrowing the range of values that the quantile can be in."""

from __future__ import annotations

import numpy as np
from numba import njit

_BINS = 4096


@njit(cache=True, nogil=True)
def weighted_quantiles(values, weights, shares):
    """Smallest value at which the running sum of weights, in order of value, reaches each share of the total.

    Parameters
    ----------
    values : (n,) float64 array, n >= 1
        Infinite values count as larger than all others; no NaN.
    weights : (n,) float64 array, not negative
    shares : (k,) float64 array in 0..1

    Returns
    -------
    (k,) float64 array
    """
    low, high, total, finite = np.inf, -np.inf, 0.0, 0.0
    for i in range(values.shape[0]):
        total += weights[i]
        if np.isfinite(values[i]):
            finite += weights[i]
            low = min(low, values[i])
            high = max(high, values[i])
    out = np.full(shares.shape[0], np.inf)
    if not low <= high:
        return out
    binned = np.empty(_BINS, np.float64)
    least = np.empty(_BINS, np.float64)
    most = np.empty(_BINS, np.float64)
    for k in range(shares.shape[0]):
        if shares[k] * total <= finite * (1 + 1e-12):
            out[k] = _narrowed(values, weights, low, high, shares[k] * total, binned, least, most)
    return out


@njit(nogil=True)
def _narrowed(values, weights, low, high, wanted, binned, least, most):
    """The quantile between `low` and `high`, below which no weight lies; the last three are room to work in."""
    while low < high:  # ends: the least and the largest value never share a bin
        span = high - low
        binned[:] = 0.0
        least[:] = np.inf
        most[:] = -np.inf
        for i in range(values.shape[0]):
            if low <= values[i] <= high:
                b = int((values[i] - low) / span * (_BINS - 1))  # not by a reciprocal: a tiny span has none
                binned[b] += weights[i]
                least[b] = min(least[b], values[i])
                most[b] = max(most[b], values[i])
        b, last = 0, 0
        while b < _BINS:
            if most[b] >= least[b]:  # a bin that holds something
                last = b
                if binned[b] >= wanted:
                    break
                wanted -= binned[b]
            b += 1
        low, high = least[last], most[last]
    return low
