"""Where each part's plan goes: folder names that any system takes, one a part."""

from __future__ import annotations

import os
import re
import shutil
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from itertools import accumulate, count
from pathlib import Path, PurePosixPath

# Signs that some file system refuses in a name.
_REFUSED_SIGNS = frozenset('<>:"/\\|?*')
# Names that Windows keeps for devices, whatever follows the first dot.
_DEVICE_NAMES = frozenset(
    ["con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10))]
)
# Names hold up to 255 bytes; the desk a plan is written on, and endings against collisions, need some of them.
_MOST_BYTES = 120
# What `pack.folder` leaves behind where its process is killed in the middle of its work.
_DESK = re.compile(r"\..*-[a-z0-9_]{8}\.(part|old)")
# And `pack.whole_file`.
_DESK_FILE = re.compile(r"\..*-[a-z0-9_]{8}\.part\.\w+")


def assign_folders(files: Sequence[str], kept: Mapping[str, str]) -> dict[str, str]:
    """A folder for each file: its own name without the suffix where that is free.

    Parameters
    ----------
    files : names relative to the folder of models, with ``/``
    kept : file to folder, as given out before; these stay, so that links into the batch stay good.

    Returns
    -------
    dict
        File to folder, with ``/``. No folder is equal to another one, or lies within it, even where upper and
        lower case count as the same.
    """
    taken = {_folded(folder) for folder in kept.values()}
    new = [PurePosixPath(file) for file in files if file not in kept]
    branches = {file: _branch(file, taken) for file in new}
    held = [*branches.values(), *(folder.split("/")[:-1] for folder in kept.values())]
    taken |= {_folded(step) for branch in held for step in _steps(branch)}
    places = {file: kept[file] for file in files if file in kept}
    for file in new:
        place = next(name for name in _names(branches[file], file) if _folded(name) not in taken)
        taken.add(_folded(place))
        places[str(file)] = place
    return places


def safe_name(name: str) -> str:
    """The name with what a file system may refuse replaced."""
    letters = [_safe_letter(letter) for letter in unicodedata.normalize("NFC", name)]
    cut = "".join(letters).encode("utf-8")[:_MOST_BYTES].decode("utf-8", "ignore").strip(" .")
    if cut.split(".")[0].lower() in _DEVICE_NAMES:
        cut = f"_{cut}"
    return cut or "part"


def _safe_letter(letter: str) -> str:
    # categories C: control, direction, unpaired halves; Zl and Zp end a line
    unsafe = letter in _REFUSED_SIGNS or unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Cn", "Zl", "Zp")
    return "_" if unsafe else letter


def _branch(file: PurePosixPath, taken: set[str]) -> list[str]:
    """Safe names of the folders above a file, none of which is a plan folder given out before."""
    branch: list[str] = []
    for step in file.parts[:-1]:
        name = safe_name(step)
        while _folded("/".join([*branch, name])) in taken:
            name += "_"
        branch.append(name)
    return branch


def _steps(branch: list[str]) -> Iterator[str]:
    return accumulate(branch, lambda above, name: f"{above}/{name}")


def _names(branch: list[str], file: PurePosixPath) -> Iterator[str]:
    stem = "/".join([*branch, safe_name(file.stem)])
    suffix = file.suffix.removeprefix(".").lower()
    yield stem
    yield f"{stem}-{suffix}"
    yield from (f"{stem}-{suffix}-{number}" for number in count(2))


def _folded(name: str) -> str:
    return unicodedata.normalize("NFC", name.casefold())


def sweep_desks(folder: Path) -> None:
    """Clear away what killed processes left half written below `folder`."""
    for root, folders, files in os.walk(folder):
        desks = [name for name in folders if _DESK.fullmatch(name)]
        folders[:] = [name for name in folders if name not in desks]
        for name in desks:
            shutil.rmtree(Path(root, name), ignore_errors=True)
        for name in filter(_DESK_FILE.fullmatch, files):
            with suppress(OSError):
                Path(root, name).unlink()
