"""What a first run compiles on further cores: the list is right, holds all that a plan needs, and helpers end."""

from __future__ import annotations

import inspect
import subprocess
import sys
from pathlib import Path

import solids

from advisor.kernels.ahead import kernel_of, line_of, listed

# Plans a part, and prints the kernels that were called and with what.
_PLANNED = """
import importlib, pkgutil, sys
from numba.core.dispatcher import Dispatcher
import advisor.kernels
from advisor.cli.main import run_for_code
from advisor.kernels.ahead import line_of
assert run_for_code(["plan", *sys.argv[1:], "--quiet"]) == 0
for found in pkgutil.iter_modules(advisor.kernels.__path__):
    for kernel in vars(importlib.import_module(f"advisor.kernels.{found.name}")).values():
        kernel = getattr(kernel, "compiled", kernel)
        # helpers, which are not kept on disk, are compiled with what calls them
        if isinstance(kernel, Dispatcher) and kernel.stats.cache_path is not None:
            for arguments in {*kernel.stats.cache_hits, *kernel.stats.cache_misses}:
                print(line_of(kernel, arguments))
"""
# Does what a helper does, with a list of its own, and tells what was compiled.
_COMPILED = """
import pathlib, sys
from advisor.kernels import ahead, morton
ahead.LIST = pathlib.Path(sys.argv[1])
ahead._compile_share(0, 1)
print(len(morton.interleaved.signatures), flush=True)
"""


def test_every_line_tells_a_kernel_and_as_many_types_as_it_takes() -> None:
    told = [kernel_of(line) for line in listed()]
    assert [line_of(*one) for one in told] == listed()
    assert all(len(inspect.signature(kernel.py_func).parameters) == len(types) for kernel, types in told)


def test_no_kernel_is_compiled_for_two_sets_of_types() -> None:
    names = [line.split()[0] for line in listed()]
    assert sorted(names) == sorted(set(names))


def test_a_plan_needs_no_kernel_that_is_not_listed(tmp_path: Path) -> None:
    part = tmp_path / "pocket.stl"
    part.write_bytes(solids.to_stl_bytes(*solids.round_pocket(chord_error_mm=0.05)))
    words = [str(part), "--ball", "6 mm", "--cusp", "0.05 mm", "--out", str(tmp_path / "p")]
    ran = subprocess.run([sys.executable, "-c", _PLANNED, *words], check=True, capture_output=True, text=True)
    needed = set(ran.stdout.splitlines())
    assert len(needed) > 80
    assert needed - set(listed()) == set()


def test_a_helper_compiles_what_is_listed_and_passes_over_faults(tmp_path: Path) -> None:
    own = tmp_path / "list.txt"
    own.write_text("morton.interleaved int64[2] int64\nmorton.interleaved no_type\n", encoding="utf-8")
    words = [sys.executable, "-c", _COMPILED, str(own)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as helper:
        assert helper.stdout is not None
        assert helper.stdout.read().strip() == "1"


def test_a_helper_ends_with_its_parent() -> None:
    words = [sys.executable, "-m", "advisor.kernels.ahead", "0", "1"]
    with subprocess.Popen(words, stdin=subprocess.PIPE) as helper:
        assert helper.stdin is not None
        helper.stdin.close()
        assert helper.wait(timeout=60) == 0
