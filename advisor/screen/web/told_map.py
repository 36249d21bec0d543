"""What the page draws: the part once, and for every plan which zone and paint each of its facets has.

Zone lines cut facets. The part is sent as it was before cutting; a plan's answer hides the facets that are cut and has
their pieces beside them, so that it stays small.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.topology import changing_edges
from advisor.model import Plan
from advisor.pack.camera import ELEVATION_DEG, setup_frame
from advisor.pack.colour_map import ColourMap, ColourMode
from advisor.pack.maps import colour_map
from advisor.pack.palette import CLASS_STYLES, HATCH_SHARE, HATCH_SPACING_PX
from advisor.pack.shade import LIGHT
from advisor.part.measured import MeasuredPart
from advisor.part.mesh import Floats, Ints, Mesh, half_edge_ends
from advisor.tolerances import CREASE_DEG
from advisor.zones.cut_lines import CutSurface

# Zone and paint of facets that are shown in pieces.
HIDDEN_ZONE: Final = -32768
HIDDEN_PAINT: Final = 255
# Zones beyond are drawn as left out: 16 bits number them.
_MOST_ZONES: Final = 32_000
# Normals in whole steps of 16 bits: the slope of a preview comes from them.
_NORMAL_STEPS: Final = 32_767
_FIRST_AZIMUTH_DEG: Final = -60.0

Arrays = dict[str, NDArray[Any]]


@dataclass(frozen=True)
class Shown:
    """A plan on its part: which facet of the part each facet of the plan is of, and whether it is all of it.

    `mesh` is the plan's, with its twins at hand, `corner_normal` (m, 3, 3) of the smooth surface.
    """

    plan: Plan
    mesh: Mesh
    corner_normal: Floats
    parent: Ints
    is_whole: NDArray[np.bool_]


def shown(part: MeasuredPart, plan: Plan, surface: CutSurface | None) -> Shown:
    """A plan on its part; without the surface it is drawn on (a plan of several set-ups) all facets are pieces."""
    if surface is None:
        mesh = Mesh(plan.facets.vertices, plan.facets.faces)
        flat = np.repeat(mesh.normal[:, None], 3, axis=1)
        count = len(mesh.faces)
        return Shown(plan, mesh, flat, np.zeros(count, np.int32), np.zeros(count, bool))
    pieces = np.bincount(surface.parent, minlength=len(part.mesh.faces))
    return Shown(plan, surface.mesh, surface.corner_normal, surface.parent, pieces[surface.parent] == 1)


def part_told(part: MeasuredPart, axes: list[tuple[float, float, float]]) -> tuple[dict[str, Any], Arrays]:
    """The part: corners about the middle of its box, facets, normals at their corners, sharp edges."""
    mesh, smooth = part.mesh, part.smooth
    middle = middle_of(part)
    told = {
        "size": float(np.linalg.norm(mesh.size_mm)),
        "facets": len(mesh.faces),
        "setups": [
            {"frame": setup_frame(axis).tolist(), "azimuth": _FIRST_AZIMUTH_DEG, "elevation": ELEVATION_DEG}
            for axis in axes
        ],
        **_light_told(),
    }
    return told, {
        "corners": (mesh.vertices - middle).astype("<f4"),
        "faces": mesh.faces.astype("<u4"),
        "normals": _normals(smooth.corner_normal),
        "creases": _creases(mesh),
    }


def middle_of(part: MeasuredPart) -> Floats:
    """Middle of the part's box: the page counts from it."""
    low, high = part.mesh.vertices.min(axis=0), part.mesh.vertices.max(axis=0)
    return np.asarray(0.5 * (low + high))


