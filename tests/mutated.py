"""How a file gone wrong ends: as a plan, or in one line; what else comes out is a fault."""

from __future__ import annotations

import functools
import shutil
import traceback
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from mutants import good_file, mutant

import advisor
from advisor.errors import InputError

_JOB = """unit = "mm"
up = "+Z"
material = "Ti-6Al-4V"
tolerance = "0.02 mm"
path_tolerance = "0.002 mm"
clearance = "0.5 mm"
[zones]
flat_below = "5 deg"
steep_from = "45 deg"
smallest = "4 mm2"
overlap = 2
[machine]
axes = "3+2"
max_spindle = "12000 rpm"
max_feed = "10 m/min"
acceleration = "3 m/s2"
max_tilt = "20 deg"
[[tool]]
name = "ball 4"
kind = "ball"
diameter = "4 mm"
flutes = 2
flute_length = "12 mm"
stick_out = "30 mm"
[[stage]]
name = "pre-finish"
stepover = "0.75 mm"
stock_left = "0.1 mm"
tool = "ball 4"
[[stage]]
name = "finish"
cusp = "0.01 mm"
tool = "ball 4"
[[zone]]
at = [0.0, 0.0, 0.0]
name = "floor"
exclude = false
"""


@dataclass(frozen=True)
class End:
    """``plan``: it was planned; ``line``: it ended in one line of words; ``fault``: in anything else."""

    kind: Literal["plan", "line", "fault"]
    words: str = ""


def end_of(kind: str, number: int, folder: Path) -> End:
    """How a mutant ends that is read from a folder: a part model to its zones, ``job`` and ``plan`` as they are."""
    try:
        if kind == "job":
            _read_job(number, folder)
        elif kind == "plan":
            _read_plan(number, folder)
        else:
            path = folder / f"part.{kind.rpartition('.')[2]}"
            path.write_bytes(mutant(kind, _good(kind), number))
            advisor.plan(advisor.read_part(path, "mm"), only_zones=True, ball="4 mm")
    except InputError as fault:
        words = str(fault)
        is_a_line = "\n" not in words and len(words) < 2000 and words.isprintable()
        return End("line" if is_a_line else "fault", words)
    except Exception as fault:
        where = traceback.extract_tb(fault.__traceback__)[-1]
        return End("fault", f"{type(fault).__name__}: {str(fault)[:150]!r} at {where.filename}:{where.lineno}")
    return End("plan")


@functools.cache
def _good(kind: str) -> bytes:
    return good_file(kind)


def _read_job(number: int, folder: Path) -> None:
    path = folder / "job.toml"
    path.write_bytes(mutant("toml", _JOB.encode(), number))
    advisor.plan(_part(), path, only_zones=True)


@functools.cache
def _part() -> object:
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "part.stl"
        path.write_bytes(_good("stl"))
        return advisor.read_part(path, "mm")


@functools.cache
def _plan_files() -> dict[str, bytes]:
    import tempfile

    from advisor.pack.folder import write_plan_folder

    with tempfile.TemporaryDirectory() as name:
        folder = write_plan_folder(
            advisor.plan(_part(), ball="4 mm", lays_passes=False), Path(name) / "plan", pictures=False
        )
        return {path.name: path.read_bytes() for path in folder.iterdir()}


def _read_plan(number: int, folder: Path) -> None:
    """Two in three have a mutated ``plan.json``, the others arrays."""
    place = folder / "plan"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    for name, data in _plan_files().items():
        (place / name).write_bytes(data)
    victim = ("plan.json", "plan.json", "facets.npz")[number % 3]
    kind = "json" if victim == "plan.json" else "npz"
    (place / victim).write_bytes(mutant(kind, _plan_files()[victim], number))
    read = advisor.read_plan(place)
    _ = read.outlines
