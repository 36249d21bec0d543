"""README and tour show what their commands and code print, and their links lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import documented
import pytest

TOP = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize(("name", "commands"), [("README.md", 1), ("docs/tour.md", 3), ("docs/how-to-python.md", 0)])
def test_the_docs_print_what_the_commands_print(name: str, commands: int) -> None:
    document = (TOP / name).read_text("utf-8")
    assert len(documented.commands_of(document)) == commands
    assert documented.renewed(document) == document, f"renew with: python tests/documented.py {name}"


@pytest.mark.parametrize("name", ["README.md", *sorted(f"docs/{path.name}" for path in (TOP / "docs").glob("*.md"))])
def test_links_of_the_docs_lead_somewhere(name: str) -> None:
    text = (TOP / name).read_text("utf-8")
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text):
        if "://" not in target:
            assert ((TOP / name).parent / target).exists(), target
