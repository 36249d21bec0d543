"""The surface that passes are laid on keeps to the true one however coarse the facets, and so do the passes."""

from __future__ import annotations

import numpy as np
import solids
from laid import surface_of
from offset_zones import UP, grid, zone_of

from advisor import tolerances
from advisor.cutter.cutter import Cutter
from advisor.part.mesh import Mesh
from advisor.passes.eased import eased
from advisor.passes.finer import finer
from advisor.passes.lines import PassLines
from advisor.passes.offset_family import offset_passes
from advisor.passes.offset_field import offset_from_outline
from advisor.passes.offset_steps import even_steps
from advisor.passes.surface import PassSurface

SAG_MM = tolerances.PASS_FACET_SAG_MM
FILLET_MM, FLOOR_MM, RING_MM = 6.5, 10.0, 13.5


def coarse_pocket() -> PassSurface:
    """Floor and fillet of a round pocket, 0.02 mm off the true one, cut at slopes of 5 and 45 degrees."""
    part = solids.round_pocket(RING_MM + FILLET_MM, FILLET_MM, 15.0, chord_error_mm=0.02)
    hollow = lambda middle, slope: (np.hypot(*middle[:, :2].T) < 20) & (middle[:, 2] < 16) & (slope < 70)  # noqa: E731
    return surface_of(part, hollow, cut_deg=(5.0, 45.0))


def test_places_lie_on_the_true_fillet_where_facets_were_cut_too() -> None:
    surface = coarse_pocket()
    place = surface.mesh.vertices
    out = np.hypot(place[:, 0], place[:, 1])
    from_ring = np.stack([RING_MM - out, FLOOR_MM + FILLET_MM - place[:, 2]], axis=1)
    bent = out > RING_MM + 0.1
    assert bent.sum() > 500
    np.testing.assert_allclose(np.linalg.norm(from_ring[bent], axis=1), FILLET_MM, rtol=0, atol=0.001)
    np.testing.assert_allclose(place[out < RING_MM - 0.1, 2], FLOOR_MM, rtol=0, atol=1e-9)


def test_the_rim_of_a_plane_is_an_arc_and_no_polygon() -> None:
    surface = coarse_pocket()
    mesh = surface.mesh
    out = np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1])
    on_rim = (np.abs(out - RING_MM) < 0.03) & (mesh.vertices[:, 2] < FLOOR_MM + 1e-9)
    a, b = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    edge = on_rim[a] & on_rim[b] & (mesh.twins >= 0)
    assert edge.sum() > 60
    middle = (mesh.vertices[a[edge]] + mesh.vertices[b[edge]]) / 2
    np.testing.assert_allclose(np.hypot(middle[:, 0], middle[:, 1]), RING_MM, rtol=0, atol=SAG_MM)
    np.testing.assert_allclose(out[on_rim], RING_MM, rtol=0, atol=0.001)


def test_planes_stay_plane_in_fine_facets() -> None:
    """A plane of 130 mm beside a bend of 24 mm: an edge of both that is turned into the bend would lift all of it."""
    turn = np.radians(np.arange(0, 61, 0.5))
    across, z = 130 + 24 * np.sin(turn), 6 + 24 * np.cos(turn)
    # the rim of the plane is one edge, and the first line in the bend has a vertex beside its middle
    vertices = [(0, 0, 30), (0, 30, 30), (130, 0, 30), (130, 30, 30)]
    vertices += [(u, v, w) for u, w in zip(across[1:], z[1:], strict=True) for v in (0, 15, 30)]
    faces = [(0, 2, 3), (0, 3, 1), (2, 4, 5), (2, 5, 3), (3, 5, 6)]
    for i in range(4, len(vertices) - 5, 3):
        faces += [t for k in (i, i + 1) for t in ((k, k + 3, k + 4), (k, k + 4, k + 1))]
    mesh = Mesh(np.array(vertices, float), np.array(faces, np.int32))
    out = np.maximum(mesh.vertices[:, 0] - 130, 0)
    normal = np.stack([out, 0 * out, mesh.vertices[:, 2] - 6], axis=1) / 24
    source, inside = np.zeros(len(faces), np.int32), np.ones(len(faces), bool)
    surface = PassSurface(mesh, normal, source, inside, np.zeros(len(vertices)))
    fine = finer(surface, even_steps(UP[None], 1.0))
    place = fine.mesh.vertices
    assert len(fine.mesh.faces) > 4000
    over = np.maximum(place[:, 0] - 130, 0)
    assert np.abs(place[:, 2] - 6 - np.sqrt(24**2 - over**2)).max() < 2 * SAG_MM


def test_a_front_comes_in_over_the_outline_though_facets_beyond_it_are_long() -> None:
    """The top of a hub in strips of 20 mm, with the zone on both sides and, close by, at both ends."""
    along = np.concatenate([[0, 0.15, 0.3], 20 + np.array([0.3, 0.45, 0.6])])
    turn = np.radians(np.arange(70, 111, 1.7))
    vertices, faces = grid(lambda u, v: (v, 27 * np.cos(u), 27 * np.sin(u)), turn[::-1], along)
    beside = lambda m: (np.abs(m.middle[:, 1]) > 2.4) | (m.middle[:, 0] < 0.15) | (m.middle[:, 0] > 20.45)  # noqa: E731
    surface, steps = zone_of(vertices, faces, beside, 0.92)
    field = offset_from_outline(surface, steps, 0.69)
    inside = np.unique(field.surface.mesh.faces[field.surface.is_inside])
    assert field.time[inside].min() >= 0.0


