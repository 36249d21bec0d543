"""What a machinist must know of a zone's reach, in sentences."""

from __future__ import annotations

from advisor import tolerances
from advisor.job import Tool
from advisor.model import ZoneReach
from advisor.words import plain_number

_NEARLY_ALL = 0.98
# Of what any ball fits on one of ``fit_diameter_mm`` does on all but a hundredth: missed by no more than so much of a
# zone, smaller ones may get there unseen.
_SURE_SHARE = 0.02
_NO_BALL = (
    "No ball gets to it along this axis, however small: it leans over, if by a hair, or lies under an overhang or in a "
    "slit. Tilt the tool, or turn the part to another set-up."
)
_OTHERWISE = "Else tilt the tool, or turn the part to another set-up."


def reach_words(reach: ZoneReach, tool: Tool, fitting: Tool | None) -> tuple[str, ...]:
    """Sentences on what the finishing tool does not reach and which part of it is in the way, what it leaves, how far
    it must stand out; of what keeps it off most first. `fitting` is the largest tool that gets to all that any does.
    """
    if reach.share < tolerances.LEAST_REACHED_SHARE:
        return _of_blocked(reach, tool)
    told = [_of_cutter(reach, tool), _of_shank(reach), _of_holder(reach, tool), _of_length(reach, tool)]
    return tuple(sentence for sentence in (*told, _of_size(tool, fitting)) if sentence)


def no_ball_gets_there(reach: ZoneReach) -> bool:
    """Whether it is the surface that keeps every ball off all but scraps of a zone, and not their size."""
    return reach.held_back_by == "cutter" and max(reach.share, reach.fit_share or 0.0) < tolerances.LEAST_REACHED_SHARE


def _of_blocked(reach: ZoneReach, tool: Tool) -> tuple[str, ...]:
    """Of a zone that the tool hardly gets to: why, and what would get in."""
    if no_ball_gets_there(reach):
        return (_NO_BALL,)
    by_share = sorted(
        (
            (reach.cutter_share, _of_cutter_too_large(reach, tool)),
            (reach.shank_share, _of_shank(reach)),
            (reach.holder_share, _of_holder(reach, tool)),
        ),
        key=lambda told: -told[0],
    )
    return (*(sentence for _, sentence in by_share if sentence), _OTHERWISE)


def _of_cutter_too_large(reach: ZoneReach, tool: Tool) -> str | None:
    if reach.cutter_share < tolerances.MISSED_SHARE:
        return None
    size, share = reach.fit_diameter_mm, reach.fit_share or 0.0
    if size is None or _no_smaller_ball_helps(reach, tool):
        fits = "no ball does along this axis"
    else:
        where = "nearly all of it" if share >= _NEARLY_ALL else f"{share:.0%} of it"
        fits = f"{'one' if tool.kind == 'ball' else 'a ball'} of {plain_number(size)} mm would, on {where}"
    return (
        f"The {plain_number(tool.diameter)} mm {in_words(tool.kind)} does not get in on {reach.cutter_share:.1%} of it "
        f"without cutting elsewhere: {fits}."
    )


def _of_cutter(reach: ZoneReach, tool: Tool) -> str | None:
    if reach.cutter_share < tolerances.MISSED_SHARE:
        return None
    left = ""
    if reach.leftover is not None:
        left = f", {plain_number(reach.leftover.max_um)} um high at most"
    remedy = "a smaller one must follow there"
    if reach.fit_diameter_mm is None or _no_smaller_ball_helps(reach, tool):
        remedy = "no ball, however small, gets to most of that along this axis; tilt the tool, or turn the part over"
    return (
        f"The {plain_number(tool.diameter)} mm {in_words(tool.kind)} leaves material on {reach.cutter_share:.1%} of "
        f"it{left}: {remedy}."
    )


def _no_smaller_ball_helps(reach: ZoneReach, tool: Tool) -> bool:
    """Whether no ball gets to most of what a ball is kept off: as good as all that any fits on takes it, too."""
    size = reach.fit_diameter_mm
    is_as_good = tool.kind == "ball" and size is not None and size >= tool.diameter
    return is_as_good and reach.cutter_share > _SURE_SHARE


def _of_shank(reach: ZoneReach) -> str | None:
    if reach.shank_share < tolerances.MISSED_SHARE or reach.shank_short_mm is None:
        return None
    return (
        f"Neck or shank would touch on {reach.shank_share:.1%} of it: with flutes or a slim neck longer by "
        f"{plain_number(reach.shank_short_mm)} mm it would not."
    )


def _of_holder(reach: ZoneReach, tool: Tool) -> str | None:
    if reach.holder_share < tolerances.MISSED_SHARE or tool.stick_out is None or reach.stick_out_mm is None:
        return None
    return (
        f"The holder would touch on {reach.holder_share:.1%} of it at the job's stick-out of "
        f"{plain_number(tool.stick_out)} mm: with {plain_number(reach.stick_out_mm)} mm or more it would not."
    )


def _of_length(reach: ZoneReach, tool: Tool) -> str | None:
    if reach.stick_out_mm is None or tool.stick_out is not None or reach.shank_share >= tolerances.MISSED_SHARE:
        return None
    return f"The tool must stand out of its holder by {plain_number(reach.stick_out_mm)} mm or more."


def _of_size(tool: Tool, fitting: Tool | None) -> str | None:
    if fitting is None or fitting == tool:
        return None
    if fitting.diameter == tool.diameter:
        return f"{fitting.name}, as wide, gets to all of it that any gets to."
    named = f"A {in_words(fitting.kind)} of {plain_number(fitting.diameter)} mm"
    return (
        f"{named} would fit all that any gets to." if fitting.diameter < tool.diameter else f"{named} would still fit."
    )


def in_words(kind: str) -> str:
    """What a kind of tool is called."""
    return "bull-nose" if kind == "bull" else kind
