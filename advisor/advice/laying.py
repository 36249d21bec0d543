"""Candidates laid on the part: what their passes really need, and what a virtual cut says they leave."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from advisor import tolerances
from advisor.advice.candidates import FLATTEST_FOR_CONSTANT_Z_DEG
from advisor.advice.conditions import StageConditions
from advisor.advice.laid_numbers import CopyOf, Laid, laid_of, with_laid_numbers, with_spirals
from advisor.advice.target import StageTarget
from advisor.cutter.cutter import Cutter
from advisor.cutter.tool_body import tool_body
from advisor.job import Job
from advisor.model import Advice
from advisor.part.curvature import Curvature
from advisor.part.mesh import Flags, Floats
from advisor.passes.families import centre_of, parallel_lines, widest_spacing_mm
from advisor.passes.laid import (
    LaidPasses,
    ProofPoints,
    Workplace,
    leaves_no_more,
    made_ready,
    proof_points,
    proved,
    wound,
)
from advisor.passes.level_family import level_passes
from advisor.passes.lines import PassLines
from advisor.passes.offset_family import offset_passes
from advisor.passes.offset_field import offset_from_outline
from advisor.passes.offset_steps import OffsetSteps, cusp_steps, even_steps
from advisor.passes.pieces import CONTACT
from advisor.passes.sunk_facets import SunkFacets
from advisor.passes.surface import PassSurface, pass_surface
from advisor.passes.trim import goes_clear
from advisor.units import UM_PER_MM
from advisor.zones.joints import sharp_half_edges
from advisor.zones.zoning import Zoning

# Points of a zone at which the cut is measured: a share of area of 1 % is told within a fifth of itself.
_PROOF_POINTS = 4_000
# Heights of spirals and of loops at the same points differ by so much of the target by chance.
_NOISE_SHARE = 0.03
# Lengths do not hang on the feed: where none is known passes are laid with this one, and minutes left out.
_ANY_FEED_MM_PER_MIN = 1000.0
# Zones worked on at once have passes of so much length, and are cut into so many facets: half a gigabyte or so.
_ROOM_MM = 0.25 * tolerances.PASSES_MOST_MM
_ROOM_FACETS = 0.25 * tolerances.OFFSET_MOST_FACETS
# Facets of the overlap are told by ways along edges, which are longer than the shortest.
_ROOM_FOR_OVERLAP = 4 / 3


@dataclass(frozen=True)
class _Loops:
    """Passes of a family that goes downward, and what they were made ready with: they may become spirals."""

    passes: LaidPasses
    surface: PassSurface
    step_mm: float
    feed_mm_per_min: float


class _OfZone(threading.local):
    """What is known of the zone that a thread works on."""

    def __init__(self) -> None:
        self.number = -1
        self.surfaces: dict[float, PassSurface] = {}
        self.points: dict[str, ProofPoints] = {}
        self.laid: dict[tuple[str, str], Laid | None] = {}
        self.loops: dict[tuple[str, str], _Loops] = {}


class PassLayer:
    """Lays passes on the zones of a part in one set-up, zone by zone.

    What all zones or stages have in common is worked out once; a copy of a zone takes over what its model's passes are,
    where the model comes before it. Several threads may ask, each zone by zone.

    Attributes
    ----------
    hemmed_in : set of int
        Copies that their model's passes do not suit: moved there, they would go into neighbours.
    """

    def __init__(
        self,
        zoning: Zoning,
        bends: Curvature,
        sunk: SunkFacets,
        axis: Floats,
        takes: Flags,
        job: Job,
        off_mm: float,
        model_of: Mapping[int, CopyOf],
    ) -> None:
        self._zoning, self._bends, self._sunk, self._axis = zoning, bends, sunk, axis
        self._takes, self._job, self._off_mm = takes, job, off_mm
        self._model_of = {zone: copy for zone, copy in model_of.items() if copy.model < zone}
        self._places: dict[str, Workplace] = {}
        self._steps: dict[str, OffsetSteps] = {}
        self._own = _OfZone()
        self._lock = threading.RLock()
        self._of_models: dict[int, dict[tuple[str, str], Laid | None]] = {}
        self._models = {copy.model for copy in self._model_of.values()}
        self.hemmed_in: set[int] = set()

    @cached_property
    def _area_mm2(self) -> Floats:
        """Of every zone."""
        area = self._zoning.surface.mesh.area_mm2
        return np.asarray(np.bincount(self._zoning.zone, area, len(self._takes)), dtype=np.float64)

    @cached_property
    def _sharp(self) -> Flags:
        return sharp_half_edges(self._zoning.surface)

    def numbers_of(self, number: int, advice: Advice, stage: StageConditions) -> Advice:
        """A candidate with the numbers of its laid passes; as it is where none are laid."""
        if not advice.usable:
            return advice
        found = self.lay(number, advice, stage)
        return advice if found is None else with_laid_numbers(advice, found)

    def lay(self, number: int, advice: Advice, stage: StageConditions) -> Laid | None:
        """A usable candidate's passes over a zone; None where none can be laid.

        Parameters
        ----------
        number : int
            Of the zone, from 0. What is known of a zone is forgotten when a thread asks for the next one.
        advice : Advice
            With its spacing.
        stage : StageConditions
        """
        self._take_up(number)
        laid, key = self._own.laid, (stage.target.name, advice.strategy)
        if key not in laid:
            copied = self._copied(number, key, stage)
            laid[key] = self._lay(number, advice, stage) if copied is None else copied
        return laid[key]

    def size_of(self, number: int, stages: Sequence[StageConditions]) -> float:
        """Room that laying passes on a zone takes, by their length and by the facets it is cut into; 1 is the most."""
        step_mm, area_mm2 = min(stage.target.flat_step_mm for stage in stages), float(self._area_mm2[number])
        facets = area_mm2 / step_mm**2
        return max(area_mm2 / step_mm / _ROOM_MM, facets / _ROOM_FACETS)

    def must_wait_for(self) -> dict[int, int]:
        """Zones whose passes are those of an earlier zone, moved, and these zones."""
        return {zone: copy.model for zone, copy in self._model_of.items()}

    def ground_of(self, number: int, stage: StageConditions) -> tuple[PassSurface, Workplace]:
        """The surface that a zone's passes of a stage are laid on, and what they have in common with others."""
        self._take_up(number)
        return self._surface(number, self._job.zones.overlap * stage.target.flat_step_mm), self._place(stage)

    def _take_up(self, number: int) -> None:
        own = self._own
        if number == own.number:
            return
        own.number = number
        own.surfaces.clear()
        own.points.clear()
        own.laid.clear()
        own.loops.clear()

    def _copied(self, number: int, key: tuple[str, str], stage: StageConditions) -> Laid | None:
        """What was laid on the zone that this one is a copy of, moved here; lines are laid in their own direction.

        Zones alike may have other neighbours: what is clear beside the one may go into those of the other.
        """
        copy = self._model_of.get(number)
        if copy is None or key[1] == "parallel_line":
            return None
        model = self._of_models.get(copy.model, {}).get(key)
        if model is None:
            return None
        moved, place = model.moved(copy, self._axis), self._place(stage)
        if goes_clear(moved.centres_mm, moved.starts, place.tree, place.body, place.grown, place.tolerance_mm):
            return moved
        self.hemmed_in.add(number)
        return None

    def _lay(self, number: int, advice: Advice, stage: StageConditions) -> Laid | None:
        if self._is_too_long(number, stage.target.flat_step_mm):
            return None
        place, steps = self._place(stage), self._steps_of(stage.target)
        overlap = self._job.zones.overlap * stage.target.flat_step_mm
        surface = self._surface(number, overlap)
        lines = self._lines(surface, steps, advice, place, stage.target, overlap)
        if lines is None or lines.count == 0:
            return None
        feed = advice.feed_mm_per_min or _ANY_FEED_MM_PER_MIN
        step = float(steps.most_mm[surface.source].max())
        loops = made_ready(lines, surface, place, step, feed, downward=advice.strategy != "parallel_line")
        if loops.passes.lines.count == 0:
            return None
        points = self._proof_points(stage, surface)
        if advice.strategy != "parallel_line":
            self._own.loops[stage.target.name, advice.strategy] = _Loops(loops, surface, step, feed)
        return laid_of(loops, proved(loops, points, place, _target_mm(advice, stage.target)), points)

    def settled(
        self, number: int, steps: Sequence[Advice], stages: Sequence[StageConditions], told: Sequence[Advice]
    ) -> tuple[tuple[Advice, ...], tuple[Advice, ...], tuple[Laid | None, ...]]:
        """Passes of what is advised for a zone that has been laid, wound into spirals where that is no worse.

        Spirals differ by some thousandths from loops, and cost as much again to lay: other candidates stay loops.

        Returns
        -------
        steps, told
            What is advised stage by stage, and all candidates, with the numbers of what is cut.
        passes
            Of every step; None where none are laid.
        """
        self._take_up(number)
        kept, passes = list(steps), []
        for place, (step, stage) in enumerate(zip(steps, stages, strict=True)):
            laid = self._wound(number, step, stage) if step.is_laid else None
            passes.append(laid)
            if laid is None:
                continue
            kept[place], same = with_spirals(step, laid), (step.stage, step.strategy, True)
            told = [with_spirals(one, laid) if (one.stage, one.strategy, one.is_laid) == same else one for one in told]
        if number in self._models:
            self._of_models[number] = dict(self._own.laid)
        return tuple(kept), tuple(told), tuple(passes)

    def _wound(self, number: int, advice: Advice, stage: StageConditions) -> Laid | None:
        found, key = self.lay(number, advice, stage), (stage.target.name, advice.strategy)
        loops = self._own.loops.pop(key, None)
        if found is None or loops is None:
            return found
        place, target_mm = self._place(stage), _target_mm(advice, stage.target)
        spirals = wound(loops.passes, loops.surface, place, loops.step_mm, loops.feed_mm_per_min)
        if spirals is None:
            return found
        proof = proved(spirals, found.points, place, target_mm)
        if leaves_no_more(proof, found.proof, _NOISE_SHARE * target_mm):
            found = self._own.laid[key] = laid_of(spirals, proof, found.points)
        return found

    def _is_too_long(self, number: int, step_mm: float) -> bool:
        """Passes this far apart over a zone would be more than can be laid in a reasonable time."""
        return bool(self._area_mm2[number] / step_mm > tolerances.PASSES_MOST_MM)

    def _lines(
        self,
        surface: PassSurface,
        steps: OffsetSteps,
        advice: Advice,
        place: Workplace,
        target: StageTarget,
        overlap: float,
    ) -> PassLines | None:
        cutter, axis, tolerance = place.cutter, self._axis, place.path_mm / 2
        if advice.strategy == "parallel_line":
            assert advice.direction_deg is not None and advice.line_spacing_mm is not None
            return parallel_lines(
                surface, cutter, CONTACT, axis, advice.direction_deg, advice.line_spacing_mm, overlap, tolerance
            )
        if advice.strategy == "constant_z":
            uphill = uphill_steps_mm(steps, self._zoning.surface.mesh.normal, axis)[surface.source]
            z_step = self._z_step_mm(surface, cutter, uphill, target)
            return level_passes(surface, cutter, centre_of(cutter), axis, z_step, uphill, overlap, tolerance)
        try:
            return offset_passes(offset_from_outline(surface, steps, overlap))
        except ValueError:  # no outline to start from: a whole sphere
            return None

    def _z_step_mm(self, surface: PassSurface, cutter: Cutter, uphill_mm: Floats, target: StageTarget) -> float:
        """Step of the cutter's middle along the axis that holds on all of a zone but a tail, as candidates have it."""
        tail, axis = tolerances.TAIL_SHARE_OF_AREA, self._axis
        holds = widest_spacing_mm(surface, centre_of(cutter), axis, axis, uphill_mm, tail)
        return max(holds, target.flat_step_mm * float(np.sin(np.radians(FLATTEST_FOR_CONSTANT_Z_DEG))))

    def _place(self, stage: StageConditions) -> Workplace:
        name = stage.target.name
        with self._lock:
            if name not in self._places:
                body = tool_body(stage.tool, self._job.clearance)
                self._places[name] = Workplace(
                    self._sunk, body, stage.target.cutter, stage.machine, self._job.path_tolerance,
                    min(self._off_mm, self._job.path_tolerance + tolerances.PASS_FACET_SAG_MM), stage.stage.stock_left,
                )  # fmt: skip
            return self._places[name]

    def _steps_of(self, target: StageTarget) -> OffsetSteps:
        with self._lock:
            if target.name not in self._steps:
                self._steps[target.name] = self._steps_all_over(target)
            return self._steps[target.name]

    def _steps_all_over(self, target: StageTarget) -> OffsetSteps:
        mesh, parent, bends = self._zoning.surface.mesh, self._zoning.surface.parent, self._bends
        if target.cusp_mm is None:
            return even_steps(mesh.normal, target.flat_step_mm)
        return cusp_steps(
            target.cutter, target.cusp_mm, self._axis, mesh.normal, bends.k_max_per_mm[parent],
            bends.k_min_per_mm[parent], bends.k_max_direction[parent],
        )  # fmt: skip

    def _surface(self, number: int, overlap: float) -> PassSurface:
        surfaces = self._own.surfaces
        if overlap not in surfaces:
            surfaces[overlap] = pass_surface(
                self._zoning.surface, self._sharp, self._zoning.zone, number, self._takes, overlap * _ROOM_FOR_OVERLAP
            )
        return surfaces[overlap]

    def _proof_points(self, stage: StageConditions, surface: PassSurface) -> ProofPoints:
        name, points = stage.target.name, self._own.points
        if name not in points:
            points[name] = proof_points(surface, self._zoning.surface.mesh, self._place(stage), _PROOF_POINTS)
        return points[name]


