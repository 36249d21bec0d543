"""Whether a window can be opened on this machine, asked of a child process before any window is made."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Final

from advisor.errors import MissingSystemLibraryError
from advisor.screen import try_window

# Debian 12: libgl1 brings libx11-6 and Mesa's drivers with it. Found by hiding each library in turn from VTK 9.7;
# without libXcursor it only warns.
PACKAGES: Final = "apt install libgl1 libxcursor1"
# Importing VTK from a cold disk takes some seconds.
_MOST_SECONDS: Final = 60.0
_SUBJECT: Final = "window"
_PICTURE: Final = "draw the map with --picture FILE.png"


def check_window_can_open() -> None:
    """Return where a window can be opened.

    Raises
    ------
    MissingSystemLibraryError
        Where there is no display, or no OpenGL library that works; the remedy names the system packages.
    """
    fault = display_fault(sys.platform, os.environ) or answer_fault(sys.platform, _answer())
    if fault is not None:
        raise fault


def display_fault(platform: str, environment: Mapping[str, str]) -> MissingSystemLibraryError | None:
    """The fault of a Linux machine on which no display is named: VTK's window needs X11."""
    if not platform.startswith("linux") or environment.get("DISPLAY"):
        return None
    if environment.get("WAYLAND_DISPLAY"):
        return MissingSystemLibraryError(
            _SUBJECT,
            "this Wayland desktop offers no X11 display (DISPLAY is not set)",
            f"install the desktop's X11 support (Debian, Ubuntu: apt install xwayland), or {_PICTURE}",
        )
    return MissingSystemLibraryError(
        _SUBJECT,
        "there is no display to open it on (DISPLAY is not set)",
        f"{_PICTURE}, or run it on a desktop (where Debian and Ubuntu need: {PACKAGES})",
    )


def answer_fault(platform: str, answer: str) -> MissingSystemLibraryError | None:
    """The fault behind an answer of the child process; no answer at all means that it died."""
    if answer == try_window.READY:
        return None
    if answer == try_window.NO_DISPLAY:
        remedy = f"check DISPLAY and the right to use it, or {_PICTURE}"
        return MissingSystemLibraryError(_SUBJECT, "the display that DISPLAY names cannot be opened", remedy)
    remedy = f"install a driver for OpenGL 3.2 or later, or {_PICTURE}"
    if platform.startswith("linux"):
        remedy = f"install the libraries (Debian, Ubuntu: {PACKAGES}), or {_PICTURE}"
    problem = "no OpenGL library on this machine can draw it"
    if answer.startswith(try_window.NO_LIBRARY):
        problem = f"the system library {answer.removeprefix(try_window.NO_LIBRARY).strip()} is missing"
    return MissingSystemLibraryError(_SUBJECT, problem, remedy)


@cache
def _answer() -> str:
    # -P: the child must not take the modules beside its script for top-level ones
    command = [sys.executable, "-P", str(Path(try_window.__file__))]
    try:
        child = subprocess.run(command, capture_output=True, text=True, timeout=_MOST_SECONDS, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return ""
    lines = child.stdout.split("\n") if child.returncode == 0 else []
    return next((line.strip() for line in reversed(lines) if line.strip()), "")
