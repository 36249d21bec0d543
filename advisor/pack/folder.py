"""The plan folder: written beside its place and renamed, so that it is whole or not there."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path

import numpy as np

from advisor.advice.setups import plan_of_setup
from advisor.errors import InputError
from advisor.model import PLAN_FILE, FacetArrays, OutlineArrays, PassArrays, Plan
from advisor.pack.candidates_csv import candidates_csv
from advisor.pack.tables import zones_csv

REPORT_PAGE = "report.html"
REPORT_PDF = "report.pdf"
# All that a plan folder may hold: only such a folder is replaced.
_MOST_SETUPS = 12
_MORE_MAPS = tuple(f"zone_map_{number}.png" for number in range(2, _MOST_SETUPS + 1))
PLAN_FILES = frozenset(
    {
        PLAN_FILE, "zones.csv", "candidates.csv", "facets.npz", "outlines.npz", "passes.npz", "candidates.png",
        "zone_map.png", "boundaries.dxf", *_MORE_MAPS, REPORT_PAGE, REPORT_PDF,
    }
)  # fmt: skip
_HEAD_BYTES = 200
_REMEDY = "choose another folder with --out, or free the place"


def write_plan_folder(
    plan: Plan, folder: str | Path, *, pictures: bool = True, report: bool | None = None, pdf: bool = False
) -> Path:
    """Write ``plan.json``, its tables and arrays and, where asked, pictures and the report.

    A plan that stops after the zones has no candidates to write of. An earlier plan in the same place is
    replaced; anything else there is left alone.

    Parameters
    ----------
    plan : Plan
    folder : str or Path
    pictures : bool
        Draw ``zone_map.png`` and ``candidates.png``.
    report : bool, optional
        Write ``report.html``; left out, where pictures are drawn.
    pdf : bool
        Write ``report.pdf`` as well.

    Raises
    ------
    InputError
        Where the folder cannot be written, or holds something that is no plan; where a PDF is asked for and
        what sets it is not installed.
    """
    folder = Path(folder)
    check_free_for_plan(folder)
    # pictures leave the interpreter free for much of their time
    with _whole_folder(folder) as desk, ThreadPoolExecutor(1) as aside:
        data = aside.submit(_write_data, plan, desk)
        if pictures:
            _draw_maps(plan, desk)
            if _has_candidates(plan):
                from advisor.pack.candidates_plot import save_candidates_plot

                save_candidates_plot(plan.record, desk / "candidates.png")
        _write_reports(plan, desk, page=pictures if report is None else report, pdf=pdf)
        data.result()
    return folder


def _has_candidates(plan: Plan) -> bool:
    return any(zone.candidates for zone in plan.zones)


def _write_data(plan: Plan, desk: Path) -> None:
    """Write the plan, its tables, arrays and drawing."""
    (desk / PLAN_FILE).write_text(plan.to_json(), encoding="utf-8", newline="\n")
    (desk / "zones.csv").write_text(zones_csv(plan.record), encoding="utf-8", newline="\n")
    if _has_candidates(plan):
        (desk / "candidates.csv").write_text(candidates_csv(plan.record), encoding="utf-8", newline="\n")
    _write_arrays(plan.facets, desk / "facets.npz")
    if plan.outlines is not None:
        from advisor.pack.exchange_dxf import save_boundaries

        _write_arrays(plan.outlines, desk / "outlines.npz")
        save_boundaries(plan, plan.outlines, desk / "boundaries.dxf")
    if plan.passes is not None:
        _write_arrays(plan.passes, desk / "passes.npz")


def _write_reports(plan: Plan, desk: Path, *, page: bool, pdf: bool) -> None:
    """Write the report as a page, as a PDF, or both, from pictures that are drawn once."""
    if not (page or pdf):
        return
    from advisor.pack.report_contents import report_of
    from advisor.pack.report_pictures import setup_views

    setups = setup_views(plan)
    report = report_of(plan, setups)
    if page:
        from advisor.pack.report_page import report_page

        (desk / REPORT_PAGE).write_text(report_page(plan, report, setups), encoding="utf-8", newline="\n")
    if pdf:
        from advisor.pack.report_pdf import paper_of, report_pdf

        (desk / REPORT_PDF).write_bytes(report_pdf(report, paper_of(plan.record)))


def _draw_maps(plan: Plan, desk: Path) -> None:
    """Draw the zone map of every set-up."""
    from advisor.pack.picture import save_zone_map

    if len(plan.record.setups) == 1:
        save_zone_map(plan, desk / "zone_map.png")
    else:
        for number, name in zip(range(len(plan.record.setups)), ("zone_map.png", *_MORE_MAPS), strict=False):
            save_zone_map(plan_of_setup(plan, number), desk / name)


def _write_arrays(arrays: FacetArrays | OutlineArrays | PassArrays, path: Path) -> None:
    """Write each array there is under its own name; loads with ``numpy.load(..., allow_pickle=False)``."""
    named = {field.name: getattr(arrays, field.name) for field in fields(arrays)}
    np.savez(path, **{name: array for name, array in named.items() if array is not None})


def check_free_for_plan(folder: Path) -> None:
    """Raise ``InputError`` where a plan could not be written: before the work, not after it."""
    if folder.is_dir():
        strangers = sorted(path.name for path in folder.iterdir() if path.name not in PLAN_FILES)
        if strangers or (any(folder.iterdir()) and not _is_plan(folder / PLAN_FILE)):
            what = (
                f"holds {strangers[0]!r}, which is no part of a plan" if strangers else "holds files that are no plan"
            )
            raise InputError(str(folder), what, "choose another folder with --out")
    elif folder.exists():
        raise InputError(str(folder), "is a file, not a folder", "choose another folder with --out")
    parent = _nearest_existing(folder)
    if not os.access(parent, os.W_OK):
        raise InputError(str(folder), f"cannot be written (no right to write in {parent})", _REMEDY)


def _is_plan(path: Path) -> bool:
    """Whether a file is a ``plan.json`` of ours, whatever its version."""
    try:
        with path.open("rb") as file:
            return b'"advisor-plan/' in file.read(_HEAD_BYTES)
    except OSError:
        return False


def _nearest_existing(folder: Path) -> Path:
    parent = folder.absolute().parent
    while not parent.exists() and parent != parent.parent:
        parent = parent.parent
    return parent


@contextmanager
def _whole_folder(folder: Path) -> Iterator[Path]:
    """A desk to write on, put in place of `folder` when all went well."""
    try:
        folder.absolute().parent.mkdir(parents=True, exist_ok=True)
        desk = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", suffix=".part", dir=folder.absolute().parent))
    except OSError as fault:
        raise InputError(str(folder), f"cannot be written ({fault.strerror})", _REMEDY) from fault
    try:
        yield desk
        desk.chmod(0o777 & ~_umask())
        _put_in_place(desk, folder)
    except OSError as fault:
        raise InputError(str(folder), f"cannot be written ({fault.strerror})", _REMEDY) from fault
    finally:
        shutil.rmtree(desk, ignore_errors=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _put_in_place(desk: Path, folder: Path) -> None:
    if not folder.exists():
        desk.rename(folder)
        return
    # an earlier plan steps aside first, comes back should the new one fail to move in, and goes only after that
    aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", suffix=".old", dir=folder.absolute().parent))
    folder.rename(aside / "plan")
    try:
        desk.rename(folder)
    except OSError:
        (aside / "plan").rename(folder)
        aside.rmdir()
        raise
    shutil.rmtree(aside, ignore_errors=True)
