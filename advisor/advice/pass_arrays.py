"""The passes of what is advised, gathered zone by zone for ``passes.npz``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from advisor.advice.laid_numbers import Laid
from advisor.model import Advice, PassArrays
from advisor.part.mesh import Ints


class PassBook:
    """Gathers the passes that are advised: stage by stage, in each the zones in the order they are given."""

    def __init__(self) -> None:
        self._kept: list[tuple[int, Advice, Laid]] = []

    def keep(self, zone_id: int, advice: Advice, laid: Laid) -> None:
        """Take over one zone's passes of one stage."""
        self._kept.append((zone_id, advice, laid))

    def of_stage(self, name: str) -> list[tuple[int, Advice, Laid]]:
        """Zone id, advice and passes of all zones that a stage cuts."""
        return [one for one in self._kept if one[1].stage == name]

    def arrays(self, stages: Sequence[str]) -> PassArrays:
        """All of them, in the order of cutting."""
        rank = {name: place for place, name in enumerate(stages)}
        kept = sorted(self._kept, key=lambda one: (rank[one[1].stage], one[0]))
        return joined_passes(
            [
                PassArrays(
                    laid.centres_mm, laid.starts, _told(zone_id, laid), np.full(len(laid.is_closed), advice.strategy),
                    np.full(len(laid.is_closed), advice.stage), _told(advice.tool, laid), laid.is_closed,
                    laid.contacts_mm.astype(np.float32), laid.level, turns=laid.turns,
                )
                for zone_id, advice, laid in kept
            ]
        )  # fmt: skip


def _told(number: int, laid: Laid) -> Ints:
    return np.full(len(laid.is_closed), number, np.int32)


def joined_passes(parts: Sequence[PassArrays]) -> PassArrays:
    """Passes one after another."""
    counts = [np.diff(part.starts) for part in parts]
    lengths = np.concatenate([np.zeros(0, np.int64), *counts])
    joined = PassArrays(
        np.concatenate([np.zeros((0, 3)), *(part.points for part in parts)]),
        np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64),
        np.concatenate([np.zeros(0, np.int32), *(part.zone for part in parts)]),
        np.concatenate([np.zeros(0, "U1"), *(part.strategy for part in parts)]),
        np.concatenate([np.zeros(0, "U1"), *(part.stage for part in parts)]),
        np.concatenate([np.zeros(0, np.int32), *(part.tool for part in parts)]),
        np.concatenate([np.zeros(0, bool), *(part.closed for part in parts)]),
        **_joined_details(parts),
    )
    for array in vars(joined).values():
        if array is not None:
            array.setflags(write=False)
    return joined


def _joined_details(parts: Sequence[PassArrays]) -> dict[str, Any]:
    """What not all passes have; left out unless all of them do. Close-ups count passes on from part to part."""
    told: dict[str, Any] = {}
    if parts and all(part.contacts is not None and part.level is not None for part in parts):
        told = {name: np.concatenate([getattr(part, name) for part in parts]) for name in ("contacts", "level")}
    points = np.cumsum([0, *(len(part.points) for part in parts)])
    wound = [part.turns + before for part, before in zip(parts, points, strict=False) if part.turns is not None]
    if wound:
        told["turns"] = np.concatenate(wound)
    before = np.cumsum([0, *(len(part.zone) for part in parts)])
    seen = [
        replace(part, close_up_pass=(part.close_up_pass + start).astype(np.int32))
        for part, start in zip(parts, before, strict=False)
        if part.close_up_pass is not None
    ]
    if seen:
        names = ("close_up_um", "close_up_frame", "close_up_mm", "close_up_pass")
        told |= {name: np.concatenate([getattr(part, name) for part in seen]) for name in names}
    return told
