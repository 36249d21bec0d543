"""Files of a plan for other programs: the one door to all kinds, by the ending of the file's name."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from advisor.advice.facet_parts import with_parts
from advisor.errors import InputError
from advisor.model import PLAN_FILE, FacetArrays, OutlineArrays, Plan
from advisor.pack.colour_map import ColourMode
from advisor.pack.exchange_fields import facet_fields
from advisor.pack.exchange_loops import outlines_to_write
from advisor.pack.exchange_names import part_stem, zone_stem
from advisor.pack.exchange_tables import TABLES, TableName, check_parquet_can_be_written, save_parquet, table_csv
from advisor.pack.maps import colour_map
from advisor.pack.reach_maps import drawn_plan
from advisor.pack.whole_file import check_path, write_whole

# Kinds of files, in the order in which a folder is filled.
KINDS: Final = ("dxf", "svg", "stl", "glb", "ply", "3mf", "vtp", "csv", "parquet")
_WHAT: Final = "file"
_STL_FOLDER: Final = "zones"


@dataclass(frozen=True)
class Wanted:
    """What is asked for: colours of meshes and, for a single CSV or Parquet file, the table."""

    colour: ColourMode = "zone"
    table: TableName = "zones"


def kind_of(target: Path) -> str | None:
    """The kind that a file name asks for; None for a folder.

    Raises
    ------
    InputError
        Where the name ends like a file of no kind that is written here.
    """
    suffix = target.suffix.lower()
    if target.is_dir() or not suffix:
        return None
    if suffix[1:] not in KINDS:
        raise InputError(str(target), "is of no kind that is written here", f"end it in {_endings()}, or name a folder")
    return suffix[1:]


def check_kinds(words: Sequence[str]) -> tuple[str, ...]:
    """Kinds by name, in the order of ``KINDS``; raises ``InputError`` where one is none."""
    for word in words:
        if word not in KINDS:
            raise InputError("--as", f"{word!r} is no kind of file", f"use some of {', '.join(KINDS)}")
    return tuple(kind for kind in KINDS if kind in words)


def check_target(target: Path, kinds: Sequence[str]) -> None:
    """Raise ``InputError`` where files could not be written: before the work, not after it."""
    if kind_of(target) is not None:
        check_path(target, _WHAT)
    elif (target / PLAN_FILE).exists():
        raise InputError(str(target), "is a plan folder, which holds nothing else", "choose another folder with --to")
    elif target.exists() and not target.is_dir():
        raise InputError(str(target), "is a file, not a folder", "choose another folder with --to")
    if "parquet" in kinds:
        check_parquet_can_be_written(target)


def plan_of_zones(plan: Plan, ids: Sequence[int]) -> Plan:
    """The plan with these zones alone, of facets and outlines too.

    Raises
    ------
    InputError
        Where the plan has no such zone.
    """
    known = {zone.id for zone in plan.zones}
    for number in ids:
        if number not in known:
            raise InputError("--zone", f"the plan has no zone {number}", f"it has 1 to {len(known)}")
    record = replace(
        plan.record,
        zones=tuple(zone for zone in plan.zones if zone.id in ids),
        part=replace(plan.record.part, watertight=False),
    )
    facets, outlines = _facets_of(with_parts(plan.facets), ids), plan.outlines
    drawn = None if outlines is None else _outlines_of(outlines, ids)
    return Plan(record, facets, None if drawn is None else lambda: drawn)


def _facets_of(facets: FacetArrays, ids: Sequence[int]) -> FacetArrays:
    own = np.isin(facets.zone, ids)
    kept, corner = np.unique(facets.faces[own], return_inverse=True)
    arrays = {name: array[own] for name, array in facet_fields(facets).items()}
    faces = corner.reshape(-1, 3).astype(np.int32)
    return replace(facets, vertices=facets.vertices[kept], faces=faces, **arrays)  # type: ignore[arg-type]


def _outlines_of(outlines: OutlineArrays, ids: Sequence[int]) -> OutlineArrays:
    own = np.isin(outlines.zone, ids)
    length = np.diff(outlines.starts)
    point = np.repeat(own, length)
    return OutlineArrays(
        points=outlines.points[point],
        starts=np.concatenate([[0], np.cumsum(length[own])]),
        zone=outlines.zone[own],
        kind=outlines.kind[own],
        is_hole=outlines.is_hole[own],
        neighbour=outlines.neighbour[point],
        joint=outlines.joint[point],
    )


def export_file(plan: Plan, target: Path, wanted: Wanted = Wanted()) -> Path:
    """Write one file, of the kind that its name ends in, whole or not at all."""
    kind = kind_of(target)
    if kind is None:
        raise InputError(str(target), "is a folder", f"end it in {_endings()}")
    write_whole(target, _writer(plan, kind, target, wanted), _WHAT)
    return target


def export_folder(plan: Plan, folder: Path, kinds: Sequence[str], wanted: Wanted = Wanted()) -> list[Path]:
    """Write files of these kinds into a folder, under the part's name; those of zones are one file a zone."""
    stem = part_stem(plan.record.part.name)
    written: list[Path] = []
    _make_folder(folder)
    for kind in kinds:
        if kind == "stl":
            _make_folder(folder / _STL_FOLDER)
            for zone in plan.zones:
                target = folder / _STL_FOLDER / f"{zone_stem(zone)}.stl"
                one = replace(plan, record=replace(plan.record, zones=(zone,)))
                written.append(export_file(one, target, wanted))
        elif kind in ("csv", "parquet"):
            written += [
                export_file(plan, folder / f"{stem}-{table}.{kind}", replace(wanted, table=table)) for table in TABLES
            ]
        else:
            written.append(export_file(plan, folder / f"{stem}.{kind}", wanted))
    return written


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise InputError(
            str(folder), f"cannot be made ({fault.strerror or fault})", "choose another folder with --to"
        ) from fault


