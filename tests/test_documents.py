"""README and tour show what their commands and code print, and their links lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import api_reference
import documented
import pytest
from asked_for import IS_ALL

from advisor.pack import folder

TOP = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize(("name", "commands"), [("README.md", 1), ("docs/tour.md", 3), ("docs/how-to-python.md", 0)])
def test_the_docs_print_what_the_commands_print(name: str, commands: int, monkeypatch: pytest.MonkeyPatch) -> None:
    document = (TOP / name).read_text("utf-8")
    assert len(documented.commands_of(document)) == commands
    if IS_ALL:
        assert documented.renewed(document) == document, f"renew with: python tests/documented.py {name}"
        return
    # Pictures and passes are most of the time. Without them some numbers are others, and one sentence is missing.
    write = folder.write_plan_folder
    monkeypatch.setattr(folder, "write_plan_folder", lambda plan, where, **_: write(plan, where, pictures=False))
    renewed = documented.renewed(document, "--no-passes")
    assert without_passes(renewed) == without_passes(document), f"renew with: python tests/documented.py {name}"


def without_passes(document: str) -> str:
    """The document without what only laid passes tell, and with one number in the place of each."""
    return re.sub(r" *\d[\d.,]*", " 0", re.sub(r"(?m)^.* are wound into a spiral: .*\n", "", document))


@pytest.mark.parametrize("name", ["README.md", *sorted(f"docs/{path.name}" for path in (TOP / "docs").glob("*.md"))])
def test_links_of_the_docs_lead_somewhere(name: str) -> None:
    text = (TOP / name).read_text("utf-8")
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text):
        if "://" not in target:
            assert ((TOP / name).parent / target).exists(), target


def test_the_reference_is_that_of_the_docstrings() -> None:
    told = (TOP / "docs/reference.md").read_text("utf-8")
    assert told == api_reference.reference(), "renew with: python tests/api_reference.py > docs/reference.md"
    assert len(re.findall(r"(?m)^### ", told)) > 60 and "<function" not in told
