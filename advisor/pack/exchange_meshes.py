"""The facets of a plan as meshes for other programs: STL, PLY and VTP, all in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from advisor.model import SLOPE_CLASSES, STRATEGIES, FacetArrays, Plan, Zone
from advisor.pack.colour_map import ColourMap
from advisor.pack.exchange_fields import facet_corners, facet_fields
from advisor.pack.exchange_names import ascii_words
from advisor.pack.page import plain_words

_STL_FACET: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_STL_HEADER: Final = 80
_PLY_TYPES: Final = {"i1": "char", "u1": "uchar", "i2": "short", "u2": "ushort", "i4": "int", "f4": "float",
                     "f8": "double"}  # fmt: skip


def stl_bytes(facets: FacetArrays, zones: Sequence[Zone]) -> bytes:
    """A binary STL of the facets of some zones; the format knows no colours and no unit, so its header says mm."""
    corners = facet_corners(facets)[np.isin(facets.zone, [zone.id for zone in zones])]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    rows = np.zeros(len(corners), _STL_FACET)
    rows["normal"] = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0.0)
    rows["corners"] = corners
    # the word "solid" at its beginning would mean a text file
    header = f"advisor zones {' '.join(str(zone.id) for zone in zones)} mm".encode()[:_STL_HEADER]
    return header.ljust(_STL_HEADER) + np.uint32(len(rows)).tobytes() + rows.tobytes()


def ply_bytes(plan: Plan, colours: ColourMap) -> bytes:
    """A binary PLY: facets with their colour and every field there is of them; comments say the unit and the codes."""
    facets = plan.facets
    columns: dict[str, NDArray[np.generic]] = {
        **{name: colours.lit_colours[:, k] for k, name in enumerate(("red", "green", "blue"))},
        **facet_fields(facets),
    }
    types = {name: array.dtype.newbyteorder("<") for name, array in columns.items()}
    row = np.dtype([("count", "u1"), ("vertices", "<i4", 3), *types.items()])
    rows = np.zeros(len(facets.faces), row)
    rows["count"], rows["vertices"] = 3, facets.faces
    for name, array in columns.items():
        rows[name] = array
    head = [
        "ply", "format binary_little_endian 1.0", "comment unit mm",
        *(f"comment {line}" for line in _code_lines()), *(f"comment {line}" for line in _zone_lines(plan)),
        f"element vertex {len(facets.vertices)}", "property double x", "property double y", "property double z",
        f"element face {len(rows)}", "property list uchar int vertex_indices",
        *(f"property {_PLY_TYPES[kind.str[1:]]} {name}" for name, kind in types.items()), "end_header", "",
    ]  # fmt: skip
    points = np.ascontiguousarray(facets.vertices, "<f8")
    return "\n".join(head).encode("utf-8") + points.tobytes() + rows.tobytes()


def _code_lines() -> list[str]:
    classes = ", ".join(f"{number} {name}" for number, name in enumerate(SLOPE_CLASSES))
    return [f"slope_class {classes}", "reach 0 reached, 1 cutter too large, 2 shank or holder, 3 faces away or hidden"]


def _zone_lines(plan: Plan) -> list[str]:
    return [f"zone {zone.id} {zone.slope_class} {plain_words(zone.name)}" for zone in plan.zones]


def save_vtp(plan: Plan, colours: ColourMap, path: Path) -> None:
    """Facets with every field there is, the area and what is advised of their zone, for programs built on VTK."""
    import pyvista

    facets = plan.facets
    faces = np.hstack([np.full((len(facets.faces), 1), 3), facets.faces]).astype(np.int64)
    mesh = pyvista.PolyData(np.asarray(facets.vertices, np.float64), faces.ravel())
    corners = facet_corners(facets)
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    for name, array in facet_fields(facets).items():
        mesh.cell_data[name] = array
    mesh.cell_data["area_mm2"] = np.linalg.norm(cross, axis=1) / 2
    for name, numbers in _of_zones(plan).items():
        mesh.cell_data[name] = numbers[np.maximum(facets.zone, 0)]
    mesh.cell_data["colour"] = colours.lit_colours
    mesh.field_data["unit"] = ["mm"]
    # VTK shows plain ASCII only
    mesh.field_data["zone_names"] = [ascii_words(zone.name) for zone in plan.zones] or [""]
    mesh.save(path, binary=True)


def _of_zones(plan: Plan) -> dict[str, NDArray[np.float64]]:
    """Numbers of the advice by zone id, NaN where there is none; ``strategy`` is the place in ``STRATEGIES``."""
    last = max((zone.id for zone in plan.zones), default=0)
    names = ("stepover_mm", "line_spacing_mm", "z_step_mm", "direction_deg", "total_min")
    told = {name: np.full(last + 1, np.nan) for name in ("strategy", *names)}
    for zone in plan.zones:
        if zone.advice is None or not zone.advice.usable:
            continue
        told["strategy"][zone.id] = STRATEGIES.index(zone.advice.strategy)
        for name in names:
            value = getattr(zone.advice, name)
            told[name][zone.id] = np.nan if value is None else value
    return {f"zone_{name}": numbers for name, numbers in told.items()}
