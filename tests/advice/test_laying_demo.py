"""Passes laid on coarse facets: a demo part 0.027 mm off with fillets of the ball's own radius, and sharp corners."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import solids

import advisor
from advisor import tolerances
from advisor.model import Advice, Plan
from advisor.part.heal import heal
from advisor.part.measured import measure_part

MESHES = Path(__file__).parents[2] / "meshes"
JOB = {"unit": "mm", "material": "Ti-6Al-4V", "stage": [{"name": "finish", "cusp": "0.02 mm"}]}


@pytest.fixture(scope="module")
def fruit_cup() -> Plan:
    part = advisor.read_part(MESHES / "fruit_cup_tool.stl", unit="mm")
    return advisor.plan(part, JOB, lays_passes=True)


def laid_candidates(plan: Plan) -> list[Advice]:
    return [c for zone in plan.zones for c in zone.candidates if c.usable and c.is_laid]


def test_no_candidate_goes_deeper_than_the_path_tolerance_and_the_facets_it_is_laid_on(fruit_cup: Plan) -> None:
    """The file is 24 um off and passes may go 48 um into facets; into the smooth surface they do not go."""
    laid = laid_candidates(fruit_cup)
    assert len(laid) >= 8
    path_um = 2.0
    for candidate in laid:
        assert candidate.gouge_um is not None
        assert candidate.gouge_um <= path_um + 1000.0 * tolerances.PASS_FACET_SAG_MM


def test_all_that_is_reached_is_cut_to_the_cusp(fruit_cup: Plan) -> None:
    for candidate in laid_candidates(fruit_cup):
        assert candidate.uncut_share is not None and candidate.above_target_share is not None
        assert candidate.uncut_share <= 0.001
        assert candidate.above_target_share <= 0.03
        assert candidate.cusp_um.max is not None and candidate.cusp_um.max <= 1.7 * 20.0 + 2.0


def test_a_ball_stays_out_of_a_plane_wall_beside_bends_however_coarse_these_are() -> None:
    """A floor between a sharp wall at x 10 and a fillet of 5 mm in steps of 9 degrees: facets 15 um off."""
    turn = np.radians(np.arange(360, 269, -9.0))
    fillet = np.stack([40 + 5 * np.cos(turn), 15 + 5 * np.sin(turn)], axis=1)
    around = [[0, 0], [60, 0], [60, 30], [45, 30]]
    section = np.concatenate([around, fillet, [[10, 10], [10, 30], [0, 30]]])
    part = measure_part(
        heal(*solids.extruded(section, 30.0, "y"), "part"), name="part", file="part", sha256="", unit="mm",
        unit_assumed=False,
    )  # fmt: skip
    ball = {"name": "ball 6", "kind": "ball", "diameter": "6 mm", "flutes": 2}
    passes = advisor.plan(part, {**JOB, "tool": [ball]}, lays_passes=True).passes
    assert passes is not None
    between = passes.points[(passes.points[:, 0] > 10) & (passes.points[:, 0] < 40) & (passes.points[:, 2] < 20)]
    assert len(between) > 20
    assert between[:, 0].min() == pytest.approx(13.0, abs=0.005)
