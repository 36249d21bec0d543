"""Where compiled kernels are kept: beside their sources, else in the user's own folders, else for this run alone.

A compiler that finds no place to keep what it made refuses to compile at all: a program that all share, run by somebody
without a home that can be written, would not run.
"""

from __future__ import annotations

import atexit
import os
import shutil
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

# Where numba is told of a place, and whatever the user says there holds.
_ASKED = "NUMBA_CACHE_DIR"
_BESIDE = Path(__file__).parent / "__pycache__"
_NAME = "advisor-kernels"


def find_room() -> None:
    """Tell numba where to keep kernels, where nothing can be written beside their sources."""
    if os.environ.get(_ASKED) or is_writable(_BESIDE):
        return
    room = str(room_in(_user_folders()))
    os.environ[_ASKED] = room  # further processes are told with it
    if "numba" in sys.modules:  # it has looked already
        from numba import config

        config.CACHE_DIR = room  # type: ignore[attr-defined]


def room_in(folders: Sequence[Path]) -> Path:
    """The first of the folders that can be written and is this user's alone; else one that goes when the program ends.

    What lies there is run: a folder that others may write to is none.
    """
    for folder in folders:
        if is_writable(folder) and _is_own(folder):
            return folder
    # a place for this run alone: kernels are compiled anew each time
    room = tempfile.mkdtemp(prefix=f"{_NAME}-")
    atexit.register(shutil.rmtree, room, ignore_errors=True)
    return Path(room)


def is_writable(folder: Path) -> bool:
    """Whether files can be made in a folder, which is made where it is not there."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def _is_own(folder: Path) -> bool:
    if not hasattr(os, "getuid"):  # Windows keeps the folders of users apart by itself
        return True
    told = folder.stat()
    return told.st_uid == os.getuid() and not told.st_mode & 0o022


def _user_folders() -> list[Path]:
    """The user's folder for what can be made again, and one of the user's in the place for passing files."""
    told = os.environ.get("LOCALAPPDATA" if os.name == "nt" else "XDG_CACHE_HOME")
    caches = Path(told) if told else Path(os.path.expanduser("~")) / ".cache"  # noqa: PTH111 (no user is no fault)
    user = str(os.getuid()) if hasattr(os, "getuid") else os.environ.get("USERNAME", "user")
    return [caches / _NAME, Path(tempfile.gettempdir()) / f"{_NAME}-{user}"]
