"""`advisor export`: files of a plan for other programs, from its folder, without planning again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli import options
from advisor.errors import InputError

if TYPE_CHECKING:
    from advisor.model import Plan
    from advisor.pack.exchange_tables import TableName


def export(
    plan: Annotated[Path, typer.Argument(metavar="PLAN", help="Plan folder, or the plan.json in it.")],
    *,
    to: Annotated[
        Path,
        typer.Option(
            "--to",
            metavar="FILE_OR_FOLDER",
            help="A file: its ending says the kind (dxf, svg, stl, glb, ply, 3mf, vtp, csv, parquet). "
            "A folder gets one of every kind.",
        ),
    ],
    kinds: Annotated[
        str | None, typer.Option("--as", metavar="KIND,KIND", help="Kinds to write into a folder, such as stl,dxf.")
    ] = None,
    zone: Annotated[
        list[int] | None, typer.Option("--zone", metavar="N", help="Only this zone; may be given several times.")
    ] = None,
    colour: Annotated[
        str, typer.Option("--colour", metavar="NAME", help="Colours of meshes: zone, class, strategy, reach, ...")
    ] = "zone",
    table: Annotated[
        str,
        typer.Option("--table", metavar="NAME", help="Table of a CSV or Parquet file: zones, candidates or facets."),
    ] = "zones",
    as_json: options.AsJson = False,
    quiet: options.Quiet = False,
) -> None:
    """Zone outlines as drawings, zones as coloured meshes, and tables, for other programs. All are in mm.

    STL files of a folder are one a zone; 3MF, PLY, GLB and VTP hold all zones, each in its colour.
    """
    from advisor.cli.view import colour_mode
    from advisor.pack import exchange
    from advisor.pack.maps import check_can_colour

    mode = colour_mode(colour)
    kind = exchange.kind_of(to)
    if kind is not None and kinds is not None:
        raise InputError("--as", f"says again what the name {to.name} says", "leave it out, or name a folder with --to")
    asked = exchange.check_kinds(kinds.replace(" ", "").split(",")) if kinds is not None else exchange.KINDS
    wanted = exchange.Wanted(mode, _table(table))
    exchange.check_target(to, () if kinds is None else asked)
    made = _saved(plan, zone or [])
    check_can_colour(made, mode)
    if kind is not None:
        written = [exchange.export_file(made, to, wanted)]
    else:
        written = exchange.export_folder(made, to, asked if kinds else _writable(to, quiet=quiet), wanted)
    if as_json:
        typer.echo(json.dumps({"files": [str(path) for path in written]}))
    if not quiet:
        typer.echo(f"Written: {written[0] if kind else f'{len(written)} files in {to}'}", err=True)


def _saved(path: Path, zones: list[int]) -> Plan:
    from advisor.intake.saved import read_plan_folder
    from advisor.model import PLAN_FILE
    from advisor.pack.exchange import plan_of_zones

    folder = path.parent if path.name == PLAN_FILE else path
    if not (folder / PLAN_FILE).is_file():
        raise InputError(str(path), "is no plan folder", "plan the part first: advisor plan PART --out DIR")
    told = read_plan_folder(folder)
    return plan_of_zones(told, zones) if zones else told


def _table(words: str) -> TableName:
    from advisor.pack.exchange_tables import TABLES

    for name in TABLES:
        if name == words:
            return name
    raise InputError("--table", f"{words!r} is no table of a plan", f"use one of {', '.join(TABLES)}")


def _writable(folder: Path, *, quiet: bool) -> tuple[str, ...]:
    """Kinds that can be written here: those left out are told of."""
    from advisor.pack.exchange import KINDS
    from advisor.pack.exchange_tables import check_parquet_can_be_written

    try:
        check_parquet_can_be_written(folder)
    except InputError as fault:
        if not quiet:
            typer.echo(f"note: no Parquet files: {fault.problem}; {fault.remedy}", err=True)
        return tuple(kind for kind in KINDS if kind != "parquet")
    return KINDS
