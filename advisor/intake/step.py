"""STEP models (ISO 10303-21; AP203, AP214, AP242): exact surfaces become facets, in a process of its own.

The library that reads them is an optional extra. It is native code, and a damaged file may bring its process down: a
child does the reading, so that this is one line for the user as any other fault of a file.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from advisor.errors import InputError, MissingSystemLibraryError, needs_extra
from advisor.intake import step_child
from advisor.intake.stl import stl_corners
from advisor.model import NamedFace
from advisor.tolerances import STEP_CHORD_MM
from advisor.units import MM_PER_UNIT, UM_PER_MM

SUFFIXES: Final = (".step", ".stp")
_LIBRARY: Final = "OCP"
# It is linked with a library of OpenGL, though nothing is drawn.
_ON_THIS_SYSTEM: Final = "install it (Debian and Ubuntu: apt install libgl1), or export the part as STL"
_COPY_AGAIN: Final = "export or copy it again"
# ISO 10303-21: how an exchange file begins and ends.
_FIRST, _LAST = b"ISO-10303-21;", b"END-ISO-10303-21;"
# The unit of all lengths of a shape: one of the units that its context is assigned (ISO 10303-41).
_CONTEXT: Final = re.compile(rb"GLOBAL_UNIT_ASSIGNED_CONTEXT\s*\(\s*\(([^)]*)\)")
_SI_LENGTH: Final = re.compile(rb"SI_UNIT\s*\(\s*(\$|\.\w+\.)\s*,\s*\.METRE\.")
_NAMED_LENGTH: Final = re.compile(rb"CONVERSION_BASED_UNIT\s*\(\s*'([^']*)'")
_FACE: Final = re.compile(rb"=\s*ADVANCED_FACE\s*\(")
_UNITS: Final = {b".MILLI.": "mm", b"$": "m", b"inch": "inch", b"in": "inch"}


@dataclass(frozen=True)
class StepMesh:
    """Facets of a STEP model.

    Attributes
    ----------
    corners : (3 m, 3) float64 array
        Corners of the facets, three each, in ``unit``.
    unit : {"mm", "inch", "m"}
    notes : tuple of str
    chord_um : float
        Facets keep within it.
    bodies : tuple of str
        Names of bodies that have one, in the order of the file.
    faces : tuple of NamedFace
        Faces that have a name.
    """

    corners: NDArray[np.float64]
    unit: str
    notes: tuple[str, ...]
    chord_um: float
    bodies: tuple[str, ...]
    faces: tuple[NamedFace, ...]


def can_read_step() -> bool:
    """Whether the library that reads STEP models is installed."""
    return find_spec(_LIBRARY) is not None


def step_unit(data: bytes) -> str | None:
    """Unit of lengths that a STEP file names; None where it is none of mm, inch and m.

    >>> step_unit(b"#1=(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.));#2=(GLOBAL_UNIT_ASSIGNED_CONTEXT((#1)))")
    'mm'
    """
    for context in _CONTEXT.finditer(data):
        for number in re.findall(rb"#(\d+)", context[1]):
            told = re.search(rb"#" + number + rb"\s*=([^;]*);", data)
            if told is None or b"LENGTH_UNIT" not in told[1]:
                continue
            named, si = _NAMED_LENGTH.search(told[1]), _SI_LENGTH.search(told[1])
            return _UNITS.get(named[1].strip().lower() if named else si[1] if si else b"")
    return None


def read_step(data: bytes, path: Path, chord_mm: float | None = None) -> StepMesh:
    """Facets of a STEP model that leave its surfaces by no more than ``chord_mm``.

    Parameters
    ----------
    data : bytes
        The file.
    path : Path
        Where it lies.
    chord_mm : float, optional
        ``tolerances.STEP_CHORD_MM`` where not given.

    Raises
    ------
    InputError
        Where it is no STEP file, cut short, damaged or without surfaces, and where the library is not installed, or
        lacks something of the system.
    """
    subject = str(path)
    if not data.lstrip()[: len(_FIRST)].upper() == _FIRST:
        raise InputError(subject, "is no STEP file (ISO 10303-21)", _COPY_AGAIN)
    if _LAST not in data[-1000:].upper():
        raise InputError(subject, "is cut short: the end of a STEP file is missing", _COPY_AGAIN)
    if not can_read_step():
        raise needs_extra(subject, "what reads STEP (cadquery-ocp-novtk)", "step", ", or export the part as STL")
    chord_mm = STEP_CHORD_MM if chord_mm is None else chord_mm
    facets, told = _by_child(path, chord_mm)
    if told.get("lacks"):
        problem = f"cannot be read: what reads STEP lacks something of the system ({told['lacks']})"
        raise MissingSystemLibraryError(subject, problem, _ON_THIS_SYSTEM)
    if told.get("fault"):
        raise InputError(subject, f"cannot be read as STEP ({told['fault']})", _COPY_AGAIN)
    named = step_unit(data)
    unit = named or "mm"
    notes = [f"exact surfaces were cut into facets to within {chord_mm * UM_PER_MM:.3g} um"]
    if named is None:
        notes.append("the file's unit of length is none of mm, inch and m: lengths were turned into mm")
    told_of, count = len(_FACE.findall(data)), int(told["face_count"])
    if count < told_of:
        notes.append(
            f"only {count} of the {told_of} faces in the file could be read: the others are missing in the plan"
        )
    corners = stl_corners(facets, subject).corners.astype(np.float64) / MM_PER_UNIT[unit]
    return StepMesh(
        corners, unit, tuple(notes), chord_mm * UM_PER_MM, tuple(told["bodies"]), tuple(map(_named_face, told["faces"]))
    )


def _named_face(told: Mapping[str, Any]) -> NamedFace:
    x, y, z = told["point_mm"]
    return NamedFace(told["name"], told["kind"], told["area_mm2"], (x, y, z))


def _by_child(path: Path, chord_mm: float) -> tuple[bytes, Mapping[str, Any]]:
    """A binary STL in mm and what else the child tells; a fault where it ended before it was done."""
    with tempfile.TemporaryDirectory(prefix="advisor-") as desk:
        out = Path(desk)
        # -P: the child must not take the modules beside its script for top-level ones
        command = [sys.executable, "-P", step_child.__file__, str(path.absolute()), str(out), repr(chord_mm)]
        try:
            child = subprocess.run(command, capture_output=True, check=False)
        except OSError as fault:
            return b"", {"fault": str(fault.strerror)}
        told = out / "told.json"
        if child.returncode != 0 or not told.exists():
            return b"", {"fault": "damaged, or more than the memory there is"}
        answer: Mapping[str, Any] = json.loads(told.read_text("utf-8"))
        facets = out / "facets.stl"
        return (facets.read_bytes() if facets.exists() else b""), answer
