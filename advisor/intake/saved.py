"""A plan folder read back into a plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from advisor.errors import InputError
from advisor.model import PLAN_FILE, FacetArrays, OutlineArrays, PassArrays, Plan, PlanRecord, plan_from_json

_REMEDY = "plan the part again"


def read_plan_folder(folder: str | Path) -> Plan:
    """The plan in a folder, with its passes where it has some; its outlines are read when they are asked for.

    Raises
    ------
    InputError
        Where a file is missing or damaged.
    """
    folder = Path(folder)
    try:
        record = plan_from_json((folder / PLAN_FILE).read_bytes())
    except OSError as fault:
        raise InputError(str(folder), "holds no plan.json that can be read", _REMEDY) from fault
    except ValueError as fault:  # pydantic's ValidationError is one
        raise InputError(str(folder / PLAN_FILE), "is no plan of this version", _REMEDY) from fault
    facets = FacetArrays(**_arrays(folder / "facets.npz", FacetArrays))
    problem = _fault_in_facets(facets, record)
    if problem is not None:
        raise InputError(str(folder / "facets.npz"), f"is damaged ({problem})", _REMEDY)
    lines = folder / "outlines.npz"
    draw_outlines = partial(_outlines, lines, len(record.zones)) if lines.exists() else None
    path = folder / "passes.npz"
    if not path.exists():
        return Plan(record, facets, draw_outlines)
    passes = PassArrays(**_arrays(path, PassArrays))
    problem = _fault_in(passes, record, int(facets.zone.max(initial=0)))
    if problem is not None:
        raise InputError(str(path), f"is damaged ({problem})", _REMEDY)
    return Plan(record, facets, draw_outlines, passes)


def _fault_in_facets(facets: FacetArrays, record: PlanRecord) -> str | None:
    """What is wrong with the arrays of facets, in a few words; None where nothing is."""
    count, corners = len(np.atleast_1d(facets.faces)), len(np.atleast_1d(facets.vertices))
    wanted = {
        "vertices": ("f", (corners, 3)), "faces": ("i", (count, 3)), "zone": ("i", (count,)),
        "slope_deg": ("f", (count,)), "smooth_slope_deg": ("f", (count,)), "slope_class": ("i", (count,)),
    }  # fmt: skip
    for name, (kind, shape) in wanted.items():
        array = getattr(facets, name)
        if array.dtype.kind != kind or array.shape != shape:
            return f"{name}: {array.dtype} of shape {array.shape}"
    if not np.isfinite(facets.vertices).all():
        return "vertices: not finite"
    if count and not (facets.faces.min() >= 0 and facets.faces.max() < corners):
        return "faces: no vertices"
    if count and not set(np.unique(facets.zone).tolist()) <= {-1, *(zone.id for zone in record.zones)}:
        return "zone: facets of zones that the plan does not have"
    return None


def _outlines(path: Path, zones: int) -> OutlineArrays:
    outlines = OutlineArrays(**_arrays(path, OutlineArrays))
    points, count = len(outlines.points), len(outlines.starts) - 1
    lengths = {len(outlines.zone), len(outlines.kind), len(outlines.is_hole)}
    sound = (
        outlines.points.shape == (points, 3) and np.isfinite(outlines.points).all() and lengths == {count}
        and {len(outlines.neighbour), len(outlines.joint)} == {points}
        and outlines.starts[0] == 0 and outlines.starts[-1] == points and (np.diff(outlines.starts) > 0).all()
        and (count == 0 or (outlines.zone.min() >= 1 and outlines.zone.max() <= zones))
    )  # fmt: skip
    if not sound:
        raise InputError(str(path), "is damaged", _REMEDY)
    return outlines


def _arrays(path: Path, kind: type[FacetArrays] | type[PassArrays] | type[OutlineArrays]) -> Mapping[str, Any]:
    """The arrays of a record by name; what a plan did not work out is not in its file."""
    names = {field.name: field.default is None for field in fields(kind)}
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as arrays:
            told = {name: arrays[name] for name, is_optional in names.items() if name in arrays or not is_optional}
    except Exception as fault:  # readers of archives and of heads of arrays fail in many ways: all mean the same
        raise InputError(str(path), "is missing or damaged", _REMEDY) from fault
    for array in told.values():
        array.setflags(write=False)
    return told


def _fault_in(passes: PassArrays, record: PlanRecord, zones: int) -> str | None:
    """What is wrong with the arrays of passes, in a few words; None where nothing is."""
    problem = _wrong_shape(passes) or _wrong_place(passes)
    if problem is not None:
        return problem
    if len(passes.zone) and not (passes.zone.min() >= 1 and passes.zone.max() <= zones):
        return "zone: passes of zones that the plan does not have"
    if len(passes.tool) and not (passes.tool.min() >= 0 and passes.tool.max() < len(record.tools)):
        return "tool: passes with tools that the plan does not have"
    return None


def _wrong_shape(passes: PassArrays) -> str | None:
    points, count = len(passes.points), len(np.atleast_1d(passes.starts)) - 1
    seen = 0 if passes.close_up_um is None else len(np.atleast_1d(passes.close_up_um))
    turns = 0 if passes.turns is None else passes.turns.size
    side = passes.close_up_um.shape[-1] if passes.close_up_um is not None and passes.close_up_um.ndim else 0
    wanted = {
        "points": ("f", (points, 3)), "starts": ("i", (count + 1,)), "zone": ("i", (count,)),
        "strategy": ("U", (count,)), "stage": ("U", (count,)), "tool": ("i", (count,)), "closed": ("b", (count,)),
        "contacts": ("f", (points, 3)), "level": ("i", (count,)), "turns": ("i", (turns,)),
        "close_up_um": ("f", (seen, side, side)),
        "close_up_frame": ("f", (seen, 4, 3)), "close_up_mm": ("f", (seen,)), "close_up_pass": ("i", (seen,)),
    }  # fmt: skip
    for name, (kind, shape) in wanted.items():
        array = getattr(passes, name)
        if array is not None and (array.dtype.kind != kind or array.shape != shape):
            return f"{name}: {array.dtype} of shape {array.shape}"
    close_ups = (passes.close_up_um, passes.close_up_frame, passes.close_up_mm, passes.close_up_pass)
    if any(array is None for array in close_ups) and any(array is not None for array in close_ups):
        return "close-ups: not all of their arrays are there"
    return None


def _wrong_place(passes: PassArrays) -> str | None:
    starts = passes.starts
    if starts[0] != 0 or starts[-1] != len(passes.points) or (np.diff(starts) < 0).any():
        return "starts: no offsets into points"
    for name in ("points", "contacts", "close_up_frame", "close_up_mm"):
        array = getattr(passes, name)
        if array is not None and not np.isfinite(array).all():
            return f"{name}: not finite"
    if passes.close_up_mm is not None and not (passes.close_up_mm > 0.0).all():
        return "close_up_mm: no lengths"
    turns = passes.turns
    if turns is not None and len(turns) and not (turns.min() >= 0 and turns.max() < len(passes.points)):
        return "turns: no points"
    number = passes.close_up_pass
    if number is not None and len(number) and not (number.min() >= 0 and number.max() < len(passes.zone)):
        return "close_up_pass: no passes"
    return None
