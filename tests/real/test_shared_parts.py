"""Third-party parts: each gives a plan or a one-line refusal."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import real_parts
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

import advisor
from advisor.errors import InputError
from advisor.model import Advice, FacetArrays

PARTS = sorted(real_parts.REAL_PARTS.iterdir()) if real_parts.REAL_PARTS.is_dir() else []
pytestmark = pytest.mark.skipif(not PARTS, reason=f"no third-party parts in {real_parts.REAL_PARTS}")

REFUSED = {
    "cut_short.stl": "cut short",
    "empty.stl": "no facets",
    "zero_facets_ascii.stl": "no facets",
    "zero_facets_binary.stl": "no facets",
}


@pytest.mark.parametrize("path", PARTS, ids=lambda path: path.name)
def test_part_gives_a_plan_or_one_line(path: Path) -> None:
    real_parts.skip_if_large(path)
    try:
        # facets of exact surfaces are made for the cusp: a coarse one keeps them few
        plan = advisor.plan(path, lays_passes=False, cusp="0.025 mm" if path.suffix == ".step" else None)
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
        assert zone.advice.usable == any(candidate.usable for candidate in zone.candidates)
        for candidate in (zone.advice, *zone.candidates):
            check_numbers(candidate)
        if zone.slope_class == "steep" and zone.slope_deg.p05 > 80 and zone.shape is None:
            walls = [c for c in zone.candidates if c.strategy == "constant_z"]
            assert walls[0].usable, f"zone {zone.id}: a wall is cut by constant-Z"
    check_facing(plan)


def check_numbers(advice: Advice) -> None:
    """Numbers where the candidate is usable, none where it is not; roughness no more than its cusps allow."""
    for name in ("stepover_mm", "path_mm"):
        value = getattr(advice, name)
        assert (value is not None and value > 0) == advice.usable
    if advice.usable:
        assert advice.cusp_um.p95 is not None
        if advice.ra_um is not None and advice.cusp_um.max is not None and advice.cusp_um.max < 50:
            assert advice.ra_um <= 0.2566 * advice.cusp_um.max * 1.02
    else:
        assert advice.ra_um is None and advice.line_spacing_mm is None and advice.z_step_mm is None


def check_facing(plan: advisor.Plan) -> None:
    """Little of what is planned to be cut faces away from the spindle: specks and what hides nothing, no faces."""
    facets = plan.facets
    corners = facets.vertices[facets.faces]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    cut = [zone.id for zone in plan.zones if zone.advice is not None and zone.advice.usable]
    away = np.isin(facets.zone, cut) & (facets.smooth_slope_deg > 95.0)
    assert area[away].sum() <= 0.005 * area.sum()


# Counted by eye on the maps: surfaces a person would name, small features aside. At most 1.5 times as many is sound.
COUNTED = {
    "plate_holes.stl": 5,
    "oblong_pocket_block.off": 13,
    "stepped_cylinder_block_ascii.stl": 9,
    "torus.stl": 6,
}


@pytest.mark.parametrize("name", COUNTED)
def test_maps_do_not_fall_to_pieces(name: str) -> None:
    assert len(advisor.plan(real_parts.REAL_PARTS / name, only_zones=True).zones) <= 1.5 * COUNTED[name]


def test_walls_of_the_casting_do_not_flicker() -> None:
    """Plain thresholds give two thousand areas here: rounding of the file decides between wall and undercut."""
    plan = advisor.plan(real_parts.REAL_PARTS / "bell_housing.stl", only_zones=True)
    facets = plan.facets
    drawn = areas_of_one_class(facets, facets.slope_class)
    assert areas_of_one_class(facets, np.digitize(facets.slope_deg, [5.0, 45.0, 90.0])) > 1000
    assert drawn < 200
    assert all(zone.slope_deg.mean > 92.0 for zone in plan.zones if zone.slope_class == "undercut")
    # what is kept together saves zones, and corners that part walls and floors of one class add some
    assert len(plan.zones) < 1.5 * drawn


def areas_of_one_class(facets: FacetArrays, slope_class: NDArray[np.integer]) -> int:
    """Connected areas of facets of one class."""
    ends = np.sort(facets.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    order = np.lexsort(ends.T)
    same = np.flatnonzero((ends[order[1:]] == ends[order[:-1]]).all(axis=1))
    one, other = order[same] // 3, order[same + 1] // 3
    alike = slope_class[one] == slope_class[other]
    links = coo_array((np.ones(alike.sum()), (one[alike], other[alike])), shape=(len(facets.faces),) * 2)
    count, _ = connected_components(links)
    return int(count)
