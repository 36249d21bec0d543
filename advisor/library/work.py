"""One part of a batch, from file to plan folder: what a worker process does."""

from __future__ import annotations

import os
import traceback
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.errors import InputError
from advisor.library.store import FolderStore, ObjectStore, Store
from advisor.library.summary import Failure, Outcome, PartSummary, summary_of
from advisor.model import PLAN_FILE

if TYPE_CHECKING:
    from advisor.model import Plan

PLANS, THUMBNAILS = "plans", "thumbnails"


@dataclass(frozen=True)
class PartTask:
    """A part to plan: ``place`` is its folder below ``out/plans``, ``keys`` and ``options`` are its job.

    ``like`` is the place of a plan of the same content and settings, which is copied; None to plan. ``store_url`` is
    the object store that plans go to; None for ``out``.
    """

    file: str
    path: Path
    place: str
    out: Path
    keys: Mapping[str, Any]
    options: Mapping[str, Any]
    pictures: bool
    reports: bool = False
    passes: bool = False
    short: bool = False
    like: str | None = None
    store_url: str | None = None

    @property
    def store(self) -> Store:
        """Where its plan goes."""
        return store_of(self.out, self.store_url)


def plan_one(task: PartTask) -> Outcome:
    """Plan a part and write its folder; whatever is wrong with it comes back as a ``Failure``."""
    try:
        return _planned(task)
    except InputError as fault:
        return Failure(task.file, _text(str(fault).removeprefix(f"{' '.join(str(task.path).split())}: ")))
    except MemoryError:
        return Failure(task.file, "needs more memory than there is; run with fewer --workers, or a coarser model")
    except Exception as fault:  # one part must not stop the others, whatever is wrong with it
        if os.environ.get("ADVISOR_TRACEBACK"):
            traceback.print_exc()
        words = _text(f"{type(fault).__name__}: {fault}")[:200]
        return Failure(task.file, f"met a fault of the program ({words}); please report it, with this part")


def _planned(task: PartTask) -> PartSummary:
    from advisor.pack.folder import write_plan_folder

    made = _copied(task) or _made(task)
    with task.store.desk() as desk:
        if task.pictures:
            _save_thumbnail(made, desk / thumbnail_of(task.place))
        write_plan_folder(made, desk / plan_of(task.place), pictures=task.pictures, report=task.reports)
    return summary_of(made, task.file, plan_of(task.place))


def _made(task: PartTask) -> Plan:
    from advisor.intake.door import plan

    return plan(task.path, task.keys, lays_passes=task.passes, in_short=task.short, **task.options)


def _copied(task: PartTask) -> Plan | None:
    """The plan of a part with the same content under this part's name; None where there is none that can be read."""
    from advisor.intake.read import name_as_text
    from advisor.intake.saved import read_plan_folder

    if task.like is None:
        return None
    try:
        with task.store.fetched(plan_of(task.like)) as folder:
            held = read_plan_folder(folder)
            _ = held.outlines  # read here, so that damage shows before the folder is written
    except InputError:
        return None
    part = replace(held.record.part, name=name_as_text(task.path.stem), file=name_as_text(task.path.name))
    return replace(held, record=replace(held.record, part=part))


def store_of(out: Path, url: str | None) -> FolderStore | ObjectStore:
    """Where plans go."""
    return FolderStore(out) if url is None else ObjectStore(url)


def plan_of(place: str) -> str:
    """The plan folder of a part, as the store names it."""
    return f"{PLANS}/{place}"


def thumbnail_of(place: str) -> str:
    """The small picture of a part, as the store names it."""
    return f"{THUMBNAILS}/{place}.png"


def files_of(place: str, *, pictures: bool, reports: bool) -> list[str]:
    """Files by which the plan of a part is told to be there as it was written."""
    names = [PLAN_FILE, "zones.csv", "facets.npz"]
    if pictures:
        names.append("zone_map.png")
    if reports:
        names.append("report.html")
    files = [f"{plan_of(place)}/{name}" for name in names]
    return [*files, thumbnail_of(place)] if pictures else files


def _save_thumbnail(made: Plan, path: Path) -> None:
    from advisor.pack.picture import draw_thumbnail, save_picture
    from advisor.pack.whole_file import write_whole

    picture = draw_thumbnail(made)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise InputError(str(path), f"cannot be written ({fault.strerror})", "free the place, or use --out") from fault
    write_whole(path, lambda desk: save_picture(picture, desk))


def _text(words: str) -> str:
    # file names may hold bytes that are no text: spelled out, any file can hold them
    return " ".join(words.encode("utf-8", "backslashreplace").decode("utf-8").split())
