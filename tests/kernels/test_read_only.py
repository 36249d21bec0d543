"""Kernels that only read take arrays that can be written and those that cannot, and are compiled once."""

from __future__ import annotations

import numpy as np

from advisor.kernels.topology import match_half_edges


def test_one_kernel_for_arrays_of_both_kinds() -> None:
    faces = np.array([(0, 1, 2), (0, 2, 3)], np.int32)
    locked = faces.copy()
    locked.flags.writeable = False
    np.testing.assert_array_equal(match_half_edges(faces, 4), match_half_edges(locked, 4))
    assert faces.flags.writeable
    assert len(match_half_edges.compiled.signatures) == 1
