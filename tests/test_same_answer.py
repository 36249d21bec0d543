"""One part, one answer: whatever the number of threads, and however its facets and vertices are ordered in the file."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import solids
from asked_for import few_of
from folders import folder_bytes
from labelled_parts import bowl_plate

import advisor
from advisor.model import Plan
from advisor.pack.folder import write_plan_folder

# The digest of the file, which another order changes, and when it was read.
_OF_THE_FILE = re.compile(rb'"created": "[^"]*"|\b[0-9a-f]{64}\b')


def pocketed(file: Path, seed: int | None) -> Path:
    part = bowl_plate(0.1)
    mesh = (part.vertices, part.faces)
    file.write_bytes(solids.to_stl_bytes(*(mesh if seed is None else solids.permuted(*mesh, seed))))
    return file


def planned(file: Path) -> Plan:
    return advisor.plan(file, unit="mm", ball="8 mm", cusp="0.05 mm", material="Ti-6Al-4V", lays_passes=True)


def contents(plan: Plan, folder: Path) -> dict[str, bytes]:
    write_plan_folder(plan, folder)
    return {name: _OF_THE_FILE.sub(b"", data) for name, data in folder_bytes(folder).items()}


@pytest.fixture(scope="module")
def straight(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, dict[str, bytes]]:
    root = tmp_path_factory.mktemp("straight")
    plan = planned(pocketed(root / "part.stl", None))
    assert plan.passes is not None and len(plan.zones) > 5
    return plan, contents(plan, root / "plan")


@pytest.mark.parametrize(
    ("threads", "seed"),
    few_of([(3, 1)], [(1, None), (2, None), (2, None), (3, None), (4, None), (2, 1), (2, 2), (2, 3)]),
)
def test_neither_threads_nor_the_order_of_facets_show_in_any_byte(
    straight: tuple[Plan, dict[str, bytes]],
    threads: int,
    seed: int | None,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Zones, numbers, passes, pictures, report: but for the digest of the file all is what it was."""
    monkeypatch.setattr("os.cpu_count", lambda: threads)
    monkeypatch.delenv("NUMBA_NUM_THREADS", raising=False)
    here = contents(planned(pocketed(tmp_path / "part.stl", seed)), tmp_path / "plan")
    assert set(here) == set(straight[1])
    assert [name for name, data in here.items() if data != straight[1][name]] == []


def test_a_part_whose_facets_are_otherwise_ordered_is_another_file(tmp_path: Path) -> None:
    one, other = (pocketed(tmp_path / f"{seed}.stl", seed) for seed in (1, 2))
    assert one.read_bytes() != other.read_bytes()
    assert np.isclose(*(advisor.read_part(file, unit="mm").record.area_mm2 for file in (one, other)), rtol=1e-12)
