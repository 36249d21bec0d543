"""What a stage finds that the stages before could not take off: in hollows and corners too tight for their cutters."""

from __future__ import annotations

import math

from advisor.advice.conditions import StageConditions
from advisor.model import Advice
from advisor.words import plain_number

# Between walls at right angles a ball of radius R leaves (sqrt(2) - 1) (R - r) more than one that fits a fillet of r:
# from the middle of the fillet to the ball that touches both walls, along the bisector.
_RIGHT_ANGLE = math.sqrt(2.0) - 1.0
# Share of a zone that a tool does not get to that is worth a word.
TELLING_SHARE = 0.02


def left_in_corners_mm(stage: StageConditions, tightest_mm: float | None, *, has_corner: bool) -> float:
    """How much more than the planned stock stands between walls at right angles where this stage's cutter gets in, mm.

    Parameters
    ----------
    stage : StageConditions
    tightest_mm : float, optional
        Radius of the tightest hollow of the zone; None where it has none.
    has_corner : bool
        Whether surfaces meet at an inside corner without a fillet.
    """
    own_mm = stage.target.cutter.corner_radius_mm
    if not stage.before or (tightest_mm is None and not has_corner):
        return 0.0
    # this stage gets no further into what is tighter than its own corner
    hollow_mm = own_mm if has_corner or tightest_mm is None else max(tightest_mm, own_mm)
    before_mm = min(each.target.cutter.corner_radius_mm + each.stage.stock_left for each in stage.before)
    return max(_RIGHT_ANGLE * (before_mm - hollow_mm), 0.0)


def left_words(stage: StageConditions, tightest_mm: float | None, *, has_corner: bool) -> tuple[str, ...]:
    """A sentence where the stages before leave more in corners than this one is planned to cut."""
    more_mm = left_in_corners_mm(stage, tightest_mm, has_corner=has_corner)
    if more_mm <= stage.depth_mm:
        return ()
    return (
        f"In its tight hollows the larger cutter of the stage before leaves about {plain_number(round(more_mm, 2))} mm "
        f"more (between walls at right angles) than the {plain_number(round(stage.depth_mm, 2))} mm that this stage is "
        "planned to cut: take that off first with a pass of a smaller ball along them. Force and bending are of the "
        "planned cut.",
    )


def out_of_reach_words(advice: Advice, stage: StageConditions) -> tuple[str, ...]:
    """A sentence where the tool of a stage before the last does not get to some of a zone."""
    share = advice.out_of_reach_share or 0.0
    if share <= TELLING_SHARE:
        return ()
    return (
        f"{stage.tool.name or 'The tool'} does not get to {share:.0%} of it: what the stage before left stands there "
        "for the next one.",
    )