def map_told(part: MeasuredPart, drawn: Shown, colours: ColourMap) -> tuple[dict[str, Any], Arrays]:
    """Zones and paints of a plan, the pieces of cut facets, and the lines between zones."""
    plan, mesh = drawn.plan, drawn.mesh
    zone = np.where(plan.facets.zone > _MOST_ZONES, -1, plan.facets.zone).astype("<i2")
    pieces = np.flatnonzero(~drawn.is_whole)
    zones = np.full(len(part.mesh.faces), HIDDEN_ZONE, "<i2")
    zones[drawn.parent[drawn.is_whole]] = zone[drawn.is_whole]
    middle = middle_of(part)
    corners = mesh.vertices[mesh.faces[pieces]] - middle
    border = changing_edges(mesh.twins, plan.facets.zone.astype(np.int32, copy=False))
    lines = mesh.vertices[half_edge_ends(mesh.faces, border)] - middle
    arrays: Arrays = {
        "zone": zones,
        "piece-corners": corners.astype("<f4"),
        "piece-normals": _normals(drawn.corner_normal[pieces]),
        "piece-zone": zone[pieces],
        "borders": lines.astype("<f4"),
    }
    told, paints = _painted(part, drawn, colours)
    return told, {**arrays, **paints}


def paint_told(part: MeasuredPart, drawn: Shown, mode: ColourMode) -> tuple[dict[str, Any], Arrays]:
    """Paints alone, where the plan stays and the colours change."""
    return _painted(part, drawn, colour_map(drawn.plan, mode))


def _painted(part: MeasuredPart, drawn: Shown, colours: ColourMap) -> tuple[dict[str, Any], Arrays]:
    paints = np.full(len(part.mesh.faces), HIDDEN_PAINT, np.uint8)
    paints[drawn.parent[drawn.is_whole]] = colours.index[drawn.is_whole]
    return {"map": paints_told(colours)}, {"paint": paints, "piece-paint": colours.index[~drawn.is_whole]}


def paints_told(colours: ColourMap) -> dict[str, Any]:
    """Paints and legend of a map."""
    return {
        "mode": colours.mode,
        "lit": [paint.lit for paint in colours.paints],
        "dark": [paint.dark for paint in colours.paints],
        "hatch": [paint.hatch for paint in colours.paints],
        "heading": colours.heading,
        "note": colours.note,
        "rows": [
            {
                "colour": _css(row.mark.paint.lit),
                "strip": [[_css(colour), share] for colour, share in row.mark.strip],
                "hatch": _css(row.mark.paint.hatch) if row.mark.paint.hatch else None,
                "lean": row.mark.lean_deg,
                "ink": _css(row.mark.ink),
                "name": row.name,
                "words": row.words,
                "share": row.share,
            }
            for row in colours.rows
        ],
        "scale": None
        if colours.scale is None
        else {"colours": [_css(colour) for colour in colours.scale.colours], "ticks": list(colours.scale.ticks)},
    }


def class_paints() -> dict[str, Any]:
    """Paints of the slope classes, for previews."""
    paints = [style.paint for style in CLASS_STYLES.values()]
    return {
        "lit": [paint.lit for paint in paints], "dark": [paint.dark for paint in paints],
        "hatch": [paint.hatch for paint in paints],
    }  # fmt: skip


def _css(colour: tuple[int, int, int]) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _normals(corner_normal: Floats) -> NDArray[np.int16]:
    length = np.maximum(np.linalg.norm(corner_normal, axis=2, keepdims=True), 1e-30)
    return np.asarray(np.rint(corner_normal / length * _NORMAL_STEPS), dtype="<i2")


def _creases(mesh: Mesh) -> NDArray[np.uint32]:
    """(k, 2) corners at the ends of sharp edges and of edges with one facet."""
    half = np.arange(len(mesh.twins))
    twin = mesh.twins
    other = np.maximum(twin, 0) // 3
    dots = np.einsum("ij,ij->i", mesh.normal[half // 3], mesh.normal[other])
    chosen = (twin < 0) | ((twin > half) & (dots < math.cos(math.radians(CREASE_DEG))))
    return np.asarray(half_edge_ends(mesh.faces, half[chosen]), dtype="<u4")


def _light_told() -> dict[str, Any]:
    x, y, z, strength, around = LIGHT
    length = math.sqrt(x * x + y * y + z * z)
    lean = math.radians(CLASS_STYLES["undercut"].mark_deg)
    return {
        "light": {"x": x / length, "y": y / length, "z": z / length, "w": strength, "isVector4": True},
        "around": around,
        "hatch": [math.sin(lean) / HATCH_SPACING_PX, -math.cos(lean) / HATCH_SPACING_PX, HATCH_SHARE],
        "classes": class_paints(),
    }
