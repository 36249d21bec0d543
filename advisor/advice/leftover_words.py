"""What to do about a place left over, in sentences."""

from __future__ import annotations

from advisor.advice.reach_words import in_words
from advisor.job import Tool
from advisor.model import Leftover
from advisor.words import plain_number

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


def leftover_words(place: Leftover, tool: Tool, smaller: Tool | None) -> tuple[str, ...]:
    """Sentences on the pass that a place left over asks for.

    Parameters
    ----------
    place : Leftover
    tool : Tool
        The finishing one, that leaves it.
    smaller : Tool or None
        The one that is to follow there.
    """
    told = (_of_pass(place, tool), _of_lines(place, smaller), _of_fit(place), _of_stick_out(place))
    return tuple(sentence for sentence in told if sentence)


def _of_pass(place: Leftover, tool: Tool) -> str:
    ball = f"the {plain_number(tool.diameter)} mm {in_words(tool.kind)}"
    high = f"{plain_number(place.max_um)} um high at most"
    if place.pass_kind == "another set-up":
        return f"Another set-up, or a tilted tool: no ball gets there along this axis ({high})."
    if place.pass_kind == "groove pass":
        return f"Groove pass: {ball} does not get down there ({high})."
    return f"Corner pass: {ball} leaves a strip along the corner ({high})."


def _of_lines(place: Leftover, tool: Tool | None) -> str | None:
    if tool is None or place.passes is None or place.stepover_mm is None or place.length_mm is None:
        return None
    count = _NUMBERS[place.passes] if place.passes < len(_NUMBERS) else plain_number(place.passes)
    lines = f"{count} line{'s' if place.passes > 1 else ''}"
    apart = f", {plain_number(place.stepover_mm)} mm apart" if place.passes > 1 else ""
    where = "corner" if place.kind == "corner" else "groove"
    return (
        f"{lines[0].upper()}{lines[1:]} along {plain_number(place.length_mm)} mm of {where}{apart}, with the "
        f"{plain_number(tool.diameter)} mm {in_words(tool.kind)}."
    )


def _of_fit(place: Leftover) -> str | None:
    if place.fit_diameter_mm is None:
        return None
    size = plain_number(place.fit_diameter_mm)
    if place.diameter_mm is None:
        return f"No tool asked for gets in; a ball of {size} mm would, nearly everywhere."
    return f"The largest ball that gets to nearly all of it: {size} mm."


def _of_stick_out(place: Leftover) -> str | None:
    if place.stick_out_mm is None:
        return None
    needed = f"It must stand out of its holder by {plain_number(place.stick_out_mm)} mm or more"
    if place.needs_longer_stick_out is None:
        return f"{needed}."
    return f"{needed}: {'longer than in the job' if place.needs_longer_stick_out else 'no longer than in the job'}."
