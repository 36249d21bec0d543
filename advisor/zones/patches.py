"""Patches: the smallest areas that a zone is put together from.

A patch is a connected area of one slope class that no corner of the part crosses. A flat plane is a patch of its own,
for a floor ends where its fillet begins, not where the fillet has risen by some degrees; so is a hollow tighter than
the ball.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.part.curvature import Curvature
from advisor.part.mesh import Flags, Floats, Ints, Mesh, rim_lengths_mm
from advisor.part.smooth import SmoothSurface
from advisor.zones.areas import absorb_specks, connected_areas
from advisor.zones.classes import FLAT, STEEP, UNDERCUT, Thresholds, class_of_facets, slope_deg
from advisor.zones.cut_lines import CutSurface, cut_at_slopes
from advisor.zones.hidden import with_hidden_areas
from advisor.zones.joints import sharp_half_edges
from advisor.zones.overhangs import without_idle_overhangs
from advisor.zones.small_features import small_features
from advisor.zones.steady import SteadyFacets, square_over_rim_mm, steady_facets
from advisor.zones.tight_hollows import cut_at_tight_hollows

# Kinds of patch beside the slope classes.
LEVEL, TIGHT, SMALL = 4, 5, 6


@dataclass(frozen=True)
class ZoneRule:
    """What decides the zones besides the part.

    `ball_mm` is the largest cutter (holes narrower than it are not entered), `tight_mm` the radius of hollows that
    the finishing cutter just fits.
    """

    thresholds: Thresholds
    smallest_mm2: float
    ball_mm: float
    tight_mm: float


@dataclass(frozen=True)
class Patches:
    """Patches of a part.

    Attributes
    ----------
    surface : CutSurface
        The mesh cut along slope lines.
    patch : (m,) int32 array
        Patch of every facet, from 0.
    kind : (p,) int8 array
        Slope class of each patch, or ``LEVEL``, ``TIGHT``, ``SMALL``.
    own : (m,) bool array
        Facets of their patch's kind; the others are specks it took in, which have no say in its spacing.
    facet_class : (m,) int8 array
        Slope class of the area each facet lies in, specks taken in by their neighbours.
    features : (p,) int32 array
        Places a patch consists of: 1, or more where small features are noted together.
    slope_deg, smooth_slope_deg : (m,) float64 array
        Of the facets, and of the smooth surface they stand for.
    sharp : (3 m,) bool array
        Half-edges across which the smooth surface turns a corner.
    line_deviation_mm : float
        How far outlines may leave lines over the smooth surface.
    """

    surface: CutSurface
    patch: Ints
    kind: NDArray[np.int8]
    own: Flags
    facet_class: NDArray[np.int8]
    features: Ints
    slope_deg: Floats
    smooth_slope_deg: Floats
    sharp: Flags
    line_deviation_mm: float

    @property
    def count(self) -> int:
        """Number of patches."""
        return len(self.kind)

    @cached_property
    def area_mm2(self) -> Floats:
        """(p,) area of each patch, mm2."""
        area = np.bincount(self.patch, self.surface.mesh.area_mm2, minlength=self.count)
        return np.asarray(area, dtype=np.float64)

    @cached_property
    def patch_class(self) -> NDArray[np.int8]:
        """(p,) slope class that covers most of each patch."""
        return most_of(self.facet_class, self.patch, self.surface.mesh.area_mm2, self.count)


def class_areas_mm2(facet_class: NDArray[np.int8], label: Ints, area_mm2: Floats, count: int) -> Floats:
    """(count, 4) area of each label in each slope class, mm2."""
    classes = UNDERCUT + 1
    area = np.bincount(label * np.int64(classes) + facet_class, area_mm2, minlength=count * classes)
    return np.asarray(area.reshape(count, classes), dtype=np.float64)


def most_of(facet_class: NDArray[np.int8], label: Ints, area_mm2: Floats, count: int) -> NDArray[np.int8]:
    """(count,) slope class with the most area under each label."""
    return np.asarray(class_areas_mm2(facet_class, label, area_mm2, count).argmax(axis=1), dtype=np.int8)


def find_patches(
    mesh: Mesh,
    smooth: SmoothSurface,
    bends: Curvature,
    axis: Floats,
    rule: ZoneRule,
    in_the_way: Mesh | None = None,
    steady: SteadyFacets | None = None,
) -> Patches:
    """Patches of a mesh seen along a tool axis.

    Parameters
    ----------
    mesh : Mesh
    smooth, bends : the smooth surface behind it, and its curvatures
    axis : (3,) unit vector from the part to the spindle
    rule : ZoneRule
    in_the_way : Mesh, optional
        The whole part, where the mesh is what one set-up of several finishes.
    steady : SteadyFacets, optional
        What thresholds do not move, where it is known already (see ``steady_of``).
    """
    noise = smooth.noise_share_of_edge
    thresholds = _loosened(rule.thresholds, noise)
    smallest = _smallest_mm2(mesh, rule.smallest_mm2, noise)
    shortest = tolerances.SHORTEST_LINE_SHARE_OF_SPECK * float(np.sqrt(smallest))
    steady = steady or steady_facets(mesh, smooth, bends, axis, smallest)
    around_tight, tight = cut_at_tight_hollows(mesh, smooth, bends, axis, rule.tight_mm, thresholds.steep_from_deg)
    surface = cut_at_slopes(
        around_tight.mesh, around_tight.corner_normal, axis, thresholds.between_classes_deg, shortest
    )  # fmt: skip
    tight = tight[surface.parent]
    surface = surface.part_of(around_tight)
    sharp = sharp_half_edges(surface)
    smooth_slope = slope_deg(surface.normal, axis)
    own_class = class_of_facets(smooth_slope, steady.corner_slope_deg[surface.parent], thresholds)
    own_class = without_idle_overhangs(surface.mesh, own_class, smooth_slope, axis)
    own_class = with_hidden_areas(surface.mesh, own_class, sharp, axis, in_the_way)
    label = connected_areas(surface.mesh, own_class)
    label, facet_class = absorb_specks(surface.mesh, label, own_class, sharp, smallest, is_clean=noise == 0)
    small, features = small_features(surface.mesh, label, facet_class, sharp, axis, rule.ball_mm)
    special = np.zeros(len(mesh.faces), np.int8)
    special[steady.plane | steady.level] = LEVEL
    level = (special[surface.parent] == LEVEL) & (facet_class == FLAT)
    if noise > 0:
        level = _whole_areas(surface.mesh, facet_class, sharp, level)
    own_kind = _kinds(facet_class, level, tight, small)
    # corners part patches, but for undercuts, which are not cut anyway
    label = connected_areas(surface.mesh, own_kind, sharp & np.repeat(own_kind != UNDERCUT, 3))
    label, kind = absorb_specks(surface.mesh, label, own_kind, sharp, smallest, is_clean=noise == 0)
    crumb = tolerances.CRUMB_SHARE_OF_SPECK * smallest
    # crumbs between corners are no surfaces either, whatever bounds them
    label, kind = absorb_specks(surface.mesh, label, kind, sharp, crumb, is_clean=False)
    # specks of small features stay what they are
    kind = np.where(small, np.int8(SMALL), kind)
    patch, patch_kind = _numbered(label, kind)
    of_class = np.where(own_kind < LEVEL, own_class, own_kind)
    own = of_class == patch_kind[patch]
    places = np.ones(len(patch_kind), np.int32)
    places[patch_kind == SMALL] = features
    slopes = slope_deg(surface.mesh.normal, axis)
    return Patches(
        surface,
        patch,
        patch_kind,
        own,
        facet_class,
        places,
        slopes,
        smooth_slope,
        sharp,
        _line_deviation_mm(mesh, noise),
    )


def steady_of(mesh: Mesh, smooth: SmoothSurface, bends: Curvature, axis: Floats, smallest_mm2: float) -> SteadyFacets:
    """What maps of a mesh have in common that differ in thresholds and cutters alone.

    `smallest_mm2` is that of the ``ZoneRule``.
    """
    return steady_facets(mesh, smooth, bends, axis, _smallest_mm2(mesh, smallest_mm2, smooth.noise_share_of_edge))


def _kinds(facet_class: NDArray[np.int8], level: Flags, tight: Flags, small: Flags) -> NDArray[np.int8]:
    kind = facet_class.copy()
    kind[level] = LEVEL
    kind[tight & (facet_class <= STEEP)] = TIGHT
    kind[small] = SMALL
    return kind


def _whole_areas(mesh: Mesh, facet_class: NDArray[np.int8], sharp: Flags, level: Flags) -> Flags:
    """Flat areas that are level in the main: noise frays the edge of a plane, so it ends where its class does."""
    label = connected_areas(mesh, facet_class, sharp)
    count = int(label.max()) + 1
    area = np.bincount(label, mesh.area_mm2, minlength=count)
    mostly = np.bincount(label, mesh.area_mm2 * level, minlength=count) > tolerances.LEVEL_IN_THE_MAIN_SHARE * area
    wide = area >= square_over_rim_mm(label, area, tolerances.NOISE_BLOB_FACETS) * rim_lengths_mm(mesh, label, count)
    whole: Flags = (facet_class == FLAT) & (mostly & wide)[label]
    return whole


def _numbered(label: Ints, kind: NDArray[np.int8]) -> tuple[Ints, NDArray[np.int8]]:
    """All small features as one patch; labels from 0 again."""
    count = int(label.max()) + 1
    joined = np.where(kind == SMALL, count, label)
    is_used = np.zeros(count + 1, bool)
    is_used[joined] = True
    number = (np.cumsum(is_used) - 1).astype(np.int32)
    renumbered = number[joined]
    of_patch = np.zeros(int(np.count_nonzero(is_used)), np.int8)
    of_patch[renumbered] = kind
    return renumbered, of_patch


def _loosened(thresholds: Thresholds, noise_share_of_edge: float) -> Thresholds:
    """A wall of a noisy mesh is a wall within the tilt that noise leaves after filtering."""
    slack = tolerances.WALL_SLACK_PER_NOISE_DEG * noise_share_of_edge
    return replace(thresholds, wall_tolerance_deg=thresholds.wall_tolerance_deg + slack)


def _smallest_mm2(mesh: Mesh, wanted_mm2: float, noise_share_of_edge: float) -> float:
    """Area below which an area is a speck: never much of a small part, never a few facets of a noisy one."""
    total = float(mesh.area_mm2.sum())
    smallest = min(wanted_mm2, tolerances.SPECK_SHARE_OF_AREA * total)
    if noise_share_of_edge > 0:
        smallest = max(smallest, tolerances.NOISE_BLOB_FACETS * total / len(mesh.faces))
    return smallest


def _line_deviation_mm(mesh: Mesh, noise_share_of_edge: float) -> float:
    """How far outlines may leave lines over the smooth surface; those of a noisy mesh waver by chance."""
    if noise_share_of_edge == 0:
        return tolerances.OUTLINE_DEVIATION_MM
    edge_mm = mesh.even_edge_mm
    wavering = min(tolerances.NOISY_LINE_SHARE_OF_EDGE * edge_mm, tolerances.NOISY_LINE_MM)
    return max(wavering, tolerances.OUTLINE_DEVIATION_MM)
