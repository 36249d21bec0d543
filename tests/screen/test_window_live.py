"""A window with work behind it: sliders answered by plans, passes over the part, the card of the plan that is shown."""

import numpy as np
import pytest
import trimesh

from advisor.advice.session import Session
from advisor.intake.door import session as session_of
from advisor.pack.maps import modes_of
from advisor.pack.palette import CLASS_STYLES
from advisor.screen.look import Look


@pytest.fixture(scope="module")
def part(tmp_path_factory):
    path = tmp_path_factory.mktemp("ball") / "ball.stl"
    trimesh.creation.icosphere(subdivisions=4, radius=20.0).export(path)
    return session_of(path, ball="6 mm", unit="mm", stepover="1.5 mm").part


@pytest.fixture(scope="module")
def laid(part):
    session = Session(part, {"tool": [{"diameter": "6 mm"}], "stage": [{"name": "finish", "stepover": "1.5 mm"}]})
    return session, session.plan(lays_passes=True)


@pytest.fixture
def window(laid, window_system):
    from advisor.screen.window import Window

    session, plan = laid
    made = Window(plan, Look(view="top", modes=modes_of(plan)), (1000, 700), hidden=True, session=session)
    made.picture()
    yield made
    made.close()
    while session.can_undo:
        session.undo()


def slide(window, flat_deg, steep_deg):
    sliders = window._sliders
    sliders.show(flat_deg, steep_deg)
    sliders._steep.InvokeEvent("InteractionEvent")
    moving = np.asarray(window.picture())
    sliders._steep.InvokeEvent("EndInteractionEvent")
    return moving, np.asarray(window.picture())


def area_of(picture, name):
    """Pixels in about the hue of a class, in whatever light."""
    paint = np.array(CLASS_STYLES[name].paint.lit, float)
    pixels = picture.reshape(-1, 3).astype(float)
    hue = pixels / np.maximum(pixels.max(axis=1, keepdims=True), 1.0)
    return int((np.abs(hue - paint / paint.max()).max(axis=1) < 0.05).sum())


def test_a_slider_shows_classes_at_once_and_then_the_plan(window, laid):
    session, plan = laid
    before = np.asarray(window.picture())
    moving, after = slide(window, 20.0, 60.0)
    for picture in (moving, after):
        assert area_of(picture, "flat") > 2 * area_of(before, "flat")
        assert area_of(picture, "steep") < 0.8 * area_of(before, "steep")
    assert session.keys["zones"] == {"flat_below": "20 deg", "steep_from": "60 deg"}
    shown = window._plan
    assert shown is not plan and np.array_equal(shown.facets.zone, session.plan().facets.zone)
    x, y = (length // 2 for length in (1000, 700))
    window.point_at(x - 40, y)
    assert window.look.pointed in {zone.id for zone in shown.zones}


def test_flat_stays_below_steep_and_the_camera_stays(window, laid):
    session, _ = laid
    where = window._plotter.camera.GetPosition()
    slide(window, 28.0, 15.0)
    rules = session.settings().job.zones
    assert rules.flat_below == 14.5 and rules.steep_from == 15.0
    assert window._plotter.camera.GetPosition() == where


def test_the_whole_plan_is_made_on_demand(window):
    slide(window, 6.0, 50.0)
    assert window._plan.record.sequence is None
    window.press("whole")
    assert window._plan.record.sequence is not None


def test_passes_are_laid_over_the_part_and_taken_off(window):
    bare = np.asarray(window.picture()).astype(int)
    window.press("passes")
    drawn = np.asarray(window.picture()).astype(int)
    changed = np.abs(drawn - bare).max(axis=2) > 40
    assert changed.sum() > 3000
    window.press("passes")
    assert (np.asarray(window.picture()) == bare).all()
    slide(window, 5.0, 55.0)  # a sketch has none
    window.press("passes")
    assert not window.look.passes
