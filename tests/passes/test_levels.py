"""Level lines against closed forms, the sections of trimesh, and laws that hold for any value on any mesh."""

from __future__ import annotations

import numpy as np
import pytest
import solids
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.part.mesh import Mesh
from advisor.passes.levels import LevelLines, level_lines

SOLIDS = {
    "sphere": solids.sphere(10, 0.1),
    "torus": solids.torus(20, 5, 0.1),
    "pocket": solids.round_pocket(chord_error_mm=0.2),
    "wave": solids.wave(chord_error_mm=0.2),
}


def mesh_of(vertices: np.ndarray, faces: np.ndarray) -> Mesh:
    return Mesh(np.array(vertices, float), np.array(faces, np.int32))


def grid(columns: int, rows: int) -> Mesh:
    x, y = np.meshgrid(np.arange(columns + 1.0), np.arange(rows + 1.0), indexing="ij")
    at = np.arange(x.size).reshape(x.shape)
    a, b, c, d = at[:-1, :-1].ravel(), at[1:, :-1].ravel(), at[1:, 1:].ravel(), at[:-1, 1:].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    return mesh_of(np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], 1), faces)


def by_level(lines: LevelLines, count: int) -> np.ndarray:
    return np.bincount(lines.level, lines.lengths_mm, minlength=count)


