"""``boundaries.dxf``: the outlines of the zones as a drawing in millimetres, a layer a zone.

Every zone has its border as it lies in space, on its layer, and the border run out by the overlap on a layer of its
own. The same two as seen from the spindle lie flat on further layers, in the plane through the origin across the tool
axis of the set-up: for programs that take flat boundaries. A last layer has the numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from advisor.model import OutlineArrays, Plan, Zone
from advisor.pack.exchange_fields import zone_middles
from advisor.pack.exchange_loops import Loop, distinct, loops_of
from advisor.pack.exchange_names import zone_layer
from advisor.pack.palette import CLASS_STYLES, Colour

OVERLAP: Final = " overlap"
PLAN_VIEW: Final = " plan view"
NUMBERS_LAYER: Final = "zone numbers"
# Codes of the DXF header: $INSUNITS 4 is mm, $MEASUREMENT 1 metric.
_MM: Final = 4
_METRIC: Final = 1
# Points of the plan view nearer than this are one: an upright line seen from its end.
_SAME_MM: Final = 1e-6
# Height of the numbers as a share of the part's longest side.
_NUMBER_SHARE: Final = 0.012
_PAPER_IS_WHITE: Final = 7


def save_boundaries(plan: Plan, outlines: OutlineArrays, path: Path) -> None:
    """Write the drawing, without dates: the same outlines give the same bytes."""
    with _without_dates():
        _drawing(plan, outlines).saveas(path)


def _drawing(plan: Plan, outlines: OutlineArrays) -> Any:
    import ezdxf

    zones = {zone.id: zone for zone in plan.zones}
    drawing = ezdxf.new("R2010", units=_MM)  # type: ignore[attr-defined]
    drawing.header["$MEASUREMENT"] = _METRIC
    model = drawing.modelspace()
    axes = [np.asarray(setup.tool_axis, float) for setup in plan.record.setups]
    for loop in loops_of(outlines):
        zone = zones[loop.zone]
        layer = zone_layer(zone) + (OVERLAP if loop.kind == "overlap" else "")
        for name in (layer, layer + PLAN_VIEW):
            _add_layer(drawing, name, zone)
        model.add_polyline3d(loop.points.tolist(), close=True, dxfattribs={"layer": layer})
        _add_flat(model, loop, axes[zone.setup], layer + PLAN_VIEW)
    _add_numbers(drawing, plan)
    _frame(drawing, plan.facets.vertices)
    # the writer adds these from a set, whose order is another in every run
    drawing.classes.add_required_classes(drawing.dxfversion)
    drawing.classes.classes = dict(sorted(drawing.classes.classes.items()))
    return drawing


def _add_layer(drawing: Any, name: str, zone: Zone) -> None:
    if name in drawing.layers:
        return
    layer = drawing.layers.add(name, color=_PAPER_IS_WHITE)
    layer.rgb = line_colour(zone)
    layer.description = f"{zone.slope_class}, {zone.area_mm2:.6g} mm2"


def line_colour(zone: Zone) -> Colour:
    """Colour of a zone's lines: its slope class, dark enough for white paper and light enough for black."""
    paint = CLASS_STYLES[zone.slope_class].paint
    red, green, blue = ((lit + dark) // 2 for lit, dark in zip(paint.lit, paint.dark, strict=True))
    return red, green, blue


def _add_flat(model: Any, loop: Loop, axis: NDArray[np.float64], layer: str) -> None:
    from ezdxf.math import OCS

    flat = distinct(loop.points - np.outer(loop.points @ axis, axis), _SAME_MM)
    if len(flat) < 2:
        return
    # the format's own axes of a flat entity, from the direction it faces
    across = [(point.x, point.y) for point in OCS(tuple(axis)).points_from_wcs(flat.tolist())]
    attributes = {"layer": layer, "extrusion": tuple(axis), "elevation": 0.0}
    model.add_lwpolyline(across, format="xy", close=True, dxfattribs=attributes)


def _add_numbers(drawing: Any, plan: Plan) -> None:
    height = _NUMBER_SHARE * max(plan.record.part.size_mm)
    drawing.layers.add(NUMBERS_LAYER, color=_PAPER_IS_WHITE)
    for zone, middle in zone_middles(plan).items():
        attributes = {"layer": NUMBERS_LAYER, "insert": tuple(middle), "height": height}
        drawing.modelspace().add_text(str(zone), dxfattribs=attributes)


def _frame(drawing: Any, vertices: NDArray[np.float64]) -> None:
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    drawing.modelspace().reset_extents(tuple(low), tuple(high))
    middle, size = (low + high) / 2, high - low
    drawing.set_modelspace_vport(height=float(max(size[1], size[0] / 1.6, 1e-3)) * 1.1, center=tuple(middle[:2]))


@contextmanager
def _without_dates() -> Iterator[None]:
    # the writer's switch for files that are compared byte by byte
    from ezdxf import options  # type: ignore[attr-defined]

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before
