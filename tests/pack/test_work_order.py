"""The order of work: everything once, set-up by set-up, stage by stage, from the top down, what is left over last."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
import solids
from hypothesis import given
from hypothesis import strategies as st

import advisor
from advisor.model import STRATEGIES, Leftover, Orientation, PlanRecord, Range, Setup, Zone
from advisor.pack.report_work import order_section
from advisor.pack.work_order import work_order


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> PlanRecord:
    path = tmp_path_factory.mktemp("part") / "block.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.wedge(20)))
    job: dict[str, Any] = {
        "tool": [{"name": "large", "diameter": 10}, {"name": "small", "diameter": 4}],
        "stage": [
            {"name": "pre-finish", "cusp": 0.02, "stock_left": 0.1, "tool": "large"},
            {"name": "finish", "cusp": 0.005, "tool": "large"},
        ],
    }
    return advisor.plan(path, job, lays_passes=False).record


def with_zones(record: PlanRecord, told: list[tuple[int, float, float, str]], **more: Any) -> PlanRecord:
    """The plan with zones of these set-ups, tops, bottoms and strategies, all of them cut."""
    model = next(zone for zone in record.zones if zone.advice is not None and zone.advice.usable)
    zones = [
        dataclasses.replace(
            model, id=number, setup=setup, z_mm=Range(bottom, top),
            steps=tuple(dataclasses.replace(step, strategy=strategy, path_mm=1.0) for step in model.steps),
        )
        for number, (setup, top, bottom, strategy) in enumerate(told, 1)
    ]  # fmt: skip
    setups = tuple(Setup(f"set-up {n + 1}", (0.0, 0.0, 1.0), 1.0) for n in range(1 + max(zone.setup for zone in zones)))
    return dataclasses.replace(record, zones=tuple(zones), setups=setups, **more)


def place(number: int, zone: int, tool: str | None) -> Leftover:
    return Leftover((zone,), "corner", (0.0, 0.0, 0.0), 1.0, 5.0, 9.0, 4.0, 2.0, number, "corner pass", tool=tool)


def test_a_land_then_its_pockets_then_the_foot_then_the_corners(record: PlanRecord) -> None:
    told = [
        (0, 0.0, 0.0, "parallel_line"), (0, 52.0, 28.0, "constant_cusp"), (0, 52.01, 52.0, "parallel_line"),
        (0, 52.0, 40.0, "constant_cusp"), (0, 16.0, 0.0, "constant_z"), (1, 90.0, 80.0, "constant_z"),
    ]  # fmt: skip
    places = (place(1, 1, "small"), place(2, 2, "large"), place(3, 6, "small"), place(4, 5, None), place(5, 5, "small"))
    planned = with_zones(record, told, leftovers=places)
    steps = [(step.setup, step.stage, step.tool, step.zones, step.places) for step in work_order(planned)]
    one_stage = [(3,), (4, 2), (5,), (1,)]
    assert steps == [
        *((0, "pre-finish", "large", zones, ()) for zones in one_stage),
        *((0, "finish", "large", zones, ()) for zones in one_stage),
        (0, "corner pass", "large", (2,), (2,)),
        (0, "corner pass", "small", (1, 5), (1, 5)),
        (1, "pre-finish", "large", (6,), ()),
        (1, "finish", "large", (6,), ()),
        (1, "corner pass", "small", (6,), (3,)),
    ]
    assert work_order(planned)[1].path_mm == 2.0 and work_order(planned)[9].path_mm is None
    table, words = order_section(planned).blocks
    assert table.block == "table" and [row.cells[5] for row in table.rows[:2]] == ["3", "4, 2"]
    assert words.block == "sentences" and "common practice, no source" in words.lines[0]


def test_zones_of_one_tilt_come_together(record: PlanRecord) -> None:
    told = [(0, 10.0 - number, 0.0, "constant_z") for number in range(4)]
    tilts = tuple(Orientation(0, (0.0, 0.0, 1.0), 15.0, az, zones, 1.0, 1.0, None) for az, zones in
                  ((None, (2, 4)), (90.0, (1, 3))))  # fmt: skip
    planned = with_zones(record, told, orientations=tilts)
    assert [step.zones for step in work_order(planned)] == [(2, 4), (1, 3)] * 2
    table = order_section(planned).blocks[0]
    assert table.block == "table" and [row.cells[4] for row in table.rows][:2] == ["upright", "15° towards +Y"]


ZONES = st.lists(
    st.tuples(st.integers(0, 2), st.floats(-50, 50), st.floats(0, 30), st.sampled_from(STRATEGIES)),
    min_size=1,
    max_size=12,
)


@given(ZONES)
def test_all_is_cut_once_and_nothing_before_what_stands_well_above_it(
    record: PlanRecord, drawn: list[tuple[int, float, float, str]]
) -> None:
    planned = with_zones(record, [(setup, top, top - deep, how) for setup, top, deep, how in drawn])
    steps = work_order(planned)
    stages = [stage.name for stage in planned.stages]
    order = [(step.setup, stages.index(step.stage), zone) for step in steps for zone in step.zones]
    assert sorted(order) == sorted((zone.setup, n, zone.id) for zone in planned.zones for n in range(len(stages)))
    assert [(setup, stage) for setup, stage, _ in order] == sorted((setup, stage) for setup, stage, _ in order)
    zones: dict[int, Zone] = {zone.id: zone for zone in planned.zones}
    assert all(zones[zone].steps[0].strategy == step.strategy for step in steps for zone in step.zones)
    # tops that lie within a tenth of one another are one height, and twelve of them may make a chain
    chain = 0.1 * len(drawn)
    for place_, (setup, stage, zone) in enumerate(order):
        later = [zones[z].z_mm.max for s, g, z in order[place_ + 1 :] if (s, g) == (setup, stage)]
        assert all(top <= zones[zone].z_mm.max + chain for top in later)
