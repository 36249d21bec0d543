"""Run in a process of its own: whether a window can be made here, as one word on standard output.

VTK opens the system's X11 and OpenGL libraries at run time, and ends the process with a segmentation fault
where they are missing: no caller could catch that.
"""

from __future__ import annotations

import ctypes
import sys

READY = "ready"
NO_LIBRARY = "no library"
NO_DISPLAY = "no display"
NO_OPENGL = "no OpenGL"

# What VTK's Linux wheel opens by name; without libXcursor it goes on, with the usual arrow only.
_X11, _OPENGL = "libX11.so.6", "libGL.so.1"


def answer() -> str:
    """One of the answers above; ``NO_LIBRARY`` is followed by the name of the library."""
    if sys.platform.startswith("linux"):
        for name in (_X11, _OPENGL):
            if not _loads(name):
                return f"{NO_LIBRARY} {name}"
        if not _display_opens():
            return NO_DISPLAY
    return READY if _window_draws() else NO_OPENGL


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def _display_opens() -> bool:
    library = ctypes.CDLL(_X11)
    library.XOpenDisplay.restype = ctypes.c_void_p
    return bool(library.XOpenDisplay(None))


def _window_draws() -> bool:
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401 (makes the windows of this system known)
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    window = vtkRenderWindow()
    if sys.platform.startswith("linux") and window.GetClassName() != "vtkXOpenGLRenderWindow":
        return False  # VTK fell back on a window that nobody can see
    window.SetOffScreenRendering(1)
    window.Render()
    return bool(window.SupportsOpenGL())


if __name__ == "__main__":
    print(answer())
