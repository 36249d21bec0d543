"""Part models under a folder, in a fixed order."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from advisor.errors import InputError, install_extra
from advisor.intake import step
from advisor.intake.read import SUFFIXES
from advisor.library.patterns import ALL_FILES, Patterns
from advisor.library.summary import Failure
from advisor.model import PLAN_FILE
from advisor.words import counted

# Models of exact surfaces that are not read here: a user who has them is told.
_IGES_SUFFIXES = (".iges", ".igs")
_PLAN_FILES = (PLAN_FILE, "facets.npz")


@dataclass(frozen=True, slots=True, order=True)
class FoundPart:
    """A part model: its name in the batch (from the folder of models, with ``/``), and its way as the system has it."""

    file: str
    way: str
    size_bytes: int


@dataclass(frozen=True)
class Scan:
    """What a folder holds: models in order of name, exact models left out, folders that could not be read."""

    parts: tuple[FoundPart, ...]
    exact_models: int
    unreadable: tuple[Failure, ...]


def scan_folder(folder: Path, out: Path, patterns: Patterns = ALL_FILES) -> Scan:
    """Part models under `folder`, however deep; hidden files and folders, plan folders and `out` are passed by.

    A folder reached twice by links is read once. Files that `patterns` leaves are as if they were not there.

    Raises
    ------
    InputError
        Where `folder` is no folder, cannot be read, or holds no part model.
    """
    if not folder.is_dir():
        problem = "is a file, not a folder" if folder.exists() else "there is no such folder"
        raise InputError(str(folder), problem, "give a folder of part models (`advisor plan` is for one part)")
    unreadable: list[Failure] = []
    read, left_out = (
        ((*SUFFIXES, *step.SUFFIXES), _IGES_SUFFIXES)
        if step.can_read_step()
        else (SUFFIXES, (*step.SUFFIXES, *_IGES_SUFFIXES))
    )
    parts, exact_models, not_meant = [], 0, 0
    for path in _files_below(folder, out, patterns, unreadable):
        suffix = path.suffix.lower()
        if suffix not in read and suffix not in left_out:
            continue
        if not patterns.take(name_below(path, folder)):
            not_meant += 1
        elif suffix in read:
            parts.append(_found(path, folder))
        else:
            exact_models += 1
    if not parts:
        raise _nothing_found(folder, exact_models, not_meant, unreadable)
    return Scan(tuple(sorted(parts)), exact_models, tuple(unreadable))


def name_below(path: Path, folder: Path) -> str:
    """Name relative to `folder` with ``/``; bytes that are no text are spelled out, as UTF-8 cannot hold them."""
    return os.fsencode(path.relative_to(folder).as_posix()).decode("utf-8", "backslashreplace")


def _found(path: Path, folder: Path) -> FoundPart:
    try:
        size_bytes = path.stat().st_size
    except OSError:  # a link to nowhere: reading it says so
        size_bytes = 0
    return FoundPart(name_below(path, folder), str(path.relative_to(folder)), size_bytes)


def _files_below(folder: Path, out: Path, patterns: Patterns, unreadable: list[Failure]) -> Iterator[Path]:
    def note(fault: OSError) -> None:
        place = Path(os.fsdecode(fault.filename)) if fault.filename else folder
        unreadable.append(Failure(name_below(place, folder) + "/", f"cannot be read ({fault.strerror})"))

    seen = {_identity(out), _identity(folder)}
    for root, folders, names in os.walk(folder, onerror=note, followlinks=True):
        if root != str(folder) and all(name in names for name in _PLAN_FILES):
            folders.clear()
            continue
        folders[:] = [
            name
            for name in sorted(folders)
            if not patterns.leave(name_below(Path(root, name), folder)) and _is_new(Path(root, name), seen)
        ]
        for name in names:
            path = Path(root, name)
            if not name.startswith(".") and _may_be_model(path):
                yield path


def _is_new(folder: Path, seen: set[tuple[int, int] | None]) -> bool:
    if folder.name.startswith("."):
        return False
    identity = _identity(folder)
    if identity is None:
        return True
    if identity in seen:
        return False
    seen.add(identity)
    return True


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


def _may_be_model(path: Path) -> bool:
    # a pipe with the name of a model would never end; a link to nowhere is kept, so that it is reported
    try:
        return stat.S_ISREG(path.stat().st_mode)
    except OSError:
        return True


def _nothing_found(folder: Path, exact_models: int, not_meant: int, unreadable: list[Failure]) -> InputError:
    if not_meant:
        models = counted(not_meant, "part model")
        return InputError(str(folder), f"holds {models}, none of which is meant", "check --include and --exclude")
    if unreadable:
        fault = unreadable[0]
        return InputError(str(folder / fault.file), fault.reason, "check the right to read it")
    remedy = f"give a folder that holds {', '.join(SUFFIXES)}"
    if exact_models:
        remedy = f"export its {exact_models} STEP or IGES models as STL"
        if not step.can_read_step():
            remedy += f", or have STEP read: {install_extra('step')}"
    return InputError(str(folder), "holds no part models", remedy)
