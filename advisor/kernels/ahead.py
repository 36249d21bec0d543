"""Kernels compiled ahead: on the first run further processes compile what this one will need, from the far end.

A compiler of kernels works on one at a time in a process, so a first run would use one core. Whoever comes to a kernel
first compiles it into the cache that all share; the other one reads it there. What is computed is the same either way.
"""

from __future__ import annotations

import atexit
import contextlib
import functools
import gc
import importlib
import os
import re
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

from numba import config, types
from numba.core import event

# Kernels in the order in which a plan needs them, with the types of their arguments; see DEVELOPERS.md.
LIST = Path(__file__).with_name("ahead.txt")
# More would get in each other's way at the end of the list, and take 300 MB each.
_MOST_HELPERS = 3
_ARRAY = re.compile(r"(\w+)\[(\d)(r?)\]")


@functools.cache
def compile_ahead() -> None:
    """Have other processes compile kernels as soon as this one comes to one that it must compile."""
    if _helpers() > 0 and not config.DISABLE_JIT:  # type: ignore[attr-defined]
        event.register("numba:compile", _OnFirstCompile())  # type: ignore[no-untyped-call]


class _OnFirstCompile(event.Listener):  # listeners are classes there
    def on_start(self, event_: Any) -> None:
        event.unregister("numba:compile", self)  # type: ignore[no-untyped-call]
        for number in range(_helpers()):
            with contextlib.suppress(OSError):  # whoever cannot start another process compiles alone
                _start(number)

    def on_end(self, event_: Any) -> None:
        pass


def _helpers() -> int:
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores - 1, _MOST_HELPERS)


def _start(number: int) -> None:
    # -P: what lies in the user's folder is not this package
    words = [sys.executable, "-P", "-m", "advisor.kernels.ahead", str(number), str(_helpers())]
    nothing = subprocess.DEVNULL
    # its input is a pipe from this process, which closes however this one ends
    helper = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=nothing, stderr=nothing)
    atexit.register(helper.kill)


def listed() -> list[str]:
    """The lines of the list."""
    return LIST.read_text(encoding="utf-8").splitlines()


def kernel_of(line: str) -> tuple[Any, tuple[Any, ...]]:
    """The kernel that a line of the list tells, and the types to compile it for."""
    name, *arguments = line.split()
    module, _, function = name.partition(".")
    kernel = getattr(importlib.import_module(f"advisor.kernels.{module}"), function)
    return getattr(kernel, "compiled", kernel), tuple(_type_of(word) for word in arguments)


def line_of(kernel: Any, arguments: tuple[Any, ...]) -> str:
    """A kernel and the types of its arguments as a line of the list."""
    module = kernel.py_func.__module__.rpartition(".")[2]
    return " ".join([f"{module}.{kernel.py_func.__name__}", *(_word_of(given) for given in arguments)])


def _word_of(given: Any) -> str:
    if not isinstance(given, types.Array):
        return str(given)
    if given.layout != "C":
        raise ValueError(f"an array that does not lie in one piece: {given}")
    return f"{given.dtype}[{given.ndim}{'' if given.mutable else 'r'}]"


def _type_of(word: str) -> Any:
    found = _ARRAY.fullmatch(word)
    if found is None:
        return _named_type(word)
    dtype, dimensions, is_read_only = found.groups()
    return types.Array(_named_type(dtype), int(dimensions), "C", readonly=bool(is_read_only))


def _named_type(name: str) -> Any:
    """A plain number's type; what ``bool`` is called all versions of numba agree on under another name."""
    return types.boolean if name == "bool" else getattr(types, name)


def _end_with_parent() -> None:
    sys.stdin.read()
    os._exit(0)


def _compile_share(number: int, helpers: int) -> None:
    threading.Thread(target=_end_with_parent, daemon=True).start()
    gc.disable()  # what a compiler leaves behind is needed to the end
    for line in listed()[::-1][number::helpers]:
        # a fault shows where the kernel is called
        with contextlib.suppress(Exception):
            kernel, arguments = kernel_of(line)
            kernel.compile(arguments)


if __name__ == "__main__":
    _compile_share(int(sys.argv[1]), int(sys.argv[2]))
