"""What the program answers: plain frozen records, and their JSON.

Field names and their nesting are the public face that scripts rely on (``docs/file-formats.md``).
Lengths are mm, angles degrees, unless a name says otherwise. ``None`` means "not computed", never a guess.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

SCHEMA = "advisor-plan/1"

SlopeClass = Literal["flat", "shallow", "steep", "undercut"]
Strategy = Literal["constant_z", "parallel_line", "constant_cusp"]
Joint = Literal["tangent", "inside corner", "outside corner"]

SLOPE_CLASSES: tuple[SlopeClass, ...] = ("flat", "shallow", "steep", "undercut")
STRATEGIES: tuple[Strategy, ...] = ("constant_z", "parallel_line", "constant_cusp")

# A zone of many small features (drilled holes, pins, letters) that are noted together, not finished by a ball.
SMALL_FEATURES_SHAPE = "small features"


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
    """One clamping of the part: which way the spindle points (out of the part), and what it reaches."""

    name: str
    tool_axis: tuple[float, float, float]
    reached_share: float | None


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
class Spread:
    """Area-weighted spread of a facet quantity over a zone."""

    min: float
    p05: float
    mean: float
    p95: float
    max: float


@dataclass(frozen=True)
class Range:
    """Smallest and largest value over a zone."""

    min: float
    max: float


@dataclass(frozen=True)
class Cusp:
    """Predicted cusp height normal to the surface, um. ``None`` where the cutter leaves surface uncut."""

    target: float | None
    p95: float | None
    max: float | None


@dataclass(frozen=True)
class Neighbour:
    """A zone that shares boundary with this one."""

    zone: int
    length_mm: float
    joint: Joint


@dataclass(frozen=True)
class Repeats:
    """The zone is one of several congruent ones: program the first of its group, copy the rest.

    The model is turned about the tool axis through the origin by ``turn_deg``, then shifted. A mirror image is listed
    but cannot be copied so.
    """

    group: int
    of: int
    turn_deg: float
    shift_mm: tuple[float, float, float]
    model: int
    is_mirrored: bool
    pattern: str
    centre_mm: tuple[float, float, float] | None
    pitch_deg: float | None


@dataclass(frozen=True)
class Trade:
    """What keeping a zone together was weighed against: the split by slope that needs least path.

    ``blend_price_mm`` is what the blend line of the split counts for, in path. Split fields are ``None`` where no
    split holds the target.
    """

    whole_path_mm: float
    whole_min: float | None
    whole_tip_share: float | None
    split_at_deg: float | None
    split_path_mm: float | None
    split_min: float | None
    split_tip_share: float | None
    blend_mm: float | None
    blend_price_mm: float | None
    why: tuple[str, ...]


@dataclass(frozen=True)
class Tilt:
    """A tilt that keeps the contact off the tip, and what it gains at the contact of the least slope.

    ``allowed`` says whether the job's machine can tilt so far. Speeds are ``None`` where no spindle speed is known.
    """

    tilt_deg: float
    allowed: bool
    contact_diameter_before_mm: float
    contact_diameter_after_mm: float
    surface_speed_before_m_per_min: float | None
    surface_speed_after_m_per_min: float | None


@dataclass(frozen=True)
class ErrorBudget:
    """How far the finished surface may lie from the drawn one: the parts, their plain sum, and the tolerance.

    The sum is the worst case. Parts that are not known are ``None`` and left out of it; ``largest`` names the
    largest part, ``within`` is ``None`` where the job states no tolerance.
    """

    cusp_um: float | None
    facets_um: float | None
    path_um: float
    bending_um: float | None
    total_um: float
    tolerance_um: float | None
    within: bool | None
    largest: str


@dataclass(frozen=True, kw_only=True)
class Advice:
    """One way to cut one zone in one stage. Fields that a strategy does not use are ``None``.

    ``stepover_mm`` is measured along the surface, ``line_spacing_mm`` in plan, ``z_step_mm`` along the tool
    axis, ``direction_deg`` from +X (of the set-up) about the tool axis. Surface speeds are those at the contact.
    ``cusp_along_feed_um`` is the mark each tooth leaves on its way, beside ``cusp_um`` between passes.
    ``corner_feed_mm_per_min`` is the feed advised where a pass walks into an inside corner. Minutes are of this
    stage; ``total_min`` has links in it. A candidate that is not ``usable`` has no numbers of its passes.
    """

    strategy: Strategy
    tool: int
    stage: str
    stepover_mm: float | None
    line_spacing_mm: float | None
    z_step_mm: float | None
    direction_deg: float | None
    cusp_um: Cusp
    ra_um: float | None
    contact_diameter_mm: Range | None
    tip_contact_share: float | None
    spindle_rpm: float | None
    surface_speed_m_per_min: Range | None
    mean_surface_speed_m_per_min: float | None = None
    feed_per_tooth_mm: float | None = None
    cusp_along_feed_um: float | None = None
    feed_mm_per_min: float | None
    corner_feed_mm_per_min: float | None = None
    passes: int | None
    path_mm: float | None
    lifts: int | None
    cutting_min: float | None
    total_min: float | None
    total_min_range: tuple[float, float] | None
    tilt: Tilt | None = None
    error_budget: ErrorBudget | None = None
    usable: bool
    why: tuple[str, ...]


@dataclass(frozen=True)
class ClassAreas:
    """Area in each slope class, mm2."""

    flat: float
    shallow: float
    steep: float
    undercut: float


@dataclass(frozen=True)
class Zone:
    """A connected area that is finished in one way.

    ``slope_class`` is the one that covers most of it; a zone kept together over several has all of them in
    ``class_area_mm2``. ``concave_radius_mm`` is the tightest hollow: 1 % of the area may be tighter.
    """

    id: int
    setup: int
    name: str
    slope_class: SlopeClass
    shape: str | None
    is_closed: bool | None
    facets: int
    area_mm2: float
    plan_area_mm2: float
    class_area_mm2: ClassAreas
    slope_deg: Spread
    z_mm: Range
    concave_radius_mm: float | None
    reachable_share: float | None
    features: int
    is_protected: bool
    repeats: Repeats | None
    neighbours: tuple[Neighbour, ...]
    advice: Advice | None
    steps: tuple[Advice, ...]
    candidates: tuple[Advice, ...]
    trade: Trade | None = None


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
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    zone: NDArray[np.int32]
    slope_deg: NDArray[np.float64]
    smooth_slope_deg: NDArray[np.float64]
    slope_class: NDArray[np.int8]


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


@dataclass(frozen=True)
class Plan:
    """The answer for one part: the record that is written to ``plan.json``, and the facets it speaks of."""

    record: PlanRecord
    facets: FacetArrays

    @property
    def zones(self) -> tuple[Zone, ...]:
        """Zones, largest area first."""
        return self.record.zones

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
