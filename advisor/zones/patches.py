"""Patches: the smallest areas that a zone is put together from.

A patch is a connected area of one slope class that no corner of the part crosses. A flat plane is a patch of its own,
for a floor ends where its fillet begins, not where the fillet has risen by some degrees; so is a hollow tighter than
the ball.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.kernels.quantiles import weighted_quantiles
from advisor.kernels.slope_lines import corner_slopes
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
    """
    noise = smooth.noise_share_of_edge
    thresholds = _loosened(rule.thresholds, noise)
    smallest = _smallest_mm2(mesh, rule.smallest_mm2, noise)
    shortest = tolerances.SHORTEST_LINE_SHARE_OF_SPECK * float(np.sqrt(smallest))
    plane = smooth.is_plane
    if noise == 0:
        plane = plane & ~_stray_facets(mesh, plane, axis)
    around_tight, tight = cut_at_tight_hollows(mesh, smooth, bends, axis, rule.tight_mm, thresholds.steep_from_deg)
    surface = cut_at_slopes(
        around_tight.mesh, around_tight.corner_normal, axis, thresholds.between_classes_deg, shortest
    )  # fmt: skip
    tight = tight[surface.parent]
    surface = surface.part_of(around_tight)
    sharp = sharp_half_edges(surface)
    smooth_slope = slope_deg(surface.normal, axis)
    own_class = class_of_facets(smooth_slope, corner_slopes(smooth.corner_normal, axis)[surface.parent], thresholds)
    own_class = without_idle_overhangs(surface.mesh, own_class, smooth_slope, axis)
    own_class = with_hidden_areas(surface.mesh, own_class, sharp, axis, in_the_way)
    label = connected_areas(surface.mesh, own_class)
    label, facet_class = absorb_specks(surface.mesh, label, own_class, sharp, smallest, is_clean=noise == 0)
    small, features = small_features(surface.mesh, label, facet_class, sharp, axis, rule.ball_mm)
    special = np.zeros(len(mesh.faces), np.int8)
    special[plane] = LEVEL
    special[_level_on_the_whole(mesh, smooth, bends, plane & (noise == 0), axis, smallest)] = LEVEL
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


def _kinds(facet_class: NDArray[np.int8], level: Flags, tight: Flags, small: Flags) -> NDArray[np.int8]:
    kind = facet_class.copy()
    kind[level] = LEVEL
    kind[tight & (facet_class <= STEEP)] = TIGHT
    kind[small] = SMALL
    return kind


def _stray_facets(mesh: Mesh, plane: Flags, axis: Floats) -> Flags:
    """(m,) planes of a single facet that leans: uneven meshes of bent surfaces have such among smaller ones."""
    beside = np.where(mesh.twins >= 0, mesh.twins, 0).reshape(-1, 3) // 3
    cosine = np.einsum("mkc,mc->mk", mesh.normal[beside], mesh.normal)
    is_one = (mesh.twins.reshape(-1, 3) >= 0) & plane[beside] & (cosine > np.cos(np.radians(tolerances.COPLANAR_DEG)))
    leans = slope_deg(mesh.normal, axis) > tolerances.NO_BEND_DEG
    stray: Flags = plane & leans & ~is_one.any(axis=1)
    return stray


def _whole_areas(mesh: Mesh, facet_class: NDArray[np.int8], sharp: Flags, level: Flags) -> Flags:
    """Flat areas that are level in the main: noise frays the edge of a plane, so it ends where its class does."""
    label = connected_areas(mesh, facet_class, sharp)
    count = int(label.max()) + 1
    area = np.bincount(label, mesh.area_mm2, minlength=count)
    mostly = np.bincount(label, mesh.area_mm2 * level, minlength=count) > tolerances.LEVEL_IN_THE_MAIN_SHARE * area
    wide = area >= _square_over_rim_mm(label, area, tolerances.NOISE_BLOB_FACETS) * rim_lengths_mm(mesh, label, count)
    whole: Flags = (facet_class == FLAT) & (mostly & wide)[label]
    return whole


def _square_over_rim_mm(label: Ints, area_mm2: NDArray[Any], facets: int) -> Floats:
    """(k,) area over rim of a square of so many facets of each area's usual size: narrower areas are strips."""
    usual = area_mm2 / np.bincount(label, minlength=len(area_mm2))
    return np.asarray(np.sqrt(facets * usual) / 4.0)


def _numbered(label: Ints, kind: NDArray[np.int8]) -> tuple[Ints, NDArray[np.int8]]:
    """All small features as one patch; labels from 0 again."""
    count = int(label.max()) + 1
    joined = np.where(kind == SMALL, count, label)
    kept, renumbered = np.unique(joined, return_inverse=True)
    of_patch = np.zeros(len(kept), np.int8)
    of_patch[renumbered] = kind
    return renumbered.astype(np.int32), of_patch


def _level_on_the_whole(
    mesh: Mesh, smooth: SmoothSurface, bends: Curvature, plane: Flags, axis: Floats, smallest_mm2: float
) -> Flags:
    """(m,) facets of areas that are planes on the whole where no exact planes are: a scan has none.

    Of the top of a dome a quarter leans less than half as much as its rim, of the bottom of a trough one half; and they
    bend one way, where noise bends both ways.
    """
    chosen = np.zeros(len(mesh.faces), bool)
    lean = smooth.corner_normal.sum(axis=1)
    slope = slope_deg(lean, axis)
    for most_deg in tolerances.LEVEL_ON_THE_WHOLE_DEG:
        level = (slope < most_deg) & ~chosen
        label = connected_areas(mesh, level)
        count = int(label.max()) + 1
        area = np.bincount(label, mesh.area_mm2, minlength=count)
        rough = np.bincount(label, mesh.area_mm2 * plane, minlength=count) < tolerances.EXACT_SHARE * area
        mean = np.zeros((count, 3))
        for k in range(3):
            mean[:, k] = np.bincount(label, mesh.area_mm2 * lean[:, k], minlength=count)
        nearer = _angle_deg(lean, mean[label]) < most_deg / 2
        is_plane = np.bincount(label, mesh.area_mm2 * nearer, minlength=count) > tolerances.LEVEL_HALF_SHARE * area
        rim_mm = rim_lengths_mm(mesh, label, count)
        wide = area >= _square_over_rim_mm(label, area, tolerances.LEVEL_FEWEST_FACETS) * rim_mm
        wanted = rough & wide & is_plane & (area >= smallest_mm2)
        for number in np.unique(label[level & wanted[label]]):
            wanted[number] = _bends_both_ways(mesh, bends, label == number, area[number] / rim_mm[number])
        chosen |= level & wanted[label]
    return chosen


def _angle_deg(one: Floats, other: Floats) -> Floats:
    lengths = np.linalg.norm(one, axis=1) * np.linalg.norm(other, axis=1)
    cosine = np.einsum("kc,kc->k", one, other) / np.maximum(lengths, 1e-300)
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def _bends_both_ways(mesh: Mesh, bends: Curvature, rows: Flags, area_over_rim_mm: float) -> bool:
    """Whether an area bends to both sides by chance, and hardly turns on the whole."""
    low, bend, high = weighted_quantiles(bends.mean_per_mm[rows], mesh.area_mm2[rows], np.array([0.1, 0.5, 0.9]))
    return bool(low < 0.0 < high and abs(bend) * 2 * area_over_rim_mm < tolerances.LEVEL_TURN_RAD)


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
