"""What passes must not go into: cutters on the exact surface behind coarse facets go clear, and deeper ones do not."""

from __future__ import annotations

import numpy as np
import pytest
import solids

from advisor.cutter.cutter import Cutter
from advisor.cutter.tool_body import ToolBody, cutter_pieces
from advisor.part.heal import heal
from advisor.part.plan_tree import PlanTree, plan_tree
from advisor.part.smooth import smooth_surface
from advisor.passes.sunk_facets import SunkFacets, sunk_facets
from advisor.passes.trim import goes_clear

UP = np.array([0.0, 0.0, 1.0])
BALL = Cutter(6.0, 3.0)
BODY = ToolBody(cutter_pieces(BALL), (), ())
PATH_MM = 0.004
CHORD_MM = 0.03


def sunk(vertices: np.ndarray, faces: np.ndarray) -> tuple[SunkFacets, PlanTree]:
    mesh = heal(vertices, faces, "part").mesh
    return sunk_facets(mesh, smooth_surface(mesh), UP, 2 * CHORD_MM), plan_tree(mesh.vertices, mesh.faces, UP)


def ring(radius_mm: float, height_mm: float) -> np.ndarray:
    turn = np.linspace(0.0, 2.0 * np.pi, 3001)
    return np.stack([radius_mm * np.cos(turn), radius_mm * np.sin(turn), np.full_like(turn, height_mm)], axis=1)


def is_clear(middle_mm: np.ndarray, tree: PlanTree) -> bool:
    return goes_clear(middle_mm, np.array([0, len(middle_mm)]), tree, BODY, BALL, PATH_MM)


@pytest.mark.parametrize("below_land_mm", [1.0, 4.0])
def test_a_ball_on_the_very_wall_of_a_bore_goes_clear_and_no_deeper(below_land_mm: float) -> None:
    """Facets of the wall, and the polygon in which the land ends, stand in the way; all by a chord error."""
    section = np.array([(20.0, 0.0), (30.0, 0.0), (30.0, 25.0), (20.0, 25.0)])
    # facets are chords of the outermost circle by the error asked for, of the bore by less
    deep, plain = sunk(*solids.revolved(section, 1.5 * CHORD_MM, ring=True))
    height = 25.0 - below_land_mm
    assert is_clear(ring(20.0 - 3.0, height), deep.of_passes)
    assert not is_clear(ring(20.0 - 3.0, height), plain)
    stands = 1.25 * 1.03 * CHORD_MM
    assert not is_clear(ring(20.0 - 3.0 + stands + 1.5 * PATH_MM, height), deep.of_passes)


def test_a_ball_may_not_go_into_a_boss_or_a_plane() -> None:
    deep, plain = sunk(*solids.cylinder(20.0, 15.0, chord_error_mm=CHORD_MM))
    for tree in (deep.of_passes, plain):
        assert is_clear(ring(20.0 + 3.0, 10.0), tree)
        assert is_clear(ring(12.0, 15.0 + 3.0), tree)
    assert not is_clear(ring(12.0, 15.0 + 3.0 - 1.5 * PATH_MM), deep.of_passes)
    # a chord error inside the round it is on the facets, whose bulge is known to a share
    assert not is_clear(ring(20.0 - CHORD_MM + 3.0 - 0.15 * 1.1 * CHORD_MM - 1.5 * PATH_MM, 10.0), deep.of_passes)


def test_a_ball_as_large_as_a_fillet_walks_down_its_exact_surface() -> None:
    deep, plain = sunk(*solids.round_pocket(20.0, 3.3, 15.0, chord_error_mm=CHORD_MM))
    lean = np.linspace(0.0, np.pi / 2, 400)
    # the middle of the ball on an arc of the fillet's own centre, upright through the axis of the pocket
    radius, height = 20.0 - 3.3 + 0.3 * np.sin(lean), 10.0 + 3.3 - 0.3 * np.cos(lean)
    for azimuth in np.radians([0.0, 7.0, 31.0, 77.0]):
        middle = np.stack([radius * np.cos(azimuth), radius * np.sin(azimuth), height], axis=1)
        assert is_clear(middle, deep.of_passes)
    assert not is_clear(middle - [0.0, 0.0, 1.25 * 1.03 * CHORD_MM + 1.5 * PATH_MM], deep.of_passes)
    assert is_clear(middle, deep.of_points)
    assert not all(
        is_clear(np.stack([radius * np.cos(a), radius * np.sin(a), height], axis=1), plain)
        for a in np.radians([0.0, 7.0, 31.0, 77.0])
    )