def numbers_from(
    layer: PassLayer | None, number: int, check: Callable[[], None] = lambda: None
) -> Callable[[Advice, StageConditions], Advice]:
    """Gives candidates of a zone the numbers of their laid passes; leaves them as they are where none are laid.

    `check` is called before each: what it raises ends the work.
    """
    if layer is None:
        return lambda advice, stage: advice

    def numbers(advice: Advice, stage: StageConditions) -> Advice:
        check()
        return layer.numbers_of(number, advice, stage)

    return numbers


def uphill_steps_mm(steps: OffsetSteps, normal: Floats, axis: Floats) -> Floats:
    """(m,) step along the surface that level passes may be apart: across them the surface runs uphill."""
    uphill = axis - (normal @ axis)[:, None] * normal
    uphill /= np.maximum(np.linalg.norm(uphill, axis=1), 1e-12)[:, None]
    cosine2 = np.clip(np.einsum("mx,mx->m", uphill, steps.direction) ** 2, 0.0, 1.0)
    return np.asarray(np.sqrt(steps.least_mm**2 * cosine2 + steps.most_mm**2 * (1.0 - cosine2)))


def _target_mm(advice: Advice, target: StageTarget) -> float:
    """The cusp to hold; of a stage that keeps a step, what is foreseen for it."""
    if target.cusp_mm is not None:
        return target.cusp_mm
    return (advice.cusp_um.max or advice.cusp_um.p95 or UM_PER_MM) / UM_PER_MM
