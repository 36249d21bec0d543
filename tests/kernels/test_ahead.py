"""What a first run compiles on further cores: the list is right, holds all that a plan needs, and helpers end."""

from __future__ import annotations

import inspect
import os
import subprocess
import sys
from pathlib import Path

from advisor.kernels.ahead import LIST, line_of, listed

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
        if isinstance(kernel, Dispatcher) and kernel.py_func.__module__.endswith(f".{found.name}"):
            for arguments in {*kernel.stats.cache_hits, *kernel.stats.cache_misses}:
                print(line_of(kernel, arguments))
"""
_ONE = "from advisor.kernels import ahead; import pathlib, sys; ahead.LIST = pathlib.Path(sys.argv[1]); "
_COMPILED = _ONE + "ahead.listed.__defaults__ = (ahead.LIST,); ahead._compile_share(0, 1)"


def test_every_line_tells_a_kernel_and_as_many_types_as_it_takes() -> None:
    lines = LIST.read_text(encoding="utf-8").splitlines()
    told = list(listed())
    assert [line_of(*one) for one in told] == lines
    assert all(len(inspect.signature(kernel.py_func).parameters) == len(types) for kernel, types in told)


def test_no_kernel_is_compiled_for_two_sets_of_types() -> None:
    names = [line.split()[0] for line in LIST.read_text(encoding="utf-8").splitlines()]
    assert sorted(names) == sorted(set(names))


def test_a_plan_needs_no_kernel_that_is_not_listed(tmp_path: Path, demo_parts: Path) -> None:
    words = [str(demo_parts / "paddle_blade.stl"), "--ball", "10 mm", "--cusp", "0.1 mm", "--out", str(tmp_path / "p")]
    ran = subprocess.run([sys.executable, "-c", _PLANNED, *words], check=True, capture_output=True, text=True)
    needed = {line for line in ran.stdout.splitlines() if line.partition(" ")[0] in _entries()}
    assert len(needed) > 80
    assert needed - set(LIST.read_text(encoding="utf-8").splitlines()) == set()


def _entries() -> set[str]:
    """Kernels that are kept on disk: helpers are compiled with them."""
    return {line_of(kernel, ()) for kernel, _ in listed()}


def test_a_helper_compiles_what_is_listed_and_ends_with_its_parent(tmp_path: Path) -> None:
    one = tmp_path / "list.txt"
    one.write_text("morton.interleaved int64[2] int64\nno.such_kernel\n", encoding="utf-8")
    words = [sys.executable, "-c", _COMPILED, str(one)]
    subprocess.run(words, check=True, env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}, stdin=subprocess.PIPE)
    helper = subprocess.Popen(
        [sys.executable, "-m", "advisor.kernels.ahead", "0", "1"],
        stdin=subprocess.PIPE,
        env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)},
    )
    assert helper.stdin is not None
    helper.stdin.close()
    assert helper.wait(timeout=60) == 0
    assert list(tmp_path.rglob("morton.interleaved-*.nbi"))
