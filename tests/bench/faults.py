"""Faults put into modules one by one, and whether a test sees each: ``python -m tests.bench.faults NAME [count]``.

NAME is a package of ``advisor`` with a folder of tests of that name, such as ``cutter``; `count` faults, 60 where not
given, are drawn from all that can be made of it, always the same ones. Each goes into a clone of the last commit, where
those tests are run that come to its line: a run of them all under ``coverage`` and ``pytest-cov`` (to be installed
beside) tells which. What no test sees is printed, for a person to look at: some faults change nothing.
"""

from __future__ import annotations

import ast
import os
import random
import subprocess
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parents[2]
FAULTS, CLONES = 60, 2
# A fault may make a loop endless: what takes longer than this was seen.
_MOST_S = 300
_SWAPS: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or, ast.Or: ast.And,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
_NAMES = {
    "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "sin": "cos", "cos": "sin", "any": "all",
    "all": "any", "floor": "ceil", "ceil": "floor", "argmin": "argmax", "argmax": "argmin",
}  # fmt: skip
_RUN = (sys.executable, "-P", "-m", "pytest", "-q", "-p", "no:cacheprovider")


class Fault(NamedTuple):
    """A change of one place of a module: how it reads, and the module with it."""

    module: str
    line: int
    words: str
    text: str


def faults_of(module: str) -> list[Fault]:
    """All faults that can be put into a module."""
    text = (ROOT / module).read_text(encoding="utf-8")
    faults = []
    for number in range(len(_places(ast.parse(text)))):
        tree = ast.parse(text)
        node, change = _places(tree)[number]
        line, before = node.lineno, ast.unparse(node)
        change()
        faults.append(Fault(module, line, f"{before}  ->  {ast.unparse(node)}", ast.unparse(tree)))
    return faults


def _places(tree: ast.AST) -> list[tuple[Any, Callable[[], None]]]:
    """Nodes in which a fault can be, with what makes it; notes on types are none."""
    notes = {id(part) for node in ast.walk(tree) for note in _notes(node) for part in ast.walk(note)}
    found = ((node, _change_of(node)) for node in ast.walk(tree) if id(node) not in notes)
    return [(node, change) for node, change in found if change is not None]


def _notes(node: ast.AST) -> list[ast.AST]:
    told = [getattr(node, name, None) for name in ("annotation", "returns")]
    return [note for note in told if isinstance(note, ast.AST)]


def _change_of(node: Any) -> Callable[[], None] | None:
    match node:
        case ast.Compare() if type(node.ops[0]) in _SWAPS:
            return lambda: node.ops.__setitem__(0, _SWAPS[type(node.ops[0])]())
        case ast.BinOp() | ast.BoolOp() | ast.AugAssign() if type(node.op) in _SWAPS:
            return lambda: setattr(node, "op", _SWAPS[type(node.op)]())
        case ast.UnaryOp(op=ast.USub() | ast.Invert()):
            return lambda: setattr(node, "op", ast.UAdd())
        case ast.Attribute() if node.attr in _NAMES:
            return lambda: setattr(node, "attr", _NAMES[node.attr])
        case ast.Name() if node.id in _NAMES:
            return lambda: setattr(node, "id", _NAMES[node.id])
        case ast.Constant(value=float() as value):
            return lambda: setattr(node, "value", value * 1.5 if value else 1.0)
        case ast.Constant(value=bool() as value):
            return lambda: setattr(node, "value", not value)
        case ast.Constant(value=int() as value):
            return lambda: setattr(node, "value", value + 1)
    return None


def tests_by_line(clone: Path, name: str) -> dict[tuple[str, int], list[str]]:
    """Tests of a package by the lines of it that they come to."""
    import coverage

    asked = [*_RUN, f"tests/{name}", "-n", str(CLONES), f"--cov=advisor/{name}", "--cov-context=test", "--cov-report="]
    subprocess.run(asked, cwd=clone, env=_environment(clone), check=True, stdout=subprocess.DEVNULL)
    told = coverage.CoverageData(str(clone / ".coverage"))
    told.read()
    return {
        (Path(path).relative_to(clone).as_posix(), line): sorted({c.partition("|")[0] for c in contexts if c})
        for path in told.measured_files()
        for line, contexts in told.contexts_by_lineno(path).items()
    }


def is_seen(clone: Path, fault: Fault, tests: list[str]) -> bool:
    """Whether one of the tests fails, or does not end, with the fault in place."""
    module = clone / fault.module
    own = module.read_text(encoding="utf-8")
    module.write_text(fault.text, encoding="utf-8")
    try:
        ended = subprocess.run(
            [*_RUN, "-x", *tests], cwd=clone, env=_environment(clone), timeout=_MOST_S, check=False,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        return ended.returncode != 0
    except subprocess.TimeoutExpired:
        return True
    finally:
        module.write_text(own, encoding="utf-8")


def _environment(clone: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(clone), "NUMBA_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"}


def main(name: str, count: int = FAULTS) -> None:
    """Print what no test sees, and how many were seen."""
    modules = sorted((ROOT / "advisor" / name).glob("*.py"))
    every = [fault for module in modules for fault in faults_of(module.relative_to(ROOT).as_posix())]
    faults = random.Random(0).sample(every, min(count, len(every)))
    with tempfile.TemporaryDirectory() as folder:
        clones: Queue[Path] = Queue()
        for number in range(CLONES):
            clone = Path(folder).resolve() / str(number)
            subprocess.run(["git", "clone", "--quiet", str(ROOT), str(clone)], check=True)
            clones.put(clone)
        tests = tests_by_line(clone, name)
        # what is run when a module is read, such as its constants, no test comes to by itself
        of_module: dict[str, list[str]] = {}
        for (module, _), own in tests.items():
            of_module[module] = sorted({*of_module.get(module, ()), *own})

        def is_missed(fault: Fault) -> bool:
            own = clones.get()
            try:
                asked = tests.get((fault.module, fault.line)) or of_module.get(fault.module, [])
                missed = not asked or not is_seen(own, fault, asked)
            finally:
                clones.put(own)
            if missed:
                print(f"{fault.module}:{fault.line}  {fault.words}  ({len(asked)} tests)", flush=True)
            return missed

        with ThreadPoolExecutor(CLONES) as pool:
            missed = sum(pool.map(is_missed, faults))
    print(f"advisor/{name}: {len(faults) - missed} of {len(faults)} faults seen, drawn from {len(every)}")


if __name__ == "__main__":
    main(sys.argv[1], *(int(count) for count in sys.argv[2:]))