def test_passes_lie_on_a_plane_with_needles() -> None:
    """Points that nearly coincide on a level line have edges of facets beside it."""
    rng = np.random.default_rng(2)
    vertices, faces = grid(lambda u, v: (u + 300, v + 300, 0 * u + 50), np.linspace(0, 12, 13), np.linspace(0, 12, 13))
    vertices, faces = list(vertices), [list(face) for face in faces]
    for f in rng.choice(len(faces), 120, replace=False):
        a, b, c = faces[f]
        new = len(vertices)
        off = vertices[b] + vertices[c] - 2 * vertices[a]
        vertices.append(vertices[a] + 2e-7 * off)
        faces[f] = [a, b, new]
        faces += [[b, c, new], [c, a, new]]
    surface, _ = zone_of(np.array(vertices), np.array(faces))
    steps = even_steps(np.tile(UP, (len(faces), 1)), 0.31)
    passes = offset_passes(offset_from_outline(surface, steps, 0.0))
    np.testing.assert_allclose(passes.contact_mm[:, 2], 50.0, rtol=0, atol=1e-5)
    assert passes.contact_mm[:, :2].min() > 300.0


def fillet_points(radius: float, from_deg: float) -> np.ndarray:
    turn = np.radians(np.arange(from_deg, 361, 9.0))
    return np.stack([40 + radius * np.cos(turn), 15 + radius * np.sin(turn)], axis=1)


def groove() -> PassSurface:
    """A floor that goes over into a wall by a fillet of 5 mm, along y; the fillet's axis at x 40, z 15."""
    fillet = fillet_points(5.0, 270.0)
    section = np.concatenate([[[0, 0], [60, 0], [60, 30], [45, 30]], fillet[::-1], [[0, 10]]])
    part = solids.extruded(section, 40.0, "y")
    return surface_of(part, lambda m, a: (m[:, 0] < 45.1) & (m[:, 2] > 9) & (m[:, 2] < 29.9) & (np.abs(m[:, 1]) < 19.9))


def depth_mm(centre: np.ndarray) -> np.ndarray:
    """How far a ball of 5 mm goes into floor, fillet and wall of the groove."""
    turn = np.radians(np.linspace(270, 360, 400))
    return ((centre[:, [0, 2]] - [40, 15]) @ np.stack([np.cos(turn), np.sin(turn)])).max(axis=1)


def test_a_ball_in_a_fillet_of_its_own_radius_is_led_by_places_and_not_by_a_normal_that_is_off() -> None:
    """0.3 degrees move it by 0.026 mm; it may go 0.001 mm deep."""
    surface, ball = groove(), Cutter(10.0, 5.0)
    turn = np.radians(np.array([285.0, 310.0, 340.0]))
    contact = [[(40 + 5 * np.cos(t), y, 15 + 5 * np.sin(t)) for y in (-15.0, 0.0, 15.0)] for t in turn]
    lean = turn + np.radians([-0.3, 0.3, 0.3])
    normal = np.repeat(np.stack([-np.cos(lean), 0 * lean, -np.sin(lean)], axis=1), 3, axis=0)
    lines = PassLines(
        np.array(contact).reshape(-1, 3), normal, np.arange(0, 10, 3), np.arange(3, dtype=np.int32), np.zeros(3, bool)
    )
    assert (depth_mm(lines.centres_mm(5.0, 0.0, UP)).reshape(3, 3).max(axis=1) > 0.015).all()
    moved = eased(lines, surface, ball, UP, 0.0, 0.001).centres_mm(5.0, 0.0, UP)
    assert depth_mm(moved).max() < 0.002
    assert depth_mm(moved).min() > -0.002
    # what is led further off, for stock that is left, touches nothing
    off = eased(lines, surface, ball, UP, 0.3, 0.001)
    assert depth_mm(off.centres_mm(5.3, 0.0, UP)).max() < 0.002


def test_a_long_straight_way_stays_where_it_is_but_for_its_end() -> None:
    """A pass over the floor that ends 0.02 mm too near to the wall: nothing moves 2 mm before that."""
    surface, ball = groove(), Cutter(10.0, 5.0)
    lines = PassLines(
        np.array([[5.0, 1.0, 10.0], [40.02, 1.0, 10.0]]), np.tile(UP, (2, 1)), np.array([0, 2]),
        np.zeros(1, np.int32), np.zeros(1, bool),
    )  # fmt: skip
    centre = eased(lines, surface, ball, UP, 0.0, 0.001).centres_mm(5.0, 0.0, UP)
    assert depth_mm(centre).max() < 0.002
    flat = centre[centre[:, 0] < 38.0]
    np.testing.assert_allclose(flat[:, 2], 15.0, rtol=0, atol=1e-12)
    assert flat[:, 0].max() > 36.0


def test_no_pass_runs_where_the_ball_does_not_fit() -> None:
    """A round slot 0.04 mm too narrow: nothing is left of a pass on its bottom, and all of one beside it."""
    slot = fillet_points(4.98, 180.0)
    section = np.concatenate([[[0, 0], [60, 0], [60, 15]], slot[::-1], [[0, 15]]])
    surface = surface_of(solids.extruded(section, 40.0, "y"), lambda m, a: (m[:, 2] > 1) & (np.abs(m[:, 1]) < 19.9))
    on = np.array([[40.0, 15 - 4.98], [20.0, 15.0]])
    contact = np.array([(x, y, z) for x, z in on for y in (-15.0, 0.0, 15.0)])
    lines = PassLines(
        contact, np.tile(UP, (6, 1)), np.array([0, 3, 6]), np.arange(2, dtype=np.int32), np.zeros(2, bool)
    )
    left = eased(lines, surface, Cutter(10.0, 5.0), UP, 0.0, 0.001)
    assert left.level.tolist() == [1]
    np.testing.assert_array_equal(left.contact_mm, contact[3:])
    fits = eased(lines, surface, Cutter(9.96, 4.98), UP, 0.0, 0.001)
    assert fits.count == 2
