"""What a machinist must know of a zone's reach, in sentences."""

from __future__ import annotations

from advisor import tolerances
from advisor.job import Tool
from advisor.model import ZoneReach
from advisor.words import plain_number


def reach_words(reach: ZoneReach | None, tool: Tool) -> tuple[str, ...]:
    """Sentences on what the finishing tool does not reach, what it leaves, how far it must stand out."""
    if reach is None:
        return ()
    told = [_of_cutter(reach, tool), _of_holder(reach, tool), _of_size(reach, tool)]
    return tuple(sentence for sentence in told if sentence)


def _of_cutter(reach: ZoneReach, tool: Tool) -> str | None:
    if reach.cutter_share < tolerances.MISSED_SHARE:
        return None
    left = ""
    if reach.leftover is not None:
        left = f", {plain_number(reach.leftover.max_um)} um high at most"
    return (
        f"The {plain_number(tool.diameter)} mm {tool.kind} leaves material on {reach.cutter_share:.1%} of it{left}: "
        "a smaller one must follow there."
    )


def _of_holder(reach: ZoneReach, tool: Tool) -> str | None:
    if reach.shank_or_holder_share >= tolerances.MISSED_SHARE:
        return (
            f"Shank or holder would touch on {reach.shank_or_holder_share:.1%} of it at the stick-out of the job."
            if tool.stick_out is not None
            else f"Neck or shank would touch on {reach.shank_or_holder_share:.1%} of it."
        )
    if reach.stick_out_mm is None or tool.stick_out is not None:
        return None
    return f"The tool must stand out of its holder by {plain_number(reach.stick_out_mm)} mm or more."


def _of_size(reach: ZoneReach, tool: Tool) -> str | None:
    size = reach.largest_diameter_mm
    if size is None or size == tool.diameter:
        return None
    if size < tool.diameter:
        return f"A ball of {plain_number(size)} mm would fit all that any gets to."
    return f"A ball of {plain_number(size)} mm would still fit."
