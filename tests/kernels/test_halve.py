"""Facets that fall apart at vertices on their edges."""

from __future__ import annotations

import numpy as np
import solids
from hypothesis import given
from hypothesis import strategies as st

from advisor.kernels.halve import chords, long_edges, rim_vertices, split_facets
from advisor.kernels.topology import match_half_edges
from advisor.part.mesh import Mesh


def _patch(seed: int) -> Mesh:
    """A ball with some facets out of it, so that it has rims."""
    vertices, faces = solids.sphere(10.0, 0.5, pattern="ico")
    stays = np.random.default_rng(seed).random(len(faces)) < 0.8
    return Mesh(np.asarray(vertices, dtype=np.float64), np.ascontiguousarray(faces[stays], dtype=np.int32))


@given(st.integers(0, 2**31), st.floats(0.0, 1.0))
def test_parts_have_the_twins_that_a_search_finds(seed: int, share: float) -> None:
    mesh = _patch(seed)
    asked = np.random.default_rng(seed + 1).random(len(mesh.twins)) < share
    is_lower = (mesh.twins < 0) | (np.arange(len(mesh.twins)) < mesh.twins)
    edge = np.flatnonzero(asked & is_lower)
    point = np.full(len(mesh.twins), -1, np.int32)
    point[edge] = len(mesh.vertices) + np.arange(len(edge))
    paired = edge[mesh.twins[edge] >= 0]
    point[mesh.twins[paired]] = point[paired]
    ends = np.stack([mesh.faces[edge // 3, edge % 3], mesh.faces[edge // 3, (edge % 3 + 1) % 3]], axis=1)
    vertices = np.concatenate([mesh.vertices, mesh.vertices[ends].mean(axis=1)])
    faces, twins, parent = split_facets(vertices, mesh.faces, mesh.twins, point)
    assert np.array_equal(twins, match_half_edges(faces, len(vertices)))
    # flat parts of each facet, wound as it is, that make it up
    parts = Mesh(vertices, faces)
    assert np.allclose(np.bincount(parent, parts.area_mm2), mesh.area_mm2)
    assert np.einsum("ij,ij->i", parts.normal, mesh.normal[parent]).min() > 1.0 - 1e-9


@given(st.integers(0, 2**31), st.floats(0.5, 4.0))
def test_edges_are_long_by_the_shorter_of_both_limits(seed: int, longest: float) -> None:
    mesh = _patch(seed)
    limit = longest * np.random.default_rng(seed).uniform(0.5, 1.0, len(mesh.faces))
    point, count = long_edges(mesh.vertices, mesh.faces, mesh.twins, limit, 0.5)
    a, b = mesh.vertices[mesh.faces], mesh.vertices[np.roll(mesh.faces, -1, axis=1)]
    length = np.linalg.norm(a - b, axis=2).ravel()
    on_rim = rim_vertices(mesh.faces, mesh.twins, len(mesh.vertices))
    own = np.repeat(np.where(on_rim[mesh.faces].any(axis=1), 0.5, 1.0) * limit, 3)
    both = np.where(mesh.twins >= 0, np.minimum(own, own[np.maximum(mesh.twins, 0)]), own)
    assert np.array_equal(point >= 0, length > both)
    numbers = np.unique(point[point >= 0])
    assert np.array_equal(numbers, len(mesh.vertices) + np.arange(count))


@given(st.integers(0, 2**31))
def test_chords_join_rims_across_facets(seed: int) -> None:
    mesh = _patch(seed)
    point, _ = chords(mesh.faces, mesh.twins, len(mesh.vertices))
    on_rim = np.zeros(len(mesh.vertices), bool)
    rim = np.flatnonzero(mesh.twins < 0)
    on_rim[mesh.faces[rim // 3, rim % 3]] = on_rim[mesh.faces[rim // 3, (rim % 3 + 1) % 3]] = True
    both = on_rim[mesh.faces] & on_rim[np.roll(mesh.faces, -1, axis=1)]
    assert np.array_equal(point >= 0, both.ravel() & (mesh.twins >= 0))
