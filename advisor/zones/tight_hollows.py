"""Hollows tighter than the finishing cutter: what it leaves there is another cutter's."""

from __future__ import annotations

import numpy as np

from advisor import tolerances
from advisor.kernels.quantiles import weighted_quantiles
from advisor.part.curvature import Curvature
from advisor.part.mesh import Flags, Floats, Mesh
from advisor.part.smooth import SmoothSurface
from advisor.zones.areas import borders, connected_areas
from advisor.zones.classes import slope_deg
from advisor.zones.cut_lines import CutSurface
from advisor.zones.stepped_lines import cut_at_stepped_border

# Sine of the lean at which a corner between walls counts as upright: 30 degrees.
_BENDS_LEVEL = 0.5
# A corner that meets what is no wall along more than this share of its own size is the end of that.
_END_SHARE = 0.1


def cut_at_tight_hollows(
    mesh: Mesh, smooth: SmoothSurface, bends: Curvature, axis: Floats, tight_mm: float, steep_from_deg: float
) -> tuple[CutSurface, Flags]:
    """The mesh cut where hollows tighter than a cutter begin, and which of its facets lie in them.

    Parameters
    ----------
    mesh : Mesh
    smooth, bends : the smooth surface behind it, and its curvatures
    axis : (3,) unit vector from the part to the spindle
    tight_mm : radius of the hollows that the finishing cutter just fits
    steep_from_deg : slope at which surfaces count as steep
    """
    over = -bends.k_min_per_mm * tight_mm - 1.0
    tight = _tight(mesh, smooth, bends, axis, over, steep_from_deg)
    # what is as hollow but was not chosen lies outside
    depth = (over + tolerances.TIGHT_SHARE) / tolerances.TIGHT_LINE_WIDTH
    depth = np.where(tight, np.maximum(depth, 0.0), -np.abs(depth))
    return cut_at_stepped_border(mesh, smooth.corner_normal, smooth.is_crease, tight, depth)


def _tight(
    mesh: Mesh, smooth: SmoothSurface, bends: Curvature, axis: Floats, over: Floats, steep_from_deg: float
) -> Flags:
    """(m,) facets of hollows tighter than the finishing cutter by more than a share; whole hollows, by their median.

    An upright corner between walls is none: level passes run round it with its walls, and what they leave in it is told
    as such.
    """
    hollow = over > -tolerances.TIGHT_SHARE  # a strip that reads a little tighter is still of its fillet
    slope = slope_deg(smooth.corner_normal.sum(axis=1), axis)
    upright = (slope >= tolerances.WALL_FROM_DEG) & (np.abs(bends.k_min_direction @ axis) < _BENDS_LEVEL) & hollow
    steep = slope >= steep_from_deg
    hollow &= ~(upright & _between_walls(mesh, smooth.is_crease, slope, steep & ~hollow, upright))
    label = connected_areas(mesh, hollow, smooth.is_crease)
    chosen = np.zeros(len(mesh.faces), bool)
    order = np.flatnonzero(hollow)[np.argsort(label[hollow], kind="stable")]
    for rows in np.split(order, np.flatnonzero(np.diff(label[order])) + 1):
        if len(rows) > 0:
            usual = weighted_quantiles(over[rows], mesh.area_mm2[rows], np.array([0.5]))[0]
            chosen[rows] = usual > tolerances.TIGHT_SHARE
    return chosen


def _between_walls(mesh: Mesh, is_crease: Flags, slope: Floats, steep: Flags, upright: Flags) -> Flags:
    """(m,) facets of areas beside which all that is steep is a wall all over: beside a bowl a corner is its end."""
    state = np.where(upright, 2, np.where(steep, 1, 0)).astype(np.int8)
    label = connected_areas(mesh, state, is_crease)
    count = int(label.max()) + 1
    area = np.bincount(label, mesh.area_mm2, minlength=count)
    walls = np.bincount(label, mesh.area_mm2 * (slope >= tolerances.WALL_FROM_DEG), minlength=count)
    of_label = np.zeros(count, np.int8)
    of_label[label] = state
    no_wall = (of_label == 1) & (walls < tolerances.WALL_AREA_SHARE * area)
    edge = borders(mesh, label)
    smooth_edge = ~is_crease[edge.half_edge]
    beside_no_wall = np.zeros(count)
    for here, there in ((edge.one, edge.other), (edge.other, edge.one)):
        beside_no_wall += np.bincount(here, edge.length_mm * smooth_edge * no_wall[there], minlength=count)
    is_end = beside_no_wall > _END_SHARE * np.sqrt(area)
    between: Flags = ~is_end[label]
    return between
