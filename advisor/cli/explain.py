"""What was weighed as the zones were drawn, in words: kept together against split, repeats, the price of the map."""

from __future__ import annotations

from collections.abc import Iterator

from advisor import tolerances
from advisor.advice.choose import IN_WORDS, in_words
from advisor.advice.tilt_words import azimuth_words
from advisor.model import Advice, Orientation, Plan, PlanRecord, Zone
from advisor.pack.copy_words import Copies, copies_lines, copies_of, mirror_words, move_words, program_words
from advisor.pack.lengths import LengthUnit, in_unit, length_unit
from advisor.words import counted, plain_number

# Places left over that are told of.
_MOST_PLACES = 10
# A cut into the smooth surface that is worth a word; what is less is chords of facets and passes.
_TELLING_GOUGE_UM = 10.0


def explain_lines(plan: Plan) -> Iterator[str]:
    """Lines that say why the map is drawn as it is, lengths in the job's unit."""
    record = plan.record
    unit = length_unit(record)
    copies = copies_of(record)
    for line in (*_head(record), *_of_table(record), *_of_orientations(record), *copies_lines(record, copies)):
        yield in_unit(line, unit)
    for zone in record.zones:
        for line in _zone_lines(zone, copies, unit):
            yield in_unit(line, unit)
    for line in _of_leftovers(record):
        yield in_unit(line, unit)


def _head(record: PlanRecord) -> Iterator[str]:
    price = record.map_price
    yield (
        f"The map costs as much as {price.total_mm:,.0f} mm of path in the finish stage: its passes, "
        f"{price.blend_price_mm_per_mm:g} times the length of the blend lines between zones, and "
        f"{price.zone_price_mm:,.0f} mm for each zone. No map that keeps the rules costs less than "
        f"{price.least_mm:,.0f} mm."
    )
    steep_from = next(setting for setting in record.settings if setting.name == "steep_from")
    if steep_from.source == "part":
        yield f"What is split by slope is split at {steep_from.value}, where that needs least path."


def _of_table(record: PlanRecord) -> Iterator[str]:
    """How the rotary table stands in every set-up."""
    if record.rotary_axis is None:
        return
    about = _vector(record.rotary_axis)
    for setup in record.setups:
        name = setup.name.capitalize()
        if setup.index_deg is None:
            yield (
                f"{name}: no turn of the rotary table about {about} brings its tool axis {_vector(setup.tool_axis)} to "
                "the spindle: clamp the part anew."
            )
        else:
            yield (
                f"{name}: rotary table at {round(setup.index_deg, 3) + 0.0:g} deg about {about}, by the right hand; "
                "the job's own tool axis is at 0 deg."
            )


def _of_orientations(record: PlanRecord) -> Iterator[str]:
    """The fixed tool axes of a 3+2 machine."""
    count = len(record.orientations)
    if count == 0:
        return
    yield f"{counted(count, 'orientation')} of the tool {'does' if count == 1 else 'do'} for all zones:"
    for one in record.orientations:
        setup = f" of {record.setups[one.setup].name}" if len(record.setups) > 1 else ""
        yield f"     {_lean(one)}{setup}, tool axis {_vector(one.tool_axis)}, zones {_listed(one.zones)}: " + (
            f"the tip is out of the cut on {one.off_tip_share:.0%} of their area."
        )


def _lean(orientation: Orientation) -> str:
    if orientation.azimuth_deg is None:
        return "Upright"
    return f"Tilted {orientation.tilt_deg:g} deg {azimuth_words(orientation.azimuth_deg)}"


def _listed(zones: tuple[int, ...]) -> str:
    return ", ".join(str(zone) for zone in zones)


def _vector(axis: tuple[float, float, float]) -> str:
    return f"({', '.join(plain_number(round(value, 4) + 0.0) for value in axis)})"


def _of_leftovers(record: PlanRecord) -> Iterator[str]:
    """The places that the finishing tool leaves over, the largest ones."""
    for place in record.leftovers[:_MOST_PLACES]:
        zones = f"zone{'s' if len(place.zones) > 1 else ''} {_listed(place.zones)}"
        yield f"Left over {place.id}, in {zones}, {plain_number(place.area_mm2)} mm2:"
        for sentence in place.why:
            yield f"     {sentence}"
    if len(record.leftovers) > _MOST_PLACES:
        yield f"{len(record.leftovers) - _MOST_PLACES} smaller places left over stand in plan.json."


def _zone_lines(zone: Zone, copies: dict[int, Copies], unit: LengthUnit) -> Iterator[str]:
    label = f"{zone.id}  {unit.height_words(zone)}: "
    if zone.repeats is not None and zone.repeats.model in copies and not zone.repeats.is_mirrored:
        if zone.repeats.model != zone.id:
            yield label + move_words(zone, unit)
            return
        yield f"{label}{_how(zone)}; {program_words(zone, copies[zone.id])}"
    else:
        yield f"{label}{_how(zone)}{mirror_words(zone)}"
    if zone.trade is not None:
        for sentence in zone.trade.why:
            yield f"     {sentence}"
    reach = () if zone.reach is None or zone.reach.held_back_by is None else zone.reach.why
    if zone.advice is not None and zone.advice.why and zone.advice.why[0] not in reach:
        yield f"     {zone.advice.why[0]}"
    for sentence in reach:
        yield f"     {sentence}"
    for candidate in zone.candidates:
        if candidate.is_laid:
            yield f"     {_laid_words(candidate)}"
    if zone.tilt is not None:
        for sentence in zone.tilt.why:
            yield f"     {sentence}"


def _laid_words(candidate: Advice) -> str:
    """What a candidate's laid passes need, and what the virtual cut says they leave."""
    words = f"Laid, {IN_WORDS[candidate.strategy]}: {candidate.path_mm:,.0f} mm in "
    words += f"{candidate.passes} pass{'' if candidate.passes == 1 else 'es'}"
    if candidate.spirals:
        words += f" ({candidate.spirals} spiral{'' if candidate.spirals == 1 else 's'})"
    words += f", {candidate.lifts} "
    words += f"lift{'' if candidate.lifts == 1 else 's'}"
    if candidate.total_min is not None:
        words += f", {plain_number(candidate.total_min)} min"
    if candidate.cusp_um.p95 is not None:
        words += f"; 95% of it within {plain_number(candidate.cusp_um.p95)} um"
    if candidate.uncut_share is not None and candidate.uncut_share > tolerances.TAIL_SHARE_OF_AREA:
        words += f"; on {candidate.uncut_share:.1%} much more is left"
    if candidate.gouge_um is not None and candidate.gouge_um >= _TELLING_GOUGE_UM:
        words += f"; {plain_number(candidate.gouge_um)} um into the smooth surface at most"
    return words + "."


def _how(zone: Zone) -> str:
    words = in_words(zone)
    if zone.advice is None or not zone.advice.usable or zone.advice.cusp_um.max is None:
        return words
    return f"{words}, cusp up to {plain_number(zone.advice.cusp_um.max)} um"
