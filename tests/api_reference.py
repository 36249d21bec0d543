"""The reference of the Python interface, from its docstrings: ``python tests/api_reference.py > docs/reference.md``."""

from __future__ import annotations

import dataclasses
import inspect
import re
import sys
from collections.abc import Iterator
from types import ModuleType
from typing import Any

import advisor
from advisor import errors, job, model
from advisor.advice import session, what_if_records
from advisor.intake import door as intake_door
from advisor.notebook import door, frames
from advisor.revision import records as revision_records

HEAD = """# Python reference

Built from the docstrings by `python tests/api_reference.py`; a test holds it to them. Names that are not here may
change without notice. Lengths are mm, angles degrees, areas mm2, unless a name says otherwise; `None` is "not known".
Records are frozen, their arrays read-only. [How to use it](how-to-python.md) has examples, [Files](file-formats.md)
what of it is in which file.
"""
# A heading, and what stands under it: from these modules, in this order.
CHAPTERS: tuple[tuple[str, tuple[Any, ...]], ...] = (
    ("Functions", (
        advisor.read_part, intake_door.plan, advisor.read_plan, intake_door.what_if, advisor.compare, advisor.session,
    )),
    ("What they give", (
        door.PlanView, frames.Tables, door.WhatIfView, door.ComparisonView, session.Session, errors.InputError,
    )),
    ("A plan's record", (model,)),
    ("What if", (what_if_records,)),
    ("Comparisons", (revision_records,)),
    ("The job", (job,)),
)  # fmt: skip
_LONG_LINE = 110
_SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)


def reference() -> str:
    """All of it, as Markdown."""
    told: set[str] = set()
    lines = [HEAD]
    for title, homes in CHAPTERS:
        lines += [f"## {title}", ""]
        for one in homes:
            things = _public(one) if isinstance(one, ModuleType) else [one]
            for thing in things:
                if thing.__qualname__ not in told:
                    told.add(thing.__qualname__)
                    lines += _told(thing)
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines)).rstrip() + "\n"


def _public(module: ModuleType) -> list[Any]:
    """Public classes and functions of a module, in the order in which they stand there or in its ``__all__``."""
    names = getattr(module, "__all__", None) or [name for name in vars(module) if not name.startswith("_")]
    found = [getattr(module, name) for name in names]
    package = module.__name__.split(".")[0]
    return [
        thing for thing in found
        if (inspect.isclass(thing) or inspect.isfunction(thing)) and thing.__module__.startswith(package)
        and (hasattr(module, "__all__") or thing.__module__ == module.__name__)
    ]  # fmt: skip


def _told(thing: Any) -> list[str]:
    name = thing.__qualname__
    if thing.__module__ == door.__name__ and name.endswith("View"):
        name = f"{name.removesuffix('View')}, with what it gives in a notebook"
    if inspect.isclass(thing):
        return [f"### {name}", "", *_text(inspect.getdoc(thing) or ""), *_fields(thing), *_methods(thing), ""]
    return [f"### {name}", "", *_signature(thing, thing.__name__), *_text(inspect.getdoc(thing) or ""), ""]


def _signature(function: Any, name: str) -> list[str]:
    """A call as it may be written, an argument a line where it is long."""
    signature = inspect.signature(function)
    arguments = [_plain(argument) for argument in _with_star(signature) if argument != "self"]
    result = _plain(signature.return_annotation)
    line = f"{name}({', '.join(arguments)}) -> {result}"
    if len(line) > _LONG_LINE:
        line = "\n    ".join([f"{name}(", *(f"{argument}," for argument in arguments)]) + f"\n) -> {result}"
    return ["```python", line, "```", ""]


def _plain(words: str) -> str:
    """An argument without what annotations as text leave around it, and without where in memory a default lies."""
    return re.sub(r"<function (\w+) at \w+>", r"\1", re.sub(r"(^|: )'([^']*)'", r"\1\2", words))


def _with_star(signature: inspect.Signature) -> Iterator[str]:
    starred = False
    for parameter in signature.parameters.values():
        if parameter.kind is parameter.KEYWORD_ONLY and not starred:
            starred = True
            yield "*"
        starred |= parameter.kind is parameter.VAR_POSITIONAL
        yield str(parameter)


def _fields(thing: Any) -> list[str]:
    """Fields that the docstring does not list by itself."""
    listed = "Attributes\n-" in (inspect.getdoc(thing) or "")
    if listed or not (dataclasses.is_dataclass(thing) or hasattr(thing, "model_fields")):
        return []
    own = inspect.get_annotations(thing)
    rows = [f"- `{name}` : `{kind if isinstance(kind, str) else inspect.formatannotation(kind)}`"
            for name, kind in own.items() if not name.startswith("_") and "ClassVar" not in str(kind)]  # fmt: skip
    return [*rows, ""] if rows else []


def _methods(thing: Any) -> list[str]:
    lines: list[str] = []
    for name, member in vars(thing).items():
        plain = member.__func__ if isinstance(member, classmethod | staticmethod) else member
        function = getattr(plain, "fget", None) or getattr(plain, "func", None) or plain
        if name.startswith("_") or not inspect.isfunction(function) or not function.__doc__:
            continue
        if function is not plain:  # a property
            kind = inspect.signature(function).return_annotation
            lines += [f"#### .{name} : {kind}", "", *_text(inspect.getdoc(function) or "")]
        else:
            lines += [f"#### .{name}", "", *_signature(function, f".{name}"), *_text(inspect.getdoc(function) or "")]
    return lines


def _text(docstring: str) -> list[str]:
    """A docstring as Markdown: its sections as words in bold, their entries as lists."""
    pieces = _SECTION.split(docstring.replace("``", "`"))
    lines = [pieces[0].strip(), ""]
    for title, body in zip(pieces[1::2], pieces[2::2], strict=True):
        lines += [f"**{title}**", "", *_entries(body), ""]
    return lines


def _entries(body: str) -> Iterator[str]:
    for line in inspect.cleandoc(body).splitlines():
        if not line.strip():
            continue
        yield f"  {line.strip()}" if line.startswith(" ") else f"- **{line}**" if " : " not in line else _named(line)


def _named(line: str) -> str:
    name, kind = line.split(" : ", 1)
    return f"- `{name}` : {kind}"


def main() -> None:
    """Print it."""
    sys.stdout.buffer.write(reference().encode())


if __name__ == "__main__":
    main()
