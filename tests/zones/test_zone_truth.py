"""Zones and shapes against parts whose every facet's zone is known, however they are cut into facets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from asked_for import IS_ALL, few_of, more
from labelled import LabelledPart, iou, labels_at, refined, shaken, turned
from labelled_parts import MAKERS, labelled_parts

import advisor
from advisor.model import Plan
from advisor.part.heal import heal
from advisor.part.measured import measure_part

# Every part is drawn at 0.05 mm, and every third, another one each time, in each other way, unless all are asked for.
THIRDS = {
    (0.005, "as made"): 0, (0.01, "as made"): 1, (0.01, "turned"): 2, (0.1, "as made"): 0, (0.14, "as made"): 1,
}  # fmt: skip


@dataclass(frozen=True)
class Score:
    """How well a part's zones were found, a value a zone of the truth."""

    iou: np.ndarray
    is_named: np.ndarray


def planned(part: LabelledPart) -> Plan:
    measured = measure_part(
        heal(part.vertices, part.faces, part.name),
        name=part.name, file=part.name, sha256="", unit="mm", unit_assumed=False,
    )  # fmt: skip
    return advisor.plan(measured, only_zones=True, ball=f"{part.ball_mm} mm")


def score(part: LabelledPart) -> Score:
    plan = planned(part)
    facets = plan.facets
    corners = facets.vertices[facets.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    twice = np.linalg.norm(cross, axis=1)
    _, truth = labels_at(part, corners.mean(axis=1), cross / twice[:, None])
    best, found = iou(truth, facets.zone, twice / 2)
    shape = {zone.id: zone.shape for zone in plan.zones}
    named = [shape.get(int(f)) == wanted for f, wanted in zip(found, part.zone_shapes, strict=True)]
    return Score(best, np.array(named))


@cache
def scores(chord_error_mm: float, how: str = "as made") -> dict[str, Score]:
    change = {
        "as made": lambda part: part,
        "turned": lambda part: turned(part, 30.0),
    }[how]
    return {make.__name__: score(change(make(chord_error_mm))) for make in makers_for(chord_error_mm, how)}


def makers_for(chord_error_mm: float, how: str) -> tuple[Callable[[float], LabelledPart], ...]:
    third = THIRDS.get((chord_error_mm, how))
    return MAKERS if third is None else few_of(MAKERS[third::3], MAKERS)


def together(by_part: dict[str, Score]) -> tuple[np.ndarray, float]:
    overlap = np.concatenate([told.iou for told in by_part.values()])
    return overlap, float(np.concatenate([told.is_named for told in by_part.values()]).mean())


@pytest.mark.parametrize(
    ("chord_error_mm", "how"),
    [(0.005, "as made"), (0.01, "as made"), (0.01, "turned"), (0.05, "as made"), (0.1, "as made")],
)
def test_zones_are_those_a_machinist_would_draw(chord_error_mm: float, how: str) -> None:
    overlap, named = together(scores(chord_error_mm, how))
    assert len(overlap) >= (200 if IS_ALL or (chord_error_mm, how) not in THIRDS else 60)
    assert overlap.mean() >= 0.97
    assert overlap.min() >= 0.90
    assert named >= 0.95


def test_coarse_facets_move_few_zones() -> None:
    # rounds of 1 mm are single strips here, which nothing tells from chamfers (docs/zones.md)
    overlap, named = together(scores(0.14))
    assert overlap.mean() >= 0.97
    assert (overlap < 0.90).mean() <= 0.01
    assert named >= 0.95


@pytest.mark.parametrize("name", ["terrace_block", more("island_pockets")])
def test_noise_leaves_the_zones_of_an_evenly_meshed_part(name: str) -> None:
    (part,) = (part for part in labelled_parts(0.03) if part.name == name)
    told = score(shaken(refined(part, few_of(2.0, 1.6)), 0.05, seed=1))
    assert told.iou.mean() >= 0.97
    assert told.iou.min() >= 0.90
    assert told.is_named.mean() >= 0.95


def test_outlines_on_a_noisy_part_leave_their_lines_by_half_an_edge_at_most_and_lose_teeth() -> None:
    (part,) = (part for part in labelled_parts(0.03) if part.name == "bowl_plate")
    noisy = planned(shaken(refined(part, 2.5), 0.05, seed=1))
    edge_mm = 1.52 * np.sqrt(noisy.record.part.area_mm2 / noisy.record.part.facets)
    told_um = max(zone.outline.deviation_um for zone in noisy.zones if zone.outline is not None)
    assert 10.0 < told_um <= 1000 * min(0.1, 0.5 * edge_mm) * (1 + 1e-6)
    clean = planned(part)
    assert max(zone.outline.deviation_um for zone in clean.zones if zone.outline is not None) <= 10.0
