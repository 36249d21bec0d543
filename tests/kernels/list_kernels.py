"""Renews ``advisor/kernels/ahead.txt`` from plans of the demo parts: ``python -m tests.kernels.list_kernels``."""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

PARTS = Path(__file__).resolve().parents[2] / "meshes"


def main() -> None:
    """Plan with an empty cache, and write down which kernels are compiled, in that order."""
    from numba.core import event

    from advisor.cli.main import run_for_code
    from advisor.kernels import ahead
    from advisor.kernels.ahead import LIST, line_of

    ahead._MOST_HELPERS = 0  # this process is to compile all

    lines: list[str] = []

    class Listener(event.Listener):
        def on_start(self, told: Any) -> None:
            pass

        def on_end(self, told: Any) -> None:
            # helpers, which are not kept on disk, are compiled with what calls them
            kernel = told.data["dispatcher"]
            if kernel.py_func.__module__.startswith("advisor.kernels.") and kernel.stats.cache_path is not None:
                lines.append(line_of(kernel, told.data["args"]))

    event.register("numba:compile", Listener())
    for part in sys.argv[1:] or sorted(map(str, PARTS.glob("*.stl"))):
        with tempfile.TemporaryDirectory() as folder, contextlib.suppress(SystemExit):
            run_for_code(["plan", part, "--ball", "10 mm", "--cusp", "0.02 mm", "--out", f"{folder}/plan"])
    LIST.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as cache:
        os.environ.setdefault("NUMBA_CACHE_DIR", cache)
        main()
