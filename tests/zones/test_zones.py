"""Zones of parts with exact answers: areas, noise, and the laws that numbers of zones obey."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
import solids
from asked_for import few_of
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from zone_makers import joined_zones

from advisor.part.heal import heal
from advisor.part.mesh import Mesh
from advisor.part.smooth import SmoothSurface, smooth_surface
from advisor.zones.classes import FLAT, SHALLOW, STEEP, UNDERCUT, Thresholds, class_of_facets
from advisor.zones.patches import ZoneRule
from advisor.zones.zoning import Zoning

THRESHOLDS = Thresholds(flat_below_deg=5.0, steep_from_deg=45.0, wall_tolerance_deg=1.0)
RULE = ZoneRule(THRESHOLDS, smallest_mm2=4.0, ball_mm=6.0, tight_mm=0.1)
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Zoned:
    mesh: Mesh
    smooth: SmoothSurface
    zoning: Zoning

    @property
    def class_areas(self) -> np.ndarray:
        zoning = self.zoning
        return np.bincount(zoning.facet_class, zoning.surface.mesh.area_mm2, minlength=4)


def zoned(vertices: np.ndarray, faces: np.ndarray, axis: np.ndarray = UP, rule: ZoneRule = RULE) -> Zoned:
    mesh = heal(vertices, faces, "part").mesh
    smooth = smooth_surface(mesh)
    return Zoned(mesh, smooth, joined_zones(mesh, smooth, axis, rule))


def exact_areas(exact: solids.Exact) -> np.ndarray:
    """Areas between the thresholds, walls within the tolerance counting as steep."""
    below = [exact.area_below_mm2(slope) for slope in (*THRESHOLDS.between_classes_deg, 180.1)]
    return np.diff([0.0, *below])


PARTS = {
    "hemisphere": (solids.hemisphere(25.0), solids.hemisphere_exact(25.0)),
    "cap": (solids.spherical_cap(), solids.spherical_cap_exact()),
    "cone": (solids.cone(), solids.cone_exact()),
    "pointed cone": (solids.cone(40, 0, 30), solids.cone_exact(40, 0, 30)),
    "cylinder": (solids.cylinder(10, 30), solids.cylinder_exact(10, 30)),
    "lying cylinder": (solids.half_cylinder(10, 50), solids.half_cylinder_exact(10, 50)),
    "torus": (solids.torus(20, 5), solids.torus_exact(20, 5)),
    "inclined plane": (solids.wedge(20), solids.wedge_exact(20)),
    "gentle plane": (solids.wedge(8), solids.wedge_exact(8)),
    "stepped block": (solids.stepped_block(), solids.stepped_block_exact()),
    "round pocket": (solids.round_pocket(), solids.round_pocket_exact()),
    "bowl": (solids.bowl(), solids.bowl_exact()),
}
# From the closed forms: what each part consists of, as zones a person would count.
ZONES = {
    "hemisphere": 3, "cap": 4, "cone": 3, "pointed cone": 2, "cylinder": 3, "lying cylinder": 6, "torus": 4,
    "inclined plane": 3, "gentle plane": 3, "stepped block": 5, "round pocket": 6, "bowl": 5,
}  # fmt: skip


@cache
def zoned_part(name: str) -> Zoned:
    (vertices, faces), _ = PARTS[name]
    return zoned(vertices, faces)


@pytest.mark.parametrize("name", PARTS)
def test_class_areas_are_the_closed_forms(name: str) -> None:
    _, exact = PARTS[name]
    part = zoned_part(name)
    expected = exact_areas(exact)
    # 0.5 % at a chord error of 0.01 mm; a class of no area has none
    np.testing.assert_allclose(part.class_areas, expected, rtol=5e-3, atol=1e-6)
    assert len(part.zoning.zone_class) == ZONES[name]


@pytest.mark.parametrize("name", PARTS)
def test_every_facet_is_in_one_zone_and_no_area_is_lost(name: str) -> None:
    part = zoned_part(name)
    assert set(part.zoning.zone) == set(range(len(part.zoning.zone_class)))
    assert part.class_areas.sum() == pytest.approx(part.mesh.area_mm2.sum(), rel=1e-9)
    assert part.zoning.surface.mesh.is_closed
    assert part.zoning.surface.mesh.volume_mm3 == pytest.approx(part.mesh.volume_mm3, rel=1e-12)
    areas = np.bincount(part.zoning.zone, part.zoning.surface.mesh.area_mm2)
    assert (np.diff(areas) <= 1e-6 * areas[0]).all(), "zones are numbered from the largest"


@pytest.mark.parametrize("threshold_deg", [7.0, 30.0, 61.0, 80.0])
def test_zone_lines_on_a_sphere_are_circles_of_latitude(threshold_deg: float) -> None:
    rule = ZoneRule(Thresholds(2.0, threshold_deg, 1.0), 4.0, 6.0, 0.1)
    vertices, faces = solids.sphere(25.0, pattern="ico")
    part = zoned(vertices, faces, rule=rule)
    cut, zoning = part.zoning.surface.mesh, part.zoning
    shallow = zoning.facet_class == SHALLOW
    steep = zoning.facet_class == STEEP
    shared = np.intersect1d(cut.faces[shallow], cut.faces[steep])
    place = cut.vertices[shared]
    latitude = np.degrees(np.arctan2(np.hypot(place[:, 0], place[:, 1]), place[:, 2]))
    # nearly all points lie on the circle to rounding; where a line grazes a corner it may leave it by 0.04 mm
    np.testing.assert_allclose(np.median(latitude), threshold_deg, atol=1e-6)
    np.testing.assert_allclose(latitude, threshold_deg, atol=0.1)


# Parts whose facets are about equal in all directions, so that noise of a mean edge means the same everywhere.
ISOTROPIC: dict[str, Callable[[], solids.Mesh]] = {
    "sphere": lambda: solids.sphere(25.0, pattern="ico"),
    "torus": lambda: solids.refined(*solids.torus(20, 5), 1.5),
    "inclined plane": lambda: solids.refined(*solids.wedge(20), 1.5),
    "stepped block": lambda: solids.refined(*solids.stepped_block(), 1.2),
    "cylinder": lambda: solids.refined(*solids.cylinder(10, 30), 0.9),
}


@pytest.mark.parametrize("name", ISOTROPIC)
@pytest.mark.parametrize("seed", few_of([1], [1, 2]))
def test_noise_of_a_tenth_of_the_edge_leaves_the_map_alone(name: str, seed: int) -> None:
    vertices, faces = ISOTROPIC[name]()
    clean = zoned(vertices, faces)
    noisy = zoned(*solids.with_noise(vertices, faces, 0.1, seed))
    assert clean.smooth.noise_share_of_edge == 0.0
    assert noisy.smooth.noise_share_of_edge > 0.03
    assert len(noisy.zoning.zone_class) <= len(clean.zoning.zone_class) + 2
    kept, area = kept_class(clean, noisy)
    assert kept.sum() >= 0.95 * area.sum()


def kept_class(clean: Zoned, noisy: Zoned) -> tuple[np.ndarray, np.ndarray]:
    """Area of noisy facets away from class boundaries, as a whole and where the clean facet there has their class."""
    spacing = np.sqrt(noisy.mesh.area_mm2.mean())

    def keys(part: Zoned) -> np.ndarray:
        mesh = part.zoning.surface.mesh
        smooth = part.zoning.surface.corner_normal.sum(axis=1)
        smooth = smooth / np.linalg.norm(smooth, axis=1)[:, None]
        return np.concatenate([mesh.vertices[mesh.faces].mean(axis=1), spacing * smooth], axis=1)

    nearest = cKDTree(keys(clean)).query(keys(noisy))[1]
    slope = clean.zoning.smooth_slope_deg[nearest]
    away = np.abs(slope[:, None] - THRESHOLDS.between_classes_deg).min(axis=1) > 2.0
    same = clean.zoning.facet_class[nearest] == noisy.zoning.facet_class
    area = noisy.zoning.surface.mesh.area_mm2 * away
    return area * same, area


LAW_PART = solids.round_pocket(chord_error_mm=0.05)


@cache
def law_part() -> Zoned:
    return zoned(*LAW_PART)


def summary(part: Zoned) -> list[tuple[int, float]]:
    zoning = part.zoning
    areas = np.bincount(zoning.zone, zoning.surface.mesh.area_mm2)
    return [(int(c), round(float(a), 3)) for c, a in zip(zoning.zone_class, areas, strict=True)]


@settings(max_examples=few_of(10, 20))
@given(st.integers(0, 2**31))
def test_turning_part_and_tool_axis_together_changes_nothing(seed: int) -> None:
    turn = Rotation.random(random_state=seed).as_matrix()
    vertices, faces = LAW_PART
    assert summary(zoned(solids.turned(vertices, turn), faces, axis=turn @ UP)) == summary(law_part())


@settings(max_examples=few_of(6, 10))
@given(st.integers(0, 2**31))
def test_order_of_facets_changes_nothing(seed: int) -> None:
    vertices, faces = LAW_PART
    one, other = law_part().zoning, zoned(*solids.permuted(vertices, faces, seed)).zoning
    assert np.array_equal(one.zone, other.zone)
    assert np.array_equal(one.surface.mesh.vertices, other.surface.mesh.vertices)


@settings(max_examples=few_of(6, 10))
@given(st.floats(-200, 200), st.floats(-200, 200), st.floats(-200, 200))
def test_moving_the_part_changes_nothing(x: float, y: float, z: float) -> None:
    vertices, faces = LAW_PART
    assert summary(zoned(vertices + [x, y, z], faces)) == summary(law_part())


def test_a_plane_on_a_threshold_belongs_above_it_whatever_rounding_does() -> None:
    for nudge in (-1e-5, 0.0, 1e-5):
        part = zoned(*solids.wedge(45.0 + nudge))
        assert part.class_areas[SHALLOW] == 0.0
    slopes = np.array([5.0, 45.0, 91.0, 4.99, 4.9, 0.0])
    assert class_of_facets(slopes, np.stack([slopes, slopes], axis=1), THRESHOLDS).tolist() == [1, 2, 3, 1, 0, 0]


def test_walls_within_the_tolerance_are_walls() -> None:
    vertices, faces = solids.cylinder(10, 30)
    leaning = vertices * [1, 1, 1]
    leaning[:, :2] *= (1 - np.tan(np.radians(0.8)) * (30 - vertices[:, 2]) / 10)[:, None]
    assert zoned(leaning, faces).class_areas[UNDERCUT] < 320  # the base disk alone
    leaning = vertices * [1, 1, 1]
    leaning[:, :2] *= (1 - np.tan(np.radians(1.5)) * (30 - vertices[:, 2]) / 10)[:, None]
    assert zoned(leaning, faces).class_areas[STEEP] == 0.0


def test_thin_real_floors_and_fillets_stay() -> None:
    # a step 0.3 mm wide, and a pocket whose fillet is 1 mm: narrow, but drawn by a person
    step = zoned(*solids.stepped_block((10, 14, 18), 20, 60))
    thin = zoned(*solids.stepped_block((10, 14, 18), 0.3, 60))
    assert len(thin.zoning.zone_class) == len(step.zoning.zone_class)
    pocket = zoned(*solids.round_pocket(20, 1.0, 15))
    assert (pocket.zoning.zone_class == SHALLOW).sum() == 1


def test_specks_join_the_neighbour_with_most_border() -> None:
    # a needle-thin chamfer band between floor and wall is a sliver, the floor itself is not
    vertices, faces = solids.round_pocket(20, 0.01, 15)
    part = zoned(vertices, faces)
    assert SHALLOW not in part.zoning.zone_class
    assert (part.zoning.zone_class == FLAT).sum() == 2


def walls_of(vertices: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A solid without its level ends: a roof over a hole would hide it."""
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return vertices, faces[np.abs(normal[:, 2]) < 1e-9]


def test_many_holes_are_noted_together_and_a_boss_is_not() -> None:
    base = solids.refined(*solids.stepped_block((10.0,), 60, 60), 100)
    holes = [walls_of(*solids.cylinder(2.0, 8.0, 0.02)) for _ in range(4)]
    bosses = [solids.cylinder(2.4, 8.0, 0.02) for _ in range(4)]
    vertices, faces = [base[0]], [base[1]]
    for i, (points, triangles) in enumerate(holes):
        faces.append(triangles[:, ::-1] + sum(map(len, vertices)))
        vertices.append(points + [45 + 10 * i, 0, 0])
    for i, (points, triangles) in enumerate(bosses):
        faces.append(triangles + sum(map(len, vertices)))
        vertices.append(points + [45 + 10 * i, 20, 0])
    mesh = Mesh(np.concatenate(vertices), np.concatenate(faces).astype(np.int32))  # not healed: they stay hollow
    rule = ZoneRule(THRESHOLDS, 1.0, 6.0, 0.1)
    zoning = joined_zones(mesh, smooth_surface(mesh), UP, rule)
    collected = zoning.features[zoning.zone_class == STEEP]
    assert sorted(collected.tolist()) == [1, 1, 1, 1, 1, 4]
