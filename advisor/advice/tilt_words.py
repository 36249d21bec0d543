"""What a machinist must know of tilting the tool over a zone, in sentences."""

from __future__ import annotations

from advisor import tolerances
from advisor.advice.conditions import TIP_SHARE_WORTH_TILT
from advisor.job import Tool
from advisor.model import Advice, FeedTilt, Tilt, TiltHold, ZoneTilt
from advisor.words import plain_number

# The sentence of ``complete.condition_words`` on a tilt by itself, neighbours not asked.
_ASKED_ALONE = "Tilt the tool "
_WHAT: dict[TiltHold, str] = {"holder": "the holder", "shank": "neck or shank", "cutter": "the cutter"}
# What rounds to nothing in tenths of a per cent.
_LEAST_TOLD_SHARE = 0.001
# Spindle speeds that differ by less are one.
_ALIKE_SHARE = 0.005
_AXES = {0.0: "+X", 90.0: "+Y", 180.0: "-X", 270.0: "-Y"}
_SIDES = {"both": "to either side", "uphill": "uphill", "downhill": "downhill"}


def azimuth_words(azimuth_deg: float) -> str:
    """``towards +Y``, or by its angle: from X of the set-up, anticlockwise as seen from the spindle."""
    name = _AXES.get(round(azimuth_deg, 6))
    return f"towards {name}" if name else f"towards {azimuth_deg:.0f} deg from +X"


def tilt_words(tilt: ZoneTilt, tool: Tool) -> tuple[str, ...]:
    """Sentences on a zone's tilt; none where the upright tool cuts beside its tip nearly all over."""
    gains_reach = tilt.reached_share > tilt.upright_reached_share + tolerances.LEAST_REACHED_SHARE
    if tilt.upright_reached_share - tilt.upright_off_tip_share < TIP_SHARE_WORTH_TILT and not gains_reach:
        return _of_group(tilt)
    told = [_of_fixed(tilt)]
    if gains_reach:
        told.append(f"Tilted so the tool gets to {tilt.reached_share:.0%} of it, upright to "
                    f"{tilt.upright_reached_share:.0%}.")  # fmt: skip
    if tilt.tilt_deg > 0.0 and tilt.stick_out_mm is not None and tool.stick_out is None:
        told.append(f"Tilted, it must stand out of its holder by {plain_number(tilt.stick_out_mm)} mm or more.")
    if tilt.lead is not None and tilt.lean is not None:
        told += [_of_feed("Lead", tilt.lead), _of_feed("Lean", tilt.lean)]
    return tuple(told)


def slower_words(tilt: Tilt | ZoneTilt, advice: Advice) -> tuple[str, ...]:
    """A sentence on how much slower to turn with a tilt; none where as fast as upright will do."""
    rpm, feed = tilt.spindle_rpm, tilt.feed_mm_per_min
    if rpm is None or advice.spindle_rpm is None or rpm > (1.0 - _ALIKE_SHARE) * advice.spindle_rpm:
        return ()
    and_feed = "" if feed is None else f" and {feed:.0f} mm/min"
    return (
        f"Tilted, run no more than {rpm:.0f} rev/min{and_feed}: more of the ball's side is in the cut, and there "
        f"{advice.spindle_rpm:.0f} would be faster than it may cut.",
    )


def _of_group(tilt: ZoneTilt) -> tuple[str, ...]:
    """A zone that needs no tilt may go with others that do."""
    if tilt.tilt_deg == 0.0:
        return ()
    return (
        f"It needs no tilt, but is as well cut tilted {tilt.tilt_deg:.0f} deg {azimuth_words(tilt.azimuth_deg or 0.0)} "
        f"with the zones of that orientation: the tool stays clear {_how_clear(tilt)}.",
    )


def _of_fixed(tilt: ZoneTilt) -> str:
    at_tip = 1.0 - tilt.upright_off_tip_share
    if tilt.tilt_deg == 0.0 and tilt.held_back_by is None:
        return "No fixed tilt gains much: whichever way the tool leans, about as much of it meets the tip as upright."
    if tilt.tilt_deg == 0.0:
        return f"No fixed tilt that would help is clear: {_touching(tilt)}; upright the tip cuts {at_tip:.0%} of it."
    held = "" if tilt.held_back_by is None else f"; with tilts that do better {_touching(tilt)}"
    return (
        f"Tilted {tilt.tilt_deg:.0f} deg {azimuth_words(tilt.azimuth_deg or 0.0)} the tool stays clear "
        f"{_how_clear(tilt)}. Its tip is out of the cut on {tilt.off_tip_share:.0%} of the zone, upright on "
        f"{tilt.upright_off_tip_share:.0%}{held}."
    )


def _how_clear(tilt: ZoneTilt) -> str:
    """Where a tilted tool stays clear: what is told of samples says so."""
    asked = f"asked at {plain_number(tilt.places)} places"
    if tilt.lost_by is None or tilt.lost_share <= 0.0:
        return f"wherever it is upright, {asked}"
    return (
        f"where it is upright but for {_share(tilt.lost_share)} of the zone, {asked}: {_WHAT[tilt.lost_by]} would "
        "touch there, so cut that upright"
    )


def _share(share: float) -> str:
    return f"{share:.1%}" if share >= _LEAST_TOLD_SHARE else "less than 0.1%"


def _of_feed(name: str, tilt: FeedTilt) -> str:
    what = f"{name} ({'along' if name == 'Lead' else 'across'} the feed)"
    if tilt.tilt_deg == 0.0:
        if tilt.held_back_by is None:
            return f"{what}: no tilt does better than upright."
        return f"{what}: not clear, {_touching(tilt)}."
    side = "" if name == "Lead" else f" {_SIDES[tilt.side]}"
    lost = f" but for {_share(tilt.lost_share)} of it" if tilt.lost_share > 0.0 else ""
    return f"{what}: clear at {tilt.tilt_deg:.0f} deg{side}{lost}, tip out of the cut on {tilt.off_tip_share:.0%}."


def _touching(tilt: ZoneTilt | FeedTilt) -> str:
    assert tilt.held_back_by is not None
    return f"{_WHAT[tilt.held_back_by]} would touch, on {tilt.held_back_share or 0.0:.1%} of it at least"


def with_tilt_words(advice: Advice, tilt: ZoneTilt) -> tuple[str, ...]:
    """The reasons of an advice with those of the tilt; the tilt by itself stays only where it is the one to set."""
    degrees = {tilt.tilt_deg, *(each.tilt_deg for each in (tilt.lead, tilt.lean) if each is not None)}
    is_set = advice.tilt is not None and advice.tilt.tilt_deg in degrees - {0.0}
    return (*(words for words in advice.why if is_set or not words.startswith(_ASKED_ALONE)), *tilt.why)
