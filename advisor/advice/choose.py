"""Which of a zone's candidates to take, and why, in sentences a machinist would say."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from advisor import tolerances
from advisor.advice.reach_words import no_ball_gets_there
from advisor.model import SMALL_FEATURES_SHAPE, Advice, SlopeClass, Spread, Strategy, TiltHold, Zone

# What each class is commonly cut with (common practice, no source).
HABIT: dict[SlopeClass, Strategy] = {
    "flat": "parallel_line",
    "shallow": "parallel_line",
    "steep": "constant_z",
    "undercut": "constant_z",
}
# Another strategy must save more path than this before habit is left: turns and corners are not in the sum yet.
HABIT_SHARE = 0.25
# Share of a zone cut near the tip that is worth a word.
TELLING_TIP_SHARE = 0.2
# Share of a zone that laid passes leave uncut that is worth a word, and another strategy.
TELLING_UNCUT_SHARE = 0.01

IN_WORDS: dict[Strategy, str] = {
    "constant_z": "constant-Z",
    "parallel_line": "parallel lines",
    "constant_cusp": "constant-cusp offset",
}

# What to change for a zone that the tool does not get to, by what keeps it off.
_BLOCKED: dict[TiltHold | None, str] = {
    "cutter": "smaller cutter", "shank": "longer neck", "holder": "longer stick-out", None: "another set-up"
}  # fmt: skip


@dataclass(frozen=True)
class ZoneFacts:
    """What the choice and its reasons need to know of a zone."""

    slope_class: SlopeClass
    slope_deg: Spread
    shape: str | None
    features: int
    is_mixed: bool = False
    is_protected: bool = False
    reached_share: float = 1.0
    reach_why: tuple[str, ...] = ()


# Of several set-ups; it stands where one alone asks for another.
NO_SET_UP_REACHES = (
    "None of the job's set-ups reaches more than scraps of it: it faces away from the spindle, or is hidden, in all of "
    "them. Add a set-up, tilt, or make it in another way."
)


def in_words(zone: Zone) -> str:
    """The strategy advised for a zone, or why there is none."""
    if zone.advice is None:
        return "not advised"
    if zone.advice.usable:
        return IN_WORDS[zone.advice.strategy]
    if zone.is_protected:
        return "protected"
    if NO_SET_UP_REACHES in zone.advice.why:
        return "no set-up reaches"
    if zone.shape == SMALL_FEATURES_SHAPE:
        return "another set-up" if zone.slope_class == "undercut" else "drill or engrave"
    if zone.slope_class != "undercut" and zone.reach is not None and zone.reach.share < tolerances.LEAST_REACHED_SHARE:
        return "another set-up" if no_ball_gets_there(zone.reach) else _BLOCKED[zone.reach.held_back_by]
    return "another set-up" if zone.slope_class == "undercut" else "no pass holds it"


def choose(
    facts: ZoneFacts, candidates: tuple[Advice, ...], locked: Strategy | None = None
) -> tuple[Advice, tuple[Advice, ...]]:
    """The advice for a zone and all its candidates, each with its reasons.

    Habit of the class decides unless another usable candidate needs ``HABIT_SHARE`` less path; a strategy that
    the job locks is taken as it is.
    """
    if not is_cut_here(facts):
        told = tuple(replace(c, usable=False, why=_refusal(facts)) for c in candidates)
        return _of(told, HABIT[facts.slope_class]), told
    told = tuple(replace(c, why=_reasons(c, facts)) for c in candidates)
    if locked is not None:
        kept = _of(told, locked)
        return replace(kept, why=(f"{_capital(locked)} as the job asks.", *kept.why)), told
    chosen = _shortest_or_habit(told, facts)
    return replace(chosen, why=(*_comparison(chosen, told), *chosen.why)), told


def is_cut_here(facts: ZoneFacts) -> bool:
    """Whether a ball finishes the zone in this set-up at all."""
    is_reached = facts.reached_share >= tolerances.LEAST_REACHED_SHARE
    is_surface = facts.slope_class != "undercut" and facts.shape != SMALL_FEATURES_SHAPE
    return is_surface and is_reached and not facts.is_protected


def _refusal(facts: ZoneFacts) -> tuple[str, ...]:
    if facts.is_protected:
        return ("Protected by the job: no pass may touch it, so passes beside it stop at its edge without overlap.",)
    if facts.shape == SMALL_FEATURES_SHAPE and facts.slope_class != "undercut":
        return (
            f"{facts.features} features too small for this ball: drill, ream, bore or engrave them, "
            "or list a smaller ball.",
        )
    if facts.slope_class != "undercut":
        return facts.reach_why
    return (
        "Faces away from the spindle, or is hidden from it: no ball reaches it in this set-up; turn the part over or "
        "tilt.",
    )


def _of(candidates: tuple[Advice, ...], strategy: Strategy) -> Advice:
    return next(c for c in candidates if c.strategy == strategy)


def _shortest_or_habit(candidates: tuple[Advice, ...], facts: ZoneFacts) -> Advice:
    usable = _leaving_least([c for c in candidates if c.usable] or list(candidates))
    shortest = min(usable, key=_cost)
    if facts.is_mixed:  # no class, so no habit: kept together because one family of passes suits all of it
        return shortest
    habit = next((c for c in usable if c.strategy == HABIT[facts.slope_class]), None)
    if habit is not None and _cost(habit) * (1 - HABIT_SHARE) <= _cost(shortest):
        return habit
    return shortest


def _leaving_least(candidates: list[Advice]) -> list[Advice]:
    """Candidates whose passes get to as much of the zone as any's, where passes are laid."""
    least = min(c.uncut_share or 0.0 for c in candidates)
    return [c for c in candidates if (c.uncut_share or 0.0) <= least + TELLING_UNCUT_SHARE]


