"""Compiled kernels find a place to be kept in, whoever runs the program and whatever can be written."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from advisor.kernels import room


def test_the_first_folder_that_is_the_users_own_is_taken(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    assert room.room_in([tmp_path / "file" / "no folder", tmp_path / "a" / "b", tmp_path / "c"]) == tmp_path / "a" / "b"
    if os.name != "nt":
        assert (tmp_path / "a" / "b").stat().st_mode & 0o077 == 0


@pytest.mark.skipif(os.name == "nt", reason="folders of Windows users are kept apart by the system")
def test_a_folder_that_others_may_write_to_is_none(tmp_path: Path) -> None:
    open_to_all = tmp_path / "open"
    open_to_all.mkdir()
    open_to_all.chmod(0o777)
    taken = room.room_in([open_to_all])
    assert taken != open_to_all and taken.stat().st_mode & 0o077 == 0
    taken.rmdir()


def test_where_nothing_can_be_kept_a_kernel_runs_all_the_same_and_nothing_stays() -> None:
    """A process that finds no place beside the sources, nor in the user's folders."""
    lines = """
import os
from pathlib import Path
import numpy as np
from advisor.kernels import room
room.is_writable = lambda folder: False
room._user_folders = lambda: [Path("nowhere")]
room.find_room()
from advisor.kernels.quantiles import weighted_quantiles
print(weighted_quantiles(np.arange(5.0), np.ones(5), np.array([0.5]))[0])
print(os.environ["NUMBA_CACHE_DIR"])
"""
    told = subprocess.run(
        [sys.executable, "-c", lines], check=True, capture_output=True, text=True,
        env={name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"},
    ).stdout.splitlines()  # fmt: skip
    assert float(told[0]) == 2.0
    assert Path(told[1]).name.startswith("advisor-kernels-") and not Path(told[1]).exists()
