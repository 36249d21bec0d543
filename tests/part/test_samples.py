"""Samples of a surface: their areas add up, they lie on their facets, and they are spread evenly."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from hypothesis import given
from hypothesis import strategies as st

from advisor.part.mesh import Mesh
from advisor.part.samples import even_samples, part_middles, spread_samples

PARTS = {
    "sphere": solids.sphere(20.0), "pocket": solids.round_pocket(30.0, 15.0), "wave": solids.wave(),
    "wedge": solids.wedge(30.0),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(PARTS))
@given(number=st.integers(0, 10_000), wanted=st.integers(1, 20_000))
def test_areas_add_up_and_points_lie_on_their_facets(name: str, number: int, wanted: int) -> None:
    vertices, faces = PARTS[name]
    mesh = Mesh(vertices, faces)
    rng = np.random.default_rng(number)
    facets = rng.permutation(len(faces))[: rng.integers(1, len(faces) + 1)]
    samples = spread_samples(mesh, facets, wanted)
    each = np.bincount(samples.facet, samples.area_mm2, minlength=len(faces))
    np.testing.assert_allclose(each[facets], mesh.area_mm2[facets], rtol=1e-12)
    assert each.sum() == pytest.approx(mesh.area_mm2[facets].sum(), rel=1e-12)
    corners = vertices[faces[samples.facet]]
    np.testing.assert_allclose(samples.normal, mesh.normal[samples.facet], atol=1e-12)
    off = np.einsum("kx,kx->k", samples.point - corners[:, 0], samples.normal)
    np.testing.assert_allclose(off, 0, atol=1e-9)
    for k in range(3):  # left of every edge, well inside
        side = np.cross(corners[:, (k + 1) % 3] - corners[:, k], samples.point - corners[:, k])
        assert (np.einsum("kx,kx->k", side, samples.normal) > 0).all()
    values = rng.random(len(samples.facet))
    shares = samples.share_by_facet(values, len(faces))
    assert np.isnan(shares).sum() == len(faces) - len(facets)
    np.testing.assert_allclose(samples.share_by_facet(np.ones(len(values)), len(faces))[facets], 1, rtol=1e-12)
    weighed = (shares[facets] * mesh.area_mm2[facets]).sum()
    assert weighed == pytest.approx((values * samples.area_mm2).sum(), rel=1e-9)


@pytest.mark.parametrize("name", sorted(PARTS))
def test_samples_are_spread_evenly_whatever_the_facets(name: str) -> None:
    mesh = Mesh(*PARTS[name])
    wanted = 4 * len(mesh.faces)
    samples = spread_samples(mesh, np.arange(len(mesh.faces)), wanted)
    each = mesh.area_mm2.sum() / wanted
    assert wanted <= len(samples.area_mm2)
    # none stands for more than its share, but on facets cut as fine as any
    _, count = np.unique(samples.facet, return_counts=True)
    finest = count[np.searchsorted(np.unique(samples.facet), samples.facet)] == 64**2
    assert (samples.area_mm2[~finest] <= each * (1 + 1e-9)).all()
    # and the middle of gravity is the surface's, as any linear thing summed over them
    summed = (samples.point * samples.area_mm2[:, None]).sum(axis=0)
    exact = (mesh.vertices[mesh.faces].mean(axis=1) * mesh.area_mm2[:, None]).sum(axis=0)
    np.testing.assert_allclose(summed, exact, rtol=1e-9, atol=1e-6 * mesh.area_mm2.sum())


@pytest.mark.parametrize("parts", [1, 2, 3, 7, 64])
def test_the_like_parts_of_a_facet(parts: int) -> None:
    shares = part_middles(parts)
    assert shares.shape == (parts**2, 3)
    np.testing.assert_allclose(shares.sum(axis=1), 1)
    assert (shares > 0).all()
    assert len(np.unique(np.round(shares * 3 * parts).astype(int), axis=0)) == parts**2
    np.testing.assert_allclose(shares.mean(axis=0), 1 / 3)
    # every one is the middle of a like triangle: corners a third of a part away on all three sides, upright or not
    whole = np.round(shares * 3 * parts).astype(int) % 3
    assert (whole[:, 0] == whole[:, 1]).all()
    assert (whole[:, 1] == whole[:, 2]).all()


def test_even_samples_stand_for_the_area_of_any_face() -> None:
    mesh = Mesh(*PARTS["pocket"])
    samples = even_samples(mesh, 20_000)
    assert len(samples.facet) == 20_000
    assert samples.area_mm2.sum() == pytest.approx(mesh.area_mm2.sum())
    for axis in range(3):
        for part in (mesh.middle[:, axis] > np.median(mesh.middle[:, axis]), mesh.normal[:, axis] > 0.5):
            found = samples.area_mm2[part[samples.facet]].sum()
            assert found == pytest.approx(mesh.area_mm2[part].sum(), rel=0.01)
    corners = mesh.vertices[mesh.faces[samples.facet]]
    assert np.abs(np.einsum("kx,kx->k", samples.point - corners[:, 0], samples.normal)).max() < 1e-9


def test_no_facets_have_no_samples() -> None:
    mesh = Mesh(*PARTS["wedge"])
    samples = spread_samples(mesh, np.zeros(0, np.int64), 100)
    assert samples.point.shape == (0, 3)
    assert np.isnan(samples.share_by_facet(np.zeros(0), len(mesh.faces))).all()
