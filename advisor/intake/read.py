"""A part model on disk becomes a measured part: the format by its suffix, the unit by what is known."""

from __future__ import annotations

import hashlib
import io
import os
import stat
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.errors import InputError
from advisor.intake import step
from advisor.intake.stl import cut_short, stl_corners
from advisor.model import NamedFace
from advisor.part.heal import check_coordinates, heal
from advisor.part.measured import MeasuredPart, measure_part
from advisor.units import MM_PER_UNIT

Corners = NDArray[np.float64]


@dataclass(frozen=True)
class RawMesh:
    """A mesh as a file holds it.

    ``faces`` is None where corners come three a facet; ``unit`` is None where the format has none;
    ``promised_more`` is the number of facets that the file says it has, where it holds fewer. ``unit_is_certain`` is
    set where the format cannot be without a unit: no setting overrules it. ``chord_um`` is what
    facets cut from exact surfaces keep within.
    """

    corners: Corners
    faces: NDArray[np.int64] | None
    unit: str | None
    notes: tuple[str, ...] = ()
    promised_more: int | None = None
    unit_is_certain: bool = False
    chord_um: float | None = None
    body_names: tuple[str, ...] = ()
    named_faces: tuple[NamedFace, ...] = ()


_FORMATS_BY_TRIMESH = {".ply", ".obj", ".off", ".3mf", ".glb"}
# glTF 2.0, section "Coordinate System and Units": metres, +Y up.
_GLTF_TURNED_TO_Z_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])

# Models in a 3MF, text of numbers, take 5 to 25 times the room when unpacked (measured); so many times is no model.
_MOST_UNPACKED, _SMALL_BYTES = 100, 50_000_000

SUFFIXES = (".stl", ".ply", ".obj", ".off", ".3mf", ".glb")


