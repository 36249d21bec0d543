"""The window itself, drawn off-screen on a display that is there or a virtual one."""

from dataclasses import replace

import numpy as np
import pytest

from advisor.pack.maps import modes_of
from advisor.pack.palette import CLASS_STYLES, REACH_PAINTS
from advisor.screen import overlay
from advisor.screen.look import Look


@pytest.fixture
def window(ball_plan, window_system):
    from advisor.screen.window import Window

    look = Look(view="top", modes=modes_of(ball_plan))
    made = Window(ball_plan, look, (1000, 700), hidden=True)
    made.picture()
    yield made
    made.close()


def zone_of_shape(plan, shape):
    """The ball has two zones: the dome that the spindle sees, and the undercut."""
    return next(zone.id for zone in plan.zones if zone.shape == shape)


def middle_of_part(window):
    """Pixel from the lower left where the camera's focal point falls."""
    renderer = window._plotter.renderer
    renderer.SetWorldPoint(*window._plotter.camera.GetFocalPoint(), 1.0)
    renderer.WorldToDisplay()
    x, y, _ = renderer.GetDisplayPoint()
    return round(x), round(y)


def colour_at(window, at):
    picture = np.asarray(window.picture())
    return picture[len(picture) - 1 - at[1], at[0]].astype(int)


def key(window, symbol):
    interactor = window._plotter.iren.interactor
    interactor.SetKeySym(symbol)
    interactor.InvokeEvent("KeyPressEvent")
    interactor.InvokeEvent("CharEvent")


def mouse(window, event, at):
    interactor = window._plotter.iren.interactor
    interactor.SetEventPosition(*at)
    interactor.InvokeEvent(event)


def test_pointing_reads_the_zone_seen(window, ball_plan):
    x, y = middle_of_part(window)
    mouse(window, "MouseMoveEvent", (x, y))
    assert window.look.pointed == zone_of_shape(ball_plan, "dome")  # the pole, seen from the spindle
    mouse(window, "MouseMoveEvent", (3, 3))
    assert window.look.pointed is None


def test_the_far_side_is_seen_from_below(window, ball_plan):
    key(window, "u")
    window.point_at(*middle_of_part(window))
    assert window.look.pointed == zone_of_shape(ball_plan, "undercut")


def test_a_line_of_sight_through_a_corner_does_not_slip_through(window, ball_plan):
    # found when the pole of the ball, a corner of six facets, was looked through to the far side
    key(window, "t")
    x, y = middle_of_part(window)
    seen = {window._scene.zone_at(x + i, y + j) for i in range(-2, 3) for j in range(-2, 3)}
    assert seen == {zone_of_shape(ball_plan, "dome")}


def test_a_click_holds_a_zone_and_a_drag_only_turns(window, ball_plan):
    x, y = middle_of_part(window)
    mouse(window, "LeftButtonPressEvent", (x, y))
    mouse(window, "LeftButtonReleaseEvent", (x, y))
    dome = zone_of_shape(ball_plan, "dome")
    assert window.look.picked == dome
    before = window._plotter.camera.GetPosition()
    mouse(window, "LeftButtonPressEvent", (x, y))
    mouse(window, "MouseMoveEvent", (x + 90, y))
    mouse(window, "LeftButtonReleaseEvent", (x + 90, y))
    assert window.look.picked == dome
    assert window._plotter.camera.GetPosition() != before


def test_keys_change_the_colours_of_what_is_drawn(window):
    at = middle_of_part(window)
    flat = np.array(CLASS_STYLES["flat"].paint.lit)
    # shading takes from all three alike: compare proportions
    seen = colour_at(window, at)
    assert np.allclose(seen / seen.max(), flat / flat.max(), atol=0.03)
    key(window, "3")
    assert np.abs(colour_at(window, at) - seen).max() > 30
    key(window, "1")
    assert (colour_at(window, at) == seen).all()


def test_a_plan_without_reach_says_so_and_keeps_its_colours(ball_plan, window):
    from advisor.screen.window import Window

    bare = replace(ball_plan.facets, reach=None, needed_ball_mm=None, leftover_mm=None, stick_out_mm=None)
    plan = replace(ball_plan, facets=bare)
    made = Window(plan, Look(view="top", modes=modes_of(plan)), (1000, 700), hidden=True)
    try:
        seen, told = made.look, []
        made._tell = told.append
        key(made, "5")
        assert made.look == seen and "--only zones" in told[0]
    finally:
        made.close()


def test_reach_is_seen_in_the_window(ball_plan, window):
    from advisor.screen.window import Window

    reach = np.full(len(ball_plan.facets.faces), 1, np.int8)
    plan = replace(ball_plan, facets=replace(ball_plan.facets, reach=reach))
    made = Window(plan, Look(view="top", modes=modes_of(plan)), (1000, 700), hidden=True)
    try:
        made.picture()
        key(made, "5")
        seen, paint = colour_at(made, middle_of_part(made)), np.array(REACH_PAINTS[1].lit)
        assert np.allclose(seen / seen.max(), paint / paint.max(), atol=0.03)
    finally:
        made.close()


def test_fading_greys_the_others_and_comes_back(window, ball_plan):
    at = middle_of_part(window)
    seen = colour_at(window, at)
    window.look = type(window.look)(view="top", pointed=zone_of_shape(ball_plan, "undercut"))
    key(window, "o")
    assert np.ptp(colour_at(window, at)) < 25 < np.ptp(seen)
    key(window, "a")
    assert (colour_at(window, at) == seen).all()


def test_letters_that_are_no_keys_of_ours_change_nothing(window):
    seen = np.asarray(window.picture())
    for symbol in ("w", "s", "e", "3D", "j"):
        key(window, symbol)
    assert (np.asarray(window.picture()) == seen).all()


@pytest.mark.parametrize("symbol", ["m", "b", "h"])
def test_switches_are_seen_and_leave_no_trace(window, symbol):
    seen = np.asarray(window.picture())
    key(window, symbol)
    assert (np.asarray(window.picture()) != seen).any()
    key(window, symbol)
    assert (np.asarray(window.picture()) == seen).all()


def test_saving_writes_a_new_picture_each_time(window, tmp_path):
    key(window, "p")
    key(window, "p")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["ball-view-1.png", "ball-view-2.png"]


def test_nothing_is_built_again_for_new_colours(window):
    mesh, points = window._scene._mesh, window._scene._mesh.GetPoints()
    stamp, cells = points.GetMTime(), window._scene._mesh.GetPolys().GetMTime()
    for symbol in ("2", "3", "4", "1"):
        key(window, symbol)
    assert window._scene._mesh is mesh
    assert (mesh.GetPoints().GetMTime(), mesh.GetPolys().GetMTime()) == (stamp, cells)


@pytest.mark.parametrize("size", [(400, 400), (1000, 700), (2400, 500)])
@pytest.mark.parametrize("view", ["iso", "front"])
def test_the_part_is_in_sight_in_every_window(window, size, view):
    window._plotter.render_window.SetSize(*size)
    window._plotter.window_size = list(size)
    key(window, {"iso": "r", "front": "f"}[view])
    x, y = middle_of_part(window)
    assert window._scene.zone_at(x, y) is not None
    assert 0 < x < size[0] and 0 < y < size[1]


def test_overlays_stand_at_their_corners():
    assert overlay.position("top left", (100, 40), (800, 600), 10) == (10, 550)
    assert overlay.position("top right", (100, 40), (800, 600), 10) == (690, 550)
    assert overlay.position("bottom right", (100, 40), (800, 600), 10) == (690, 10)
    assert overlay.position("middle", (100, 40), (800, 600), 10) == (350, 280)