def check_laws(mesh: Mesh, value: np.ndarray, levels: np.ndarray, lines: LevelLines) -> None:
    """Each chain is closed or ends where no facet goes on; it lies on its level, above on its left; no crumbs."""
    last = lines.starts[1:] - 1
    assert (np.diff(lines.starts) >= np.where(lines.is_closed, 3, 2)).all()
    f, k = np.divmod(lines.half_edge, 3)
    one, two = mesh.faces[f, k], mesh.faces[f, (k + 1) % 3]
    share = lines.fraction[:, None]
    on_edge = (1 - share) * mesh.vertices[one] + share * mesh.vertices[two]
    np.testing.assert_allclose(lines.points_mm, on_edge, atol=1e-12 * mesh.reach_mm)
    level_of_point = np.repeat(levels[lines.level], np.diff(lines.starts))
    blend = (1 - lines.fraction) * value[one] + lines.fraction * value[two]
    np.testing.assert_allclose(blend, level_of_point, atol=1e-12 * np.abs(value[np.isfinite(value)]).max())
    # closed ones come back; others end on an edge over which nothing goes on
    same = (lines.points_mm[lines.starts[:-1]] == lines.points_mm[last]).all(axis=1)
    assert same[lines.is_closed].all()
    alive = np.isfinite(value[mesh.faces]).all(axis=1)
    beyond = mesh.twins[lines.half_edge]
    turned = mesh.faces.ravel()[beyond] == one
    is_rim = (beyond < 0) | turned | ~alive[np.maximum(beyond, 0) // 3]
    assert is_rim[last[~lines.is_closed]].all()
    assert is_rim[lines.starts[:-1][~lines.is_closed]].all()
    # segments lie on facets that take part; the value climbs to their left
    rows = np.flatnonzero(lines.facet >= 0)
    assert len(rows) == len(lines.facet) - len(lines.level)
    assert (lines.facet[last] == -1).all()
    facet, step = lines.facet[rows], lines.points_mm[rows + 1] - lines.points_mm[rows]
    length = np.linalg.norm(step, axis=1)
    assert (length > 0).all()
    assert alive[facet].all()
    corner = mesh.vertices[mesh.faces[facet]]
    height = value[mesh.faces[facet]] - level_of_point[rows, None]
    left = np.cross(mesh.normal[facet], step / length[:, None])
    side = np.einsum("ijk,ik->ij", corner - lines.points_mm[rows][:, None], left)
    certain = (np.abs(height) > 0.01) & (length[:, None] > 1e-3 * mesh.reach_mm)
    assert (side * np.sign(height) > 0)[certain].all()
    # no branching: an edge is crossed once at each level
    edge = np.where(turned, lines.half_edge, np.maximum(lines.half_edge, beyond)).astype(np.int64)
    counted = np.setdiff1d(np.arange(len(edge)), last[lines.is_closed])
    level = np.repeat(lines.level, np.diff(lines.starts))
    pairs = edge[counted] * len(levels) + level[counted]
    assert len(np.unique(pairs)) == len(pairs)


@pytest.mark.parametrize("count", [1, 7, 200])
def test_a_plane(count: int) -> None:
    mesh = grid(20, 10)
    lines = level_lines(mesh, mesh.vertices[:, 0], (np.arange(count) + 0.5) * 20 / count)
    assert len(lines.level) == count
    assert not lines.is_closed.any()
    np.testing.assert_allclose(lines.lengths_mm, 10.0, rtol=1e-12)
    # below lies before 0 on x: the line runs so that what is above is on its left, seen from +z
    np.testing.assert_array_equal(lines.points_mm[lines.starts[:-1], 1], 10.0)


def test_circles_of_a_sphere_and_of_a_torus() -> None:
    ball = mesh_of(*solids.sphere(25, 0.002))
    middle = (ball.vertices[:, 2].min() + ball.vertices[:, 2].max()) / 2
    z = np.array([-20.0, -3.0, 0.1, 11.0, 24.0])
    lines = level_lines(ball, ball.vertices[:, 2] - middle, z)
    np.testing.assert_array_equal(lines.level, np.arange(5))
    assert lines.is_closed.all()
    np.testing.assert_allclose(lines.lengths_mm, 2 * np.pi * np.sqrt(25**2 - z**2), rtol=2e-3)
    assert (lines.lengths_mm < 2 * np.pi * np.sqrt(25**2 - z**2)).all()  # chords are shorter
    ring = mesh_of(*solids.torus(20, 5, 0.002))
    middle = ring.vertices[:, 2].min() + 5
    lines = level_lines(ring, ring.vertices[:, 2] - middle, np.array([-3.0, 4.0]))
    np.testing.assert_array_equal(lines.level, [0, 0, 1, 1])
    radii = np.array([20 + 4, 20 - 4, 20 + 3, 20 - 3])
    np.testing.assert_allclose(lines.lengths_mm, 2 * np.pi * radii, rtol=2e-3)
    across = level_lines(ring, ring.vertices[:, 0], np.array([-24.0, -14.9, 0.0, 15.1]))
    np.testing.assert_array_equal(across.level, [0, 1, 1, 2, 2, 3])
    np.testing.assert_allclose(across.lengths_mm[3:5], 2 * np.pi * 5, rtol=2e-3)


@settings(max_examples=60)
@given(st.sampled_from(sorted(SOLIDS)), st.integers(0, 10**6), st.integers(1, 40))
def test_lengths_are_those_of_trimesh_sections(name: str, seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = mesh_of(*SOLIDS[name])
    axis = rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    value = mesh.vertices @ axis
    levels = np.sort(rng.uniform(value.min(), value.max(), count))
    lines = level_lines(mesh, value, levels)
    check_laws(mesh, value, levels, lines)
    assert lines.is_closed.all()
    theirs = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    cuts = [trimesh.intersections.mesh_plane(theirs, axis, axis * at) for at in levels]
    expected = [np.linalg.norm(cut[:, 1] - cut[:, 0], axis=1).sum() for cut in cuts]
    np.testing.assert_allclose(by_level(lines, count), expected, rtol=1e-6, atol=1e-6)


@settings(max_examples=100)
@given(st.sampled_from([*sorted(SOLIDS), "sheet"]), st.integers(0, 10**6), st.integers(2, 9), st.booleans())
def test_laws_hold_for_any_values_many_of_them_on_a_level(name: str, seed: int, steps: int, holes: bool) -> None:
    rng = np.random.default_rng(seed)
    mesh = grid(12, 9) if name == "sheet" else mesh_of(*SOLIDS[name])
    value = rng.integers(0, steps, len(mesh.vertices)).astype(float)
    if holes:
        value[rng.uniform(size=len(value)) < 0.1] = np.nan
        value[rng.uniform(size=len(value)) < 0.05] = np.inf
    levels = np.unique(np.concatenate([np.arange(1.0, steps), rng.uniform(0, steps, 3)]))
    lines = level_lines(mesh, value, levels)
    # what differs from the level by nothing counts as above: a little less leaves no vertex on a level
    np.testing.assert_allclose(
        by_level(lines, len(levels)),
        by_level(level_lines(mesh, value, levels - 1e-9), len(levels)),
        rtol=1e-6,
        atol=1e-5,
    )
    moved = level_lines(mesh, value, levels - 1e-5)
    check_laws(mesh, value, levels - 1e-5, moved)
    steps_mm = np.linalg.norm(np.diff(lines.points_mm, axis=0), axis=1)[lines.facet[:-1] >= 0]
    assert (steps_mm > 1e-7 * mesh.reach_mm * 0.99).all()


def test_a_level_through_vertices_leaves_no_crumbs() -> None:
    mesh = grid(6, 6)
    lines = level_lines(mesh, mesh.vertices[:, 0], np.array([0.0, 2.0, 6.0]))
    np.testing.assert_array_equal(lines.level, [1, 2])  # nothing lies below 0; the far rim is above 6
    np.testing.assert_array_equal(np.diff(lines.starts), 7)  # every row once
    np.testing.assert_array_equal(np.unique(lines.points_mm[:7, 0]), [2.0])
    assert (lines.facet[:6] >= 0).all()
    peak = np.zeros(49)
    peak[24] = 1.0
    assert len(level_lines(mesh, peak, np.array([1.0])).level) == 0  # a peak that just reaches the level is a point
    assert level_lines(mesh, peak, np.array([0.5])).is_closed.tolist() == [True]


@settings(max_examples=30)
@given(st.sampled_from(sorted(SOLIDS)), st.integers(0, 10**6))
def test_the_order_of_facets_and_vertices_does_not_show(name: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    vertices, faces = SOLIDS[name]
    value, levels = np.round(vertices[:, 1], 1), np.linspace(vertices[:, 1].min(), vertices[:, 1].max(), 9)
    names, rows = rng.permutation(len(vertices)), rng.permutation(len(faces))
    where = np.argsort(names)
    turns = (rng.integers(0, 3, len(faces))[:, None] + np.arange(3)) % 3
    others = mesh_of(vertices[names], np.take_along_axis(where[faces], turns, axis=1)[rows])
    one, two = level_lines(mesh_of(vertices, faces), value, levels), level_lines(others, value[names], levels)
    np.testing.assert_array_equal(one.points_mm, two.points_mm)
    np.testing.assert_array_equal(one.starts, two.starts)
    np.testing.assert_array_equal(one.level, two.level)
    np.testing.assert_array_equal(one.is_closed, two.is_closed)
    inner = one.facet >= 0
    np.testing.assert_array_equal(one.facet[inner], rows[two.facet[inner]])


def test_only_facets_that_take_part_are_crossed() -> None:
    mesh = grid(8, 4)
    part = mesh.middle[:, 1] < 2
    lines = level_lines(mesh, mesh.vertices[:, 0], np.array([1.5, 4.5]), part)
    np.testing.assert_allclose(lines.lengths_mm, 2.0)
    assert part[lines.facet[lines.facet >= 0]].all()


@pytest.mark.parametrize("seed", range(5))
def test_facets_wound_against_each_other_end_lines_but_lose_none(seed: int) -> None:
    sheet = grid(8, 6)
    faces = np.array(sheet.faces)
    wrong = np.random.default_rng(seed).uniform(size=len(faces)) < 0.2
    faces[wrong] = faces[wrong][:, ::-1]
    mesh, value, levels = mesh_of(sheet.vertices, faces), sheet.vertices[:, 0] + 0.3, np.arange(1.0, 8.0)
    lines = level_lines(mesh, value, levels)
    check_laws(mesh, value, levels, lines)
    np.testing.assert_allclose(by_level(lines, 7), 6.0)


def test_what_stands_at_corners_is_found_at_the_points() -> None:
    mesh = mesh_of(*SOLIDS["torus"])
    lines = level_lines(mesh, mesh.vertices[:, 2], np.array([3.0, 6.0]))
    np.testing.assert_allclose(lines.interpolated(mesh.vertices[mesh.faces]), lines.points_mm, atol=1e-12)
    np.testing.assert_allclose(lines.interpolated(mesh.vertices[mesh.faces, 2]), lines.points_mm[:, 2], atol=1e-12)


def test_no_levels_no_facets_and_levels_out_of_order() -> None:
    mesh = grid(2, 2)
    for lines in (
        level_lines(mesh, mesh.vertices[:, 0], np.zeros(0)),
        level_lines(mesh, mesh.vertices[:, 0], np.array([5.0])),
        level_lines(mesh_of(np.zeros((0, 3)), np.zeros((0, 3))), np.zeros(0), np.array([1.0])),
    ):
        assert lines.starts.tolist() == [0]
        assert len(lines.points_mm) == len(lines.lengths_mm) == 0
    for levels in ([1.0, 1.0], [2.0, 1.0], [np.nan], [np.inf]):
        with pytest.raises(ValueError, match="ascend"):
            level_lines(mesh, mesh.vertices[:, 0], np.array(levels))
