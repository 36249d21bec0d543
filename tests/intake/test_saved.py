"""Array files of a plan that are damaged in ways that their readers stumble over: one line each."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest
import solids

import advisor
from advisor.errors import InputError
from advisor.pack.folder import write_plan_folder

HEADS = {
    "a head that is no Python": b"{'descr': ('<f8', (",
    "a head without a shape": b"{'descr': '<f8', 'fortran_order': False}",
    "a type that nobody knows": b"{'descr': '<q99', 'fortran_order': False, 'shape': (3,)}",
    "more than there is": b"{'descr': '<f8', 'fortran_order': False, 'shape': (99999999999,)}",
    "a size below nothing": b"{'descr': '<f8', 'fortran_order': False, 'shape': (-1, 3)}",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("saved")
    (base / "part.stl").write_bytes(solids.to_stl_bytes(*solids.wedge(20.0)))
    made = advisor.plan(base / "part.stl", ball="6 mm", only_zones=True)
    write_plan_folder(made, base / "plan", pictures=False)
    return base / "plan"


@pytest.mark.parametrize("name", HEADS)
def test_a_damaged_head_is_one_line(name: str, folder: Path) -> None:
    whole = (folder / "facets.npz").read_bytes()
    with zipfile.ZipFile(io.BytesIO(whole)) as packed:
        entries = {entry: packed.read(entry) for entry in packed.namelist()}
    head = HEADS[name].ljust(118) + b"\n"
    entries["slope_deg.npy"] = np.lib.format.magic(1, 0) + len(head).to_bytes(2, "little") + head + b"\0" * 64
    try:
        with zipfile.ZipFile(folder / "facets.npz", "w") as packed:
            for entry, data in entries.items():
                packed.writestr(entry, data)
        with pytest.raises(InputError, match=r"facets\.npz: is (missing or )?damaged.*plan the part again"):
            advisor.read_plan(folder)
    finally:
        (folder / "facets.npz").write_bytes(whole)
    assert advisor.read_plan(folder).zones
