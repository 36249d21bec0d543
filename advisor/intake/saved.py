"""A plan folder read back into a plan."""

from __future__ import annotations

import zipfile
from dataclasses import fields
from pathlib import Path

import numpy as np

from advisor.errors import InputError
from advisor.model import FacetArrays, Plan, plan_from_json

_REMEDY = "plan the part again"


def read_plan_folder(folder: str | Path) -> Plan:
    """The plan in a folder.

    Raises
    ------
    InputError
        Where a file is missing or damaged.
    """
    folder = Path(folder)
    try:
        record = plan_from_json((folder / "plan.json").read_bytes())
    except OSError as fault:
        raise InputError(str(folder), "holds no plan.json that can be read", _REMEDY) from fault
    except ValueError as fault:  # pydantic's ValidationError is one
        raise InputError(str(folder / "plan.json"), "is no plan of this version", _REMEDY) from fault
    return Plan(record, _read_facets(folder / "facets.npz"))


def _read_facets(path: Path) -> FacetArrays:
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as arrays:
            names = {field.name: field.default is None for field in fields(FacetArrays)}
            # what a plan did not work out is not in its file
            return FacetArrays(
                **{name: arrays[name] for name, is_optional in names.items() if name in arrays or not is_optional}
            )
    except (OSError, EOFError, ValueError, KeyError, zipfile.BadZipFile) as fault:
        raise InputError(str(path), "is missing or damaged", _REMEDY) from fault
