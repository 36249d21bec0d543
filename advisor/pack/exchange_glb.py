"""Binary glTF 2.0 of a plan: a node a zone with what is advised of it, in the colours of a map.

The format is fixed to metres and +Y up: the topmost node turns and shrinks the millimetres of its children. Points are
single precision, so they are told from the middle of the part. Section names are those of the glTF 2.0 specification.
"""

from __future__ import annotations

import json
import math
import struct
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from advisor.model import Plan
from advisor.pack.colour_map import ColourMap
from advisor.pack.colour_space import linear_rgb
from advisor.pack.exchange_fields import zone_facts
from advisor.pack.page import plain_words
from advisor.pack.palette import Colour

# Chunks and component types by number: "Binary glTF Layout", "Accessors".
_MAGIC: Final = 0x46546C67
_JSON_CHUNK: Final = 0x4E4F534A
_BIN_CHUNK: Final = 0x004E4942
_FLOAT: Final = 5126
_UNSIGNED_INT: Final = 5125
_METRES_PER_MM: Final = 0.001
# A quarter turn about X takes +Z to +Y: x, y, z, w of a quaternion.
_Z_UP_TO_Y_UP: Final = (-math.sqrt(0.5), 0.0, 0.0, math.sqrt(0.5))
_ROUGHNESS: Final = 0.8


@dataclass
class _Buffer:
    """The binary chunk as it grows, and the views and accessors that tell of it."""

    chunks: list[bytes] = field(default_factory=list)
    views: list[dict[str, int]] = field(default_factory=list)
    accessors: list[dict[str, Any]] = field(default_factory=list)

    def add(self, array: NDArray[np.generic], kind: int, shape: str, **ends: list[float]) -> int:
        """Number of the accessor of an array; all sizes are multiples of four bytes, so nothing needs filling up."""
        data = array.tobytes()
        self.views.append({"buffer": 0, "byteOffset": self.size, "byteLength": len(data)})
        self.chunks.append(data)
        told = {"bufferView": len(self.views) - 1, "componentType": kind, "count": len(array), "type": shape, **ends}
        self.accessors.append(told)
        return len(self.accessors) - 1

    @property
    def size(self) -> int:
        """Bytes so far."""
        return 0 if not self.views else self.views[-1]["byteOffset"] + self.views[-1]["byteLength"]


def glb_bytes(plan: Plan, colours: ColourMap) -> bytes:
    """The file: zones as nodes with a mesh each, a primitive for every colour in it; facts of the zone as extras."""
    vertices = np.asarray(plan.facets.vertices, np.float64)
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    buffer, meshes, zones = _Buffer(), [], []
    used = np.unique(colours.index).tolist()
    names = {zone.id: zone_facts(zone, plan.record) for zone in plan.zones}
    for number in [*names, *({-1} if (plan.facets.zone < 0).any() else ())]:
        own = np.flatnonzero(plan.facets.zone == number)
        if len(own) == 0:
            continue
        primitives = [
            _primitive(buffer, vertices - middle, plan.facets.faces[own[colours.index[own] == paint]], at)
            for at, paint in enumerate(used)
            if (colours.index[own] == paint).any()
        ]
        facts = names.get(number, {"zone": -1, "name": "left out"})
        name = f"zone {number} {plain_words(facts['name'])}" if number > 0 else "left out"
        meshes.append({"name": name, "primitives": primitives})
        zones.append({"name": name, "mesh": len(meshes) - 1, "extras": facts})
    top = {
        "name": plain_words(plan.record.part.name) or "part",
        "rotation": _Z_UP_TO_Y_UP,
        "scale": [_METRES_PER_MM] * 3,
        "children": [1],
        "extras": {"unit_of_children": "mm", "colours": colours.heading},
    }
    shift = {"name": "part coordinates", "translation": middle.tolist(), "children": list(range(2, 2 + len(zones)))}
    told = {
        "asset": {"version": "2.0", "generator": f"advisor {plan.record.version}"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [top, shift, *zones],
        "meshes": meshes,
        "materials": [_material(colours.paints[paint].lit) for paint in used],
        "accessors": buffer.accessors,
        "bufferViews": buffer.views,
        "buffers": [{"byteLength": buffer.size}],
    }
    return _packed(told, b"".join(buffer.chunks))


def _primitive(buffer: _Buffer, vertices: NDArray[np.float64], faces: NDArray[np.int32], material: int) -> Any:
    # no normals: the specification has such meshes lit facet by facet
    kept, corner = np.unique(faces, return_inverse=True)
    points = vertices[kept].astype("<f4")
    ends = {"min": points.min(axis=0).tolist(), "max": points.max(axis=0).tolist()}
    position = buffer.add(points, _FLOAT, "VEC3", **ends)
    indices = buffer.add(corner.ravel().astype("<u4"), _UNSIGNED_INT, "SCALAR")
    return {"attributes": {"POSITION": position}, "indices": indices, "material": material}


def _material(colour: Colour) -> Any:
    # factors are amounts of light, not coded values
    light = linear_rgb(np.array(colour, float) / 255.0)
    return {
        "name": "#{:02X}{:02X}{:02X}".format(*colour),
        "doubleSided": True,
        "pbrMetallicRoughness": {
            "baseColorFactor": [*(float(f"{part:.6f}") for part in light), 1.0],
            "metallicFactor": 0.0,
            "roughnessFactor": _ROUGHNESS,
        },
    }


def _packed(told: dict[str, Any], data: bytes) -> bytes:
    text = json.dumps(told, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    length = 12 + 8 + len(text) + 8 + len(data)
    head = struct.pack("<III", _MAGIC, 2, length)
    return head + struct.pack("<II", len(text), _JSON_CHUNK) + text + struct.pack("<II", len(data), _BIN_CHUNK) + data
