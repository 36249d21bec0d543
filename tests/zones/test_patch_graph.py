"""Patches beside one another: which walls look at other material, and which look out."""

from __future__ import annotations

import numpy as np
import solids

from advisor.part.curvature import curvature
from advisor.part.heal import heal
from advisor.part.smooth import smooth_surface
from advisor.zones.classes import STEEP, Thresholds
from advisor.zones.patch_graph import patch_graph
from advisor.zones.patches import ZoneRule, find_patches

UP = np.array([0.0, 0.0, 1.0])


def test_walls_of_a_pocket_look_at_each_other_and_those_of_its_block_look_out() -> None:
    mesh = heal(*solids.round_pocket(20, 6, 15), "pocket").mesh
    smooth = smooth_surface(mesh)
    rule = ZoneRule(Thresholds(15.0, 45.0, 0.5), 4.0, 6.0, 3.0)
    patches = find_patches(mesh, smooth, curvature(mesh, smooth), UP, rule)
    graph = patch_graph(patches, UP)
    steep = np.flatnonzero(patches.patch_class == STEEP)
    middle = patches.surface.mesh.middle
    # the pocket lies round the axis, its walls 20 mm off; the block's sides lie further out
    off = np.array([np.hypot(*middle[patches.patch == patch, :2].T).max() for patch in steep])
    assert (off < 21).any() and (off > 25).any()
    assert np.array_equal(graph.is_inside[steep], off < 21)
    assert not np.delete(graph.is_inside, steep).any()
