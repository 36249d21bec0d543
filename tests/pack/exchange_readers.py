"""What other libraries read in the files that are written for other programs."""

from __future__ import annotations

import base64
import json
import struct
import zlib
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np
from lxml import etree

# VTK's names of number types.
_TYPES = {"Float32": "f4", "Float64": "f8", "Int8": "i1", "UInt8": "u1", "Int32": "i4", "UInt32": "u4", "Int64": "i8"}


def areas_of(points: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Areas of facets."""
    a, b, c = (points[faces[:, k]] for k in range(3))
    return np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2


def sums_by(keys: np.ndarray, values: np.ndarray) -> dict[Any, float]:
    """The sum of the values of each key."""
    found: dict[Any, float] = defaultdict(float)
    for key, value in zip(keys.tolist(), values.tolist(), strict=True):
        found[key] += value
    return dict(found)


def glb_json(path: Path) -> dict[str, Any]:
    """The JSON of a binary glTF, cut out by the lengths in its heads; both chunks end where the file does."""
    data = path.read_bytes()
    magic, version, length = struct.unpack_from("<4sII", data)
    size, kind = struct.unpack_from("<I4s", data, 12)
    assert (magic, version, length, kind) == (b"glTF", 2, len(data), b"JSON")
    rest, binary = struct.unpack_from("<I4s", data, 20 + size)
    assert (binary, 28 + size + rest) == (b"BIN\0", len(data))
    told: dict[str, Any] = json.loads(data[20 : 20 + size])
    assert told["buffers"] == [{"byteLength": rest}]
    return told


def vtp_arrays(path: Path) -> dict[str, np.ndarray]:
    """Arrays of a VTK XML file with zipped inline data, by "section/name"."""
    root = etree.parse(path).getroot()
    assert root.get("compressor") == "vtkZLibDataCompressor" and root.get("header_type") == "UInt32"
    found = {}
    for array in root.iter("DataArray"):
        numbers = np.frombuffer(_unzipped(array.text), "<" + _TYPES[array.get("type")])
        width = int(array.get("NumberOfComponents", "1"))
        found[f"{array.getparent().tag}/{array.get('Name')}"] = numbers if width == 1 else numbers.reshape(-1, width)
    for array in root.iter("Array"):
        found[f"{array.getparent().tag}/{array.get('Name')}"] = np.array(
            _unzipped(array.text).decode("utf-8").split("\0")[:-1]
        )
    return found


def _unzipped(text: str) -> bytes:
    text = text.strip()
    (blocks,) = struct.unpack_from("<I", base64.b64decode(text[:8]))
    # the head is coded by itself: how many blocks, their size, that of the last one, and their sizes when zipped
    head_bytes = 4 * (3 + blocks)
    head_letters = -(-head_bytes // 3) * 4
    sizes = struct.unpack(f"<{blocks}I", base64.b64decode(text[:head_letters])[12:head_bytes])
    data, at, out = base64.b64decode(text[head_letters:]), 0, b""
    for size in sizes:
        out += zlib.decompress(data[at : at + size])
        at += size
    return out


def dxf_header(path: Path) -> dict[str, list[str]]:
    """Values of the variables in the header of a DXF, from its bare lines."""
    lines = path.read_text("utf-8").splitlines()
    tags = [(int(code), value) for code, value in zip(lines[::2], lines[1::2], strict=True)]
    found: dict[str, list[str]] = {}
    name = ""
    for code, value in tags[: tags.index((0, "ENDSEC"))]:
        if code == 9:
            name = value
        elif name:
            found.setdefault(name, []).append(value)
    return found
