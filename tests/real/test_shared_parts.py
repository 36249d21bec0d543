"""Third-party parts: each gives a plan or a one-line refusal."""

from __future__ import annotations

from pathlib import Path

import conftest
import pytest

import advisor
from advisor.errors import InputError

PARTS = sorted(conftest.REAL_PARTS.iterdir()) if conftest.REAL_PARTS.is_dir() else []
pytestmark = pytest.mark.skipif(not PARTS, reason=f"no third-party parts in {conftest.REAL_PARTS}")

REFUSED = {
    "cut_short.stl": "cut short",
    "empty.stl": "no facets",
    "zero_facets_ascii.stl": "no facets",
    "zero_facets_binary.stl": "no facets",
}


@pytest.mark.parametrize("path", PARTS, ids=lambda path: path.name)
def test_part_gives_a_plan_or_one_line(path: Path) -> None:
    try:
        plan = advisor.plan(path)
    except InputError as refusal:
        assert "\n" not in str(refusal)
        expected = REFUSED.get(path.name, "exact surfaces" if path.suffix == ".step" else "no format")
        assert expected in str(refusal)
        return
    assert path.name not in REFUSED
    check_sound(plan)


def check_sound(plan: advisor.Plan) -> None:
    record, facets = plan.record, plan.facets
    assert facets.zone.min() == 1
    assert facets.zone.max() == len(record.zones)
    assert sum(zone.area_mm2 for zone in record.zones) == pytest.approx(record.part.area_mm2, rel=1e-9)
    assert sum(zone.facets for zone in record.zones) == len(facets.faces)
    for zone in record.zones:
        assert zone.advice is not None
        assert {candidate.strategy for candidate in zone.candidates} == {
            "constant_z",
            "parallel_line",
            "constant_cusp",
        }
        assert all(candidate.why for candidate in zone.candidates)
        assert all(candidate.path_mm >= 0 for candidate in zone.candidates)
        if zone.advice.usable:
            assert zone.advice.stepover_mm > 0
            assert zone.advice.cusp_um.p95 is not None


# Counted by eye on the maps: surfaces a person would name, small features aside. At most 1.5 times as many is sound.
COUNTED = {
    "plate_holes.stl": 5,
    "oblong_pocket_block.off": 13,
    "stepped_cylinder_block_ascii.stl": 9,
    "torus.stl": 6,
}


@pytest.mark.parametrize("name", COUNTED)
def test_maps_do_not_fall_to_pieces(name: str) -> None:
    assert len(advisor.plan(conftest.REAL_PARTS / name).zones) <= 1.5 * COUNTED[name]


def test_walls_of_the_casting_do_not_flicker() -> None:
    """Plain thresholds give a thousand zones here: rounding of the file decides between wall and undercut."""
    assert len(advisor.plan(conftest.REAL_PARTS / "bell_housing.stl").zones) < 150
