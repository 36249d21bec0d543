"""Points at the same place become one, and rows come into an order of their own."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True)
def _mix(x, y, z):  # 64-bit finaliser of the kind of MurmurHash3 (public domain), over the bits of three floats
    h = np.uint64(x) * np.uint64(0x9E3779B97F4A7C15)
    h ^= np.uint64(y) + np.uint64(0x7F4A7C15F39CC060) + (h << np.uint64(6)) + (h >> np.uint64(2))
    h *= np.uint64(0xFF51AFD7ED558CCD)
    h ^= np.uint64(z) + np.uint64(0x9E3779B97F4A7C15) + (h << np.uint64(6)) + (h >> np.uint64(2))
    h ^= h >> np.uint64(33)
    h *= np.uint64(0xC4CEB9FE1A85EC53)
    h ^= h >> np.uint64(33)
    return h


@njit(cache=True, nogil=True)
def weld_exact(bits):
    """Number equal rows alike.

    Parameters
    ----------
    bits : (n, 3) int64 array
        The bits of the coordinates (so that equality is exact and cheap).

    Returns
    -------
    index : (n,) int32 array
        Number of each row, counted in order of first appearance.
    first : (k,) int64 array
        The row at which each number first appears.
    """
    n = bits.shape[0]
    size = 16
    while size < 2 * n:
        size *= 2
    mask = np.uint64(size - 1)
    slots = np.full(size, -1, np.int32)
    index = np.empty(n, np.int32)
    first = np.empty(n, np.int64)
    count = 0
    for row in range(n):
        x, y, z = bits[row, 0], bits[row, 1], bits[row, 2]
        slot = _mix(x, y, z) & mask
        while True:
            held = slots[slot]
            if held < 0:
                slots[slot] = count
                first[count] = row
                index[row] = count
                count += 1
                break
            other = first[held]
            if bits[other, 0] == x and bits[other, 1] == y and bits[other, 2] == z:
                index[row] = held
                break
            slot = (slot + np.uint64(1)) & mask
    return index, first[:count].copy()
