"""Kept together against split by slope, on benchmark S: a cap of radius 50 mm, slopes 0 to 60 deg, ball 10 mm.

For a cusp of 0.01 mm every family of passes has a step of s = 0.6026618 mm along the surface. Below a split at a, lines
lie p = s cos(a) apart in plan; above it, level passes dz = s sin(a) apart in Z. The references (split at 40 deg, near
the best: 15785.84 mm; the whole cap: 13032.16 mm) are computed from closed form, and so is the optimum in the test.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import solids

import advisor
from advisor.advice.draw_zones import draw_zones
from advisor.advice.settings import resolve
from advisor.advice.split import Split, best_split
from advisor.advice.target import StageTarget
from advisor.advice.zone_surface import ZoneSurface
from advisor.model import Plan, Zone
from advisor.part.curvature import curvature
from advisor.part.heal import heal
from advisor.part.measured import measure_part
from advisor.part.mesh import Mesh
from advisor.part.smooth import smooth_surface

RADIUS_MM, MOST_DEG, STEP_MM = 50.0, 60.0, 0.6026618
NEAR_BEST_DEG, NEAR_BEST_MM, WHOLE_MM = 40.0, 15785.84, 13032.16
# mm of path that a mm of blend line is worth: so much that the pole gets no lines of its own.
BLEND_PRICE = 14.0
ASKED = {"ball": "10 mm", "cusp": "0.01 mm"}


def line_area_mm2(to_deg: float) -> float:
    """Integral of sqrt(1 - sin^2 cos^2) dA up to a slope: what lines along X measure of it; midpoint rule."""
    slope = np.radians(to_deg) * (np.arange(600) + 0.5) / 600
    around = np.pi / 2 * (np.arange(300) + 0.5) / 300
    seen = np.sqrt(1 - np.outer(np.sin(slope), np.cos(around)) ** 2).mean(axis=1)
    return float((seen * 2 * np.pi * RADIUS_MM**2 * np.sin(slope)).mean() * np.radians(to_deg))


def level_area_mm2(from_deg: float) -> float:
    """Integral of sin dA from a slope to the rim: 2 pi R^2 times that of sin^2."""
    low, high = np.radians([from_deg, MOST_DEG])
    return float(2 * np.pi * RADIUS_MM**2 * ((high - low) / 2 - (np.sin(2 * high) - np.sin(2 * low)) / 4))


def split_mm(at_deg: float) -> float:
    turn = np.radians(at_deg)
    lines = line_area_mm2(at_deg) / (STEP_MM * np.cos(turn))
    return float(lines + level_area_mm2(at_deg) / (STEP_MM * np.sin(turn)))


@cache
def optimum() -> tuple[float, float]:
    """Best split of all tenths of a degree, and its path."""
    slopes = np.arange(10.0, 59.95, 0.1)
    paths = [split_mm(slope) for slope in slopes]
    return float(slopes[np.argmin(paths)]), min(paths)


@cache
def cap_mesh() -> Mesh:
    return heal(*solids.spherical_cap(), "cap").mesh


def target() -> StageTarget:
    return resolve(cap_mesh(), {}, ASKED).stages[-1].target


@cache
def dome() -> tuple[ZoneSurface, Split]:
    """The cap as one zone, and its best split."""
    mesh = cap_mesh()
    settings = resolve(mesh, {}, ASKED)
    smooth = smooth_surface(mesh)
    drawn = draw_zones(mesh, smooth, curvature(mesh, smooth), settings)
    (number,) = (k for k, told in enumerate(drawn.shapes) if told.shape == "dome")
    surface = drawn.surfaces[number]
    split = best_split(surface, target(), settings.job.zones.flat_below, BLEND_PRICE)
    assert split is not None
    return surface, split


@cache
def plan_of(*rules: tuple[str, object]) -> Plan:
    part = heal(*solids.spherical_cap(), "cap")
    measured = measure_part(part, name="cap", file="cap.stl", sha256="", unit="mm", unit_assumed=False)
    return advisor.plan(measured, {"zones": dict(rules)}, material="Ti-6Al-4V", **ASKED, lays_passes=False)


def on_cap(plan: Plan) -> list[Zone]:
    """Zones of the cap, without the skirt and the underside."""
    return [zone for zone in plan.zones if zone.slope_deg.max < MOST_DEG + 1]


def minutes(zone: Zone) -> float:
    assert zone.advice is not None and zone.advice.total_min is not None
    return zone.advice.total_min


def test_the_closed_form_agrees_with_its_references() -> None:
    assert split_mm(NEAR_BEST_DEG) == pytest.approx(NEAR_BEST_MM, rel=1e-5)
    assert 2 * np.pi * RADIUS_MM**2 * (1 - np.cos(np.radians(MOST_DEG))) / STEP_MM == pytest.approx(WHOLE_MM, rel=1e-5)
    slope, path = optimum()
    assert slope == pytest.approx(NEAR_BEST_DEG, abs=1.0)
    assert NEAR_BEST_MM * 0.999 < path <= NEAR_BEST_MM


def test_the_best_split_is_the_optimum_of_closed_form() -> None:
    _, split = dome()
    slope, path = optimum()
    assert split.slope_deg == pytest.approx(slope, abs=2.0)
    assert split.path_mm == pytest.approx(path, rel=0.01)
    # the line of one slope on a sphere: 2 pi R sin
    circle = 2 * np.pi * RADIUS_MM * np.sin(np.radians(split.slope_deg))
    assert split.blend_mm == pytest.approx(circle, rel=0.005)


@pytest.mark.parametrize("steep_from_deg", [None, 20.0, 45.0])
@pytest.mark.parametrize("blend_price", [0.0, BLEND_PRICE, 1000.0])
def test_the_cheapest_of_all_splits_is_told(blend_price: float, steep_from_deg: float | None) -> None:
    """In two at the best slope or at the job's, or in three by the job's two: prices from closed form."""
    flat_below_deg = 5.0

    def price(slope_deg: float, *, has_own_floor: bool) -> float:
        path, turns = split_mm(slope_deg), [slope_deg]
        if has_own_floor:
            floor = line_area_mm2(flat_below_deg) / STEP_MM
            path -= floor / np.cos(np.radians(slope_deg)) - floor / np.cos(np.radians(flat_below_deg))
            turns.append(flat_below_deg)
        return path + blend_price * sum(2 * np.pi * RADIUS_MM * np.sin(np.radians(turn)) for turn in turns)

    slopes = [optimum()[0]] if steep_from_deg is None else [optimum()[0], steep_from_deg]
    prices = {(slope, floor): price(slope, has_own_floor=floor) for slope in slopes for floor in (False, True)}
    slope_deg, has_own_floor = min(prices, key=lambda way: prices[way])
    surface, _ = dome()
    split = best_split(surface, target(), flat_below_deg, blend_price, steep_from_deg)
    assert split is not None
    assert split.slope_deg == pytest.approx(slope_deg, abs=2.0)
    assert split.floor_below_deg == (flat_below_deg if has_own_floor else None)
    assert split.price_mm(blend_price) == pytest.approx(prices[slope_deg, has_own_floor], rel=0.02)


def test_a_dome_is_kept_together_where_that_takes_fewer_minutes() -> None:
    (zone,) = on_cap(plan_of())
    assert zone.shape == "dome" and zone.is_closed
    assert zone.advice is not None and zone.advice.strategy == "constant_cusp"
    assert zone.advice.path_mm == pytest.approx(WHOLE_MM, rel=0.01)
    trade = zone.trade
    assert trade is not None and trade.split_min is not None and trade.split_path_mm is not None
    assert trade.whole_path_mm == zone.advice.path_mm and trade.whole_min == zone.advice.total_min
    assert trade.split_path_mm == pytest.approx(optimum()[1], rel=0.01)
    assert minutes(zone) < trade.split_min
    split = on_cap(plan_of(("keep_together", False)))
    assert minutes(zone) < sum(minutes(part) for part in split) == pytest.approx(trade.split_min, rel=0.02)


@pytest.mark.parametrize("steep_from", [None, "45 deg", "33 deg"])
def test_a_dome_that_may_not_be_kept_together_is_split(steep_from: str | None) -> None:
    """At the slope of least path, or at the one the job gives."""
    rules = () if steep_from is None else (("steep_from", steep_from),)
    plan = plan_of(("keep_together", False), *rules)
    told = next(setting for setting in plan.record.settings if setting.name == "steep_from")
    zones = on_cap(plan)
    steep = next(zone for zone in zones if zone.slope_class == "steep")
    shallow = next(zone for zone in zones if zone.slope_class == "shallow")
    if steep_from is None:
        assert steep.slope_deg.min == pytest.approx(NEAR_BEST_DEG, abs=2.0) and told.source == "part"
        assert [zone.advice.strategy for zone in (shallow, steep) if zone.advice] == ["parallel_line", "constant_z"]
    else:
        assert (told.value, told.source) == (steep_from, "job file")
    at_deg = float(told.value.removesuffix(" deg"))
    assert steep.slope_deg.min == pytest.approx(at_deg, abs=1e-6)
    assert shallow.slope_deg.max == pytest.approx(at_deg, abs=1e-6)
    assert steep.class_area_mm2.shallow == shallow.class_area_mm2.steep == 0.0
    whole = sum(zone.area_mm2 for zone in zones)
    assert whole == pytest.approx(on_cap(plan_of())[0].area_mm2, rel=1e-9)
