"""Overrides name a zone by a point on it: joined, protected, preferred by shape, or refused in one line."""

from __future__ import annotations

from pathlib import Path

import pytest

import advisor
from advisor.errors import InputError
from advisor.model import Plan

TOOL = Path(__file__).parents[2] / "meshes" / "fruit_cup_tool.stl"
LAND, BOWL, FLANGE = (40.0, 0.0, 52.0), (0.0, 0.0, 30.1), (104.0, 0.0, 16.0)


def planned(*zones: dict[str, object], only_zones: bool = True) -> Plan:
    return advisor.plan(TOOL, {"zone": list(zones)}, ball="10 mm", only_zones=only_zones, lays_passes=False)


def test_zones_that_touch_are_joined() -> None:
    apart, joined = planned(), planned({"at": LAND, "shape": "land", "merge": [BOWL]})
    assert len(joined.zones) == len(apart.zones) - 1
    parts = sum(zone.area_mm2 for zone in apart.zones if zone.shape in ("land", "bowl"))
    assert any(zone.area_mm2 == pytest.approx(parts, rel=1e-9) for zone in joined.zones)
    with pytest.raises(InputError, match="do not touch"):
        planned({"at": FLANGE, "merge": [BOWL]})


def test_a_protected_zone_has_no_pass() -> None:
    (zone,) = (zone for zone in planned({"at": FLANGE, "protect": True}, only_zones=False).zones if zone.is_protected)
    assert zone.shape == "floor"
    assert zone.advice is not None and not zone.advice.usable
    assert "Protected" in zone.advice.why[0]


def test_a_point_near_a_border_goes_by_shape() -> None:
    on_the_rim = (41.2, 0.0, 52.0)  # where the land meets the round of a pocket
    for shape in ("land", "pocket"):
        named = [zone.shape for zone in planned({"at": on_the_rim, "shape": shape, "name": "this"}).zones
                 if zone.name == "this"]  # fmt: skip
        assert named == [shape]
