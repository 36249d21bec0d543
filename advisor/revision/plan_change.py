"""What differs between two plans beside their zones: settings in force, and what all comes to."""

from __future__ import annotations

import re
from collections.abc import Iterable

from advisor.advice.totals import sum_or_none
from advisor.model import SLOPE_CLASSES, Plan, PlanRecord, Setting
from advisor.revision.records import Difference, SettingChange, TotalsChange
from advisor.revision.zone_change import LIKE_NUMBERS

# A setting that the part decided, as the slope to split at, follows from the part: another export moves it a little.
_BY_PART = "part"
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


def setting_changes(a: PlanRecord, b: PlanRecord) -> tuple[SettingChange, ...]:
    """Settings that differ, in the order of the plans; where only what decided them differs, they do not."""
    before, after = _by_name(a.settings), _by_name(b.settings)
    told = []
    for name in dict.fromkeys([*before, *after]):
        one, other = before.get(name), after.get(name)
        if one is None or other is None or not _is_one(one, other):
            told.append(
                SettingChange(
                    name,
                    None if one is None else one.value,
                    None if other is None else other.value,
                    None if one is None else one.source,
                    None if other is None else other.source,
                )
            )
    return tuple(told)


def _by_name(settings: Iterable[Setting]) -> dict[str, Setting]:
    return {setting.name: setting for setting in settings}


def _is_one(one: Setting, other: Setting) -> bool:
    if one.value == other.value:
        return True
    if _BY_PART not in (one.source, other.source):
        return False
    words = _NUMBER.sub("#", one.value), _NUMBER.sub("#", other.value)
    numbers = list(zip(_numbers(one), _numbers(other), strict=False))
    near = all(abs(x - y) <= LIKE_NUMBERS * max(abs(x), abs(y)) for x, y in numbers)
    return words[0] == words[1] and near


def _numbers(setting: Setting) -> list[float]:
    return [float(number) for number in _NUMBER.findall(setting.value)]


def totals_change(a: Plan, b: Plan) -> TotalsChange:
    """Area and minutes of both plans, and the differences; by stage and by slope class where both have them."""
    one, other = a.record.totals, b.record.totals
    stages = [stage.name for stage in a.record.stages if stage.name in {another.name for another in b.record.stages}]
    return TotalsChange(
        difference(one.area_mm2, other.area_mm2),
        difference(one.cutting_min, other.cutting_min),
        difference(one.total_min, other.total_min),
        {name: difference(_stage_minutes(a, name), _stage_minutes(b, name)) for name in stages},
        {
            name: difference(one.by_class[name].total_min, other.by_class[name].total_min)
            for name in SLOPE_CLASSES
            if name in one.by_class and name in other.by_class
        },
        _laid(a) == _laid(b),
    )


def are_like_totals(totals: TotalsChange) -> bool:
    """Whether the minutes of both plans are one number, or both unknown."""
    told = totals.total_min
    if told.a is None or told.b is None:
        return told.a == told.b
    return abs(told.b - told.a) <= LIKE_NUMBERS * max(told.a, told.b)


def difference(a: float | None, b: float | None) -> Difference:
    """B less A; not known where either is not."""
    return Difference(a, b, None if a is None or b is None else b - a)


def _stage_minutes(plan: Plan, stage: str) -> float | None:
    return sum_or_none(
        step.total_min for zone in plan.zones for step in zone.steps if step.usable and step.stage == stage
    )


def _laid(plan: Plan) -> bool:
    return any(step.is_laid for zone in plan.zones for step in zone.steps)