def _cost(candidate: Advice) -> float:
    """Minutes where the feed is known, else path: the usable candidates of one zone are all known alike."""
    if candidate.total_min is not None:
        return candidate.total_min
    return math.inf if candidate.path_mm is None else candidate.path_mm


def _comparison(chosen: Advice, candidates: tuple[Advice, ...]) -> tuple[str, ...]:
    sentences = []
    for other in candidates:
        if other.strategy == chosen.strategy or not other.usable or _cost(chosen) <= 0:
            continue
        more = _cost(other) / _cost(chosen) - 1
        what = "path" if other.total_min is None else "time"
        if more > 0.01:
            sentences.append(f"{_capital(other.strategy)} would need {more:.0%} more {what} for the same cusp.")
        elif more < -0.01:
            sentences.append(
                f"{_capital(other.strategy)} would save {-more:.0%} of the {what}, too little to leave the simpler "
                f"{IN_WORDS[chosen.strategy]}."
            )
    return tuple(sentences)


def _capital(strategy: Strategy) -> str:
    words = IN_WORDS[strategy]
    return words[0].upper() + words[1:]


def _reasons(candidate: Advice, facts: ZoneFacts) -> tuple[str, ...]:
    by_strategy = {"constant_z": _of_constant_z, "parallel_line": _of_lines, "constant_cusp": _of_offset}
    sentences = by_strategy[candidate.strategy](candidate, facts)
    if (candidate.tip_contact_share or 0.0) >= TELLING_TIP_SHARE:
        sentences.append(
            f"{candidate.tip_contact_share:.0%} of the zone is cut near the tip of the ball, where there is hardly "
            "any cutting speed."
        )
    if (candidate.uncut_share or 0.0) > TELLING_UNCUT_SHARE:
        sentences.append(
            f"On {candidate.uncut_share:.0%} of the zone its passes end where the tool would go into the part: much "
            "more is left there."
        )
    return tuple(sentences)


def spiral_words(count: int) -> str:
    """What spirals are, of a zone with some."""
    spirals = "a spiral" if count == 1 else f"{count} spirals"
    return f"Closed passes side by side are wound into {spirals}: one runs on into the next."


def _of_constant_z(candidate: Advice, facts: ZoneFacts) -> list[str]:
    slope = facts.slope_deg
    if not candidate.usable:
        return [
            f"The zone goes down to {slope.min:.0f} deg: level passes spread apart there and would need Z-steps "
            "of less than a tenth of the stepover."
        ]
    return [
        f"Level passes {candidate.z_step_mm:.3g} mm apart in Z hold the cusp down to the flattest part "
        f"({slope.min:.0f} deg)."
    ]


def _of_lines(candidate: Advice, facts: ZoneFacts) -> list[str]:
    slope = facts.slope_deg
    if not candidate.usable:
        return [f"The zone goes up to {slope.max:.0f} deg: straight lines spread apart or plunge there."]
    sentences = [
        f"Straight lines at {candidate.direction_deg:.0f} deg, {candidate.line_spacing_mm:.3g} mm apart in plan."
    ]
    loss = 1 - (candidate.line_spacing_mm or 0.0) / (candidate.stepover_mm or math.inf)
    if loss > 0.01:
        sentences.append(
            f"Slopes across the lines (up to {slope.max:.0f} deg) take {loss:.0%} off the spacing that a floor allows."
        )
    return sentences


def _of_offset(candidate: Advice, facts: ZoneFacts) -> list[str]:
    return [
        f"Passes that follow the zone's outline keep {candidate.stepover_mm:.3g} mm along the surface everywhere, "
        "so the cusp is the same on every slope."
    ]
