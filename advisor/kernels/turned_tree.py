"""Boxes of a plan tree seen along another axis, without looking for new places or planes for its facets."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.plan_tree import STEEPEST_PLANE, node_range

# Planes are lifted by this share of the heights in play: turning them rounds.
_LIFT_SHARE = 1e-12


@njit(cache=True, nogil=True)
def turned_boxes(corners, levels, box, turn):
    """Boxes and planes of a turned tree, as ``plan_tree.boxes`` has them.

    What lies below a plane lies below it however both are turned: planes are turned with the facets. One that then
    stands too steep gives way to the level top of its box.

    Parameters
    ----------
    corners : (m, 3, 3) corners of the facets in the new frame, in the order of the tree
    levels : int
    box : (2^(levels + 1) - 1, 9) of the tree as it was
    turn : (3, 3) from its frame to the new one
    """
    leaves = 1 << levels
    turned = np.empty_like(box)
    turned[:, :2] = np.inf
    turned[:, 2:5] = -np.inf
    for node in range(leaves - 1, 2 * leaves - 1):
        low, high = node_range(node, levels, corners.shape[0])
        for f in range(low, high):
            for k in range(3):
                for c in range(2):
                    turned[node, c] = min(turned[node, c], corners[f, k, c])
                    turned[node, 2 + c] = max(turned[node, 2 + c], corners[f, k, c])
                turned[node, 4] = max(turned[node, 4], corners[f, k, 2])
    for node in range(leaves - 2, -1, -1):
        for child in (2 * node + 1, 2 * node + 2):
            for c in range(2):
                turned[node, c] = min(turned[node, c], turned[child, c])
            for c in range(2, 5):
                turned[node, c] = max(turned[node, c], turned[child, c])
    for node in range(2 * leaves - 1):
        _turn_plane(box[node], turn, turned[node])
    return turned


@njit(nogil=True)
def _turn_plane(b, turn, t):
    """Write into ``t[5:]`` the plane of ``b``, turned; the level top of the box where it is too steep."""
    t[5], t[6], t[7], t[8] = 0.0, 0.0, t[4], 1.0
    if not (-np.inf < t[4] and -np.inf < b[7] < np.inf):
        return
    # the plane is n p = e with n = (-gx, -gy, 1); turning keeps e
    nx = -turn[0, 0] * b[5] - turn[0, 1] * b[6] + turn[0, 2]
    ny = -turn[1, 0] * b[5] - turn[1, 1] * b[6] + turn[1, 2]
    nz = -turn[2, 0] * b[5] - turn[2, 1] * b[6] + turn[2, 2]
    if nz <= 0.0 or nx * nx + ny * ny > (STEEPEST_PLANE * nz) ** 2:
        return
    gx, gy = -nx / nz, -ny / nz
    far = abs(t[4]) + max(abs(t[0]), abs(t[2])) * abs(gx) + max(abs(t[1]), abs(t[3])) * abs(gy)
    t[5], t[6], t[7] = gx, gy, b[7] / nz + _LIFT_SHARE * far
    t[8] = np.sqrt(1.0 + gx * gx + gy * gy)
