"""Points, normals and lines that the window draws."""

import numpy as np
import pytest
import trimesh

import advisor
from advisor.screen.surface import drawn_surface, lines_on


@pytest.fixture(scope="module")
def block_plan(tmp_path_factory):
    path = tmp_path_factory.mktemp("block") / "block.stl"
    block = trimesh.creation.box((40.0, 30.0, 20.0))
    block.apply_translation([1000.0, 0.0, 0.0])
    block.export(path)
    return advisor.plan(path, ball="6 mm", unit="mm", lays_passes=False)


def test_facets_keep_their_order_and_place(ball_plan):
    surface = drawn_surface(ball_plan)
    corners = surface.points[surface.faces] + surface.middle_mm
    assert np.allclose(corners, ball_plan.facets.vertices[ball_plan.facets.faces], atol=1e-4)


def test_a_ball_is_smooth(ball_plan):
    surface = drawn_surface(ball_plan)
    used = np.unique(surface.faces)
    radial = surface.points[used] / np.linalg.norm(surface.points[used], axis=1)[:, None]
    assert (np.einsum("ij,ij->i", radial, surface.normals[used]) > 0.995).all()


def test_a_block_is_crisp(block_plan):
    surface = drawn_surface(block_plan)
    mesh = trimesh.Trimesh(block_plan.facets.vertices, block_plan.facets.faces, process=False)
    for k in range(3):
        assert np.allclose(surface.normals[surface.faces[:, k]], mesh.face_normals, atol=1e-5)


def length(plan, edges):
    ends = plan.facets.vertices[edges]
    return np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()


def test_lines_on_a_block_are_its_twelve_edges(block_plan):
    lines = lines_on(block_plan.facets)
    # walls are one zone: four upright edges are creases; the rims of top and underside part zones
    assert length(block_plan, lines.border) == pytest.approx(2 * 2 * (40.0 + 30.0))
    assert length(block_plan, lines.crease) == pytest.approx(4 * 20.0)


def test_each_zone_has_its_own_border_around_it(ball_plan):
    lines = lines_on(ball_plan.facets)
    for zone in ball_plan.zones:
        expected = sum(near.length_mm for near in zone.neighbours)
        assert length(ball_plan, lines.outline(zone.id)) == pytest.approx(expected)
    assert len(lines.outline(-2)) == 0


def test_rims_of_an_open_mesh_are_lines(ball_plan):
    facets = ball_plan.facets
    from dataclasses import replace

    upper = facets.zone == ball_plan.zones[0].id
    cut = replace(facets, faces=np.ascontiguousarray(facets.faces[upper]), zone=facets.zone[upper])
    whole = sum(near.length_mm for near in ball_plan.zones[0].neighbours)
    assert length(ball_plan, lines_on(cut).crease) == pytest.approx(whole)
