"""``report.pdf``: the contents of the page as a PDF, set by typst, which is an optional extra."""

from __future__ import annotations

import json
import re
import tempfile
from dataclasses import asdict
from importlib.resources import as_file, files
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Any, Final

from advisor.errors import needs_extra
from advisor.model import PlanRecord
from advisor.pack.lengths import length_unit
from advisor.pack.report_blocks import Report

# Words longer than any of the language may break anywhere.
_LONG_WORD: Final = re.compile(r"\S{25,}")
_PIECE: Final = re.compile(r".{1,8}")
_BREAK: Final = "\u200b"


def check_can_write_pdf() -> None:
    """Raise ``InputError`` where typst is not installed: before the work, not after it."""
    if find_spec("typst") is None:
        raise needs_extra("--pdf", "typst", "pdf")


def paper_of(record: PlanRecord) -> str:
    """Letter where the job is in inches, else A4, as typst calls them."""
    return "us-letter" if length_unit(record).is_inch else "a4"


def report_pdf(report: Report, paper: str) -> bytes:
    """The PDF of a report. Texts go in as data, so none of them can be taken for markup.

    Raises
    ------
    InputError
        Where typst is not installed.
    """
    check_can_write_pdf()
    import typst

    with (
        tempfile.TemporaryDirectory(prefix="advisor-") as desk,
        as_file(files("advisor.pack").joinpath("fonts")) as fonts,
    ):
        return _compiled(typst, report, paper, Path(desk), fonts)


def _compiled(typst: ModuleType, report: Report, paper: str, desk: Path, fonts: Path) -> bytes:
    names = {name: f"picture-{k}.png" for k, name in enumerate(report.pictures)}
    for name, picture in report.pictures.items():
        (desk / names[name]).write_bytes(picture.png)
    told: dict[str, Any] = {
        "paper": paper,
        "files": names,
        "sizes": {name: (picture.width, picture.height) for name, picture in report.pictures.items()},
        "report": {
            "title": report.title, "told": report.told, "blanks": report.blanks, "note": report.note,
            "foot": report.foot,
            "sections": [asdict(section) for section in report.sections],
        },
    }  # fmt: skip
    (desk / "report.json").write_text(json.dumps(_breakable(told)), encoding="utf-8")
    page = files("advisor.pack").joinpath("report", "page.typ").read_text(encoding="utf-8")
    (desk / "page.typ").write_text(page, encoding="utf-8")
    written: bytes = typst.compile(str(desk / "page.typ"), root=str(desk), font_paths=[str(fonts)])
    return written


def _breakable(told: Any) -> Any:
    """The same data with places to break in words that no line could hold; names of files and pictures have none."""
    if isinstance(told, str):
        return _LONG_WORD.sub(lambda word: _BREAK.join(_PIECE.findall(word[0])), told)
    if isinstance(told, dict):
        return {key: _breakable(value) for key, value in told.items()}
    return [_breakable(value) for value in told] if isinstance(told, list | tuple) else told
