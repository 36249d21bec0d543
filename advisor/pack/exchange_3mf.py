"""3MF of a plan: one body in millimetres whose facets have the colours of a map.

Core specification 1.3 and materials extension 1.2 (colour groups), both of the 3MF Consortium. It is text in a zip, so
it needs no library; the tests read it with the consortium's own.
"""

from __future__ import annotations

import io
import zipfile
from typing import Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from advisor.model import Plan
from advisor.pack.colour_map import ColourMap
from advisor.pack.page import plain_words

_CORE: Final = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_COLOURS: Final = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
_PACKAGE: Final = "http://schemas.openxmlformats.org/package/2006"
_MODEL_FILE: Final = "3D/3dmodel.model"
_TYPES: Final = (
    f'<?xml version="1.0" encoding="UTF-8"?>\n<Types xmlns="{_PACKAGE}/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_LINKS: Final = (
    f'<?xml version="1.0" encoding="UTF-8"?>\n<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Target="/{_MODEL_FILE}" Id="model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)
_GROUP_ID: Final = 1
_BODY_ID: Final = 2
# No dates: the same plan gives the same bytes.
_EARLIEST: Final = (1980, 1, 1, 0, 0, 0)


def model_bytes(plan: Plan, colours: ColourMap) -> bytes:
    """The file. A part with open edges is a surface in it, for only closed ones may be bodies."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as file:
        for name, text in (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _LINKS),
            (_MODEL_FILE, _model(plan, colours)),
        ):
            entry = zipfile.ZipInfo(name, _EARLIEST)
            entry.compress_type = zipfile.ZIP_DEFLATED
            file.writestr(entry, text.encode("utf-8"))
    return held.getvalue()


def _model(plan: Plan, colours: ColourMap) -> str:
    facets, part = plan.facets, plan.record.part
    used, place = np.unique(colours.index, return_inverse=True)
    kind = "model" if part.watertight else "surface"
    name = quoteattr(plain_words(part.name) or "part")
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<model unit="millimeter" xml:lang="en-US" xmlns="{_CORE}" xmlns:m="{_COLOURS}">',
        f'<metadata name="Title">{escape(plain_words(part.name))}</metadata>',
        f'<metadata name="Application">advisor {escape(plan.record.version)}</metadata>',
        f'<metadata name="Description">{escape(colour_words(plan, colours))}</metadata>',
        f'<resources><m:colorgroup id="{_GROUP_ID}">',
        *(f'<m:color color="{_hex(colours, paint)}"/>' for paint in used.tolist()),
        f'</m:colorgroup><object id="{_BODY_ID}" type="{kind}" name={name} pid="{_GROUP_ID}" pindex="0">',
        "<mesh><vertices>",
        *_vertex_lines(np.asarray(facets.vertices, np.float64)),
        "</vertices><triangles>",
        *_facet_lines(facets.faces, place.ravel()),
        f'</triangles></mesh></object></resources><build><item objectid="{_BODY_ID}"/></build></model>',
    ]
    return "\n".join(lines)


def colour_words(plan: Plan, colours: ColourMap) -> str:
    """Which colours the zones have, for a reader of the file's description."""
    told = [f"Coloured by {colours.heading}."]
    for zone in plan.zones:
        own = np.unique(colours.index[plan.facets.zone == zone.id]).tolist()
        seen = " ".join(_hex(colours, paint)[:7] for paint in own)
        told.append(f"Zone {zone.id} {plain_words(zone.name)}: {seen}.")
    return " ".join(told)


def _hex(colours: ColourMap, paint: int) -> str:
    return "#{:02X}{:02X}{:02X}FF".format(*colours.paints[paint].lit)


def _vertex_lines(vertices: NDArray[np.float64]) -> list[str]:
    # nine digits: a nanometre on a part of a metre
    return [f'<vertex x="{x:.9g}" y="{y:.9g}" z="{z:.9g}"/>' for x, y, z in vertices.tolist()]


def _facet_lines(faces: NDArray[np.int32], colour: NDArray[np.intp]) -> list[str]:
    return [
        f'<triangle v1="{a}" v2="{b}" v3="{c}" pid="{_GROUP_ID}" p1="{paint}"/>'
        for (a, b, c), paint in zip(faces.tolist(), colour.tolist(), strict=True)
    ]
