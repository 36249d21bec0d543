"""The part of a plan in a pyvista plotter, in the colours of its maps, on a screen or off it."""

from __future__ import annotations

import os
import subprocess
import sys
from functools import cache
from typing import TYPE_CHECKING, Final

from advisor.errors import InputError, MissingSystemLibraryError
from advisor.model import Plan
from advisor.pack.camera import ViewName
from advisor.pack.colour_map import ColourMode
from advisor.pack.maps import COLOUR_MODES, colour_map
from advisor.screen.colours import fade_all_but
from advisor.screen.gl import check_window_can_open

if TYPE_CHECKING:
    from pyvista import Plotter

# VTK ends the process where it finds no OpenGL at all: a child asks first.
_ASK: Final = (
    "import pyvista; p = pyvista.Plotter(off_screen=True); p.show(auto_close=False); p.screenshot(); print('ok')"
)
# Importing VTK from a cold disk takes some seconds.
_MOST_SECONDS: Final = 120.0
# Share of the picture kept free on each side.
_MARGIN: Final = 0.04


def plotter_of(
    plan: Plan,
    colour: ColourMode,
    *,
    zone: int | None,
    view: ViewName,
    size: tuple[int, int],
    off_screen: bool | None,
) -> Plotter:
    """The part in a plotter, coloured and looked at; ``PlanView.plot`` says what each argument is.

    Raises
    ------
    InputError
        Where the plan does not know the colour or the zone, or OpenGL is missing on this machine.
    """
    if colour not in COLOUR_MODES:
        raise InputError("plot", f"knows no colour {colour!r}", f"give one of {', '.join(COLOUR_MODES)}")
    colours = colour_map(plan, colour)
    if zone is not None and all(zone != one.id for one in plan.zones):
        raise InputError("plot", f"finds no zone {zone}", f"zones of this plan are 1 to {len(plan.zones)}")
    is_hidden = _no_display() if off_screen is None else off_screen
    _check_can_draw(is_hidden)
    import pyvista

    from advisor.screen.scene import Room, Scene

    plotter = pyvista.Plotter(off_screen=is_hidden, window_size=list(size))
    scene = Scene(plan, plotter)
    paint = colours.lit_colours
    scene.paint(
        paint if zone is None else fade_all_but(paint, plan.facets.zone, zone),
        evenly_lit=colours.is_told_by_lightness,
    )
    scene.outline(zone)
    wide, high = size
    free = 1.0 - 2.0 * _MARGIN
    scene.look_from(view, (Room(_MARGIN * wide, _MARGIN * high, free * wide, free * high),))
    return plotter


def _no_display() -> bool | None:
    """Whether there is certainly nothing to open a window on; None leaves the choice to pyvista."""
    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        return True
    return None


def _check_can_draw(is_hidden: bool | None) -> None:
    if not sys.platform.startswith("linux"):
        return
    if is_hidden is False:
        check_window_can_open()
    elif not _draws_off_screen():
        remedy = "install a driver (Debian, Ubuntu: apt install libegl1 or libosmesa6), or use map(), which needs none"
        raise MissingSystemLibraryError("plot", "no OpenGL library on this machine can draw it", remedy)


@cache
def _draws_off_screen() -> bool:
    try:
        child = subprocess.run(
            [sys.executable, "-c", _ASK], capture_output=True, text=True, timeout=_MOST_SECONDS, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return child.returncode == 0 and child.stdout.rstrip().endswith("ok")
