"""A session: its job gives its plan from the command line, undoing ends where it began, sketches keep to plans."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import solids
from asked_for import few_of

import advisor
from advisor.advice.session import Session
from advisor.cli.main import run_for_code
from advisor.errors import InputError
from advisor.model import Plan
from advisor.pack.job_toml import job_toml

TOOL = Path(__file__).parents[2] / "meshes" / "fruit_cup_tool.stl"


@pytest.fixture(scope="module")
def path(tmp_path_factory) -> Path:
    """A part of six zones; the demo part, which has copies too, where all is asked for."""
    path = tmp_path_factory.mktemp("tool") / "turned_tool.stl"
    path.write_bytes(solids.to_stl_bytes(*solids.turned_tool()))
    return few_of(path, TOOL)


@pytest.fixture(scope="module")
def part(path):
    return advisor.read_part(path)


@pytest.fixture
def session(part) -> Session:
    return Session(part, {"material": "Ti-6Al-4V", "zones": {"steep_from": "45 deg"}})


def told(plan: Plan) -> dict:
    """All of a plan that two runs have in common."""
    record = json.loads(plan.to_json())
    return {name: record[name] for name in ("zones", "totals", "tools", "stages", "sequence", "leftovers", "cautions")}


def of_shape(plan: Plan, shape: str) -> int:
    return next(zone.id for zone in plan.zones if zone.shape == shape)


def change_all(session: Session) -> None:
    """Every change there is, one after another, by what the plan of the moment has."""
    session.set({"zones.steep_from": "50 deg", "ball": "8 mm", "cusp": "0.004 mm", "machine.max_spindle": "9000 rpm"})
    plan = session.sketch()
    land, bowl, floor = (of_shape(plan, shape) for shape in ("land", "bowl", "floor"))
    session.rename(land, "sealing face")
    session.lock(land, "parallel_line")
    session.join([land, bowl])
    session.exclude(floor)
    plan = session.sketch()
    mixed = next(zone.id for zone in plan.zones if sum(share > 0 for share in vars(zone.class_area_mm2).values()) > 1)
    session.split(mixed)
    plan = session.sketch()
    session.protect(plan.zones[-1].id, True)


def test_its_job_file_gives_the_same_plan_from_the_command_line(session, path, tmp_path) -> None:
    change_all(session)
    own = session.plan()
    job, folder = tmp_path / "job.toml", tmp_path / "plan"
    job.write_text(job_toml(session.keys, "tried on the page"), encoding="utf-8")
    assert tomllib.loads(job.read_text()) == json.loads(json.dumps(session.keys))
    code = run_for_code(
        ["plan", str(path), "--job", str(job), "--out", str(folder), "--no-passes", "--no-pictures", "-q"]
    )
    assert code == 0
    assert told(advisor.read_plan(folder)) == told(own)
    assert {"sealing face"} <= {zone.name for zone in own.zones}


def test_back_and_forth_ends_where_it_began(session) -> None:
    first = told(session.plan())
    before = session.keys
    change_all(session)
    after, last = session.keys, told(session.plan())
    steps = 0
    while session.can_undo:
        session.undo()
        steps += 1
    assert session.keys == before
    assert told(session.plan()) == first
    for _ in range(steps):
        session.redo()
    assert session.keys == after and not session.can_redo
    assert told(session.plan()) == last != first
    session.undo()
    session.set({"material": None})
    assert not session.can_redo


def test_what_is_kept_changes_no_plan(session, part) -> None:
    """Plans from what is kept are those made from nothing, whatever was planned in between."""
    for degrees in (40, 55, 40):
        session.set({"zones.steep_from": f"{degrees} deg"})
        session.sketch()
        assert told(session.plan()) == told(Session(part, session.keys).plan())


def test_a_sketch_draws_the_map_of_the_plan_and_nearly_its_minutes() -> None:
    # the demo part: a sketch asks some of the facets of its large zones, and its pockets are copies
    session = Session(advisor.read_part(TOOL), {"material": "Ti-6Al-4V", "zones": {"steep_from": "45 deg"}})
    session.plan()
    session.set({"zones.steep_from": "52 deg"})
    quick, plan = session.sketch(), session.plan()
    assert np.array_equal(quick.facets.zone, plan.facets.zone)
    assert [zone.advice and zone.advice.strategy for zone in quick.zones] == [
        zone.advice and zone.advice.strategy for zone in plan.zones
    ]
    assert quick.record.totals.total_min == pytest.approx(plan.record.totals.total_min, rel=0.02)


def test_splitting_undoes_joining_and_takes_slope_classes_apart(session) -> None:
    plan = session.sketch()
    count, area = len(plan.zones), plan.record.totals.area_mm2
    session.join([of_shape(plan, "land"), of_shape(plan, "bowl")])
    joined = session.sketch()
    assert len(joined.zones) == count - 1
    both = next(zone.id for zone in joined.zones if is_new(zone, plan))
    session.split(both)
    assert session.entries == () and len(session.sketch().zones) == count
    mixed = next(zone for zone in plan.zones if sum(share > 0 for share in vars(zone.class_area_mm2).values()) > 1)
    session.split(mixed.id)
    apart = session.sketch()
    assert len(apart.zones) > count
    assert apart.record.totals.area_mm2 == pytest.approx(area, rel=1e-9)
    pieces = [zone for zone in apart.zones if is_new(zone, plan)]
    assert sum(zone.area_mm2 for zone in pieces) == pytest.approx(mixed.area_mm2, rel=1e-9)
    assert all(sum(share > 0 for share in vars(zone.class_area_mm2).values()) == 1 for zone in pieces)


def is_new(zone, plan: Plan) -> bool:
    return not any(abs(zone.area_mm2 - other.area_mm2) < 1e-6 * other.area_mm2 for other in plan.zones)


def test_a_movement_of_a_control_is_one_change(session) -> None:
    before = session.keys
    for degrees in range(46, 60):
        session.set({"zones.steep_from": f"{degrees} deg"}, drag="steep 1")
    session.set({"zones.steep_from": "60 deg"}, drag="steep 2")
    session.undo()
    assert session.keys["zones"]["steep_from"] == "59 deg"
    session.undo()
    assert session.keys == before


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda s: s.set({"zones.steep_from": "3 deg"}), "flat_below"),
        (lambda s: s.set({"ball": "-1 mm"}), "diameter"),
        (lambda s: s.set({"material": "cheese"}), "cheese"),
        (lambda s: s.set({"machine.axes": "7"}), "axes"),
        (lambda s: s.lock(99, "constant_z"), "no zone 99"),
        (lambda s: s.lock(1, "by_hand"), "strategy"),
        (lambda s: s.join([1]), "one zone alone"),
        (lambda s: s.forget(0), "no entry"),
        (lambda s: s.rename(1, "x" * 200), "name"),
    ],
)
def test_what_cannot_be_is_refused_whole(session, change, words) -> None:
    before = session.keys
    with pytest.raises(InputError, match=words):
        change(session)
    assert session.keys == before and not session.can_undo


def test_every_zone_is_named_by_its_own_point(part) -> None:
    session = Session(part)
    plan = session.sketch()
    for zone in plan.zones:
        session.rename(zone.id, f"zone of {zone.area_mm2:.3f}")
    renamed = session.sketch()
    assert [replace(zone, name="") for zone in renamed.zones] == [replace(zone, name="") for zone in plan.zones]
    assert all(zone.name == f"zone of {zone.area_mm2:.3f}" for zone in renamed.zones)
