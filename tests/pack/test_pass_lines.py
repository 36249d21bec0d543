"""Passes as segments: on the surface, all of them or every so many, none between one pass and the next."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

import advisor
from advisor.errors import InputError
from advisor.pack.pass_lines import pass_segments
from advisor.pack.pass_pictures import drawn_passes

RADIUS_MM = 12.0


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    path = tmp_path_factory.mktemp("ball") / "ball.stl"
    trimesh.creation.icosphere(subdivisions=4, radius=RADIUS_MM).export(path)
    return advisor.plan(path, ball="6 mm", unit="mm", stepover="1.5 mm")


def test_segments_lie_on_the_ball_and_follow_the_passes(plan) -> None:
    segments, stride = pass_segments(plan)
    passes = drawn_passes(plan)
    assert stride == 1 and len(segments) == int(np.maximum(np.diff(passes.starts) - 1, 0).sum())
    off = np.linalg.norm(segments.reshape(-1, 3), axis=1) - RADIUS_MM
    assert np.abs(off).max() < 0.1
    length = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    own = sum(
        float(np.linalg.norm(np.diff(passes.points[a:b], axis=0), axis=1).sum())
        for a, b in zip(passes.starts[:-1], passes.starts[1:], strict=True)
    )
    assert length.sum() == pytest.approx(own, rel=0.02)


def test_many_are_thinned_out_line_by_line(plan) -> None:
    whole, _ = pass_segments(plan)
    some, stride = pass_segments(plan, most=len(whole) // 3)
    assert stride >= 3 and 0 < len(some) < len(whole) / 2
    known = {tuple(row) for row in np.round(whole.reshape(-1, 6), 6)}
    assert all(tuple(row) in known for row in np.round(some.reshape(-1, 6), 6))


def test_a_plan_without_passes_has_none(ball_without) -> None:
    with pytest.raises(InputError, match="no passes"):
        pass_segments(ball_without)


@pytest.fixture(scope="module")
def ball_without(tmp_path_factory):
    path = tmp_path_factory.mktemp("ball") / "ball.stl"
    trimesh.creation.icosphere(subdivisions=2, radius=RADIUS_MM).export(path)
    return advisor.plan(path, ball="6 mm", unit="mm", lays_passes=False)
