"""What a comparison of two plans answers: plain frozen records. A is the plan before, B the one after.

Lengths are mm, angles degrees, unless a name says otherwise. ``None`` means "not known", never a guess. Differences are
B less A.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

SCHEMA = "advisor-compare/1"

ZoneKind = Literal["same", "changed", "added", "removed", "split", "merged", "redrawn"]
Cause = Literal["surface", "settings", "around", "facets"]
Value = str | float | bool | None


@dataclass(frozen=True)
class Registration:
    """How B lies against A: A turned about its origin by the right hand, then shifted, lies on B.

    ``is_moved`` is False where the two lie on each other as they are; the turn is then 0. ``unchanged_share`` is the
    share of both surfaces that lies on the other within the tolerance so, ``unmoved_share`` what it would be without
    the move. ``residual_um`` is the root mean square distance of what is unchanged. ``mirror_share`` is that share for
    the mirror image of A, where that fits better: then ``is_mirror_image``. ``tool_axis_deg`` is the angle between the
    two tool axes on the part, of the first set-ups.
    """

    is_searched: bool
    is_moved: bool
    turn_deg: float
    axis: tuple[float, float, float]
    shift_mm: tuple[float, float, float]
    unchanged_share: float
    unmoved_share: float
    residual_um: float | None
    is_mirror_image: bool
    mirror_share: float | None
    tool_axis_deg: float


@dataclass(frozen=True)
class ChangedPlace:
    """A connected place where the surfaces lie apart by more than the tolerance; in coordinates of B.

    ``new_mm2`` is surface of B that A does not have, ``gone_mm2`` surface of A that B does not have. ``added_mm`` and
    ``taken_mm`` are the deepest change each way. Zones are those of the plans that the place lies in.
    """

    id: int
    new_mm2: float
    gone_mm2: float
    added_mm: float
    taken_mm: float
    centre_mm: tuple[float, float, float]
    size_mm: tuple[float, float, float]
    zones_a: tuple[int, ...]
    zones_b: tuple[int, ...]


@dataclass(frozen=True)
class SurfaceChange:
    """What of the surface changed. Shares are of the area of each; ``volume_mm3`` is B less A, both closed."""

    area_a_mm2: float
    area_b_mm2: float
    gone_mm2: float
    gone_share: float
    new_mm2: float
    new_share: float
    added_mm: float
    taken_mm: float
    volume_mm3: float | None
    places: tuple[ChangedPlace, ...]


@dataclass(frozen=True)
class FieldChange:
    """A number or word of a zone that differs: its name as in ``plan.json``, which carries the unit."""

    name: str
    a: Value
    b: Value


@dataclass(frozen=True)
class ZoneChange:
    """A zone of A and what became of it in B, by the numbers of the two plans.

    ``same`` and ``changed`` have one zone each way; ``added`` none of A, ``removed`` none of B; ``split`` one of A,
    ``merged`` one of B, ``redrawn`` several each way. ``cause`` is where a difference comes from: its own ``surface``,
    the ``settings``, the surface ``around`` it, or nothing but the ``facets`` of two exports; a zone with such a
    difference is the same, and ``fields`` tell it nevertheless. ``gone_mm2`` and ``new_mm2`` are its changed area.
    ``shift_mm`` is how far it moved, where it is the same surface elsewhere. Minutes are over all stages.
    """

    kind: ZoneKind
    zones_a: tuple[int, ...]
    zones_b: tuple[int, ...]
    name: str
    cause: Cause | None
    area_a_mm2: float | None
    area_b_mm2: float | None
    gone_mm2: float
    new_mm2: float
    shift_mm: tuple[float, float, float] | None
    total_min_a: float | None
    total_min_b: float | None
    total_min_difference: float | None
    fields: tuple[FieldChange, ...]


@dataclass(frozen=True)
class SettingChange:
    """A setting in force that differs; ``None`` where a plan has none of that name. What decided it is told beside."""

    name: str
    a: str | None
    b: str | None
    source_a: str | None
    source_b: str | None


@dataclass(frozen=True)
class Difference:
    """A sum of both plans and its difference; None where either is not known."""

    a: float | None
    b: float | None
    difference: float | None


@dataclass(frozen=True)
class TotalsChange:
    """Sums over all zones. By stage: minutes of the stage; by class: minutes of all stages in the slope class.

    ``is_like_counted`` is False where minutes of one plan are those of laid passes and of the other estimated.
    """

    area_mm2: Difference
    cutting_min: Difference
    total_min: Difference
    total_min_by_stage: Mapping[str, Difference]
    total_min_by_class: Mapping[str, Difference]
    is_like_counted: bool


@dataclass(frozen=True)
class ToleranceUsed:
    """Within which surfaces count as the same, and what it is the sum of; ``None`` parts where the user gave it."""

    tolerance_mm: float
    job_mm: float | None
    chord_a_mm: float | None
    chord_b_mm: float | None


@dataclass(frozen=True)
class Comparison:
    """The whole answer.

    ``is_changed`` says whether surface, settings, zones or advice differ by more than tolerances; a move alone is no
    change, nor is what comes from facets only. ``is_same_model`` says whether both are of the same file and lie alike.
    """

    schema: str
    part_a: str
    part_b: str
    is_changed: bool
    is_same_model: bool
    tolerance: ToleranceUsed
    registration: Registration
    surface: SurfaceChange
    zones: tuple[ZoneChange, ...]
    settings: tuple[SettingChange, ...]
    totals: TotalsChange
    notes: tuple[str, ...]
