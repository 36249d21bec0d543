"""Mending: each mend made, counted, and nothing else touched."""

from __future__ import annotations

import numpy as np
import pytest
import solids

from advisor.errors import InputError
from advisor.part.heal import HealedMesh, heal


def repairs(healed: HealedMesh) -> dict[str, int]:
    return {repair.what: repair.count for repair in healed.repairs}


def block(size: float = 10.0, at: tuple[float, float, float] = (0, 0, 0)) -> solids.Mesh:
    vertices, faces = solids.stepped_block((size,), size, size)
    return vertices + np.array(at, dtype=float), faces


def joined(*meshes: solids.Mesh) -> solids.Mesh:
    offsets = np.cumsum([0] + [len(vertices) for vertices, _ in meshes])
    return (
        np.concatenate([vertices for vertices, _ in meshes]),
        np.concatenate([faces + offset for (_, faces), offset in zip(meshes, offsets, strict=False)]),
    )


def test_triangle_soup_is_welded_and_closed() -> None:
    vertices, faces = solids.round_pocket()
    healed = heal(vertices[faces].reshape(-1, 3), None, "part")
    assert healed.mesh.is_closed
    assert len(healed.mesh.vertices) == len(vertices)
    assert repairs(healed) == {}
    assert healed.mesh.volume_mm3 == pytest.approx(
        np.einsum("ij,ij->i", vertices[faces[:, 0]], np.cross(vertices[faces[:, 1]], vertices[faces[:, 2]])).sum() / 6
    )


def test_repeated_and_collapsed_facets_are_dropped_and_counted() -> None:
    vertices, faces = block()
    worse = np.concatenate([faces, faces[:3], np.roll(faces[3:5], 1, axis=1), [[0, 0, 1], [2, 2, 2]]])
    healed = heal(vertices, worse, "part")
    assert repairs(healed) == {"facets without area dropped": 2, "repeated facets dropped": 5}
    assert healed.mesh.is_closed


def test_mixed_winding_is_made_one() -> None:
    vertices, faces = solids.torus(20, 5, 0.2)
    turned = np.arange(len(faces)) % 3 == 0
    faces = faces.copy()
    faces[turned] = faces[turned][:, ::-1]
    healed = heal(vertices, faces, "part")
    assert repairs(healed) == {"facets turned to their neighbours' winding": turned.sum()}
    assert healed.mesh.volume_mm3 > 0


def test_inside_out_body_is_turned_but_a_void_is_left() -> None:
    outer, hollow, aside = block(10), block(4, (3, 3, 3)), block(5, (20, 0, 0))
    hollow = (hollow[0], hollow[1][:, ::-1])
    aside = (aside[0], aside[1][:, ::-1])
    healed = heal(*joined(outer, hollow, aside), "part")
    assert repairs(healed) == {"bodies turned inside out": 1}
    assert healed.bodies == 3
    assert healed.mesh.volume_mm3 == pytest.approx(10**3 - 4**3 + 5**3)


def test_open_sheet_keeps_the_side_it_was_exported_with() -> None:
    vertices, faces = solids.bowl()
    up = np.cross(vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]])[:, 2]
    inside = (up > 1e-9) & (np.hypot(*vertices[faces].mean(axis=1).T[:2]) < 30)
    healed = heal(vertices, faces[inside], "part")
    assert "bodies turned inside out" not in repairs(healed)
    assert (healed.mesh.normal[:, 2] > 0).all()
    assert "open" in healed.warnings[0]


def test_needle_is_turned_over_so_that_the_skin_stays_closed() -> None:
    # the top of a block with a corner set into the long edge: one facet has no height
    vertices = np.array([[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0], [2, 0, 0], [2, 2, -3.0]])
    faces = np.array([[0, 1, 2], [0, 2, 3], [0, 4, 1], [5, 4, 0], [5, 1, 4], [5, 2, 1], [5, 3, 2], [5, 0, 3]])
    healed = heal(vertices, faces, "part")
    assert repairs(healed) == {"facets without height turned over": 1}
    assert healed.mesh.is_closed
    assert len(healed.mesh.faces) == len(faces)
    assert (healed.mesh.area_mm2 > 0.1).all()


def test_hair_gaps_are_joined_and_real_gaps_are_not() -> None:
    vertices, faces = solids.sphere(25.0, 0.1, pattern="ico")
    corners = vertices[faces].reshape(-1, 3)
    nudged = corners + 1e-5 * np.sin(np.arange(corners.size)).reshape(corners.shape)
    healed = heal(nudged, None, "part")
    assert healed.mesh.is_closed
    assert len(healed.mesh.vertices) == len(vertices)
    assert not heal(corners + 0.05 * np.sin(np.arange(corners.size)).reshape(corners.shape), None, "x").mesh.is_closed


def test_touching_bodies_keep_both_their_skins() -> None:
    healed = heal(*joined(block(10), block(10, (10, 0, 0))), "part")
    assert healed.mesh.crowded_edges == 4
    assert healed.mesh.area_mm2.sum() == pytest.approx(2 * 600)
    assert any("shared by more than two" in warning for warning in healed.warnings)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e30])
def test_impossible_coordinates_are_refused_in_one_line(bad: float) -> None:
    vertices, faces = block()
    vertices[3, 1] = bad
    with pytest.raises(InputError, match=r"^part: ") as told:
        heal(vertices, faces, "part")
    assert "\n" not in str(told.value)


def test_no_area_at_all_is_refused() -> None:
    with pytest.raises(InputError, match="no facet with an area"):
        heal(np.zeros((9, 3)), None, "part")
    with pytest.raises(InputError, match="no facets"):
        heal(np.zeros((0, 3)), None, "part")


def test_order_of_the_file_leaves_no_trace() -> None:
    vertices, faces = solids.round_pocket()
    one = heal(vertices, faces, "part").mesh
    for seed in range(3):
        other = heal(*solids.permuted(vertices, faces, seed), "part").mesh
        assert np.array_equal(one.vertices, other.vertices)
        assert np.array_equal(one.faces, other.faces)
