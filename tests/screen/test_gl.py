"""The probe: a missing display or library is one line with a remedy, never a crash."""

import os
import subprocess
import sys

import pytest

from advisor.errors import MissingSystemLibraryError
from advisor.screen import gl, try_window

LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the probe of Linux displays")


def test_a_named_display_is_no_fault():
    assert gl.display_fault("linux", {"DISPLAY": ":0"}) is None


@pytest.mark.parametrize("platform", ["win32", "darwin"])
def test_only_linux_names_its_display(platform):
    assert gl.display_fault(platform, {}) is None


def test_no_display_offers_the_picture_and_names_the_packages():
    words = str(gl.display_fault("linux", {}))
    assert "--picture" in words and "libgl1" in words and "DISPLAY" in words


def test_a_wayland_desktop_without_x11_is_told_which_package_brings_it():
    assert "xwayland" in str(gl.display_fault("linux", {"WAYLAND_DISPLAY": "wayland-0"}))


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (f"{try_window.NO_LIBRARY} libGL.so.1", "libGL.so.1 is missing"),
        (try_window.NO_DISPLAY, "cannot be opened"),
        (try_window.NO_OPENGL, "no OpenGL"),
        ("", "no OpenGL"),  # the child died
    ],
)
def test_each_answer_but_ready_is_one_line_with_a_remedy(answer, said):
    fault = gl.answer_fault("linux", answer)
    assert isinstance(fault, MissingSystemLibraryError)
    assert said in str(fault) and "--picture" in str(fault) and "\n" not in str(fault)


def test_ready_is_no_fault():
    assert gl.answer_fault("linux", try_window.READY) is None


def test_only_linux_is_told_of_its_packages():
    assert "apt" in str(gl.answer_fault("linux", ""))
    assert "apt" not in str(gl.answer_fault("win32", ""))


@pytest.mark.parametrize("crash", ["import os; os.abort()", "import sys; print('ready'); sys.exit(3)"])
def test_a_child_that_dies_is_no_ready_machine(crash, monkeypatch, tmp_path):
    script = tmp_path / "dies.py"
    script.write_text(crash)
    monkeypatch.setattr(gl.try_window, "__file__", str(script))
    monkeypatch.setenv("DISPLAY", ":1")
    gl._answer.cache_clear()
    try:
        with pytest.raises(MissingSystemLibraryError):
            gl.check_window_can_open()
    finally:
        gl._answer.cache_clear()


@LINUX
def test_the_child_finds_a_display_that_nobody_serves():
    environment = {**os.environ, "DISPLAY": "unix:/nowhere"}
    child = subprocess.run(
        [sys.executable, "-P", try_window.__file__],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    answer = child.stdout.strip()
    assert answer == try_window.NO_DISPLAY or answer.startswith(try_window.NO_LIBRARY)


@LINUX
def test_the_child_finds_a_display_that_works(display):
    environment = {**os.environ, "DISPLAY": display}
    child = subprocess.run(
        [sys.executable, "-P", try_window.__file__],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if child.stdout.startswith(try_window.NO_LIBRARY):
        pytest.skip("OpenGL libraries are not installed")
    assert child.stdout.strip() == try_window.READY
