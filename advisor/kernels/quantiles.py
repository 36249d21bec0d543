"""Weighted quantiles in linear time: the values are sorted only in the bin where the quantile falls."""

from __future__ import annotations

import numpy as np
from numba import njit

_BINS = 4096


@njit(cache=True)
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
    scale = (_BINS - 1) / (high - low) if high > low else 0.0
    binned = np.zeros(_BINS, np.float64)
    held = np.zeros(_BINS, np.int64)
    for i in range(values.shape[0]):
        if np.isfinite(values[i]):
            b = int((values[i] - low) * scale)
            binned[b] += weights[i]
            held[b] += 1
    for k in range(shares.shape[0]):
        wanted = shares[k] * total
        if wanted > finite * (1 + 1e-12):
            continue
        passed, b = 0.0, 0
        while b < _BINS - 1 and passed + binned[b] < wanted:
            passed += binned[b]
            b += 1
        while b > 0 and held[b] == 0:  # the share fell on the rim of the last value
            b -= 1
            passed -= binned[b]
        out[k] = _within_bin(values, weights, low, scale, b, held[b], wanted - passed)
    return out


@njit(cache=True)
def _within_bin(values, weights, low, scale, b, count, wanted):
    picked = np.empty(count, np.float64)
    weight = np.empty(count, np.float64)
    j = 0
    for i in range(values.shape[0]):
        if np.isfinite(values[i]) and int((values[i] - low) * scale) == b:
            picked[j] = values[i]
            weight[j] = weights[i]
            j += 1
    order = np.argsort(picked)
    passed = 0.0
    for i in order:
        passed += weight[i]
        if passed >= wanted:
            return picked[i]
    return picked[order[-1]]
