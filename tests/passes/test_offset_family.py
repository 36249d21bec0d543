"""Constant-cusp passes proved by the virtual cut on analytic surfaces, and against exact lengths."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import solids
from offset_zones import BALL, CUSP_MM, UP, grid, proof, zone_of
from scipy.spatial import cKDTree

from advisor import tolerances
from advisor.part.mesh import Mesh
from advisor.passes.offset_family import offset_passes
from advisor.passes.offset_field import OffsetField, offset_from_line, offset_from_outline
from advisor.passes.virtual_cut import swept_passes, virtual_cut


def torus(u: np.ndarray, v: np.ndarray) -> tuple:
    return (30 + 10 * np.cos(v)) * np.cos(u), (30 + 10 * np.cos(v)) * np.sin(u), 10 * np.sin(v)


def hollow(vertices: np.ndarray) -> Callable[[Mesh], np.ndarray]:
    top = vertices[:, 2].max()
    return lambda m: (m.normal[:, 2] > 0.02) & (m.middle[:, 2] < top - 1e-6)


def cap() -> tuple:
    vertices, faces = solids.spherical_cap()
    top = vertices[:, 2].max()
    return vertices, faces, lambda m: (m.normal[:, 2] > 0.49) & (m.middle[:, 2] > top - 26)


def bowl_with_fillet(fillet_mm: float) -> tuple:
    vertices, faces = solids.round_pocket(fillet_mm=fillet_mm)
    return vertices, faces, hollow(vertices)


SURFACES = {
    "plane": lambda: (*grid(lambda u, v: (u, v, 0 * u), np.linspace(0, 40, 9), np.linspace(0, 30, 7)), None),
    "cap": cap,
    "cylinder": lambda: (
        *grid(lambda u, v: (20 * np.cos(u), v, 20 * np.sin(u)), np.linspace(2.6, 0.3, 80), np.linspace(0, 60, 60)),
        None,
    ),
    "torus, outside": lambda: (*grid(torus, np.linspace(0, 1.5, 80), np.linspace(-0.2, 2.9, 60)), None),
    "torus, inside": lambda: (*grid(torus, np.linspace(1.5, 0, 80), np.linspace(-0.2, 2.9, 60)), None),
    "saddle along its bends": lambda: (
        *grid(lambda u, v: (u, v, (u * u - v * v) / 40), np.linspace(-20, 20, 60), np.linspace(-20, 20, 60)), None,
    ),
    "saddle across them": lambda: (
        *grid(lambda u, v: (u, v, u * v / 30), np.linspace(-20, 20, 60), np.linspace(-20, 20, 60)), None,
    ),
    "bowl": lambda: (*solids.bowl(), hollow(solids.bowl()[0])),
    "fillet of 8": lambda: bowl_with_fillet(8.0),
    "fillet of 6": lambda: bowl_with_fillet(6.0),
}  # fmt: skip


@pytest.mark.parametrize("name", SURFACES)
def test_the_cusp_is_the_one_asked_for(name: str) -> None:
    surface, steps = zone_of(*SURFACES[name]())
    field = offset_from_outline(surface, steps, 0.0)
    lines = offset_passes(field)
    found = proof(field, lines)
    assert found.peak_95 == pytest.approx(1.0, abs=0.05)
    assert found.peak_max < 1.1
    assert found.most < 1.1
    assert found.uniformity < 0.10
    # where fronts meet, and twice the cusp in the very corners of a zone
    assert found.most_anywhere < 2.7
    assert found.deepest < 0.1
    assert lines.lengths_mm.sum() < 1.02 * field.path_mm
    assert lines.lengths_mm.sum() > 0.97 * field.path_mm


def test_lengths_of_the_reference_benchmarks() -> None:
    surface, steps = zone_of(*cap())
    length = offset_passes(offset_from_outline(surface, steps, 0.0)).lengths_mm.sum()
    # cap of 50 mm, slopes to 60 degrees, R 5, cusp 0.01: area over step, and 86 rings (closed forms)
    assert length == pytest.approx(13032.16, rel=0.01)
    assert length == pytest.approx(12928.23, rel=0.01)
    side = np.array([0.0, 100.0])
    surface, steps = zone_of(*grid(lambda u, v: (u, v, 0 * u), side, side))
    lines = offset_passes(offset_from_outline(surface, steps, 0.0))
    # plane of 100 x 100: area over step
    assert lines.lengths_mm.sum() == pytest.approx(15819.30, rel=0.001)
    ring = lines.lengths_mm[0]
    assert ring == pytest.approx(400 - 4 * 0.6321392, abs=1e-6), "half a step within the edge"


def reached(field: OffsetField, points: int = 20_000) -> np.ndarray:
    """Heights over the cusp at random places of the zone."""
    lines, mesh = offset_passes(field), field.surface.mesh
    inside = np.flatnonzero(field.surface.is_inside)
    rng = np.random.default_rng(0)
    facet = rng.choice(inside, points, p=mesh.area_mm2[inside] / mesh.area_mm2[inside].sum())
    place, normal = field.surface.in_facets(facet, rng.dirichlet(np.ones(3), points))
    swept = swept_passes(lines.centres_mm(BALL.corner_radius_mm, 0.0, UP), lines.starts, BALL.corner_radius_mm)
    return virtual_cut(swept, place, normal, 20 * CUSP_MM).height_mm / CUSP_MM


@pytest.mark.parametrize("width", [0.3, 0.7, 1.3, 2.0, 2.6, 3.2, 3.8])
def test_strips_are_covered_whatever_their_width(width: float) -> None:
    # in steps: every share of a step between two fronts comes up
    step = 0.6321392
    surface, steps = zone_of(*grid(lambda u, v: (u, v, 0 * u), np.linspace(0, 20, 5), np.array([0.0, width * step])))
    field = offset_from_outline(surface, steps, 0.0)
    lines = offset_passes(field)
    assert reached(field).max() < 2.1
    # passes as long as the strip: a part of one more than the strip is steps wide
    assert lines.lengths_mm.sum() < (np.floor(width) + 1.0) * 21.0 + 2.0 * width * step
    middle = (lines.contact_mm[:, 0] > 3) & (lines.contact_mm[:, 0] < 17)
    across = np.unique(np.round(lines.contact_mm[middle, 1], 3))
    gaps = np.diff(np.concatenate([[-across[0]], across, [2 * width * step - across[-1]]]))
    assert gaps.max() < 2 * tolerances.OFFSET_CLOSED_STEPS * step + 2e-3


def test_the_first_pass_lies_on_the_outline_pushed_out_and_the_others_inside() -> None:
    vertices, faces = solids.spherical_cap()
    top = vertices[:, 2].max()
    surface, steps = zone_of(vertices, faces, lambda m: m.normal[:, 2] > np.cos(np.radians(40)), laid_mm=2.0)
    inside = surface.mesh.vertices[surface.mesh.faces[surface.is_inside]]
    border = 50.0 * np.arccos(1.0 - (top - inside[..., 2].min()) / 50.0)
    field = offset_from_outline(surface, steps, 1.3)
    lines = offset_passes(field)
    down = 50.0 * np.arccos(1.0 - (top - lines.contact_mm[:, 2]) / 50.0)
    for ring in range(3):
        np.testing.assert_allclose(
            down[lines.starts[ring] : lines.starts[ring + 1]], border + 1.3 - 0.6026618 * ring, atol=0.03
        )
    assert lines.is_closed[0]
    assert proof(field, lines).most < 1.05
    # without the overlap the border is an end of the part for all that is known: half a step within it
    alone, steps = zone_of(vertices, faces, lambda m: m.normal[:, 2] > np.cos(np.radians(40)))
    lines = offset_passes(offset_from_outline(alone, steps, 0.0))
    down = 50.0 * np.arccos(1.0 - (top - lines.contact_mm[: lines.starts[1], 2]) / 50.0)
    np.testing.assert_allclose(down, border - 0.6026618 / 2, atol=0.03)


def test_the_front_may_start_from_a_line_or_a_point() -> None:
    x = np.linspace(0, 40, 61)
    vertices, faces = grid(lambda u, v: (u, v, 3 * np.sin(u / 9) * np.cos(v / 7)), x, x)
    surface, steps = zone_of(vertices, faces)
    turn = np.linspace(0, 2 * np.pi, 80)
    ring = np.stack([20 + 6 * np.cos(turn), 20 + 6 * np.sin(turn), 0 * turn], axis=1)
    ring[:, 2] = 3 * np.sin(ring[:, 0] / 9) * np.cos(ring[:, 1] / 7)
    ring[-1] = ring[0]
    for start in (ring, ring[:40], ring[:1]):
        field = offset_from_line(surface, steps, 0.0, start)
        lines = offset_passes(field)
        assert cKDTree(start).query(lines.contact_mm[: lines.starts[1]])[0].max() < 0.5
        heights = reached(field)
        assert np.quantile(heights, 0.999) < 1.15
        assert heights.max() < 2.7
        assert lines.is_closed[0] == (len(start) == 80)
        assert lines.lengths_mm.sum() < 1.04 * field.path_mm


def test_turned_parts_and_other_orders_of_facets_give_the_same_passes() -> None:
    vertices, faces = solids.round_pocket(chord_error_mm=0.05)
    lengths = []
    for k in range(3):
        turn = np.radians(40.0 * k)
        matrix = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
        order = np.random.default_rng(k).permutation(len(faces))
        surface, steps = zone_of(vertices @ matrix.T, faces[order], hollow(vertices))
        lengths.append(offset_passes(offset_from_outline(surface, steps, 0.0)).lengths_mm.sum())
    np.testing.assert_allclose(lengths, lengths[0], rtol=2e-3)
