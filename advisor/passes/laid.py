"""Passes of one family made ready to cut, and proved: thinned, trimmed, ordered, linked, timed, and cut virtually."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.cutter.cutter import Cutter
from advisor.cutter.reach import gets_to
from advisor.cutter.tool_body import ToolBody
from advisor.job import Machine
from advisor.part.mesh import Flags, Floats, Mesh
from advisor.part.plan_tree import PlanTree
from advisor.part.samples import along_curve, even_places
from advisor.passes.eased import eased
from advisor.passes.families import centre_of
from advisor.passes.lines import PassLines
from advisor.passes.links import Links, linked
from advisor.passes.order import OrderedPasses, longest_link_mm, ordered
from advisor.passes.spiral import spiral
from advisor.passes.sunk_facets import SunkFacets
from advisor.passes.surface import PassSurface
from advisor.passes.thin import thinned
from advisor.passes.timing import PathTotals, path_totals
from advisor.passes.trim import trimmed
from advisor.passes.virtual_cut import CutSummary, SweptPasses, cut_summary, swept_by, virtual_cut

# Heights above so many times the target are no cusp: nothing was cut there.
_UNCUT_TARGETS = 8.0
# A place whose cusp is told apart from others', and how many there must be.
_POINTS_OF_A_PLACE = 128
_FEWEST_PLACES = 8
# Where the normal of a point and that of its facet are further apart than 60 deg, one says nothing about the other.
_FACES_ITS_FACET = 0.5


@dataclass(frozen=True)
class Workplace:
    """What the passes of all zones have in common.

    Attributes
    ----------
    sunk : SunkFacets
        Every facet of the part along the tool axis.
    body, cutter : the tool
    machine : Machine
    path_mm : float
        How far passes may lie off their line.
    tolerance_mm : float
        How deep the tool may go into these: what chords of passes, and of the facets they lie on, come to.
    stock_left_mm : float
        What the stage leaves on purpose.
    """

    sunk: SunkFacets
    body: ToolBody
    cutter: Cutter
    machine: Machine
    path_mm: float
    tolerance_mm: float
    stock_left_mm: float

    @property
    def tree(self) -> PlanTree:
        """What passes must not go into."""
        return self.sunk.of_passes

    @property
    def axis(self) -> Floats:
        """(3,) unit vector from the part to the spindle."""
        return np.asarray(self.tree.frame[2])

    @property
    def grown(self) -> Cutter:
        """The cutter with the stock that is left around it: what must not go into the part."""
        return self.cutter.thicker(self.stock_left_mm)


@dataclass(frozen=True)
class LaidPasses:
    """A family ready to cut: passes in order, the middle of the cutter on them, ways between, and sums."""

    passes: OrderedPasses
    centres_mm: Floats
    links: Links
    totals: PathTotals

    @property
    def spirals(self) -> int:
        """Number of passes wound from loops."""
        return len(np.unique(np.searchsorted(self.passes.lines.starts, self.passes.turns, side="right")))


@dataclass(frozen=True)
class ProofPoints:
    """Points of a zone at which the cut is measured. Arrays are read-only.

    Attributes
    ----------
    point_mm, normal : (q, 3) float64 arrays
        On the smooth surface.
    area_mm2 : (q,) float64 array
        That each stands for.
    facet : (q,) int64 array
        Facet of the surface that zones are drawn on.
    over_mm : (q,) float64 array
        How far a point stands over the plane of that facet, along its normal; 0 where it does not. What is cut there
        down to the facet is no gouge: of a coarse file neither is sure to be the part.
    out_of_reach : (q,) bool array
        The tool does not get there: left over, whatever the passes.
    """

    point_mm: Floats
    normal: Floats
    area_mm2: Floats
    facet: NDArray[np.int64]
    over_mm: Floats
    out_of_reach: Flags

    @property
    def out_of_reach_share(self) -> float:
        """Share of the area that the tool does not get to."""
        return float(self.area_mm2[self.out_of_reach].sum() / self.area_mm2.sum())


def made_ready(
    lines: PassLines,
    surface: PassSurface,
    place: Workplace,
    step_mm: float,
    feed_mm_per_min: float,
    *,
    downward: bool,
) -> LaidPasses:
    """Lines of a family as they are cut: no more points than needed, no gouge, in order, with ways between.

    Parameters
    ----------
    lines : PassLines
    surface : PassSurface
        That they were laid on.
    place : Workplace
    step_mm : float
        Greatest distance of neighbouring passes along the surface.
    feed_mm_per_min : float
    downward : bool
        Level by level down the part, and not line by line.
    """
    half = place.path_mm / 2
    led, link = centre_of(place.cutter), longest_link_mm(step_mm, place.cutter.corner_radius_mm)
    kept = _cleared(thinned(lines, place.grown, place.axis, half), surface, place)
    passes = ordered(kept, led, place.axis, step_mm, link, levels="downward" if downward else "rising")
    return _linked(passes, place, link, feed_mm_per_min)


def wound(
    loops: LaidPasses, surface: PassSurface, place: Workplace, step_mm: float, feed_mm_per_min: float
) -> LaidPasses | None:
    """Closed passes side by side of a family that goes downward as spirals; None where that is longer or slower.

    Parameters are those of ``made_ready``.
    """
    half = place.path_mm / 2
    link = longest_link_mm(step_mm, place.cutter.corner_radius_mm)

    def finished(lines: PassLines) -> PassLines:
        # loops were thinned before: what is left of the path tolerance is less
        return _cleared(thinned(lines, place.grown, place.axis, half / 4), surface, place)

    turned = spiral(loops.passes, centre_of(place.grown), place.axis, step_mm, link, finished)
    if turned is loops.passes:
        return None
    spirals = _linked(turned, place, link, feed_mm_per_min)
    return spirals if _is_no_worse(spirals.totals, loops.totals) else None


def _cleared(lines: PassLines, surface: PassSurface, place: Workplace) -> PassLines:
    """What stays of thinned passes that the tool can follow."""
    half = place.path_mm / 2
    off_hollows = eased(lines, surface, place.cutter, place.axis, place.stock_left_mm, half)
    return trimmed(off_hollows, place.tree, place.body, place.grown, place.tolerance_mm)


def _linked(passes: OrderedPasses, place: Workplace, link_mm: float, feed_mm_per_min: float) -> LaidPasses:
    radius = place.cutter.corner_radius_mm + place.stock_left_mm
    centres = passes.lines.centres_mm(radius, place.cutter.ring_radius_mm, place.axis)
    links = linked(
        passes, centres, place.grown, place.tree, link_mm, place.tolerance_mm, tolerances.LIFT_CLEARANCE_MM,
        place.body.behind,
    )  # fmt: skip
    return LaidPasses(passes, centres, links, path_totals(passes, centres, links, feed_mm_per_min, place.machine))


def _is_no_worse(one: PathTotals, other: PathTotals) -> bool:
    """Whether a tool path is no longer than another, on the surface and for the middle of the cutter, and as fast."""
    return (
        one.total_min <= other.total_min
        and one.lifts <= other.lifts
        and one.path_mm + one.link_mm <= other.path_mm + other.link_mm
        and one.centre_mm + one.link_mm + one.lift_mm <= other.centre_mm + other.link_mm + other.lift_mm
    )


def proof_points(surface: PassSurface, drawn: Mesh, place: Workplace, wanted: int) -> ProofPoints:
    """So many points spread evenly over the area of a zone; `drawn` are the facets that it is the smooth surface of."""
    inside = np.flatnonzero(surface.is_inside)
    row, weights, each = even_places(surface.mesh.area_mm2[inside], wanted)
    facet = inside[row]
    point, normal = surface.in_facets(facet, weights)
    out = ~gets_to(place.body, place.grown, place.sunk.of_points, point, normal, place.tolerance_mm)
    source = surface.source[facet].astype(np.int64)
    told = ProofPoints(point, normal, np.full(wanted, each), source, _over_mm(point, normal, drawn, source), out)
    for array in (told.point_mm, told.normal, told.area_mm2, told.facet, told.over_mm, told.out_of_reach):
        array.setflags(write=False)
    return told


def _over_mm(point: Floats, normal: Floats, drawn: Mesh, facet: NDArray[np.int64]) -> Floats:
    """(q,) how far points stand over the planes of facets, along their own normals; 0 where these lean away."""
    plane = drawn.normal[facet]
    facing = np.einsum("qx,qx->q", normal, plane)
    over = np.einsum("qx,qx->q", point - drawn.vertices[drawn.faces[facet, 0]], plane)
    return np.where(facing > _FACES_ITS_FACET, np.maximum(over, 0.0) / np.maximum(facing, _FACES_ITS_FACET), 0.0)


@dataclass(frozen=True)
class Proof:
    """What passes leave of a zone.

    Attributes
    ----------
    summary : CutSummary
    unevenness : float
        Standard deviation over mean of the cusp from place to place: of the height that 95 % of each of the places of
        some hundred points stay within. NaN where there are too few.
    height_mm : (q,) float64 array
        At every point; infinite where no pass comes near.
    depth_mm : (q,) float64 array
        How far the cutter goes below both the smooth surface and the facet behind it; 0 where it does not. What is cut
        of stock left on purpose is no gouge.
    most_mm, gouge_mm : float
        Height and depth that all of the area stays within but ``tolerances.TAIL_SHARE_OF_AREA``: beside corners of the
        part a few points have no normal to speak of. NaN where nothing is cut.
    """

    summary: CutSummary
    unevenness: float
    height_mm: Floats
    depth_mm: Floats
    most_mm: float
    gouge_mm: float


def proved(laid: LaidPasses, points: ProofPoints, place: Workplace, target_mm: float) -> Proof:
    """What laid passes leave of a zone."""
    swept = swept_by(place.cutter, place.stock_left_mm, laid.centres_mm, laid.passes.lines.starts, place.axis)
    limit = _UNCUT_TARGETS * target_mm
    height = virtual_cut(swept, points.point_mm, points.normal, limit).height_mm
    summary = cut_summary(height, points.area_mm2, target_mm, points.out_of_reach)
    depth = _depth_mm(swept, points, height, place, limit)
    is_cut = ~points.out_of_reach & np.isfinite(height)
    within, most, gouge = 1.0 - tolerances.TAIL_SHARE_OF_AREA, np.nan, np.nan
    if is_cut.any():
        most, gouge = np.quantile(height[is_cut], within), np.quantile(depth[is_cut], within)
    return Proof(summary, _unevenness(height, points), height, depth, float(most), float(gouge))


def _depth_mm(swept: SweptPasses, points: ProofPoints, height: Floats, place: Workplace, limit_mm: float) -> Floats:
    """(q,) how far the cutter goes below both the smooth surface and the facets, beyond the stock it is to leave."""
    depth = np.maximum(-(height + points.over_mm + place.stock_left_mm), 0.0)
    rows = np.flatnonzero(depth > place.path_mm)
    # at an edge of the part a cutter that grazes the wall behind it would seem to cut as deep as it is wide
    normal = points.normal[rows]
    foot = points.point_mm[rows] - points.over_mm[rows, None] * normal
    aside = np.cross(normal, np.eye(3)[np.abs(normal).argmin(axis=1)])
    aside /= np.linalg.norm(aside, axis=1, keepdims=True)
    for way in (aside, -aside, np.cross(normal, aside), np.cross(aside, normal)):
        found = virtual_cut(swept, foot, (normal + way) / np.sqrt(2.0), limit_mm).height_mm
        depth[rows] = np.minimum(depth[rows], np.maximum(-(found + place.stock_left_mm), 0.0))
    return depth


def leaves_no_more(one: Proof, other: Proof, noise_mm: float) -> bool:
    """Whether passes leave no more than others, cut no deeper and reach as much, but for what chance makes of it."""
    return (
        one.summary.uncut_share <= other.summary.uncut_share
        and one.summary.p95_mm <= other.summary.p95_mm + noise_mm
        and one.most_mm <= other.most_mm + noise_mm
        and one.gouge_mm <= other.gouge_mm + noise_mm
    )


def _unevenness(height: Floats, points: ProofPoints) -> float:
    """How much the cusp differs from place to place; one cusp seems to by 0.04, by the chance of where points lie."""
    rows = np.flatnonzero(~points.out_of_reach & np.isfinite(height))
    places = len(rows) // _POINTS_OF_A_PLACE
    if places < _FEWEST_PLACES:
        return np.nan
    near = rows[np.argsort(along_curve(points.point_mm[rows]), kind="stable")][: places * _POINTS_OF_A_PLACE]
    cusp = np.quantile(height[near].reshape(places, -1), 0.95, axis=1)
    mean = float(cusp.mean())
    return float(cusp.std()) / mean if mean > 0.0 else np.nan
