"""What the program answers: plain frozen records, and their JSON.

Field names and their nesting are the public face that scripts rely on (``docs/file-formats.md``).
Lengths are mm, angles degrees, unless a name says otherwise. ``None`` means "not computed", never a guess.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from advisor.zone_model import (
    SLOPE_CLASSES,
    SMALL_FEATURES_SHAPE,
    STRATEGIES,
    Advice,
    ClassAreas,
    Cusp,
    ErrorBudget,
    FeedTilt,
    FittedSurface,
    Joint,
    Neighbour,
    Range,
    Repeats,
    SlopeClass,
    Spread,
    Strategy,
    SurfaceKind,
    Tilt,
    TiltHold,
    TiltSide,
    Trade,
    Zone,
    ZoneLeftover,
    ZoneOutline,
    ZoneReach,
    ZoneTilt,
)

__all__ = [
    "SCHEMA",
    "SLOPE_CLASSES",
    "SMALL_FEATURES_SHAPE",
    "STRATEGIES",
    "Advice",
    "ClassAreas",
    "ClassTotal",
    "Cusp",
    "ErrorBudget",
    "FacetArrays",
    "FeedTilt",
    "FittedSurface",
    "Joint",
    "Leftover",
    "MapPrice",
    "Neighbour",
    "Orientation",
    "OutlineArrays",
    "OutlineKind",
    "Part",
    "PassKind",
    "Plan",
    "PlanRecord",
    "Range",
    "Repair",
    "Repeats",
    "SequenceStep",
    "Setting",
    "Setup",
    "SlopeClass",
    "Spread",
    "StageRecord",
    "Strategy",
    "SurfaceKind",
    "Tilt",
    "TiltHold",
    "TiltSide",
    "ToolRecord",
    "ToolSequence",
    "Totals",
    "Trade",
    "Zone",
    "ZoneLeftover",
    "ZoneOutline",
    "ZoneReach",
    "ZoneTilt",
    "plan_from_json",
    "plan_schema",
    "plan_to_json",
]

SCHEMA = "advisor-plan/1"

OutlineKind = Literal["boundary", "overlap"]
PassKind = Literal["corner pass", "groove pass", "another set-up"]


@dataclass(frozen=True)
class Repair:
    """One kind of mend made to the mesh as it was read, and how often it was needed."""

    what: str
    count: int


@dataclass(frozen=True)
class Part:
    """The part as planned: size, units, mends and warnings."""

    name: str
    file: str
    sha256: str
    facets: int
    vertices: int
    bodies: int
    watertight: bool
    size_mm: tuple[float, float, float]
    area_mm2: float
    volume_mm3: float | None
    unit: str
    unit_assumed: bool
    repairs: tuple[Repair, ...]
    chord_error_um: float | None
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Setup:
    """One clamping of the part: which way the spindle points (out of the part), and what it reaches.

    ``index_deg`` is the turn of the machine's rotary table that brings it there, by the right hand about
    ``rotary_axis`` of the plan, 0 for the job's own axis; ``None`` without a table, or where it cannot.
    """

    name: str
    tool_axis: tuple[float, float, float]
    reached_share: float | None
    index_deg: float | None = None


@dataclass(frozen=True)
class Orientation:
    """A fixed tool axis of a 3+2 machine and the zones cut with it, ``setup`` by place.

    The spindle leans by ``tilt_deg`` from the set-up's axis towards ``azimuth_deg``, from +X of the set-up about that
    axis; ``None`` upright. ``off_tip_share`` is what of the area of its zones is reached and cut beside the tip.
    ``stick_out_mm`` is the least length out of the holder; ``None`` where the job describes none.
    """

    setup: int
    tool_axis: tuple[float, float, float]
    tilt_deg: float
    azimuth_deg: float | None
    zones: tuple[int, ...]
    area_mm2: float
    off_tip_share: float
    stick_out_mm: float | None


@dataclass(frozen=True)
class Leftover:
    """A connected place that the finishing cutter is too large for, as a job of its own for a smaller one.

    ``id`` counts from 1 in the order of the list; ``FacetArrays.leftover_place`` has it. ``zones`` it lies in, the one
    with most of it first; ``kind`` is ``corner``, or ``groove`` where the cutter does not get down at all.
    ``pass_kind`` names the pass, ``another set-up`` where no ball gets in along this axis. ``middle_mm`` is in the
    part's coordinates. Heights are of material over the surface. ``diameter_mm`` is that of the largest tool asked for
    that gets to nearly all of it and ``tool`` its name, ``path_mm`` what that needs on a flat for the same cusp;
    ``None`` where no tool does. ``fit_diameter_mm`` is measured: of the largest ball on 95 % of what any fits on.

    ``length_mm`` is the length of the corner: of the line in the middle of the place, its branches together.
    ``passes`` lines of that length, ``stepover_mm`` apart, cover it: ``pass_path_mm`` in all, without ways between
    them, ``cutting_min`` at the feed of the tool sequence. ``depth_mm`` is from the part's highest point to the lowest
    of the place. ``stick_out_mm`` is the least length out of the holder (the finishing tool's where the tool has none),
    ``needs_longer_stick_out`` whether that is more than the job's; ``None`` where the job does not say.
    """

    zones: tuple[int, ...]
    kind: Literal["corner", "groove"]
    middle_mm: tuple[float, float, float]
    area_mm2: float
    p95_um: float
    max_um: float
    diameter_mm: float | None
    path_mm: float | None
    id: int = 0
    pass_kind: PassKind | None = None
    fit_diameter_mm: float | None = None
    tool: str | None = None
    length_mm: float | None = None
    stepover_mm: float | None = None
    passes: int | None = None
    pass_path_mm: float | None = None
    cutting_min: float | None = None
    depth_mm: float | None = None
    stick_out_mm: float | None = None
    needs_longer_stick_out: bool | None = None
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class SequenceStep:
    """One tool of a sequence and what it finishes; ``path_mm`` is area over the step of a flat."""

    tool: str
    diameter_mm: float
    area_mm2: float
    path_mm: float
    cutting_min: float | None


@dataclass(frozen=True)
class ToolSequence:
    """Tools that finish all that any of those asked for gets to, in the least time: large first.

    ``minutes`` has the changes of tools in it; ``None`` where no feed is known, and path decides.
    """

    steps: tuple[SequenceStep, ...]
    minutes: float | None
    why: str


@dataclass(frozen=True)
class ToolRecord:
    """A cutter as used by the plan."""

    name: str
    kind: Literal["ball", "bull"]
    diameter_mm: float
    corner_radius_mm: float
    flutes: int | None
    centre_flutes: int | None = None
    stick_out_mm: float | None = None
    bending_um_per_n: float | None = None


@dataclass(frozen=True)
class StageRecord:
    """One finishing stage: exactly one of the cusp and stepover targets is set."""

    name: str
    cusp_target_um: float | None
    stepover_mm: float | None
    stock_left_mm: float
    tool: int


@dataclass(frozen=True)
class ClassTotal:
    """Sums over one slope class.

    Areas are those of the surface in the class, whatever zone it lies in; zones count where the class covers most of
    them; path and minutes of a zone are shared out by area.
    """

    zones: int
    area_mm2: float
    area_share: float
    path_mm: float
    total_min: float | None


@dataclass(frozen=True)
class Totals:
    """Sums over all zones; minutes are over all stages."""

    area_mm2: float
    cutting_min: float | None
    total_min: float | None
    total_min_range: tuple[float, float] | None
    by_class: Mapping[SlopeClass, ClassTotal]


@dataclass(frozen=True)
class Setting:
    """A setting in force, and where it came from: ``default``, ``job file``, ``option`` or ``part``."""

    name: str
    value: str
    source: str


@dataclass(frozen=True)
class FacetArrays:
    """The cleaned mesh, cut along zone lines, in part coordinates. Arrays are read-only.

    Attributes
    ----------
    vertices : (n, 3) float64 array, mm
    faces : (m, 3) int32 array
    zone : (m,) int32 array
        Zone id of each facet, -1 where the job leaves the facet out.
    slope_deg : (m,) float64 array
        Angle between the facet's outward normal and the tool axis.
    smooth_slope_deg : (m,) float64 array
        The same of the smooth surface that the facets stand for: what the zone lines follow.
    slope_class : (m,) int8 array
        Index in ``SLOPE_CLASSES`` of the area that the facet lies in; a zone kept together has several.
    reach : (m,) int8 array or None
        Whether the finishing cutter gets there: 0 reached, 1 the cutter is too large or cannot get in, 2 shank or
        holder would touch, 3 faces away or hidden from the spindle. This and what follows is None where not worked out.
    needed_ball_mm : (m,) float32 array or None
        Diameter of the largest ball that fits there, whatever the job's tools: measured, 0 where not even one of 0.1 mm
        does, inf where one of 50 mm does, NaN where unknown. (Plans of earlier versions: the largest tool asked for.)
    leftover_mm : (m,) float32 array or None
        Height of material that the finishing cutter leaves there, 0 where it reaches, NaN where unknown.
    stick_out_mm : (m,) float32 array or None
        Least length out of the holder, NaN where unknown.
    leftover_place : (m,) int32 array or None
        ``id`` of the place left over that most of the facet belongs to, 0 for none.
    cusp_um : (m,) float32 array or None
        Height that the passes of the last stage leave, by the virtual cut: what 95 % of the place around stays within.
        Negative where they go below the surface by more than they may, inf where none of the zone's passes gets, NaN in
        zones without passes. None where none were laid.
    parts : (m,) int32 array or None
        Into how many parts a large facet falls on which not all is alike; 0 for facets that are told of as a whole.
    part_corner : (p, 3, 2) uint16 array or None
        Corners of the parts, facet by facet: the first is ``a + u (b - a) + v (c - a)`` with (u, v) the first row over
        32768 and a, b, c the facet's corners. ``advice.facet_parts.with_parts`` makes facets of them.
    part_reach, part_needed_ball_mm, part_leftover_mm, part_stick_out_mm, part_leftover_place : (p,) arrays or None
        The same as above of each part.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    zone: NDArray[np.int32]
    slope_deg: NDArray[np.float64]
    smooth_slope_deg: NDArray[np.float64]
    slope_class: NDArray[np.int8]
    reach: NDArray[np.int8] | None = None
    needed_ball_mm: NDArray[np.float32] | None = None
    leftover_mm: NDArray[np.float32] | None = None
    stick_out_mm: NDArray[np.float32] | None = None
    leftover_place: NDArray[np.int32] | None = None
    parts: NDArray[np.int32] | None = None
    part_corner: NDArray[np.uint16] | None = None
    part_reach: NDArray[np.int8] | None = None
    part_needed_ball_mm: NDArray[np.float32] | None = None
    part_leftover_mm: NDArray[np.float32] | None = None
    part_stick_out_mm: NDArray[np.float32] | None = None
    part_leftover_place: NDArray[np.int32] | None = None
    cusp_um: NDArray[np.float32] | None = None


@dataclass(frozen=True)
class OutlineArrays:
    """Outlines of zones: closed loops laid end to end. Arrays are read-only.

    Attributes
    ----------
    points : (k, 3) float64 array, mm
        The zone lies on the left hand seen from outside the part. A loop's last point joins its first.
    starts : (p + 1,) int64 array
        Loop ``i`` is ``points[starts[i]:starts[i + 1]]``.
    zone : (p,) int32 array
        Zone id.
    kind : (p,) str array
        ``boundary``, or ``overlap``: pushed out along the surface, for passes that blend.
    is_hole : (p,) bool array
        Whether the zone lies around the loop.
    neighbour : (k,) int32 array
        Zone beyond the segment from each point to the next; 0 on an open rim, -1 what the job leaves out.
    joint : (k,) int8 array
        How the two meet there: 0 tangent, 1 inside corner, 2 outside corner, -1 open rim.
    """

    points: NDArray[np.float64]
    starts: NDArray[np.int64]
    zone: NDArray[np.int32]
    kind: NDArray[np.str_]
    is_hole: NDArray[np.bool_]
    neighbour: NDArray[np.int32]
    joint: NDArray[np.int8]


@dataclass(frozen=True)
class PassArrays:
    """Passes of the strategies advised, laid end to end: ``passes.npz``. Arrays are read-only.

    Attributes
    ----------
    points : (k, 3) float64 array, mm
        Centre of the ball along every pass, in part coordinates; of a bull-nose, of the ring of its corner. A closed
        pass repeats its first point. Ways between passes are not in it.
    starts : (p + 1,) int64 array
        Pass ``i`` is ``points[starts[i]:starts[i + 1]]``; passes of a zone and stage come in the order of cutting.
    zone : (p,) int32 array
        Zone id.
    strategy, stage : (p,) str arrays
    tool : (p,) int32 array
        Index in ``PlanRecord.tools``.
    closed : (p,) bool array
    contacts : (k, 3) float32 array or None, mm
        Where the cutter touches the surface, point by point.
    level : (p,) int32 array or None
        Which line of its zone's family a pass is a piece of.
    close_up_um : (c, n, n) float32 array or None
        Heights that passes leave on small squares of the surface, seen along its normal: row by row from above, each
        from left to right, at the middles of the cells. Negative below the surface, inf where no pass comes near, NaN
        off the zone.
    close_up_frame : (c, 4, 3) float64 array or None
        Of each square, in part coordinates: its middle (mm), and unit vectors to the right, up, and out of the part.
    close_up_mm : (c,) float64 array or None
        Side of each square.
    close_up_pass : (c,) int32 array or None
        A pass that cuts there; the others are those of its zone and stage.
    """

    points: NDArray[np.float64]
    starts: NDArray[np.int64]
    zone: NDArray[np.int32]
    strategy: NDArray[np.str_]
    stage: NDArray[np.str_]
    tool: NDArray[np.int32]
    closed: NDArray[np.bool_]
    contacts: NDArray[np.float32] | None = None
    level: NDArray[np.int32] | None = None
    close_up_um: NDArray[np.float32] | None = None
    close_up_frame: NDArray[np.float64] | None = None
    close_up_mm: NDArray[np.float64] | None = None
    close_up_pass: NDArray[np.int32] | None = None


@dataclass(frozen=True)
class MapPrice:
    """What the zone map costs, in mm of path of the finishing stage: passes, blend lines and zones.

    No map that keeps the rules of ``docs/zones.md`` costs less than ``least_mm``.
    """

    total_mm: float
    least_mm: float
    blend_price_mm_per_mm: float
    zone_price_mm: float


@dataclass(frozen=True)
class PlanRecord:
    """All of ``plan.json``."""

    schema: str
    version: str
    created: str
    part: Part
    setups: tuple[Setup, ...]
    tools: tuple[ToolRecord, ...]
    stages: tuple[StageRecord, ...]
    zones: tuple[Zone, ...]
    totals: Totals
    map_price: MapPrice
    settings: tuple[Setting, ...]
    cautions: tuple[str, ...]
    leftovers: tuple[Leftover, ...] = ()
    sequence: ToolSequence | None = None
    orientations: tuple[Orientation, ...] = ()
    rotary_axis: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Plan:
    """The answer for one part: the record that is written to ``plan.json``, and the facets it speaks of.

    ``draw_outlines`` works out the outlines of its zones; None in a plan read from a folder. ``passes`` is None where
    none were laid.
    """

    record: PlanRecord
    facets: FacetArrays
    draw_outlines: Callable[[], OutlineArrays] | None = field(default=None, repr=False, compare=False)
    passes: PassArrays | None = field(default=None, repr=False, compare=False)

    @property
    def zones(self) -> tuple[Zone, ...]:
        """Zones, largest area first."""
        return self.record.zones

    @cached_property
    def outlines(self) -> OutlineArrays | None:
        """Outlines of the zones, worked out when first asked for; None in a plan read from a folder."""
        return None if self.draw_outlines is None else self.draw_outlines()

    def to_json(self) -> str:
        """The text of ``plan.json``."""
        return plan_to_json(self.record)


@cache
def _adapter() -> Any:
    # pydantic takes a fifth of a second to import: only what reads or writes JSON pays for it
    from pydantic import TypeAdapter

    return TypeAdapter(PlanRecord)


def plan_to_json(record: PlanRecord) -> str:
    """Text of ``plan.json``: two-space indent, keys in the order of the records."""
    text: bytes = _adapter().dump_json(record, indent=2)
    return text.decode("utf-8") + "\n"


def plan_from_json(text: str | bytes) -> PlanRecord:
    """The record behind a ``plan.json``; raises ``pydantic.ValidationError`` where the text is not one."""
    record: PlanRecord = _adapter().validate_json(text)
    return record


def plan_schema() -> dict[str, Any]:
    """JSON Schema of ``plan.json``."""
    schema: dict[str, Any] = _adapter().json_schema(mode="serialization")
    return schema


if __name__ == "__main__":  # renews docs/plan.schema.json
    import json

    print(json.dumps(plan_schema(), indent=2))
