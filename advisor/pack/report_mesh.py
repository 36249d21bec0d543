"""The part for the 3D view of the report: corners, facets, zones, lines and colours, packed for the page."""

from __future__ import annotations

import base64
import gzip
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from advisor.advice.facet_parts import with_parts
from advisor.model import Plan
from advisor.pack.camera import ELEVATION_DEG, View, setup_frame
from advisor.pack.colour_map import ColourMap, ColourMode
from advisor.pack.maps import can_colour, colour_map
from advisor.pack.palette import CLASS_STYLES, HATCH_SHARE, HATCH_SPACING_PX
from advisor.pack.report_pictures import SetupViews
from advisor.pack.report_simplify import MOST_FACETS, near_together, simplified
from advisor.pack.shade import LIGHT, Solid, make_solid
from advisor.tolerances import CREASE_DEG

# What the 3D view may be coloured by, in the order of its list.
VIEW_MODES: Final[tuple[ColourMode, ...]] = ("class", "zone", "strategy", "slope", "cusp", "reach", "ball", "leftover")
_OF_PARTS: Final[tuple[ColourMode, ...]] = ("reach", "ball", "leftover")
_NORMAL_STEPS: Final = 127


@dataclass(frozen=True)
class ViewerData:
    """What the page hands to its 3D view.

    Attributes
    ----------
    told : str
        JSON: where each array lies in the data, set-ups, zones, paints.
    packed : str
        The arrays one after another, as gzip in base64.
    maps : mapping of mode to ColourMap
        The maps there are, for their legends.
    facets : int
        Facets shown.
    deviation_mm : float or None
        How far corners of the part lie off what is shown at most; None where nothing was left out.
    """

    told: str
    packed: str
    maps: Mapping[ColourMode, ColourMap]
    facets: int
    deviation_mm: float | None


def viewer_data(plan: Plan, setups: list[SetupViews], most_facets: int = MOST_FACETS) -> ViewerData:
    """Pack a plan for the 3D view; parts of more than ``most_facets`` facets are simplified."""
    whole = replace(plan, facets=with_parts(plan.facets))
    modes = [mode for mode in VIEW_MODES if can_colour(whole.facets, mode)]
    if len(whole.facets.faces) > most_facets and len(whole.facets.faces) > len(plan.facets.faces):
        # what is told of parts of facets needs the parts
        whole, modes = plan, [mode for mode in modes if mode not in _OF_PARTS]
    maps = {mode: colour_map(whole, mode) for mode in modes}
    shown = near_together(simplified(whole.facets, maps["class"].index, most_facets))
    solid = make_solid(replace(whole, facets=shown.facets))
    middle = 0.5 * (solid.vertices.min(axis=0) + solid.vertices.max(axis=0))
    arrays: dict[str, NDArray[Any]] = {
        "corners": (solid.vertices - middle).astype("<f4"),
        "faces": solid.faces.astype("<u4"),
        "creases": _ends(solid, borders=False),
        "borders": _ends(solid, borders=True),
        "zone": solid.zone.astype("<i2"),
        "normals": _packed_normals(solid),
        **{f"paint-{mode}": maps[mode].index[shown.source].astype("u1") for mode in modes},
    }
    told, data = _laid_out(arrays)
    words = json.dumps(
        {
            "arrays": told,
            "size": float(np.linalg.norm(np.ptp(solid.vertices, axis=0))),
            "setups": [_setup_told(plan, number, setups) for number in range(len(plan.record.setups))],
            "zones": [{"id": zone.id, "name": zone.name, "setup": zone.setup} for zone in plan.zones],
            "maps": [_map_told(mode, maps[mode]) for mode in modes],
            **_light_told(),
        },
        separators=(",", ":"),
    )
    packed = base64.b64encode(gzip.compress(data, compresslevel=6, mtime=0)).decode("ascii")
    return ViewerData(words, packed, maps, len(shown.facets.faces), shown.deviation_mm)


def _laid_out(arrays: Mapping[str, NDArray[Any]]) -> tuple[list[dict[str, Any]], bytes]:
    """Arrays end to end, each at a multiple of four bytes, and where they lie."""
    told, pieces, start = [], [], 0
    for name, array in arrays.items():
        data = np.ascontiguousarray(array).tobytes()
        told.append({"name": name, "kind": array.dtype.str[1:], "start": start, "count": int(array.size)})
        pieces.append(data + b"\0" * (-len(data) % 4))
        start += len(pieces[-1])
    return told, b"".join(pieces)


def _packed_normals(solid: Solid) -> NDArray[np.int8]:
    """(m, 3, 3) normals of the smooth surface at facet corners in whole steps."""
    normals = solid.corners.astype(np.float64)
    length = np.maximum(np.linalg.norm(normals, axis=2, keepdims=True), 1e-30)
    return np.asarray(np.rint(normals / length * _NORMAL_STEPS), dtype=np.int8)


def _ends(solid: Solid, *, borders: bool) -> NDArray[np.uint32]:
    """(k, 2) ends of edges that part two zones, or of the other edges that are sharp or have one facet."""
    faces, count = solid.faces.astype(np.int64), len(solid.vertices)
    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    facet = np.tile(np.arange(len(faces)), 3)
    key = ends[:, 0] * count + ends[:, 1]
    order = np.argsort(key, kind="stable")
    key, facet, ends = key[order], facet[order], ends[order]
    same = np.concatenate([key[1:] == key[:-1], [False]])
    first = np.flatnonzero(same)
    one, other = facet[first], facet[first + 1]
    parts = solid.zone[one] != solid.zone[other]
    if borders:
        return np.asarray(ends[first[parts]], dtype="<u4")
    dots = np.einsum("ij,ij->i", solid.normals[one], solid.normals[other])
    sharp = (dots < math.cos(math.radians(CREASE_DEG))) & ~parts
    alone = ~same & ~np.concatenate([[False], same[:-1]])
    return np.asarray(np.concatenate([ends[first[sharp]], ends[alone]]), dtype="<u4")


def _setup_told(plan: Plan, number: int, setups: list[SetupViews]) -> dict[str, Any]:
    """Axes of a set-up, and the azimuth and elevation of its main view."""
    frame = setup_frame(plan.record.setups[number].tool_axis)
    main = next((one.views.main for one in setups if one.number == number), None)
    azimuth, elevation = (-60.0, ELEVATION_DEG) if main is None else _angles(frame, main)
    return {"frame": frame.tolist(), "azimuth": azimuth, "elevation": elevation}


def _angles(frame: NDArray[np.float64], view: View) -> tuple[float, float]:
    x, y, z = (float(v) for v in frame @ view.rows[2])
    return round(math.degrees(math.atan2(y, x)), 6), round(math.degrees(math.asin(max(-1.0, min(1.0, z)))), 6)


def _map_told(mode: ColourMode, colours: ColourMap) -> dict[str, Any]:
    return {
        "mode": mode,
        "lit": [paint.lit for paint in colours.paints],
        "dark": [paint.dark for paint in colours.paints],
        "hatch": [paint.hatch for paint in colours.paints],
    }


def _light_told() -> dict[str, Any]:
    """Light and hatching, as in the still pictures."""
    x, y, z, strength, around = LIGHT
    length = math.sqrt(x * x + y * y + z * z)
    lean = math.radians(CLASS_STYLES["undercut"].mark_deg)
    return {
        "light": {"x": x / length, "y": y / length, "z": z / length, "w": strength, "isVector4": True},
        "around": around,
        "hatch": [math.sin(lean) / HATCH_SPACING_PX, -math.cos(lean) / HATCH_SPACING_PX, HATCH_SHARE],
    }
