"""What a tool in its holder reaches along an axis: a floor beside a wall, closed form."""

from __future__ import annotations

import numpy as np
import pytest
import solids

from advisor.cutter.cutter import Cutter
from advisor.cutter.drop import Piece, ball_pieces
from advisor.cutter.setup_reach import axis_tool, setup_reach
from advisor.cutter.tool_body import ToolBody
from advisor.part.mesh import Mesh
from advisor.part.samples import Samples

UP = np.array([[0.0, 0.0, 1.0]])
BALL = Cutter(10.0, 5.0)
BODY = ToolBody(ball_pieces(10.0), (), (Piece(18.0, 0.0, 0.0, 18.0, 0.0),))


@pytest.mark.parametrize(("stick_out", "room"), [(20.0, 18.0), (29.9, 18.0), (30.1, 5.0), (None, 5.0)])
def test_a_holder_below_the_top_of_a_wall_keeps_off_it(stick_out: float | None, room: float) -> None:
    """The wall is 30 high: a shorter stick-out leaves the holder's radius, a longer one the ball's."""
    vertices, faces = solids.stepped_block((10.0, 40.0), 60, 80)
    wall = vertices[vertices[:, 2] > 39, 0].min()
    away = np.arange(0.75, 40.0, 0.5)
    point = np.column_stack([wall - away, np.zeros(len(away)), np.full(len(away), 10.0)])
    normal = np.repeat(UP, len(away), axis=0)
    samples = Samples(point, normal, np.zeros(len(away), np.int64), np.ones(len(away)))
    mesh = Mesh(vertices, faces.astype(np.int32))
    found = setup_reach(mesh, BODY, BALL, UP, samples, 1e-6, stick_out)
    np.testing.assert_array_equal(found.reached[0], away > room)
    np.testing.assert_array_equal(
        axis_tool(mesh, BODY, BALL, UP, 1e-6, stick_out).reached(point, normal)[0], away > room
    )
