"""From where a part is drawn: the views that show most of its zones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.pack.camera import (
    AZIMUTHS_DEG,
    ELEVATION_DEG,
    View,
    ViewName,
    fit,
    fixed_view,
    oblique_view,
    setup_frame,
)
from advisor.pack.shade import Solid, survey

# A third view is drawn where the first two hide more than this share of the area, and it shows this much of it.
HIDDEN_SHARE: Final = 0.10
LEAST_GAIN: Final = 0.03
# From below, the part is looked at from two opposite corners at most.
BELOW_AZIMUTHS_DEG: Final = (-60.0, 120.0)
# Another azimuth than the first is taken only where it shows this many times more: like parts, like pictures.
WORTH_TURNING: Final = 1.10


@dataclass(frozen=True)
class Views:
    """The views of a part: the main one, and small ones beside it."""

    main: View
    small: tuple[View, ...]


def choose_views(solid: Solid, tool_axis: tuple[float, float, float], name: ViewName) -> Views:
    """The main view, a plan view, and a third one where much of the part is hidden from both."""
    frame = setup_frame(tool_axis)
    oblique = _oblique_views(frame, "FROM ANOTHER SIDE")
    plan = fixed_view(frame, "top", "FROM THE SPINDLE")
    below = [
        fixed_view(frame, "under", "FROM BELOW"),
        *(oblique_view(frame, azimuth, -ELEVATION_DEG, "FROM BELOW") for azimuth in BELOW_AZIMUTHS_DEG),
    ]
    fixed = [] if name == "iso" else [fixed_view(frame, name, name.upper())]
    candidates = [*oblique, plan, *below, *fixed]
    shares = survey(solid, candidates)
    main = len(candidates) - 1 if fixed else _showing_most(solid, oblique, shares)
    small = [] if name == "top" else [len(oblique)]
    seen = np.maximum.reduce([shares[k] for k in (main, *small)])
    third = _showing_the_hidden(solid, seen, shares)
    if third is not None:
        small.append(third)
    return Views(candidates[main], tuple(candidates[k] for k in small))


def choose_main_view(solid: Solid, tool_axis: tuple[float, float, float]) -> View:
    """The oblique view that shows most of the zones."""
    views = _oblique_views(setup_frame(tool_axis), "")
    return views[_showing_most(solid, views, survey(solid, views))]


def _oblique_views(frame: NDArray[np.float64], title: str) -> list[View]:
    return [oblique_view(frame, azimuth_deg, ELEVATION_DEG, title) for azimuth_deg in AZIMUTHS_DEG]


def _showing_most(solid: Solid, views: Sequence[View], shares: Sequence[NDArray[np.float32]]) -> int:
    # roots, so that many zones count for more than more of one zone; and a larger picture shows more
    zone = np.maximum(solid.zone, 0)
    worth = []
    for view, share in zip(views, shares, strict=False):
        shown = float(np.sqrt(np.bincount(zone, share * solid.areas)[1:]).sum())
        worth.append(shown * math.sqrt(fit(view, solid.vertices, 4000, 3000, 0.0).pixels_per_mm))
    best = max(range(len(worth)), key=lambda k: round(worth[k], 6))
    return best if worth[best] > WORTH_TURNING * worth[0] else 0


def _showing_the_hidden(solid: Solid, seen: NDArray[np.float32], shares: Sequence[NDArray[np.float32]]) -> int | None:
    total = float(solid.areas.sum())
    if float(solid.areas @ (1.0 - seen)) <= HIDDEN_SHARE * total:
        return None
    gains = [float(solid.areas @ np.maximum(share - seen, 0.0)) for share in shares]
    best = max(range(len(gains)), key=lambda k: round(gains[k], 6))
    return best if gains[best] > LEAST_GAIN * total else None
