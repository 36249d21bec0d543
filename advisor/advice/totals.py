"""What a plan comes to: area, path and minutes of all zones and stages."""

from __future__ import annotations

import math
from collections.abc import Iterable

from advisor.model import SLOPE_CLASSES, Advice, ClassTotal, Totals, Zone


def totals_of(zones: tuple[Zone, ...]) -> Totals:
    """Area, minutes and path of all zones and all stages, and by slope class."""
    area = math.fsum(zone.area_mm2 for zone in zones)
    by_class = {}
    for slope_class in SLOPE_CLASSES:
        members = [zone for zone in zones if zone.slope_class == slope_class]
        class_area = math.fsum(getattr(zone.class_area_mm2, slope_class) for zone in zones)
        shares = [
            (getattr(z.class_area_mm2, slope_class) / z.area_mm2, step) for z in zones for step in _steps_cut([z])
        ]
        path = math.fsum(share * (step.path_mm or 0.0) for share, step in shares)
        minutes = sum_or_none(
            None if step.total_min is None else share * step.total_min for share, step in shares if share > 0
        )
        by_class[slope_class] = ClassTotal(len(members), class_area, class_area / area if area else 0.0, path, minutes)
    steps = _steps_cut(zones)
    ranges = [step.total_min_range for step in steps]
    low, high = (sum_or_none(None if span is None else span[end] for span in ranges) for end in (0, 1))
    return Totals(
        area,
        sum_or_none(step.cutting_min for step in steps),
        sum_or_none(step.total_min for step in steps),
        None if low is None or high is None else (low, high),
        by_class,
    )


def _steps_cut(zones: Iterable[Zone]) -> list[Advice]:
    return [step for zone in zones for step in zone.steps if step.usable]


def sum_or_none(values: Iterable[float | None]) -> float | None:
    """Sum; None where a part is not known or there is none."""
    known = list(values)
    if not known or None in known:
        return None
    return math.fsum(value for value in known if value is not None)
