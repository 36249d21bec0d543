"""Extents of labelled facets."""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads


@reads(0, 1)
@njit(cache=True, nogil=True)
def bounds_by_label(values, faces, label, count):
    """(count, 2) smallest and largest of (n,) values at vertices over the facets of each label."""
    bounds = np.empty((count, 2), np.float64)
    bounds[:, 0] = np.inf
    bounds[:, 1] = -np.inf
    for f in range(faces.shape[0]):
        group = label[f]
        for k in range(3):
            value = values[faces[f, k]]
            bounds[group, 0] = min(bounds[group, 0], value)
            bounds[group, 1] = max(bounds[group, 1], value)
    return bounds
