"""A file on disk: whole or not there."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Callable
from pathlib import Path

from advisor.errors import InputError


def check_picture_path(path: Path, *, outlines: bool = False) -> None:
    """Raise ``InputError`` where a picture, or its `outlines` as SVG, could not be written: before the work."""
    if outlines and path.suffix.lower() not in (".png", ".svg"):
        raise InputError(str(path), "is no name for a PNG or SVG picture", "end it in .png, or in .svg for outlines")
    if not outlines and path.suffix.lower() != ".png":
        raise InputError(str(path), "is no name for a PNG picture", "end it in .png")
    check_path(path, "picture")


def check_path(path: Path, what: str) -> None:
    """Raise ``InputError`` where a file, a `what`, could not be written."""
    if path.is_dir():
        raise InputError(str(path), "is a folder", _remedy(what))
    if not path.absolute().parent.is_dir():
        raise InputError(str(path), "cannot be written (no such folder)", "make the folder first")
    if not os.access(path.absolute().parent, os.W_OK):
        raise InputError(str(path), f"cannot be written (no right to write in {path.absolute().parent})", _remedy(what))


def write_text(path: Path, text: str, what: str) -> None:
    """Write lines of a text file, a `what`, as ``write_whole`` writes a picture."""
    write_whole(path, lambda desk: desk.write_bytes(text.encode()), what)


def write_whole(path: Path, draw: Callable[[Path], object], what: str = "picture") -> None:
    """Let `draw` write a file beside `path`, then rename it into place.

    Raises
    ------
    InputError
        Where the file cannot be written.
    """
    try:
        handle, name = tempfile.mkstemp(
            prefix=f".{path.stem}-", suffix=f".part{path.suffix}", dir=path.absolute().parent
        )
        os.close(handle)
        desk = Path(name)
        try:
            draw(desk)
            desk.chmod(0o666 & ~_umask())
            desk.replace(path)
        finally:
            desk.unlink(missing_ok=True)
    except OSError as fault:
        raise InputError(str(path), f"cannot be written ({fault.strerror or fault})", _remedy(what)) from fault


def next_free_name(folder: Path, name: str) -> Path:
    """``name-view-1.png`` in a folder, or the first number after it that is free.

    Of the name only letters, digits and ``. _ -`` are kept, and no leading dot.
    """
    stem = re.sub(r"[^\w.-]+", "-", name).lstrip(".-") or "part"
    number = 1
    while (folder / f"{stem}-view-{number}.png").exists():
        number += 1
    return folder / f"{stem}-view-{number}.png"


def _remedy(what: str) -> str:
    return f"choose another place for the {what}"


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
