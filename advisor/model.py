"""What the program answers: plain frozen records, and their JSON.

Field names and their nesting are the public face that scripts rely on (``docs/file-formats.md``).
Lengths are mm, angles degrees, unless a name says otherwise. ``None`` means "not computed", never a guess.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Any, Literal

from advisor.before_model import PlannedBefore
from advisor.left_model import BarePlace, Leftover, PassKind, SequenceStep, ToolSequence
from advisor.plan_arrays import FacetArrays, OutlineArrays, OutlineKind, PassArrays
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
    StepPoint,
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
    "PLAN_FILE",
    "SCHEMA",
    "SLOPE_CLASSES",
    "SMALL_FEATURES_SHAPE",
    "STRATEGIES",
    "Advice",
    "BarePlace",
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
    "NamedFace",
    "Neighbour",
    "Orientation",
    "OutlineArrays",
    "OutlineKind",
    "Part",
    "PassArrays",
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
    "StepPoint",
    "Strategy",
    "SurfaceKind",
    "Tilt",
    "TiltHold",
    "TiltSide",
    "Title",
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
# A plan folder is told by this file.
PLAN_FILE = "plan.json"


@dataclass(frozen=True)
class Repair:
    """One kind of mend made to the mesh as it was read, and how often it was needed."""

    what: str
    count: int


@dataclass(frozen=True)
class NamedFace:
    """A face of an exact model that has a name: its kind of surface (``free`` if of none), its area, a point on it.

    The point is in the part's coordinates, as ``at`` of a ``[[zone]]`` of the job is.
    """

    name: str
    kind: str
    area_mm2: float
    point_mm: tuple[float, float, float]


@dataclass(frozen=True)
class Part:
    """The part as planned: size, units, mends and warnings.

    ``body_names`` and ``named_faces`` are those of an exact model; empty for models that have facets of their own.
    """

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
    body_names: tuple[str, ...] = ()
    named_faces: tuple[NamedFace, ...] = ()


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
class Title:
    """Title block as the job has it; what is None is a line to fill in by hand."""

    part: str | None = None
    drawing: str | None = None
    revision: str | None = None
    machine: str | None = None
    by: str | None = None
    note: str | None = None


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
    bare_places: tuple[BarePlace, ...] = ()
    sequence: ToolSequence | None = None
    orientations: tuple[Orientation, ...] = ()
    rotary_axis: tuple[float, float, float] | None = None
    title: Title = Title()
    planned_before: PlannedBefore | None = None


@dataclass(frozen=True)
class Plan:
    """The answer for one part: the record that is written to ``plan.json``, and the facets it speaks of.

    ``draw_outlines`` works out or reads the outlines of its zones; None where a plan folder has none. ``passes`` is
    None where none were laid.
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
        """Outlines of the zones, worked out or read when first asked for; None where a plan folder has none."""
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
