"""A candidate at other stepovers: what they would take and leave, from the sums that it comes from itself.

All passes of a family are set apart by the same share. The sums say how much that changes cusp, path and minutes; the
candidate's own numbers, measured where its passes are laid, are multiplied by that. So its curve goes through them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from advisor.advice.candidates import Cover
from advisor.advice.complete import ZoneExtent
from advisor.advice.conditions import StageConditions, ZoneConditions, feed_at
from advisor.advice.minutes import steps_across
from advisor.advice.zone_surface import ZoneSurface, quantile
from advisor.cutter.cutter import Cutter
from advisor.cutter.path_time import family_minutes
from advisor.job import Machine
from advisor.model import Advice, StepPoint
from advisor.part.mesh import Floats

# Shares of a candidate's own stepover, about half an octave apart: cusps grow from a quarter to four times.
STEP_SHARES: Final = (0.5, 0.7, 1.0, 1.4, 2.0)
_OWN: Final = STEP_SHARES.index(1.0)
# Facets asked: of a larger zone every n-th. What the sums grow by hardly hangs on which.
_FACETS_ASKED: Final = 20_000


def step_curve(
    advice: Advice,
    cover: Cover,
    surface: ZoneSurface,
    extent: ZoneExtent,
    stage: StageConditions,
    conditions: ZoneConditions,
) -> tuple[StepPoint, ...]:
    """A candidate at its own stepover and others, closest first; empty where its cusp or its path is not known.

    Parameters
    ----------
    advice : Advice
        The candidate, with the numbers of its laid passes or without.
    cover : Cover
        The family of passes it was made of.
    surface, extent
        Of the zone.
    stage, conditions
        That it runs in and under: what is closer may be fed faster, for its chips are thinner.
    """
    cusp_um, path_mm, stepover_mm = advice.cusp_um.p95, advice.path_mm, advice.stepover_mm
    if not advice.usable or cusp_um is None or path_mm is None or stepover_mm is None or not min(cusp_um, path_mm) > 0:
        return ()
    cusps = cusp_um * _growth(_cusps_mm(cover, surface, stage.target.cutter))
    feeds = [_feed(stage, conditions, share) for share in STEP_SHARES]
    minutes = _minutes(advice, cover, surface, extent, stage.machine, feeds)
    return tuple(
        StepPoint(
            stepover_mm=share * stepover_mm,
            cusp_p95_um=float(cusp),
            path_mm=path_mm / share,
            feed_mm_per_min=feeds[place],
            total_min=None if minutes is None else float(minutes[place]),
            is_laid=advice.is_laid and place == _OWN,
        )
        for place, (share, cusp) in enumerate(zip(STEP_SHARES, cusps, strict=True))
        if np.isfinite(cusp) and cusp > 0
    )


def _cusps_mm(cover: Cover, surface: ZoneSurface, cutter: Cutter) -> Floats:
    """(k,) cusp that 95 % of the zone stays within at each share; infinite where passes do not meet on more of it."""
    some = slice(None, None, 1 + len(cover.step_mm) // _FACETS_ASKED)
    area = np.ascontiguousarray(surface.area_mm2[some])
    steps, tool, bend = cover.step_mm[some], cover.tool_per_mm[some], cover.surface_per_mm[some]
    cusps = [cutter.cusp_mm(share * steps, tool, bend) for share in STEP_SHARES]
    return np.array([quantile(np.where(np.isfinite(each), each, np.inf), area, [0.95])[0] for each in cusps])


def _growth(values: Floats) -> Floats:
    """(k,) values over the one at the candidate's own stepover: 1 there, and NaN elsewhere if that is not known."""
    own = values[_OWN]
    growth = values / own if np.isfinite(own) and own > 0 else np.full(len(values), np.nan)
    growth[_OWN] = 1.0
    return growth


def _feed(stage: StageConditions, conditions: ZoneConditions, share: float) -> float | None:
    """Feed at a share of the stage's step: that of the candidate for the whole of it."""
    if share == 1.0:
        return conditions.feed_mm_per_min
    target = replace(stage.target, cusp_mm=None, step_mm=share * stage.target.flat_step_mm)
    return feed_at(replace(stage, target=target), conditions.spindle, conditions.flutes)


def _minutes(
    advice: Advice,
    cover: Cover,
    surface: ZoneSurface,
    extent: ZoneExtent,
    machine: Machine,
    feeds: Sequence[float | None],
) -> Floats | None:
    """(k,) minutes with links; None where no feed is known.

    Passes are counted in parts of one: a count that jumps would show as a step in the curve.
    """
    known = [feed for feed in feeds if feed is not None]
    if advice.total_min is None or advice.stepover_mm is None or len(known) < len(feeds):
        return None
    shares = np.array(STEP_SHARES)
    passes = np.maximum(steps_across(advice, surface, extent.height_mm, extent.rim_mm) / shares, 1.0)
    sums = family_minutes(
        cover.path_mm / shares, passes, advice.stepover_mm * shares, np.array(known), machine.acceleration
    )
    return advice.total_min * _growth(np.asarray(sums))
