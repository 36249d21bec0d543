"""The window: the zoned part, a zone's card beside it, and the keys that change what is shown."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyvista
from PIL import Image

from advisor.advice.session import Session
from advisor.errors import InputError
from advisor.model import SLOPE_CLASSES, Plan
from advisor.pack.card import zone_card
from advisor.pack.colour_map import ColourMap, ColourMode
from advisor.pack.maps import COLOUR_MODES, colour_map, modes_of
from advisor.pack.pass_lines import pass_segments
from advisor.pack.whole_file import next_free_name, write_whole
from advisor.pack.zone_maps import CLASS_PAINTS
from advisor.screen import panel
from advisor.screen.colours import fade_all_but, legend_of
from advisor.screen.look import Action, Look, action_of_key, after, after_click
from advisor.screen.overlay import Overlay
from advisor.screen.scene import Room, Scene
from advisor.screen.sliders import FOOT, ThresholdSliders
from advisor.units import angle_deg

_MARGIN: Final = 16
# A press and a release this near each other are a click, not a drag.
_CLICK_PX: Final = 4
_USUAL_DPI: Final = 96.0
# Samples of a pixel, for smooth edges.
_SAMPLES: Final = 4
_NOT_IN_PLAN: Final = "This plan does not say where the cutter gets to: plan the part again without --only zones"
_NO_PASSES: Final = "This plan has no passes: open it with --passes, or a plan folder that has them"
_SKETCHED: Final = "A first answer: zones and advice.  G: the whole plan"
_WHOLE: Final = "The whole plan, but for laid passes"
_MADE_ALREADY: Final = "This plan is made already; its part model can be planned again"
_UNDERCUT: Final = SLOPE_CLASSES.index("undercut")
_HINT: Final = "Point at a zone to read its card; click to hold it.  H: all keys"


def open_window(plan: Plan, look: Look, size: tuple[int, int], session: Session | None = None) -> None:
    """Show a plan until the window is closed. Ask ``gl.check_window_can_open`` first."""
    Window(plan, look, size, session=session).run()


class Window:
    """A window on a plan. Every change goes through ``Look``; the window draws what differs.

    With a session, thresholds have sliders: a moved one is answered by a sketch of the plan.
    """

    def __init__(
        self, plan: Plan, look: Look, size: tuple[int, int], *, hidden: bool = False, session: Session | None = None
    ) -> None:
        self._plan = plan
        self._session = session
        self._zones = {zone.id: zone for zone in plan.zones}
        self._plotter = _plotter(f"{plan.record.part.name}: zones", size, hidden)
        self._scale = _scale_of_screen(self._plotter.render_window)
        self._scene = Scene(plan, self._plotter)
        margin = round(_MARGIN * self._scale)
        renderer = self._plotter.renderer
        self._legend = Overlay(renderer, "top left", margin)
        self._card = Overlay(renderer, "top right", margin)
        self._note = Overlay(renderer, "bottom right", margin)
        self._help = Overlay(renderer, "middle", margin)
        self._maps: dict[ColourMode, ColourMap] = {}
        self._pressed_at = (0, 0)
        self._sliders = None if session is None else self._add_sliders(session)
        self.look = look
        self._draw_all()
        self._listen()

    def run(self) -> None:
        """Show the window and return when it is closed."""
        self._plotter.show()

    def close(self) -> None:
        """Close the window."""
        self._plotter.close()

    def picture(self) -> Image.Image:
        """What the window shows."""
        return Image.fromarray(self._plotter.screenshot(return_img=True))

    def press(self, action: Action) -> None:
        """Do what a key does."""
        if action == "whole":
            self._settle()
        elif action == "passes" and self._plan.passes is None:
            self._tell(_NO_PASSES)
        elif action == "save":
            self._save()
        elif action == "quit":
            self._plotter.iren.terminate_app()
        else:
            self._show(after(self.look, action))
            if action == "fade" and self.look.shown is None:
                self._tell("Point at a zone first, or click one")
            elif action in COLOUR_MODES and action not in self.look.modes:
                self._tell(_NOT_IN_PLAN)

    def point_at(self, x: int, y: int) -> None:
        """Read the card of the zone at a pixel from the lower left."""
        if self.look.picked is None:
            self._show(replace(self.look, pointed=self._scene.zone_at(x, y)))

    def click(self, x: int, y: int) -> None:
        """Pick the zone at a pixel from the lower left, or let go of the picked one."""
        self._show(after_click(self.look, self._scene.zone_at(x, y)))

    def _show(self, look: Look) -> None:
        before, self.look = self.look, look
        if look == before:
            return
        if (look.mode, look.only) != (before.mode, before.only):
            self._paint()
        if look.mode != before.mode:
            self._draw_legend()
        if look.shown != before.shown:
            self._draw_card()
        if look.passes != before.passes:
            self._lay_passes()
        if look.turn != before.turn:
            self._scene.look_from(look.view, self._rooms())
        self._draw_switches()
        self._hint()
        self._draw()

    def _add_sliders(self, session: Session) -> ThresholdSliders:
        rules = session.settings().job.zones
        steep = _steep_from_deg(self._plan) or rules.steep_from
        return ThresholdSliders(self._plotter, rules.flat_below, steep, self._preview, self._ask)

    def _preview(self, flat_deg: float, steep_deg: float) -> None:
        """Slope classes while a slider moves, before the plan answers."""
        facets = self._plan.facets
        is_undercut = facets.slope_class == _UNDERCUT
        classes = np.where(is_undercut, _UNDERCUT, np.digitize(facets.smooth_slope_deg, [flat_deg, steep_deg]))
        colours = np.array([paint.lit for paint in CLASS_PAINTS], np.uint8)[classes]
        self._scene.paint(colours, evenly_lit=False)
        self._draw()

    def _ask(self, flat_deg: float, steep_deg: float) -> None:
        """The plan for other thresholds, in short."""
        assert self._session is not None
        try:
            self._session.set({"zones.flat_below": f"{flat_deg:g} deg", "zones.steep_from": f"{steep_deg:g} deg"})
            self._replan(self._session.sketch())
        except InputError as fault:
            self._tell(str(fault))
        else:
            self._tell(_SKETCHED)

    def _settle(self) -> None:
        if self._session is None:
            self._tell(_MADE_ALREADY)
            return
        self._replan(self._session.plan())
        self._tell(_WHOLE)

    def _replan(self, plan: Plan) -> None:
        """Show another plan of the part, from where one looks at it now."""
        self._scene.take_away()
        self._plan, self._maps = plan, {}
        self._zones = {zone.id: zone for zone in plan.zones}
        self._scene = Scene(plan, self._plotter, is_first=False)
        modes = modes_of(plan)
        mode = self.look.mode if self.look.mode in modes else "class"
        self.look = replace(self.look, mode=mode, modes=modes, pointed=None, picked=None, faded=False, passes=False)
        self._paint()
        self._draw_legend()
        self._draw_card()
        self._draw_switches()
        self._draw()

    def _lay_passes(self) -> None:
        self._scene.lay(pass_segments(self._plan)[0] if self.look.passes else None)

    def _draw_all(self) -> None:
        self._paint()
        self._draw_legend()
        self._draw_card()
        self._draw_switches()
        self._hint()
        self._lay_passes()
        self._place()
        self._scene.look_from(self.look.view, self._rooms())

    def _draw(self) -> None:
        self._place()
        self._plotter.render()

    def _paint(self) -> None:
        colours, only = self._map().lit_colours, self.look.only
        shown = colours if only is None else fade_all_but(colours, self._plan.facets.zone, only)
        self._scene.paint(shown, evenly_lit=self._map().is_told_by_lightness)

    def _draw_legend(self) -> None:
        self._legend.put(panel.draw_legend(self._plan, legend_of(self._map()), self._scale))

    def _map(self) -> ColourMap:
        mode = self.look.mode
        if mode not in self._maps:
            self._maps[mode] = colour_map(self._plan, mode)
        return self._maps[mode]

    def _draw_card(self) -> None:
        shown = self.look.shown
        zone = self._zones.get(shown) if shown is not None else None
        self._card.put(panel.draw_card(zone_card(self._plan.record, zone), self._scale) if zone else None)
        self._scene.outline(shown)

    def _draw_switches(self) -> None:
        self._scene.show_edges(self.look.edges)
        self._scene.show_lines(self.look.lines)
        self._help.put(panel.draw_help(self._scale) if self.look.help else None)

    def _place(self) -> None:
        window = tuple(self._plotter.render_window.GetSize())
        for overlay in (self._legend, self._card, self._note, self._help):
            overlay.place(window)

    def _rooms(self) -> tuple[Room, ...]:
        """Fields free for the part: beside the legend, and below it; the card has its column on the right."""
        width, height = self._plotter.render_window.GetSize()
        margin = _MARGIN * self._scale
        # in a small window the part is rather covered by the card than too small to see
        right = max(width - panel.CARD_WIDTH * self._scale - 2 * margin, width / 2)
        legend_right, legend_low = (length + 2 * margin for length in self._legend.size)
        foot = 2 * margin if self._sliders is None else FOOT * height
        top = height - 2 * margin
        return (
            Room(legend_right, foot, right - legend_right - margin, top - foot),
            Room(2 * margin, foot, right - 3 * margin, max(top + margin - legend_low - foot, height / 2)),
        )

    def _hint(self) -> None:
        self._note.put(panel.draw_note(_HINT, self._scale))

    def _tell(self, words: str) -> None:
        self._note.put(panel.draw_note(words, self._scale))
        self._draw()

    def _save(self) -> None:
        path = next_free_name(Path(), self._plan.record.part.name)
        picture = self.picture()
        try:
            write_whole(path, lambda desk: picture.save(desk, format="PNG"))
        except InputError as fault:
            self._tell(str(fault))
        else:
            self._tell(f"saved {path}")

    def _listen(self) -> None:
        from vtkmodules.vtkInteractionStyle import vtkInteractorStyleTrackballCamera

        style: Any = vtkInteractorStyleTrackballCamera()
        # the style's own letters (wireframe, stereo, ...) are not ours
        style.AddObserver("CharEvent", lambda *_: None)
        # while a button is held the style takes all events for itself: presses and releases are heard from it
        style.AddObserver("LeftButtonPressEvent", self._on_press)
        style.AddObserver("LeftButtonReleaseEvent", self._on_release)
        control = self._plotter.iren
        control.style = style
        control.clear_key_event_callbacks()
        for event, handler in (
            ("KeyPressEvent", self._on_key),
            ("MouseMoveEvent", self._on_move),
            ("ConfigureEvent", lambda *_: self._place()),
        ):
            control.interactor.AddObserver(event, handler)

    def _on_key(self, interactor: Any, _event: str) -> None:
        action = action_of_key(interactor.GetKeySym() or "")
        if action is not None:
            self.press(action)

    def _on_move(self, interactor: Any, _event: str) -> None:
        self.point_at(*interactor.GetEventPosition())

    def _on_press(self, style: Any, _event: str) -> None:
        self._pressed_at = style.GetInteractor().GetEventPosition()
        style.OnLeftButtonDown()

    def _on_release(self, style: Any, _event: str) -> None:
        style.OnLeftButtonUp()
        x, y = style.GetInteractor().GetEventPosition()
        if max(abs(x - self._pressed_at[0]), abs(y - self._pressed_at[1])) <= _CLICK_PX:
            self.click(x, y)


def _steep_from_deg(plan: Plan) -> float | None:
    """Where steep begins in a plan: as asked, or as the part decided."""
    words = next((setting.value for setting in plan.record.settings if setting.name == "steep_from"), None)
    return None if words is None else angle_deg(words)


def _plotter(title: str, size: tuple[int, int], hidden: bool) -> Any:
    plotter: Any = pyvista.Plotter
    made = plotter(off_screen=hidden, window_size=list(size), title=title, lighting="none")
    made.render_window.SetMultiSamples(_SAMPLES)
    return made


def _scale_of_screen(render_window: Any) -> float:
    """How much larger than usual letters must be on this screen, in quarters."""
    dpi = render_window.GetDPI() if render_window.DetectDPI() else _USUAL_DPI
    return min(3.0, max(1.0, round(4.0 * dpi / _USUAL_DPI) / 4.0))
