"""What was weighed as the zones were drawn, in words: kept together against split, repeats, the price of the map."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.advice.choose import in_words
from advisor.model import Plan, Zone
from advisor.words import plain_number


def explain_lines(plan: Plan) -> Iterator[str]:
    """Lines that say why the map is drawn as it is."""
    record = plan.record
    price = record.map_price
    yield (
        f"The map costs {price.total_mm:,.0f} mm of path in the finish stage, blend lines "
        f"({price.blend_price_mm_per_mm:g} mm a mm) and zones ({price.zone_price_mm:g} mm each) counted in; no map can "
        f"cost less than {price.least_mm:,.0f} mm."
    )
    steep_from = next(setting for setting in record.settings if setting.name == "steep_from")
    if steep_from.source == "part":
        yield f"What is split by slope is split at {steep_from.value}, where that needs least path."
    for zone in record.zones:
        yield from _zone_lines(zone)


def _zone_lines(zone: Zone) -> Iterator[str]:
    yield f"{zone.id}  {zone.name}: {_how(zone)}{_repeats(zone)}"
    if zone.trade is not None:
        for sentence in zone.trade.why:
            yield f"     {sentence}"
    if zone.advice is not None and zone.advice.why:
        yield f"     {zone.advice.why[0]}"


def _how(zone: Zone) -> str:
    words = in_words(zone)
    if zone.advice is None or not zone.advice.usable or zone.advice.cusp_um.max is None:
        return words
    return f"{words}, cusp up to {plain_number(zone.advice.cusp_um.max)} um"


def _repeats(zone: Zone) -> str:
    repeats = zone.repeats
    if repeats is None:
        return ""
    if repeats.is_mirrored:
        return f"; mirror image of zone {repeats.model}: cannot be copied by turning"
    if repeats.model == zone.id:
        return f"; program this one, copy it {repeats.of - 1} times" if repeats.of > 1 else ""
    shift = ", ".join(map(_thousandths, repeats.shift_mm))
    return f"; copy of zone {repeats.model}: turn {_thousandths(repeats.turn_deg)} deg, shift {shift} mm"


def _thousandths(value: float) -> str:
    # no -0.000, and no commas within numbers of a list
    return f"{round(value, 3) + 0.0:.3f}"
