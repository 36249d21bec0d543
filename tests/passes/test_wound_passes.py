"""Plans of round parts with their loops wound into spirals, beside the same plans with loops."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from asked_for import more

import advisor
from advisor.model import Advice, Plan
from advisor.part.heal import heal
from advisor.part.measured import measure_part
from advisor.passes import laid

BALL = {"name": "ball 6", "kind": "ball", "diameter": "6 mm", "flutes": 2}
JOB = {"material": "Ti-6Al-4V", "stage": [{"name": "finish", "cusp": "0.01 mm"}], "tool": [BALL]}
PARTS = {
    "cone": solids.cone(14.0, 5.0, 60.0, 0.003),
    "bowl": solids.bowl(14.0, 60.0, chord_error_mm=0.004),
    "dome": solids.spherical_cap(20.0, 60.0, 5.0, 0.003),
    "cylinder": solids.cylinder(4.0, 30.0, 0.003),
}


def planned(mesh: tuple[np.ndarray, np.ndarray]) -> Plan:
    part = measure_part(heal(*mesh, "part"), name="part", file="part", sha256="", unit="mm", unit_assumed=False)
    return advisor.plan(part, JOB, lays_passes=True)


def by_zone_and_strategy(plan: Plan) -> dict[tuple[int, str], Advice]:
    return {(zone.id, c.strategy): c for zone in plan.zones for c in zone.candidates if c.usable and c.is_laid}


@pytest.mark.parametrize("name", ["cone", more("bowl"), more("dome"), more("cylinder")])
def test_spirals_leave_what_loops_leave_and_take_no_longer(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    wound = planned(PARTS[name])
    monkeypatch.setattr(laid, "spiral", lambda passes, *_: passes)
    looped = by_zone_and_strategy(planned(PARTS[name]))
    spirals = 0
    for key, one in by_zone_and_strategy(wound).items():
        loops = looped[key]
        assert loops.spirals == 0
        if not one.spirals:
            assert (one.path_mm, one.total_min, one.cusp_um) == (loops.path_mm, loops.total_min, loops.cusp_um)
            continue
        spirals += one.spirals
        assert one.total_min <= loops.total_min
        assert one.path_mm + one.link_mm <= loops.path_mm + loops.link_mm
        assert one.lifts <= loops.lifts and one.passes < loops.passes
        assert any("wound into" in sentence for sentence in one.why)
        assert one.cusp_um.max <= max(loops.cusp_um.max, 10.0) * 1.03
        assert one.cusp_um.p95 <= loops.cusp_um.p95 * 1.02
        assert one.uncut_share <= loops.uncut_share and one.gouge_um <= loops.gouge_um + 0.5
    assert spirals > 0
    advised = next(zone for zone in wound.zones if zone.advice is not None and zone.advice.spirals)
    passes = wound.passes
    rows = np.flatnonzero(passes.zone == advised.id)
    heads = np.unique(np.searchsorted(passes.starts, passes.turns, side="right") - 1)
    assert np.isin(heads, rows).sum() == advised.advice.spirals
    assert not passes.closed[heads].any()
