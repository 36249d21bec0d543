"""The demo parts that come with the program."""

from __future__ import annotations

import shutil
from pathlib import Path

from advisor.errors import InputError

DEMO_PARTS = ("fruit_cup_tool.stl", "egg_tray_tool.stl", "bottle_shoulder_mould.stl", "paddle_blade.stl")
# Beside the modules in a wheel; a checkout has them at its top.
_IN_WHEEL, _IN_CHECKOUT = "demo_parts", "meshes"


def demo_part_paths() -> tuple[Path, ...]:
    """Where the demo parts lie.

    Raises
    ------
    InputError
        Where they are not installed.
    """
    package = Path(__file__).parents[1]
    for folder in (package / _IN_WHEEL, package.parent / _IN_CHECKOUT):
        paths = tuple(folder / name for name in DEMO_PARTS)
        if all(path.is_file() for path in paths):
            return paths
    raise InputError("demo parts", "are not installed with the program", "install it again")


def copy_demo_parts(folder: Path) -> tuple[Path, ...]:
    """Copy the demo parts into a folder; what is there already and is the same stays.

    Raises
    ------
    InputError
        Where the folder cannot be written, or holds another file of such a name.
    """
    sources = demo_part_paths()
    targets = tuple(folder / source.name for source in sources)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for source, target in zip(sources, targets, strict=True):
            if target.exists() and target.read_bytes() != source.read_bytes():
                raise InputError(str(target), "is there already, and is no demo part", "choose another folder")
        for source, target in zip(sources, targets, strict=True):
            if not target.exists():
                shutil.copyfile(source, target)
    except OSError as fault:
        raise InputError(str(folder), f"cannot be written ({fault.strerror})", "choose another folder") from fault
    return targets
