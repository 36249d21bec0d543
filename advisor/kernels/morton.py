"""Cells of a cube in an order that keeps neighbours together."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def interleaved(cells, bits):
    """(q,) int64 numbers whose bits are those of three coordinates in turn (Morton order).

    Parameters
    ----------
    cells : (q, 3) int64 array, 0 or more
    bits : int
        That each coordinate has; 20 at most.
    """
    code = np.empty(cells.shape[0], np.int64)
    for q in range(cells.shape[0]):
        c = 0
        for k in range(3):
            for bit in range(bits):
                c |= ((cells[q, k] >> bit) & 1) << (3 * bit + k)
        code[q] = c
    return code
