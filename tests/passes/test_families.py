"""Parallel lines and constant-Z passes: exact counts and lengths, published benchmarks, and what a ball leaves."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from laid import UP, box_pocket, heights, sampled, surface_of

from advisor.cutter.contact import stepover_mm
from advisor.cutter.cutter import Cutter
from advisor.passes.families import across, centre_of, parallel_lines, spread_levels, widest_spacing_mm
from advisor.passes.level_family import level_passes
from advisor.passes.lines import PassLines, chain_lengths_mm
from advisor.passes.pieces import CONTACT, LedPoint
from advisor.passes.surface import PassSurface

BALL = Cutter(10.0, 5.0)
LEDS = [CONTACT, centre_of(BALL)]
STEP = 0.6321392  # flat step of a 10 mm ball for a cusp of 0.01: 2 sqrt(2 R h - h^2)


def lines_on(surface: PassSurface, direction: float, spacing: float, led: LedPoint = CONTACT) -> PassLines:
    return parallel_lines(surface, BALL, led, UP, direction, spacing, 0.0, 0.01)


def levels_on(surface: PassSurface, z_step: float, step: float = 1e3, led: LedPoint = CONTACT) -> PassLines:
    return level_passes(surface, BALL, led, UP, z_step, np.full(len(surface.mesh.faces), step), 0.0, 0.01)


@pytest.mark.parametrize("led", LEDS)
@pytest.mark.parametrize("slope", [0.0, 30.0, 60.0, 85.0])
def test_lines_on_a_plane(slope: float, led: LedPoint) -> None:
    """100 x 100 mm in its own plane, lines along it and up it; area integral A / s = 15819.30 (benchmark)."""
    plan = 100 * np.cos(np.radians(slope))
    plane = surface_of(solids.wedge(slope, plan, 100.0), lambda m, a: (a < 89) & (m[:, 2] > 1e-6))
    up = lines_on(plane, 0.0, STEP, led)
    assert up.count == 159  # 100 / 0.632 = 158.2: half a step at both rims; 160 are those laid on both rims as well
    np.testing.assert_allclose(up.lengths_mm, 100.0, rtol=1e-12)
    assert abs(up.lengths_mm.sum() - 15819.30) < 100.0
    along = lines_on(plane, 90.0, STEP, led)
    assert along.count == np.ceil(plan / STEP)
    np.testing.assert_allclose(along.lengths_mm, 100.0, rtol=1e-12)
    askew = lines_on(plane, 30.0, STEP, led)
    # (1/p) of the integral of sqrt(1 - sin^2 cos^2) over the area: identity of parallel lines on any surface
    share = np.sqrt(1 - (np.sin(np.radians(slope)) * np.sin(np.radians(30))) ** 2)
    assert askew.lengths_mm.sum() == pytest.approx(1e4 / STEP * share, rel=1e-5)
    led_at = (askew.contact_mm + led.along_normal_mm * askew.normal) @ across(UP, 30.0)
    first = led_at[askew.starts[:-1]]
    np.testing.assert_allclose(led_at, np.repeat(first, np.diff(askew.starts)), rtol=0, atol=1e-9)
    np.testing.assert_allclose(np.diff(first), STEP, rtol=0, atol=1e-9)


def test_benchmark_cone() -> None:
    """Frustum, slope 60, radii 40 to 10, area 9424.778: dz 0.5 takes 16324.19 mm."""
    flank = surface_of(solids.cone(), lambda m, a: (a > 50) & (a < 70))
    for led in LEDS:
        rings = levels_on(flank, 0.5, led=led)
        assert rings.count == np.ceil(30 * np.sqrt(3) / 0.5)
        assert rings.is_closed.all()
        assert rings.lengths_mm.sum() == pytest.approx(16324.19, rel=0.002)
        np.testing.assert_allclose(rings.lengths_mm[:-1] - rings.lengths_mm[1:], np.pi / np.sqrt(3), rtol=0.02)


def test_benchmark_sphere() -> None:
    """Cap of 50, slopes 0 to 60, p = s cos 60: 22974.58; constant-Z from 10 to 60, dz = s sin 10: 45829.69."""
    cap = surface_of(solids.spherical_cap(), lambda m, a: (a < 61) & (m[:, 2] > 10))
    lines = lines_on(cap, 0.0, 0.3013309)
    assert lines.lengths_mm.sum() == pytest.approx(22974.58, rel=0.001)
    # with the middles that far apart the contacts are closer by 50 / 55
    middles = lines_on(cap, 0.0, 0.3013309, centre_of(BALL))
    assert middles.lengths_mm.sum() == pytest.approx(22974.58 * 55 / 50, rel=0.001)
    ring = surface_of(solids.spherical_cap(), lambda m, a: (a < 61) & (a > 10) & (m[:, 2] > 10), cut_deg=(10.0,))
    levels = levels_on(ring, 0.1046511)
    assert levels.lengths_mm.sum() == pytest.approx(45829.69, rel=0.002)
    assert levels.is_closed[1:].all()


@pytest.mark.parametrize("name", ["plane", "sphere", "bowl", "torus", "fillet", "cylinder", "saddle"])
def test_cusps_are_those_of_theory(name: str) -> None:
    """Everywhere the cusp of the step along the surface, by its curvature across the passes, whichever point is led."""
    asked = sampled(name, low_deg=8.0)
    for led in LEDS:
        left = heights(lines_on(asked.surface, 20.0, 1.2, led), BALL, asked.point, asked.normal)
        share = left / asked.cusp_mm(led, across(UP, 20.0), 1.2, BALL)
        assert 0.97 < share.max() < 1.03
        assert left.min() > -0.0026  # chords over facets, as they come: ``tolerances.PASS_FACET_SAG_MM``
    if name == "saddle":
        return  # level in its middle
    asked = sampled(name, low_deg=20.0)
    for led in LEDS:
        left = heights(levels_on(asked.surface, 0.7, led=led), BALL, asked.point, asked.normal)
        share = left / asked.cusp_mm(led, UP, 0.7, BALL)
        assert 0.97 < share.max() < 1.03
        assert left.min() > -0.0026


@pytest.mark.parametrize(("name", "rho"), [("sphere", 50.0), ("bowl", -40.0)])
def test_added_levels_hold_the_cusp_where_the_slope_is_shallow(name: str, rho: float) -> None:
    step = float(stepover_mm(0.05, 5.0, rho))
    asked = sampled(name, low_deg=1.5)
    for led in LEDS:
        lines = levels_on(asked.surface, step * np.sin(np.radians(45)), step, led)
        left = heights(lines, BALL, asked.point, asked.normal)
        assert left.max() < 0.05 * 1.03
        slope = np.degrees(np.arccos(asked.normal[:, 2]))
        assert left[slope < 3].max() > 0.4 * 0.05  # and no more of them than that
        assert lines.is_closed[1:].all()  # the zone's rim is a little ragged
        height = (lines.contact_mm + led.along_normal_mm * lines.normal)[:, 2]
        np.testing.assert_allclose(height, np.repeat(height[lines.starts[:-1]], np.diff(lines.starts)), atol=1e-9)
        assert (np.diff(height[lines.starts[:-1]]) >= -1e-9).all()
        assert (np.diff(lines.level) >= 0).all()


@pytest.mark.parametrize(("name", "rho"), [("sphere", 50.0), ("bowl", -40.0)])
def test_widest_spacing(name: str, rho: float) -> None:
    """At slope 60 at most: s cos 60 for the contact, (rho + R) / rho of that for the middle."""
    surface = sampled(name).surface
    step = np.full(len(surface.mesh.faces), float(stepover_mm(0.01, 5.0, rho)))
    for led, share in zip(LEDS, (1.0, (rho + 5.0) / rho), strict=True):
        got = widest_spacing_mm(surface, led, across(UP, 0.0), UP, step, 1e-4)
        assert got == pytest.approx(share * step[0] / 2, rel=0.02)


def test_lines_end_where_the_overlap_does() -> None:
    part = solids.spherical_cap(chord_error_mm=0.002)
    cap = surface_of(part, lambda m, a: (a < 30) & (m[:, 2] > 10), 1.5, (30.0,))
    for overlap in (0.0, 0.7, 1.5):
        lines = parallel_lines(cap, BALL, CONTACT, UP, 0.0, 0.5, overlap, 0.01)
        assert lines.count == 100
        ends = np.concatenate([lines.starts[:-1], lines.starts[1:] - 1])
        arc = 50 * (np.arccos(lines.normal[ends, 2]) - np.pi / 6)
        np.testing.assert_allclose(arc, overlap, rtol=0, atol=0.02)
        assert 50 * (np.arccos(lines.normal[:, 2].min()) - np.pi / 6) < overlap + 0.02


def test_walls_round_outside_corners_are_one_pass() -> None:
    block = surface_of(box_pocket(), lambda m, a: (abs(a - 90) < 1) & (np.abs(m[:, :2]).max(axis=1) > 25))
    for led in LEDS:
        loops = levels_on(block, 0.7, led=led)
        assert loops.count == 43
        assert loops.is_closed.all()
        np.testing.assert_allclose(loops.lengths_mm, 240.0, rtol=1e-12)
        way = chain_lengths_mm(loops.centres_mm(5.0, 0.0, UP), loops.starts)
        # chords of a circle within 0.01 of it: shorter by c^2 / 24 R^2 of 2 pi R, c^2 = 8 R 0.01
        np.testing.assert_allclose(way, 240 + 10 * np.pi, rtol=0, atol=0.03)
        chords = np.linalg.norm(np.diff(loops.normal[: loops.starts[1]], axis=0), axis=1) * 5.0
        assert 5 - np.sqrt(25 - chords.max() ** 2 / 4) <= 0.01 + 1e-12


def test_nothing_hangs_on_where_the_part_lies_or_how_its_facets_come() -> None:
    turn = np.radians(40.0)
    rotation = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    vertices, faces = solids.torus(20.0, 8.0, 0.05)

    def takes(middle: np.ndarray, slope: np.ndarray) -> np.ndarray:
        return (slope < 60) & (np.hypot(middle[:, 0], middle[:, 1]) > 20)

    one, two = (
        surface_of((vertices, faces), takes),
        surface_of((vertices @ rotation.T + 7.0, faces), lambda m, a: takes(m - 7, a)),
    )
    for led in LEDS:
        a, b = lines_on(one, 10.0, 0.5, led), lines_on(two, 50.0, 0.5, led)
        np.testing.assert_allclose(np.sort(a.lengths_mm), np.sort(b.lengths_mm), rtol=0, atol=1e-6)
        a, b = levels_on(one, 0.5, 0.9, led), levels_on(two, 0.5, 0.9, led)
        np.testing.assert_allclose(np.sort(a.lengths_mm), np.sort(b.lengths_mm), rtol=0, atol=1e-6)
        c = levels_on(surface_of(solids.permuted(vertices, faces, 3), takes), 0.5, 0.9, led)
        np.testing.assert_allclose(np.sort(a.lengths_mm), np.sort(c.lengths_mm), rtol=0, atol=1e-6)


def test_levels_lie_evenly() -> None:
    np.testing.assert_allclose(spread_levels(0.0, 10.0, 2.5), [1.25, 3.75, 6.25, 8.75])
    np.testing.assert_allclose(spread_levels(0.0, 10.0, 4.0), [1.0, 5.0, 9.0])
    assert spread_levels(0.0, 0.1, 4.0).tolist() == [0.05]
    assert spread_levels(2.0, 2.0, 1.0).tolist() == []


def test_zones_without_levels_and_without_lines() -> None:
    floor = surface_of(box_pocket(), lambda m, a: (a < 1) & (np.abs(m[:, 2] - 10) < 0.1))
    nearly = surface_of(solids.wedge(0.3), lambda m, a: a < 1)
    for zone in (floor, nearly):
        none = levels_on(zone, 0.1, 0.3)
        assert none.count == 0
        assert none.starts.tolist() == [0]
    wall = surface_of(box_pocket(), lambda m, a: m[:, 1] < -29.99)
    assert lines_on(wall, 0.0, 0.5).count == 0
    assert lines_on(wall, 90.0, 0.5).count == 120
