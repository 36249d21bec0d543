"""A plan in short, for a quote: the zones, advice and minutes of the whole plan, and what it leaves out says so."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from labelled_parts import bowl_plate

import advisor
from advisor.model import Plan
from advisor.pack.folder import write_plan_folder
from advisor.part.heal import heal
from advisor.part.measured import measure_part

JOB = {"unit": "mm", "material": "Ti-6Al-4V", "tool": [{"name": "ball 8", "kind": "ball", "diameter": "8 mm"}]}


def planned(mesh: tuple[np.ndarray, np.ndarray], job: dict[str, object] = JOB, **how: bool) -> Plan:
    part = measure_part(heal(*mesh, "part"), name="part", file="part", sha256="", unit="mm", unit_assumed=False)
    return advisor.plan(part, job, **how)


@pytest.fixture(scope="module")
def both() -> tuple[Plan, Plan]:
    part = bowl_plate(0.05)
    mesh = (part.vertices, part.faces)
    return planned(mesh, lays_passes=False), planned(mesh, in_short=True)


def test_zones_advice_and_minutes_are_those_of_the_whole_plan(both: tuple[Plan, Plan]) -> None:
    whole, short = both
    np.testing.assert_array_equal(short.facets.zone, whole.facets.zone)
    assert [zone.name for zone in short.zones] == [zone.name for zone in whole.zones]
    for one, other in zip(whole.zones, short.zones, strict=True):
        assert one.advice is not None and other.advice is not None
        assert other.advice.strategy == one.advice.strategy and other.advice.usable == one.advice.usable
        if one.advice.usable:
            assert other.advice.path_mm == pytest.approx(one.advice.path_mm, rel=0.02)
            assert other.reachable_share == pytest.approx(one.reachable_share, abs=0.1)
    assert short.record.totals.total_min == pytest.approx(whole.record.totals.total_min, rel=0.01)


def test_what_is_left_out_is_null_and_a_caution_says_so(both: tuple[Plan, Plan], tmp_path) -> None:
    whole, short = both
    first, *others = short.record.cautions
    assert first.startswith("Planned in short: ") and set(others) <= set(whole.record.cautions)
    assert short.record.leftovers == () and short.record.sequence is None
    assert all(zone.repeats is None and zone.trade is None for zone in short.zones)
    folder = write_plan_folder(short, tmp_path / "plan")
    assert (folder / "report.html").stat().st_size > 100_000 and not (folder / "outlines.npz").exists()
    assert first in (folder / "report.html").read_text(encoding="utf-8")
    assert advisor.read_plan(folder).record == short.record


def test_several_set_ups_are_planned_in_short_too() -> None:
    plan = planned(solids.stepped_block(), {**JOB, "setups": ["+Z", "-Z"]}, in_short=True)
    assert len(plan.record.setups) == 2 and plan.outlines is None
    assert {zone.setup for zone in plan.zones} == {0, 1}
    assert plan.record.totals.area_mm2 == pytest.approx(plan.record.part.area_mm2, rel=1e-9)