def _writer(plan: Plan, kind: str, target: Path, wanted: Wanted) -> Callable[[Path], object]:
    """What writes a file of a kind; what it needs is worked out and checked here."""
    if kind in ("dxf", "svg"):
        return _drawing_writer(plan, kind, outlines_to_write(plan, str(target)))
    if kind == "csv":
        text = table_csv(plan, wanted.table)
        return lambda path: path.write_bytes(text.encode("utf-8"))
    if kind == "parquet":
        check_parquet_can_be_written(target)
        return lambda path: save_parquet(plan, wanted.table, path)
    return _mesh_writer(plan, kind, wanted.colour)


def _drawing_writer(plan: Plan, kind: str, outlines: OutlineArrays) -> Callable[[Path], object]:
    if kind == "dxf":
        from advisor.pack.exchange_dxf import save_boundaries

        return lambda path: save_boundaries(plan, outlines, path)
    from advisor.pack.exchange_svg import outlines_svg

    text = outlines_svg(plan, outlines)
    return lambda path: path.write_bytes(text.encode("utf-8"))


def _mesh_writer(plan: Plan, kind: str, colour: ColourMode) -> Callable[[Path], object]:
    from advisor.pack.exchange_3mf import model_bytes
    from advisor.pack.exchange_glb import glb_bytes
    from advisor.pack.exchange_meshes import ply_bytes, save_vtp, stl_bytes

    if kind == "stl":
        return lambda path: path.write_bytes(stl_bytes(plan.facets, plan.zones))
    # numbers of large facets are told of their parts, where a file tells numbers
    told = replace(plan, facets=with_parts(plan.facets)) if kind == "vtp" else drawn_plan(plan, colour)
    colours = colour_map(told, colour)
    if kind == "vtp":
        return lambda path: save_vtp(told, colours, path)
    make = {"ply": ply_bytes, "glb": glb_bytes, "3mf": model_bytes}[kind]
    return lambda path: path.write_bytes(make(told, colours))


def _endings() -> str:
    return ", ".join(f".{kind}" for kind in KINDS)
