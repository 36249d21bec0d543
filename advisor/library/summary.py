"""What a batch keeps of a part: a few numbers of its plan, or why there is none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from advisor.model import SLOPE_CLASSES, Plan, SlopeClass, Zone


@dataclass(frozen=True)
class ZoneMarks:
    """What a zone, told by its public number and name, is known by among others (see ``likeness``)."""

    zone: int
    name: str
    marks: tuple[float, ...]


@dataclass(frozen=True)
class PartMarks:
    """What a part is known by among others; ``zones`` are its largest that are cut with passes."""

    marks: tuple[float, ...]
    zones: tuple[ZoneMarks, ...]


@dataclass(frozen=True)
class PartSummary:
    """A planned part in short.

    ``file`` is relative to the folder of models and ``folder`` to the folder of the batch, both with ``/``.
    ``finish_path_mm`` is the length of the last stage over all zones with a usable way to cut them; ``cusp_um`` the
    highest of what 95 % of each of them keeps within; minutes are of all stages, None where no material is named.
    ``smallest_ball_mm`` is the diameter that fits the tightest zone, None where none was measured. ``repeats`` are
    zones to copy from another one. ``marks`` are what it is known by among others.
    """

    file: str
    folder: str
    sha256: str
    size_mm: tuple[float, float, float]
    facets: int
    bodies: int
    watertight: bool
    area_mm2: float
    zones: int
    class_area_mm2: Mapping[SlopeClass, float]
    cutter: str
    cutter_diameter_mm: float
    finish_path_mm: float
    warnings: tuple[str, ...]
    cutting_min: float | None = None
    total_min: float | None = None
    cusp_um: float | None = None
    smallest_ball_mm: float | None = None
    setups: int = 1
    repeats: int = 0
    marks: PartMarks | None = None


@dataclass(frozen=True)
class Failure:
    """A part that has no plan, and why; ``more`` are options that may help when it is tried again."""

    file: str
    reason: str
    more: tuple[str, ...] = ()


Outcome = PartSummary | Failure


def summary_of(plan: Plan, file: str, folder: str) -> PartSummary:
    """The plan in short."""
    from advisor.library.likeness import marks_of

    record = plan.record
    part = record.part
    tool = record.tools[record.stages[-1].tool]
    finish = [zone.advice for zone in record.zones if zone.advice is not None and zone.advice.usable]
    return PartSummary(
        file=file,
        folder=folder,
        sha256=part.sha256,
        size_mm=part.size_mm,
        facets=part.facets,
        bodies=part.bodies,
        watertight=part.watertight,
        area_mm2=record.totals.area_mm2,
        zones=len(record.zones),
        class_area_mm2={name: record.totals.by_class[name].area_mm2 for name in SLOPE_CLASSES},
        cutter=tool.name,
        cutter_diameter_mm=tool.diameter_mm,
        finish_path_mm=math.fsum(advice.path_mm or 0.0 for advice in finish),
        warnings=part.warnings,
        cutting_min=record.totals.cutting_min,
        total_min=record.totals.total_min,
        cusp_um=max((advice.cusp_um.p95 for advice in finish if advice.cusp_um.p95 is not None), default=None),
        smallest_ball_mm=min(
            (zone.reach.fit_diameter_mm for zone in record.zones if zone.reach and zone.reach.fit_diameter_mm),
            default=None,
        ),
        setups=len(record.setups),
        repeats=sum(_is_copy(zone) for zone in record.zones),
        marks=marks_of(plan),
    )


def _is_copy(zone: Zone) -> bool:
    repeats = zone.repeats
    return repeats is not None and not repeats.is_mirrored and repeats.model not in (0, zone.id)


@cache
def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(PartSummary)


def summary_to_json(summary: PartSummary) -> str:
    """One line of JSON."""
    text: bytes = _adapter().dump_json(summary)
    return text.decode("utf-8")


def summary_from_json(text: str) -> PartSummary:
    """The summary behind its JSON; raises ``ValueError`` where the text is not one."""
    summary: PartSummary = _adapter().validate_json(text)
    return summary
