import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
import trimesh

import advisor
from advisor.errors import MissingSystemLibraryError
from advisor.screen import gl


@pytest.fixture(scope="session")
def ball_plan(tmp_path_factory):
    """A ball of radius 20 mm: every slope from 0 to 180 degrees, so every class, in a dome and an undercut."""
    path = tmp_path_factory.mktemp("ball") / "ball.stl"
    trimesh.creation.icosphere(subdivisions=4, radius=20.0).export(path)
    return advisor.plan(path, ball="6 mm", unit="mm", lays_passes=False)


@pytest.fixture(scope="session")
def display(tmp_path_factory):
    """A display to open windows on: the one there is, or a virtual one of our own."""
    if not sys.platform.startswith("linux") or os.environ.get("DISPLAY"):
        yield os.environ.get("DISPLAY", "")
        return
    server = shutil.which("Xvfb")
    if server is None:
        pytest.skip("no display, and Xvfb (Debian, Ubuntu: apt install xvfb) is not installed to make one")
    told = tmp_path_factory.mktemp("display") / "number"
    with told.open("wb") as number:
        process = subprocess.Popen(
            [server, "-displayfd", str(number.fileno()), "-screen", "0", "1280x1024x24", "-nolisten", "tcp"],
            pass_fds=[number.fileno()], stderr=subprocess.DEVNULL,
        )  # fmt: skip
    try:
        yield f":{_number(process, told)}"
    finally:
        process.terminate()
        process.wait(10)


def _number(process: subprocess.Popen, told: Path) -> str:
    for _ in range(200):
        words = told.read_text()
        if words.endswith("\n"):
            return words.strip()
        if process.poll() is not None:
            pytest.skip("Xvfb does not start here")
        time.sleep(0.05)
    pytest.skip("Xvfb does not answer here")


@pytest.fixture
def window_system(display, monkeypatch, tmp_path):
    """Windows can be opened, in a folder of their own; tests are skipped where the system lacks what they need."""
    if display:
        monkeypatch.setenv("DISPLAY", display)
    monkeypatch.chdir(tmp_path)
    gl._answer.cache_clear()
    try:
        gl.check_window_can_open()
    except MissingSystemLibraryError as fault:
        pytest.skip(str(fault))
    finally:
        gl._answer.cache_clear()