def read_part(path: str | Path, unit: str | None = None, *, chord_mm: float | None = None) -> MeasuredPart:
    """Read, mend and measure a part model.

    Parameters
    ----------
    path : str or Path
        STL, PLY, OBJ, OFF, 3MF or GLB; STEP where the extra ``step`` is installed.
    unit : {"mm", "inch", "m"}, optional
        Unit of the model; where left out the file's own is taken, and mm is assumed where it has none. A STEP file has
        its own in any case.
    chord_mm : float, optional
        How far facets may leave the exact surfaces of a STEP model; 0.001 mm where left out.

    Returns
    -------
    MeasuredPart
        Mesh in mm, with repairs and warnings in its record.

    Raises
    ------
    InputError
        One line: the file, what is wrong, what to do.
    """
    path = Path(path)
    subject = str(path)
    data, raw = _read(path, chord_mm)
    known = (raw.unit if raw.unit_is_certain else unit) or raw.unit
    scale = MM_PER_UNIT[known or "mm"]
    corners = np.asarray(raw.corners, dtype=np.float64)
    check_coordinates(corners, subject)
    healed = heal(corners * scale, raw.faces, subject)
    if raw.promised_more is not None and healed.mesh.open_edges:
        # a whole part under a header that lies is closed: this one lacks what was promised
        raise cut_short(subject, raw.promised_more, len(corners) // 3)
    notes = raw.notes
    if unit is not None and unit != known:
        notes = (*notes, f"the file itself says that its lengths are in {known}: {unit} is that of bare numbers alone")
    if known is None:
        notes = (*notes, "the file names no unit: mm was assumed (set it with --unit)")
    measured = measure_part(
        healed,
        name=name_as_text(path.stem),
        file=name_as_text(path.name),
        sha256=hashlib.sha256(data).hexdigest(),
        unit=known or "mm",
        unit_assumed=known is None,
        notes=notes,
    )
    if raw.chord_um is None:
        return measured
    own = replace(measured.record, chord_error_um=raw.chord_um, body_names=raw.body_names, named_faces=raw.named_faces)
    return replace(measured, record=own)


def name_as_text(name: str) -> str:
    """A file name as text that can be written anywhere: bytes that are no UTF-8 are spelled out."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def _read(path: Path, chord_mm: float | None) -> tuple[bytes, RawMesh]:
    """The file's bytes and their mesh; what cannot be a part model is refused unread."""
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise InputError(str(path), "is a folder", "give one part model, or run `advisor batch` on the folder")
        if not stat.S_ISREG(mode):
            raise InputError(str(path), "is a device, pipe or socket, not a file", "save the part model in a file")
        reader = _reader(path, chord_mm)
        data = path.read_bytes()
    except OSError as fault:
        raise InputError(
            str(path), f"cannot be read ({fault.strerror})", "check the path and the right to read it"
        ) from fault
    except MemoryError as fault:
        raise _too_large(path) from fault
    return data, reader(data, path)


def _too_large(path: Path) -> InputError:
    return InputError(str(path), "asks for more memory than there is", "export or copy it again")


def _reader(path: Path, chord_mm: float | None) -> Callable[[bytes, Path], RawMesh]:
    suffix = path.suffix.lower()
    if suffix == ".stl":
        return _read_stl
    if suffix in _FORMATS_BY_TRIMESH:
        return _read_by_trimesh
    if suffix in step.SUFFIXES:
        return partial(_read_step, chord_mm=chord_mm)
    if suffix in (".iges", ".igs"):
        raise InputError(str(path), "is a model of exact surfaces, not of facets", "export it as STEP or STL")
    raise InputError(
        str(path), "is of no format that is read here", f"give one of {', '.join((*SUFFIXES, *step.SUFFIXES))}"
    )


def _read_stl(data: bytes, path: Path) -> RawMesh:
    held = stl_corners(data, str(path))
    return RawMesh(held.corners, None, None, held.notes, held.promised_more)


def _read_step(data: bytes, path: Path, chord_mm: float | None) -> RawMesh:
    held = step.read_step(data, path, chord_mm)
    return RawMesh(held.corners, None, held.unit, held.notes, None, True, held.chord_um, held.bodies, held.faces)


def _read_by_trimesh(data: bytes, path: Path) -> RawMesh:
    if not data.strip():
        raise InputError(str(path), "is empty", "export or copy it again")
    suffix = path.suffix.lower()
    if suffix == ".3mf":
        _check_unpacked_size(data, path)
    scene = _load_scene(data, suffix, path)
    unit = _unit_of(scene, suffix)
    try:
        mesh = scene.to_mesh()
    except (ValueError, IndexError, KeyError, TypeError) as fault:
        raise _unreadable(path, fault) from fault
    corners = np.asarray(getattr(mesh, "vertices", np.empty((0, 3))), dtype=np.float64)
    faces = np.asarray(getattr(mesh, "faces", np.empty((0, 3))), dtype=np.int64)
    if corners.shape[1:] != (3,) or faces.shape[1:] != (3,):
        raise _unreadable(path, ValueError("corners that have no three places"))
    if len(faces) == 0:
        raise InputError(str(path), "holds no facets", "export the part again as a mesh")
    if faces.min() < 0 or faces.max() >= len(corners):
        raise InputError(str(path), "has facets whose corners are missing", "export or copy it again")
    if suffix == ".glb":
        corners = corners @ _GLTF_TURNED_TO_Z_UP.T
        return RawMesh(corners, faces, unit, ("GLB counts +Y as up: the part was turned so that +Z is up",))
    return RawMesh(corners, faces, unit)


def _check_unpacked_size(data: bytes, path: Path) -> None:
    """Raise where a 3MF, a zip file (3MF Core Specification, 2.1), would fill the memory when it is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            unpacked = sum(entry.file_size for entry in packed.infolist())
    except (zipfile.BadZipFile, ValueError, NotImplementedError) as fault:
        raise _unreadable(path, fault) from fault
    if unpacked > max(_MOST_UNPACKED * len(data), _SMALL_BYTES):
        raise InputError(
            str(path), f"unpacks to {unpacked / 1e6:,.0f} MB from {len(data) / 1e6:,.1f} MB, which no model does",
            "do not trust it; export the part again",
        )  # fmt: skip


def _load_scene(data: bytes, suffix: str, path: Path) -> Any:
    import trimesh

    try:
        return trimesh.load_scene(io.BytesIO(data), file_type=suffix[1:], process=False, skip_materials=True)
    except MemoryError as fault:
        raise _too_large(path) from fault
    except Exception as fault:  # readers of six formats fail in many ways on damaged files: all mean the same here
        raise _unreadable(path, fault) from fault


def _unreadable(path: Path, fault: Exception) -> InputError:
    reason = str(fault).strip().splitlines()
    detail = f" ({reason[0][:80]})" if reason else ""
    return InputError(str(path), f"cannot be read as {path.suffix[1:].upper()}{detail}", "export or copy it again")


# What files may call their unit; other names count as unknown.
_UNITS = {"mm": "mm", "millimeter": "mm", "millimeters": "mm", "in": "inch", "inch": "inch", "inches": "inch",
          "m": "m", "meter": "m", "meters": "m"}  # fmt: skip


def _unit_of(scene: Any, suffix: str) -> str | None:
    if suffix == ".glb":
        return "m"
    if suffix != ".3mf":
        return None
    try:
        return _UNITS.get(str(scene.units).lower())
    except (ValueError, AttributeError):
        return None
